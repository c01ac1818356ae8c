//! The runner of the official suite, over a suite of a dozen tests written by hand.
//!
//! What each is to become follows the suite's INTERPRETING.md ("Metadata", "Test
//! Execution"), with the README's one difference: nothing is ever run in sloppy mode.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use scruple_conformance::LayoutName;
use scruple_conformance::suite::checkout::Checkout;
use scruple_conformance::suite::compare::Changes;
use scruple_conformance::suite::document::{Document, Grouping, Row};
use scruple_conformance::suite::figures::spliced;
use scruple_conformance::suite::judge::{Judge, Status};
use scruple_conformance::suite::run::Limits;
use scruple_conformance::suite::skips::Skips;
use scruple_conformance::suite::table;
use scruple_vm::HeapOptions;

/// Tests by path: front matter, source, what becomes of it, a part of the reason.
const TESTS: &[(&str, &str, &str, Status, &str)] = &[
    ("language/a/true.js", "esid: sec-a", "assert(1 + 1 === 2);", Status::Passed, ""),
    ("language/a/false.js", "esid: sec-a", "assert(false, 'no');", Status::Failed, "Error: no"),
    ("language/a/include.js", "includes: [extra.js]", "assert(seven() === 7);", Status::Passed, ""),
    (
        "language/a/strict.js",
        "features: [let]",
        "(function () { assert(this === undefined); })();",
        Status::Passed,
        "",
    ),
    (
        "language/b/early.js",
        "negative:\n  phase: parse\n  type: SyntaxError",
        "$DONOTEVALUATE();\nvar = 1;",
        Status::Passed,
        "",
    ),
    (
        "language/b/early_missed.js",
        "negative: {phase: parse, type: SyntaxError}",
        "$DONOTEVALUATE();",
        Status::Failed,
        "accepted",
    ),
    (
        "language/b/late.js",
        "negative: {phase: runtime, type: TypeError}",
        "null.x;",
        Status::Passed,
        "",
    ),
    (
        "language/b/late_other.js",
        "negative: {phase: runtime, type: RangeError}",
        "null.x;",
        Status::Failed,
        "TypeError",
    ),
    (
        "language/b/late_none.js",
        "negative: {phase: runtime, type: RangeError}",
        "",
        Status::Failed,
        "threw nothing",
    ),
    // The harness declares `assert`: ECMA-262, GlobalDeclarationInstantiation, step 3.
    (
        "language/b/redeclared.js",
        "negative: {phase: runtime, type: SyntaxError}",
        "let assert;",
        Status::Passed,
        "",
    ),
    // ECMA-262, HasRestrictedGlobalProperty.
    (
        "language/b/restricted.js",
        "negative: {phase: runtime, type: SyntaxError}",
        "let undefined;",
        Status::Passed,
        "",
    ),
    ("language/b/refused.js", "flags: [generated]", "var 1a;", Status::Failed, "refused: 5:5"),
    ("language/c/module.js", "flags: [module]", "", Status::Unsupported, "module"),
    ("language/c/sloppy.js", "flags: [noStrict]", "", Status::Unsupported, "noStrict"),
    ("language/c/waits.js", "flags: [async]", "", Status::Unsupported, "async"),
    ("language/c/raw.js", "flags: [raw]", "var assert = 1; null;", Status::Passed, ""),
    ("language/c/raw_sloppy.js", "flags: [raw]", "with ({}) {}", Status::Unsupported, "raw"),
    ("language/d/outside.js", "features: [let]", "eval('1');", Status::Unsupported, "`eval`"),
    (
        "language/d/outside_include.js",
        "includes: [outside.js]",
        "",
        Status::Unsupported,
        "harness outside.js",
    ),
    (
        "language/d/absent.js",
        "description: caught by the harness, and yet no failure",
        "try { new FinalizationRegistry(); } catch (e) { assert(false); }",
        Status::Unsupported,
        "the global FinalizationRegistry",
    ),
    (
        "language/d/absent_but_fine.js",
        "description: a name alone is no reason",
        "assert(typeof FinalizationRegistry !== 5);",
        Status::Passed,
        "",
    ),
    (
        "language/d/function.js",
        "description: the machine says so itself",
        "try { new Function('x'); } catch (e) { assert(false); }",
        Status::Unsupported,
        "the Function constructor",
    ),
    ("language/d/proposed.js", "features: [soon]", "assert(false);", Status::Unsupported, "soon"),
    ("language/d/hook.js", "flags: []", "$262.global.x = 1; assert(x === 1);", Status::Passed, ""),
    (
        "language/d/hook_absent.js",
        "flags: []",
        "try { $262.createRealm(); } catch (e) {}",
        Status::Unsupported,
        "createRealm",
    ),
    ("language/e/hang.js", "flags: []", "for (;;) {}", Status::OverBudget, "budget"),
    (
        "language/e/flood.js",
        "flags: []",
        "var a = []; for (;;) a.push(a);",
        Status::OverBudget,
        "heap",
    ),
    ("language/f/skipped.js", "flags: []", "assert(false);", Status::Unsupported, "takes an hour"),
];

