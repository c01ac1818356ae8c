//! The same algorithm in CPython 3.11: how much memory a script holds at most, and
//! how much CPython does, as its own `tracemalloc` counts it.
//!
//! The pairs lie in `yardstick/`, each written as one would in its language. Both
//! must print the same before anything is compared.
//!
//! What is compared, and where it leans:
//! - Ours is the *live peak*: heap and stack, found by a collection before every
//!   allocation. CPython frees an object with its last reference, so its peak is a
//!   live peak as well. The high-water mark, garbage included, is shown beside it.
//! - Neither counts the interpreter nor the compiled program. `tracemalloc` counts
//!   what is asked for, not what the allocator rounds it up to, nor the interpreter's
//!   own stack: that leans towards CPython.
//! - The integers from -5 to 256, `True`, `False`, `None` and the strings of one
//!   character exist once in CPython, before counting: a list of them is 8 bytes an
//!   element. Where those are the data, 64-bit pointers are all there is to beat.
//! - `bytearray` would hold the sieve in a byte an element; the language here has no
//!   such type yet, and a list of truth values is what both programs are about.
//!
//! The table is printed: `cargo test -p scruple-conformance --test python_memory --
//! --nocapture`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use scruple_conformance::{End, Setup, run};
use scruple_vm::HeapOptions;

struct Row {
    name: &'static str,
    live: u32,
    high_water: u32,
    python: u32,
}

impl Row {
    fn ratio(&self) -> f64 {
        f64::from(self.live) / f64::from(self.python)
    }
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("yardstick")
}

/// What CPython prints for the script, and the most bytes it held.
fn theirs(name: &str) -> (String, u32) {
    let output = Command::new("python3")
        .arg("peak.py")
        .arg(format!("{name}.py"))
        .current_dir(folder())
        .env("PYTHONHASHSEED", "0")
        .output()
        .expect("python3 runs");
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{name}: {error}");
    let peak = error.trim().parse().unwrap_or_else(|_| panic!("{name}: {error}"));
    (String::from_utf8(output.stdout).expect("text"), peak)
}

fn measure(name: &'static str) -> Row {
    let source = fs::read_to_string(folder().join(format!("{name}.js"))).expect("the script");
    let usual = run(&[&source], &Setup::default());
    let heap = HeapOptions { collect_every: 0, ..HeapOptions::default() };
    let exact = run(&[&source], &Setup { heap, ..Setup::default() });
    let (printed, python) = theirs(name);
    for outcome in [&usual, &exact] {
        assert_eq!(outcome.end, End::Finished, "{name}");
        assert_eq!(outcome.printed, printed, "{name}: ours and CPython's");
    }
    Row {
        name,
        live: exact.ledger.live_peak().total(),
        high_water: usual.ledger.high_water().total(),
        python,
    }
}

#[test]
fn scripts_hold_less_than_the_same_program_in_cpython() {
    let rows = ["binary_trees", "sieve", "string_build", "json_records"].map(measure);
    println!(
        "{:<16}{:>12}{:>12}{:>12}{:>8}",
        "bytes", "live peak", "high-water", "CPython", "ratio"
    );
    for row in &rows {
        println!(
            "{:<16}{:>12}{:>12}{:>12}{:>8.3}",
            row.name,
            row.live,
            row.high_water,
            row.python,
            row.ratio()
        );
    }
}
