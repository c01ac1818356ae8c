//! Breakpoints: where a run is to pause, by source line or by function.
//!
//! It owns what a person calls them by, and which places of the code that means. It
//! refuses one that no instruction can come to.

use std::fmt;

use crate::report::visible;

use super::code::Code;

/// The breakpoints of a session.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Breakpoints {
    set: Vec<Breakpoint>,
}

/// A breakpoint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Breakpoint {
    /// What it is at.
    pub spot: Spot,
    /// The places of the code where it pauses.
    pub places: Vec<usize>,
}

/// What a breakpoint is at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Spot {
    /// A source line, from 1.
    Line(u32),
    /// Every function of this name.
    Function(String),
    /// The function of this number.
    Number(usize),
}

impl Spot {
    /// A line where it is a number; a function by its number where it says so; or else all
    /// functions of that name, which may have spaces in it.
    pub fn from_words(words: &str) -> Spot {
        let number = words.strip_prefix("function ").and_then(|rest| rest.trim().parse().ok());
        match (words.parse(), number) {
            (Ok(line), _) => Spot::Line(line),
            (_, Some(number)) => Spot::Number(number),
            _ => Spot::Function(words.to_owned()),
        }
    }
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Spot::Line(line) => write!(f, "line {line}"),
            Spot::Function(name) => write!(f, "function {}", visible(name)),
            Spot::Number(number) => write!(f, "function {number}"),
        }
    }
}

impl Breakpoints {
    /// Those that are set, in the order they were.
    pub fn list(&self) -> &[Breakpoint] {
        &self.set
    }

    /// Sets one, or tells why not.
    pub fn add(&mut self, code: &Code, spot: Spot) -> Result<(), String> {
        if self.set.iter().any(|breakpoint| breakpoint.spot == spot) {
            return Err(format!("there is a breakpoint at {spot} already"));
        }
        let places = match &spot {
            Spot::Line(_) if !code.has_lines() => {
                return Err("the image has no line table: break at a function".to_owned());
            }
            Spot::Line(line) => code.entries_of_line(*line),
            Spot::Function(name) => {
                let functions = code.functions_named(name).into_iter();
                functions
                    .filter_map(|index| Some(code.functions().get(index)?.code.start))
                    .collect()
            }
            Spot::Number(number) => code
                .functions()
                .get(*number)
                .map(|function| function.code.start)
                .into_iter()
                .collect(),
        };
        if places.is_empty() {
            return Err(match spot {
                Spot::Line(line) => no_such_line(code, line),
                Spot::Function(_) | Spot::Number(_) => format!("there is no {spot}"),
            });
        }
        self.set.push(Breakpoint { spot, places });
        Ok(())
    }

    /// Removes the one at a spot, and tells whether there was one.
    pub fn remove(&mut self, spot: &Spot) -> bool {
        let before = self.set.len();
        self.set.retain(|breakpoint| breakpoint.spot != *spot);
        self.set.len() < before
    }

    /// Removes all, and tells how many there were.
    pub fn clear(&mut self) -> usize {
        std::mem::take(&mut self.set).len()
    }

    /// The breakpoint that an instruction is at. A function is come to by a call, not by a
    /// branch back to its first instruction; a line by whatever leads to it, of which its
    /// instructions alone tell little: a branch may lead into the midst of them.
    pub fn hit(&self, at: usize, is_entered: bool, new_line: Option<u32>) -> Option<&Breakpoint> {
        self.set.iter().find(|breakpoint| match breakpoint.spot {
            Spot::Line(line) => new_line == Some(line),
            Spot::Function(_) | Spot::Number(_) => is_entered && breakpoint.places.contains(&at),
        })
    }

    /// Whether a line has one.
    pub fn has_line(&self, line: u32) -> bool {
        self.set.iter().any(|breakpoint| breakpoint.spot == Spot::Line(line))
    }
}

/// What to say of a line that no instruction is of, or not known to be.
fn no_such_line(code: &Code, line: u32) -> String {
    let what = if code.has_every_place() {
        format!("line {line} has no instructions")
    } else {
        format!("line {line} is not in the image's line table, which has what can fail")
    };
    match code.line_from(line) {
        Some(next) => format!("{what}: the next is line {next}"),
        None => format!("{what}, nor is there a line behind it"),
    }
}
