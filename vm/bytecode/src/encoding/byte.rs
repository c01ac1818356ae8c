//! The encoding `byte`: operands of a width fixed by their kind, and a prefix for
//! those that do not fit.

use super::{Arm, Decoder, Encoded, Encoding, Fetched, Form, TRAP, VerifiedCode, canonical};
use crate::operand::OperandKind;
use crate::ops::Op;

/// Decoder of `byte`.
pub struct Byte;

/// The prefix that widens the operand of the next instruction to four bytes.
pub(super) const WIDE: u8 = 0xff;

/// Operand bytes by kind: two where a program of usual size passes 255.
const fn byte_width(kind: OperandKind) -> usize {
    match kind {
        OperandKind::None => 0,
        OperandKind::Slot | OperandKind::FreeId | OperandKind::Count | OperandKind::Argc => 1,
        _ => 2,
    }
}

impl Byte {
    pub(super) fn encode(op: Op, operand: i32) -> Encoded {
        let kind = op.info().operand;
        let fits = match byte_width(kind) {
            0 => true,
            1 => operand <= 0xff,
            _ if kind.is_signed() => i16::try_from(operand).is_ok(),
            _ => operand <= 0xffff,
        };
        let opcode = op as u8;
        let [a, b, c, d] = operand.to_le_bytes();
        match (fits, byte_width(kind)) {
            (false, _) => Encoded::new(&[WIDE, opcode, a, b, c, d]),
            (true, 0) => Encoded::new(&[opcode]),
            (true, 1) => Encoded::new(&[opcode, a]),
            (true, _) => Encoded::new(&[opcode, a, b]),
        }
    }

    fn decode_wide(code: &[u8], at: usize) -> Option<Fetched> {
        let op = Op::from_opcode(*code.get(at + 1)?)?;
        let operand = i32::from_le_bytes(*code.get(at + 2..)?.first_chunk::<4>()?);
        Some(Fetched { op, operand, next: at + 6 })
    }
}

impl Decoder for Byte {
    const ENCODING: Encoding = Encoding::Byte;
    const ZIGZAG: bool = false;
    const ARMS: &'static [Arm; 256] = &{
        let mut arms = [TRAP; 256];
        let mut opcode = 0;
        while opcode < Op::COUNT {
            let kind = Op::ALL[opcode].info().operand;
            let form = match byte_width(kind) {
                0 => Form::Folded(0),
                1 => Form::OneByte,
                _ if kind.is_signed() => Form::TwoSigned,
                _ => Form::TwoBytes,
            };
            arms[opcode] = Arm { opcode: opcode as u8, form };
            opcode += 1;
        }
        arms[WIDE as usize] = Arm { opcode: Op::Trap as u8, form: Form::Wide };
        arms
    };

    #[inline(always)]
    fn operand<C: VerifiedCode>(arm: Arm, code: C, at: usize) -> (u32, usize) {
        match arm.form {
            Form::OneByte => (u32::from(code.byte(at + 1)), at + 2),
            Form::TwoBytes | Form::TwoSigned => {
                let pair = code.bytes(at + 1);
                let bits = match arm.form {
                    Form::TwoSigned => i32::from(i16::from_le_bytes(pair)) as u32,
                    _ => u32::from(u16::from_le_bytes(pair)),
                };
                (bits, at + 3)
            }
            // The opcode behind the prefix is the interpreter's to look at.
            Form::Wide => (u32::from_le_bytes(code.bytes(at + 2)), at + 6),
            _ => (0, at + 1),
        }
    }

    fn decode(code: &[u8], at: usize) -> Option<Fetched> {
        let opcode = *code.get(at)?;
        let fetched = if opcode == WIDE {
            Byte::decode_wide(code, at)?
        } else {
            let op = Op::from_opcode(opcode)?;
            let kind = op.info().operand;
            let operand = match byte_width(kind) {
                0 => 0,
                1 => i32::from(*code.get(at + 1)?),
                _ => {
                    let pair = *code.get(at + 1..)?.first_chunk::<2>()?;
                    if kind.is_signed() {
                        i32::from(i16::from_le_bytes(pair))
                    } else {
                        i32::from(u16::from_le_bytes(pair))
                    }
                }
            };
            Fetched { op, operand, next: at + 1 + byte_width(kind) }
        };
        canonical(Encoding::Byte, code, at, fetched)
    }
}
