//! `weigh --limits`: the verdict fails closed, and the file is rewritten only as it
//! was asked for.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::schema::check_schema;
use common::{Outcome, folder, scruple_in};
use scruple_bench::document::{Document, Figures};

const SCRIPT: &str = "\
const list = [];
for (let i = 0; i < 20; i++) {
  list.push({ at: i });
}
console.log(list.length);
";

/// A folder with a script and a file of limits.
fn limited(test: &str, limits: &str) -> PathBuf {
    let files: &[(&str, &[u8])] =
        &[("a.js", SCRIPT.as_bytes()), ("a.out", b"20\n"), ("limits.toml", limits.as_bytes())];
    folder(test, files)
}

fn weigh(folder: &Path, args: &[&str]) -> Outcome {
    scruple_in(folder, &[&["weigh", "a.js", "--limits", "limits.toml"], args].concat())
}

fn written(folder: &Path) -> String {
    fs::read_to_string(folder.join("limits.toml")).expect("the limits")
}

/// What the script takes under an encoding, over a layout.
fn figures(test: &str, encoding: &str, layout: &str) -> Figures {
    let folder =
        folder(&format!("{test}-figures"), &[("a.js", SCRIPT.as_bytes()), ("a.out", b"20\n")]);
    let args = ["weigh", "a.js", "--encoding", encoding, "--layout", layout, "--format", "json"];
    let outcome = scruple_in(&folder, &args);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let document: Document = serde_json::from_str(&outcome.out).expect("a document");
    document.rows[0].figures.clone().expect("figures")
}

/// A limit of one figure under `implied`.
fn one(metric: &str, bound: &str) -> String {
    format!(
        "[[script]]\nname = \"a.js\"\nencoding = \"implied\"\n[script.limits]\n{metric} = {bound}\n"
    )
}

#[test]
fn a_limit_is_exact_to_the_byte_for_every_metric() {
    let f = figures("a_limit_is_exact_to_the", "implied", "narrow");
    let metrics = [
        ("image_bytes", f.image.total),
        ("instruction_bytes", f.image.instructions),
        ("line_table_bytes", f.image.lines),
        ("heap_high_water_bytes", f.heap_high_water.total),
        ("live_peak_bytes", f.live_peak.total),
        ("stack_peak_bytes", f.stack_peak),
        ("compile_peak_asked_bytes", f.compile_peak.asked.expect("it was compiled")),
        ("instructions", f.instructions),
        ("operations", f.operations),
        ("fetched_bytes", f.fetched_bytes),
        ("allocations", f.allocations),
        ("allocated_bytes", f.allocated_bytes),
    ];
    for (metric, measured) in metrics {
        let folder = limited("limits-exact", &one(metric, &measured.to_string()));
        let kept = weigh(&folder, &[]);
        assert_eq!(kept.code, 0, "{metric}: {}{}", kept.out, kept.err);
        assert!(kept.out.contains("limits: 1 kept, 0 exceeded, 0 not measured"), "{}", kept.out);
        let folder = limited("limits-exact", &one(metric, &(measured - 1).to_string()));
        let exceeded = weigh(&folder, &[]);
        assert_eq!(exceeded.code, 3, "{metric}");
        let said = format!(
            "limit exceeded: a.js, implied, narrow: {metric} {measured}, at most {}, 1 more",
            measured - 1
        );
        assert!(exceeded.out.contains(&said), "{}", exceeded.out);
    }
}

#[test]
fn relative_limits_are_of_what_was_or_of_another_encoding_or_layout() {
    let high = figures("relative_limits_are_of_w", "implied", "narrow").heap_high_water.total;
    let code = |bound: String, metric: &str, args: &[&str]| {
        weigh(&limited("limits-relative", &one(metric, &bound)), args).code
    };
    let growth = |was: u64, percent: &str| format!("{{ was = {was}, percent = {percent} }}");
    assert_eq!(code(growth(high, "0"), "heap_high_water_bytes", &[]), 0);
    assert_eq!(code(growth(high - 1, "0"), "heap_high_water_bytes", &[]), 3);
    assert_eq!(code(growth(high - 1, "50.5"), "heap_high_water_bytes", &[]), 0);

    let bytes =
        |encoding| figures("relative_limits_are_of_w", encoding, "narrow").image.instructions;
    let share = 100.0 * bytes("implied") as f64 / bytes("byte") as f64;
    let of_byte = |percent: f64| format!("{{ of = \"byte\", percent = {percent:.1} }}");
    assert_eq!(code(of_byte(share + 0.1), "instruction_bytes", &[]), 0);
    assert_eq!(code(of_byte(share - 0.1), "instruction_bytes", &[]), 3);

    // A share of what was not measured is not kept.
    let implied = ["--encoding", "implied"];
    assert_eq!(code(of_byte(100.0), "instruction_bytes", &implied), 3);
    let of_wide = "{ of = \"wide\", percent = 100 }".to_owned();
    assert_eq!(code(of_wide.clone(), "heap_high_water_bytes", &[]), 3);
    let both = ["--layout", "narrow,wide"];
    assert_eq!(code(of_wide, "heap_high_water_bytes", &both), 0);
}

