//! The line table while it grows: LEB128 triples, each relative to the one
//! before, in the order of the code.
//!
//! It refuses to know the code: callers say where a position begins.

use scruple_bytecode::image::Position;
use scruple_bytecode::leb128;

use crate::strip::{Sink, Strip};

/// A line table, complete but for its first entry's distance from what stands
/// before: tables of parts of the code can so be joined.
#[derive(Default)]
pub(crate) struct LineTable {
    first: Option<(u32, Position)>,
    last: Option<(u32, Position)>,
    bytes: Strip,
}

impl LineTable {
    /// From this code offset on, the position is this one.
    pub(crate) fn add(&mut self, code: u32, position: Position) {
        match self.last {
            Some((_, last)) if last == position => return,
            Some((last_code, last)) => {
                write_entry(&mut self.bytes, code - last_code, last.line, position);
            }
            None => self.first = Some((code, position)),
        }
        self.last = Some((code, position));
    }

    /// Appends a table whose code begins at this offset.
    pub(crate) fn join(&mut self, code: u32, other: LineTable) {
        let (Some((first, position)), Some((last, last_position))) = (other.first, other.last)
        else {
            return;
        };
        // Entries of the other table are relative to its first one, so that one
        // stays even where the position did not change.
        match self.last {
            Some((at, before)) => {
                write_entry(&mut self.bytes, code + first - at, before.line, position);
            }
            None => self.first = Some((code + first, position)),
        }
        self.bytes.join(other.bytes);
        self.last = Some((code + last, last_position));
    }

    /// How many bytes the image's section takes.
    pub(crate) fn len(&self) -> usize {
        let mut first = Strip::default();
        self.write_first(&mut first);
        first.len() + self.bytes.len()
    }

    /// Appends the image's section.
    pub(crate) fn write(self, image: &mut impl Sink) {
        self.write_first(image);
        for piece in self.bytes.pieces() {
            image.put(&piece);
        }
    }

    fn write_first(&self, bytes: &mut impl Sink) {
        if let Some((code, position)) = self.first {
            write_entry(bytes, code, 1, position);
        }
    }
}

fn write_entry(bytes: &mut impl Sink, code_step: u32, last_line: u32, position: Position) {
    // Lines are below 2^24, so the difference fits.
    let line_step = position.line.wrapping_sub(last_line).cast_signed();
    bytes.leb(code_step);
    bytes.leb(leb128::zigzag(line_step));
    bytes.leb(position.column);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(line: u32, column: u32) -> Position {
        Position { line, column }
    }

    #[test]
    fn joined_tables_read_like_one() {
        let entries = [(0, at(1, 1)), (3, at(4, 2)), (9, at(2, 7)), (12, at(2, 9))];
        let mut whole = LineTable::default();
        let mut parts = [LineTable::default(), LineTable::default()];
        for (n, &(code, position)) in entries.iter().enumerate() {
            whole.add(code, position);
            let base = if n < 2 { 0 } else { 9 };
            parts[n / 2].add(code - base, position);
        }
        let [mut first, second] = parts;
        first.join(9, second);
        let written = |table: LineTable| {
            let mut bytes = Vec::new();
            let length = table.len();
            table.write(&mut bytes);
            assert_eq!(length, bytes.len());
            bytes
        };
        assert_eq!(written(first), written(whole));
    }
}
