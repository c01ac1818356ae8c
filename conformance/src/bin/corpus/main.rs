//! The command `corpus`: the programs from the npm registry as a folder of scripts.
//!
//! Exit codes: 0 fine, 1 an error or a program that is left out, 2 usage (clap's own).

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;
use scruple_conformance::corpus::{Entry, Way, lay_out};
use scruple_conformance::packages;

/// Lays the programs of conformance/packages/programs.toml into a folder, as scripts that
/// `scruple compose`, `weigh` and `sweep` take.
#[derive(Debug, Parser)]
#[command(
    name = "corpus",
    version,
    after_help = "Examples:\n  corpus /tmp/npm\n  corpus /tmp/npm-driven --driven\n  \
        scruple compose samples --on /tmp/npm\n\n\
        The packages are installed with `npm`, pinned by hash, into the target folder. A program\n\
        is one script, so that it is held out whole. Without --driven a script is its files, each\n\
        as the function that a `require` would call, and nothing else: for bytes. With it, it runs\n\
        behind our `require` with our driver, which every script then shares: for instructions."
)]
struct Arguments {
    /// The folder to write: it must be empty, or not there
    folder: PathBuf,
    /// With a driver and the answer, which `python3` confirms
    #[arg(long)]
    driven: bool,
    /// Where packages are installed [default: the target folder's `tmp`]
    #[arg(long, value_name = "FOLDER")]
    packages: Option<PathBuf>,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match corpus(&arguments) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("corpus: {error}");
            ExitCode::from(1)
        }
    }
}

fn corpus(arguments: &Arguments) -> Result<ExitCode, String> {
    let root = match &arguments.packages {
        Some(root) => root.clone(),
        None => beside_this_program()?,
    };
    let installed = packages::installed(&root).map_err(|error| error.to_string())?;
    let Some(installed) = installed else {
        return Err(format!("{} is set: there is nothing to lay out", packages::OFFLINE));
    };
    let way = if arguments.driven { Way::Driven } else { Way::Sources };
    let folder = &arguments.folder;
    let entries = lay_out(&installed, folder, way)
        .map_err(|error| format!("{}: {error}", folder.display()))?;
    let text = table(&entries);
    let written = std::io::stdout().write_all(text.as_bytes());
    written.map_err(|error| format!("standard output: {error}"))?;
    let is_lost = |entry: &Entry| entry.is_program && entry.script.is_err();
    Ok(ExitCode::from(u8::from(entries.iter().any(is_lost))))
}

/// The folder where the tests install packages, too.
fn beside_this_program() -> Result<PathBuf, String> {
    let program = std::env::current_exe().map_err(|error| error.to_string())?;
    let target = program.parent().and_then(Path::parent);
    target.map(|target| target.join("tmp")).ok_or_else(|| "no target folder".to_owned())
}

fn table(entries: &[Entry]) -> String {
    let mut text = format!("{:<32}{:>6}{:>9}  licence\n", "script", "files", "bytes");
    let (mut n_scripts, mut n_files, mut n_bytes) = (0, 0, 0);
    for entry in entries {
        let Ok(script) = &entry.script else { continue };
        let Entry { n_files: files, n_bytes: bytes, licence, .. } = entry;
        text.push_str(&format!("{script:<32}{files:>6}{bytes:>9}  {licence}\n"));
        (n_scripts, n_files, n_bytes) = (n_scripts + 1, n_files + files, n_bytes + bytes);
    }
    text.push_str(&format!("{:<32}{n_files:>6}{n_bytes:>9}\n", format!("{n_scripts} scripts")));
    for entry in entries {
        if let Err(reason) = &entry.script {
            text.push_str(&format!("left out: {} {}: {reason}\n", entry.package, entry.version));
        }
    }
    text.push_str("left out: files of these packages that no program requires: tests, copies\n");
    text
}
