//! What `sweep`, `compare` and `merge` do as commands: reports, exit codes, refusals.

mod common;

use std::fs;

use common::schema::check_schema;
use common::{folder, root, scruple, scruple_in};
use scruple_bench::sweep::document::Sweep;
use serde_json::Value;

/// A small corpus that is quick without optimisation.
const CORPUS: &[&str] = &[
    "samples/kernels/fib.js",
    "samples/marrow-brook/level_filter.js",
    "samples/marrow-brook/telemetry.js",
];

/// The encodings that these reports were written for: a new one does not move them.
const ENCODINGS: &[&str] = &["--encoding", "word,byte,leb,implied"];

fn sweep(args: &[&str]) -> String {
    let outcome = scruple(&[&["sweep"], CORPUS, ENCODINGS, args].concat());
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{}", outcome.out);
    outcome.out
}

#[test]
fn the_report_of_a_sweep() {
    insta::assert_snapshot!(sweep(&[]));
}

#[test]
fn the_sweep_as_markdown_and_csv() {
    let both = sweep(&["--format", "markdown"]) + &sweep(&["--format", "csv"]);
    insta::assert_snapshot!(both);
}

#[test]
fn the_chart_of_a_sweep_says_all_in_words_and_is_the_same_each_time() {
    let (first, second) = (sweep(&["--format", "svg"]), sweep(&["--format", "svg"]));
    assert_eq!(first, second);
    assert!(first.contains("prefers-color-scheme:dark") && !first.contains("<script"));
    for words in ["A word", "D implied", "on the front", "dominated by implied", "order 0"] {
        assert!(first.contains(words), "{words}");
    }
    insta::assert_snapshot!(first);
}

#[test]
fn the_document_of_a_sweep_satisfies_its_schema() {
    let text = sweep(&["--format", "json"]);
    check_schema("sweep", &text);
    let document: Sweep = serde_json::from_str(&text).unwrap();
    let front: Vec<&str> = document
        .points
        .iter()
        .filter(|point| point.dominated_by.is_none())
        .map(|point| point.encoding.as_str())
        .collect();
    assert_eq!(front, ["implied", "implied"], "one a layout");
}

#[test]
fn times_stand_apart_and_move_no_exact_figure() {
    let corpus = ["samples/marrow-brook/telemetry.js", "--encoding", "word,leb"];
    let run = |more: &[&str]| {
        let outcome = scruple(&[&["sweep"], &corpus[..], more].concat());
        assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
        outcome.out
    };
    let plain = run(&["--format", "json"]);
    let timed = run(&["--format", "json", "--time", "3"]);
    check_schema("sweep", &timed);
    let mut timed: Sweep = serde_json::from_str(&timed).unwrap();
    let times = timed.times.take().unwrap();
    assert_eq!(timed, serde_json::from_str(&plain).unwrap());
    assert_eq!((times.rounds, times.scripts, times.points.len()), (3, 1, 4));
    for (time, point) in times.points.iter().zip(&timed.points) {
        assert_eq!((time.name(), time.layout), (point.name(), point.layout));
        assert_eq!(time.instruction_bytes, point.instruction_bytes);
        assert!(0 < time.least_ns && time.least_ns <= time.median_ns);
        assert!(time.median_ns <= time.most_ns);
    }
    let text = run(&["--time", "1"]);
    assert!(text.contains("time, 1 script, 1 round") && text.contains("Noisy"), "{text}");
    let chart = run(&["--time", "2", "--format", "svg"]);
    for words in ["Bytes against instructions", "Bytes against time", "milliseconds", "Noisy"] {
        assert!(chart.contains(words), "{words}");
    }
    assert_eq!(chart.matches("<svg").count(), 1);
    assert_eq!(run(&["--format", "csv"]), run(&["--format", "csv", "--time", "1"]));
    let slice = ["sweep", "samples", "--time", "2", "--shard", "1/2", "--format", "json"];
    assert_eq!(scruple(&slice).code, 2, "times of slices are of unlike machines");
    assert_eq!(scruple(&["sweep", "samples", "--time", "0"]).code, 2);
}

