//! The encoding `echo`: `composite`, and an instruction that carries out others again
//! from where they stand (echo factoring; Fraser 2002, the idea alone).
//!
//! Its opcode byte is that of `trap`, which no code holds. One LEB128 number follows, in
//! its shortest form. Its lowest bits say how many instructions: a one for each but the
//! first, then a zero. Above them stands how many bytes back the first of them begins,
//! counted from the opcode byte. So one instruction up to 63 bytes back, or two up to 31,
//! take two bytes, and most others three; with three bits for the count whatever it is,
//! the samples took 13,295 bytes instead of 13,214.
//!
//! The instructions are decoded where they stand and become the operations of this one,
//! by the rules of an entry of a set. So whoever goes by instructions (verifier, listing,
//! interpreter) has nothing to know of the reference.
//!
//! What is refused: a reference before the code's begin; another echo (no chain to
//! follow, and decoding ends); a branch, whose distance means another label here; an
//! operation that goes elsewhere before the last; more operations than [`MAX_PARTS`].
//!
//! Whether the reference leads to where an instruction of that code begins is not asked.
//! It would take marks of all the code before, and it is harmless: the bytes decode to
//! the same operations whenever they are looked at, and the verifier judges those where
//! the echo stands, in the function and at the depth it has there.

use core::fmt;

use super::{Composite, Decoder, Encoded, Instruction};
use crate::leb128;
use crate::ops::Op;
use crate::sets::{InstructionSet, MAX_PARTS, Table, may_stand_inside};

/// The opcode byte.
pub const ECHO: u8 = Op::Trap as u8;

/// The most instructions that one echo carries out: no more than its operations.
pub const MOST_ECHOED: usize = MAX_PARTS;

/// The most bytes that a reference goes back: more than an image has code.
const MOST_BACK: u32 = u32::MAX >> MOST_ECHOED;

/// What an echo refers to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reference {
    /// How many instructions.
    pub count: usize,
    /// How many bytes back from the echo the first of them begins.
    pub back: u32,
}

/// Why an echo cannot be carried out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EchoFault {
    /// The number is cut short, or not in its shortest form.
    Digits,
    /// It refers to itself, or to what lies before the code.
    Reach,
    /// An instruction there is none, or does not end before the echo.
    NoInstruction,
    /// An instruction there is an echo.
    Nested,
    /// An operation there is a branch, or goes elsewhere and is not the last.
    Inside(Op),
    /// They are too many operations.
    TooMany,
}

impl fmt::Display for EchoFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            EchoFault::Digits => write!(f, "whose number is cut short or too long"),
            EchoFault::Reach => write!(f, "of what does not lie before it in the code"),
            EchoFault::NoInstruction => write!(f, "of bytes that are no instruction"),
            EchoFault::Nested => write!(f, "of an echo"),
            EchoFault::Inside(op) => {
                write!(f, "with {} inside, which goes elsewhere", op.text().mnemonic)
            }
            EchoFault::TooMany => write!(f, "of more than {MAX_PARTS} operations"),
        }
    }
}

impl Reference {
    /// The bytes of an echo, or nothing where a number is out of range.
    pub fn encode(self) -> Option<Encoded> {
        let count = self.count.checked_sub(1).filter(|&count| count < MOST_ECHOED)? as u32;
        if self.back == 0 || self.back > MOST_BACK {
            return None;
        }
        let mut digits = [0; leb128::MAX_BYTES];
        let ones = (1 << count) - 1;
        let length = leb128::write_unsigned(self.back << (count + 1) | ones, &mut digits);
        let mut parts = [ECHO; Encoded::MAX];
        parts[1..=length].copy_from_slice(&digits[..length]);
        Some(Encoded::new(&parts[..=length]))
    }

    /// The reference behind the opcode byte at a position, and the position behind it.
    pub fn decode(code: &[u8], at: usize) -> Option<(Reference, usize)> {
        let (bits, next) = leb128::read_unsigned(code, at + 1)?;
        if next - at - 1 != leb128::unsigned_len(bits) {
            return None;
        }
        let ones = bits.trailing_ones();
        let count = ones as usize + 1;
        Some((Reference { count, back: bits.checked_shr(ones + 1)? }, next))
    }
}

/// Decodes the echo whose opcode byte lies at a position.
pub(crate) fn decode(
    set: &InstructionSet<'_>,
    code: &[u8],
    at: usize,
) -> Result<Instruction, EchoFault> {
    let (reference, next) = Reference::decode(code, at).ok_or(EchoFault::Digits)?;
    let first = at.checked_sub(reference.back as usize).filter(|&first| first < at);
    let mut place = first.ok_or(EchoFault::Reach)?;
    let before = &code[..at];
    let mut whole = Instruction::nothing(next);
    for _ in 0..reference.count {
        if before.get(place) == Some(&ECHO) {
            return Err(EchoFault::Nested);
        }
        let found = set.instruction(before, place).ok_or(EchoFault::NoInstruction)?;
        whole.append(&found, found.next - place)?;
        place = found.next;
    }
    Ok(whole)
}

impl Instruction {
    /// An echo of nothing yet, to be appended to.
    pub fn nothing(next: usize) -> Instruction {
        let parts = [(Op::Trap, 0); MAX_PARTS];
        Instruction { parts, n_parts: 0, table: None, echoed_bytes: 0, next }
    }

