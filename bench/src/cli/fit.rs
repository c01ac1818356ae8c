//! `fit`: the least RAM that scripts run in, held against a board.

use anyhow::Result;
use scruple_bench::board::Board;
use scruple_bench::report::{self, Format};
use scruple_bench::{fit, script};

use super::args::FitArguments;
use super::terminal::Terminal;
use super::{Verdict, with_set};

pub(crate) fn fit(arguments: &FitArguments, terminal: &Terminal) -> Result<Verdict> {
    let board = arguments.board.as_deref().map(Board::read).transpose()?;
    let candidates = script::gather(
        &arguments.paths,
        &with_set(arguments.options.to_options(), &arguments.set)?,
    )?;
    let layouts = arguments.layouts.chosen();
    let progress = terminal.progress((candidates.len() * layouts.len()) as u64, "fitting");
    super::note_ignored(&candidates, arguments.encoding.encoding.as_slice(), terminal);
    let encoding = arguments.encoding.chosen();
    let document = fit::fit(&candidates, encoding, &layouts, board, &|| progress.inc(1));
    progress.finish_and_clear();
    terminal.write(&report::render_fit(&document, arguments.format)?)?;
    // The text form shows the errors in the rows; see `weigh`.
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
    // Held against a board, a script that could not be measured does not fit.
    Ok(match board {
        Some(_) if !document.all_fit() => Verdict::Exceeded,
        None if !document.is_complete() => Verdict::Wrong,
        _ => Verdict::Fine,
    })
}
