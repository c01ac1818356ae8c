//! The skip list: tests that are not run, each with its reason.
//!
//! A TOML file of lines `"path" = "reason"`. A path may be a folder. It refuses a
//! line without a reason.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::SuiteError;

/// Tests that are not run.
#[derive(Clone, Debug, Default)]
pub struct Skips(BTreeMap<String, String>);

impl Skips {
    /// Reads the list from a file.
    pub fn read(path: &Path) -> Result<Skips, SuiteError> {
        let named =
            |error: &dyn std::fmt::Display| SuiteError::new(format!("{}: {error}", path.display()));
        let text = fs::read_to_string(path).map_err(|error| named(&error))?;
        Skips::parse(&text).map_err(|error| named(&error))
    }

    /// Reads the list from TOML.
    pub fn parse(text: &str) -> Result<Skips, SuiteError> {
        let list: BTreeMap<String, String> = toml::from_str(text)
            .map_err(|error| SuiteError::new(error.to_string().trim().to_owned()))?;
        match list.iter().find(|(_, reason)| reason.trim().is_empty()) {
            Some((path, _)) => Err(SuiteError::new(format!("{path}: no reason is given"))),
            None => Ok(Skips(list)),
        }
    }

    /// Why a test is not to be run, if it is not.
    pub fn reason(&self, path: &str) -> Option<&str> {
        let mut part = path;
        loop {
            if let Some(reason) = self.0.get(part) {
                return Some(reason);
            }
            part = part.rsplit_once('/')?.0;
        }
    }
}
