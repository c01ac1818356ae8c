//! The encoding `composite`: operations spelled as `implied` spells them without its
//! short forms, and an opcode byte for each entry of an instruction set.
//!
//! What is free in an entry follows its opcode byte in LEB128, in order, signed operands
//! in zigzag; a branch counts from behind the whole instruction. A sequence may have
//! several spellings, each with the shortest LEB128 digits: which one is taken is the
//! compiler's to choose.
//!
//! Under `context` an entry's byte is looked up in one of two tables of the set. Which one
//! is all the state there is: [`Instruction::leads_to`] tells that of what follows, and
//! `sets` the rule.
//!
//! The loop of the interpreter knows no set: to it an entry's opcode byte is a trap, and
//! what carries a trap out looks into the set. So the other encodings pay nothing.

use super::leb::{PREFIX, decode_leb, leb_arms, leb_operand, to_operand, to_unsigned};
use super::{Arm, Decoder, Encoded, Encoding, Fetched, NO_OWN, Own, VerifiedCode};
use crate::leb128;
use crate::ops::Op;
use crate::sets::{
    Entry, FIRST_ENTRY, InstructionSet, MAX_PARTS, Table, leaves_and_goes_on, shipped_parts,
};

/// Decoder of `composite`, for what no set is needed for.
pub struct Composite;

impl Composite {
    pub(super) fn encode(op: Op, operand: i32) -> Encoded {
        super::leb::plain(op, operand)
    }
}

impl Decoder for Composite {
    const ENCODING: Encoding = Encoding::Composite;
    const ZIGZAG: bool = true;
    const ARMS: &'static [Arm; 256] = &leb_arms(true, false);

    #[inline(always)]
    fn operand<C: VerifiedCode>(arm: Arm, code: C, at: usize) -> (u32, usize) {
        leb_operand(arm, code, at)
    }

    fn decode(code: &[u8], at: usize) -> Option<Fetched> {
        decode_leb(Encoding::Composite, code, at)
    }
}

/// Decoder of `composite` with the shipped set: an interpreter that is made for it has
/// an arm for each of the set's entries. The bytes are those of [`Composite`].
pub struct Shipped;

impl Decoder for Shipped {
    const ENCODING: Encoding = Encoding::Composite;
    const ZIGZAG: bool = Composite::ZIGZAG;
    const ARMS: &'static [Arm; 256] = Composite::ARMS;
    const HAS_OWN: bool = true;
    const OWN: &'static [Own; 256] = &{
        let mut own = [NO_OWN; 256];
        let mut index = 0;
        while let Some((parts, n_parts)) = shipped_parts(index) {
            own[FIRST_ENTRY as usize + index] = Own { parts, n_parts: n_parts as u8 };
            index += 1;
        }
        own
    };

    #[inline(always)]
    fn operand<C: VerifiedCode>(arm: Arm, code: C, at: usize) -> (u32, usize) {
        Composite::operand(arm, code, at)
    }

    fn decode(code: &[u8], at: usize) -> Option<Fetched> {
        Composite::decode(code, at)
    }
}

/// An instruction as its operations.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Instruction {
    pub(super) parts: [(Op, i32); MAX_PARTS],
    pub(super) n_parts: u8,
    /// Where its entry stands, if it was spelled by one.
    pub(super) table: Option<Table>,
    /// Of an echo, how many bytes the instructions take that it carries out again.
    pub(super) echoed_bytes: u32,
    /// The position behind the instruction.
    pub next: usize,
}

impl Instruction {
    /// How many operations it stands for.
    pub fn n_parts(&self) -> usize {
        self.n_parts as usize
    }

    /// How many bytes are read for it elsewhere: those of what an echo refers to.
    pub fn echoed_bytes(&self) -> usize {
        self.echoed_bytes as usize
    }

    /// The table that its entry is of, if it was spelled by one.
    pub fn table(&self) -> Option<Table> {
        self.table
    }

    /// Which table tells of the instruction behind it, under an encoding that has two.
    #[inline]
    pub fn leads_to(&self) -> Table {
        let (last, _) = self.parts[self.n_parts as usize - 1];
        if self.table.is_some() && leaves_and_goes_on(last) { Table::Then } else { Table::First }
    }

