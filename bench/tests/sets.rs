//! The command line and instruction sets: a file is taken where the shipped set is, and
//! whatever is wrong with one is said with its place. Expectations are our own.

mod common;

use common::{folder, scruple_in};
use scruple_bytecode::sets::{SHIPPED, SetBuffer};

const SCRIPT: &str = "function f(a, b) {\n  return a + b;\n}\nconsole.log(f(20, 22));\n";
const SET: &str = "set small # for this test\njoin load_slot *, load_slot *, add, return_value\n";

fn files(name: &str) -> std::path::PathBuf {
    let set = ("small.set", SET.as_bytes());
    folder(name, &[("script.js", SCRIPT.as_bytes()), ("script.out", b"42\n"), set])
}

#[test]
fn an_image_packed_with_another_set_is_refused_with_both_hashes_and_runs_where_the_set_is_given() {
    let folder = files("sets-pack");
    let with = ["--encoding", "composite", "--set", "small.set"];
    let pack = scruple_in(&folder, &[&["pack", "script.js", "-o", "a.img"], &with[..]].concat());
    assert_eq!((pack.code, pack.err.as_str()), (0, ""));
    let without = scruple_in(&folder, &["run", "a.img"]);
    assert_eq!((without.code, without.out.as_str()), (1, ""));
    let wanted = SetBuffer::parse(SET).unwrap().set().hash();
    let says =
        format!("instruction set {wanted:08x} is wanted, this machine has {:08x}", SHIPPED.hash());
    assert!(without.err.contains(&says), "{}", without.err);
    let given = scruple_in(&folder, &["run", "a.img", "--set", "small.set"]);
    assert_eq!((given.code, given.out.as_str(), given.err.as_str()), (0, "42\n", ""));
    // A machine that is given a set has the shipped one as well.
    let args = ["pack", "script.js", "-o", "b.img", "--encoding", "composite"];
    assert_eq!(scruple_in(&folder, &args).code, 0);
    let shipped = scruple_in(&folder, &["run", "b.img", "--set", "small.set"]);
    assert_eq!((shipped.code, shipped.out.as_str()), (0, "42\n"));
}

#[test]
fn a_composite_is_listed_and_traced_with_its_operations_and_weighed_as_one_instruction() {
    let folder = files("sets-views");
    let with = ["--encoding", "composite", "--set", "small.set"];
    let run = |args: &[&str]| {
        let outcome = scruple_in(&folder, &[args, &with[..]].concat());
        assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{}", outcome.out);
        outcome.out
    };
    let listing = run(&["listing", "script.js", "--function", "f"]);
    let lines: Vec<&str> = listing.lines().map(str::trim).collect();
    let at = lines.iter().position(|line| line.ends_with("composite of 4")).expect("a composite");
    assert!(lines[at - 1] == "; 2: return a + b;", "{listing}");
    assert!(lines[at].starts_with("0000   73 00 01"), "{listing}");
    let below: Vec<&str> =
        lines[at + 1..].iter().filter_map(|line| line.split("  ").next()).collect();
    assert_eq!(below, ["load_slot 0", "load_slot 1", "add", "return_value"], "{listing}");
    let trace = run(&["trace", "script.js", "--function", "f"]);
    let places: Vec<&str> =
        trace.lines().skip(1).filter_map(|line| line.split_whitespace().nth(1)).collect();
    assert_eq!(places, ["0000"; 4], "{trace}");
    assert!(trace.contains("( 20 22 -- 42 )"), "{trace}");
    let csv = run_weigh(&folder);
    let (head, row) = csv.split_once('\n').expect("a head and a row");
    let figure = |name: &str| -> u64 {
        let column = head.split(',').position(|it| it == name).expect("a column");
        row.trim().split(',').nth(column).and_then(|it| it.parse().ok()).expect("a number")
    };
    // The four of `f` are one.
    assert_eq!(figure("operations") - figure("instructions"), 3, "{csv}");
}

#[test]
fn the_listing_says_which_table_an_entry_is_of() {
    let set =
        "set two\njoin load_slot *, load_slot *\nthen short add\nthen join add, return_value\n";
    let bad = "short add";
    assert!(SetBuffer::parse(set).is_err(), "{bad} is as short as the operation");
    let set = set.replace("then short add\n", "then short load_slot 1\n");
    let text = "function f(a, b) {\n  return a + b * b;\n}\nconsole.log(f(20, 22));\n";
    let files: &[(&str, &[u8])] = &[("script.js", text.as_bytes()), ("two.set", set.as_bytes())];
    let folder = folder("sets-tables", files);
    let listed = |encoding: &str| {
        let args = ["listing", "script.js", "--function", "f", "--set", "two.set"];
        let outcome = scruple_in(&folder, &[&args[..], &["--encoding", encoding]].concat());
        assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
        outcome.out
    };
    let context = listed("context");
    let lines: Vec<&str> = context.lines().map(str::trim).collect();
    let at = lines.iter().position(|line| line.ends_with("composite of 2")).expect("a composite");
    // The second table's first entry has the last opcode byte below the prefix, 254.
    assert!(lines[at + 3].starts_with("0003   fe"), "{context}");
    assert!(lines[at + 3].ends_with("short form, then"), "{context}");
    assert!(lines[at + 4].starts_with("load_slot 1 "), "{context}");
    assert!(!listed("composite").contains("then"));
}

fn run_weigh(folder: &std::path::Path) -> String {
    let args = ["weigh", "script.js", "--format", "csv", "--encoding", "composite"];
    let outcome = scruple_in(folder, &[&args[..], &["--set", "small.set"]].concat());
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    outcome.out
}

#[test]
fn a_set_file_that_is_none_is_refused_with_file_line_and_column() {
    let bad = ("bad.set", &b"set bad\n  join load_slot, add\n"[..]);
    let folder = folder("sets-bad", &[("script.js", SCRIPT.as_bytes()), bad, ("x", b"\xff")]);
    let says = |set| {
        let outcome = scruple_in(&folder, &["weigh", "script.js", "--set", set]);
        assert_eq!((outcome.code, outcome.out.as_str()), (1, ""));
        outcome.err
    };
    let text = says("bad.set");
    let wanted = "bad.set: line 2, column 17: load_slot: operand missing, a number or *";
    assert!(text.contains(wanted), "{text}");
    assert!(says("x").contains("not UTF-8 at offset 0"));
    assert!(says("none").contains("none: "));
}
