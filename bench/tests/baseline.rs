//! Baselines of `weigh` and `sweep`: the verdict fails closed, unlike things are refused, and
//! a file is overwritten only once the verdict is reached, by what holds.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::{Outcome, folder, scruple_in};
use serde_json::Value;

const COMMANDS: [&str; 2] = ["weigh", "sweep"];

const SCRIPT: &str = "let a = []; for (let i = 0; i < 9; i++) a.push(i); console.log(a.length);";

fn scripts(test: &str) -> PathBuf {
    folder(test, &[("a.js", SCRIPT.as_bytes()), ("a.out", b"9\n")])
}

fn run(folder: &Path, command: &str, more: &[&str]) -> Outcome {
    scruple_in(folder, &[&[command, ".", "--encoding", "leb,implied"], more].concat())
}

fn saved(folder: &Path) -> Value {
    let text = fs::read_to_string(folder.join("base.json")).expect("what was saved");
    serde_json::from_str(&text).expect("JSON")
}

#[test]
fn what_is_saved_is_the_document_and_holds_against_itself() {
    for command in COMMANDS {
        let folder = scripts(&format!("baseline-same-{command}"));
        let first = run(&folder, command, &["--save", "base.json", "--format", "json"]);
        assert_eq!((first.code, first.err.as_str()), (0, "saved: base.json\n"));
        assert_eq!(fs::read_to_string(folder.join("base.json")).unwrap(), first.out);
        let second = run(&folder, command, &["--baseline", "base.json"]);
        assert_eq!((second.code, second.err.as_str()), (0, ""), "{}", second.out);
        assert!(second.out.contains("none differs"), "{}", second.out);
        let csv = run(&folder, command, &["--baseline", "base.json", "--format", "csv"]);
        assert!(!csv.out.contains("none differs") && csv.err.contains("none differs"));
    }
}

#[test]
fn a_larger_figure_ends_in_3_and_does_not_take_the_baselines_place() {
    for command in COMMANDS {
        let folder = scripts(&format!("baseline-worse-{command}"));
        assert_eq!(run(&folder, command, &["--save", "base.json"]).code, 0);
        let before = saved(&folder);
        fs::write(folder.join("a.js"), format!("{SCRIPT}\nlet more = 1;\n")).unwrap();
        let both = ["--baseline", "base.json", "--save", "base.json"];
        let metric =
            run(&folder, command, &["--baseline", "base.json", "--metric", "stack_peak_bytes"]);
        assert_eq!(metric.code, 0, "{}{}", metric.out, metric.err);
        assert_eq!(run(&folder, command, &["--baseline", "base.json", "--allow", "900"]).code, 0);
        let worse = run(&folder, command, &both);
        assert_eq!(worse.code, 3, "{}", worse.out);
        assert!(worse.out.contains("worse by more than 0 %"), "{}", worse.out);
        assert!(worse.err.contains("not saved: base.json is the baseline"), "{}", worse.err);
        assert_eq!(saved(&folder), before);
        assert_eq!(run(&folder, command, &both).code, 3, "a second try is no better");
        let elsewhere = ["--baseline", "base.json", "--save", "now.json"];
        assert_eq!(run(&folder, command, &elsewhere).code, 3);
        assert!(folder.join("now.json").exists(), "another file is no baseline");
        assert_eq!(run(&folder, command, &["--save", "base.json"]).code, 0);
        assert_eq!(run(&folder, command, &both).code, 0, "accepted: now it is the baseline");
    }
}

#[test]
fn a_row_that_is_lost_or_fails_ends_in_3_and_a_failure_is_never_saved() {
    for command in COMMANDS {
        let folder = scripts(&format!("baseline-lost-{command}"));
        fs::write(folder.join("b.js"), "console.log(1);").unwrap();
        assert_eq!(run(&folder, command, &["--save", "base.json"]).code, 0);
        let before = saved(&folder);
        fs::write(folder.join("a.out"), "8\n").unwrap();
        let both = ["--baseline", "base.json", "--save", "base.json"];
        let failed = run(&folder, command, &["--baseline", "base.json"]);
        assert_eq!(failed.code, 3, "{}", failed.out);
        let kept = run(&folder, command, &both);
        assert_ne!(kept.code, 0);
        assert!(kept.err.contains("not saved: a script has no figures"), "{}", kept.err);
        assert_eq!(saved(&folder), before);
        fs::remove_file(folder.join("a.js")).unwrap();
        assert_eq!(run(&folder, command, &["--baseline", "base.json"]).code, 3, "a row is gone");
    }
}

#[test]
fn unlike_things_are_refused_before_anything_is_saved() {
    let folder = scripts("baseline-unlike");
    assert_eq!(run(&folder, "weigh", &["--save", "base.json"]).code, 0);
    let before = saved(&folder);
    let both = ["--baseline", "base.json", "--save", "base.json"];
    let refused = [
        run(&folder, "sweep", &both),
        run(&folder, "weigh", &[&both[..], &["--layout", "wide"]].concat()),
        scruple_in(&folder, &[&["weigh", "."], &both[..]].concat()),
    ];
    for (outcome, reason) in refused.iter().zip(["unlike", "unlike layouts", "unlike encodings"]) {
        assert_eq!(outcome.code, 1, "{reason}: {}", outcome.out);
        assert!(outcome.err.contains(reason), "{}", outcome.err);
    }
    assert_eq!(saved(&folder), before);
    fs::write(folder.join("none.json"), "[]").unwrap();
    let none = run(&folder, "weigh", &["--baseline", "none.json"]);
    assert_eq!((none.code, none.out.as_str()), (1, ""), "refused before anything is measured");
    for usage in [&["--allow", "1"][..], &["--baseline", "base.json", "--shard", "1/2"]] {
        assert_eq!(run(&folder, "weigh", usage).code, 2);
    }
}
