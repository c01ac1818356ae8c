//! `fit`: what it calls the least RAM is the least, and a board has it or not.

mod common;

use std::fs;

use common::schema::check_schema;
use common::{folder, root, scruple, scruple_in};
use scruple_bench::build::{self, on_large_stack};
use scruple_bench::fit;
use scruple_bench::fit::document::{Document, Limit, Row, Witness};
use scruple_bench::layout::HeapLayout;
use scruple_bench::machine::{self, Run, Setup};
use scruple_bench::measure::BUDGET;
use scruple_bench::options::RunOptions;
use scruple_bench::script::Script;
use scruple_bench::station::Output;
use scruple_bytecode::Encoding;
use scruple_vm::{Counter, StopKind};

/// Samples with a border of each sort: a frame, an allocation, islands below it.
const SAMPLES: &[&str] = &[
    "samples/kernels/fib.js",
    "samples/kernels/md5.js",
    "samples/marrow-brook/battery_budget.js",
    "samples/marrow-brook/level_filter.js",
];

fn read(script: &str) -> Script {
    Script::read(&root().join(script), &RunOptions::default()).expect("a sample")
}

/// One run in a region of that size, made here and not by what is tested.
fn run_in(script: &Script, image: &[u8], layout: HeapLayout, region: u64) -> Run<Counter> {
    let setup = Setup {
        image,
        region: usize::try_from(region).expect("a region"),
        feed: script.feed.clone(),
        limits: script.options.limits(BUDGET),
        collect_every: usize::MAX,
        output: Output::kept(),
        observer: Counter::default(),
    };
    on_large_stack(|| machine::count(layout, setup)).expect("a thread")
}

fn printed(run: &Run<Counter>) -> &str {
    assert!(run.end.is_ok(), "{:?}", run.end);
    match &run.output {
        Output::Kept(text) => text,
        _ => panic!("the output is kept"),
    }
}

#[test]
fn the_least_region_runs_and_one_cell_less_does_not() {
    for path in SAMPLES {
        let script = read(path);
        let expected = script.expected.clone().expect("an expected output");
        for &layout in HeapLayout::ALL {
            let image = build::compile(&script.text, Encoding::Implied, true).unwrap().image;
            let needs = on_large_stack(|| fit::needs(&script, &image, layout)).unwrap().unwrap();
            let cell = layout.cell_bytes() as u64;
            assert_eq!(needs.image_bytes, image.len() as u64);
            assert!(needs.region_bytes <= needs.steady_bytes);

            let run = |region| run_in(&script, &image, layout, region);
            assert_eq!(printed(&run(needs.region_bytes)), expected, "{path} {layout:?}");
            assert_eq!(printed(&run(needs.steady_bytes)), expected, "{path} {layout:?}");
            assert!(run(needs.region_bytes - cell).end.is_err(), "{path} {layout:?}");

            // The witness is the largest region that fails, and fails as it says.
            let witness = needs.witness.expect("a region that is too small");
            assert_eq!(witness.region_bytes, needs.steady_bytes - cell, "{path} {layout:?}");
            let failure = run(witness.region_bytes).end.expect_err("too small");
            let kind = match witness.limit {
                Limit::Heap => Some(StopKind::Heap),
                Limit::Stack => Some(StopKind::Stack),
                Limit::Verifier | Limit::Globals => None,
            };
            assert_eq!(failure.stop, kind, "{path} {layout:?}");
            let position = failure.position.map(|position| (position.line, position.column));
            assert_eq!(witness.line.zip(witness.column), position, "{path} {layout:?}");
            let bytes = failure.failed_bytes.map(|bytes| bytes as u64);
            if witness.limit == Limit::Heap {
                assert_eq!(witness.wanted_bytes, bytes, "{path} {layout:?}");
            }
        }
    }
}