#[test]
fn a_limit_is_for_one_layout_and_for_every_encoding_unless_it_says_which() {
    let narrow = figures("a_limit_is_for_one_layou", "implied", "narrow");
    let wide = figures("a_limit_is_for_one_layou", "implied", "wide").heap_high_water.total;
    assert!(wide > narrow.heap_high_water.total);
    let high = narrow.heap_high_water.total;
    let every =
        format!("[[script]]\nname = \"a.js\"\n[script.limits]\nheap_high_water_bytes = {high}\n");
    let outcome = weigh(&limited("limits-every", &every), &["--layout", "narrow,wide"]);
    assert_eq!(outcome.code, 0, "{}", outcome.out);
    let kept = format!("limits: {} kept", scruple_bytecode::Encoding::ALL.len());
    assert!(outcome.out.contains(&kept), "{}", outcome.out);
    let of_wide = every.replace("[script.limits]", "layout = \"wide\"\n[script.limits]");
    let folder = limited("limits-wide", &of_wide);
    assert_eq!(weigh(&folder, &["--layout", "narrow,wide"]).code, 3);
    // Not measured over that layout: not kept.
    let outcome = weigh(&folder, &[]);
    assert_eq!(outcome.code, 3);
    let said = "limit not kept: a.js, any encoding, wide: heap_high_water_bytes is not measured";
    assert!(outcome.out.contains(said), "{}", outcome.out);
}

#[test]
fn what_is_missing_or_failed_is_not_kept() {
    let missing = one("image_bytes", "100000").replace("a.js", "gone.js");
    let outcome = weigh(&limited("limits-missing", &missing), &[]);
    assert_eq!(outcome.code, 3);
    assert!(outcome.out.contains("gone.js, implied, narrow: image_bytes is not measured"));
    let folder = limited("limits-unmeasured", &one("image_bytes", "100000"));
    assert_eq!(weigh(&folder, &["--encoding", "leb"]).code, 3);
    assert_eq!(weigh(&folder, &["--encoding", "leb,implied"]).code, 0);
    // A wrong answer is not measured.
    fs::write(folder.join("a.out"), "21\n").expect("another answer");
    assert_eq!(weigh(&folder, &[]).code, 3);
    // A packed script has no compile peak.
    let folder = limited("limits-packed", &one("compile_peak_asked_bytes", "100000"));
    assert_eq!(weigh(&folder, &[]).code, 0);
    assert_eq!(scruple_in(&folder, &["pack", "a.js", "-o", "b.js"]).code, 0);
    fs::rename(folder.join("b.js"), folder.join("a.js")).expect("the image in its place");
    assert_eq!(weigh(&folder, &[]).code, 3);
}

#[test]
fn the_checks_are_in_the_json() {
    let folder = limited("limits-json", &one("image_bytes", "1"));
    let outcome = weigh(&folder, &["--format", "json"]);
    assert_eq!(outcome.code, 3);
    check_schema("weigh", &outcome.out);
    assert!(outcome.err.contains("limits: 0 kept, 1 exceeded, 0 not measured"), "{}", outcome.err);
    let document: Document = serde_json::from_str(&outcome.out).expect("a document");
    let checks = document.checks.expect("checks");
    assert_eq!((checks.len(), checks[0].most, checks[0].holds), (1, Some(1), false));
    assert_eq!(
        checks[0].measured,
        Some(figures("the_checks_are_in_the_js", "implied", "narrow").image.total)
    );
}

#[test]
fn tightening_goes_down_to_what_is_measured_and_keeps_the_rest_of_the_file() {
    let image = figures("tightening_goes_down_to", "implied", "narrow").image.total;
    let loose = "\
# Kept by the station's crew.
[[script]]
name = \"a.js\" # the only one
encoding = \"implied\"

[script.limits]
image_bytes   =  900000  # flash
instructions  = { was = 9000000, percent = 2, reason = \"a spare hour\" }
stack_peak_bytes = 1 # too tight
";
    let folder = limited("limits-tighten", loose);
    // The verdict is of the limits as they were.
    let outcome = weigh(&folder, &["--tighten"]);
    assert_eq!(outcome.code, 3, "{}", outcome.out);
    assert!(outcome.err.contains("limits rewritten: 2 tightened, 0 loosened"), "{}", outcome.err);
    let instructions = figures("tightening_goes_down_to", "implied", "narrow").instructions;
    let wanted = loose
        .replace("900000  #", &format!("{image}  #"))
        .replace("was = 9000000", &format!("was = {instructions}"));
    assert_eq!(written(&folder), wanted);
    // A second time there is nothing to do, and nothing is written.
    let outcome = weigh(&folder, &["--tighten"]);
    assert!(outcome.err.contains("0 tightened, 0 loosened"), "{}", outcome.err);
    assert_eq!(written(&folder), wanted);
    // Nothing is left beside it.
    let names: Vec<_> = fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names.len(), 3, "{names:?}");
}

