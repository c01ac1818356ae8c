//! Judges one test: what it asks for, what it did, and which of five it is.
//!
//! The rules are the suite's own (INTERPRETING.md, "Test Execution" and "Metadata"),
//! with the one difference that every source is strict mode code: a test that may
//! not be strict lies outside the language, and any other runs once.

use std::cell::RefCell;
use std::panic::{self, AssertUnwindSafe};

use scruple_compiler::{DiagnosticKind, Diagnostics};
use scruple_vm::{Narrow, Wide};
use serde::{Deserialize, Serialize};

use super::SuiteError;
use super::checkout::Checkout;
use super::gaps::{missing_globals, named_globals};
use super::harness::{Harness, Harnesses, Lack};
use super::hooks;
use super::metadata::{Flag, Metadata, Negative, Phase};
use super::run::{End, Limits, PROBE, Ran, run};
use super::skips::Skips;
use crate::LayoutName;

/// What became of a test.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// As it should.
    Passed,
    /// Not as it should.
    Failed,
    /// It lies outside the language, by its flags or by the word of the compiler or
    /// the machine; or it is on the skip list.
    Unsupported,
    /// The compiler or the machine broke down.
    Crashed,
    /// It did not end within its limits.
    OverBudget,
}

impl Status {
    /// All of them, in the order of the tables.
    pub const ALL: [Status; 5] =
        [Status::Passed, Status::Failed, Status::Unsupported, Status::Crashed, Status::OverBudget];

    /// The word for it.
    pub const fn name(self) -> &'static str {
        match self {
            Status::Passed => "passed",
            Status::Failed => "failed",
            Status::Unsupported => "unsupported",
            Status::Crashed => "crashed",
            Status::OverBudget => "over budget",
        }
    }
}

/// What became of a test, and why if it did not pass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// What became of it.
    pub status: Status,
    /// Why; empty for a test that passed.
    pub reason: String,
}

impl Verdict {
    fn passed() -> Verdict {
        Verdict { status: Status::Passed, reason: String::new() }
    }

    fn because(status: Status, reason: impl Into<String>) -> Verdict {
        Verdict { status, reason: reason.into() }
    }
}

/// Judges tests, on any number of threads.
#[derive(Debug)]
pub struct Judge<'a> {
    checkout: &'a Checkout,
    skips: &'a Skips,
    harnesses: Harnesses<'a>,
    options: scruple_compiler::Options,
    layout: LayoutName,
    limits: Limits,
    missing: Vec<&'static str>,
    proposals: Vec<String>,
    probe: Vec<u8>,
}

impl<'a> Judge<'a> {
    /// A judge of the tests of one checkout.
    pub fn new(
        checkout: &'a Checkout,
        skips: &'a Skips,
        layout: LayoutName,
        limits: Limits,
    ) -> Result<Judge<'a>, SuiteError> {
        let options = scruple_compiler::Options::default();
        let probe = scruple_compiler::compile(PROBE, &options)
            .map_err(|error| SuiteError::new(format!("the probe: {error}")))?
            .image;
        let missing = match layout {
            LayoutName::Narrow => missing_globals::<Narrow>(limits.slots),
            LayoutName::Wide => missing_globals::<Wide>(limits.slots),
        };
        let harnesses = Harnesses::new(checkout, options);
        let proposals = checkout.proposals()?;
        Ok(Judge { checkout, skips, harnesses, options, layout, limits, missing, proposals, probe })
    }

    /// Judges a test, and tells what it says of itself.
    pub fn judge(&self, path: &str) -> (Metadata, Verdict) {
        let read = self
            .checkout
            .read_test(path)
            .and_then(|source| Metadata::of(&source).map(|metadata| (source, metadata)));
        let (source, metadata) = match read {
            Ok(read) => read,
            Err(error) => {
                let verdict = Verdict::because(Status::Failed, error.to_string());
                return (Metadata::default(), verdict);
            }
        };
        let verdict = match self.skips.reason(path) {
            Some(reason) => Verdict::because(Status::Unsupported, format!("skipped: {reason}")),
            None => guarded(|| self.verdict(&source, &metadata)),
        };
        let verdict = match (verdict.status, self.beyond_the_standard(&metadata)) {
            (Status::Failed, Some(reason)) => Verdict::because(Status::Unsupported, reason),
            _ => verdict,
        };
        (metadata, verdict)
    }

    /// Why a test is about no part of the standard, by the suite's own list.
    fn beyond_the_standard(&self, metadata: &Metadata) -> Option<String> {
        let proposal = metadata.features.iter().find(|name| self.proposals.contains(name))?;
        Some(format!("the proposal {proposal} is unsupported"))
    }

    fn verdict(&self, source: &str, metadata: &Metadata) -> Verdict {
        if let Some(reason) = outside(metadata) {
            return Verdict::because(Status::Unsupported, reason);
        }
        let image = match scruple_compiler::compile(source, &self.options) {
            Ok(compiled) => compiled.image,
            Err(diagnostics) => return refused(&diagnostics, metadata),
        };
        if metadata.must_not_parse() {
            let reason = "accepted, though it is no script (an early error is missed)";
            return Verdict::because(Status::Failed, reason);
        }
        if metadata.has(Flag::Raw) {
            return self.run(&[&image], None, metadata);
        }
        let made = self.harnesses.with(&metadata.includes, source.contains(hooks::NAME));
        match made.as_ref() {
            Ok(harness) => self.run(&[&harness.image, &image], Some(harness), metadata),
            Err(Lack::Unsupported(reason)) => Verdict::because(Status::Unsupported, reason),
            Err(Lack::Wrong(reason)) => Verdict::because(Status::Failed, reason),
        }
    }

    fn run(&self, images: &[&[u8]], harness: Option<&Harness>, metadata: &Metadata) -> Verdict {
        let with_hooks = harness.is_some_and(|harness| harness.has_hooks);
        let ran = match self.layout {
            LayoutName::Narrow => run::<Narrow>(images, with_hooks, self.limits, &self.probe),
            LayoutName::Wide => run::<Wide>(images, with_hooks, self.limits, &self.probe),
        };
        let Ran { end, lacking } = ran;
        let verdict = ended(end, metadata.negative.as_ref());
        if verdict.status != Status::Failed && lacking.is_none() {
            return verdict;
        }
        match lacking.or_else(|| self.missing_name(images, harness, metadata)) {
            Some(what) if verdict.status != Status::Passed => {
                Verdict::because(Status::Unsupported, format!("{what} is unsupported"))
            }
            _ => verdict,
        }
    }

    /// A global of the standard that the test, its list of features or a file it
    /// includes names, and that the machine lacks.
    fn missing_name(
        &self,
        images: &[&[u8]],
        harness: Option<&Harness>,
        metadata: &Metadata,
    ) -> Option<String> {
        let mut own = images.last().map(|image| named_globals(image)).unwrap_or_default();
        own.extend_from_slice(&metadata.features);
        let included = harness.map_or(&[][..], |harness| harness.names.as_slice());
        own.iter()
            .chain(included)
            .find(|name| self.missing.contains(&name.as_str()))
            .map(|name| format!("the global {name}"))
    }
}

