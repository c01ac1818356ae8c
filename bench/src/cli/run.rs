//! `run`: compiles a script and runs it, its output passed on as it comes.

use anyhow::Result;
use scruple_bench::layout::HeapLayout;
use scruple_bench::machine;
use scruple_bench::station::Output;
use scruple_vm::Counter;

use super::args::RunArguments;
use super::terminal::{Printer, Terminal};
use super::{Verdict, build_or_explain, explain, read_script, run_built, with_set};

pub(crate) fn run(arguments: &RunArguments, terminal: &Terminal) -> Result<Verdict> {
    let script =
        read_script(&arguments.script, &with_set(arguments.options.to_options(), &arguments.set)?)?;
    let Some(built) = build_or_explain(&script, &arguments.encoding, terminal)? else {
        return Ok(Verdict::Wrong);
    };
    let print = || {
        let mut printer = Printer::new();
        Output::Passed(Box::new(move |text| printer.print(text)))
    };
    let run = run_built(&script, &built, print, Counter::default(), |setup| {
        machine::count(HeapLayout::Narrow, setup)
    })?;
    match run.end {
        Ok(()) => Ok(Verdict::Fine),
        Err(failure) => {
            explain(&script, &failure, terminal);
            Ok(Verdict::Wrong)
        }
    }
}