const HARNESS: &[(&str, &str)] = &[
    ("sta.js", "function $DONOTEVALUATE() { throw 'no'; }"),
    (
        "assert.js",
        "function Test262Error(message) { this.message = message || ''; }\n\
         Test262Error.prototype.toString = function () { return 'Test262Error: ' + this.message; };\n\
         function assert(is, message) { if (is !== true) throw new Test262Error(message); }",
    ),
    ("extra.js", "function seven() { return 7; }"),
    ("outside.js", "function outside() { return eval('1'); }"),
];

/// A checkout in a folder of the test's own.
fn checkout(name: &str) -> Checkout {
    let root = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    if root.exists() {
        fs::remove_dir_all(&root).unwrap();
    }
    fs::create_dir_all(root.join("harness")).unwrap();
    for (file, text) in HARNESS {
        fs::write(root.join("harness").join(file), text).unwrap();
    }
    for (path, metadata, source, ..) in TESTS {
        let file = root.join("test").join(path);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        let text = format!("/*---\ndescription: by hand\n{metadata}\n---*/\n{source}\n");
        // A key may stand once.
        let text = match metadata.starts_with("description") {
            true => text.replacen("description: by hand\n", "", 1),
            false => text,
        };
        fs::write(file, text).unwrap();
    }
    fs::write(root.join("test/language/a/part_FIXTURE.js"), "export {};").unwrap();
    let features =
        "## Proposed language features\n# comment\nsoon\n\n## Standard language features\nlet\n";
    fs::write(root.join("features.txt"), features).unwrap();
    Checkout::at(&root).unwrap()
}

fn judged(checkout: &Checkout, layout: LayoutName) -> Document {
    let skips = Skips::parse("\"language/f\" = \"takes an hour\"").unwrap();
    let heap = HeapOptions::default();
    let limits = Limits { slots: 64 * 1024, budget: 1_000_000, heap };
    let judge = Judge::new(checkout, &skips, layout, limits).unwrap();
    let rows = checkout.tests(&[]).unwrap().into_iter().map(|path| {
        let (metadata, verdict) = judge.judge(&path);
        Row::new(path, metadata, verdict)
    });
    Document::new(checkout.revision(), "narrow", limits.budget, rows.collect())
}

#[test]
fn each_test_becomes_what_the_rules_of_the_suite_make_of_it() {
    let checkout = checkout("suite-judged");
    for layout in [LayoutName::Narrow, LayoutName::Wide] {
        let document = judged(&checkout, layout);
        let rows: BTreeMap<&str, &Row> =
            document.tests.iter().map(|row| (row.path.as_str(), row)).collect();
        assert_eq!(rows.len(), TESTS.len(), "a fixture is no test, and no test is left out");
        for &(path, _, _, status, reason) in TESTS {
            let row = rows[path];
            assert_eq!(row.status, status, "{path}: {}", row.reason);
            assert!(row.reason.contains(reason), "{path}: {}", row.reason);
        }
    }
}

#[test]
fn the_sums_add_up_and_the_tables_hold_them() {
    let document = judged(&checkout("suite-summed"), LayoutName::Narrow);
    let total = document.total;
    assert_eq!(total.tests, TESTS.len());
    assert_eq!(
        total.tests,
        total.passed + total.failed + total.unsupported + total.crashed + total.over_budget
    );
    let groups = document.grouped(Grouping::Folder(2));
    assert_eq!(groups.values().map(|sums| sums.tests).sum::<usize>(), total.tests);
    assert_eq!(groups["language/e"].over_budget, 2);
    assert_eq!(document.grouped(Grouping::Clause)["sec-a"].tests, 2);
    assert_eq!(document.grouped(Grouping::Feature)["let"].tests, 2);
    let text = table::text(&document, Grouping::Folder(2));
    // 3 of the 4 tests of `a` passed, and none lies outside.
    let line = text.lines().find(|line| line.starts_with("language/a")).unwrap();
    let cells: Vec<&str> = line.split_whitespace().collect();
    assert_eq!(cells, ["language/a", "4", "3", "1", "0", "0", "0", "75.0"]);
    let causes = table::causes(&document, Status::OverBudget, 1);
    assert_eq!(causes.lines().count(), 2, "one cause, and the sum of the others: {causes}");
}

