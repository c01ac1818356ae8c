//! `compose`: an instruction set, mined from a folder of scripts.

use std::path::Path;

use anyhow::{Result, bail};
use scruple_bench::compose::{self as library, Wish};
use scruple_bench::script::Candidate;
use scruple_bench::{report, script, sets};
use scruple_bytecode::Encoding;

use super::args_corpus::{ComposeArguments, Goal};
use super::outputs::{self, is_same};
use super::terminal::Terminal;
use super::{Verdict, usage};

pub(crate) fn compose(arguments: &ComposeArguments, terminal: &Terminal) -> Result<Verdict> {
    let bytes_percent = match arguments.goal {
        Goal::Bytes => 100,
        Goal::Instructions => 0,
        Goal::Mix => arguments.weight,
    };
    usage(
        !arguments.no_run || bytes_percent == 100,
        "--no-run has no counts: its goal can only be bytes",
    )?;
    usage(
        arguments.first.is_none() || arguments.target.has_tables(),
        "--first gives the table under a second one: that is --for context",
    )?;
    let first = match &arguments.first {
        Some(path) => sets::read(path)?.first().map(|&&set| set),
        None => None,
    };
    let scripts = script::gather(&arguments.paths, &arguments.options.to_options())?;
    let others = script::gather(&arguments.on, &arguments.options.to_options())?;
    refuse_both(&scripts, &others)?;
    let output = arguments.output.as_deref();
    let inputs = outputs::files_of(&scripts).chain(outputs::files_of(&others));
    outputs::refuse_inputs(output, inputs.chain(arguments.first.as_deref()))?;
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
    let text = report::render_composition(&composition, arguments.format, arguments.verbose)?;
    terminal.write(&text)?;
    let elsewhere = composition.elsewhere.as_ref();
    let is_complete = composition.left_out.is_empty()
        && elsewhere.is_none_or(|elsewhere| elsewhere.left_out.is_empty());
    match output {
        Some(to) if is_complete => outputs::write(to, composition.set_text.as_bytes())?,
        // A set mined from what is left of a corpus is not the one that was asked for.
        Some(to) => {
            terminal.complain(&format!("{}: not written: a script was left out\n", to.display()));
        }
        None => {}
    }
    Ok(if is_complete { Verdict::Fine } else { Verdict::Wrong })
}

/// Refuses to try a set on a script that it was mined from: what comes of that says nothing
/// of other scripts.
fn refuse_both(scripts: &[Candidate], others: &[Candidate]) -> Result<()> {
    fn file(candidate: &Candidate) -> Option<&Path> {
        candidate.script.as_ref().ok()?.files.first().map(|path| path.as_path())
    }
    for other in others.iter().filter_map(file) {
        if scripts.iter().filter_map(file).any(|script| is_same(script, other)) {
            bail!("{}: the set is mined from it: --on is for other scripts", other.display());
        }
    }
    Ok(())
}
