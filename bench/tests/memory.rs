//! `memory` and the sites of `weigh -v`: every byte of the peak has a place, and
//! looking on changes nothing.

mod common;

use common::schema::check_schema;
use common::{folder, scruple, scruple_in};
use scruple_bench::document::{Document as Weighed, HeapBytes};
use scruple_bench::memory::document::{Document, Peak, Place, Site};

fn memory(args: &[&str]) -> Document {
    let outcome = scruple(&[&["memory", "--format", "json"], args].concat());
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{args:?}");
    check_schema("memory", &outcome.out);
    serde_json::from_str(&outcome.out).expect("a document")
}

fn weighed(args: &[&str]) -> Weighed {
    let outcome = scruple(&[&["weigh", "--format", "json"], args].concat());
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{args:?}");
    check_schema("weigh", &outcome.out);
    serde_json::from_str(&outcome.out).expect("a document")
}

/// Sites, kinds and categories, each added up here.
fn check_sums(peak: &Peak) {
    let HeapBytes { total, stack, collector, .. } = peak.heap;
    let categories: u64 = peak.heap.by_category().iter().map(|(_, bytes)| bytes).sum();
    assert_eq!(categories, total);
    assert_eq!(peak.sites.iter().map(|site| site.bytes).sum::<u64>(), total - stack - collector);
    assert_eq!(peak.kinds.iter().map(|kind| kind.bytes).sum::<u64>(), total - stack - collector);
    for (name, bytes) in peak.heap.by_category() {
        let own = peak.kinds.iter().filter(|kind| kind.category == name);
        let sum: u64 = own.map(|kind| kind.bytes).sum();
        assert_eq!(sum, if matches!(name, "stack" | "collector") { 0 } else { bytes }, "{name}");
    }
    let blocks = |of: Vec<u64>| of.into_iter().sum::<u64>();
    let of_sites = blocks(peak.sites.iter().map(|site| site.blocks).collect());
    let of_kinds = blocks(peak.kinds.iter().map(|kind| kind.blocks).collect());
    assert_eq!(of_sites, of_kinds);
}

/// Samples of each sort: boxed numbers, strings, closures, records, timers.
const SAMPLES: &[&str] = &[
    "samples/kernels/fib.js",
    "samples/kernels/md5.js",
    "samples/kernels/closures.js",
    "samples/kernels/json_records.js",
    "samples/kernels/binary_trees.js",
    "samples/marrow-brook/night_watch.js",
    "samples/marrow-brook/telemetry.js",
];

#[test]
fn the_peak_adds_up_and_is_the_one_that_is_weighed_without_looking_on() {
    for layout in ["narrow", "wide"] {
        for path in SAMPLES {
            let weighed = weighed(&[path, "--encoding", "leb", "--layout", layout]);
            let figures = weighed.rows[0].figures.as_ref().expect("figures");
            let memory = memory(&[path, "--encoding", "leb", "--layout", layout]);
            assert!(memory.adds_up() && memory.answer_checked);
            check_sums(&memory.peak);
            assert_eq!(memory.peak.heap, figures.heap_high_water, "{path} {layout}");
            assert_eq!(memory.instructions, figures.instructions, "{path} {layout}");
            assert_eq!(memory.allocations, figures.allocations, "{path} {layout}");
            let highest = memory.timeline.iter().map(|sample| sample.heap.total).max();
            assert_eq!(highest, Some(memory.peak.heap.total), "{path} {layout}");
        }
    }
}

#[test]
fn the_live_peak_adds_up_and_is_the_one_that_is_weighed() {
    for path in ["samples/kernels/fib.js", "samples/marrow-brook/telemetry.js"] {
        let weighed = weighed(&[path, "--encoding", "leb"]);
        let memory = memory(&[path, "--encoding", "leb", "--live"]);
        check_sums(&memory.peak);
        let figures = weighed.rows[0].figures.as_ref().expect("figures");
        assert_eq!(memory.peak.heap, figures.live_peak, "{path}");
    }
}

