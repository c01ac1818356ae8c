//! What the compiler holds at most, against what a parser that builds a syntax
//! tree holds for the same source.
//!
//! The project's target is a twentieth (design, "Targets"), the image included. It is
//! reached where the image leaves room for it: where the tree's arena has little idle,
//! the image alone may be a twentieth of it. Every row has the limit that it keeps; what
//! is held beside the image has one for all.
//!
//! The yardstick is `oxc_parser` from crates.io, a parser for every use: its tree
//! carries spans and comments, and serves tools that need all of it. That a
//! compiler which keeps none of it takes less is the point of the comparison, not
//! a fault of the yardstick. Both sides go through one counting allocator in one
//! process: ours at its peak, theirs when the tree is done, which is less than
//! theirs at its peak. The tree's arena doubles its chunks, so the bytes it uses
//! are fewer than those it holds: both are shown.
//!
//! `UPDATE_README=1` writes the README's table, as in `readme.rs`.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use oxc_allocator::Allocator;
use oxc_parser::Parser;
use oxc_span::SourceType;
use scruple_bench::allocator::{Counting, held, peak_during};
use scruple_bench::build::{MAX_NESTING, on_large_stack};
use scruple_bench::report::spliced;
use scruple_bytecode::Encoding;
use scruple_compiler::{Options, compile};

#[global_allocator]
static ALLOCATOR: Counting = Counting;

const LENGTHS: [usize; 3] = [10_000, 100_000, 1_000_000];

/// The target: the peak, image included, of what the tree takes.
const TWENTIETH: f64 = 0.05;

/// What is held beside the image, of what the tree takes: all rows.
const BESIDE_IMAGE: f64 = 0.09;

/// The peak of what the tree takes, by length: functions side by side, functions 20
/// deep, the samples. Where the image alone is a twentieth or nearly, no compiler that
/// makes this image can be below that.
const LIMITS: [[f64; 3]; 3] =
    [[0.102, 0.157, 0.1315], [TWENTIETH, TWENTIETH, 0.091], [TWENTIETH, TWENTIETH, TWENTIETH]];

struct Source {
    name: &'static str,
    text: String,
    limit: f64,
}

struct Row {
    name: &'static str,
    limit: f64,
    source: usize,
    image: usize,
    peak: usize,
    held: usize,
    used: usize,
}

impl Row {
    fn working(&self) -> usize {
        self.peak - self.image
    }

    /// So much of what the tree takes.
    fn of_tree(&self, bytes: usize) -> f64 {
        bytes as f64 / self.held as f64
    }
}

/// Functions of the everyday kind, side by side, no two alike.
fn flat(length: usize) -> String {
    let mut out = String::new();
    let mut n = 0;
    while out.len() < length {
        let _ = writeln!(
            out,
            "function sum{n}(list, scale) {{\n  let total = {n};\n  \
             for (let i = 0; i < list.length; i++) {{\n    \
             if (list[i].value > scale && list[i].name !== \"none\") {{\n      \
             total += list[i].value * scale - {n}.5;\n    }}\n  }}\n  return total;\n}}"
        );
        n += 1;
    }
    out
}

/// Functions inside one another, twenty deep, each holding on to the one around.
fn nested(length: usize) -> String {
    let mut out = String::new();
    let mut n = 0;
    while out.len() < length {
        let _ = writeln!(out, "function outer{n}(held0) {{");
        for level in 1..20 {
            let around = level - 1;
            let _ = writeln!(
                out,
                "return function inner{level}(held{level}) {{ let x = held{around} + 1;"
            );
        }
        let _ = writeln!(out, "return x{}\n}}", "; }".repeat(19));
        n += 1;
    }
    out
}

/// The samples, each a function, over again until there are enough of them. Their
/// strings and names come again with them, and a constant is stored once: from
/// the second turn on that flatters both the image and the table of names.
fn samples(length: usize) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../samples");
    let mut files = Vec::new();
    for folder in ["kernels", "marrow-brook"] {
        for entry in fs::read_dir(root.join(folder)).expect("the samples") {
            let path = entry.expect("an entry").path();
            if path.extension().is_some_and(|end| end == "js") {
                files.push(path);
            }
        }
    }
    files.sort();
    let texts: Vec<String> =
        files.iter().map(|path| fs::read_to_string(path).expect("a sample")).collect();
    let mut out = String::new();
    for (n, text) in texts.iter().cycle().enumerate() {
        if out.len() >= length {
            break;
        }
        let _ = writeln!(out, "function sample{n}() {{\n{text}\n}}");
    }
    out
}

