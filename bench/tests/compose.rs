//! What `compose` does as a command: a set that the set file's own reader takes, an
//! evaluation that holds the script in question out, reports.

mod common;

use std::fs;

use common::schema::check_schema;
use common::{folder, scruple, scruple_in};
use scruple_bench::compose::document::{Composition, Stranger};
use scruple_bench::document::{Document, Row};
use scruple_bytecode::Encoding;
use scruple_bytecode::sets::SetBuffer;

const CORPUS: &[&str] = &["samples/marrow-brook", "samples/kernels/fib.js"];

fn compose(args: &[&str]) -> String {
    let outcome = scruple(&[&["compose"], CORPUS, args].concat());
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{}", outcome.out);
    outcome.out
}

fn document(args: &[&str]) -> Composition {
    let text = compose(&[&["--format", "json"], args].concat());
    check_schema("compose", &text);
    serde_json::from_str(&text).unwrap()
}

#[test]
fn the_report_of_a_mined_set() {
    // Other encodings do not move it.
    let args = ["--entries", "24", "--encoding", "composite"];
    insta::assert_snapshot!(compose(&args));
}

#[test]
fn the_set_is_one_that_its_own_reader_takes_and_says_the_same_hash() {
    let folder = folder("mined", &[]);
    let file = folder.join("tides.set");
    let file = file.to_str().unwrap();
    let mined = document(&["--name", "tides", "-o", file]);
    let text = fs::read_to_string(file).unwrap();
    assert_eq!(text, mined.set_text);
    let read = SetBuffer::parse(&text).unwrap();
    let set = read.set();
    assert_eq!((set.name(), set.hash()), ("tides", mined.set_hash));
    assert_eq!((set.len(), set.table_bytes() as u64), (mined.entries.len(), mined.table_bytes));
    assert!(set.len() > 40);
}

#[test]
fn what_the_entries_save_adds_up_to_what_the_set_saves() {
    let mined = document(&[]);
    let bytes: i64 = mined.entries.iter().map(|entry| entry.saved_bytes).sum();
    let instructions: i64 = mined.entries.iter().map(|entry| entry.saved_instructions).sum();
    let sum = &mined.sum;
    // The model without entries has a prefix for rare operations, `leb` has none.
    assert!(bytes >= sum.leb as i64 - sum.in_sample as i64);
    assert_eq!(instructions, sum.operations as i64 - sum.dispatched_in_sample as i64);
    for entry in &mined.entries {
        assert_eq!(entry.uses, entry.places.iter().map(|place| place.uses).sum::<u64>());
        assert!(entry.places.len() >= 2, "{} is of one script", entry.text);
    }
    assert!(bytes > mined.table_bytes as i64);
    // The compiler joins less than the model: never fewer bytes, and not many more.
    let trials = mined.sum_trials.iter().find(|trials| trials.encoding == "composite").unwrap();
    let near = |compiled: u64, model: u64| (model..model * 106 / 100).contains(&compiled);
    assert!(near(trials.in_sample.instruction_bytes, sum.in_sample));
    assert!(near(trials.held_out.instruction_bytes, sum.held_out));
    assert!(near(trials.in_sample.instructions.unwrap(), sum.dispatched_in_sample));
    assert!(near(trials.held_out.instructions.unwrap(), sum.dispatched_held_out));
}

// Against `weigh`, which is another way to the same figures: it is given the set as a file.
#[test]
fn what_is_compiled_and_run_is_what_weigh_finds_with_the_same_set() {
    let folder = folder("tried", &[]);
    let file = folder.join("tried.set");
    let file = file.to_str().unwrap();
    let mined = document(&["-o", file]);
    let weighed = scruple(&[&["weigh", "--format", "json", "--set", file], CORPUS].concat());
    assert_eq!(weighed.code, 0, "{}", weighed.err);
    let weighed: Document = serde_json::from_str(&weighed.out).unwrap();
    let has_set: Vec<&str> =
        Encoding::ALL.iter().filter(|one| one.has_set()).map(|one| one.name()).collect();
    for row in &mined.rows {
        let names: Vec<&str> = row.trials.iter().map(|one| one.encoding.as_str()).collect();
        assert_eq!(names, has_set);
        for trials in &row.trials {
            let is_same =
                |other: &&Row| other.script == row.script && other.encoding == trials.encoding;
            let figures = weighed.rows.iter().find(is_same).unwrap().figures.as_ref().unwrap();
            let trial = trials.in_sample;
            assert_eq!(trial.instruction_bytes, figures.image.instructions);
            assert_eq!(trial.image_bytes, figures.image.total);
            assert_eq!(trial.instructions, Some(figures.instructions));
            assert_eq!(row.figures.operations, figures.operations);
        }
    }
}

