//! The README's tables are what the tool writes now.
//!
//! With `UPDATE_README=1` in the environment they are written, without it checked.

mod common;

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use common::{fastest, spliced};
use serde_json::Value;

/// The goal of the shipped set, which each script is held out of in turn.
const MINED: &[&str] = &["--goal", "mix", "--weight", "60", "--name", "shipped"];

fn json_of(command: &str, scripts: &str, args: &[&str]) -> Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let output = Command::new(fastest())
        .args([command, scripts, "--format", "json"])
        .args(args)
        .current_dir(root)
        .output()
        .expect("the tool runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn number(value: &Value, path: &[&str]) -> u64 {
    let found = path.iter().fold(value, |value, name| &value[*name]);
    found.as_u64().unwrap_or_else(|| panic!("no number at {path:?}"))
}

fn encodings(report: &Value) -> String {
    let mut table = String::from(
        "\n| encoding | instruction bytes | of `byte` | image bytes | fetched bytes | instructions |\n\
         | --- | ---: | ---: | ---: | ---: | ---: |\n",
    );
    let totals = report["totals"].as_array().expect("totals");
    let byte = totals
        .iter()
        .find(|total| total["encoding"] == "byte")
        .map(|total| number(total, &["image", "instructions"]))
        .expect("a total of byte");
    for total in totals {
        let instructions = number(total, &["image", "instructions"]);
        writeln!(
            table,
            "| `{}` | {instructions} | {:.3} | {} | {} | {} |",
            total["encoding"].as_str().expect("a name"),
            instructions as f64 / byte as f64,
            number(total, &["image", "total"]),
            number(total, &["fetched_bytes"]),
            number(total, &["instructions"]),
        )
        .expect("writing to a string");
    }
    table
}

fn scripts(report: &Value) -> String {
    let mut table = String::from(
        "\n| script | image | instruction bytes | heap high-water | live peak | stack peak | instructions |\n\
         | --- | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for row in report["rows"].as_array().expect("rows") {
        if row["encoding"] != "implied" {
            continue;
        }
        assert_eq!(row["answer_checked"], true, "{}", row["script"]);
        let figures = &row["figures"];
        writeln!(
            table,
            "| {} | {} | {} | {} | {} | {} | {} |",
            row["script"].as_str().expect("a path").trim_start_matches("samples/"),
            number(figures, &["image", "total"]),
            number(figures, &["image", "instructions"]),
            number(figures, &["heap_high_water", "total"]),
            number(figures, &["live_peak", "total"]),
            number(figures, &["stack_peak"]),
            number(figures, &["instructions"]),
        )
        .expect("writing to a string");
    }
    table
}

fn least_ram(report: &Value, fit: &Value) -> String {
    let mut table = String::from(
        "\n| script | heap high-water | live peak | least RAM | steady |\n\
         | --- | ---: | ---: | ---: | ---: |\n",
    );
    let weighed = report["rows"].as_array().expect("rows");
    for row in fit["rows"].as_array().expect("rows") {
        assert_eq!(row["error"], Value::Null, "{}", row["script"]);
        let same = |other: &&Value| {
            other["script"] == row["script"] && other["encoding"] == row["encoding"]
        };
        let figures = &weighed.iter().find(same).expect("the script was weighed")["figures"];
        writeln!(
            table,
            "| {} | {} | {} | {} | {} |",
            row["script"].as_str().expect("a path").trim_start_matches("samples/"),
            number(figures, &["heap_high_water", "total"]),
            number(figures, &["live_peak", "total"]),
            number(row, &["needs", "region_bytes"]),
            number(row, &["needs", "steady_bytes"]),
        )
        .expect("writing to a string");
    }
    table
}

fn layouts(report: &Value) -> String {
    let mut table = String::from(
        "\n| script | live peak, `narrow` | `wide` | ratio | high-water, `narrow` | `wide` | ratio |\n\
         | --- | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    let rows = report["rows"].as_array().expect("rows");
    let over = |layout: &'static str| rows.iter().filter(move |row| row["layout"] == layout);
    for (narrow, wide) in over("narrow").zip(over("wide")) {
        assert_eq!(narrow["script"], wide["script"]);
        let script = narrow["script"].as_str().expect("a path").trim_start_matches("samples/");
        write!(table, "| {script} |").expect("writing to a string");
        for peak in ["live_peak", "heap_high_water"] {
            let bytes = |row: &Value| number(&row["figures"], &[peak, "total"]);
            let (narrow, wide) = (bytes(narrow), bytes(wide));
            let ratio = narrow as f64 / wide as f64;
            write!(table, " {narrow} | {wide} | {ratio:.3} |").expect("writing to a string");
        }
        table.push('\n');
    }
    table
}

/// What sets are worth on the samples that they were not mined from: compiled and run.
fn held_out(mined: &Value) -> String {
    let sum = &mined["sum"];
    let (byte, operations) = (number(sum, &["byte"]), number(sum, &["operations"]));
    let implied = number(sum, &["implied"]);
    let table = number(mined, &["held_out_table_bytes"]);
    let ratio = |part: u64, whole: u64| part as f64 / whole as f64;
    let mut text = format!(
        "\n| encoding | instruction bytes | of `byte` | with a table once | of `byte` | instructions | of `implied` |\n\
         | --- | ---: | ---: | ---: | ---: | ---: | ---: |\n\
         | `byte` | {byte} | 1.000 | {byte} | 1.000 | {operations} | 1.000 |\n\
         | `implied` | {implied} | {0:.3} | {implied} | {0:.3} | {operations} | 1.000 |\n",
        ratio(implied, byte)
    );
    for trials in mined["sum_trials"].as_array().expect("trials") {
        let bytes = number(trials, &["held_out", "instruction_bytes"]);
        let instructions = number(trials, &["held_out", "instructions"]);
        writeln!(
            text,
            "| `{}` | {bytes} | {:.3} | {} | {:.3} | {instructions} | {:.3} |",
            trials["encoding"].as_str().expect("a name"),
            ratio(bytes, byte),
            bytes + table,
            ratio(bytes + table, byte),
            ratio(instructions, operations),
        )
        .expect("writing to a string");
    }
    text
}

#[test]
fn the_tables_are_fresh() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let text = std::fs::read_to_string(&path).expect("the README");
    let report = json_of("weigh", "samples", &[]);
    let both = json_of("weigh", "samples", &["--encoding", "implied", "--layout", "narrow,wide"]);
    let fresh = spliced(&text, "encodings", &encodings(&report));
    let fresh = spliced(&fresh, "scripts", &scripts(&report));
    let fit = json_of("fit", "samples/marrow-brook", &[]);
    let fresh = spliced(&fresh, "least RAM", &least_ram(&report, &fit));
    let fresh = spliced(&fresh, "layouts", &layouts(&both));
    let mined = json_of("compose", "samples", MINED);
    let fresh = spliced(&fresh, "held out", &held_out(&mined));
    if std::env::var_os("UPDATE_README").is_some() {
        std::fs::write(&path, fresh).expect("writing the README");
        return;
    }
    assert!(
        fresh == text,
        "the README's tables are stale: UPDATE_README=1 cargo test -p scruple-bench --test readme"
    );
}
