//! What changed between a saved run and this one.
//!
//! It fails closed: a test that passed and was not run this time, though it was
//! asked for, counts as lost.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::SuiteError;
use super::document::{Document, Row};
use super::judge::Status;

/// What changed, by path.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Changes {
    /// Passed now and not before.
    pub gained: Vec<String>,
    /// Passed before and not now, with what it is now and why.
    pub lost: Vec<String>,
    /// Did not pass either time, but for another status.
    pub moved: Vec<String>,
    /// Passed before and not there now.
    pub gone: Vec<String>,
}

impl Changes {
    /// What changed from one run to another, over the tests that the second was
    /// asked for. Runs in different layouts are not compared.
    pub fn between(
        before: &Document,
        now: &Document,
        was_asked: impl Fn(&str) -> bool,
    ) -> Result<Changes, SuiteError> {
        if before.layout != now.layout {
            return Err(SuiteError::new(format!(
                "the saved run has layout {}, this one {}: they are not comparable",
                before.layout, now.layout
            )));
        }
        let earlier: BTreeMap<&str, &Row> =
            before.tests.iter().map(|row| (row.path.as_str(), row)).collect();
        let mut changes = Changes::default();
        for row in &now.tests {
            let was = earlier.get(row.path.as_str()).map(|row| row.status);
            let is = row.status;
            let told = || {
                let was = was.map_or("new", Status::name);
                format!("{} ({was} -> {}): {}", row.path, is.name(), row.reason)
            };
            match was {
                Some(was) if was == is => {}
                _ if is == Status::Passed => changes.gained.push(row.path.clone()),
                Some(Status::Passed) => changes.lost.push(told()),
                Some(_) => changes.moved.push(told()),
                None => {}
            }
        }
        let here: BTreeMap<&str, ()> =
            now.tests.iter().map(|row| (row.path.as_str(), ())).collect();
        changes.gone = before
            .tests
            .iter()
            .filter(|row| row.status == Status::Passed && was_asked(&row.path))
            .filter(|row| !here.contains_key(row.path.as_str()))
            .map(|row| row.path.clone())
            .collect();
        Ok(changes)
    }

    /// Whether something that passed no longer does.
    pub fn has_losses(&self) -> bool {
        !self.lost.is_empty() || !self.gone.is_empty()
    }

    /// The changes, for people.
    pub fn text(&self) -> String {
        let mut out = String::new();
        for (title, list) in [
            ("newly passed", &self.gained),
            ("no longer passed", &self.lost),
            ("passed before, not there now", &self.gone),
            ("otherwise changed", &self.moved),
        ] {
            // Writing to a String cannot fail.
            let _ = writeln!(out, "{title}: {}", list.len());
            for line in list {
                let _ = writeln!(out, "  {line}");
            }
        }
        out
    }
}
