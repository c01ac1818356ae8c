//! The encodings `leb` and `implied`: LEB128 operands, and short forms with the
//! operand folded into the opcode.
//!
//! `implied` spends most opcode bytes on short forms. The operations that the table
//! has last find no byte left there: a prefix stands before their opcode. Taking a
//! short form away for each of them would have made every script longer for what
//! few use.

use super::byte::WIDE;
use super::{Arm, Decoder, Encoded, Encoding, Fetched, Form, TRAP, VerifiedCode, canonical};
use crate::leb128;
use crate::operand::OperandKind;
use crate::ops::{Op, Opcode};

/// Decoder of `leb`.
pub struct Leb;

/// The operand as the unsigned number that LEB128 lays down.
pub(super) const fn to_unsigned(kind: OperandKind, operand: i32) -> u32 {
    if kind.is_signed() { leb128::zigzag(operand) } else { operand as u32 }
}

/// The inverse of [`to_unsigned`].
pub(super) const fn to_operand(kind: OperandKind, raw: u32) -> i32 {
    if kind.is_signed() { leb128::unzigzag(raw) } else { raw as i32 }
}

impl Leb {
    pub(super) fn encode(op: Op, operand: i32) -> Encoded {
        let kind = op.info().operand;
        if kind == OperandKind::None {
            return Encoded::new(&[op as u8]);
        }
        let mut digits = [0; leb128::MAX_BYTES];
        let length = leb128::write_unsigned(to_unsigned(kind, operand), &mut digits);
        let mut parts = [op as u8; Encoded::MAX];
        parts[1..=length].copy_from_slice(&digits[..length]);
        Encoded::new(&parts[..=length])
    }
}

pub(super) const fn leb_arms(prefix: bool, short_forms: bool) -> [Arm; 256] {
    let mut arms = [TRAP; 256];
    let mut opcode = 0;
    while opcode < Op::COUNT && (opcode < DIRECT || !prefix) {
        let form = match Op::ALL[opcode].info().operand {
            OperandKind::None => Form::Folded(0),
            _ => Form::Leb,
        };
        arms[opcode] = Arm { opcode: opcode as u8, form };
        opcode += 1;
    }
    if prefix {
        arms[PREFIX as usize] = Arm { opcode: Op::Trap as u8, form: Form::Wide };
    }
    if short_forms {
        opcode = DIRECT;
        let mut at = 0;
        while at < SHORT_FORMS.len() {
            let (op, first, count) = SHORT_FORMS[at];
            let mut step = 0;
            while step < count {
                let bits = to_unsigned(op.info().operand, (first + step) as i32);
                arms[opcode] = Arm { opcode: op as u8, form: Form::Folded(bits) };
                opcode += 1;
                step += 1;
            }
            at += 1;
        }
    }
    arms
}

#[inline(always)]
pub(super) fn leb_operand<C: VerifiedCode>(arm: Arm, code: C, at: usize) -> (u32, usize) {
    match arm.form {
        Form::Folded(bits) => (bits, at + 1),
        // The opcode behind the prefix is the interpreter's to look at, too.
        Form::Wide => match Op::from_opcode(code.byte(at + 1)) {
            Some(op) if op.info().operand != OperandKind::None => {
                let (bits, length) = long_leb(code, at + 2);
                (bits, at + 2 + length as usize)
            }
            _ => (0, at + 2),
        },
        _ => {
            let first = u32::from(code.byte(at + 1));
            if first < 0x80 {
                return (first, at + 2);
            }
            let (bits, length) = long_leb(code, at + 1);
            (bits, at + 1 + length as usize)
        }
    }
}

// Operands past one LEB128 byte are a few per cent of those fetched: out of
// line they leave the dispatch loop shorter. Two words come back in registers.
#[inline(never)]
fn long_leb<C: VerifiedCode>(code: C, at: usize) -> (u32, u32) {
    let (mut bits, mut length) = (0, 0);
    loop {
        let byte = code.byte(at + length as usize);
        bits |= u32::from(byte & 0x7f).wrapping_shl(7 * length);
        length += 1;
        if byte < 0x80 || length == leb128::MAX_BYTES as u32 {
            return (bits, length);
        }
    }
}

pub(super) fn decode_leb(
    encoding: Encoding,
    arms: &[Arm; 256],
    code: &[u8],
    at: usize,
) -> Option<Fetched> {
    let opcode = *code.get(at)?;
    let arm = arms[opcode as usize];
    if arm == TRAP && opcode != Op::Trap as u8 {
        return None;
    }
    let mut op = Op::from_opcode(arm.opcode)?;
    let (bits, next) = match arm.form {
        Form::Folded(bits) => (bits, at + 1),
        Form::Wide => {
            op = Op::from_opcode(*code.get(at + 1)?)?;
            match op.info().operand {
                OperandKind::None => (0, at + 2),
                _ => leb128::read_unsigned(code, at + 2)?,
            }
        }
        _ => leb128::read_unsigned(code, at + 1)?,
    };
    let fetched = Fetched { op, operand: to_operand(op.info().operand, bits), next };
    canonical(encoding, code, at, fetched)
}

