//! A listing as data: functions, their instructions with bytes, labels and targets, and the
//! source lines they are of.
//!
//! It owns which row stands where, for forms that lay it out themselves. The words of a row are
//! those of the listing as text, which `scruple_bytecode::listing` writes.

use std::collections::BTreeSet;
use std::ops::Range;

use scruple_bytecode::encoding::{Fetched, Instruction};
use scruple_bytecode::image::Image;
use scruple_bytecode::listing;
use scruple_bytecode::operand::{FunctionId, OperandKind};
use scruple_bytecode::sets::Table;

use crate::diagnose::is_line_end;
use crate::document::ImageBytes;
use crate::sets;
use crate::trace::function_name;

/// Functions of an image, and the source.
#[derive(Clone, Debug)]
pub struct Listed {
    /// The script's name.
    pub script: String,
    /// The encoding's name.
    pub encoding: &'static str,
    /// The instruction set, by name and hash, of an image that has one.
    pub set: Option<String>,
    /// Bytes of the whole image.
    pub image: ImageBytes,
    /// The lines of the source; of a packed script they are not at hand.
    pub source: Vec<String>,
    /// The functions, in the order of the image.
    pub functions: Vec<Function>,
}

/// One function.
#[derive(Clone, Debug)]
pub struct Function {
    /// Its number.
    pub number: usize,
    /// Its name, or what it is.
    pub name: String,
    /// What stands above its instructions, a line each: the name and what a frame takes first.
    pub head: Vec<String>,
    /// Where its code lies.
    pub code: Range<usize>,
    /// Its instructions.
    pub rows: Vec<Row>,
}

/// One instruction.
#[derive(Clone, Debug)]
pub struct Row {
    /// Its place.
    pub at: usize,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Whether a branch or a guard of the function leads to it.
    pub is_label: bool,
    /// The source line, if the image has a line table.
    pub line: Option<u32>,
    /// What it is where its operations stand below it, and the place it refers back to.
    pub joined: Option<(String, Option<usize>)>,
    /// Its operations.
    pub operations: Vec<Operation>,
}

/// One operation.
#[derive(Clone, Debug)]
pub struct Operation {
    /// Mnemonic and operand.
    pub text: String,
    /// Its stack effect.
    pub picture: &'static str,
    /// Where its operand leads.
    pub target: Option<Target>,
}

/// Where an operand leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target {
    /// To a place of the code.
    Place(usize),
    /// To a function, which it makes a closure of.
    Function(usize),
}

impl Listed {
    /// These functions of an image.
    pub fn new(
        script: &str,
        image: &Image<'_>,
        functions: impl IntoIterator<Item = FunctionId>,
        source: Option<&str>,
    ) -> Listed {
        let positions: Vec<(u32, u32)> =
            image.positions().map(|(start, position)| (start, position.line)).collect();
        let functions = functions.into_iter().filter_map(|id| function(image, id, &positions));
        Listed {
            script: script.to_owned(),
            encoding: image.encoding().name(),
            set: image.set().map(sets::label),
            image: image.sizes().into(),
            source: source.map(lines_of).unwrap_or_default(),
            functions: functions.collect(),
        }
    }
}

fn function(image: &Image<'_>, id: FunctionId, positions: &[(u32, u32)]) -> Option<Function> {
    let (begin, end) = (image.function(id)?.code, image.code_end(id)?);
    let mut head = String::new();
    // A String takes whatever is written.
    let _ = listing::write_head(&mut head, image, id);
    let from = positions.partition_point(|&(start, _)| start < begin);
    let to = positions.partition_point(|&(start, _)| start < end);
    let own = &positions[from..to];
    let labels: BTreeSet<usize> = listing::labels(image, id).collect();
    let handlers = handlers(image, id);
    let (mut at, mut table) = (begin as usize, Table::First);
    let mut rows = Vec::new();
    while at < end as usize {
        let Some(instruction) = image.decode_in(at, table) else { break };
        let is_label = labels.contains(&at);
        rows.push(Row {
            is_label,
            line: line_at(own, &handlers, at),
            ..row(image, id, at, &instruction)
        });
        (at, table) = (instruction.next, image.table_behind(&instruction));
    }
    Some(Function {
        number: id.index(),
        name: function_name(image, id),
        head: head.lines().map(|line| line.trim().to_owned()).collect(),
        code: begin as usize..end as usize,
        rows,
    })
}

