//! Why a text is no instruction set, with line and column.

use core::fmt;

use super::{MAX_ENTRIES, MAX_NAME, MAX_PARTS, Table};
use crate::ops::Op;

/// Why something is no instruction set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SetError {
    pub(super) kind: Kind,
    pub(super) line: u32,
    pub(super) column: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    NoHeader,
    SecondHeader,
    Name,
    Statement,
    AfterThen,
    Operation,
    OperandMissing(Op),
    OperandExtra(Op),
    OperandNumber(Op),
    OperandRange(Op),
    Distance(Op),
    Trap,
    TooFew,
    TooMany,
    NotLast(Op),
    SavesNothing(Op),
    Behind,
    Double(u32),
    Full(Table),
}

impl SetError {
    /// The line, from 1. Of an entry that did not come from a text, it is that of the
    /// canonical text.
    pub const fn line(&self) -> u32 {
        self.line
    }

    /// The column in code points, from 1.
    pub const fn column(&self) -> u32 {
        self.column
    }
}

impl fmt::Display for SetError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: ", self.line, self.column)?;
        match self.kind {
            Kind::NoHeader => write!(f, "a set begins with `set NAME`"),
            Kind::SecondHeader => write!(f, "a second `set`: a file holds one set"),
            Kind::Name => write!(
                f,
                "a name is 1 to {MAX_NAME} letters, digits, hyphens, dots and underscores"
            ),
            Kind::Statement => write!(f, "expected `short`, `join` or `then`"),
            Kind::AfterThen => write!(f, "expected `short` or `join` behind `then`"),
            Kind::Operation => write!(f, "no such operation"),
            Kind::OperandMissing(op) => {
                write!(f, "{}: operand missing, a number or *", mnemonic(op))
            }
            Kind::OperandExtra(op) => write!(f, "{} has no operand", mnemonic(op)),
            Kind::OperandNumber(op) => {
                write!(f, "{}: the operand is neither a number nor *", mnemonic(op))
            }
            Kind::OperandRange(op) => write!(f, "{}: operand out of range", mnemonic(op)),
            Kind::Distance(op) => {
                write!(f, "{}: how far a branch goes is always free, *", mnemonic(op))
            }
            Kind::Trap => write!(f, "trap may not stand in a set"),
            Kind::TooFew => write!(f, "a composite has at least 2 operations"),
            Kind::TooMany => write!(f, "a composite has at most {MAX_PARTS} operations"),
            Kind::NotLast(op) => {
                write!(f, "{} goes elsewhere: it may only be last", mnemonic(op))
            }
            Kind::SavesNothing(op) => {
                write!(f, "{}: this short form is no shorter than the operation", mnemonic(op))
            }
            Kind::Behind => write!(f, "expected the end of the line"),
            Kind::Double(line) => write!(f, "the same entry stands in line {line}"),
            Kind::Full(Table::First) => {
                write!(f, "more than {MAX_ENTRIES} entries: no opcode byte is left")
            }
            Kind::Full(Table::Then) => {
                write!(f, "more than {MAX_ENTRIES} entries behind `then`: no opcode byte is left")
            }
        }
    }
}

fn mnemonic(op: Op) -> &'static str {
    op.text().mnemonic
}

impl core::error::Error for SetError {}
