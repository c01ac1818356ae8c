//! Small programs from the npm registry: which they are, how they are put together, and
//! what CPython says they must print.
//!
//! `packages/programs.toml` names the files of each. A driver in `packages/programs`
//! uses the program and prints; a script for CPython of the same name prints what that
//! must be: it computes it, or quotes an answer with its source. Where more than one
//! answer is right it reads ours and repeats what it has verified. With the argument
//! `given` it writes a module of data for the driver.
//!
//! It changes no file of a program, and owns no answer.

use std::fmt;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde::Deserialize;

use crate::commonjs::{self, File};
use crate::packages::Packages;
use crate::{LayoutName, Outcome, Setup, run};

/// The list, as it is committed.
const LIST: &str = include_str!("../packages/programs.toml");

/// A program of the list.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Program {
    /// The package that it is.
    pub package: String,
    /// What it is about.
    pub subject: String,
    /// Its files, all that it requires.
    pub files: Vec<String>,
}

/// Why there is no program, or no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProgramError(String);

impl fmt::Display for ProgramError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for ProgramError {}

/// Operations that a driver may take.
pub const BUDGET: u64 = 2_000_000_000;

/// The programs.
pub fn list() -> Result<Vec<Program>, ProgramError> {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct List {
        program: Vec<Program>,
    }
    let list: Result<List, _> = toml::from_str(LIST);
    list.map(|list| list.program).map_err(|error| ProgramError(error.to_string()))
}

impl Program {
    /// What its driver and answers are called. A scope stays in the name: a script
    /// `decimal.py` would stand before CPython's own module.
    pub fn stem(&self) -> String {
        self.package.trim_start_matches('@').replace('/', "-")
    }

    /// Its own files, as they are published.
    pub fn own_files(&self, packages: &Packages) -> Result<Vec<File>, ProgramError> {
        let Program { package, files, .. } = self;
        let read = |file: &String| {
            let text = packages.read(package, file);
            let text = text.map_err(|error| ProgramError(error.to_string()))?;
            Ok(File { path: format!("{package}/{file}"), text })
        };
        files.iter().map(read).collect()
    }

    /// One script that uses it and prints: its files, what drivers share, its driver,
    /// behind a `require` of them.
    pub fn driven(&self, packages: &Packages) -> Result<String, ProgramError> {
        let mut all = self.own_files(packages)?;
        for (path, file) in
            [("common.js", "common.js"), ("driver.js", &format!("{}.js", self.stem()))]
        {
            let name = folder().join(file);
            let text = fs::read_to_string(&name);
            let text =
                text.map_err(|error| ProgramError(format!("{}: {error}", name.display())))?;
            if text.contains("require('given')") {
                let given = self.python(&["given"], "")?;
                all.push(File { path: "given.js".into(), text: given });
            }
            all.push(File { path: path.into(), text });
        }
        Ok(commonjs::script(&all, "driver.js"))
    }

    /// Runs it with its driver.
    pub fn run(&self, packages: &Packages, layout: LayoutName) -> Result<Outcome, ProgramError> {
        // The most that `narrow` can reach, and as much as they like for `wide`.
        let slots = match layout {
            LayoutName::Narrow => 120 * 1024,
            LayoutName::Wide => 1 << 20,
        };
        let setup = Setup { layout, slots, budget: BUDGET, ..Setup::default() };
        Ok(run(&[&self.driven(packages)?], &setup))
    }

    /// What it must print, by CPython's side, given what ours printed.
    pub fn answer(&self, ours: &str) -> Result<String, ProgramError> {
        self.python(&[], ours)
    }

    fn python(&self, arguments: &[&str], ours: &str) -> Result<String, ProgramError> {
        let script = format!("{}.py", self.stem());
        let fail = |what: String| ProgramError(format!("python3 {script}: {what}"));
        let mut child = Command::new("python3")
            .arg("-B")
            .arg(&script)
            .args(arguments)
            .current_dir(folder())
            .env("PYTHONIOENCODING", "utf-8")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|error| fail(error.to_string()))?;
        if let Some(mut pipe) = child.stdin.take() {
            // A side that computes its answer does not read ours: its end closes the pipe.
            let _ = pipe.write_all(ours.as_bytes());
        }
        let output = child.wait_with_output().map_err(|error| fail(error.to_string()))?;
        if !output.status.success() {
            return Err(fail(String::from_utf8_lossy(&output.stderr).into_owned()));
        }
        String::from_utf8(output.stdout).map_err(|error| fail(error.to_string()))
    }
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("packages/programs")
}

/// The first line that differs.
pub fn difference(ours: &str, theirs: &str) -> String {
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
