//! The programs from the npm registry as a folder of scripts, for whoever mines or weighs
//! a corpus that is not ours.
//!
//! It owns how a program becomes one script, which is what is left out at a time when a
//! set is tried on scripts it was not mined from: a program in sixteen files is one
//! program. It refuses what the compiler refuses, and a driver whose answer is not the
//! one that CPython gives.
//!
//! There are two ways, since no one way is fair to all figures:
//!
//! - [`Way::Sources`]: each file as the function that a `require` would call, one behind
//!   the other, and nothing else of ours. Run, such a script makes the functions and calls
//!   none. It is for bytes: every byte but a few a file is the program's own.
//! - [`Way::Driven`]: behind our `require` and with our driver, so that it runs and has an
//!   answer. It is for instructions carried out. The text of `require` and of what drivers
//!   share is in every script: a set mined from others knows it, which flatters bytes.

use std::fs;
use std::io;
use std::path::Path;

use crate::packages::{self, Package, Packages};
use crate::programs::{self, Program, ProgramError, difference};
use crate::{End, LayoutName, Setup, run};

/// How a program becomes a script.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Its files alone.
    Sources,
    /// With `require` and a driver, and with what it must print.
    Driven,
}

/// What became of a package of the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// The package.
    pub package: String,
    /// Its version.
    pub version: String,
    /// Its licence, as it says.
    pub licence: String,
    /// Whether the list of programs has it: else it is there for something else.
    pub is_program: bool,
    /// Files of it that are in the script.
    pub n_files: usize,
    /// Their bytes.
    pub n_bytes: usize,
    /// The name of the script, or why there is none.
    pub script: Result<String, String>,
}

/// Writes the programs into a folder, which must be empty or not there: nothing of
/// anybody's is overwritten. An entry a package of the list.
pub fn lay_out(packages: &Packages, folder: &Path, way: Way) -> io::Result<Vec<Entry>> {
    fs::create_dir_all(folder)?;
    if fs::read_dir(folder)?.next().is_some() {
        let message = "not empty: a folder of its own is wanted";
        return Err(io::Error::new(io::ErrorKind::AlreadyExists, message));
    }
    let list = packages::read_list(packages::LIST).map_err(io::Error::other)?;
    let programs = programs::list().map_err(io::Error::other)?;
    let mut entries = Vec::new();
    for package in &list {
        let program = programs.iter().find(|program| program.package == package.name);
        entries.push(entry(package, program, packages, folder, way)?);
    }
    Ok(entries)
}

fn entry(
    package: &Package,
    program: Option<&Program>,
    packages: &Packages,
    folder: &Path,
    way: Way,
) -> io::Result<Entry> {
    let Package { name, version, licence, .. } = package;
    let mut entry = Entry {
        package: name.clone(),
        version: version.clone(),
        licence: licence.clone(),
        is_program: program.is_some(),
        n_files: 0,
        n_bytes: 0,
        script: Err(format!("not in the list of programs: {}", package.what)),
    };
    let Some(program) = program else { return Ok(entry) };
    let made = match way {
        Way::Sources => sources(program, packages).map(|text| (text, None)),
        Way::Driven => driven(program, packages).map(|(text, out)| (text, Some(out))),
    };
    let head = |text: &str| format!("// {name} {version}, {licence}\n{text}");
    match made {
        Ok((text, out)) => {
            let files = program.own_files(packages).map_err(io::Error::other)?;
            entry.n_files = files.len();
            entry.n_bytes = files.iter().map(|file| file.text.len()).sum();
            let stem = program.stem();
            fs::write(folder.join(format!("{stem}.js")), head(&text))?;
            if let Some(out) = out {
                fs::write(folder.join(format!("{stem}.out")), out)?;
            }
            entry.script = Ok(format!("{stem}.js"));
        }
        Err(reason) => entry.script = Err(reason.to_string()),
    }
    Ok(entry)
}

/// The files of a program, each as a function of `module`, `exports` and `require`.
fn sources(program: &Program, packages: &Packages) -> Result<String, String> {
    let files = program.own_files(packages).map_err(|error| error.to_string())?;
    let mut text = String::new();
    for file in &files {
        text.push_str(&format!(
            "// {}\n(function (module, exports, require) {{{}\n}});\n",
            file.path, file.text
        ));
    }
    match run(&[&text], &Setup::default()).end {
        End::Finished => Ok(text),
        end => Err(format!("{end:?}")),
    }
}

/// The script with its driver, and what it prints, which CPython has confirmed.
fn driven(program: &Program, packages: &Packages) -> Result<(String, String), String> {
    let told = |error: ProgramError| error.to_string();
    let outcome = program.run(packages, LayoutName::Narrow).map_err(told)?;
    if outcome.end != End::Finished {
        return Err(format!("{:?}", outcome.end));
    }
    let theirs = program.answer(&outcome.printed).map_err(told)?;
    if outcome.printed != theirs {
        return Err(format!("a wrong answer: {}", difference(&outcome.printed, &theirs)));
    }
    let options = format!("// scruple: --budget {}\n", programs::BUDGET);
    Ok((options + &program.driven(packages).map_err(told)?, theirs))
}
