//! The cases in `cases/*.toml`, each under every encoding, by both of the machine's
//! loops, and once more with a collection before every allocation.
//!
//! A case names the clause of ECMA-262 that its expectation was worked out from.

use std::collections::HashSet;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::LazyLock;

use rayon::prelude::*;
use scruple_bytecode::Encoding;
use scruple_bytecode::sets::{InstructionSet, SHIPPED};
use scruple_conformance::sets;
use scruple_conformance::{End, LayoutName, Outcome, Setup, Way, run};
use scruple_vm::HeapOptions;
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Suite {
    case: Vec<Case>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    name: String,
    clause: String,
    source: String,
    /// What it prints, if it ends at its end.
    prints: Option<String>,
    /// The start of the text of what it throws and does not catch.
    throws: Option<String>,
    /// A part of the compiler's refusal.
    refused: Option<String>,
    /// Why the case is known to fail: then it must.
    failing: Option<String>,
}

/// The cases, each with the name of its file.
fn read_cases() -> Vec<(String, Case)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("cases");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .expect("the folder of cases")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .collect();
    files.sort();
    assert!(!files.is_empty(), "no case files");
    let mut cases = Vec::new();
    for file in files {
        let text = std::fs::read_to_string(&file).expect("a case file");
        let suite: Suite =
            toml::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
        let mut names = HashSet::new();
        for case in suite.case {
            assert!(names.insert(case.name.clone()), "two cases are called {:?}", case.name);
            assert!(case.clause.starts_with("sec-"), "{}: no clause", case.name);
            cases.push((file.file_stem().unwrap().to_string_lossy().into_owned(), case));
        }
    }
    cases
}

#[test]
fn cases_do_what_the_standard_says() {
    hold(&read_cases(), check);
}

/// The arms of the optimised loop and its unchecked accesses are compiled in release builds
/// alone: what carries the cases out above is another way through the machine.
#[test]
#[ignore = "wants a release build of the command line: .ci/run has one"]
fn cases_do_so_in_the_release_build() {
    let path = std::env::var_os("SCRUPLE_RELEASE").expect("SCRUPLE_RELEASE: a release build");
    let program = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(path);
    hold(&read_cases(), |case| {
        Encoding::ALL.iter().find_map(|encoding| {
            let problem = released(&program, case, *encoding)?;
            Some(format!("{}: {problem}", encoding.name()))
        })
    });
}

/// What the release build does with a case that it should not.
fn released(program: &Path, case: &Case, encoding: Encoding) -> Option<String> {
    let mut command = Command::new(program);
    command.args(["run", "-", "--budget", "200000000", "--encoding", encoding.name()]);
    let piped = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = piped.spawn().expect("the release build starts");
    let mut input = child.stdin.take().expect("it reads");
    input.write_all(case.source.as_bytes()).expect("it reads all");
    drop(input);
    let output = child.wait_with_output().expect("it ends");
    let printed = String::from_utf8_lossy(&output.stdout);
    let complained = String::from_utf8_lossy(&output.stderr);
    let is_right = match (&case.prints, &case.throws, &case.refused) {
        (Some(prints), None, None) => output.status.success() && printed == *prints,
        (_, Some(wanted), _) | (_, _, Some(wanted)) => {
            output.status.code() == Some(1) && complained.contains(wanted.as_str())
        }
        _ => false,
    };
    (!is_right).then(|| format!("{}: {printed}{complained}", output.status))
}

/// Fails unless every case does what it should, or fails where it is marked so.
fn hold(cases: &[(String, Case)], check: impl Fn(&Case) -> Option<String> + Sync) {
    let failures: Vec<String> = cases
        .par_iter()
        .filter_map(|(family, case)| {
            let problem = check(case);
            match (&problem, &case.failing) {
                (Some(_), Some(_)) | (None, None) => None,
                (None, Some(_)) => Some(format!("{family}: {}: passes, but is marked", case.name)),
                (Some(problem), None) => Some(format!("{family}: {}: {problem}", case.name)),
            }
        })
        .collect();
    assert!(
        failures.is_empty(),
        "{} of {} cases failed:\n{}",
        failures.len(),
        cases.len(),
        failures.join("\n")
    );
    println!("{} cases", cases.len());
}