    /// The operations: the position behind each is that behind the instruction.
    #[inline]
    pub fn parts(&self) -> impl Iterator<Item = Fetched> + use<> {
        let next = self.next;
        let Instruction { parts, n_parts, .. } = *self;
        (0..n_parts as usize).map(move |index| {
            let (op, operand) = parts[index];
            Fetched { op, operand, next }
        })
    }

    /// The operation, if it is a single one.
    pub fn single(&self) -> Option<Fetched> {
        if self.n_parts == 1 { self.parts().next() } else { None }
    }

    /// The first operation.
    pub fn first(&self) -> Fetched {
        let (op, operand) = self.parts[0];
        Fetched { op, operand, next: self.next }
    }

    /// The last operation: the only one that may go elsewhere.
    pub fn last(&self) -> Fetched {
        let (op, operand) = self.parts[self.n_parts as usize - 1];
        Fetched { op, operand, next: self.next }
    }
}

impl From<Fetched> for Instruction {
    fn from(fetched: Fetched) -> Self {
        let mut parts = [(Op::Trap, 0); MAX_PARTS];
        parts[0] = (fetched.op, fetched.operand);
        Instruction { parts, n_parts: 1, table: None, echoed_bytes: 0, next: fetched.next }
    }
}

impl<'a> InstructionSet<'a> {
    /// The entry of an opcode byte: the second table's, if that counts and has one, or
    /// the first's.
    #[inline]
    pub fn entry_of(&self, byte: u8, table: Table) -> Option<Entry<'a>> {
        self.found(byte, table).map(|(entry, _)| entry)
    }

    /// The same, and the table that it is of.
    #[inline]
    fn found(&self, byte: u8, table: Table) -> Option<(Entry<'a>, Table)> {
        if table == Table::Then
            && let Some(index) = (PREFIX - 1).checked_sub(byte)
            && let Some(entry) = self.entry_in(Table::Then, index.into())
        {
            return Some((entry, Table::Then));
        }
        let entry = self.entry(usize::from(byte.checked_sub(FIRST_ENTRY)?))?;
        Some((entry, Table::First))
    }

    /// Decodes the entry whose opcode byte lies at a position, where this table counts:
    /// nothing where there is none, or its operands do not lie whole in their shortest
    /// form.
    pub fn decode(&self, code: &[u8], at: usize, table: Table) -> Option<Instruction> {
        let (entry, table) = self.found(*code.get(at)?, table)?;
        let mut parts = [(Op::Trap, 0); MAX_PARTS];
        let mut next = at + 1;
        for (place, part) in parts.iter_mut().zip(entry.parts()) {
            let operand = match part.operand {
                Some(fixed) => fixed,
                None => {
                    let (bits, behind) = leb128::read_unsigned(code, next)?;
                    if behind - next != leb128::unsigned_len(bits) {
                        return None;
                    }
                    next = behind;
                    let operand = to_operand(part.op.info().operand, bits);
                    if !super::operand_fits(part.op, operand) {
                        return None;
                    }
                    operand
                }
            };
            *place = (part.op, operand);
        }
        let n_parts = entry.n_parts() as u8;
        Some(Instruction { parts, n_parts, table: Some(table), echoed_bytes: 0, next })
    }
}

/// The LEB128 digits of an operand.
#[derive(Clone, Copy, Debug)]
pub struct Digits {
    bytes: [u8; leb128::MAX_BYTES],
    len: u8,
}

impl Digits {
    /// The digits of an operation's operand, or nothing where it is out of range.
    pub fn of(op: Op, operand: i32) -> Option<Digits> {
        if !super::operand_fits(op, operand) {
            return None;
        }
        let mut bytes = [0; leb128::MAX_BYTES];
        let len = leb128::write_unsigned(to_unsigned(op.info().operand, operand), &mut bytes);
        Some(Digits { bytes, len: len as u8 })
    }

    /// The bytes.
    pub fn as_slice(&self) -> &[u8] {
        &self.bytes[..self.len as usize]
    }
}
