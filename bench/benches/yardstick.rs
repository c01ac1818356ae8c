//! A yardstick for speed: three small scripts here, and the same three programs in
//! CPython, turn by turn.
//!
//! Both run as whole processes: `scruple run`, under `implied` with counting
//! switched on, and `python3`. Compiling is in both times. From each is taken the
//! time of a process of its kind that does nothing. Of each the best of some rounds
//! counts, and the two take turns, so that a busy minute of the machine hits both.
//!
//! Ours are not run in this process: the interpreter's loop is laid out anew in
//! every program it is linked into, and its time differs by a quarter and more from
//! one to the next. What counts is the program that people run.
//!
//! It refuses to set times beside each other when the answers differ, and it
//! judges nothing: it always ends well, with or without CPython.
//!
//!     cargo bench -p scruple-bench --bench yardstick

mod common;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use scruple_bytecode::Encoding;

use common::clock::Best;
use common::machine::{Region, Run};

/// How often each program runs.
const ROUNDS: u32 = 7;

/// The interpreter that the scripts' twins run in.
const PYTHON: &str = "python3";

/// A program in both languages.
struct Pair {
    name: &'static str,
    script: &'static str,
}

const PAIRS: [Pair; 3] = [
    Pair { name: "fib", script: include_str!("../yardstick/fib.js") },
    Pair { name: "sieve", script: include_str!("../yardstick/sieve.js") },
    Pair { name: "loop", script: include_str!("../yardstick/loop.js") },
];

/// What a pair came to.
struct Row {
    instructions: u64,
    ours: Best,
    /// CPython's whole process, its start included.
    theirs: Option<Best>,
}

impl Pair {
    /// Where the program lies: `js` is ours, `py` CPython's.
    fn file(&self, extension: &str) -> PathBuf {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("yardstick");
        folder.join(self.name).with_extension(extension)
    }

    /// Runs both in turn; the starts take the times of processes that do nothing.
    fn measure(
        &self,
        rounds: u32,
        our_start: &mut Best,
        start: Option<&mut Best>,
    ) -> Result<Row, String> {
        let run = run_here(self.script, &mut Region::new())?;
        let mut row = Row { instructions: run.instructions, ours: Best::default(), theirs: None };
        let mut theirs = Best::default();
        let mut start = start;
        for _ in 0..rounds {
            let (nothing, seconds) = timed(|| run_ours("-".as_ref()));
            nothing?;
            our_start.note(seconds);
            let (printed, seconds) = timed(|| run_ours(self.file("js").as_ref()));
            if printed? != run.printed {
                return Err("the tool and the library print different answers".to_owned());
            }
            row.ours.note(seconds);
            let Some(start) = start.as_deref_mut() else { continue };
            let (nothing, seconds) = timed(|| run_python(&["-c".as_ref(), "pass".as_ref()]));
            nothing?;
            start.note(seconds);
            let (printed, seconds) = timed(|| run_python(&[self.file("py").as_ref()]));
            let printed = printed?;
            if printed != run.printed {
                return Err(format!("ours printed {:?}, CPython {printed:?}", run.printed));
            }
            theirs.note(seconds);
            row.theirs = Some(theirs);
        }
        Ok(row)
    }
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let start = Instant::now();
    let result = work();
    (result, start.elapsed().as_secs_f64())
}

/// What the tool prints for a script; for `-`, an empty one.
fn run_ours(script: &std::ffi::OsStr) -> Result<String, String> {
    let mut command = Command::new(env!("CARGO_BIN_EXE_scruple"));
    command.args(["run", "--encoding", "implied"]).arg(script);
    printed_by("scruple", command)
}

/// In this process, for the count of instructions and the answer.
fn run_here(source: &str, region: &mut Region) -> Result<Run, String> {
    let encoding = Encoding::Implied;
    let options = scruple_compiler::Options { encoding, ..Default::default() };
    let compiled = scruple_compiler::compile(source, &options)
        .map_err(|diagnostics| diagnostics.first().message().to_owned())?;
    region.run(&compiled.image)
}

/// What the interpreter prints, with line ends as scripts here have them.
///
/// `-I -S` leaves out the user's settings and the search for installed packages.
/// No program here needs them, and the start that is to be subtracted gets short:
/// without, it can be half of the time, and its noise then half of the ratio's.
fn run_python(args: &[&std::ffi::OsStr]) -> Result<String, String> {
    let mut command = Command::new(PYTHON);
    command.args(["-I", "-S"]).args(args);
    printed_by(PYTHON, command)
}

