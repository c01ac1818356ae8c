//! `trace`: runs a script and shows a window of what its instructions did.

use std::collections::BTreeSet;

use anyhow::{Context, Result, bail};
use scruple_bench::diagnose::{self, Source};
use scruple_bench::listed::Listed;
use scruple_bench::report::{self, Format, counted};
use scruple_bench::station::Output;
use scruple_bench::trace::{self, Tracer, Window, functions_named};
use scruple_bytecode::operand::FunctionId;

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
    let lines = tracer.lines();
    let failure = run.end.as_ref().err().filter(|_| !tracer.is_full());
    if failure.is_none() && lines.is_empty() && arguments.count > 0 {
        let took = counted(run.instructions, "instruction");
        bail!("{}: no such instruction: the run took {took}", script.name)
    }
    let text = match arguments.format {
        Format::Html => {
            let seen = lines.iter().filter_map(|line| image.function_at(line.step.at));
            let seen: BTreeSet<FunctionId> = seen.collect();
            let text = script.packed.is_none().then_some(script.text.as_str());
            let listed = Listed::new(&script.name, &image, seen, text);
            let source = Source { name: &script.name, text: &script.text };
            let ended = failure.map(|failure| diagnose::failure(source, failure, false));
            report::render_trace(&listed, &image, lines, ended.as_deref())
        }
        _ => trace::render(&image, lines),
    };
    terminal.write(&text)?;
    match run.end {
        Err(failure) if !tracer.is_full() => {
            explain(&script, &failure, terminal);
            Ok(Verdict::Wrong)
        }
        _ => Ok(Verdict::Fine),
    }
}
