//! Running the built command line, and folders to run it in.
//!
//! It owns no expectation.
#![allow(dead_code, reason = "each test binary uses a part of it")]

pub(crate) mod page;
pub(crate) mod schema;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What a run of the command line did.
pub(crate) struct Outcome {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// The workspace's folder: what the samples' paths are counted from.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The command line: a release build if the environment names one, which counts the same
/// (`release.rs`) in a fraction of the time.
pub(crate) fn fastest() -> PathBuf {
    match std::env::var_os("SCRUPLE_RELEASE") {
        Some(path) => root().join(path),
        None => PathBuf::from(env!("CARGO_BIN_EXE_scruple")),
    }
}

/// Runs the command line in the workspace's folder.
pub(crate) fn scruple(args: &[&str]) -> Outcome {
    scruple_in(&root(), args)
}

/// Runs the command line in a folder.
pub(crate) fn scruple_in(folder: &Path, args: &[&str]) -> Outcome {
    let mut command = Command::new(env!("CARGO_BIN_EXE_scruple"));
    command.current_dir(folder).args(args).env_remove("NO_COLOR").stdin(Stdio::null());
    let output = command.output().expect("the command line starts");
    Outcome {
        code: output.status.code().expect("it ends by itself"),
        out: String::from_utf8(output.stdout).expect("it writes UTF-8"),
        err: String::from_utf8(output.stderr).expect("it writes UTF-8"),
    }
}

/// A fresh folder of these files.
pub(crate) fn folder(name: &str, files: &[(&str, &[u8])]) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).expect("a folder for the test");
    for (name, bytes) in files {
        fs::write(path.join(name), bytes).expect("a file for the test");
    }
    path
}

/// Runs `scruple run` on a script of this text.
pub(crate) fn run_text(name: &str, text: &str, args: &[&str]) -> Outcome {
    let folder = folder(name, &[("script.js", text.as_bytes())]);
    scruple_in(&folder, &[&["run", "script.js"], args].concat())
}

/// A text with the table between a pair of markers replaced.
pub(crate) fn spliced(text: &str, name: &str, table: &str) -> String {
    scruple_bench::report::spliced(text, name, table).expect("a pair of markers")
}
