//! `trace`: runs a script and shows a window of what its instructions did.

use anyhow::{Context, Result, bail};
use scruple_bench::report::counted;
use scruple_bench::station::Output;
use scruple_bench::trace::{self, Tracer, Window, functions_named};

use super::args::TraceArguments;
use super::terminal::Terminal;
use super::{Verdict, build_or_explain, explain, no_function, read_script, run_built, with_set};

pub(crate) fn trace(arguments: &TraceArguments, terminal: &Terminal) -> Result<Verdict> {
    let script =
        read_script(&arguments.script, &with_set(arguments.options.to_options(), &arguments.set)?)?;
    let Some(built) = build_or_explain(&script, &arguments.encoding, terminal)? else {
        return Ok(Verdict::Wrong);
    };
    let image = script.options.open(&built.image).context("the compiler's image")?;
    let mut window = Window { from: arguments.from, count: arguments.count, code: Vec::new() };
    if let Some(name) = &arguments.function {
        window.code = functions_named(&image, name).into_iter().map(|(_, code)| code).collect();
        if window.code.is_empty() {
            bail!("{}: {}", script.name, no_function(&image, name));
        }
    }
    // The script's own output would only be in the way.
    let silent = || Output::Passed(Box::new(|_| ()));
    let run = run_built(&script, &built, silent, Tracer::new(window, &image), trace::run)?;
    let tracer = run.observer;
    terminal.write(&trace::render(&image, tracer.lines()))?;
    match run.end {
        Err(failure) if !tracer.is_full() => {
            explain(&script, &failure, terminal);
            Ok(Verdict::Wrong)
        }
        _ if tracer.lines().is_empty() && arguments.count > 0 => {
            let took = counted(run.instructions, "instruction");
            bail!("{}: no such instruction: the run took {took}", script.name)
        }
        _ => Ok(Verdict::Fine),
    }
}
