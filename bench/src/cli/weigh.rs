//! `weigh`: gathers scripts, measures them, and writes the report.

use anyhow::{Result, ensure};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use scruple_bench::document::Row;
use scruple_bench::measure::{self, Plan};
use scruple_bench::options::RunOptions;
use scruple_bench::report::{self, Format};
use scruple_bench::script;

use super::Verdict;
use super::args::WeighArguments;
use super::terminal::Terminal;

pub(crate) fn weigh(arguments: &WeighArguments, terminal: &Terminal) -> Result<Verdict> {
    let candidates = script::gather(&arguments.paths, &RunOptions::default())?;
    let mut plan = Plan::default();
    if !arguments.encoding.is_empty() {
        plan.encodings.clone_from(&arguments.encoding);
    }
    let progress = progress((candidates.len() * plan.encodings.len()) as u64, terminal);
    let document = measure::weigh(&candidates, &plan, &|| progress.inc(1));
    progress.finish_and_clear();
    ensure!(document.adds_up(), "the figures do not add up: they are not shown");
    terminal.write(&report::render(&document, arguments.format, arguments.verbose)?)?;
    // The text form shows the errors in the rows; other forms go to programs, and
    // whoever started those should not have to look for them there.
    if arguments.format != Format::Text {
        for error in document.rows.iter().filter_map(error_line) {
            terminal.complain(&error);
        }
    }
    Ok(if document.is_complete() { Verdict::Fine } else { Verdict::Wrong })
}

fn error_line(row: &Row) -> Option<String> {
    let error = row.error.as_ref()?;
    let place = if error.line.is_some() { ":" } else { ": " };
    Some(format!("{}{place}{} ({})\n", row.script, error.describe(), row.encoding))
}

/// How far it is, for whoever looks on.
fn progress(rows: u64, terminal: &Terminal) -> ProgressBar {
    let target = if terminal.is_watched() {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(rows), target);
    match ProgressStyle::with_template("weighing {pos} of {len}, about {eta} left {wide_bar}") {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}
