//! What `operations` says, as it goes out: its schema is `schema/operations.json`.

use serde::{Deserialize, Serialize};

use crate::document::Lab;
use crate::sweep::document::LeftOut;

/// The version of this form; see [`crate::document::SCHEMA`].
pub const SCHEMA: u32 = 1;

/// The table of operations, and how scripts use it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// The version of this form.
    pub schema: u32,
    /// What made it.
    pub lab: Lab,
    /// The encoding that bytes of uses are counted under.
    pub encoding: String,
    /// Scripts that are added up; 0 where the table alone was asked for.
    pub scripts: u64,
    /// How many of them ran, and have no output to be compared with.
    pub unchecked: u64,
    /// What these scripts use together, if there are any: the sum over all operations,
    /// those that were not asked for included.
    pub sum: Option<Uses>,
    /// Scripts that are not added up.
    pub left_out: Vec<LeftOut>,
    /// The operations, in the order of the table.
    pub operations: Vec<Operation>,
}

/// One operation.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Operation {
    /// Its place in the table.
    pub number: u64,
    /// The word that a listing shows.
    pub name: String,
    /// What its operand is, if it has one.
    pub operand: Option<String>,
    /// What it takes from the stack and leaves there, the top on the right.
    pub effect: String,
    /// Where control goes behind it: `next`, `jump`, `branch` or `stop`.
    pub flow: String,
    /// One sentence on what it does.
    pub does: String,
    /// Its bytes as an instruction, by encoding, those without an instruction set.
    pub bytes: Vec<Spelling>,
    /// How the scripts use it, if there are any.
    pub uses: Option<Uses>,
    /// The operands that stand in the code most often, the commonest first; nothing for an
    /// operation without one, or of labels, whose distances hang on the encoding.
    pub commonest: Vec<OperandUses>,
    /// What the operands that are not among these come to.
    pub others: Option<OtherUses>,
}

/// What an operation takes under an encoding.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Spelling {
    /// The encoding's name.
    pub encoding: String,
    /// The fewest bytes.
    pub least: u64,
    /// The most bytes, with the largest operand.
    pub most: u64,
    /// The bytes with the operand 0 or without one, in hexadecimal.
    pub of_zero: String,
}

/// How often.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Uses {
    /// Times that it stands in the code.
    pub in_code: u64,
    /// Bytes that it takes there.
    pub bytes: u64,
    /// Times that it was carried out, if the scripts were run.
    pub carried_out: Option<u64>,
}

/// How often with one operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OperandUses {
    /// The operand.
    pub operand: i64,
    /// How often.
    pub uses: Uses,
}

/// What is left of a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OtherUses {
    /// How many operands.
    pub operands: u64,
    /// How often all of them.
    pub uses: Uses,
}

impl Uses {
    /// Both together; a number that one does not know is not known of both.
    pub fn plus(self, other: Uses) -> Uses {
        let carried_out = match (self.carried_out, other.carried_out) {
            (Some(a), Some(b)) => Some(a + b),
            _ => None,
        };
        Uses { in_code: self.in_code + other.in_code, bytes: self.bytes + other.bytes, carried_out }
    }
}