#[test]
fn a_set_tried_elsewhere_was_not_mined_there() {
    let alone = document(&[]);
    let on = ["--on", "samples/kernels/md5.js,samples/kernels/closures.js"];
    let mined = document(&[&on[..], &["--encoding", "composite"]].concat());
    assert_eq!(mined.set_text, alone.set_text);
    let elsewhere = mined.elsewhere.unwrap();
    assert_eq!((elsewhere.rows.len(), elsewhere.left_out.len()), (2, 0));
    for row in &elsewhere.rows {
        let [abroad] = row.trials.as_slice() else { panic!("composite alone") };
        let trial = &abroad.trial;
        assert!(row.answer_checked && trial.instruction_bytes < row.byte);
        assert!(trial.instructions.is_some_and(|instructions| instructions < row.operations));
    }
    let sum = |read: fn(&Stranger) -> u64| elsewhere.rows.iter().map(read).sum::<u64>();
    assert_eq!(sum(|row| row.byte), elsewhere.sum.byte);
    let trial = |row: &Stranger| row.trials[0].trial.instruction_bytes;
    assert_eq!(sum(trial), trial(&elsewhere.sum));
    let refused = scruple(&["compose", "samples/kernels/fib.js", "--encoding", "leb"]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("[possible values: composite, echo, context]"), "{}", refused.err);
}

// Only where an entry need not pay its table in full has so small a corpus a second one.
#[test]
fn for_context_a_second_table_is_mined_which_saves_beside_the_first() {
    let args = ["--for", "context", "--table", "10"];
    let (mined, alone) = (document(&args), document(&["--table", "10"]));
    let second = mined.entries.iter().filter(|entry| entry.text.starts_with("then "));
    assert!(second.clone().count() > 3 && second.clone().all(|entry| entry.uses > 0));
    assert!(!alone.set_text.contains("then"));
    let bytes: i64 = mined.entries.iter().map(|entry| entry.saved_bytes).sum();
    let sum = &mined.sum;
    assert!(bytes >= sum.leb as i64 - sum.in_sample as i64);
    assert!(sum.in_sample < alone.sum.in_sample);
    // The compiler joins less than the model: never fewer bytes, and not many more.
    let context = mined.sum_trials.iter().find(|one| one.encoding == "context").unwrap();
    let near = |model: u64, bytes: u64| (model..model * 106 / 100).contains(&bytes);
    assert!(near(sum.in_sample, context.in_sample.instruction_bytes), "{context:?}");
    assert!(near(sum.held_out, context.held_out.instruction_bytes), "{context:?}");
    let read = SetBuffer::parse(&mined.set_text).unwrap();
    assert_eq!(read.set().hash(), mined.set_hash);
    assert_eq!(read.set().table_bytes() as u64, mined.table_bytes);
    // Over a first table that is given, which stays as it is.
    let folder = folder("mined-first", &[("first.set", alone.set_text.as_bytes())]);
    let file = folder.join("first.set");
    let over = document(&[&args[..], &["--first", file.to_str().unwrap()]].concat());
    let lines = |text: &str| -> Vec<String> {
        text.lines().filter(|line| !line.starts_with("then ")).map(str::to_owned).collect()
    };
    assert_eq!(lines(&over.set_text), lines(&alone.set_text));
    assert!(over.sum.in_sample <= alone.sum.in_sample);
}

