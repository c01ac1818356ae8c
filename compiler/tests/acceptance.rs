//! An acceptance run over a folder of parser tests in the layout of the npm
//! package `test262-parser-tests` (folders `pass`, `fail` and `early`), named by
//! the environment variable `SCRUPLE_PARSER_TESTS`. It is ignored unless asked
//! for: the package is no part of this repository.
//!
//! `SCRUPLE_PARSER_TESTS=… cargo test -p scruple-compiler --test acceptance -- --ignored --nocapture`

use std::fs;
use std::path::{Path, PathBuf};

use scruple_compiler::{DiagnosticKind, Options, compile};

/// Tests that the standard has overtaken since the package was published, each
/// with its reason.
const OVERTAKEN: &[(&str, &str)] = &[
    ("fail/647e21f8f157c338.js", "U+2029 in a string, allowed since ECMA-262, 10th edition"),
    ("fail/8af69d8f15295ed2.js", "U+2028 in a string, allowed since ECMA-262, 10th edition"),
    ("fail/c060a3014ad24dfd.js", "U+2B81E, a letter since a later version of Unicode"),
    (
        "early/0f5f47108da5c34e.js",
        "`var` of a catch parameter's name in for-of: a rule of Annex B, which this subset \
         leaves out; from memory, later editions dropped it",
    ),
];

fn scripts(folder: &Path) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths
}

/// Outcome of one test in one word, and the first complaint.
fn outcome(path: &Path) -> (&'static str, String) {
    let Ok(source) = fs::read_to_string(path) else { return ("unreadable", String::new()) };
    match compile(&source, &Options::default()) {
        Ok(_) => ("accepted", String::new()),
        Err(diagnostics) => {
            // One complaint outside the subset explains those that follow it.
            let has = |kind| diagnostics.iter().any(|d| d.kind() == kind);
            let word = if has(DiagnosticKind::Unsupported) {
                "unsupported"
            } else if has(DiagnosticKind::Strict) {
                "strict"
            } else if has(DiagnosticKind::Limit) {
                "limit"
            } else {
                "syntax"
            };
            (word, format!("{} | {}", source.trim(), diagnostics.first()))
        }
    }
}

#[test]
#[ignore = "needs the folder that SCRUPLE_PARSER_TESTS names"]
fn scripts_of_the_parser_tests_are_told_apart() {
    let Some(root) = std::env::var_os("SCRUPLE_PARSER_TESTS") else {
        panic!("SCRUPLE_PARSER_TESTS names no folder");
    };
    let root = Path::new(&root);
    let mut wrong = Vec::new();
    for (folder, may_accept) in [("pass", true), ("fail", false), ("early", false)] {
        let mut counts = std::collections::BTreeMap::new();
        for path in scripts(&root.join(folder)) {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            let (mut word, complaint) = outcome(&path);
            if name.ends_with(".module.js") {
                word = match word {
                    "unreadable" => word,
                    _ => "module",
                };
            }
            if OVERTAKEN.iter().any(|(test, _)| *test == format!("{folder}/{name}")) {
                word = "overtaken";
            }
            let is_right = match (may_accept, word) {
                (_, "module" | "unreadable" | "overtaken") => true,
                (true, "syntax" | "limit") => false,
                (false, "accepted") => false,
                _ => true,
            };
            if !is_right {
                wrong.push(format!("{folder}/{name}: {word} {complaint}"));
            }
            *counts.entry(word).or_insert(0) += 1;
        }
        println!("{folder}: {counts:?}");
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}