/// What our compiler holds at most.
fn ours(source: &str, encoding: Encoding) -> (usize, usize) {
    let options = Options { encoding, max_nesting: MAX_NESTING, lines: true };
    let (compiled, peak) = peak_during(|| compile(source, &options));
    let image = compiled.map(|compiled| compiled.image.len());
    (image.expect("it compiles"), peak.expect("the allocator counts"))
}

/// What the yardstick holds once its tree is there, and what the tree uses of it.
fn theirs(source: &str) -> (usize, usize) {
    let before = held().expect("the allocator counts");
    let arena = Allocator::default();
    let parsed = Parser::new(&arena, source, SourceType::cjs()).parse();
    assert!(parsed.errors.is_empty() && !parsed.panicked, "{:?}", parsed.errors);
    assert!(!parsed.program.body.is_empty());
    let after = held().expect("the allocator counts");
    (usize::try_from(after - before).expect("it holds something"), arena.used_bytes())
}

fn measure() -> Vec<Row> {
    let mut sources = Vec::new();
    for (length, [side_by_side, deep, of_samples]) in LENGTHS.into_iter().zip(LIMITS) {
        for (name, text, limit) in [
            ("functions side by side", flat(length), side_by_side),
            ("functions 20 deep", nested(length), deep),
            ("the samples", samples(length), of_samples),
        ] {
            sources.push(Source { name, text, limit });
        }
    }
    sources
        .iter()
        .map(|&Source { name, ref text, limit }| {
            let (image, peak) = ours(text, Encoding::Implied);
            let (held, used) = theirs(text);
            Row { name, limit, source: text.len(), image, peak, held, used }
        })
        .collect()
}

fn table(rows: &[Row]) -> String {
    let mut table = String::from(
        "\n| source | bytes | image | compile peak | of the tree | less the image | of the tree | tree holds | tree uses |\n\
         | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for row in rows {
        let _ = writeln!(
            table,
            "| {} | {} | {} | {} | {:.4} | {} | {:.4} | {} | {} |",
            row.name,
            row.source,
            row.image,
            row.peak,
            row.of_tree(row.peak),
            row.working(),
            row.of_tree(row.working()),
            row.held,
            row.used,
        );
    }
    table
}

/// That many bytes of a text over and over: a name comes again with every turn, and is
/// kept once.
fn over_and_over(text: &str, length: usize) -> String {
    text.repeat(length.div_ceil(text.len()))
}

#[test]
fn beside_the_image_no_more_is_held_for_a_longer_file_of_the_same_names() {
    // Pieces that are not full, the step that the image grows by, and a directory of the
    // pieces, four bytes of a thousand.
    const MOST: usize = 32 * 1024;
    let held = on_large_stack(|| {
        let mut held = Vec::new();
        for text in [flat(10), nested(10), samples(10_000)] {
            for length in [100_000, 1_000_000, 4_000_000] {
                let (image, peak) = ours(&over_and_over(&text, length), Encoding::Implied);
                held.push((length, image, peak - image));
            }
        }
        held
    });
    for (length, image, working) in held.expect("a thread") {
        println!("{length} {image} {working}");
        assert!(working <= MOST, "{working} bytes beside an image of {image}");
    }
}

#[test]
fn the_compiler_holds_less_than_a_syntax_tree_and_the_table_is_fresh() {
    let rows = on_large_stack(measure).expect("a thread");
    let table = table(&rows);
    println!("{table}");
    for row in &rows {
        assert!(row.image < row.peak && row.peak < row.used && row.used <= row.held);
        let (Row { name, source, limit, .. }, of_tree) = (row, row.of_tree(row.peak));
        assert!(of_tree <= *limit, "{name}, {source} bytes: {of_tree} of the tree");
        let beside = row.of_tree(row.working());
        assert!(beside <= BESIDE_IMAGE, "{name}, {source} bytes: {beside} beside the image");
        // A row that is let off the target is one where the image leaves no room.
        assert!(*limit <= TWENTIETH || row.of_tree(row.image) > 0.9 * TWENTIETH);
    }
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let text = fs::read_to_string(&path).expect("the README");
    let fresh = spliced(&text, "compile peak", &table).expect("a pair of markers");
    if std::env::var_os("UPDATE_README").is_some() {
        fs::write(&path, fresh).expect("writing the README");
        return;
    }
    assert!(
        fresh == text,
        "stale: UPDATE_README=1 cargo test -p scruple-bench --test compile_peak"
    );
}
