//! What `weigh` reports: figures that add up, are the same each time, and do not
//! depend on the encoding where they must not.

mod common;

use std::collections::BTreeMap;

use common::schema::check_schema;
use common::{folder, scruple, scruple_in};
use scruple_bench::document::{Document, Row};
use scruple_bytecode::Encoding;
use serde_json::Value;

/// Samples that are quick even without optimisation, one or more of each sort:
/// boxed numbers, strings, closures, timers with sensors.
const SAMPLES: &[&str] = &[
    "samples/kernels/fib.js",
    "samples/kernels/md5.js",
    "samples/kernels/closures.js",
    "samples/kernels/json_records.js",
    "samples/marrow-brook",
];

fn document(args: &[&str]) -> Document {
    let outcome = scruple(&[&["weigh", "--format", "json"], args].concat());
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{}", outcome.out);
    serde_json::from_str(&outcome.out).expect("a document")
}

#[test]
fn every_figure_adds_up_and_the_totals_are_the_sums() {
    let document = document(SAMPLES);
    assert!(document.rows.len() >= Encoding::ALL.len() * 14 && document.is_complete());
    assert!(document.adds_up());
    for row in &document.rows {
        assert!(row.answer_checked, "{}", row.script);
        let figures = row.figures.as_ref().expect("figures");
        let image = &figures.image;
        let sections = [
            image.header,
            image.constants,
            image.functions,
            image.instructions,
            image.padding,
            image.lines,
        ];
        assert_eq!(sections.iter().sum::<u64>(), image.total, "{}", row.script);
        for peak in [&figures.heap_high_water, &figures.live_peak] {
            let sum: u64 = peak.by_category().iter().map(|(_, bytes)| bytes).sum();
            assert_eq!(sum, peak.total, "{}", row.script);
        }
        assert!(figures.fetched_bytes >= figures.instructions);
        let reserved = figures.compile_peak.reserved.expect("the command line counts");
        let asked = figures.compile_peak.asked.expect("the compiler reports");
        assert!(reserved >= asked, "{}", row.script);
    }
    for total in &document.totals {
        let rows = || document.rows.iter().filter(|row| row.encoding == total.encoding);
        let sum = |read: fn(&Row) -> u64| rows().map(read).sum::<u64>();
        assert_eq!(total.scripts as usize, rows().count());
        assert_eq!(total.image.total, sum(|row| row.figures.as_ref().unwrap().image.total));
        assert_eq!(total.instructions, sum(|row| row.figures.as_ref().unwrap().instructions));
    }
}

#[test]
fn encodings_differ_in_their_bytes_alone() {
    let document = document(SAMPLES);
    let mut seen: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in &document.rows {
        seen.entry(&row.script).or_default().push(row);
    }
    for (script, rows) in seen {
        assert_eq!(rows.len(), Encoding::ALL.len(), "{script}");
        let first = rows[0].figures.as_ref().unwrap();
        for row in &rows[1..] {
            let figures = row.figures.as_ref().unwrap();
            let encoding = &row.encoding;
            assert_eq!(figures.operations, first.operations, "{script} {encoding}");
            let joins = Encoding::from_name(encoding).unwrap().has_set();
            assert_eq!(figures.instructions < first.instructions, joins, "{script} {encoding}");
            assert_eq!(figures.heap_high_water, first.heap_high_water, "{script} {encoding}");
            assert_eq!(figures.live_peak, first.live_peak, "{script} {encoding}");
            assert_eq!(figures.stack_peak, first.stack_peak, "{script} {encoding}");
            assert_eq!(figures.allocations, first.allocations, "{script} {encoding}");
            assert_eq!(figures.image.constants, first.image.constants, "{script} {encoding}");
        }
        let bytes = |i: usize| rows[i].figures.as_ref().unwrap().image.instructions;
        // Whether `composite` is shorter than `implied` is the set's affair.
        assert!((0..3).all(|at| bytes(at) > bytes(at + 1)) && bytes(2) > bytes(4), "{script}");
    }
}

#[test]
fn the_same_run_gives_the_same_bytes() {
    let args = ["weigh", "samples/marrow-brook", "samples/kernels/fib.js", "--format", "json"];
    let (first, second) = (scruple(&args), scruple(&args));
    assert_eq!(first.code, 0, "{}", first.err);
    assert_eq!(first.out, second.out);
}

