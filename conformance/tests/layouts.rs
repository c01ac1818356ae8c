//! `narrow` against `wide`: what half the width of a reference and of a value
//! saves, on scripts that are mostly references.
//!
//! The target is the project's own (design, "Targets"): at most 0.55 of the live
//! peak. A block of `wide` is twice a block of `narrow` cell for cell; text is as
//! long in both, and a number that is no small integer has a cell of its own in
//! `narrow` alone, and arrays of small integers are packed alike in both, so scripts
//! full of those gain less: some such stand in the table without the target.
//!
//!     cargo test -p scruple-conformance --test layouts -- --nocapture

use rayon::prelude::*;
use scruple_conformance::{End, LayoutName, Setup, run};
use scruple_vm::{HeapOptions, Ledger};

/// A script, what it prints, and whether it is mostly references.
struct Script {
    name: &'static str,
    source: &'static str,
    prints: &'static str,
    pointers: bool,
}

/// The expected outputs are plain arithmetic.
const SCRIPTS: [Script; 9] = [
    Script {
        name: "binary tree",
        source: "
            function Node(left, right) { this.left = left; this.right = right; }
            function grow(n) { return n === 0 ? null : new Node(grow(n - 1), grow(n - 1)); }
            function count(node) { return node === null ? 0 : 1 + count(node.left) + count(node.right); }
            console.log(count(grow(9)));",
        prints: "511\n",
        pointers: true,
    },
    Script {
        name: "linked list",
        source: "
            let head = null;
            for (let i = 0; i < 500; i++) head = { value: i, next: head };
            let sum = 0;
            for (let node = head; node !== null; node = node.next) sum += node.value;
            console.log(sum);",
        prints: "124750\n",
        pointers: true,
    },
    // Eight copies: beside four, which the collector folds, the text they are read from
    // would be too large a part for a script of references.
    Script {
        name: "records from JSON",
        source: r#"
            const parts = [];
            for (let i = 0; i < 60; i++) {
                parts.push('{"id":' + i + ',"ok":true,"at":{"hour":' + i % 24 + '},"flags":[true,false]}');
            }
            const text = "[" + parts.join() + "]";
            parts.length = 0;
            const kept = [];
            for (let turn = 0; turn < 8; turn++) kept.push(JSON.parse(text));
            let sum = 0;
            for (const records of kept) for (const record of records) sum += record.at.hour;
            console.log(kept.length, sum);"#,
        prints: "8 4944\n",
        pointers: true,
    },
    Script {
        name: "objects as maps",
        source: "
            const table = {};
            for (let i = 0; i < 300; i++) table['k' + i % 100] = { count: i, next: table['k' + (i + 50) % 100] };
            let sum = 0;
            for (const key in table) sum += table[key].count;
            console.log(sum);",
        prints: "24950\n",
        pointers: true,
    },
    Script {
        name: "closures",
        source: "
            function counter(start) { let n = start; return { up: () => ++n, down: () => --n }; }
            const all = [];
            for (let i = 0; i < 150; i++) all.push(counter(i));
            let sum = 0;
            for (const each of all) { each.up(); each.up(); sum += each.down(); }
            console.log(sum);",
        prints: "11325\n",
        pointers: true,
    },
    Script {
        name: "arrays of arrays",
        source: "
            const grid = [], columns = [];
            for (let x = 0; x < 40; x++) columns.push({ x });
            for (let y = 0; y < 40; y++) { const row = []; for (let x = 0; x < 40; x++) row.push(columns[x]); grid.push(row); }
            let sum = 0;
            grid.forEach((row, y) => { for (const cell of row) sum += cell.x * y; });
            console.log(sum);",
        prints: "608400\n",
        pointers: true,
    },
    Script {
        name: "integers in arrays",
        source: "
            const grid = [];
            for (let y = 0; y < 40; y++) { const row = []; for (let x = 0; x < 40; x++) row.push(x * y); grid.push(row); }
            let sum = 0;
            for (const row of grid) for (const cell of row) sum += cell;
            console.log(sum);",
        prints: "608400\n",
        pointers: false,
    },
    Script {
        name: "numbers with fractions",
        source: "
            const list = [];
            for (let i = 0; i < 1000; i++) list.push(i + 0.5);
            console.log(list.reduce((a, b) => a + b, 0));",
        prints: "500000\n",
        pointers: false,
    },
    Script {
        name: "long text",
        source: "
            let text = '';
            for (let i = 0; i < 400; i++) text += 'level ' + i + ';';
            console.log(text.length);",
        prints: "3890\n",
        pointers: false,
    },
];

fn ledger(script: &Script, layout: LayoutName) -> Ledger {
    let heap = HeapOptions { collect_every: 0, ..HeapOptions::default() };
    let outcome = run(&[script.source], &Setup { layout, heap, ..Setup::default() });
    assert_eq!((outcome.printed.as_str(), &outcome.end), (script.prints, &End::Finished));
    outcome.ledger
}

#[test]
fn narrow_holds_at_most_55_hundredths_of_wide_where_references_are_most() {
    let rows: Vec<(&Script, u32, u32)> = SCRIPTS
        .par_iter()
        .map(|script| {
            let peak = |layout| ledger(script, layout).live_peak().total();
            (script, peak(LayoutName::Narrow), peak(LayoutName::Wide))
        })
        .collect();
    println!("{:<24}{:>10}{:>10}{:>8}", "live peak, bytes", "narrow", "wide", "ratio");
    let mut too_large = Vec::new();
    for (script, narrow, wide) in rows {
        let ratio = f64::from(narrow) / f64::from(wide);
        println!("{:<24}{narrow:>10}{wide:>10}{ratio:>8.3}", script.name);
        if script.pointers && ratio > 0.55 {
            too_large.push((script.name, ratio));
        }
    }
    assert!(too_large.is_empty(), "above 0.55: {too_large:?}");
}