    /// Appends the operations of an instruction of so many bytes that is to be carried
    /// out again, by the rules of an echo; its own place stays.
    pub fn append(&mut self, other: &Instruction, bytes: usize) -> Result<(), EchoFault> {
        let mut n = self.n_parts as usize;
        for &(op, operand) in &other.parts[..other.n_parts as usize] {
            if let Some(&(last, _)) = self.parts[..n].last()
                && !may_stand_inside(last)
            {
                return Err(EchoFault::Inside(last));
            }
            if op.is_branch() {
                return Err(EchoFault::Inside(op));
            }
            *self.parts.get_mut(n).ok_or(EchoFault::TooMany)? = (op, operand);
            n += 1;
        }
        self.n_parts = n as u8;
        self.echoed_bytes += bytes as u32;
        Ok(())
    }
}

impl InstructionSet<'_> {
    /// Decodes the instruction at a position, an entry or an operation on its own:
    /// nothing where there is none, or an echo.
    pub fn instruction(&self, code: &[u8], at: usize) -> Option<Instruction> {
        if let Some(found) = self.decode(code, at, Table::First) {
            return Some(found);
        }
        Composite::decode(code, at).filter(|found| found.op != Op::Trap).map(Instruction::from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sets::{FIRST_ENTRY, SHIPPED};
    use std::vec::Vec;

    // Our own layout, and its inverse.
    #[test]
    fn a_reference_reads_back_and_takes_the_shortest_digits() {
        let mut tried = 0;
        for count in 1..=MOST_ECHOED {
            for back in [1, 7, 15, 16, 31, 32, 63, 64, 2047, 8191, 8192, 262_144, MOST_BACK] {
                let reference = Reference { count, back };
                let bytes = reference.encode().unwrap();
                let bytes = bytes.as_slice();
                assert_eq!(Reference::decode(bytes, 0), Some((reference, bytes.len())));
                let bits = count + (u32::BITS - back.leading_zeros()) as usize;
                assert_eq!(bytes.len(), 1 + bits.div_ceil(7), "{reference:?}");
                assert!((1..bytes.len()).all(|cut| Reference::decode(&bytes[..cut], 0).is_none()));
                tried += 1;
            }
        }
        assert_eq!(tried, 13 * MOST_ECHOED);
        for (count, back) in [(0, 1), (MOST_ECHOED + 1, 1), (1, 0), (1, MOST_BACK + 1)] {
            assert_eq!(Reference { count, back }.encode(), None);
        }
        assert_eq!(Reference::decode(&[ECHO, 0x84, 0x00], 0), None, "a digit too many");
    }

    fn plain(code: &mut Vec<u8>, operations: &[(Op, i32)]) {
        for &(op, operand) in operations {
            code.extend_from_slice(Composite::encode(op, operand).as_slice());
        }
    }

    fn echo(code: &mut Vec<u8>, count: usize, back: usize) -> usize {
        let at = code.len();
        let reference = Reference { count, back: back as u32 };
        code.extend_from_slice(reference.encode().unwrap().as_slice());
        at
    }

    #[test]
    fn an_echo_is_the_operations_of_the_instructions_it_refers_to() {
        let operations = [(Op::LoadSlot, 3), (Op::PushInt, -200), (Op::Add, 0), (Op::Return, 0)];
        let mut code = Vec::new();
        plain(&mut code, &operations);
        let length = code.len();
        let at = echo(&mut code, 4, length);
        let found = decode(&SHIPPED, &code, at).unwrap();
        assert!(found.parts().map(|part| (part.op, part.operand)).eq(operations));
        assert_eq!((found.next, found.echoed_bytes()), (code.len(), length));
        // A second one does not refer to the first, but behind what that refers to.
        let back = length + code.len() - at;
        let again = echo(&mut code, 3, back);
        let found = decode(&SHIPPED, &code, again).unwrap();
        assert_eq!((found.n_parts(), found.last().op), (3, Op::Add));
        for cut in at + 1..again {
            assert_eq!(decode(&SHIPPED, &code[..cut], at), Err(EchoFault::Digits));
        }
    }

    #[test]
    fn an_echo_of_what_cannot_be_carried_out_again_is_refused_with_the_reason() {
        let fault = |operations: &[(Op, i32)], count: usize, back: Option<usize>| {
            let mut code = Vec::new();
            plain(&mut code, operations);
            let back = back.unwrap_or(code.len());
            let at = echo(&mut code, count, back);
            decode(&SHIPPED, &code, at).expect_err("a fault")
        };
        let push = (Op::PushTrue, 0);
        assert_eq!(fault(&[push], 1, Some(2)), EchoFault::Reach);
        assert_eq!(fault(&[push], 2, None), EchoFault::NoInstruction, "not before the echo");
        // A digit of more than one byte is cut by the echo's own begin.
        assert_eq!(fault(&[push, (Op::PushInt, 900)], 1, Some(1)), EchoFault::NoInstruction);
        for branch in [Op::Branch, Op::BranchFalse, Op::BranchKeepTrue] {
            assert_eq!(fault(&[push, (branch, 1)], 2, None), EchoFault::Inside(branch));
        }
        for last in [Op::Call, Op::Construct, Op::SuperCall, Op::Return, Op::Throw] {
            assert_eq!(fault(&[push, (last, 0), push], 3, None), EchoFault::Inside(last));
        }
        // Eight instructions, one of them a composite.
        let entry = SHIPPED.entries().position(|entry| {
            entry.n_parts() > 1
                && entry.n_free() == 0
                && entry.parts().all(|part| may_stand_inside(part.op))
        });
        let mut code = std::vec![FIRST_ENTRY + entry.unwrap() as u8];
        plain(&mut code, &[push; MOST_ECHOED - 1]);
        let at = echo(&mut code, MOST_ECHOED, MOST_ECHOED);
        assert_eq!(decode(&SHIPPED, &code, at), Err(EchoFault::TooMany));
        let back = code.len() - at;
        let nested = echo(&mut code, 1, back);
        assert_eq!(decode(&SHIPPED, &code, nested), Err(EchoFault::Nested));
    }
}
