//! `weigh`: gathers scripts, measures them, and writes the report.

use anyhow::{Result, ensure};
use scruple_bench::measure::{self, Plan};
use scruple_bench::report::{self, Format};
use scruple_bench::script;

use super::Verdict;
use super::args::WeighArguments;
use super::terminal::Terminal;

pub(crate) fn weigh(arguments: &WeighArguments, terminal: &Terminal) -> Result<Verdict> {
    let candidates = script::gather(&arguments.paths, &arguments.options.to_options())?;
    let mut plan = Plan { layouts: arguments.layouts.chosen(), ..Plan::default() };
    if !arguments.encoding.is_empty() {
        plan.encodings.clone_from(&arguments.encoding);
    }
    let n_rows: usize = candidates.iter().map(|one| plan.ways_of(one).len()).sum();
    let progress = terminal.progress(n_rows as u64, "weighing");
    let document = measure::weigh(&candidates, &plan, &|| progress.inc(1));
    progress.finish_and_clear();
    ensure!(document.adds_up(), "the figures do not add up: they are not shown");
    terminal.write(&report::render(&document, arguments.format, arguments.verbose)?)?;
    // The text form shows the errors in the rows; other forms go to programs, and
    // whoever started those should not have to look for them there.
    if arguments.format != Format::Text {
        for row in &document.rows {
            if let Some(error) = &row.error {
                terminal.complain(&super::error_line(
                    &row.script,
                    &row.encoding,
                    row.layout,
                    error,
                ));
            }
        }
    }
    Ok(if document.is_complete() { Verdict::Fine } else { Verdict::Wrong })
}