impl Decoder for Leb {
    const ENCODING: Encoding = Encoding::Leb;
    const ZIGZAG: bool = true;
    const ARMS: &'static [Arm; 256] = &leb_arms(false, false);

    #[inline(always)]
    fn operand<C: VerifiedCode>(arm: Arm, code: C, at: usize) -> (u32, usize) {
        leb_operand(arm, code, at)
    }

    fn decode(code: &[u8], at: usize) -> Option<Fetched> {
        decode_leb(Encoding::Leb, Leb::ARMS, code, at)
    }
}

/// Decoder of `implied`.
pub struct Implied;

/// The short forms of `implied`: an operation, its first folded operand, how
/// many operands from there have an opcode of their own.
///
/// Chosen by judgement before any script was weighed; the command
/// `scruple weigh samples --encoding leb,implied` shows what they save.
pub const SHORT_FORMS: &[(Op, i16, i16)] = &[
    (Op::LoadSlot, 0, 16),
    (Op::StoreSlot, 0, 12),
    (Op::PushInt, -1, 18),
    (Op::PushConst, 0, 12),
    (Op::LoadGlobal, 0, 20),
    (Op::ReadField, 0, 12),
    (Op::MethodField, 0, 12),
    (Op::WriteField, 0, 8),
    (Op::InitField, 0, 8),
    (Op::LoadFree, 0, 6),
    (Op::LoadBox, 0, 6),
    (Op::Call, 0, 4),
    (Op::CallMethod, 0, 4),
    (Op::MakeArray, 0, 2),
];

const fn short_form_count() -> usize {
    let mut total = 0;
    let mut form = 0;
    while form < SHORT_FORMS.len() {
        total += SHORT_FORMS[form].2 as usize;
        form += 1;
    }
    total
}

/// The first opcode byte of an operation's short forms, the first operand folded
/// in, and how many there are.
const fn short_forms_of(op: u8) -> Option<(u8, i16, u8)> {
    let mut opcode = DIRECT;
    let mut form = 0;
    while form < SHORT_FORMS.len() {
        let (short, first, count) = SHORT_FORMS[form];
        if short as u8 == op {
            return Some((opcode as u8, first, count as u8));
        }
        opcode += count as usize;
        form += 1;
    }
    None
}

/// The byte before an operation of `implied` or `composite` that has no opcode byte of
/// its own.
pub(crate) const PREFIX: u8 = WIDE;

/// How many operations `implied` and `composite` spell without a prefix: those that the
/// short forms of `implied` leave room for.
pub(crate) const DIRECT: usize = PREFIX as usize - short_form_count();

const _: () = assert!(Op::COUNT <= PREFIX as usize);

impl Implied {
    pub(super) fn encode(op: Op, operand: i32) -> Encoded {
        let mut opcode = DIRECT as i32;
        for &(short, first, count) in SHORT_FORMS {
            let offset = operand - i32::from(first);
            if short == op && (0..i32::from(count)).contains(&offset) {
                return Encoded::new(&[(opcode + offset) as u8]);
            }
            opcode += i32::from(count);
        }
        plain(op, operand)
    }
}

/// An operation without a short form: behind a prefix if it has no opcode byte.
pub(super) fn plain(op: Op, operand: i32) -> Encoded {
    let plain = Leb::encode(op, operand);
    if (op as usize) < DIRECT {
        return plain;
    }
    let mut parts = [PREFIX; Encoded::MAX];
    let bytes = plain.as_slice();
    parts[1..=bytes.len()].copy_from_slice(bytes);
    Encoded::new(&parts[..=bytes.len()])
}

impl Decoder for Implied {
    const ENCODING: Encoding = Encoding::Implied;
    const ZIGZAG: bool = true;
    const ARMS: &'static [Arm; 256] = &leb_arms(true, true);

    #[inline(always)]
    fn operand<C: VerifiedCode>(arm: Arm, code: C, at: usize) -> (u32, usize) {
        leb_operand(arm, code, at)
    }

    #[inline(always)]
    fn expect<A: Opcode, C: VerifiedCode>(byte: u8, code: C, at: usize) -> Option<(u32, usize)> {
        if let Some((opcode, first, count)) = const { short_forms_of(A::OPCODE) } {
            let step = byte.wrapping_sub(opcode);
            let kind = const { Op::ALL[A::OPCODE as usize].info().operand };
            return (step < count)
                .then(|| (to_unsigned(kind, i32::from(first) + i32::from(step)), at + 1));
        }
        if byte != A::OPCODE {
            return None;
        }
        Some(leb_operand(const { Self::ARMS[A::OPCODE as usize] }, code, at))
    }

    fn decode(code: &[u8], at: usize) -> Option<Fetched> {
        decode_leb(Encoding::Implied, Implied::ARMS, code, at)
    }
}