#[test]
fn where_every_region_was_tried_none_below_the_least_runs() {
    let script = Script::from_text("a.js", "let s = 'a';\ns += s + 1.5;\nconsole.log(s);\n", None);
    let image = build::compile(&script.text, Encoding::Leb, true).unwrap().image;
    let layout = HeapLayout::Narrow;
    let needs = on_large_stack(|| fit::needs(&script, &image, layout)).unwrap().unwrap();
    assert!(needs.is_exhaustive);
    for region in 0..needs.region_bytes / 8 {
        assert!(run_in(&script, &image, layout, 8 * region).end.is_err(), "{region} cells");
    }
    for region in needs.steady_bytes / 8..needs.steady_bytes / 8 + 200 {
        let run = run_in(&script, &image, layout, 8 * region);
        assert_eq!(printed(&run), "aa1.5\n", "{region} cells");
    }
}

/// Where memory is short, collections come often and objects alike are folded: a run may
/// end for want of room, but must not have printed anything wrong before.
#[test]
fn in_no_region_does_a_control_script_print_anything_wrong() {
    let folder = root().join("samples/marrow-brook");
    let mut paths: Vec<_> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|extension| extension == "js"));
    assert!(!paths.is_empty());
    for path in paths {
        let script = Script::read(&path, &RunOptions::default()).expect("a sample");
        let expected = script.expected.clone().expect("an expected output");
        let image = build::compile(&script.text, Encoding::Implied, true).unwrap().image;
        for &layout in HeapLayout::ALL {
            let cell = layout.cell_bytes();
            let mut finished = false;
            for region in (60 * cell..500 * cell).step_by(3 * cell) {
                let run = run_in(&script, &image, layout, region as u64);
                let Output::Kept(text) = &run.output else { panic!("the output is kept") };
                let place = format!("{}, {layout:?}, {region} bytes", path.display());
                assert!(expected.starts_with(text.as_str()), "{place}: {text}");
                finished = run.end.is_ok();
                assert!(!finished || *text == expected, "{place}");
            }
            assert!(finished, "{}, {layout:?}", path.display());
        }
    }
}

fn document(args: &[&str], code: i32) -> Document {
    let outcome = scruple(&[&["fit", "--format", "json"], args].concat());
    assert_eq!(outcome.code, code, "{}{}", outcome.out, outcome.err);
    check_schema("fit", &outcome.out);
    serde_json::from_str(&outcome.out).expect("a document")
}

#[test]
fn json_follows_the_schema_in_the_repository_and_each_row_names_its_layout() {
    let path = "samples/kernels/fib.js";
    let document = document(&[path, "--layout", "narrow,wide"], 0);
    let layouts: Vec<HeapLayout> = document.rows.iter().map(|row| row.layout).collect();
    assert_eq!(layouts, HeapLayout::ALL);
    let region = |row: &Row| row.needs.as_ref().expect("needs").region_bytes;
    assert!(region(&document.rows[0]) < region(&document.rows[1]));
    assert!(document.rows.iter().all(|row| row.answer_checked && row.verdict.is_none()));
}

#[test]
fn what_cannot_be_measured_is_a_row_with_an_error_and_its_place() {
    let files: &[(&str, &[u8])] = &[
        ("refused.js", b"let a = ;\n"),
        ("throws.js", b"\nnull.x;\n"),
        ("wrong.js", b"console.log(1);\n"),
        ("wrong.out", b"2\n"),
    ];
    let folder = folder("fit-errors", files);
    let outcome = scruple_in(&folder, &["fit", ".", "--format", "json"]);
    assert_eq!(outcome.code, 1);
    check_schema("fit", &outcome.out);
    let document: Document = serde_json::from_str(&outcome.out).expect("a document");
    let lines: Vec<Option<u32>> =
        document.rows.iter().map(|row| row.error.as_ref().expect("an error").line).collect();
    assert_eq!(lines, [Some(1), Some(2), None]);
    assert!(document.rows.iter().all(|row| row.needs.is_none()));
    assert!(outcome.err.contains("throws.js:2:6: uncaught exception"), "{}", outcome.err);
}

/// A board of this much RAM and flash, and nothing else on it.
fn board(test: &str, text: &str) -> String {
    let folder = folder(test, &[("board.toml", text.as_bytes())]);
    folder.join("board.toml").to_str().expect("a path in UTF-8").to_owned()
}