#[test]
fn a_byte_counts_at_the_line_and_in_the_function_that_made_it() {
    let text = "\
function fill(list) {
  for (let i = 0; i < 100; i++) {
    list.push({ half: i + 0.5 });
  }
}
const kept = [];
fill(kept);
console.log('x'.repeat(3000).length, kept.length);
";
    let folder = folder("memory-sites", &[("a.js", text.as_bytes())]);
    let outcome = scruple_in(&folder, &["memory", "a.js", "--format", "json"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let document: Document = serde_json::from_str(&outcome.out).expect("a document");
    check_sums(&document.peak);
    let at = |line: u32, function: &str| -> &Site {
        let place = Place { line: Some(line), function: Some(function.to_owned()) };
        let found = document.peak.sites.iter().find(|site| site.place == place);
        found.unwrap_or_else(|| panic!("no site {place:?} in {:?}", document.peak.sites))
    };
    // An object, a property table and a boxed number a turn, of a cell of 8 bytes at
    // the least.
    let records = at(3, "fill");
    assert!(records.blocks >= 300 && records.bytes >= 100 * 3 * 8, "{records:?}");
    // 3,000 Latin-1 characters, made by a built-in that line 8 calls.
    let text = at(8, "(script)");
    assert!((3000..3100).contains(&text.bytes), "{text:?}");
    assert_eq!(document.peak.place, text.place);
    let numbers = document.peak.kinds.iter().find(|kind| kind.kind == "number").expect("numbers");
    assert_eq!((numbers.blocks, numbers.bytes), (100, 800));
}

#[test]
fn an_image_without_lines_has_functions_still() {
    let script = "samples/marrow-brook/telemetry.js";
    let folder = folder("memory-image", &[]);
    let image = folder.join("a.img");
    let image = image.to_str().expect("a path in UTF-8");
    assert_eq!(scruple(&["pack", script, "-o", image, "--strip"]).code, 0);
    let feed = ["--until", "3600000", "--feed", "samples/marrow-brook/tide.csv"];
    let document = memory(&[&[image][..], &feed].concat());
    check_sums(&document.peak);
    assert!(document.peak.sites.iter().all(|site| site.place.line.is_none()));
    assert!(document.peak.sites.iter().filter(|site| site.place.function.is_some()).count() > 1);
}

#[test]
fn samples_are_as_far_apart_as_asked_for() {
    let document = memory(&["samples/kernels/fib.js", "--every", "50000"]);
    let ends: Vec<u64> = document.timeline.iter().map(|sample| sample.instructions).collect();
    assert_eq!(document.step_instructions, 50_000);
    assert_eq!(ends, [50_000, 100_000, 150_000, 200_000, document.instructions]);
    assert_eq!(scruple(&["memory", "samples/kernels/fib.js", "--every", "0"]).code, 2);
    let outcome = scruple(&["memory", "samples/kernels/tak.js", "--every", "1"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.contains("ask for a longer step"), "{}", outcome.err);
}

#[test]
fn the_text_form_adds_up_to_the_peak() {
    let path = "samples/kernels/json_records.js";
    let document = memory(&[path]);
    let text = scruple(&["memory", path]).out;
    let sum_of = |heading: &str| -> (u64, u64) {
        let lines = text.lines().skip_while(|line| !line.starts_with(heading)).skip(1);
        let mut sum = 0;
        for line in lines {
            let first = line.split_whitespace().next().expect("a number");
            let number: u64 = first.parse().expect("a number");
            if line.ends_with("  sum") {
                return (sum, number);
            }
            sum += number;
        }
        panic!("no sum under {heading}");
    };
    for heading in ["by category", "by site", "by kind"] {
        let (sum, told) = sum_of(heading);
        assert_eq!(sum, told, "{heading}");
    }
    assert_eq!(sum_of("by category").1, document.peak.heap.total);
    assert_eq!(sum_of("by site").1, document.peak.heap.total);
}

#[test]
fn the_picture_is_the_same_each_time_and_tells_in_words_what_it_shows() {
    let path = "samples/marrow-brook/telemetry.js";
    let (one, other) = (
        scruple(&["memory", path, "--format", "svg"]),
        scruple(&["memory", path, "--format", "svg"]),
    );
    assert_eq!((one.code, &one.out), (0, &other.out));
    let document = memory(&[path]);
    let svg = &one.out;
    let desc = svg.split("<desc id=\"desc\">").nth(1).and_then(|rest| rest.split('<').next());
    let desc = desc.expect("a description");
    assert!(desc.contains(&document.peak.heap.total.to_string()), "{desc}");
    assert!(svg.contains("role=\"img\"") && svg.contains("aria-labelledby=\"title desc\""));
    for (name, bytes) in document.peak.heap.by_category().iter().filter(|(_, bytes)| *bytes > 0) {
        assert!(desc.contains(&format!("{name} {bytes}")), "{name} {bytes}: {desc}");
        assert!(svg.contains(&format!(">{name}</text>")), "{name} has a label");
    }
    // Nothing in it that asks for the network or runs.
    assert!(!svg.contains("href") && !svg.contains("<script"));
    // Every element that opens closes: what a browser asks of it.
    let opened = svg.matches('<').count() - svg.matches("</").count() - svg.matches("/>").count();
    assert_eq!(opened, svg.matches("</").count());
}

/// Labels give way to one another, and could be pushed out of the picture.
#[test]
fn everything_written_in_the_picture_lies_in_it_and_apart() {
    for path in ["samples/kernels/json_records.js", "samples/kernels/fib.js"] {
        let svg = scruple(&["memory", path, "--format", "svg"]).out;
        let number = |text: &str, name: &str| -> Option<f64> {
            text.split(&format!(" {name}=\"")).nth(1)?.split('"').next()?.parse().ok()
        };
        let mut labels = Vec::new();
        for text in svg.split("<text").skip(1) {
            let (x, y) = (number(text, "x").expect("x"), number(text, "y").expect("y"));
            assert!((0.0..960.0).contains(&x) && (10.0..515.0).contains(&y), "{path}: {text}");
            if x > 740.0 && !text.contains("text-anchor") {
                labels.push(y);
            }
        }
        assert!(labels.len() > 4, "{path}");
        labels.sort_by(f64::total_cmp);
        assert!(labels.windows(2).all(|pair| pair[1] - pair[0] >= 12.0), "{path} {labels:?}");
    }
}

#[test]
fn verbose_weighing_shows_ten_sites_and_the_others_that_add_up() {
    let path = "samples/marrow-brook/event_log.js";
    let document = weighed(&[path, "--encoding", "implied", "-v"]);
    let figures = document.rows[0].figures.as_ref().expect("figures");
    let sites = figures.peak_sites.as_ref().expect("sites");
    let HeapBytes { total, stack, collector, .. } = figures.heap_high_water;
    let sum: u64 = sites.largest.iter().map(|site| site.bytes).sum();
    assert_eq!(sum + sites.other_bytes + stack + collector, total);
    assert!(sites.largest.len() == 10 && sites.other_sites > 0);
    assert!(sites.largest.windows(2).all(|pair| pair[0].bytes >= pair[1].bytes));

    let text = scruple(&["weigh", path, "--encoding", "implied", "-v"]).out;
    let listed: Vec<&str> = text.lines().filter(|line| line.starts_with("        ")).collect();
    assert_eq!(listed.len(), 11, "{text}");
    let number = |line: &&str| line.split_whitespace().next()?.parse::<u64>().ok();
    let told: u64 = listed.iter().filter_map(number).sum();
    assert_eq!(told + stack + collector, total);
    assert!(listed[10].ends_with(&format!("others ({} sites)", sites.other_sites)), "{text}");
    // It costs runs: nobody who did not ask has them.
    let plain = weighed(&[path, "--encoding", "implied"]);
    assert!(plain.rows[0].figures.as_ref().expect("figures").peak_sites.is_none());
}

#[test]
fn a_wrong_answer_or_a_failed_run_is_not_profiled() {
    let files: &[(&str, &[u8])] = &[
        ("wrong.js", b"console.log(1);\n"),
        ("wrong.out", b"2\n"),
        ("throws.js", b"let a = 1;\nnull.x;\n"),
        ("refused.js", b"let a = ;\n"),
    ];
    let folder = folder("memory-wrong", files);
    let said = |file| {
        let outcome = scruple_in(&folder, &["memory", file]);
        assert_eq!((outcome.code, outcome.out.as_str()), (1, ""));
        outcome.err
    };
    let wrong = "scruple: wrong.js: wrong answer: output line 1 is \"1\", not \"2\"\n";
    assert_eq!(said("wrong.js"), wrong);
    assert!(said("throws.js").starts_with("scruple: throws.js:2:6: uncaught exception"));
    assert!(said("refused.js").starts_with("refused.js:1:9: "));
}

/// Who looks on in the middle of a composite is told of the instructions until then: three
/// allocations are made in one instruction here, whose parts behind them are still to come.
#[test]
fn a_peak_within_a_composite_is_at_its_instruction() {
    let set =
        "set own\njoin make_object 0, make_object 0, make_array *\njoin make_object 0, drop\n";
    let script = "[{}, {}];\n({});\n[{}, {}];\n";
    let files = [("own.set", set.as_bytes()), ("two.js", script.as_bytes())];
    let folder = folder("memory-composite", &files);
    for encoding in ["composite", "echo", "context"] {
        let args = ["memory", "two.js", "--format", "json", "--encoding", encoding];
        let outcome = scruple_in(&folder, &[&args[..], &["--set", "own.set"]].concat());
        assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{encoding}");
        let document: Document = serde_json::from_str(&outcome.out).expect("a document");
        let n_instructions = document.instructions;
        assert!((1..=n_instructions).contains(&document.peak.instructions), "{encoding}");
        let timeline: Vec<u64> = document.timeline.iter().map(|it| it.instructions).collect();
        assert!(timeline.is_sorted() && timeline.iter().all(|&at| at <= n_instructions));
        assert!(n_instructions < 12, "{encoding}: nothing was joined: {n_instructions}");
    }
}