#[test]
fn a_comparison_names_what_changed_and_fails_closed() {
    let before = judged(&checkout("suite-compared"), LayoutName::Narrow);
    let text = serde_json::to_string(&before).unwrap();
    let mut now: Document = serde_json::from_str(&text).unwrap();
    assert!(!Changes::between(&before, &now, |_| true).unwrap().has_losses());
    let find = |document: &Document, path: &str| {
        document.tests.iter().position(|row| row.path == path).unwrap()
    };
    let at = find(&now, "language/a/true.js");
    now.tests[at].status = Status::Failed;
    let at = find(&now, "language/a/false.js");
    now.tests[at].status = Status::Passed;
    let at = find(&now, "language/c/raw.js");
    now.tests.remove(at);
    let changes = Changes::between(&before, &now, |_| true).unwrap();
    assert_eq!(changes.gained, ["language/a/false.js"]);
    assert!(changes.lost.len() == 1 && changes.lost[0].starts_with("language/a/true.js"));
    assert_eq!(changes.gone, ["language/c/raw.js"]);
    assert!(changes.has_losses());
    // A test that this run was not asked for is not missed.
    let asked = |path: &str| !path.starts_with("language/c");
    assert!(Changes::between(&before, &now, asked).unwrap().gone.is_empty());
    now.layout = "wide".to_owned();
    assert!(Changes::between(&before, &now, |_| true).is_err());
}

#[test]
fn the_figures_of_a_whole_run_stand_between_the_markers_of_a_readme() {
    let mut document = judged(&checkout("suite-spliced"), LayoutName::Narrow);
    let readme = "before\n<!-- spliced: suite -->\nstale\n<!-- end -->\nafter\n";
    // Nobody could take the figures again.
    let error = spliced(readme, &document).unwrap_err().to_string();
    assert!(error.contains("--revision"), "{error}");
    document.revision = Some("c0ffee".to_owned());
    document.date = Some("2026-01-31".to_owned());
    let text = spliced(readme, &document).unwrap();
    assert!(text.starts_with("before\n<!-- spliced: suite -->\n") && !text.contains("stale"));
    assert!(text.ends_with("\n<!-- end -->\nafter\n"));
    assert!(text.contains("commit c0ffee of 2026-01-31"));
    let numbers = |name: &str| -> Vec<usize> {
        let line = text.lines().find(|line| line.starts_with(&format!("| {name} |"))).unwrap();
        line.split('|').skip(2).filter_map(|cell| cell.trim().parse().ok()).collect()
    };
    let total = document.total;
    let [tests, passed, failed, unsupported, crashed, over] = numbers("all tests")[..] else {
        panic!("six counts and two shares: {text}");
    };
    assert_eq!((tests, passed, failed), (total.tests, total.passed, total.failed));
    let rest = (unsupported, crashed, over);
    assert_eq!(rest, (total.unsupported, total.crashed, total.over_budget));
    // Counted from the list above, by what its front matter says.
    let core = numbers("`language`, without features, not module, async or noStrict");
    let has_feature = TESTS.iter().filter(|test| test.1.contains("features")).count();
    let has_flag = TESTS.iter().filter(|test| {
        ["module", "noStrict", "async"].iter().any(|flag| test.1.contains(&format!("[{flag}]")))
    });
    assert_eq!(core[0], TESTS.len() - has_feature - has_flag.count());
    let lets = TESTS.iter().filter(|test| test.1.contains("let")).count();
    assert_eq!(numbers("`let`")[0], lets);
    // A second time changes nothing.
    assert_eq!(spliced(&text, &document).unwrap(), text);
    document.filters = vec!["language".to_owned()];
    assert!(spliced(readme, &document).unwrap_err().to_string().contains("a part"));
    assert!(spliced("no markers", &document).is_err());
}