#[test]
fn rows_come_in_the_order_of_paths_names_and_encodings() {
    let files: &[(&str, &[u8])] = &[("b.js", b""), ("a.js", b""), ("c.js", b""), ("d.txt", b"")];
    let folder = folder("order-of-rows", files);
    let args = ["weigh", "c.js", ".", "c.js", "--encoding", "leb,word", "--format", "csv"];
    let outcome = scruple_in(&folder, &args);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let rows: Vec<String> = outcome
        .out
        .lines()
        .skip(1)
        .map(|line| line.split(',').take(2).collect::<Vec<_>>().join(" "))
        .collect();
    let wanted =
        ["c.js leb", "c.js word", "./a.js leb", "./a.js word", "./b.js leb", "./b.js word"];
    assert_eq!(rows, wanted);
}

#[test]
fn what_is_named_twice_is_measured_once() {
    let folder = folder("named-twice", &[("a.js", b"console.log(1);"), ("own.set", b"set own\n")]);
    let absolute = folder.join("a.js");
    let absolute = absolute.to_str().expect("a path in UTF-8");
    let run = |command: &str, more: &[&str]| {
        let paths = ["a.js", "./a.js", absolute, "."];
        let outcome = scruple_in(&folder, &[&[command], &paths[..], more].concat());
        assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{command}");
        outcome.out
    };
    let encodings = ["--encoding", "leb,implied,leb", "--layout", "narrow,narrow", "--format"];
    let text = run("weigh", &[&encodings[..], &["json"]].concat());
    let document: Document = serde_json::from_str(&text).expect("a document");
    let rows: Vec<(&str, &str)> =
        document.rows.iter().map(|row| (row.script.as_str(), row.encoding.as_str())).collect();
    assert_eq!(rows, [("a.js", "leb"), ("a.js", "implied")]);
    assert!(document.totals.iter().all(|total| total.scripts == 1));
    let sets = ["--encoding", "composite", "--set", "own.set,own.set", "--layout", "narrow"];
    let csv = run("sweep", &[&sets[..], &["--format", "csv"]].concat());
    assert_eq!(csv.lines().count(), 2, "{csv}");
    assert!(csv.lines().nth(1).is_some_and(|line| line.contains(",narrow,1,")), "{csv}");
    let composed = run("compose", &["--format", "json"]);
    let composed: Value = serde_json::from_str(&composed).expect("a document");
    assert_eq!(composed["rows"].as_array().map(Vec::len), Some(1));
    let both = scruple_in(&folder, &["compose", "a.js", "--on", absolute]);
    assert_eq!((both.code, both.out.as_str()), (1, ""));
    let said =
        format!("scruple: {absolute}: the set is mined from it: --on is for other scripts\n");
    assert_eq!(both.err, said);
}

/// An image is one row, even where it cannot be told under which encoding.
#[test]
fn a_damaged_image_is_one_row_under_the_encoding_it_names_or_none() {
    let folder = folder("damaged-row", &[("a.js", b"console.log(1);"), ("own.set", b"set own\n")]);
    let set = ["--encoding", "composite", "--set", "own.set"];
    let pack = scruple_in(&folder, &[&["pack", "a.js", "-o", "own.img"], &set[..]].concat());
    assert_eq!(pack.code, 0, "{}", pack.err);
    let mut bytes = std::fs::read(folder.join("own.img")).unwrap();
    std::fs::write(folder.join("cut.img"), &bytes[..5]).unwrap();
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    std::fs::write(folder.join("bent.img"), &bytes).unwrap();
    let images = ["own.img", "bent.img", "cut.img"];
    let run = |command: &str, more: &[&str]| {
        let outcome = scruple_in(&folder, &[&[command], &images[..], more].concat());
        assert_eq!(outcome.code, 1, "{command}");
        outcome
    };
    let wanted = [("own.img", "composite"), ("bent.img", "composite"), ("cut.img", "unknown")];
    let weighed = run("weigh", &["--format", "json"]);
    check_schema("weigh", &weighed.out);
    let document: Document = serde_json::from_str(&weighed.out).expect("a document");
    let rows: Vec<(&str, &str)> =
        document.rows.iter().map(|row| (row.script.as_str(), row.encoding.as_str())).collect();
    assert_eq!(rows, wanted);
    let failed: Vec<(&str, u64)> =
        document.totals.iter().map(|total| (total.encoding.as_str(), total.failed)).collect();
    assert_eq!(failed, [("composite", 2), ("unknown", 1)]);
    let fitted: Value = serde_json::from_str(&run("fit", &["--format", "json"]).out).unwrap();
    let rows = fitted["rows"].as_array().unwrap();
    let rows: Vec<(&str, &str)> = rows
        .iter()
        .map(|row| (row["script"].as_str().unwrap(), row["encoding"].as_str().unwrap()))
        .collect();
    assert_eq!(rows, wanted);
    // What was asked for and is not done is said.
    let said = "own.img: an image under composite: --encoding is for sources\n";
    for command in ["weigh", "fit"] {
        let outcome = run(command, &["--encoding", "byte"]);
        assert!(outcome.err.contains(said), "{command}: {}", outcome.err);
        assert!(!run(command, &["--encoding", "composite"]).err.contains("for sources"));
    }
    for command in ["run", "listing", "trace", "memory"] {
        let args = [command, "own.img", "--set", "own.set", "--encoding", "byte"];
        let outcome = scruple_in(&folder, &args);
        assert_eq!((outcome.code, outcome.err.as_str()), (0, said), "{command}");
    }
}