/// Why a test lies outside the language by its flags.
fn outside(metadata: &Metadata) -> Option<&'static str> {
    [
        (Flag::NoStrict, "flag noStrict: sloppy mode is unsupported"),
        (Flag::Module, "flag module: modules are unsupported"),
        (Flag::Async, "flag async: a test that waits is unsupported"),
    ]
    .into_iter()
    .find_map(|(flag, reason)| metadata.has(flag).then_some(reason))
}

/// One diagnostic decides: what follows it may be no more than its echo.
fn refused(diagnostics: &Diagnostics, metadata: &Metadata) -> Verdict {
    let first = diagnostics.decisive();
    match first.kind() {
        DiagnosticKind::Unsupported => Verdict::because(Status::Unsupported, first.message()),
        DiagnosticKind::Limit => Verdict::because(Status::OverBudget, first.message()),
        DiagnosticKind::Strict | DiagnosticKind::Syntax if metadata.must_not_parse() => {
            match &metadata.negative {
                Some(negative) if negative.error != "SyntaxError" => Verdict::because(
                    Status::Failed,
                    format!("refused as a SyntaxError, but is to be a {}", negative.error),
                ),
                _ => Verdict::passed(),
            }
        }
        // A raw test is sloppy by the suite's rules, and nothing makes it strict.
        DiagnosticKind::Strict if metadata.has(Flag::Raw) => {
            Verdict::because(Status::Unsupported, "flag raw: sloppy mode is unsupported")
        }
        DiagnosticKind::Strict | DiagnosticKind::Syntax => {
            Verdict::because(Status::Failed, format!("refused: {first}"))
        }
    }
}

fn ended(end: End, negative: Option<&Negative>) -> Verdict {
    let wanted = negative.filter(|negative| negative.phase == Phase::Runtime);
    match (end, wanted) {
        (End::Finished, None) => Verdict::passed(),
        (End::Finished, Some(wanted)) => {
            Verdict::because(Status::Failed, format!("threw nothing, not {}", wanted.error))
        }
        (End::Threw { constructor, .. }, Some(wanted)) if constructor == wanted.error => {
            Verdict::passed()
        }
        (End::Threw { text, .. }, _) => Verdict::because(Status::Failed, text),
        (End::OverBudget(text), _) => Verdict::because(Status::OverBudget, text),
        (End::Defect(text), _) => Verdict::because(Status::Crashed, text),
    }
}

thread_local! {
    /// What the last panic of this thread said, with its place.
    static PANICKED: RefCell<String> = const { RefCell::new(String::new()) };
}

/// Keeps what a panic says for the verdict, instead of printing it.
pub fn keep_panics() {
    panic::set_hook(Box::new(|info| {
        PANICKED.with(|said| *said.borrow_mut() = info.to_string());
    }));
}

/// Nothing of a test that broke down is used again: its region and images go.
fn guarded(judge: impl FnOnce() -> Verdict) -> Verdict {
    panic::catch_unwind(AssertUnwindSafe(judge)).unwrap_or_else(|_| {
        let said = PANICKED.with(|said| std::mem::take(&mut *said.borrow_mut()));
        Verdict::because(Status::Crashed, said.replace('\n', " "))
    })
}