#[test]
fn a_share_is_tightened_to_a_tenth_of_a_per_cent_that_holds() {
    let folder =
        limited("limits-share", &one("instruction_bytes", "{ of = \"byte\", percent = 99 }"));
    assert_eq!(weigh(&folder, &["--tighten"]).code, 0);
    let bytes =
        |encoding| figures("a_share_is_tightened_to", encoding, "narrow").image.instructions as f64;
    let exact = 100.0 * bytes("implied") / bytes("byte");
    let text = written(&folder);
    let percent = text.split("percent = ").nth(1).and_then(|rest| rest.split(' ').next());
    let percent: f64 = percent.and_then(|number| number.parse().ok()).expect("a number");
    assert!(percent >= exact && percent < exact + 0.1, "{percent} {exact}");
    assert_eq!(weigh(&folder, &[]).code, 0);
}

#[test]
fn loosening_needs_a_reason_and_writes_it_beside_the_limit() {
    let tight = "[[script]]\nname = \"a.js\"\nencoding = \"implied\"\n[script.limits]\n\
                 image_bytes = 1 # flash\nstack_peak_bytes = 900000\n\
                 instructions = { most = 1, reason = \"old\" }\n\
                 operations = { was = 1, percent = 0.5 }\n";
    let folder = limited("limits-loosen", tight);
    assert_eq!(weigh(&folder, &["--loosen"]).code, 2);
    assert_eq!(weigh(&folder, &["--loosen", "--reason", " "]).code, 2);
    assert_eq!(weigh(&folder, &["--reason", "because"]).code, 2);
    assert_eq!(scruple_in(&folder, &["weigh", "a.js", "--tighten"]).code, 2);
    assert_eq!(written(&folder), tight);
    // To tighten does not loosen.
    assert_eq!(weigh(&folder, &["--tighten"]).code, 3);
    assert!(written(&folder).contains("image_bytes = 1 # flash"));
    fs::write(folder.join("limits.toml"), tight).expect("the limits");

    let outcome = weigh(&folder, &["--loosen", "--reason", "a \"second\" queue"]);
    assert_eq!(outcome.code, 3, "the verdict comes first");
    assert!(outcome.err.contains("0 tightened, 3 loosened"), "{}", outcome.err);
    let f = figures("loosening_needs_a_reason", "implied", "narrow");
    let text = written(&folder);
    let table: toml::Table = text.parse().expect("TOML");
    let limits = &table["script"][0]["limits"];
    assert_eq!(limits["image_bytes"]["most"].as_integer(), Some(f.image.total as i64));
    assert_eq!(limits["image_bytes"]["reason"].as_str(), Some("a \"second\" queue"));
    assert_eq!(limits["instructions"]["reason"].as_str(), Some("a \"second\" queue"));
    assert_eq!(limits["stack_peak_bytes"].as_integer(), Some(900_000), "not lowered");
    assert!(text.contains("} # flash"), "{text}");
    assert!(!text.contains(" ,"), "{text}");
    let after = weigh(&folder, &["-v"]);
    assert_eq!(after.code, 0);
    assert!(after.out.contains("0 less (a \"second\" queue)"), "{}", after.out);
}

#[test]
fn a_file_that_is_wrong_is_refused_with_its_place_before_anything_is_measured() {
    let head = "[[script]]\nname = \"a.js\"\n";
    let cases: &[(String, &str)] = &[
        ("[[script]]\nname = \n".to_owned(), "limits.toml:2:8: "),
        (
            format!("{head}[script.limits]\nspeed = 3\n"),
            "limits.toml:4:1: no metric speed: there is",
        ),
        (format!("{head}[script.limits]\nimage_bytes = -3\n"), "limits.toml:4:15: a whole number"),
        (
            format!("{head}[script.limits]\nimage_bytes = {{ was = 3 }}\n"),
            "limits.toml:4:15: a limit is",
        ),
        (
            format!("{head}[script.limits]\nimage_bytes = {{ of = \"morse\", percent = 3 }}\n"),
            "limits.toml:4:22: no encoding or layout morse",
        ),
        (
            format!("{head}encoding = \"morse\"\n[script.limits]\n"),
            "limits.toml:3:12: no encoding morse",
        ),
        (format!("{head}speed = 3\n[script.limits]\n"), "limits.toml:3:1: unknown name speed"),
        ("[[script]]\n[script.limits]\n".to_owned(), "limits.toml:1:1: a script without a name"),
        (head.to_owned(), "limits.toml:1:1: a script without limits"),
        ("# nothing\n".to_owned(), "limits.toml:1:1: no [[script]]"),
    ];
    for (text, said) in cases {
        let folder = limited("limits-wrong", text);
        let outcome = weigh(&folder, &["--tighten"]);
        assert_eq!((outcome.code, outcome.out.as_str()), (1, ""), "{text}");
        assert!(outcome.err.starts_with(&format!("scruple: {said}")), "{said}: {}", outcome.err);
        assert_eq!(&written(&folder), text, "the file is as it was");
    }
    let folder = limited("limits-none", "");
    let outcome = scruple_in(&folder, &["weigh", "a.js", "--limits", "none.toml"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.starts_with("scruple: none.toml: "), "{}", outcome.err);
}
