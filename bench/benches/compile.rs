//! Compile time against the length of the source, which it must grow with and
//! with nothing more, nesting included.
//!
//! Sources are made up here at two lengths, a quarter of a megabyte and a
//! megabyte: functions side by side, functions inside one another, and brackets
//! inside one another. The nested ones come twice, 20 and 200 deep: a compiler that
//! looks ahead anew at each bracket, or walks all open scopes for each name, would
//! be linear in length and yet get slower by the byte the deeper it stands.
//!
//! It refuses to measure a source that does not compile to an image that can be
//! opened: that is told, and the bench then ends with an error.
//!
//!     cargo bench -p scruple-bench --bench compile

mod common;

use std::fmt::Write;
use std::process::ExitCode;
use std::time::Duration;

use criterion::measurement::WallTime;
use criterion::{Criterion, Throughput};
use scruple_bench::build::{MAX_NESTING, on_large_stack};
use scruple_bytecode::image::Image;
use scruple_compiler::{Options, compile};

use common::clock::Best;

/// The lengths, in bytes.
const LENGTHS: [usize; 2] = [250_000, 1_000_000];

/// A shape: appends its piece with this number and nested this deep. A source is
/// whole pieces.
struct Shape {
    name: &'static str,
    depth: usize,
    piece: fn(&mut String, usize, usize),
}

const SHAPES: [Shape; 5] = [
    Shape { name: "flat_functions", depth: 1, piece: flat_function },
    Shape { name: "nested_functions", depth: 20, piece: nested_functions },
    Shape { name: "nested_functions", depth: 200, piece: nested_functions },
    Shape { name: "nested_brackets", depth: 20, piece: nested_brackets },
    Shape { name: "nested_brackets", depth: 200, piece: nested_brackets },
];

/// What came of a shape: the length and the best time of each source.
struct Row {
    name: String,
    sources: Vec<(usize, Best)>,
}

/// A function of the everyday kind.
fn flat_function(out: &mut String, number: usize, _: usize) {
    append(
        out,
        format_args!(
            "function sum{number}(list, scale) {{\n\
             \x20 let total = {number};\n\
             \x20 for (let i = 0; i < list.length; i++) {{\n\
             \x20   if (list[i].value > scale && list[i].name !== \"none\") {{\n\
             \x20     total += list[i].value * scale - {number}.5;\n\
             \x20   }}\n\
             \x20 }}\n\
             \x20 return total;\n\
             }}\n"
        ),
    );
}

/// Functions inside one another; each uses a variable of the one around it, so
/// every scope but the last is captured.
fn nested_functions(out: &mut String, number: usize, depth: usize) {
    append(out, format_args!("function outer{number}(held0) {{\n"));
    for level in 1..depth {
        let around = level - 1;
        append(
            out,
            format_args!(
                "return function inner{level}(held{level}) {{ let x = held{around} + 1;\n"
            ),
        );
    }
    append(out, format_args!("return x{}", "; }".repeat(depth - 1)));
    out.push_str("\n}\n");
}

/// Brackets of three kinds inside one another. Each may be the start of an
/// arrow's parameters or of a pattern until its end is seen.
fn nested_brackets(out: &mut String, number: usize, depth: usize) {
    const BRACKETS: [(&str, &str); 4] =
        [("(a, ", ")"), ("[b, ", "]"), ("{ c, d: ", "}"), ("(e => ", ")")];
    append(out, format_args!("function tangle{number}(a, b, c) {{ return "));
    for level in 0..depth {
        out.push_str(BRACKETS[level % BRACKETS.len()].0);
    }
    append(out, format_args!("{number}"));
    for level in (0..depth).rev() {
        out.push_str(BRACKETS[level % BRACKETS.len()].1);
    }
    out.push_str("; }\n");
}

/// A String takes whatever is written.
fn append(out: &mut String, text: std::fmt::Arguments<'_>) {
    let _ = out.write_fmt(text);
}

impl Shape {
    fn label(&self) -> String {
        format!("{}/{}", self.name, self.depth)
    }

    /// A source of at least this many bytes: the last piece is whole.
    fn source(&self, length: usize) -> String {
        let mut out = String::with_capacity(length);
        let mut number = 0;
        while out.len() < length {
            (self.piece)(&mut out, number, self.depth);
            number += 1;
        }
        out
    }

    /// Measures the shape at each length.
    fn measure(&self, criterion: &mut Criterion<WallTime>, faults: &mut Vec<String>) -> Row {
        let options = Options { max_nesting: MAX_NESTING, ..Options::default() };
        let name = self.label();
        let mut group = criterion.benchmark_group(format!("compile/{name}"));
        let mut sources = Vec::new();
        for length in LENGTHS {
            let source = self.source(length);
            let mut best = Best::default();
            match check(&source, &options) {
                Ok(()) => {
                    group.throughput(Throughput::Bytes(source.len() as u64));
                    group.bench_function(format!("{}KB", length / 1000), |bencher| {
                        best.sample(bencher, || compile(&source, &options));
                    });
                }
                Err(fault) => faults.push(format!("{name} of {length}: {fault}")),
            }
            sources.push((source.len(), best));
        }
        group.finish();
        Row { name, sources }
    }
}

/// Refuses a source that does not compile.
fn check(source: &str, options: &Options) -> Result<(), String> {
    let compiled = compile(source, options).map_err(|diagnostics| {
        let first = diagnostics.first();
        let position = first.position();
        format!("{}:{}: {}", position.line, position.column, first.message())
    })?;
    Image::open(&compiled.image).map(|_| ()).map_err(|error| error.to_string())
}

/// Prints, for each shape, how much longer the longer source is and takes.
fn print_table(rows: &[Row]) {
    println!("Best time of a compilation; the shapes' names end in how deep they nest.");
    println!("Linear in length: both quotients are the same. In depth: so are the MB/s.");
    println!("Times are noisy: read the spreads above with them.");
    println!(
        "{:<22}{:>10}{:>12}{:>12}{:>14}{:>12}",
        "shape", "bytes", "ms", "MB/s", "bytes times", "time times"
    );
    for row in rows {
        let first = row.sources.first();
        for &(length, best) in &row.sources {
            let speed = best.seconds().map(|seconds| length as f64 / seconds / 1e6);
            let longer = first.map(|&(shortest, _)| length as f64 / shortest as f64);
            let slower = first
                .and_then(|(_, best)| best.seconds())
                .zip(best.seconds())
                .map(|(shortest, seconds)| seconds / shortest);
            println!(
                "{:<22}{length:>10}{:>12}{:>12}{:>14}{:>12}",
                row.name,
                best.cell(),
                cell(speed),
                cell(longer),
                cell(slower)
            );
        }
    }
}

fn cell(value: Option<f64>) -> String {
    value.map_or("-".to_owned(), |value| format!("{value:.2}"))
}

/// Measures everything and tells whether all of it could be.
fn bench() -> bool {
    let mut criterion = Criterion::default()
        .sample_size(20)
        .warm_up_time(Duration::from_millis(500))
        .measurement_time(Duration::from_secs(2))
        .configure_from_args();
    let mut faults = Vec::new();
    let rows: Vec<Row> =
        SHAPES.iter().map(|shape| shape.measure(&mut criterion, &mut faults)).collect();
    criterion.final_summary();
    if common::is_measuring() {
        print_table(&rows);
    }
    for fault in &faults {
        eprintln!("error: not measured: {fault}");
    }
    faults.is_empty()
}

fn main() -> ExitCode {
    match on_large_stack(bench) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("error: no thread to compile on: {error}");
            ExitCode::FAILURE
        }
    }
}
