//! Instruction sets on disk.
//!
//! A set that is read stays for as long as the program runs: a command reads one, and
//! machines, images and threads all look at it where it lies. It refuses to write.

use std::fmt;
use std::fs;
use std::io;
use std::path::Path;

use scruple_bytecode::InstructionSet;
use scruple_bytecode::sets::{SHIPPED, SetBuffer, SetError};

use crate::files;

/// Sets that a machine is given; the compiler takes the first.
pub type Sets = &'static [&'static InstructionSet<'static>];

/// Why a file holds no instruction set.
#[derive(Debug)]
pub struct SetFileError {
    name: String,
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    Io(io::Error),
    NotUtf8 { offset: usize },
    Set(SetError),
}

impl fmt::Display for SetFileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = &self.name;
        match &self.kind {
            Kind::Io(error) => write!(f, "{name}: {}", files::reason(error)),
            Kind::NotUtf8 { offset } => write!(f, "{name}: not UTF-8 at offset {offset}"),
            Kind::Set(error) => write!(f, "{name}: {error}"),
        }
    }
}

impl std::error::Error for SetFileError {}

/// What a report calls a set: its name and its hash.
pub fn label(set: &InstructionSet<'_>) -> String {
    format!("{} {:08x}", set.name(), set.hash())
}

/// All of these for a machine that is to know every one, each once.
pub fn all_of(several: &[Sets]) -> Sets {
    let mut all: Vec<&'static InstructionSet<'static>> = Vec::new();
    for set in several.iter().copied().flatten() {
        if all.iter().all(|known| known.hash() != set.hash()) {
            all.push(set);
        }
    }
    Box::leak(all.into_boxed_slice())
}

/// Each of these once, where what is compiled against is the same: two files of one set are
/// one way to measure.
pub fn each_once(several: &[Sets]) -> Vec<Sets> {
    let name = |sets: &Sets| sets.first().map(|set| label(set));
    let mut chosen: Vec<Sets> = Vec::new();
    for sets in several {
        if chosen.iter().all(|known| name(known) != name(sets)) {
            chosen.push(sets);
        }
    }
    chosen
}

/// Reads a set, and gives it with the shipped one behind it: a machine that has it can
/// still run what was packed without it.
pub fn read(path: &Path) -> Result<Sets, SetFileError> {
    let fail = |kind| SetFileError { name: path.display().to_string(), kind };
    let bytes = fs::read(path).map_err(|error| fail(Kind::Io(error)))?;
    let text = std::str::from_utf8(&bytes)
        .map_err(|error| fail(Kind::NotUtf8 { offset: error.valid_up_to() }))?;
    let buffer = SetBuffer::parse(text).map_err(|error| fail(Kind::Set(error)))?;
    Ok(keep(buffer))
}

/// A set for as long as the program runs, with the shipped one behind it.
pub fn keep(buffer: SetBuffer) -> Sets {
    let buffer: &'static SetBuffer = Box::leak(Box::new(buffer));
    let set: &'static InstructionSet<'static> = Box::leak(Box::new(buffer.set()));
    if set.hash() == SHIPPED.hash() {
        return Box::leak(Box::new([set]));
    }
    Box::leak(Box::new([set, &SHIPPED]))
}
