//! The files that commands write: never over what they were just given to read.
//!
//! It owns what is refused before anything is measured. How a file is written is the
//! library's affair.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Result, anyhow, ensure};
use scruple_bench::files;
use scruple_bench::script::{Candidate, Script};

/// Writes a file that was asked for.
pub(crate) fn write(path: &Path, bytes: &[u8]) -> Result<()> {
    files::write(path, bytes)
        .map_err(|error| anyhow!("{}: {}", path.display(), files::reason(&error)))
}

/// Refuses an output that would take the place of something that the command reads.
pub(crate) fn refuse_inputs<'a>(
    output: Option<&Path>,
    inputs: impl IntoIterator<Item = &'a Path>,
) -> Result<()> {
    let Some(output) = output else { return Ok(()) };
    for input in inputs {
        ensure!(
            !is_same(input, output),
            "{}: it would take the place of {}, which this command reads",
            output.display(),
            input.display()
        );
    }
    Ok(())
}

/// All that was read for these scripts: themselves, what they must print, their feeds.
pub(crate) fn files_of(candidates: &[Candidate]) -> impl Iterator<Item = &Path> {
    let scripts = candidates.iter().filter_map(|candidate| candidate.script.as_ref().ok());
    scripts.flat_map(files_of_script)
}

/// All that was read for one script.
pub(crate) fn files_of_script(script: &Script) -> impl Iterator<Item = &Path> {
    script.files.iter().map(PathBuf::as_path)
}

/// Whether two paths lead to one file. A path that leads nowhere yet does not.
pub(crate) fn is_same(one: &Path, other: &Path) -> bool {
    match (fs::canonicalize(one), fs::canonicalize(other)) {
        (Ok(one), Ok(other)) => one == other,
        _ => false,
    }
}
