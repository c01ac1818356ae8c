//! Instruction sets: which composites and short forms the encoding `composite` has.
//!
//! A set is data. It comes as a text file, or is put together by whoever mines one, and
//! both the compiler and the machine are given it; neither is built anew for it. This
//! module owns the form of a set, its rules, its canonical text and its hash. It refuses
//! to choose entries, and to lay instructions down: that is `encoding`.
//!
//! ```text
//! # what lies behind a number sign is a comment
//! set tides
//! short load_slot 0
//! join  load_slot *, push_int 1, add
//! join  load_slot *, load_slot *, less, branch_false *
//! ```
//!
//! The first statement names the set; each later one is an entry, and gets the next of
//! [`MAX_ENTRIES`] opcode bytes. `short` is one operation in a single byte, `join` two
//! to [`MAX_PARTS`] operations as one instruction. An operand is fixed, a number, or
//! free, an asterisk: then it follows the opcode byte in LEB128, in order. What goes
//! elsewhere (a branch, a call, a return, a throw) may only be last, and how far a
//! branch goes is always free: distances are known only once everything else is laid
//! down.
//!
//! A set may have a second table, which the encoding `context` knows and the others pass
//! over. Its entries are the same lines with a word before them:
//!
//! ```text
//! then short read_field 0
//! then join  read_field *, call_method 0
//! ```
//!
//! They count only *behind an instruction that was spelled by an entry*, of either table,
//! and whose last operation leaves a value and goes on to the next one in the same frame
//! ([`leaves_and_goes_on`]): there a byte means another thing than elsewhere, and so says
//! more. Behind what is spelled plainly, behind what goes elsewhere or enters a frame,
//! behind what ends a statement, and wherever control can come from elsewhere, the first
//! table counts. The second table's entries have their bytes
//! from the last one down, and a byte it has no entry for means what it means in the
//! first: so the two share what is good for both, which lies in flash once, and the first
//! entries to make way are the last of the first table, which mining found least good.
//!
//! The *canonical text* has no comments, one space between words, and a line an entry,
//! those of the second table last.
//! The *hash* is FNV-1a of 32 bits over the lines of its entries, each with its line
//! feed, without the line of the name: offset basis 0x811c9dc5, prime 0x01000193; 0,
//! which stands for no set in an image, is written as 1.

mod error;
mod parse;
mod shipped;
mod table;

pub use error::SetError;
pub(crate) use shipped::shipped_parts;
pub use shipped::{SHIPPED, SHIPPED_SETS, SHIPPED_TEXT};
pub use table::{Entry, InstructionSet, Part, SetBuffer};

use crate::encoding::{DIRECT, PREFIX};
use crate::ops::{Flow, Op};

/// The most operations of a composite.
pub const MAX_PARTS: usize = 8;

/// The most entries of a table: the opcode bytes that the operations leave.
pub const MAX_ENTRIES: usize = PREFIX as usize - DIRECT;

/// The opcode byte of a set's first entry.
pub const FIRST_ENTRY: u8 = DIRECT as u8;

/// The most bytes of a set's name.
pub const MAX_NAME: usize = 32;

/// Which of a set's tables tells what an entry's opcode byte is. This is all the state
/// that decoding has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Table {
    /// The first, wherever control can come from elsewhere.
    #[default]
    First,
    /// The second over the first, behind an entry's instruction.
    Then,
}

impl Table {
    /// Both.
    pub const BOTH: &'static [Table] = &[Table::First, Table::Then];

    /// The opcode byte of an entry of this table, by its number.
    pub const fn opcode_byte(self, index: usize) -> u8 {
        match self {
            Table::First => FIRST_ENTRY + index as u8,
            Table::Then => PREFIX - 1 - index as u8,
        }
    }
}

/// Whether the second table counts behind an entry whose last operation this is: control
/// goes to the next one in the same frame, and there is a value on the stack for it.
///
/// What leaves none ends a statement, mostly, and labels stand there: the first table
/// counts at them, and an entry before each would have to be given up.
pub const fn leaves_and_goes_on(op: Op) -> bool {
    may_stand_inside(op) && op.info().effect.pushes > 0
}

/// Whether an operation may stand before others of a composite: control goes to the
/// next one in the same frame. The interpreter checks at run time that it did.
pub const fn may_stand_inside(op: Op) -> bool {
    matches!(op.info().flow, Flow::Next)
        && !matches!(
            op,
            Op::Call
                | Op::CallMethod
                | Op::Construct
                | Op::CallList
                | Op::ConstructList
                | Op::SuperCall
                | Op::SuperCallList
        )
}
