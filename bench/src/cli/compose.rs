//! `compose`: an instruction set, mined from a folder of scripts.

use std::fs;

use anyhow::{Context, Result, ensure};
use scruple_bench::compose::{self as library, Wish};
use scruple_bench::{report, script, sets};
use scruple_bytecode::Encoding;

use super::Verdict;
use super::args_corpus::{ComposeArguments, Goal};
use super::terminal::Terminal;

pub(crate) fn compose(arguments: &ComposeArguments, terminal: &Terminal) -> Result<Verdict> {
    let bytes_percent = match arguments.goal {
        Goal::Bytes => 100,
        Goal::Instructions => 0,
        Goal::Mix => arguments.weight,
    };
    ensure!(
        !arguments.no_run || bytes_percent == 100,
        "--no-run has no counts: its goal can only be bytes"
    );
    ensure!(
        arguments.target.has_set(),
        "{} has no instruction set: composite and context have",
        arguments.target.name()
    );
    let first = match &arguments.first {
        Some(path) => {
            ensure!(
                arguments.target.has_tables(),
                "--first gives the table under a second one: that is --for context"
            );
            sets::read(path)?.first().map(|&&set| set)
        }
        None => None,
    };
    let scripts = script::gather(&arguments.paths, &arguments.options.to_options())?;
    let others = script::gather(&arguments.on, &arguments.options.to_options())?;
    let wish = Wish {
        name: arguments.name.clone(),
        bytes_percent,
        most_entries: arguments.entries,
        least_programs: arguments.programs,
        table_percent: arguments.table,
        runs: !arguments.no_run,
        encodings: match arguments.encoding.as_slice() {
            [] => Encoding::ALL.iter().copied().filter(|encoding| encoding.has_set()).collect(),
            asked => super::each_once(asked),
        },
        target: arguments.target,
        first,
    };
    let progress = terminal.progress((3 * scripts.len() + others.len()) as u64, "mining");
    let composition = library::compose(&scripts, &others, &wish, &|| progress.inc(1));
    progress.finish_and_clear();
    let composition = composition?;
    if let Some(to) = &arguments.output {
        fs::write(to, &composition.set_text).with_context(|| to.display().to_string())?;
    }
    let text = report::render_composition(&composition, arguments.format, arguments.verbose)?;
    terminal.write(&text)?;
    let elsewhere = composition.elsewhere.as_ref();
    let is_complete = composition.left_out.is_empty()
        && elsewhere.is_none_or(|elsewhere| elsewhere.left_out.is_empty());
    Ok(if is_complete { Verdict::Fine } else { Verdict::Wrong })
}
