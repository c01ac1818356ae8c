//! The line table: which place of the source each instruction is from. It may be stripped.

use core::fmt;

use super::Image;
use crate::leb128;

/// A place in the source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Position {
    /// Line, from 1.
    pub line: u32,
    /// Column in code points, from 1.
    pub column: u32,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.column)
    }
}

impl<'a> Image<'a> {
    /// The source position of the instruction at this byte of the code section,
    /// if the line table has not been stripped. A function's first instructions
    /// may come before its first entry: they count as being where that is.
    pub fn position(&self, at: usize) -> Option<Position> {
        let id = self.function_at(at)?;
        let (begin, end) = (self.function(id)?.code, self.code_end(id)?);
        let mut found = None;
        for (start, position) in self.positions() {
            let is_behind = start as usize > at;
            if start >= end || (is_behind && found.is_some()) {
                break;
            }
            if start >= begin {
                found = Some(position);
            }
            if is_behind && found.is_some() {
                break;
            }
        }
        found
    }

    /// The line table: where in the code section each position begins.
    pub fn positions(&self) -> impl Iterator<Item = (u32, Position)> + use<'a> {
        let lines = self.lines;
        let (mut at, mut code, mut line) = (0, 0u32, 1i32);
        core::iter::from_fn(move || {
            let (step, next) = leb128::read_unsigned(lines, at)?;
            let (line_step, next) = leb128::read_unsigned(lines, next)?;
            let (column, next) = leb128::read_unsigned(lines, next)?;
            at = next;
            code = code.checked_add(step)?;
            line = line.checked_add(leb128::unzigzag(line_step))?;
            Some((code, Position { line: u32::try_from(line).ok()?, column }))
        })
    }
}
