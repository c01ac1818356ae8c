//! How many bytes of heap each kind of thing takes, under both layouts.
//!
//! A script keeps `N` of a thing, and another `2N`, everything else alike; a
//! collection before every allocation leaves no garbage in the difference of the
//! books. The figures are exact, and contain the two bits a cell that the collector
//! needs: a cell of 8 bytes counts 8.25, one of 16 bytes 16.25.
//!
//! The table stands in the README, which pins it: `UPDATE_README=1 cargo test -p
//! scruple-conformance --test density` writes it, without the variable the test
//! compares. Whoever changes a figure there says why.
//!
//! Objects alike are folded by the collector (`vm/src/heap/records.rs`), here as soon as
//! they take more than before: the rows of objects are of many alike, and an object of
//! which there is but one takes what its row in a run without folding would say, a cell
//! and one more a property.
//!
//! Speed-ups of property look-up that cost RAM: there are none. A look-up goes
//! through the keys one by one; no inline cache or hash index exists, so
//! there is none to count or to switch off. What the book `caches` holds, the key
//! table (a string built at run time and used as a key exists once) and the list of
//! changed built-ins, is needed for right answers, not for speed; the row of keys
//! built at run time has its share. Maps and sets of more than eight entries have their
//! places by hash there too: those are for speed, and their rows show them.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use rayon::prelude::*;
use scruple_bench::report::spliced;
use scruple_conformance::{End, LayoutName, Setup, run};
use scruple_vm::HeapOptions;

/// How many things the smaller script keeps. A multiple of the cells that a slot of the
/// collector's bits counts, or the figures would not be exact.
const N: usize = 512;

/// The same of elements that take as little as 4 bits, 32 of them a cell.
const N_ELEMENTS: usize = 2048;

/// A thing: its name, and the statement that keeps the `i`th of them.
const THINGS: &[(&str, &str)] = &[
    ("empty object", "keep[i] = {};"),
    ("object with 1 property", "keep[i] = { a: i };"),
    ("object with 2 properties: integers", "keep[i] = { a: 1000 + i, b: 1000 + i };"),
    ("object with 2 properties: references", "keep[i] = { a: plain, b: null };"),
    ("frozen object with 2 properties", "keep[i] = Object.freeze({ a: i, b: i });"),
    (
        "object with 8 properties: integers",
        "const n = 1000 + i; keep[i] = { a: n, b: n, c: n, d: n, e: n, f: n, g: n, h: n };",
    ),
    (
        "object with 8 properties: references",
        "const o = plain; keep[i] = { a: o, b: o, c: o, d: o, e: o, f: o, g: o, h: o };",
    ),
    ("object of a constructor that sets 2 references", "keep[i] = new Pair(plain, null);"),
    (
        "object that gets 4 integers, one after the other",
        "const o = {}; o.a = o.b = o.c = o.d = 1000 + i; keep[i] = o;",
    ),
    ("property of one large object, key in flash as an index", "large[i] = i;"),
    (
        "property of one large object, key of 5 units built at run time",
        "large['k' + (1000 + i)] = i;",
    ),
    ("accessor property beside another property", "keep[i] = { a: i, get b() { return 1; } };"),
    ("empty array", "keep[i] = [];"),
    ("array with 1 element", "keep[i] = [i];"),
    ("array with 4 elements", "keep[i] = [i, i, i, i];"),
    ("element of a long array of known length: boolean", "long[i] = i % 2 === 0;"),
    ("element of a long array of known length: integer from -1 to 9", "long[i] = i % 10;"),
    ("element of a long array of known length: integer up to 249", "long[i] = i % 250;"),
    ("element of a long array of known length: integer of 16 bits", "long[i] = i - 500;"),
    ("element of a long array of known length: larger integer", "long[i] = 100000 + i;"),
    ("element of a long array of known length: double", "long[i] = i + 0.5;"),
    ("element of a long array that grew by push: larger integer", "grown.push(100000 + i);"),
    ("string that is a constant", "keep[i] = 'a constant of the script';"),
    ("string of 1 unit built at run time", "keep[i] = String(i % 10);"),
    ("string of 4 units built at run time", "keep[i] = String(1000 + i);"),
    ("string of 8 units built at run time", "keep[i] = 'abcd' + (1000 + i);"),
    ("string of 20 units built at run time", "keep[i] = 'abcdabcdabcdabcd' + (1000 + i);"),
    ("string of 8 units past Latin-1 built at run time", "keep[i] = '\\u2603bcd' + (1000 + i);"),
    ("number with a fraction", "keep[i] = i + 0.5;"),
    ("integer of 31 bits", "keep[i] = 1500000000 + i;"),
    ("function without captures", "keep[i] = () => 1;"),
    ("function that captures 1 variable, never assigned again", "const x = i; keep[i] = () => x;"),
    ("function that captures 1 variable and changes it", "let x = i; keep[i] = () => ++x;"),
    ("function that captures 3 variables", "const x = i, y = i, z = i; keep[i] = () => x + y + z;"),
    ("function used as a constructor", "keep[i] = function () {}; keep[i].prototype;"),
    ("bound function", "keep[i] = plain.bind(null);"),
    ("class without elements", "keep[i] = class {};"),
    ("class with 2 methods and a static one", "keep[i] = class { a() {} b() {} static c() {} };"),
    (
        "class that extends another, with 2 fields",
        "keep[i] = class extends Pair { a = 1; b = 2; };",
    ),
    ("object with a method that asks for super", "keep[i] = { m() { return super.m; } };"),
    ("Error with a message", "keep[i] = new Error('no level');"),
    ("empty map or set", "keep[i] = new Map();"),
    ("map with 1 entry", "keep[i] = new Map([[i, i]]);"),
    (
        "map with 8 entries",
        "const m = keep[i] = new Map(); for (let j = 0; j < 8; j++) m.set(j, i);",
    ),
    ("entry of a large map, added one after the other", "(large.map ??= new Map()).set(i, i);"),
    ("set with 8 values", "const s = keep[i] = new Set(); for (let j = 0; j < 8; j++) s.add(j);"),
    ("value of a large set, added one after the other", "(large.set ??= new Set()).add(i);"),
    ("typed array of 4 bytes and its buffer", "keep[i] = new Uint8Array(4);"),
    ("typed array of 64 bytes and its buffer", "keep[i] = new Uint8Array(64);"),
];

