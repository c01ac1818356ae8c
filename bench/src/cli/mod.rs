//! The commands: each takes its arguments, asks the library, and writes.
//!
//! It owns the exit codes: 0 fine, 1 an error, 2 usage, 3 what does not fit or exceeds a
//! limit.

pub(crate) mod args;
pub(crate) mod args_corpus;
pub(crate) mod args_step;
pub(crate) mod baseline;
pub(crate) mod board;
pub(crate) mod compare;
pub(crate) mod compose;
pub(crate) mod fit;
pub(crate) mod listing;
pub(crate) mod manual;
pub(crate) mod memory;
pub(crate) mod merge;
pub(crate) mod operations;
pub(crate) mod outputs;
pub(crate) mod pack;
pub(crate) mod run;
pub(crate) mod step;
#[cfg_attr(not(feature = "terminal"), path = "step_no_screen.rs")]
mod step_screen;
pub(crate) mod sweep;
pub(crate) mod terminal;
pub(crate) mod trace;
pub(crate) mod weigh;

use std::fmt;
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, Result};
use scruple_bench::build::{self, Built};
use scruple_bench::diagnose::{self, Source};
use scruple_bench::document::{Row, RowError};
use scruple_bench::layout::HeapLayout;
use scruple_bench::machine::{self, Run, Setup};
use scruple_bench::options::{REGION, RunOptions};
use scruple_bench::script::{Candidate, Script};
use scruple_bench::sets;
use scruple_bench::station::Output;
use scruple_bench::trace::function_name;
use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;
use scruple_bytecode::operand::FunctionId;
use scruple_compiler::Diagnostics;
use scruple_vm::Observer;

use terminal::Terminal;

/// How a command ended that could do its work.
pub(crate) enum Verdict {
    /// All is well.
    Fine,
    /// What is wrong has been said.
    Wrong,
    /// What does not fit or exceeds a limit, or could not be measured for that, has been
    /// said.
    Exceeded,
}

/// The exit code; an error that has not been shown is shown.
pub(crate) fn conclude(result: Result<Verdict>, terminal: &Terminal) -> ExitCode {
    match result {
        Ok(Verdict::Fine) => ExitCode::SUCCESS,
        Ok(Verdict::Wrong) => ExitCode::from(1),
        Ok(Verdict::Exceeded) => ExitCode::from(3),
        Err(error) => {
            terminal.complain(&format!("scruple: {error:#}\n"));
            ExitCode::from(if error.is::<Usage>() { 2 } else { 1 })
        }
    }
}

/// Arguments that do not go together, which the definitions cannot say.
#[derive(Debug)]
struct Usage(String);

impl fmt::Display for Usage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Usage {}

/// Refuses arguments unless this is so. To be asked before anything is read.
fn usage(is_so: bool, otherwise: &str) -> Result<()> {
    if is_so { Ok(()) } else { Err(Usage(otherwise.to_owned()).into()) }
}

/// Shows what parsing ended with: help, or what is wrong with the arguments.
pub(crate) fn show(ended: &clap::Error) -> ExitCode {
    match ended.print().and_then(|()| io::stdout().flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe && !ended.use_stderr() => {
            let _ = writeln!(io::stderr(), "scruple: standard output: {error}");
            ExitCode::from(1)
        }
        _ => ExitCode::from(u8::try_from(ended.exit_code()).unwrap_or(2)),
    }
}

/// Options of a script that is not run: its instruction set alone.
fn options_with(set: &args::OneSet) -> Result<RunOptions> {
    with_set(RunOptions::default(), set)
}

/// These options, and the instruction set that is asked for.
fn with_set(options: RunOptions, set: &args::OneSet) -> Result<RunOptions> {
    let sets = set.set.as_deref().map(sets::read).transpose()?;
    Ok(RunOptions { sets, ..options })
}

/// Reads the script at a path, `-` being standard input.
fn read_script(path: &Path, asked: &RunOptions) -> Result<Script> {
    if path == Path::new("-") {
        return Ok(Script::read_from("-", &mut std::io::stdin().lock(), asked)?);
    }
    Ok(Script::read(path, asked)?)
}