fn printed_by(name: &str, mut command: Command) -> Result<String, String> {
    let output =
        command.stdin(Stdio::null()).output().map_err(|error| format!("{name}: {error}"))?;
    if !output.status.success() {
        let complaint = String::from_utf8_lossy(&output.stderr);
        return Err(format!("{name} failed: {}", complaint.trim_end()));
    }
    Ok(String::from_utf8_lossy(&output.stdout).replace("\r\n", "\n"))
}

/// Name and version of the interpreter.
fn python_version() -> Result<String, String> {
    let ask = "import platform as p; print(p.python_implementation(), p.python_version())";
    let answer = run_python(&["-c".as_ref(), ask.as_ref()])?;
    Ok(answer.trim_end().to_owned())
}

fn cell(value: Option<f64>) -> String {
    value.map_or("-".to_owned(), |value| format!("{value:.2}"))
}

fn main() {
    let is_measuring = common::is_measuring();
    let rounds = if is_measuring { ROUNDS } else { 1 };
    let version = python_version();
    let mut start = version.as_ref().ok().map(|_| Best::default());
    let mut our_start = Best::default();
    let results: Vec<(&Pair, Result<Row, String>)> = PAIRS
        .iter()
        .map(|pair| (pair, pair.measure(rounds, &mut our_start, start.as_mut())))
        .collect();
    if let Err(reason) = &version {
        println!("There is no CPython to measure against ({reason}): its columns are empty.");
    }
    if is_measuring {
        let theirs = version.as_deref().unwrap_or("CPython");
        let starts = (our_start.seconds().unwrap_or(0.0), start.and_then(Best::seconds));
        print_table(theirs, starts, &results);
    } else {
        print_checks(&results);
    }
}

/// Prints the table, the geometric mean under it, and what the figures mean.
fn print_table(
    theirs: &str,
    (our_start, start): (f64, Option<f64>),
    results: &[(&Pair, Result<Row, String>)],
) {
    let theirs_ms = format!("{theirs} ms");
    println!("{:<8}{:>10}{theirs_ms:>20}{:>8}{:>15}", "script", "ours ms", "ratio", "instructions");
    let mut ratios = Vec::new();
    for (pair, result) in results {
        let row = match result {
            Ok(row) => row,
            Err(error) => {
                println!("{:<8}error: {error}", pair.name);
                continue;
            }
        };
        let ours = row.ours.seconds().map(|whole| whole - our_start);
        let whole = row.theirs.and_then(Best::seconds);
        let theirs = whole.zip(start).map(|(whole, start)| whole - start);
        // Noise can make a short program's process quicker than one that does
        // nothing: then there is no ratio to speak of.
        let ratio = theirs.zip(ours).map(|(theirs, ours)| theirs / ours).filter(|&r| r > 0.0);
        ratios.extend(ratio);
        println!(
            "{:<8}{:>10}{:>20}{:>8}{:>15}",
            pair.name,
            cell(ours.map(|seconds| seconds * 1e3)),
            cell(theirs.map(|seconds| seconds * 1e3)),
            cell(ratio),
            row.instructions
        );
    }
    if !ratios.is_empty() && ratios.len() == results.len() {
        let logs: f64 = ratios.iter().map(|ratio| ratio.ln()).sum();
        let mean = (logs / ratios.len() as f64).exp();
        println!("{:<8}{:>10}{:>20}{mean:>8.2}", "mean", "", "geometric");
    }
    println!();
    println!("Ours: `scruple run`, `implied`, counting switched on: the whole process less");
    println!("{:.2} ms, that of an empty script.", our_start * 1e3);
    if let Some(start) = start {
        println!("{theirs}: the whole process less {:.2} ms, that of `pass`.", start * 1e3);
    }
    println!("Each the best of {ROUNDS} rounds, in turn. The ratio is theirs to ours.");
    println!("Times are noisy and are this machine's. The counts of instructions are exact.");
}

/// Prints only whether the programs work and agree.
fn print_checks(results: &[(&Pair, Result<Row, String>)]) {
    for (pair, result) in results {
        match result {
            Ok(Row { theirs: Some(_), .. }) => println!("{}: both answers agree", pair.name),
            Ok(_) => println!("{}: ours runs; nothing to compare with", pair.name),
            Err(error) => println!("{}: error: {error}", pair.name),
        }
    }
}
