//! The encoding `echo`: `composite`, and an instruction that carries out others again
//! from where they stand (echo factoring; Fraser 2002, the idea alone).
//!
//! Its opcode byte is that of `trap`, which no code holds. One LEB128 number follows, in
//! its shortest form: how many instructions in the low three bits, and above them how
//! many bytes back the first of them begins, counted from the opcode byte. They are
//! decoded where they stand and become the operations of this one instruction, by the
//! rules of an entry of a set. So whoever goes by instructions (verifier, listing,
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
use crate::sets::{InstructionSet, MAX_PARTS, may_stand_inside};

/// The opcode byte.
pub const ECHO: u8 = Op::Trap as u8;

/// The most instructions that one echo carries out.
pub const MOST_ECHOED: usize = 8;

/// The most bytes that a reference goes back.
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
        Instruction { parts: [(Op::Trap, 0); MAX_PARTS], n_parts: 0, echoed_bytes: 0, next }
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
        if let Some(found) = self.decode(code, at) {
            return Some(found);
        }
        Composite::decode(code, at).filter(|found| found.op != Op::Trap).map(Instruction::from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Our own layout, and its inverse.
    #[test]
    fn a_reference_reads_back_and_takes_the_shortest_digits() {
        let mut tried = 0;
        for count in 1..=MOST_ECHOED {
            for back in [1, 15, 16, 17, 2047, 2048, 262_143, 262_144, MOST_BACK] {
                let reference = Reference { count, back };
                let bytes = reference.encode().unwrap();
                let bytes = bytes.as_slice();
                assert_eq!(Reference::decode(bytes, 0), Some((reference, bytes.len())));
                let digits = match back {
                    ..16 => 1,
                    ..2048 => 2,
                    ..262_144 => 3,
                    262_144 => 4,
                    _ => 5,
                };
                assert_eq!(bytes.len(), 1 + digits);
                assert!((1..bytes.len()).all(|cut| Reference::decode(&bytes[..cut], 0).is_none()));
                tried += 1;
            }
        }
        assert_eq!(tried, 9 * MOST_ECHOED);
        for (count, back) in [(0, 1), (MOST_ECHOED + 1, 1), (1, 0), (1, MOST_BACK + 1)] {
            assert_eq!(Reference { count, back }.encode(), None);
        }
        assert_eq!(Reference::decode(&[ECHO, 0x89, 0x00], 0), None, "a digit too many");
    }
}
