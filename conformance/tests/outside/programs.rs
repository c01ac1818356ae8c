//! Small programs from the npm registry, run as they are behind `require`.
//!
//! `packages/programs.toml` names the files of each. A driver in `packages/programs`
//! uses the program and prints; a script for CPython of the same name prints what that
//! must be: it computes it, or quotes an answer with its source. Where more than one
//! answer is right it reads ours and repeats what it has verified. With the argument
//! `given` it writes a module of data for the driver.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use scruple_conformance::commonjs::{File, script};
use scruple_conformance::packages::{self, Packages};
use scruple_conformance::{End, LayoutName, Outcome, Setup, run};
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct List {
    program: Vec<Program>,
}

/// A program of the list.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Program {
    package: String,
    /// Its files, all that it requires.
    files: Vec<String>,
    /// What it is about.
    #[expect(dead_code, reason = "for those who read the list")]
    subject: String,
}

fn list() -> Vec<Program> {
    let list: List = toml::from_str(include_str!("../../packages/programs.toml")).expect("a list");
    list.program
}

/// What a package's driver and answers are called. A scope stays in the name: a script
/// `decimal.py` would stand before CPython's own module.
fn stem(package: &str) -> String {
    package.trim_start_matches('@').replace('/', "-")
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("packages/programs")
}

/// What CPython's side says, given what ours printed.
fn python(package: &str, arguments: &[&str], ours: &str) -> String {
    let mut child = Command::new("python3")
        .arg("-B")
        .arg(format!("{}.py", stem(package)))
        .args(arguments)
        .current_dir(folder())
        .env("PYTHONIOENCODING", "utf-8")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("python3 runs");
    // A side that computes its answer does not read ours: its end closes the pipe.
    let _ = child.stdin.take().expect("a pipe").write_all(ours.as_bytes());
    let output = child.wait_with_output().expect("it ends");
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{package}.py: {error}");
    String::from_utf8(output.stdout).expect("text")
}

fn run_program(program: &Program, packages: &Packages, layout: LayoutName) -> Outcome {
    let Program { package, files, .. } = program;
    let mut all: Vec<File> = files
        .iter()
        .map(|file| File {
            path: format!("{package}/{file}"),
            text: packages.read(package, file).expect("a file of the program"),
        })
        .collect();
    for (path, file) in
        [("common.js", "common.js"), ("driver.js", &format!("{}.js", stem(package)))]
    {
        let text = fs::read_to_string(folder().join(file)).expect("the driver");
        if text.contains("require('given')") {
            all.push(File { path: "given.js".into(), text: python(package, &["given"], "") });
        }
        all.push(File { path: path.into(), text });
    }
    let script = script(&all, "driver.js");
    // The most that `narrow` can reach, and as much as they like for `wide`.
    let slots = match layout {
        LayoutName::Narrow => 120 * 1024,
        LayoutName::Wide => 1 << 20,
    };
    run(&[&script], &Setup { layout, slots, budget: 2_000_000_000, ..Setup::default() })
}

/// The first line that differs.
fn difference(ours: &str, theirs: &str) -> String {
    let (mut ours, mut theirs) = (ours.lines(), theirs.lines());
    for line in 1.. {
        match (ours.next(), theirs.next()) {
            (None, None) => break,
            (a, b) if a == b => {}
            (a, b) => {
                let show = |line: Option<&str>| line.unwrap_or("(nothing)").to_owned();
                return format!("line {line}:\n  ours {}\n  theirs {}", show(a), show(b));
            }
        }
    }
    "no line".to_owned()
}

#[test]
fn programs_from_the_registry_run_unmodified_and_give_the_right_answers() {
    let Some(packages) = super::packages() else { return };
    let list = list();
    let known = packages::read_list(packages::LIST).expect("the list");
    assert!(list.len() >= 20, "{} programs", list.len());
    let mut wrong = Vec::new();
    println!("{:<28}{:>14}{:>12}{:>12}", "program", "instructions", "narrow", "wide");
    for program in &list {
        let package = &program.package;
        assert!(known.iter().any(|known| known.name == *package), "{package} is not pinned");
        let mut figures = Vec::new();
        for layout in [LayoutName::Narrow, LayoutName::Wide] {
            let outcome = run_program(program, packages, layout);
            if outcome.end != End::Finished {
                wrong.push(format!("{package}, {layout:?}: {:?}", outcome.end));
                continue;
            }
            let theirs = python(package, &[], &outcome.printed);
            // Next to nothing printed would be a driver that tests nothing.
            if outcome.printed != theirs || outcome.printed.len() < 100 {
                let place = difference(&outcome.printed, &theirs);
                wrong.push(format!("{package}, {layout:?}: {place}"));
            }
            figures.push((outcome.instructions, outcome.ledger.high_water().total()));
        }
        if let [(instructions, narrow), (_, wide)] = figures[..] {
            println!("{package:<28}{instructions:>14}{narrow:>12}{wide:>12}");
        }
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}
