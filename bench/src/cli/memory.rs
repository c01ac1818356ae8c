//! `memory`: where the bytes of a script's heap are, over time and at the peak.

use anyhow::{Context, Result, bail};
use scruple_bench::build;
use scruple_bench::document::Way;
use scruple_bench::memory::{profile_image, watch::Which};
use scruple_bench::report;

use super::args::MemoryArguments;
use super::terminal::Terminal;
use super::{Verdict, build_or_explain, read_script, with_set};

pub(crate) fn memory(arguments: &MemoryArguments, terminal: &Terminal) -> Result<Verdict> {
    let script =
        read_script(&arguments.script, &with_set(arguments.options.to_options(), &arguments.set)?)?;
    let Some(built) = build_or_explain(&script, &arguments.encoding, terminal)? else {
        return Ok(Verdict::Wrong);
    };
    let own = script.packed.as_ref().map(|packed| packed.encoding);
    let encoding = own.unwrap_or(arguments.encoding.chosen());
    let way = Way { encoding, layout: arguments.layout };
    let which = if arguments.live { Which::Live } else { Which::HighWater };
    let work = || profile_image(&script, &built.image, way, which, arguments.every);
    match build::on_large_stack(work).context("no thread to run on")? {
        Ok(document) => {
            terminal.write(&report::render_memory(&document, arguments.format)?)?;
            Ok(Verdict::Fine)
        }
        Err(error) => {
            let place = if error.line.is_some() { ":" } else { ": " };
            bail!("{}{place}{}", script.name, error.describe())
        }
    }
}
