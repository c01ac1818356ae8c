//! `board`: scripts on an emulated board, each figure held against the host's.

use anyhow::{Context, Result};
use scruple_bench::emulated::boards;
use scruple_bench::emulated::parity::{self, Asked};
use scruple_bench::measure::Plan;
use scruple_bench::report::{self, Format};
use scruple_bench::script;

use super::Verdict;
use super::args::BoardArguments;
use super::terminal::Terminal;

/// The board unless another is asked for.
const USUAL: &str = "lm3s6965evb";
/// The same for a firmware that has the compiler.
const WITH_COMPILER: &str = "netduino2";

pub(crate) fn board(arguments: &BoardArguments, terminal: &Terminal) -> Result<Verdict> {
    let candidates = script::gather(&arguments.paths, &arguments.options.to_options())?;
    super::note_ignored(&candidates, &arguments.encoding, terminal);
    let mut plan = Plan::default();
    if !arguments.encoding.is_empty() {
        plan.encodings = super::each_once(&arguments.encoding);
    } else if arguments.core {
        // What carries composites out is code of its own, and no part of that build.
        plan.encodings.retain(|&encoding| !encoding.has_set());
    }
    let n_rows: usize = candidates.iter().map(|one| plan.ways_of(one).len()).sum();
    let usual = if arguments.compile { WITH_COMPILER } else { USUAL };
    let asked = Asked {
        board: boards::find(arguments.board.as_deref().unwrap_or(usual))
            .context("no such board")?,
        families: !arguments.core,
        plan,
        compile: arguments.compile,
        ram: !arguments.no_ram,
        live_peak: true,
    };
    // Once on the host and once on the board.
    let progress = terminal.progress(2 * n_rows as u64, "running");
    let document = parity::run_all(&candidates, &asked, &|| progress.inc(1));
    progress.finish_and_clear();
    let document = document?;
    terminal.write(&report::render_board(&document, arguments.format, arguments.verbose)?)?;
    if arguments.format != Format::Text {
        for row in &document.rows {
            if let Some(error) = &row.weighed.error {
                let row = &row.weighed;
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
