//! A checkout of the suite: where its tests and its harness lie, and which revision
//! it is.
//!
//! It reads and never writes; only the day of a revision is asked of `git`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::SuiteError;

/// A checkout of the suite.
#[derive(Clone, Debug)]
pub struct Checkout {
    root: PathBuf,
}

impl Checkout {
    /// The checkout at a path, which must have a `test` and a `harness` folder.
    pub fn at(root: &Path) -> Result<Checkout, SuiteError> {
        for folder in ["test", "harness"] {
            if !root.join(folder).is_dir() {
                let shown = root.display();
                return Err(SuiteError::new(format!(
                    "{shown}: no folder `{folder}` there, as a checkout of the suite has"
                )));
            }
        }
        Ok(Checkout { root: root.to_owned() })
    }

    /// The tests whose path below `test` begins with one of the filters, or all of
    /// them; sorted. Fixtures are no tests.
    pub fn tests(&self, filters: &[String]) -> Result<Vec<String>, SuiteError> {
        let mut tests = Vec::new();
        self.gather("", &mut tests)?;
        tests.retain(|test| matches(test, filters));
        tests.sort_unstable();
        Ok(tests)
    }

    fn gather(&self, below: &str, tests: &mut Vec<String>) -> Result<(), SuiteError> {
        let folder = self.root.join("test").join(below);
        let failed = |error| SuiteError::new(format!("{}: {error}", folder.display()));
        for entry in fs::read_dir(&folder).map_err(failed)? {
            let entry = entry.map_err(failed)?;
            // The suite's file names are ASCII: another one is none of its tests.
            let Ok(name) = entry.file_name().into_string() else { continue };
            let path = if below.is_empty() { name } else { format!("{below}/{name}") };
            if entry.file_type().map_err(failed)?.is_dir() {
                self.gather(&path, tests)?;
            } else if path.ends_with(".js") && !path.contains("_FIXTURE") {
                tests.push(path);
            }
        }
        Ok(())
    }

    /// The source of a test. Bytes that are no UTF-8 are none of the suite's.
    pub fn read_test(&self, path: &str) -> Result<String, SuiteError> {
        self.read(&self.root.join("test").join(path))
    }

    /// The source of a file of the harness.
    pub fn read_harness(&self, name: &str) -> Result<String, SuiteError> {
        self.read(&self.root.join("harness").join(name))
    }

    fn read(&self, path: &Path) -> Result<String, SuiteError> {
        fs::read_to_string(path)
            .map_err(|error| SuiteError::new(format!("{}: {error}", path.display())))
    }

    /// The features that the suite itself lists as proposals, in `features.txt`: no
    /// part of the standard yet.
    pub fn proposals(&self) -> Result<Vec<String>, SuiteError> {
        let list = self.root.join("features.txt");
        if !list.exists() {
            return Ok(Vec::new());
        }
        let text = self.read(&list)?;
        let behind = text.split_once("## Proposed language features").map_or("", |(_, rest)| rest);
        let section = behind.split("## Standard language features").next().unwrap_or_default();
        let lines = section.lines().map(str::trim);
        let named = lines.filter(|line| !line.is_empty() && !line.starts_with('#'));
        Ok(named.map(str::to_owned).collect())
    }

    /// The revision, if it can be told: what `.git` says is checked out. Other ways
    /// to unpack the suite leave no trace of it.
    pub fn revision(&self) -> Option<String> {
        let git = self.root.join(".git");
        let head = fs::read_to_string(git.join("HEAD")).ok()?;
        let head = head.trim();
        let Some(name) = head.strip_prefix("ref: ") else { return Some(head.to_owned()) };
        if let Ok(revision) = fs::read_to_string(git.join(name)) {
            return Some(revision.trim().to_owned());
        }
        let packed = fs::read_to_string(git.join("packed-refs")).ok()?;
        let line = packed.lines().find(|line| line.ends_with(name))?;
        line.split_whitespace().next().map(str::to_owned)
    }

    /// The day of that revision, as `git` tells it.
    pub fn date(&self) -> Option<String> {
        // Without this, `git` would look for a repository in the folders around.
        if !self.root.join(".git").exists() {
            return None;
        }
        let mut git = Command::new("git");
        git.arg("-C").arg(&self.root).args(["show", "-s", "--format=%cs", "HEAD"]);
        let output = git.output().ok().filter(|output| output.status.success())?;
        Some(String::from_utf8(output.stdout).ok()?.trim().to_owned())
    }
}

/// Whether a path is what one of the filters names, or lies below it; without any
/// filter every path is.
pub fn matches(path: &str, filters: &[String]) -> bool {
    let of_test = |filter: &String| matches_path(path, filter.trim_start_matches("test/"));
    filters.is_empty() || filters.iter().any(of_test)
}

/// Whether a path is what a filter names, or lies below it.
pub fn matches_path(path: &str, filter: &str) -> bool {
    let filter = filter.trim_end_matches('/');
    match path.strip_prefix(filter) {
        Some(rest) => filter.is_empty() || rest.is_empty() || rest.starts_with('/'),
        None => false,
    }
}