/// Where the handlers of a function begin.
pub(crate) fn handlers(image: &Image<'_>, id: FunctionId) -> Vec<usize> {
    let Some(function) = image.function(id) else { return Vec::new() };
    let guards = function.details().into_iter().flat_map(|details| details.guards());
    guards.map(|guard| (function.code + guard.target) as usize).collect()
}

/// Whether a handler begins behind an entry of the line table and not behind an instruction:
/// the entry is of what is guarded then, and the instruction is of no line that is known.
pub(crate) fn is_cut_off(handlers: &[usize], entry: usize, at: usize) -> bool {
    handlers.iter().any(|&handler| entry < handler && handler <= at)
}

/// The line of an instruction: that of the last entry up to it, or else of the first one.
fn line_at(positions: &[(u32, u32)], handlers: &[usize], at: usize) -> Option<u32> {
    let behind = positions.partition_point(|&(start, _)| start as usize <= at);
    let entry = positions.get(behind.saturating_sub(1)).map_or(0, |&(start, _)| start as usize);
    if is_cut_off(handlers, entry, at) {
        return None;
    }
    positions.get(behind.saturating_sub(1)).map(|&(_, line)| line)
}

fn row(image: &Image<'_>, id: FunctionId, at: usize, instruction: &Instruction) -> Row {
    let joined = listing::is_joined(instruction).then(|| {
        let mut text = String::new();
        // A String takes whatever is written.
        let _ = listing::write_joined(&mut text, image, at, instruction);
        (text, image.echoed(at).map(|reference| at - reference.back as usize))
    });
    Row {
        at,
        bytes: image.code()[at..instruction.next].to_vec(),
        is_label: false,
        line: None,
        joined,
        operations: instruction.parts().map(|fetched| operation(image, id, fetched)).collect(),
    }
}

fn operation(image: &Image<'_>, id: FunctionId, fetched: Fetched) -> Operation {
    let Fetched { op, operand, next } = fetched;
    let mut text = String::new();
    // A String takes whatever is written.
    let _ = listing::write_instruction(&mut text, image, id, fetched);
    let target = match op.info().operand {
        OperandKind::Displacement => {
            usize::try_from(next as i64 + i64::from(operand)).ok().map(Target::Place)
        }
        OperandKind::FunctionId => {
            Some(Target::Function(FunctionId::from_operand(operand).index()))
        }
        _ => None,
    };
    Operation { text, picture: op.text().picture, target }
}

/// The lines of a source, as ECMA-262 ends them.
fn lines_of(source: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut chars = source.chars().peekable();
    while let Some(ch) = chars.next() {
        if is_line_end(ch) {
            if ch == '\r' {
                chars.next_if_eq(&'\n');
            }
            lines.push(String::new());
        } else if let Some(line) = lines.last_mut() {
            line.push(ch);
        }
    }
    // What follows the last line's end is no line, unless something stands there.
    if lines.len() > 1 && lines.last().is_some_and(String::is_empty) {
        lines.pop();
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    // ECMA-262, LineTerminatorSequence.
    #[test]
    fn lines_end_where_the_language_ends_them() {
        assert_eq!(lines_of("a\r\nb\rc\u{2028}d\u{2029}\ne"), ["a", "b", "c", "d", "", "e"]);
        assert_eq!(lines_of("a\n"), ["a"]);
        assert_eq!(lines_of("a\n\n"), ["a", ""]);
        assert_eq!(lines_of(""), [""]);
    }
}
