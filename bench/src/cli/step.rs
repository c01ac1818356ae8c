//! `step`: a script stepped through, by keys on a terminal or else by lines.

use std::io::{self, BufReader, IsTerminal};
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, Result};
use scruple_bench::build;
use scruple_bench::step::code::Code;
use scruple_bench::step::plain::Plain;
use scruple_bench::step::text::Lines;
use scruple_bench::step::{self, Pilot, Program};

use super::args_step::StepArguments;
use super::terminal::Terminal;
use super::{Verdict, build_or_explain, read_script, step_screen, usage, with_set};

pub(crate) fn step(arguments: &StepArguments, terminal: &Terminal) -> Result<Verdict> {
    let is_file = arguments.script != Path::new("-");
    usage(is_file, "standard input is for commands: the script has to be a file")?;
    let script =
        read_script(&arguments.script, &with_set(arguments.options.to_options(), &arguments.set)?)?;
    let Some(built) = build_or_explain(&script, &arguments.encoding, terminal)? else {
        return Ok(Verdict::Wrong);
    };
    let image = script.options.open(&built.image).context("the compiler's image")?;
    let dense = build::on_large_stack(|| {
        build::with_every_place(&script, &built, arguments.encoding.chosen())
    });
    let dense = dense.context("no thread to compile on")?;
    let places = dense.as_deref().map(|dense| script.options.open(dense)).transpose();
    let code = Arc::new(Code::new(&image, places.context("the compiler's image")?.as_ref()));
    let program = Program {
        feed: Arc::clone(&script.feed),
        limits: script.options.limits(u64::MAX),
        layout: arguments.layout,
        image: built.image,
    };
    let lines = Lines::new(&script.name, &script.text);
    let pilot = pilot(arguments, Arc::clone(&code), lines, terminal)?;
    let ended = build::on_large_stack(|| step::run(&program, &code, pilot).fault());
    match ended.context("no thread to run on")? {
        // Whoever read has had enough.
        Some(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(error).context("standard input or output")
        }
        _ => Ok(Verdict::Fine),
    }
}

/// Panes, where somebody sits before a terminal and has not asked for lines.
fn pilot(
    arguments: &StepArguments,
    code: Arc<Code>,
    lines: Lines,
    terminal: &Terminal,
) -> Result<Box<dyn Pilot>> {
    let is_answered = io::stdin().is_terminal() && io::stdout().is_terminal();
    let can_move = std::env::var_os("TERM").is_none_or(|term| term != "dumb");
    if step_screen::IS_IN_BUILD && is_answered && can_move && !arguments.plain {
        let colour = terminal.colour_of_output();
        return step_screen::open(code, lines, colour).context("the terminal");
    }
    let prompt = if is_answered { "step> " } else { "" };
    let streams = (BufReader::new(io::stdin()), io::stdout(), io::stderr());
    Ok(Box::new(Plain::new(streams, code, lines, prompt)))
}