fn held(statement: &str, n: usize, layout: LayoutName) -> f64 {
    let long = if statement.starts_with("long") {
        format!("const long = new Array({n}).fill(null);")
    } else {
        String::new()
    };
    let source = format!(
        "function Pair(a, b) {{ this.a = a; this.b = b; }}
         function plain() {{}}
         const keep = new Array({full}).fill(null), large = {{}}, grown = [];
         {long}
         for (let i = 0; i < {n}; i++) {{ {statement} }}
         let end = {{}}; end = null; end = {{}};",
        full = 2 * N
    );
    let heap = HeapOptions { collect_every: 0, ..HeapOptions::default() };
    let outcome = run(&[&source], &Setup { layout, heap, ..Setup::default() });
    assert_eq!(outcome.end, End::Finished, "{statement}");
    assert!(outcome.ledger.audit());
    f64::from(outcome.ledger.now().total())
}

fn bytes_each(statement: &str, layout: LayoutName) -> f64 {
    let n = if statement.starts_with("long") { N_ELEMENTS } else { N };
    (held(statement, 2 * n, layout) - held(statement, n, layout)) / n as f64
}

fn rows() -> Vec<(&'static str, f64, f64)> {
    THINGS
        .par_iter()
        .map(|&(name, statement)| {
            let [narrow, wide] =
                [LayoutName::Narrow, LayoutName::Wide].map(|layout| bytes_each(statement, layout));
            (name, narrow, wide)
        })
        .collect()
}

fn table(rows: &[(&str, f64, f64)]) -> String {
    let mut table =
        String::from("\n| bytes of heap for each | `narrow` | `wide` |\n| --- | ---: | ---: |\n");
    for (name, narrow, wide) in rows {
        let _ = writeln!(table, "| {name} | {narrow:.2} | {wide:.2} |");
    }
    table
}

#[test]
fn the_table_of_densities_is_fresh() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let text = fs::read_to_string(&path).expect("the README");
    let table = table(&rows());
    println!("{table}");
    let fresh = spliced(&text, "density", &table).expect("the markers");
    if std::env::var_os("UPDATE_README").is_some() {
        fs::write(&path, fresh).expect("writing the README");
        return;
    }
    assert!(
        fresh == text,
        "stale: UPDATE_README=1 cargo test -p scruple-conformance --test density"
    );
}

#[test]
fn a_constant_takes_no_heap_and_an_empty_object_one_cell() {
    for (layout, cell) in [(LayoutName::Narrow, 8.25), (LayoutName::Wide, 16.25)] {
        let each = |statement| bytes_each(statement, layout);
        assert_eq!(each("keep[i] = 'a constant of the script';"), 0.0);
        assert_eq!(each("keep[i] = {};"), cell);
    }
}

#[test]
fn a_symbol_takes_one_cell_and_a_well_known_one_none() {
    for (layout, cell) in [(LayoutName::Narrow, 8.25), (LayoutName::Wide, 16.25)] {
        let each = |statement| bytes_each(statement, layout);
        assert_eq!(each("keep[i] = Symbol('a constant of the script');"), cell);
        assert_eq!(each("keep[i] = Symbol.iterator;"), 0.0);
        // The key is the symbol's number: the property takes what any other takes.
        assert_eq!(each("keep[i] = {[Symbol.iterator]: 1};"), each("keep[i] = {a: 1};"));
    }
}
