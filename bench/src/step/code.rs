//! The code of an image as a stepper looks at it: instruction by instruction, with the
//! function, the source line and the texts of each.
//!
//! It owns these texts, made once for a session: a pause looks them up. It refuses to know
//! where a run is.

use std::fmt::Write;
use std::ops::Range;

use scruple_bytecode::image::{GlobalKind, Image, Position};
use scruple_bytecode::listing;
use scruple_bytecode::operand::{FunctionId, GlobalId};

use crate::listed::{handlers, is_cut_off};
use crate::report::visible;
use crate::trace::function_name;

/// The code of an image.
#[derive(Clone, Debug, Default)]
pub struct Code {
    instructions: Vec<Instruction>,
    functions: Vec<Function>,
    globals: Vec<(GlobalId, String)>,
    has_every_place: bool,
    /// The index of the instruction that begins at each byte, one more than it is; 0 where
    /// none begins.
    index_at: Vec<u32>,
}

/// An instruction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instruction {
    /// Its place in the code section.
    pub at: usize,
    /// The place behind it.
    pub next: usize,
    /// The number of its function.
    pub function: usize,
    /// Where in the source it is from, unless the line table was stripped.
    pub position: Option<Position>,
    /// Bytes that are read to carry it out: its own, and those an echo leads to.
    pub fetched: usize,
    /// The operations it is made of.
    pub parts: Vec<Part>,
}

/// An operation of an instruction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Mnemonic and operand.
    pub text: String,
    /// What it takes from the stack and leaves there.
    pub picture: &'static str,
}

/// A function.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Function {
    /// Its name, or what it is.
    pub name: String,
    /// Its code.
    pub code: Range<usize>,
    /// How many of its slots are parameters.
    pub n_params: usize,
}

impl Code {
    /// Of an image, with the places that its line table tells, or with those of another
    /// image that has the same code.
    pub fn new(image: &Image<'_>, places: Option<&Image<'_>>) -> Code {
        let mut code = Code {
            index_at: vec![0; image.code().len()],
            has_every_place: places.is_some(),
            ..Code::default()
        };
        let positions: Vec<(usize, Position)> = places
            .unwrap_or(image)
            .positions()
            .map(|(at, position)| (at as usize, position))
            .collect();
        for id in (0..image.n_functions()).filter_map(FunctionId::new) {
            let (Some(function), Some(end)) = (image.function(id), image.code_end(id)) else {
                break;
            };
            let range = function.code as usize..end as usize;
            code.functions.push(Function {
                name: function_name(image, id),
                code: range.clone(),
                n_params: usize::from(function.n_params),
            });
            code.add_instructions(image, id, range, &positions);
        }
        let globals = (0..image.n_globals()).filter_map(GlobalId::new);
        code.globals = globals
            .filter(|&id| image.global(id).is_some_and(|(kind, _)| kind != GlobalKind::Undeclared))
            .map(|id| {
                let mut name = String::new();
                // A String takes whatever is written.
                let _ = listing::write_global_name(&mut name, image, id);
                (id, name)
            })
            .collect();
        code
    }

    fn add_instructions(
        &mut self,
        image: &Image<'_>,
        id: FunctionId,
        range: Range<usize>,
        positions: &[(usize, Position)],
    ) {
        // As `Image::position` tells it, without going through the table for each.
        let first = positions.partition_point(|&(start, _)| start < range.start);
        let behind = positions.partition_point(|&(start, _)| start < range.end);
        let own = positions.get(first..behind).unwrap_or_default();
        // A table of every place has the handlers' own.
        let handlers = if self.has_every_place { Vec::new() } else { handlers(image, id) };
        for (at, instruction) in image.walk(range.start).take_while(|&(at, _)| at < range.end) {
            let n_before = own.partition_point(|&(start, _)| start <= at);
            let entry = own.get(n_before.saturating_sub(1));
            let position = entry
                .filter(|&&(start, _)| !is_cut_off(&handlers, start, at))
                .map(|&(_, position)| position);
            let parts = instruction.parts().map(|fetched| {
                let mut text = String::new();
                let _ = listing::write_instruction(&mut text, image, id, fetched);
                Part { text, picture: fetched.op.text().picture }
            });
            self.instructions.push(Instruction {
                at,
                next: instruction.next,
                function: id.index(),
                position,
                fetched: instruction.next - at + instruction.echoed_bytes(),
                parts: parts.collect(),
            });
            if let Some(index) = self.index_at.get_mut(at) {
                *index = self.instructions.len() as u32;
            }
        }
    }

    /// Every instruction, in the order of the code.
    pub fn instructions(&self) -> &[Instruction] {
        &self.instructions
    }

    /// Every function, by number.
    pub fn functions(&self) -> &[Function] {
        &self.functions
    }

    /// The globals that the image declares.
    pub fn globals(&self) -> &[(GlobalId, String)] {
        &self.globals
    }

    /// The index of the instruction that begins at a place.
    pub fn index_at(&self, at: usize) -> Option<usize> {
        (*self.index_at.get(at)? as usize).checked_sub(1)
    }

    /// The instruction that begins at a place.
    pub fn at(&self, at: usize) -> Option<&Instruction> {
        self.instructions.get(self.index_at(at)?)
    }

    /// The instruction that a place lies in.
    pub fn around(&self, at: usize) -> Option<&Instruction> {
        let behind = self.instructions.partition_point(|instruction| instruction.at <= at);
        self.instructions.get(behind.checked_sub(1)?)
    }

    /// A function's name.
    pub fn name(&self, function: usize) -> &str {
        self.functions.get(function).map_or("?", |function| &function.name)
    }

    /// Whether a function is the script itself, which has the last number.
    pub fn is_script(&self, function: usize) -> bool {
        function + 1 == self.functions.len()
    }

    /// Whether it is known where in the source instructions are from.
    pub fn has_lines(&self) -> bool {
        self.instructions.iter().any(|instruction| instruction.position.is_some())
    }

    /// Whether the place of every statement is known, and not only of what can fail.
    pub fn has_every_place(&self) -> bool {
        self.has_every_place
    }

    /// Where a run comes to a source line: the instructions of it that do not stand behind
    /// another one of it.
    pub fn entries_of_line(&self, line: u32) -> Vec<usize> {
        let mut before = None;
        let mut entries = Vec::new();
        for instruction in &self.instructions {
            let here = instruction.position.map(|position| (instruction.function, position.line));
            if here != before && here.is_some_and(|(_, own)| own == line) {
                entries.push(instruction.at);
            }
            before = here;
        }
        entries
    }

    /// The first line from this one on that has instructions.
    pub fn line_from(&self, line: u32) -> Option<u32> {
        let lines = self.instructions.iter().filter_map(|instruction| instruction.position);
        lines.map(|position| position.line).filter(|&own| own >= line).min()
    }

    /// The functions of this name, as it is or as it is shown.
    pub fn functions_named(&self, name: &str) -> Vec<usize> {
        let is_named = |&(_, function): &(usize, &Function)| {
            function.name == name || visible(&function.name) == name
        };
        self.functions.iter().enumerate().filter(is_named).map(|(index, _)| index).collect()
    }

    /// A place and the operation that is there, as a listing has them.
    pub fn text(&self, at: usize, part: usize) -> String {
        let text = self.at(at).and_then(|instruction| instruction.parts.get(part));
        let mut line = format!("{at:04x}  ");
        let _ = write!(line, "{}", text.map_or("?", |part| &part.text));
        line
    }
}