/// Says of each image that it is not under the encoding that was asked for.
fn note_ignored(candidates: &[Candidate], asked: &[Encoding], terminal: &Terminal) {
    for candidate in candidates.iter().filter(|candidate| candidate.is_image()) {
        if let Some(own) = candidate.own_encoding()
            && asked.iter().any(|asked| *asked != own)
        {
            note_own(&candidate.name, own, terminal);
        }
    }
}

fn note_own(name: &str, own: Encoding, terminal: &Terminal) {
    let own = own.name();
    terminal.complain(&format!("{name}: an image under {own}: --encoding is for sources\n"));
}

/// Compiles a script, or shows what is wrong with it. A packed one is taken as it
/// is.
fn build_or_explain(
    script: &Script,
    asked: &args::OneEncoding,
    terminal: &Terminal,
) -> Result<Option<Built>> {
    let encoding = asked.chosen();
    if let (Some(packed), Some(asked)) = (&script.packed, asked.encoding)
        && packed.encoding != asked
    {
        note_own(&script.name, packed.encoding, terminal);
    }
    let built = build::on_large_stack(|| build::build(script, encoding))
        .context("no thread to compile on")?;
    Ok(built.map_err(|wrong| complain_of(script, &wrong, terminal)).ok())
}

/// Shows what the compiler refused.
fn complain_of(script: &Script, wrong: &Diagnostics, terminal: &Terminal) {
    let source = Source { name: &script.name, text: &script.text };
    terminal.complain(&diagnose::diagnostics(source, wrong, terminal.colour()));
}

/// Runs a compiled script in a machine with that observer.
fn run_built<O: Observer + Send + 'static>(
    script: &Script,
    built: &Built,
    output: impl FnOnce() -> Output + Send,
    observer: O,
    machine: impl FnOnce(Setup<'_, O>) -> Run<O> + Send,
) -> Result<Run<O>> {
    let run = build::on_large_stack(|| {
        let run = machine(Setup {
            image: &built.image,
            region: REGION,
            feed: script.feed.clone(),
            limits: script.options.limits(u64::MAX),
            collect_every: usize::MAX,
            output: output(),
            observer,
        });
        // What took the output may belong to the thread that ends here.
        Run { output: Output::kept(), ..run }
    });
    run.context("no thread to run on")
}

/// Shows why a run ended before its end.
fn explain(script: &Script, failure: &machine::Failure, terminal: &Terminal) {
    let source = Source { name: &script.name, text: &script.text };
    terminal.complain(&diagnose::failure(source, failure, terminal.colour()));
}

/// An error of a row, as a line of its own.
fn error_line(script: &str, encoding: &str, layout: HeapLayout, error: &RowError) -> String {
    let place = if error.line.is_some() { ":" } else { ": " };
    format!("{script}{place}{} ({encoding}, {})\n", error.describe(), layout.name())
}

/// The errors of rows: the text form shows them in its rows; other forms go to programs,
/// and whoever started those should not have to look for them there.
fn complain_of_rows(rows: &[Row], terminal: &Terminal) {
    for row in rows {
        if let Some(error) = &row.error {
            terminal.complain(&error_line(&row.script, &row.encoding, row.layout, error));
        }
    }
}

/// Each once, in the order asked for.
fn each_once<T: Copy + PartialEq>(asked: &[T]) -> Vec<T> {
    let mut chosen = Vec::new();
    for &one in asked {
        if !chosen.contains(&one) {
            chosen.push(one);
        }
    }
    chosen
}

/// What to say where no function has a name.
fn no_function(image: &Image<'_>, name: &str) -> String {
    const SHOWN: usize = 12;
    let names: Vec<String> = (0..image.n_functions())
        .filter_map(FunctionId::new)
        .map(|id| function_name(image, id))
        .take(SHOWN + 1)
        .collect();
    let more = if names.len() > SHOWN { ", …" } else { "" };
    format!("no function {name}: there is {}{more}", names[..names.len().min(SHOWN)].join(", "))
}