#[test]
fn a_script_with_a_wrong_answer_is_left_out_and_named() {
    let files: &[(&str, &[u8])] = &[
        ("right.js", b"console.log(1);"),
        ("right.out", b"1\n"),
        ("wrong.js", b"console.log(2);"),
        ("wrong.out", b"1\n"),
    ];
    let folder = folder("sweep-wrong", files);
    let outcome = scruple_in(&folder, &["sweep", ".", "--layout", "narrow"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.out.contains("left out: ./wrong.js: wrong answer"), "{}", outcome.out);
    let outcome = scruple_in(&folder, &["sweep", "wrong.js", "--format", "json"]);
    assert_eq!(outcome.code, 1);
    check_schema("sweep", &outcome.out);
    assert!(outcome.err.contains("wrong.js: wrong answer"), "{}", outcome.err);
}

#[test]
fn merged_slices_are_the_bytes_of_one_run() {
    let folder = folder("slices", &[]);
    for command in ["weigh", "sweep"] {
        let run = |more: &[&str]| {
            let args = [&[command], CORPUS, ENCODINGS, &["--format", "json"], more].concat();
            let outcome = scruple(&args);
            assert_eq!(outcome.code, 0, "{}", outcome.err);
            check_schema(command, &outcome.out);
            outcome.out
        };
        fs::write(folder.join("1.json"), run(&["--shard", "1/2"])).unwrap();
        fs::write(folder.join("2.json"), run(&["--shard", "2/2"])).unwrap();
        let merged = scruple_in(&folder, &["merge", "2.json", "1.json"]);
        assert_eq!((merged.code, merged.err.as_str()), (0, ""));
        assert!(merged.out == run(&[]), "{command}: not the same bytes");
        let missing = scruple_in(&folder, &["merge", "2.json"]);
        assert_eq!(missing.code, 1);
        assert!(missing.err.contains("missing of 2 slices: 1"), "{}", missing.err);
        let twice = scruple_in(&folder, &["merge", "2.json", "1.json", "2.json"]);
        assert!(twice.err.contains("slice 2 of 2 is in 2.json already"), "{}", twice.err);
    }
    let outcome = scruple(&["sweep", "samples/kernels/fib.js", "--shard", "1/2"]);
    assert_eq!(outcome.code, 2);
    assert!(outcome.err.contains("--format json"), "{}", outcome.err);
    assert_eq!(scruple(&["weigh", "samples", "--shard", "3/2"]).code, 2);
}

#[test]
fn a_comparison_tells_what_rose_and_fails_only_if_asked() {
    let folder = folder("comparison", &[]);
    let args = ["weigh", "samples/kernels/fib.js", "--encoding", "leb", "--format", "json"];
    let before = scruple(&args).out;
    let mut after: Value = serde_json::from_str(&before).unwrap();
    let figures = &mut after["rows"][0]["figures"];
    let (instructions, bytes) = (figures["instructions"].as_u64(), &figures["image"]);
    let fewer = bytes["instructions"].as_u64().unwrap() - 4;
    figures["instructions"] = (instructions.unwrap() + 2390).into();
    figures["image"]["instructions"] = fewer.into();
    fs::write(folder.join("before.json"), &before).unwrap();
    fs::write(folder.join("after.json"), after.to_string()).unwrap();
    let compare = |more: &[&str]| {
        scruple_in(&folder, &[&["compare", "before.json", "after.json"], more].concat())
    };
    let outcome = compare(&[]);
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    insta::assert_snapshot!(outcome.out);
    let strict = compare(&["--fail-on-worse"]);
    assert_eq!(strict.code, 3);
    assert!(
        strict.out.contains("worse: 1 figure worse by more than 0 %, 0 rows not measured"),
        "{}",
        strict.out
    );
    // 2390 of 238962 is 1.0002 per cent.
    assert_eq!(compare(&["--fail-on-worse", "--allow", "1"]).code, 3);
    assert_eq!(compare(&["--fail-on-worse", "--allow", "1.001"]).code, 0);
    assert_eq!(compare(&["--fail-on-worse", "--metric", "instruction_bytes"]).code, 0);
    let json = compare(&["--format", "json", "--fail-on-worse"]);
    assert_eq!(json.code, 3);
    check_schema("compare", &json.out);
    // What neither has is no proof that nothing differs.
    for (absent, said) in [
        (["--encoding", "word"], "no row of encoding word in before.json or in after.json"),
        (["--layout", "wide"], "no row of layout wide in before.json or in after.json"),
    ] {
        let outcome = compare(&absent);
        assert_eq!((outcome.code, outcome.out.as_str()), (1, ""));
        assert_eq!(outcome.err, format!("scruple: {said}\n"));
    }
    assert_eq!(compare(&["--metric", "speed"]).code, 2);
    assert_eq!(compare(&["--allow", "1"]).code, 2, "--allow is for --fail-on-worse");
}

#[test]
fn unlike_documents_are_refused_with_the_reason() {
    let folder = folder("unlike", &[("a.js", b"console.log(1);"), ("none.json", b"[]")]);
    let save = |name: &str, args: &[&str]| {
        let outcome = scruple_in(&folder, &[args, &["--format", "json"]].concat());
        assert_eq!(outcome.code, 0, "{}", outcome.err);
        fs::write(folder.join(name), outcome.out).unwrap();
    };
    save("leb.json", &["weigh", "a.js", "--encoding", "leb"]);
    save("byte.json", &["weigh", "a.js", "--encoding", "byte"]);
    save("wide.json", &["weigh", "a.js", "--encoding", "leb", "--layout", "wide"]);
    save("sweep.json", &["sweep", "a.js", "--encoding", "leb"]);
    save("slice.json", &["weigh", "a.js", "--encoding", "leb", "--shard", "1/1"]);
    for (other, reason) in [
        ("byte.json", "unlike encodings"),
        ("wide.json", "unlike layouts"),
        ("sweep.json", "is of weigh, sweep.json of sweep"),
        ("slice.json", "a slice of a measurement"),
        ("none.json", "neither a document of weigh nor one of sweep"),
        ("missing.json", "missing.json"),
    ] {
        let outcome = scruple_in(&folder, &["compare", "leb.json", other]);
        assert_eq!(outcome.code, 1, "{other}");
        assert!(outcome.err.contains(reason), "{other}: {}", outcome.err);
    }
    let merged = scruple_in(&folder, &["merge", "slice.json", "sweep.json"]);
    assert_eq!(merged.code, 1);
    assert!(merged.err.contains("unlike"), "{}", merged.err);
}

#[test]
fn every_schema_is_a_file_of_this_folder() {
    for name in ["sweep", "compare", "compose"] {
        let path = root().join(format!("bench/schema/{name}.json"));
        let schema: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
        assert!(schema["properties"]["schema"]["const"].is_u64(), "{name}");
    }
}
