//! The official conformance suite, run from a checkout of it: what a test says of
//! itself, what it may need, how it is judged, and what a run found.
//!
//! It owns no list of tests. Whether a test lies outside the language is told by the
//! compiler's diagnostics, by the machine's notes to its host, and by the globals
//! that a test names and the machine lacks; never by a test's path. The one list by
//! path is the skip list, which is data and has a reason a line.
//!
//! The suite's own rules for whoever runs it are in its file INTERPRETING.md.

pub mod checkout;
pub mod compare;
pub mod document;
pub mod figures;
pub mod gaps;
pub mod harness;
pub mod hooks;
pub mod judge;
pub mod metadata;
pub mod run;
pub mod skips;
pub mod table;

use std::fmt;

/// Why the suite could not be run, or a file about it not be read.
#[derive(Debug)]
pub struct SuiteError(String);

impl SuiteError {
    /// An error of these words.
    pub fn new(text: impl Into<String>) -> Self {
        SuiteError(text.into())
    }
}

impl fmt::Display for SuiteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for SuiteError {}