#[test]
fn a_board_has_room_to_the_byte_and_the_exit_code_says_so() {
    let path = "samples/marrow-brook/level_filter.js";
    let needs = document(&[path], 0).rows[0].needs.clone().expect("needs");
    let (image, region) = (needs.image_bytes, needs.steady_bytes);
    let verdict = |flash: u64, ram: u64, code| {
        let text = format!("flash = {flash}\nram = {ram}\nhost_ram = 512\nhost_flash = 1024\n");
        let board = board("fit-board", &text);
        let document = document(&[path, "--board", &board], code);
        document.rows[0].verdict.clone().expect("a verdict")
    };
    let fits = verdict(image + 1024, region + 512, 0);
    assert!(fits.fits && fits.help.is_empty());
    assert_eq!((fits.flash.spare, fits.ram.spare), (0, 0));
    let short_of_ram = verdict(image + 1024, region + 511, 3);
    assert_eq!((short_of_ram.fits, short_of_ram.ram.spare), (false, -1));
    let short_of_flash = verdict(image + 1023, region + 512, 3);
    assert_eq!((short_of_flash.fits, short_of_flash.flash.spare), (false, -1));
    // A line table less is help enough, and is told first.
    let help = short_of_flash.help.first().expect("help");
    assert!(help.fits && help.flash.needs < image, "{help:?}");
}

#[test]
fn a_script_that_cannot_be_measured_does_not_fit() {
    let files: &[(&str, &[u8])] =
        &[("throws.js", b"null.x;\n"), ("board.toml", b"flash = 100000\nram = 100000\n")];
    let folder = folder("fit-unmeasured", files);
    let outcome = scruple_in(&folder, &["fit", "throws.js", "--board", "board.toml"]);
    assert_eq!(outcome.code, 3, "{}{}", outcome.out, outcome.err);
    let missing = scruple_in(&folder, &["fit", "missing.js", "--board", "board.toml"]);
    assert_eq!(missing.code, 1);
}

#[test]
fn a_board_file_that_is_wrong_is_refused_with_its_line() {
    let script: (&str, &[u8]) = ("a.js", b"");
    let cases: &[(&str, &str)] = &[
        ("flash = 1000\nram = \n", "line 2"),
        ("flash = 1000\nram = 100\nspeed = 3\n", "line 3"),
        ("flash = 1000\n", "missing field `ram`"),
        ("flash = 1000\nram = 1\nheadroom = 101\n", "101 per cent"),
    ];
    for (text, said) in cases {
        let folder = folder("fit-bad-board", &[script, ("board.toml", text.as_bytes())]);
        let outcome = scruple_in(&folder, &["fit", "a.js", "--board", "board.toml"]);
        assert_eq!((outcome.code, outcome.out.as_str()), (1, ""), "{text}");
        assert!(outcome.err.starts_with("scruple: board.toml: "), "{}", outcome.err);
        assert!(outcome.err.contains(said), "{}", outcome.err);
    }
    let folder = folder("fit-no-board", &[script]);
    let outcome = scruple_in(&folder, &["fit", "a.js", "--board", "none.toml"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.contains("none.toml"), "{}", outcome.err);
}

#[test]
fn the_text_form_tells_least_steady_and_witness_as_the_json_does() {
    let path = "samples/marrow-brook/battery_budget.js";
    let needs = document(&[path], 0).rows[0].needs.clone().expect("needs");
    let Witness { region_bytes, line, column, .. } = needs.witness.expect("a witness");
    let text = scruple(&["fit", path]).out;
    let row = text.lines().find(|line| line.starts_with(path)).expect("the row");
    for number in [needs.region_bytes, needs.steady_bytes, needs.image_bytes, region_bytes] {
        assert!(row.contains(&number.to_string()), "{number}: {row}");
    }
    let place = format!("at {}:{}", line.unwrap(), column.unwrap());
    assert!(row.contains(&place), "{row}");
    assert!(text.contains("leave headroom"), "{text}");
}
