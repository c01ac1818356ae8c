//! The set that every build has: read and checked while the crate is compiled, and laid
//! down as tables that hold no more than it needs.

use super::table::{InstructionSet, Part, Row, SetBuffer};
use super::{MAX_PARTS, Table};

/// The text of [`SHIPPED`].
pub const SHIPPED_TEXT: &str = include_str!("shipped.txt");

#[allow(long_running_const_eval, reason = "a few hundred words against the operation table")]
const PARSED: SetBuffer = match SetBuffer::parse(SHIPPED_TEXT) {
    Ok(buffer) => buffer,
    Err(_) => panic!("sets/shipped.txt is no instruction set: the tests of this crate say why"),
};

static ROWS: [Row; PARSED.n_rows[0]] = PARSED.rows(Table::First);
static THEN: [Row; PARSED.n_rows[1]] = PARSED.rows(Table::Then);
static WORDS: [u32; PARSED.n_words] = PARSED.words();

/// The set that every build has.
pub static SHIPPED: InstructionSet<'static> = InstructionSet {
    name: "shipped",
    hash: PARSED.hash(),
    rows: &ROWS,
    then: &THEN,
    words: &WORDS,
};

/// The operations of an entry and how many they are, while a program is compiled.
pub(crate) const fn shipped_parts(index: usize) -> Option<([Part; MAX_PARTS], usize)> {
    PARSED.parts(index)
}

/// The sets of a machine that is given none.
pub static SHIPPED_SETS: &[&InstructionSet<'static>] = &[&SHIPPED];
