//! The decoders as tables: what each opcode byte is, in two bytes, so that one
//! loop can fetch every encoding.
//!
//! The tables are made from the decoders' arms and know nothing of their own. It
//! refuses to be fast: the interpreter's other loop has all of this as constants.

use super::{Arm, Byte, Composite, Decoder, Encoding, Form, Implied, Leb, Word};
use crate::leb128;
use crate::operand::OperandKind;
use crate::ops::Op;

/// What an opcode byte is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    /// The operation's number.
    opcode: u8,
    /// A folded operand, or below [`LEAST_FOLDED`] where the operand is.
    form: i8,
}

const UPPER: i8 = -128;
const ONE_BYTE: i8 = -127;
const TWO_BYTES: i8 = -126;
const TWO_SIGNED: i8 = -125;
const LEB: i8 = -124;
const LEB_SIGNED: i8 = -123;
const WIDE: i8 = -122;
/// Behind a prefix lies the operation's number, then its operand in LEB128.
const PREFIXED: i8 = -121;
const LEAST_FOLDED: i8 = -120;

impl Encoding {
    /// The rows of its 256 opcode bytes.
    ///
    /// # Panics
    ///
    /// If the encoding is not in this build.
    pub fn rows(self) -> &'static [Row; 256] {
        match self {
            Encoding::Word if cfg!(feature = "word") => const { &rows(Word::ARMS, Word::ZIGZAG) },
            Encoding::Byte if cfg!(feature = "byte") => const { &rows(Byte::ARMS, Byte::ZIGZAG) },
            Encoding::Leb if cfg!(feature = "leb") => const { &rows(Leb::ARMS, Leb::ZIGZAG) },
            Encoding::Implied if cfg!(feature = "implied") => {
                const { &rows(Implied::ARMS, Implied::ZIGZAG) }
            }
            Encoding::Composite | Encoding::Echo | Encoding::Context if self.has_set() => {
                const { &rows(Composite::ARMS, Composite::ZIGZAG) }
            }
            // By name, so that the Rust compiler asks here for a new encoding.
            Encoding::Word
            | Encoding::Byte
            | Encoding::Leb
            | Encoding::Implied
            | Encoding::Composite
            | Encoding::Echo
            | Encoding::Context => {
                unreachable!("no image is opened in an encoding that is not in the build")
            }
        }
    }
}

const fn rows(arms: &[Arm; 256], zigzag: bool) -> [Row; 256] {
    let mut rows = [Row { opcode: 0, form: 0 }; 256];
    let mut byte = 0;
    while byte < arms.len() {
        let Arm { opcode, form } = arms[byte];
        let kind = Op::ALL[opcode as usize].info().operand;
        let form = match form {
            Form::Upper => UPPER,
            Form::OneByte => ONE_BYTE,
            Form::TwoBytes => TWO_BYTES,
            Form::TwoSigned => TWO_SIGNED,
            Form::Leb if kind.is_signed() => LEB_SIGNED,
            Form::Leb => LEB,
            Form::Wide if zigzag => PREFIXED,
            Form::Wide => WIDE,
            Form::Folded(bits) => {
                let operand = kind.from_bits(bits, zigzag);
                assert!(operand >= LEAST_FOLDED as i32 && operand <= i8::MAX as i32);
                operand as i8
            }
        };
        rows[byte] = Row { opcode, form };
        byte += 1;
    }
    rows
}

impl Row {
    /// The operation's number; a trap's where the opcode byte is none, or an entry's.
    #[inline(always)]
    pub fn opcode(self) -> u8 {
        self.opcode
    }

    /// The operation of the opcode byte that has this row, if the byte is one.
    pub(super) fn operation(self, byte: u8) -> Option<Op> {
        let is_none = self == Row { opcode: Op::Trap as u8, form: 0 } && byte != Op::Trap as u8;
        if is_none { None } else { Op::from_opcode(self.opcode) }
    }

    /// The operand that is folded in, which is zero where there is none.
    pub(super) fn folded(self) -> Option<i32> {
        (self.form >= LEAST_FOLDED).then_some(i32::from(self.form))
    }

    /// Whether the operation stands behind the byte.
    pub(super) fn is_prefix(self) -> bool {
        self.form == PREFIXED
    }

    /// Fetches the instruction at a position of verified code, whose opcode byte
    /// has this row: the operation's number, the operand's bits, which are never
    /// in zigzag, and the position behind it. On other bytes the answer is
    /// unspecified, or a panic.
    #[inline(always)]
    pub fn fetch(self, code: &[u8], at: usize) -> (u8, u32, usize) {
        let Row { opcode, form } = self;
        let byte = |ahead: usize| u32::from(code[at + ahead]);
        let pair = || byte(1) | byte(2) << 8;
        match form {
            LEAST_FOLDED.. => (opcode, i32::from(form) as u32, at + 1),
            LEB | LEB_SIGNED => {
                let (bits, next) = leb(code, at + 1, form == LEB_SIGNED);
                (opcode, bits, next)
            }
            ONE_BYTE => (opcode, byte(1), at + 2),
            TWO_BYTES => (opcode, pair(), at + 3),
            TWO_SIGNED => (opcode, i32::from(pair() as i16) as u32, at + 3),
            PREFIXED => {
                let opcode = byte(1) as u8;
                let kind =
                    Op::from_opcode(opcode).map_or(OperandKind::None, |op| op.info().operand);
                let (bits, next) = match kind {
                    OperandKind::None => (0, at + 2),
                    kind => leb(code, at + 2, kind.is_signed()),
                };
                (opcode, bits, next)
            }
            WIDE => (byte(1) as u8, four(code, at + 2) as u32, at + 6),
            // UPPER: the shift copies the sign for signed operands; unsigned ones
            // drop the copies where they are used.
            _ => (opcode, (four(code, at) >> 8) as u32, at + 4),
        }
    }
}

/// LEB128 digits: the operand's bits and the position behind them.
fn leb(code: &[u8], at: usize, is_signed: bool) -> (u32, usize) {
    let (bits, next) = leb128::read_unsigned(code, at).unwrap_or((0, at));
    (if is_signed { leb128::unzigzag(bits) as u32 } else { bits }, next)
}

fn four(code: &[u8], at: usize) -> i32 {
    let bytes: &[u8; 4] = code[at..].first_chunk().unwrap_or(&[0; 4]);
    i32::from_le_bytes(*bytes)
}
