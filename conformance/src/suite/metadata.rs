//! What a test says of itself: the YAML between `/*---` and `---*/`.
//!
//! It owns the names of the suite's flags and phases, as its CONTRIBUTING.md gives
//! them. It refuses front matter that is not YAML; keys it does not use are let be.

use serde::{Deserialize, Serialize};

use super::SuiteError;

/// What a test says of itself.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Metadata {
    /// How the test is to be run.
    #[serde(default)]
    pub flags: Vec<Flag>,
    /// Files of the harness that it needs besides the usual two.
    #[serde(default)]
    pub includes: Vec<String>,
    /// The error that it must end in.
    #[serde(default)]
    pub negative: Option<Negative>,
    /// Parts of the standard that it uses, by the suite's names.
    #[serde(default)]
    pub features: Vec<String>,
    /// The clause of ECMA-262 it is about, by its id.
    #[serde(default)]
    pub esid: Option<String>,
}

/// How a test is to be run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "camelCase")]
pub enum Flag {
    /// In strict mode only: all that is ever done here.
    OnlyStrict,
    /// Not in strict mode.
    NoStrict,
    /// As a module.
    Module,
    /// As it stands, without the harness, and not made strict.
    Raw,
    /// It says when it is done.
    Async,
    /// Made by a program; nothing follows for the run.
    Generated,
    /// About threads that may not wait.
    #[serde(rename = "CanBlockIsFalse")]
    CanBlockIsFalse,
    /// About threads that may wait.
    #[serde(rename = "CanBlockIsTrue")]
    CanBlockIsTrue,
    /// Its result may differ between runs.
    #[serde(rename = "non-deterministic")]
    NonDeterministic,
    /// Any other one.
    #[serde(other)]
    Other,
}

/// The error that a test must end in.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct Negative {
    /// When.
    pub phase: Phase,
    /// The name of the error's constructor.
    #[serde(rename = "type")]
    pub error: String,
}

/// When an error must come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Phase {
    /// Before anything runs.
    Parse,
    /// When a module's imports are resolved.
    Resolution,
    /// While it runs.
    Runtime,
}

impl Metadata {
    /// Reads the front matter of a test.
    pub fn of(source: &str) -> Result<Metadata, SuiteError> {
        let Some((_, rest)) = source.split_once("/*---") else {
            return Err(SuiteError::new("no front matter"));
        };
        let Some((text, _)) = rest.split_once("---*/") else {
            return Err(SuiteError::new("front matter without an end"));
        };
        // A test about line terminators may have lone carriage returns, which YAML
        // takes for line breaks as well; the library asks for the usual ones.
        let text = text.replace("\r\n", "\n").replace('\r', "\n");
        if text.trim().is_empty() {
            return Ok(Metadata::default());
        }
        serde_saphyr::from_str(&text)
            .map_err(|error| SuiteError::new(format!("front matter: {error}")))
    }

    /// Whether a flag is set.
    pub fn has(&self, flag: Flag) -> bool {
        self.flags.contains(&flag)
    }

    /// The error that must come before anything runs, if one must.
    pub fn must_not_parse(&self) -> bool {
        self.negative.as_ref().is_some_and(|negative| negative.phase == Phase::Parse)
    }
}