/// Under `context` a set of two tables: with one it would be `composite`.
fn set_for(encoding: Encoding) -> &'static InstructionSet<'static> {
    static TWO_TABLES: LazyLock<&InstructionSet<'static>> =
        LazyLock::new(|| sets::keep(&sets::two_tables()));
    if encoding.has_tables() { &TWO_TABLES } else { &SHIPPED }
}

fn check(case: &Case) -> Option<String> {
    let mut first: Option<Outcome> = None;
    for &encoding in Encoding::ALL {
        let setup = Setup { encoding, set: set_for(encoding), ..Setup::default() };
        let outcome = run(&[&case.source], &setup);
        if let Some(problem) = judge(case, &outcome) {
            return Some(format!("{}: {problem}", encoding.name()));
        }
        let compact = run(&[&case.source], &Setup { way: Way::Compact, ..setup });
        if let Some(problem) = judge(case, &compact) {
            return Some(format!("{}, compact: {problem}", encoding.name()));
        }
        let same = compact.instructions == outcome.instructions
            && compact.operations == outcome.operations
            && compact.fetched_bytes == outcome.fetched_bytes
            && compact.ledger.high_water() == outcome.ledger.high_water()
            && compact.ledger.stack_peak() == outcome.ledger.stack_peak();
        if !same {
            return Some(format!("{}: the compact loop counts differ", encoding.name()));
        }
        if !outcome.ledger.audit() {
            return Some("the ledger does not add up".to_owned());
        }
        if let Some(first) = &first {
            let joins = encoding.has_set();
            let same = first.operations == outcome.operations
                && (joins || first.instructions == outcome.instructions)
                && outcome.instructions <= outcome.operations
                && first.ledger.high_water() == outcome.ledger.high_water()
                && first.ledger.stack_peak() == outcome.ledger.stack_peak();
            if !same {
                return Some(format!("{}: counts differ between encodings", encoding.name()));
            }
        }
        first.get_or_insert(outcome);
    }
    // By the handlers alone: the same again, to the byte and the instruction.
    for encoding in [Encoding::Implied, Encoding::Composite, Encoding::Echo, Encoding::Context] {
        let setup = Setup { encoding, set: set_for(encoding), ..Setup::default() };
        let stepped = run(&[&case.source], &Setup { way: Way::Stepped, ..setup });
        if let Some(problem) = judge(case, &stepped) {
            return Some(format!("stepped: {problem}"));
        }
        let plain = run(&[&case.source], &setup);
        let same = stepped.instructions == plain.instructions
            && stepped.operations == plain.operations
            && stepped.fetched_bytes == plain.fetched_bytes
            && stepped.ledger.high_water() == plain.ledger.high_water();
        if !same {
            return Some("counts differ where each instruction is looked at".to_owned());
        }
    }
    let wide = run(&[&case.source], &Setup { layout: LayoutName::Wide, ..Setup::default() });
    if let Some(problem) = judge(case, &wide) {
        return Some(format!("wide: {problem}"));
    }
    let heap = HeapOptions { collect_every: 0, ..HeapOptions::default() };
    let outcome = run(&[&case.source], &Setup { heap, slots: 64 * 1024, ..Setup::default() });
    if let Some(problem) = judge(case, &outcome) {
        return Some(format!("collecting before every allocation: {problem}"));
    }
    let heap = HeapOptions { thorough: true, ..heap };
    [LayoutName::Narrow, LayoutName::Wide].into_iter().find_map(|layout| {
        let setup = Setup { layout, heap, slots: 64 * 1024, ..Setup::default() };
        let problem = judge(case, &run(&[&case.source], &setup))?;
        Some(format!("{layout:?}, moving all blocks behind every collection: {problem}"))
    })
}

fn judge(case: &Case, outcome: &Outcome) -> Option<String> {
    let expected = match (&case.prints, &case.throws, &case.refused) {
        (Some(text), None, None) => {
            if outcome.end == End::Finished && outcome.printed == *text {
                return None;
            }
            format!("to print {text:?}")
        }
        (None, Some(text), None) => {
            if matches!(&outcome.end, End::Threw(thrown) if thrown.starts_with(text.as_str())) {
                return None;
            }
            format!("to throw {text:?}")
        }
        (None, None, Some(text)) => {
            if matches!(&outcome.end, End::Refused(why) if why.contains(text.as_str())) {
                return None;
            }
            format!("to be refused: {text:?}")
        }
        _ => "one of prints, throws, refused".to_owned(),
    };
    Some(format!("expected {expected}, printed {:?}, ended {:?}", outcome.printed, outcome.end))
}
