//! The command line `scruple`: arguments, then the command they name, then the
//! exit code. What a command measures and how that looks is the library's.

mod cli;

use std::process::ExitCode;

use clap::Parser;
use scruple_bench::allocator::Counting;

use cli::args::{Arguments, Command};

/// Counts what the compiler holds.
#[global_allocator]
static ALLOCATOR: Counting = Counting;

fn main() -> ExitCode {
    let Arguments { color, command } = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(ended) => return cli::show(&ended),
    };
    let terminal = cli::terminal::Terminal::new(color);
    let result = match command {
        Command::Run(arguments) => cli::run::run(&arguments, &terminal),
        Command::Pack(arguments) => cli::pack::pack(&arguments, &terminal),
        Command::Weigh(arguments) => cli::weigh::weigh(&arguments, &terminal),
        Command::Fit(arguments) => cli::fit::fit(&arguments, &terminal),
        Command::Memory(arguments) => cli::memory::memory(&arguments, &terminal),
        Command::Board(arguments) => cli::board::board(&arguments, &terminal),
        Command::Sweep(arguments) => cli::sweep::sweep(&arguments, &terminal),
        Command::Compose(arguments) => cli::compose::compose(&arguments, &terminal),
        Command::Compare(arguments) => cli::compare::compare(&arguments, &terminal),
        Command::Merge(arguments) => cli::merge::merge(&arguments, &terminal),
        Command::Operations(arguments) => cli::operations::operations(&arguments, &terminal),
        Command::Listing(arguments) => cli::listing::listing(&arguments, &terminal),
        Command::Trace(arguments) => cli::trace::trace(&arguments, &terminal),
        Command::Step(arguments) => cli::step::step(&arguments, &terminal),
        Command::Completions(arguments) => cli::manual::completions(&arguments, &terminal),
        Command::Manual(arguments) => cli::manual::manual(&arguments, &terminal),
    };
    cli::conclude(result, &terminal)
}