#[test]
fn a_file_of_the_answer_that_cannot_be_read_is_an_error() {
    let files: &[(&str, &[u8])] =
        &[("a.js", b"console.log(1);"), ("b.js", b"console.log(1);"), ("b.out", b"1\r\n")];
    let folder = folder("answer-no-file", files);
    std::fs::create_dir(folder.join("a.out")).unwrap();
    let said = |script: &str| {
        let outcome = scruple_in(&folder, &["weigh", script, "--encoding", "leb"]);
        assert_eq!(outcome.code, 1, "{}", outcome.out);
        outcome.out
    };
    let cannot = "error: what it must print, a.out, cannot be read: ";
    assert!(said("a.js").contains(&format!("{cannot}a folder, where")), "{}", said("a.js"));
    std::fs::remove_dir(folder.join("a.out")).unwrap();
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("nowhere", folder.join("a.out")).unwrap();
        assert!(said("a.js").contains(&format!("{cannot}no such file")), "{}", said("a.js"));
    }
    let ends = "error: the answer differs in how lines end: output line 1 in LF, not CRLF";
    assert!(said("b.js").contains(ends), "{}", said("b.js"));
}

#[test]
fn a_row_is_one_line_whatever_a_script_throws_or_is_called() {
    let text = b"throw new Error('a\\nb\\x1b[31m|c');";
    let folder = folder("one-line", &[("a|b.js", text)]);
    let args = ["weigh", "a|b.js", "--encoding", "leb", "--format"];
    let run = |format| scruple_in(&folder, &[&args[..], &[format]].concat());
    let text = run("text").out;
    let message = r"1:7: uncaught exception: Error: a\nb\u{1b}[31m|c";
    assert!(text.lines().any(|line| line.ends_with(message)), "{text}");
    let markdown = run("markdown").out;
    let row = markdown.lines().nth(2).expect("a row");
    assert!(row.starts_with(r"| a\|b.js | leb |"), "{row}");
    let n_cells = |line: &str| line.replace(r"\|", "").matches('|').count();
    assert_eq!(n_cells(row), n_cells(markdown.lines().next().unwrap()), "{row}");
    let one = &run("csv").out;
    assert_eq!(one.lines().count(), 2, "{one}");
}

#[test]
fn a_wrong_answer_or_a_failed_run_has_an_error_and_no_figures() {
    let files: &[(&str, &[u8])] = &[
        ("right.js", b"console.log(1);\nconsole.log(2);\n"),
        ("right.out", b"1\n2\n"),
        ("wrong.js", b"console.log(1);\nconsole.log(3);\n"),
        ("wrong.out", b"1\n2\n"),
        ("short.js", b"console.log(1);\n"),
        ("short.out", b"1\n2\n"),
        ("throws.js", b"let a = 1;\nnull.x;\n"),
        ("refused.js", b"let a = ;\n"),
        ("binary.js", b"\x00\x01"),
        ("unchecked.js", b"console.log(1);\n"),
    ];
    let folder = folder("wrong-answers", files);
    let args = ["weigh", ".", "--encoding", "implied", "--format", "json"];
    let outcome = scruple_in(&folder, &args);
    assert_eq!(outcome.code, 1);
    let document: Document = serde_json::from_str(&outcome.out).expect("a document");
    check_schema("weigh", &outcome.out);
    let said: Vec<(String, bool, String)> = document
        .rows
        .iter()
        .map(|row| {
            assert_eq!(row.figures.is_none(), row.error.is_some());
            let error = row.error.as_ref().map(|error| error.describe()).unwrap_or_default();
            (row.script.clone(), row.answer_checked, error)
        })
        .collect();
    let said: Vec<(&str, bool, &str)> =
        said.iter().map(|(script, checked, error)| (&script[2..], *checked, &error[..])).collect();
    assert_eq!(said.len(), 7);
    assert_eq!(said[0], ("binary.js", false, "a binary file, no text: a zero byte at offset 0"));
    assert_eq!(said[1].0, "refused.js");
    assert!(said[1].2.starts_with("1:9: "), "{}", said[1].2);
    assert_eq!(said[2], ("right.js", true, ""));
    assert_eq!(said[3], ("short.js", true, "wrong answer: output line 2 is missing, not \"2\""));
    assert_eq!(said[4].0, "throws.js");
    assert!(said[4].2.starts_with("2:6: uncaught exception: TypeError"), "{}", said[4].2);
    assert_eq!(said[5], ("unchecked.js", false, ""));
    assert_eq!(said[6], ("wrong.js", true, "wrong answer: output line 2 is \"3\", not \"2\""));
    assert_eq!(document.totals[0].scripts, 2);
    assert_eq!(document.totals[0].failed, 5);
    let text = scruple_in(&folder, &["weigh", ".", "--encoding", "implied"]);
    assert_eq!((text.code, text.err.as_str()), (1, ""));
    let unchecked = text.out.lines().find(|line| line.contains("unchecked.js")).unwrap();
    assert!(unchecked.contains("narrow ?"), "{unchecked}");
}

