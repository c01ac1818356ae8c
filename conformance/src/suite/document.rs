//! What a run of the suite found, as one document: the wire form, and its sums.
//!
//! It owns the JSON; the tables are made of the same document.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::SuiteError;
use super::judge::{Status, Verdict};
use super::metadata::{Flag, Metadata};

/// The version of the wire form.
pub const SCHEMA: u32 = 1;

/// What a run found.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Document {
    /// The version of the wire form.
    pub schema: u32,
    /// The suite's revision, if it could be told.
    pub revision: Option<String>,
    /// The day of that revision.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// The parts of the suite that were asked for; none for all of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub filters: Vec<String>,
    /// The heap's layout.
    pub layout: String,
    /// Instructions that a test may take.
    pub budget: u64,
    /// The sums over all tests.
    pub total: Sums,
    /// The tests, by path.
    pub tests: Vec<Row>,
}

/// A test.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Row {
    /// Its path below `test`.
    pub path: String,
    /// What became of it.
    pub status: Status,
    /// Why, if it did not pass.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reason: String,
    /// The clause it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub esid: Option<String>,
    /// Parts of the standard that it uses.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub features: Vec<String>,
    /// How it is to be run.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub flags: Vec<Flag>,
}

impl Row {
    /// The row of a judged test.
    pub fn new(path: String, metadata: Metadata, verdict: Verdict) -> Row {
        let Verdict { status, reason } = verdict;
        let Metadata { esid, features, flags, .. } = metadata;
        Row { path, status, reason, esid, features, flags }
    }
}

/// How many tests there are of each status.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sums {
    /// All of them.
    pub tests: usize,
    /// As they should.
    pub passed: usize,
    /// Not as they should.
    pub failed: usize,
    /// Outside the language.
    pub unsupported: usize,
    /// Broken down.
    pub crashed: usize,
    /// Past a limit.
    pub over_budget: usize,
}

impl Sums {
    /// Counts a test.
    pub fn count(&mut self, status: Status) {
        self.tests += 1;
        *match status {
            Status::Passed => &mut self.passed,
            Status::Failed => &mut self.failed,
            Status::Unsupported => &mut self.unsupported,
            Status::Crashed => &mut self.crashed,
            Status::OverBudget => &mut self.over_budget,
        } += 1;
    }

    /// The sums of some rows.
    pub fn of<'a>(rows: impl IntoIterator<Item = &'a Row>) -> Sums {
        let mut sums = Sums::default();
        rows.into_iter().for_each(|row| sums.count(row.status));
        sums
    }
}

/// How rows are put together for a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grouping {
    /// By the folders that the suite sorts the clauses into, so many deep.
    Folder(usize),
    /// By the clause's id.
    Clause,
    /// By feature: a test stands under each that it names.
    Feature,
}

impl Document {
    /// The document of the rows of a run.
    pub fn new(revision: Option<String>, layout: &str, budget: u64, tests: Vec<Row>) -> Document {
        let total = Sums::of(&tests);
        let layout = layout.to_owned();
        let (date, filters) = (None, Vec::new());
        Document { schema: SCHEMA, revision, date, filters, layout, budget, total, tests }
    }

    /// Reads a saved document.
    pub fn read(path: &Path) -> Result<Document, SuiteError> {
        let named = |error: String| SuiteError::new(format!("{}: {error}", path.display()));
        let text = fs::read_to_string(path).map_err(|error| named(error.to_string()))?;
        let document: Document =
            serde_json::from_str(&text).map_err(|error| named(error.to_string()))?;
        if document.schema != SCHEMA {
            return Err(named(format!("schema {}, not {SCHEMA}", document.schema)));
        }
        Ok(document)
    }

    /// The sums by group.
    pub fn grouped(&self, grouping: Grouping) -> BTreeMap<String, Sums> {
        let mut groups: BTreeMap<String, Sums> = BTreeMap::new();
        let mut count = |group: &str, status| match groups.get_mut(group) {
            Some(sums) => sums.count(status),
            None => groups.entry(group.to_owned()).or_default().count(status),
        };
        for row in &self.tests {
            match grouping {
                Grouping::Folder(depth) => count(folder(&row.path, depth), row.status),
                Grouping::Clause => {
                    count(row.esid.as_deref().unwrap_or("(no clause named)"), row.status);
                }
                Grouping::Feature if row.features.is_empty() => {
                    count("(no feature named)", row.status);
                }
                Grouping::Feature => {
                    row.features.iter().for_each(|feature| count(feature, row.status));
                }
            }
        }
        groups
    }
}

/// The first folders of a path, at most so many.
pub fn folder(path: &str, depth: usize) -> &str {
    let folders = path.rsplit_once('/').map_or("", |(folders, _)| folders);
    match folders.match_indices('/').nth(depth.max(1) - 1) {
        Some((end, _)) => &folders[..end],
        None => folders,
    }
}
