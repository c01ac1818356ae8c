//! What `step` takes: the definitions that parsing and `--help` come from.

use std::path::PathBuf;

use clap::Args;
use scruple_bench::layout::HeapLayout;

use super::args::{Limits, OneEncoding, OneSet, layout};

const STEP_EXAMPLES: &str = "\
Examples:
  scruple step samples/kernels/fib.js
  scruple step app.js --encoding composite --layout wide
  scruple step app.img --feed tide.csv --until 7200000
  printf 'break fib\\nrun\\ncalls\\nback\\n' | scruple step samples/kernels/fib.js

On a terminal it draws panes and takes keys: ? shows them. With --plain, or where standard input or
output is no terminal, it reads a command a line and writes what it comes to as text, line by line,
for programs and for screen readers: `help` tells the words. The end of the input ends it, with
code 0. What cannot be done is said on standard error, and nothing is lost.

A step is an instruction; under composite, echo and context that may be several operations, which
`operation` carries out one by one. Numbers of instructions are those of trace, memory and weigh.
Looking on changes no figure. Going back is running again from the start, and takes as long as the
run takes up to there. Where a run ends, in an uncaught exception too, one can go back from there.

Lines are those of every statement, whose places are found by compiling once more: the code is the
same. An image has only the lines where something can fail, and the others count to those before.";

#[derive(Debug, Args)]
#[command(after_help = STEP_EXAMPLES)]
pub(crate) struct StepArguments {
    /// The script or image; commands may come by standard input, so it is a file
    pub(crate) script: PathBuf,
    /// Read commands line by line, on a terminal too
    #[arg(long)]
    pub(crate) plain: bool,
    #[command(flatten)]
    pub(crate) encoding: OneEncoding,
    #[command(flatten)]
    pub(crate) set: OneSet,
    /// The layout of the heap
    #[arg(long, default_value = "narrow", value_parser = layout())]
    pub(crate) layout: HeapLayout,
    #[command(flatten)]
    pub(crate) options: Limits,
}