#[test]
fn the_same_corpus_gives_the_same_bytes() {
    assert_eq!(compose(&["--format", "json"]), compose(&["--format", "json"]));
}

#[test]
fn the_goal_decides_what_is_saved() {
    let bytes = document(&[]);
    let instructions = document(&["--goal", "instructions"]);
    assert!(bytes.sum.in_sample < instructions.sum.in_sample);
    assert!(instructions.sum.dispatched_in_sample < bytes.sum.dispatched_in_sample);
    let all = document(&["--goal", "mix", "--weight", "100"]);
    assert_eq!(all.set_text, bytes.set_text);
}

// By construction: a script that no other is like is helped by its own set only.
#[test]
fn held_out_a_script_has_nothing_from_itself() {
    let own = "x = x * 7919 - 104729 ^ x * 7919 - 104729 ^ x * 7919 - 104729;\n".repeat(9);
    let strange = format!("let x = 1;\n{own}console.log(x);\n");
    let other = "function greet(who) { return 'hello ' + who; }\nconsole.log(greet('you'));\n";
    let files: &[(&str, &[u8])] = &[
        ("strange.js", strange.as_bytes()),
        ("a.js", other.as_bytes()),
        ("b.js", other.as_bytes()),
    ];
    let folder = folder("held-out", files);
    let args = ["compose", ".", "--programs", "1", "--format", "json"];
    let outcome = scruple_in(&folder, &args);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let mined: Composition = serde_json::from_str(&outcome.out).unwrap();
    let row = mined.rows.iter().find(|row| row.script == "./strange.js").unwrap();
    let figures = row.figures;
    assert!(figures.in_sample * 2 < figures.leb, "{figures:?}");
    assert!(figures.held_out * 10 > figures.leb * 8, "{figures:?}");
    // Compiled, its own statements are laid down one by one. An echo says again what the
    // script itself has said, whatever the set.
    for trials in row.trials.iter().filter(|trials| trials.encoding != "echo") {
        assert!(trials.held_out.instruction_bytes * 10 > figures.leb * 8, "{trials:?}");
        assert!(trials.in_sample.instruction_bytes < trials.held_out.instruction_bytes);
    }
    assert!(!row.answer_checked);
}

#[test]
fn what_cannot_be_mined_is_named_or_refused() {
    let files: &[(&str, &[u8])] =
        &[("wrong.js", b"console.log(2);"), ("wrong.out", b"1\n"), ("bad.js", b"let = ;")];
    let folder = folder("no-mine", files);
    let outcome = scruple_in(&folder, &["compose", "."]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.contains("no script to mine from: ./bad.js: 1:"), "{}", outcome.err);
    assert!(!outcome.out.contains("wrong.js"), "a wrong answer is not mined");
    let unrun = scruple_in(&folder, &["compose", "wrong.js", "--no-run"]);
    assert_eq!(unrun.code, 0, "{}", unrun.err);
    let unrun = scruple_in(&folder, &["compose", "wrong.js", "--no-run", "--format", "json"]);
    check_schema("compose", &unrun.out);
    let unrun: Composition = serde_json::from_str(&unrun.out).unwrap();
    assert!(unrun.sum_trials.iter().all(|trials| trials.held_out.instructions.is_none()));
    let refused = scruple_in(&folder, &["compose", "wrong.js", "--no-run", "--goal", "mix"]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("its goal can only be bytes"), "{}", refused.err);
    let leb = scruple_in(&folder, &["compose", "wrong.js", "--no-run", "--for", "leb"]);
    assert_eq!(leb.code, 2);
    assert!(leb.err.contains("[possible values: composite, echo, context]"), "{}", leb.err);
    let first = ["compose", "wrong.js", "--no-run", "--first", "none.set"];
    let first = scruple_in(&folder, &first);
    assert!(first.err.contains("that is --for context"), "{}", first.err);
    let name = scruple_in(&folder, &["compose", "wrong.js", "--no-run", "--name", "a b"]);
    assert!(name.err.contains("is no name for a set"), "{}", name.err);
}
