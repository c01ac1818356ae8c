//! The npm packages `test262-parser-tests` and `everything.js`: sources that any parser
//! of the language must accept, and sources that it must refuse.
//!
//! A source that has to be refused must be refused as what it is, no script: where the
//! compiler says *unsupported* first, that counts as failed. A source that has to be
//! accepted may lie outside the subset, by the compiler's own word; and it may be no
//! strict mode code, which is not ours alone to say: oxc must refuse it in strict mode
//! too. Modules lie outside. What the standard has overtaken since the package was
//! published stands in the list, a reason a line.

use std::collections::BTreeMap;
use std::fs;

use serde::Deserialize;

use super::packages;
use super::sources;
use super::verdict::{Ours, ours, theirs};

const PARSER_TESTS: &str = "test262-parser-tests";

/// What is expected, as data.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expected {
    /// The figures by folder.
    figures: BTreeMap<String, BTreeMap<String, usize>>,
    /// The figures of `everything.js` by file.
    everything: BTreeMap<String, BTreeMap<String, usize>>,
    /// What the standard has overtaken, with reasons.
    overtaken: BTreeMap<String, String>,
    /// Tests that fail, with reasons.
    failing: BTreeMap<String, String>,
}

fn expected() -> Expected {
    toml::from_str(include_str!("../../packages/parser_tests.toml")).expect("the expectations")
}

/// What becomes of a test, in a word, and why if that is wrong.
fn judge(must_be_accepted: bool, source: &str) -> (&'static str, Option<String>) {
    let said = ours(source);
    let word = said.word();
    match (must_be_accepted, said) {
        (true, Ours::Accepted | Ours::Outside(_)) | (false, Ours::Refused(_)) => (word, None),
        (false, Ours::Module(_)) => ("refused", None),
        (true, Ours::Module(_)) => (word, None),
        (true, Ours::Refused(_)) if theirs(source).is_some() => ("sloppy", None),
        (true, Ours::Refused(why) | Ours::Limit(why)) => (word, Some(why)),
        (false, Ours::Accepted) => (word, Some("accepted".to_owned())),
        (false, Ours::Outside(why) | Ours::Limit(why)) => (word, Some(why)),
    }
}

#[test]
fn the_parser_tests_are_accepted_and_refused_as_they_should_be() {
    let Some(packages) = packages() else { return };
    let Expected { figures, overtaken, failing, .. } = expected();
    let mut found = BTreeMap::new();
    let mut wrong = BTreeMap::new();
    for folder in ["pass", "pass-explicit", "fail", "early"] {
        let counts: &mut BTreeMap<String, usize> = found.entry(folder.to_owned()).or_default();
        for file in packages.files(PARSER_TESTS, folder).expect("the folder") {
            let bytes = fs::read(packages.folder(PARSER_TESTS).join(&file)).expect("the test");
            let (word, why) = match String::from_utf8(bytes) {
                _ if overtaken.contains_key(&file) => ("overtaken", None),
                _ if file.ends_with(".module.js") => ("module", None),
                Err(_) => ("not UTF-8", None),
                Ok(source) => judge(folder.starts_with("pass"), &source),
            };
            if let Some(why) = why {
                wrong.insert(file, why);
            }
            *counts.entry(word.to_owned()).or_default() += 1;
        }
        println!("{folder}: {counts:?}");
    }
    for (file, why) in &wrong {
        let told = failing.get(file).map_or("UNLISTED", String::as_str);
        println!("wrong: {file}: {why} ({told})");
    }
    let unlisted = wrong.keys().filter(|file| !failing.contains_key(*file)).count();
    assert_eq!(unlisted, 0, "tests that fail and are not listed");
    for file in failing.keys() {
        assert!(wrong.contains_key(file), "{file} is listed as failing and passes");
    }
    // The project's targets: all of `pass` and `fail`, 97 % of `early`.
    let share_refused = |folder: &str| {
        let n = |word: &str| found[folder].get(word).copied().unwrap_or(0);
        let n_tests: usize = found[folder].values().sum();
        n("refused") as f64 / (n_tests - n("module") - n("overtaken")) as f64
    };
    println!("refused: fail {:.4}, early {:.4}", share_refused("fail"), share_refused("early"));
    assert_eq!(share_refused("fail"), 1.0);
    assert!(share_refused("early") >= 0.97, "early: {}", share_refused("early"));
    assert_eq!(found, figures, "the figures moved: packages/parser_tests.toml");
}

/// The files hold every production of an edition once; they are sloppy mode code as a
/// whole, and are taken apart into their statements.
#[test]
fn every_production_of_an_edition_is_accepted_or_lies_outside() {
    let Some(packages) = packages() else { return };
    let figures = expected().everything;
    let mut found = BTreeMap::new();
    let mut wrong = Vec::new();
    for (file, pieces) in sources::everything(packages) {
        let counts: &mut BTreeMap<String, usize> = found.entry(file.to_owned()).or_default();
        for piece in pieces {
            let (word, why) = judge(true, &piece.text);
            if let Some(why) = why {
                wrong.push(format!("{}: {why}: {}", piece.name, piece.text));
            }
            *counts.entry(word.to_owned()).or_default() += 1;
        }
        println!("{file}: {counts:?}");
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
    assert_eq!(found, figures, "the figures moved: packages/parser_tests.toml");
}
