//! The command `suite`: arguments, then the run, then the report, then the exit code.
//!
//! Exit codes: 0 fine, 1 an error, 2 usage (clap's own), 3 something that passed in
//! the saved run no longer does.

mod args;

use std::fs;
use std::io::{self, IsTerminal, Write};
use std::process::ExitCode;

use clap::Parser;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use rayon::ThreadPoolBuilder;
use rayon::prelude::*;
use scruple_conformance::suite::SuiteError;
use scruple_conformance::suite::checkout::{Checkout, matches};
use scruple_conformance::suite::compare::Changes;
use scruple_conformance::suite::document::{Document, Row};
use scruple_conformance::suite::figures;
use scruple_conformance::suite::judge::{Judge, keep_panics};
use scruple_conformance::suite::run::Limits;
use scruple_conformance::suite::skips::Skips;
use scruple_conformance::suite::table;
use scruple_vm::HeapOptions;

use args::{Arguments, Format};

/// The host's stack for each thread. The machine bounds its own recursion; an
/// overflow could not be caught, so there is plenty.
const STACK_BYTES: usize = 256 << 20;

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match suite(&arguments) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("suite: {error}");
            ExitCode::from(1)
        }
    }
}

fn suite(arguments: &Arguments) -> Result<ExitCode, SuiteError> {
    // Read first: a run of minutes is not to end in a slip of the command line.
    let saved = arguments.compare.as_deref().map(Document::read).transpose()?;
    let mut document = match (&arguments.from, &arguments.checkout) {
        (Some(path), _) => Document::read(path)?,
        (None, Some(root)) => run(arguments, &Checkout::at(root)?)?,
        (None, None) => return Err(SuiteError::new("no checkout is named")),
    };
    document.revision = document.revision.or_else(|| arguments.revision.clone());
    document.date = document.date.or_else(|| arguments.date.clone());
    if let Some(path) = &arguments.save {
        fs::write(path, json(&document)?)
            .map_err(|error| SuiteError::new(format!("{}: {error}", path.display())))?;
    }
    if let Some(path) = &arguments.readme {
        let named = |error: String| SuiteError::new(format!("{}: {error}", path.display()));
        let text = fs::read_to_string(path).map_err(|error| named(error.to_string()))?;
        let text = figures::spliced(&text, &document).map_err(|error| named(error.to_string()))?;
        fs::write(path, text).map_err(|error| named(error.to_string()))?;
    }
    write(&report(arguments, &document)?);
    let Some(saved) = saved else { return Ok(ExitCode::SUCCESS) };
    let was_asked = |path: &str| matches(path, &arguments.filters);
    let changes = Changes::between(&saved, &document, was_asked)?;
    if saved.revision != document.revision {
        eprintln!("suite: the saved run is of another revision of the suite");
    }
    match arguments.format {
        // Standard output is one document.
        Format::Json => eprint!("{}", changes.text()),
        _ => write(&format!("\n{}", changes.text())),
    }
    Ok(ExitCode::from(if changes.has_losses() { 3 } else { 0 }))
}

/// Judges the tests over all cores.
fn run(arguments: &Arguments, checkout: &Checkout) -> Result<Document, SuiteError> {
    let skips = arguments.skips.as_deref().map_or(Ok(Skips::default()), Skips::read)?;
    let tests = checkout.tests(&arguments.filters)?;
    if tests.is_empty() {
        return Err(SuiteError::new("no test has such a path"));
    }
    let heap = HeapOptions {
        collect_every: arguments.collect_every,
        thorough: arguments.collect_every < usize::MAX,
        ..HeapOptions::default()
    };
    let limits = Limits { slots: arguments.slots, budget: arguments.budget, heap };
    let judge = Judge::new(checkout, &skips, arguments.layout.name(), limits)?;
    let pool = ThreadPoolBuilder::new()
        .num_threads(arguments.jobs)
        .stack_size(STACK_BYTES)
        .build()
        .map_err(|error| SuiteError::new(error.to_string()))?;
    let bar = progress(tests.len() as u64);
    keep_panics();
    let rows = pool.install(|| {
        tests
            .into_par_iter()
            .map(|path| {
                let (metadata, verdict) = judge.judge(&path);
                bar.inc(1);
                Row::new(path, metadata, verdict)
            })
            .collect()
    });
    bar.finish_and_clear();
    let layout = arguments.layout.text();
    let mut document = Document::new(checkout.revision(), layout, arguments.budget, rows);
    document.date = checkout.date();
    document.filters = arguments.filters.clone();
    Ok(document)
}

fn report(arguments: &Arguments, document: &Document) -> Result<String, SuiteError> {
    let grouping = arguments.grouping();
    let mut out = match arguments.format {
        Format::Json => return json(document),
        Format::Text => table::text(document, grouping),
        Format::Markdown => table::markdown(document, grouping),
    };
    if let Some(status) = arguments.list {
        out.push('\n');
        out.push_str(&table::list(document, status.into()));
    }
    if let Some(status) = arguments.causes {
        out.push('\n');
        out.push_str(&table::causes(document, status.into(), arguments.n_causes));
    }
    Ok(out)
}

fn json(document: &Document) -> Result<String, SuiteError> {
    serde_json::to_string_pretty(document)
        .map(|text| text + "\n")
        .map_err(|error| SuiteError::new(error.to_string()))
}

/// A reader such as `head` that has had enough is no error.
fn write(text: &str) {
    let mut out = io::stdout().lock();
    if let Err(error) = out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        if error.kind() != io::ErrorKind::BrokenPipe {
            eprintln!("suite: standard output: {error}");
        }
        std::process::exit(i32::from(error.kind() != io::ErrorKind::BrokenPipe));
    }
}

/// How far the run is, for whoever looks on at standard error.
fn progress(n_tests: u64) -> ProgressBar {
    let target = if io::stderr().is_terminal() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(n_tests), target);
    match ProgressStyle::with_template("{pos} of {len}, about {eta} left {wide_bar}") {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}