#[test]
fn verbose_shows_categories_that_add_up() {
    let outcome = scruple(&["weigh", "samples/kernels/fib.js", "--encoding", "byte", "--verbose"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let mut n_splits = 0;
    let is_split = |line: &&str| line.starts_with("    ") && !line.starts_with("     ");
    for line in outcome.out.lines().filter(is_split) {
        let (total, parts) =
            line.split_once(": ").and_then(|(_, sum)| sum.split_once(" = ")).unwrap();
        let sum: u64 = parts
            .split(" + ")
            .map(|part| part.rsplit(' ').next().and_then(|n| n.parse::<u64>().ok()).unwrap())
            .sum();
        assert_eq!(total.parse(), Ok(sum), "{line}");
        n_splits += 1;
    }
    assert_eq!(n_splits, 2);
}

#[test]
fn json_and_jsonl_follow_the_schema_in_the_repository() {
    let outcome = scruple(&["weigh", "samples/kernels/fib.js", "--format", "json"]);
    check_schema("weigh", &outcome.out);
    let document: Value = serde_json::from_str(&outcome.out).unwrap();
    let lines = scruple(&["weigh", "samples/kernels/fib.js", "--format", "jsonl"]);
    let rows: Vec<Value> =
        lines.out.lines().map(|line| serde_json::from_str(line).expect("a line")).collect();
    assert_eq!(rows.len(), Encoding::ALL.len());
    for (line, row) in rows.iter().zip(document["rows"].as_array().unwrap()) {
        let mut line = line.as_object().unwrap().clone();
        assert_eq!(line.remove("schema"), Some(document["schema"].clone()));
        assert_eq!(line.remove("lab"), Some(document["lab"].clone()));
        assert_eq!(&Value::Object(line), row);
    }
}

#[test]
fn csv_has_as_many_cells_in_every_line_and_the_figures_of_the_json() {
    let csv = scruple(&["weigh", "samples/kernels/fib.js", "--format", "csv"]).out;
    let rows: Vec<Vec<&str>> = csv.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 1 + Encoding::ALL.len());
    assert!(rows.iter().all(|row| row.len() == rows[0].len()));
    let document = document(&["samples/kernels/fib.js"]);
    for (cells, row) in rows[1..].iter().zip(&document.rows) {
        let cell = |name: &str| {
            let column = rows[0].iter().position(|key| *key == name).expect(name);
            cells[column].parse::<u64>().expect(name)
        };
        let figures = row.figures.as_ref().unwrap();
        assert_eq!(cell("image_bytes"), figures.image.total);
        assert_eq!(cell("fetched_bytes"), figures.fetched_bytes);
        assert_eq!(cell("live_peak_stack_bytes"), figures.live_peak.stack);
        assert_eq!(
            cell("heap_high_water_boxed_numbers_bytes"),
            figures.heap_high_water.boxed_numbers
        );
    }
}

/// Source: the design's target, at most 0.55 of `wide`, for scripts that hold references
/// rather than text or numbers; small numbers are packed alike in both.
#[test]
fn narrow_takes_about_half_of_wide_where_a_script_holds_references() {
    let scripts = [
        "samples/kernels/binary_trees.js",
        "samples/kernels/closures.js",
        "samples/marrow-brook/event_log.js",
    ];
    let args = ["--layout", "narrow,wide", "--encoding", "implied"];
    let document = document(&[&scripts[..], &args].concat());
    for pair in document.rows.chunks(2) {
        let live = |row: &Row| row.figures.as_ref().unwrap().live_peak.total;
        assert_eq!(pair[0].script, pair[1].script);
        let (narrow, wide) = (live(&pair[0]), live(&pair[1]));
        assert!(100 * narrow <= 55 * wide, "{}: {narrow} of {wide}", pair[0].script);
    }
}

/// How much there may be changes neither what is alive nor the answer, only what the run
/// takes; and the figures of a run that memory was short for still add up.
#[test]
fn a_limit_of_the_heap_lowers_the_high_water_mark_and_leaves_the_live_peak() {
    for (script, limits) in [
        ("samples/kernels/binary_trees.js", ["11000", "12000", "14000"]),
        ("samples/marrow-brook/night_watch.js", ["1700", "1800", "2000"]),
        ("samples/marrow-brook/gate_control.js", ["720", "752", "800"]),
        ("samples/marrow-brook/tide_marks.js", ["720", "800", "1000"]),
    ] {
        let row = |limit: &[&str]| {
            let document = document(&[&[script, "--encoding", "implied"], limit].concat());
            assert!(document.is_complete() && document.adds_up(), "{script} {limit:?}");
            let [row] = &document.rows[..] else { panic!("one row") };
            assert!(row.answer_checked, "{script} {limit:?}");
            row.figures.clone().expect("figures")
        };
        let free = row(&[]);
        for limit in limits {
            let short = row(&["--heap", limit]);
            assert_eq!(short.live_peak, free.live_peak, "{script} {limit}");
            assert_eq!(short.operations, free.operations, "{script} {limit}");
            let (less, more) = (short.heap_high_water.total, free.heap_high_water.total);
            assert!(less < more, "{script} {limit}: {less} of {more}");
        }
    }
}

#[test]
fn layouts_differ_in_the_bytes_of_the_heap_and_are_never_summed_together() {
    let document = document(&[SAMPLES, &["--layout", "narrow,wide"]].concat());
    assert!(document.is_complete() && document.adds_up());
    let of = |layout: &str, row: &Row| row.layout.name() == layout;
    let narrow: Vec<&Row> = document.rows.iter().filter(|row| of("narrow", row)).collect();
    let wide: Vec<&Row> = document.rows.iter().filter(|row| of("wide", row)).collect();
    assert!(
        narrow.len() >= Encoding::ALL.len() * 14
            && narrow.len() + wide.len() == document.rows.len()
    );
    for (one, other) in narrow.iter().zip(&wide) {
        let name = format!("{} {}", one.script, one.encoding);
        assert_eq!((&one.script, &one.encoding), (&other.script, &other.encoding));
        let (one, other) = (one.figures.as_ref().unwrap(), other.figures.as_ref().unwrap());
        assert_eq!(one.image, other.image, "{name}");
        assert_eq!(one.instructions, other.instructions, "{name}");
        assert_eq!(one.operations, other.operations, "{name}");
        assert_eq!(one.fetched_bytes, other.fetched_bytes, "{name}");
        // A value of 8 bytes holds any number: none is boxed.
        assert_eq!(other.heap_high_water.boxed_numbers, 0, "{name}");
        assert_eq!(other.stack_peak, 2 * one.stack_peak, "{name}");
    }
    assert_eq!(document.totals.len(), 2 * Encoding::ALL.len());
    for total in &document.totals {
        let rows = document
            .rows
            .iter()
            .filter(|row| row.encoding == total.encoding && row.layout == total.layout);
        let figures: Vec<_> = rows.map(|row| row.figures.as_ref().unwrap()).collect();
        assert_eq!(total.scripts as usize, figures.len());
        assert_eq!(total.instructions, figures.iter().map(|f| f.instructions).sum::<u64>());
    }
    let text = scruple(&["weigh", SAMPLES[0], "--layout", "wide,narrow", "--encoding", "leb"]);
    let layouts: Vec<&str> =
        text.out.lines().skip(1).filter_map(|line| line.split_whitespace().nth(2)).collect();
    assert_eq!(layouts[..2], ["wide", "narrow"], "{}", text.out);
    assert_eq!(scruple(&["weigh", "a.js", "--layout", "broad"]).code, 2);
}

/// However it ends: what it printed is what is wrong with it.
#[test]
fn a_script_that_prints_without_end_is_told_as_that() {
    let text = b"const s = 'x'.repeat(100000); for (;;) console.log(s);";
    let folder = folder("prints", &[("a.js", text)]);
    let outcome = scruple_in(&folder, &["weigh", "a.js", "--encoding", "leb"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.out.contains("error: printed more than 67108864 bytes"), "{}", outcome.out);
}
