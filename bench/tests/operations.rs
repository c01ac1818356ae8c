//! What `operations` does as a command: its sums are those of `weigh`, which counts another
//! way; its bytes are those of the encodings' rules; bad input is said.

mod common;

use common::schema::check_schema;
use common::{folder, scruple, scruple_in};
use scruple_bench::document::Document as Weighed;
use scruple_bench::operations::document::{Document, Operation, Uses};
use scruple_bytecode::{Encoding, Op};

const SCRIPTS: &[&str] = &["samples/marrow-brook", "samples/kernels/queens.js"];

fn document(args: &[&str]) -> Document {
    let outcome = scruple(&[&["operations", "--format", "json"], args].concat());
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{}", outcome.out);
    check_schema("operations", &outcome.out);
    serde_json::from_str(&outcome.out).unwrap()
}

fn sum(operations: &[Operation]) -> Uses {
    operations.iter().filter_map(|own| own.uses).reduce(Uses::plus).unwrap()
}

// Our own invariant: `weigh` has its figures from the image's sizes and the machine's own
// counter, and not from places.
#[test]
fn uses_add_up_to_what_weigh_counts() {
    for encoding in ["byte", "implied"] {
        let args = ["--encoding", encoding];
        let counted = document(&[SCRIPTS, &args].concat());
        let weigh = scruple(&[&["weigh", "--format", "json"], SCRIPTS, &args].concat());
        let weighed: Weighed = serde_json::from_str(&weigh.out).unwrap();
        let [total] = weighed.totals.as_slice() else { panic!("{:?}", weighed.totals) };
        let all = counted.sum.unwrap();
        assert_eq!(all.bytes, total.image.instructions);
        assert_eq!(all.carried_out, Some(total.operations));
        assert_eq!((counted.scripts, all), (total.scripts, sum(&counted.operations)));
        for own in counted.operations.iter().filter(|own| !own.commonest.is_empty()) {
            let shown = own.commonest.iter().map(|one| one.uses).reduce(Uses::plus).unwrap();
            let others = own.others.map_or(shown, |others| shown.plus(others.uses));
            assert_eq!(Some(others), own.uses, "{}", own.name);
        }
    }
}

// LEB128 as DWARF 5 has it (7.6, Variable Length Data): seven bits a byte, so an operand of
// 24 bits takes four; `word` and `byte` by their own rules (vm/bytecode/src/encoding).
#[test]
fn the_table_has_every_operation_and_its_bytes() {
    let table = document(&[]);
    assert_eq!(table.operations.len(), Op::ALL.len());
    let encodings: Vec<&str> =
        Encoding::ALL.iter().filter(|own| !own.has_set()).map(|own| own.name()).collect();
    for (own, &op) in table.operations.iter().zip(Op::ALL) {
        assert_eq!((own.number, own.name.as_str()), (op as u64, op.text().mnemonic));
        assert_eq!((own.uses, own.commonest.len()), (None, 0));
        let names: Vec<&str> = own.bytes.iter().map(|own| own.encoding.as_str()).collect();
        assert_eq!(names, encodings, "{}", own.name);
        let bytes = |name: &str| {
            let own = own.bytes.iter().find(|own| own.encoding == name).unwrap();
            (own.least, own.most)
        };
        assert_eq!(bytes("word"), (4, 4), "{}", own.name);
        let leb = if own.operand.is_some() { (2, 5) } else { (1, 1) };
        assert_eq!(bytes("leb"), leb, "{}", own.name);
        // Rows past those that its short forms leave room for have a prefix byte.
        assert!(bytes("implied").0 <= leb.0 + 1, "{}", own.name);
    }
    // A label too: the commonest operands alone are nothing there.
    let branch = table.operations.iter().find(|own| own.name == "branch").unwrap();
    assert_eq!((branch.operand.as_deref(), branch.flow.as_str()), (Some("label"), "jump"));
}

#[test]
fn an_operation_by_name_is_the_row_of_the_whole_table() {
    let args = [SCRIPTS, &["--name", "load_slot,branch"]].concat();
    let (some, all) = (document(&args), document(SCRIPTS));
    assert_eq!((some.sum, some.scripts), (all.sum, all.scripts));
    let names: Vec<&str> = some.operations.iter().map(|own| own.name.as_str()).collect();
    assert_eq!(names, ["load_slot", "branch"]);
    for own in &some.operations {
        assert!(all.operations.contains(own), "{}", own.name);
    }
    assert!(some.operations[1].commonest.is_empty());
    let outcome = scruple(&["operations", "--name", "load_slots"]);
    assert_eq!((outcome.code, outcome.out.as_str()), (2, ""));
    assert!(outcome.err.contains("'load_slots'"), "{}", outcome.err);
}

#[test]
fn a_wrong_script_is_left_out_and_said() {
    let files: &[(&str, &[u8])] = &[
        ("good.js", b"console.log(1 + 1);"),
        ("wrong.js", b"console.log(2);"),
        ("wrong.out", b"3\n"),
        ("refused.js", b"let a = ;"),
    ];
    let folder = folder("operations-wrong", files);
    let outcome = scruple_in(&folder, &["operations", "."]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.out.starts_with("1 script: "), "{}", outcome.out);
    assert!(outcome.out.contains("\nleft out: ./refused.js: 1:9: "), "{}", outcome.out);
    assert!(outcome.out.contains("\nleft out: ./wrong.js: wrong answer: "), "{}", outcome.out);
    assert!(outcome.out.contains("\n1 script without a file of that name with .out: "));
    let csv = scruple_in(&folder, &["operations", "wrong.js", "--format", "csv"]);
    assert_eq!(csv.code, 1);
    assert!(csv.err.starts_with("wrong.js: wrong answer: "), "{}", csv.err);
    let none = scruple_in(&folder, &["operations", "wrong.js"]);
    assert!(none.out.starts_with("no script that could be counted\nleft out: "), "{}", none.out);
    // Without a run there is no answer that could be wrong.
    let outcome = scruple_in(&folder, &["operations", "good.js", "wrong.js", "--no-run"]);
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    assert!(outcome.out.starts_with("2 scripts: "), "{}", outcome.out);
    assert!(!outcome.out.contains("carried out"), "{}", outcome.out);
    let outcome = scruple_in(&folder, &["operations", "--no-run"]);
    assert_eq!(outcome.code, 2);
}

#[test]
fn the_reports_of_one_script() {
    let script = "samples/kernels/fib.js";
    insta::assert_snapshot!("text", scruple(&["operations", script, "-v"]).out);
    insta::assert_snapshot!(
        "markdown",
        scruple(&["operations", script, "--format", "markdown"]).out
    );
    let csv = scruple(&["operations", script, "--format", "csv"]).out;
    let n_cells = |line: &str| line.split(',').count();
    let head = csv.lines().next().unwrap();
    assert_eq!(csv.lines().count(), 1 + Op::ALL.len());
    let row = csv.lines().find(|line| line.contains(",load_slot,")).unwrap();
    assert_eq!(n_cells(row), n_cells(head));
}
