//! `operations`: the table of operations, and how scripts use it.

use anyhow::Result;
use scruple_bench::operations::{self as library, Wish};
use scruple_bench::report::{self, Format};
use scruple_bench::script;

use super::args_corpus::OperationsArguments;
use super::terminal::Terminal;
use super::{Verdict, usage};

pub(crate) fn operations(arguments: &OperationsArguments, terminal: &Terminal) -> Result<Verdict> {
    usage(!arguments.no_run || !arguments.paths.is_empty(), "--no-run is about scripts")?;
    let candidates = match arguments.paths.as_slice() {
        [] => Vec::new(),
        paths => script::gather(paths, &arguments.options.to_options())?,
    };
    let wish = Wish {
        encoding: arguments.encoding,
        only: super::each_once(&arguments.name),
        runs: !arguments.no_run,
    };
    let progress = terminal.progress(candidates.len() as u64, "counting");
    let document = library::operations(&candidates, &wish, &|| progress.inc(1));
    progress.finish_and_clear();
    let document = document?;
    terminal.write(&report::render_operations(&document, arguments.format, arguments.verbose)?)?;
    // The text form has them.
    let is_text = arguments.format == Format::Text;
    for out in document.left_out.iter().filter(|_| !is_text) {
        terminal.complain(&format!("{}: {}\n", out.script, out.reason));
    }
    Ok(if document.left_out.is_empty() { Verdict::Fine } else { Verdict::Wrong })
}
