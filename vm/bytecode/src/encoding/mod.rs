//! How instructions become bytes. One encoder and one decoder an encoding; the
//! operation table says which operation has which operand, and this module only
//! lays it down. It refuses to know what an operation does.
//!
//! | encoding  | instruction |
//! | --------- | ----------- |
//! | `word`    | one 32-bit little-endian word: opcode in the low 8 bits, operand in the upper 24 |
//! | `byte`    | one opcode byte, an operand of one or two bytes fixed by its kind; `0xff` before the opcode widens the operand to four bytes |
//! | `leb`     | one opcode byte, a LEB128 operand (signed ones zigzag) |
//! | `implied` | `leb`, and opcodes left over by the table stand for an operation with a small operand folded in |
//! | `composite` | `leb`, and the opcodes left over stand for the entries of an instruction set, each one to eight operations |
//! | `echo` | `composite`, and the opcode of `trap` stands for instructions carried out again from where they stand |
//! | `context` | `composite`, and behind an entry that goes on to the next instruction the set's second table tells what those opcodes stand for |

mod byte;
mod composite;
pub mod echo;
mod leb;
mod rows;

pub use byte::Byte;
pub use composite::{Composite, Digits, Instruction, Shipped};
pub(crate) use leb::{DIRECT, PREFIX};
pub use leb::{Implied, Leb, SHORT_FORMS};
pub use rows::Row;

use crate::operand::{MAX_SIGNED, MAX_UNSIGNED, MIN_SIGNED, OperandKind};
use crate::ops::{Op, Opcode};
use crate::sets::{MAX_PARTS, Part};

/// The encodings by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum Encoding {
    /// One 32-bit word an instruction.
    Word = 0,
    /// One-byte opcode, fixed-width operands.
    Byte = 1,
    /// One-byte opcode, LEB128 operands.
    Leb = 2,
    /// `leb` with common small operands folded into the opcode.
    Implied = 3,
    /// `leb` with the composites and short forms of an instruction set.
    Composite = 4,
    /// `composite`, and instructions carried out again from where they stand.
    Echo = 5,
    /// `composite`, and entries that depend on the instruction before.
    Context = 6,
}

impl Encoding {
    /// Every encoding.
    pub const ALL: &'static [Encoding] = &[
        Encoding::Word,
        Encoding::Byte,
        Encoding::Leb,
        Encoding::Implied,
        Encoding::Composite,
        Encoding::Echo,
        Encoding::Context,
    ];

    /// The name a command line and a report use.
    pub const fn name(self) -> &'static str {
        match self {
            Encoding::Word => "word",
            Encoding::Byte => "byte",
            Encoding::Leb => "leb",
            Encoding::Implied => "implied",
            Encoding::Composite => "composite",
            Encoding::Echo => "echo",
            Encoding::Context => "context",
        }
    }

    /// The encoding with this name.
    pub fn from_name(name: &str) -> Option<Encoding> {
        Encoding::ALL.iter().copied().find(|encoding| encoding.name() == name)
    }

    /// The encoding with this number in an image.
    pub const fn from_number(number: u8) -> Option<Encoding> {
        match number {
            0 => Some(Encoding::Word),
            1 => Some(Encoding::Byte),
            2 => Some(Encoding::Leb),
            3 => Some(Encoding::Implied),
            4 => Some(Encoding::Composite),
            5 => Some(Encoding::Echo),
            6 => Some(Encoding::Context),
            _ => None,
        }
    }

    /// Whether this build has it: each is a feature of the crate, for what its tables and
    /// its decoder take is flash on a board. No image in another one can be opened.
    pub const fn is_in_build(self) -> bool {
        match self {
            Encoding::Word => cfg!(feature = "word"),
            Encoding::Byte => cfg!(feature = "byte"),
            Encoding::Leb => cfg!(feature = "leb"),
            Encoding::Implied => cfg!(feature = "implied"),
            Encoding::Composite => cfg!(feature = "composite"),
            Encoding::Echo => cfg!(feature = "echo"),
            Encoding::Context => cfg!(feature = "context"),
        }
    }

    /// Encodes one operation as an instruction without a set, or nothing if the
    /// operand is out of range, or the encoding not in this build.
    pub fn encode(self, op: Op, operand: i32) -> Option<Encoded> {
        if !operand_fits(op, operand) {
            return None;
        }
        Some(match self {
            Encoding::Word if cfg!(feature = "word") => Word::encode(op, operand),
            Encoding::Byte if cfg!(feature = "byte") => Byte::encode(op, operand),
            Encoding::Leb if cfg!(feature = "leb") => Leb::encode(op, operand),
            Encoding::Implied if cfg!(feature = "implied") => Implied::encode(op, operand),
            Encoding::Composite | Encoding::Echo | Encoding::Context if self.has_set() => {
                Composite::encode(op, operand)
            }
            // By name, so that the Rust compiler asks here for a new encoding.
            Encoding::Word | Encoding::Byte | Encoding::Leb | Encoding::Implied => return None,
            Encoding::Composite | Encoding::Echo | Encoding::Context => return None,
        })
    }

    /// Decodes the instruction at a position, or nothing if the bytes there are
    /// no instruction, or one of a set: those [`Image::decode`] knows. Nor is there any
    /// where the encoding is not in this build.
    ///
    /// [`Image::decode`]: crate::Image::decode
    pub fn decode(self, code: &[u8], at: usize) -> Option<Fetched> {
        match self {
            Encoding::Word if cfg!(feature = "word") => Word::decode(code, at),
            Encoding::Byte if cfg!(feature = "byte") => Byte::decode(code, at),
            Encoding::Leb if cfg!(feature = "leb") => Leb::decode(code, at),
            Encoding::Implied if cfg!(feature = "implied") => Implied::decode(code, at),
            Encoding::Composite | Encoding::Echo | Encoding::Context if self.has_set() => {
                Composite::decode(code, at)
            }
            // By name, so that the Rust compiler asks here for a new encoding.
            Encoding::Word | Encoding::Byte | Encoding::Leb | Encoding::Implied => None,
            Encoding::Composite | Encoding::Echo | Encoding::Context => None,
        }
    }

    /// Whether its instructions are those of a set that the image names.
    pub const fn has_set(self) -> bool {
        match self {
            Encoding::Composite | Encoding::Echo | Encoding::Context => self.is_in_build(),
            _ => false,
        }
    }

    /// Whether both tables of the set count: what an opcode byte is then depends on the
    /// instruction before it.
    pub const fn has_tables(self) -> bool {
        matches!(self, Encoding::Context) && self.is_in_build()
    }

    /// Whether an instruction may say that others are to be carried out again.
    pub const fn has_echoes(self) -> bool {
        matches!(self, Encoding::Echo) && self.is_in_build()
    }
}

/// Whether an operation can have this operand, whatever the encoding.
pub(crate) const fn operand_fits(op: Op, operand: i32) -> bool {
    match op.info().operand {
        OperandKind::None => operand == 0,
        kind if kind.is_signed() => operand >= MIN_SIGNED && operand <= MAX_SIGNED,
        _ => operand as u32 <= MAX_UNSIGNED,
    }
}

/// The bytes of one instruction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Encoded {
    bytes: [u8; Encoded::MAX],
    len: u8,
}

impl Encoded {
    /// The longest instruction of any encoding.
    pub const MAX: usize = 6;

    /// The bytes.
    pub fn as_slice(&self) -> &[u8] {
        &self.bytes[..self.len as usize]
    }

    fn new(parts: &[u8]) -> Self {
        let mut bytes = [0; Encoded::MAX];
        bytes[..parts.len()].copy_from_slice(parts);
        Encoded { bytes, len: parts.len() as u8 }
    }
}

/// One decoded instruction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fetched {
    /// The operation.
    pub op: Op,
    /// Its operand, 0 where it has none.
    pub operand: i32,
    /// The position behind the instruction.
    pub next: usize,
}

/// How many zero bytes stand behind the last instruction of an image, so that a
/// decoder may read past an instruction's end without asking.
pub const CODE_PADDING: usize = 4;

/// Code that the verifier has accepted, with its padding, as a decoder reads it.
///
/// A slice is one. The interpreter has its own, since the verifier has seen already
/// that every instruction lies whole.
pub trait VerifiedCode: Copy {
    /// The byte at a position.
    fn byte(self, at: usize) -> u8;

    /// The bytes from a position on.
    ///
    /// A loop, and not `array::from_fn`: that stayed a call in the interpreter's loop
    /// where a build had no whole-program optimisation, and took `word` 2.5 times as many
    /// host instructions.
    #[inline(always)]
    fn bytes<const N: usize>(self, at: usize) -> [u8; N] {
        let mut bytes = [0; N];
        let mut index = 0;
        while index < N {
            bytes[index] = self.byte(at + index);
            index += 1;
        }
        bytes
    }
}

impl VerifiedCode for &[u8] {
    #[inline(always)]
    fn byte(self, at: usize) -> u8 {
        self[at]
    }
}

/// A decoder the interpreter is generic over.
///
/// The interpreter has an arm for each of the 256 opcode bytes and asks the
/// decoder, while it is compiled, what that arm is: so in a running arm the
/// operation, the length and a folded operand are constants. Taking them from a
/// table at run time made each instruction wait for the one before.
pub trait Decoder {
    /// Which encoding it decodes.
    const ENCODING: Encoding;
    /// Whether operands of signed kinds are fetched in zigzag.
    const ZIGZAG: bool;
    /// What each opcode byte is.
    const ARMS: &'static [Arm; 256];
    /// The entries of a set that is known while the interpreter is compiled, each at its
    /// opcode byte.
    const OWN: &'static [Own; 256] = &[NO_OWN; 256];
    /// Whether there is such a set.
    const HAS_OWN: bool = false;

    /// Fetches the operand bits of the instruction at a position, whose opcode
    /// byte has this arm, and the position behind it. The code is one that the
    /// verifier has accepted, padding included. On other bytes the answer is
    /// unspecified, but some answer, or a panic: never undefined behaviour.
    fn operand<C: VerifiedCode>(arm: Arm, code: C, at: usize) -> (u32, usize);

    /// Fetches the operand bits of the instruction at a position of verified code,
    /// whose opcode byte is `byte`, and the position behind it: if it is that
    /// operation in its shortest form.
    #[inline(always)]
    fn expect<A: Opcode, C: VerifiedCode>(byte: u8, code: C, at: usize) -> Option<(u32, usize)> {
        if byte != A::OPCODE {
            return None;
        }
        Some(Self::operand(const { Self::ARMS[A::OPCODE as usize] }, code, at))
    }

    /// Fetches from any bytes: nothing where no instruction lies whole.
    fn decode(code: &[u8], at: usize) -> Option<Fetched>;
}

/// What an opcode byte is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arm {
    /// The operation's number; [`Op::Trap`]'s where the byte is none.
    pub opcode: u8,
    /// Where the operand is.
    pub form: Form,
}

/// Where an instruction's operand is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// In the upper 24 bits of the word.
    Upper,
    /// There is none, or these bits are folded into the opcode.
    Folded(u32),
    /// In the byte that follows.
    OneByte,
    /// In the two bytes that follow.
    TwoBytes,
    /// In the two bytes that follow, signed.
    TwoSigned,
    /// In LEB128 bytes that follow.
    Leb,
    /// Behind a prefix: the opcode follows, then its operand.
    Wide,
}

/// An entry of a set as an arm of the interpreter has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Own {
    parts: [Part; MAX_PARTS],
    n_parts: u8,
}

const NO_OWN: Own = Own { parts: [Part::fixed(Op::Trap, 0); MAX_PARTS], n_parts: 0 };

impl Own {
    /// How many operations it stands for; none where the byte is no entry's.
    pub const fn n_parts(&self) -> usize {
        self.n_parts as usize
    }

    /// An operation by its number; a trap where there are not so many.
    pub const fn part(&self, index: usize) -> Part {
        if index < MAX_PARTS { self.parts[index] } else { NO_OWN.parts[0] }
    }
}

const TRAP: Arm = Arm { opcode: Op::Trap as u8, form: Form::Folded(0) };

/// Decoder of `word`.
pub struct Word;

impl Word {
    fn encode(op: Op, operand: i32) -> Encoded {
        Encoded::new(&((operand as u32) << 8 | op as u32).to_le_bytes())
    }
}

impl Decoder for Word {
    const ENCODING: Encoding = Encoding::Word;
    const ZIGZAG: bool = false;

    const ARMS: &'static [Arm; 256] = &{
        let mut arms = [TRAP; 256];
        let mut opcode = 0;
        while opcode < Op::COUNT {
            arms[opcode] = Arm { opcode: opcode as u8, form: Form::Upper };
            opcode += 1;
        }
        arms
    };

    #[inline(always)]
    fn operand<C: VerifiedCode>(_: Arm, code: C, at: usize) -> (u32, usize) {
        // The shift copies the sign for signed operands; unsigned ones drop the
        // copies where they are used.
        ((i32::from_le_bytes(code.bytes(at)) >> 8) as u32, at + 4)
    }

    fn decode(code: &[u8], at: usize) -> Option<Fetched> {
        let bytes = code.get(at..)?.first_chunk::<4>()?;
        let word = u32::from_le_bytes(*bytes);
        let op = Op::from_opcode(word as u8)?;
        let operand = match op.info().operand {
            OperandKind::None if word >> 8 != 0 => return None,
            kind if kind.is_signed() => word as i32 >> 8,
            _ => (word >> 8) as i32,
        };
        Some(Fetched { op, operand, next: at + 4 })
    }
}

/// One instruction has one form: a longer spelling than the encoder's is no
/// instruction, so that `encode` undoes `decode` as well.
fn canonical(encoding: Encoding, code: &[u8], at: usize, fetched: Fetched) -> Option<Fetched> {
    let encoded = encoding.encode(fetched.op, fetched.operand)?;
    (encoded.as_slice() == &code[at..fetched.next]).then_some(fetched)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn operands(kind: OperandKind) -> std::vec::Vec<i32> {
        let edges = [0, 1, 2, 7, 8, 15, 16, 63, 64, 127, 128, 255, 256, 8191, 8192, 16383, 16384];
        let more = [32767, 32768, 65535, 65536, 1 << 20, MAX_SIGNED];
        let all: std::vec::Vec<i32> = edges.iter().chain(&more).copied().collect();
        match kind {
            OperandKind::None => std::vec![0],
            kind if kind.is_signed() => {
                all.iter().copied().chain(all.iter().map(|n| -n - 1)).collect()
            }
            _ => all.iter().copied().chain([MAX_UNSIGNED as i32]).collect(),
        }
    }

    /// Fetches as the interpreter does.
    fn fetch<D: Decoder>(code: &[u8]) -> Fetched {
        let arm = D::ARMS[code[0] as usize];
        let (bits, next) = D::operand(arm, code, 0);
        let opcode = if arm.form == Form::Wide { code[1] } else { arm.opcode };
        let op = Op::from_opcode(opcode).unwrap();
        Fetched { op, operand: op.info().operand.from_bits(bits, D::ZIGZAG), next }
    }

    // Our own invariant (design: "decode(encode(x)) = x"), for the three ways to decode.
    #[test]
    fn decoding_undoes_encoding_in_every_encoding() {
        let mut tried = 0;
        for &encoding in Encoding::ALL {
            for &op in Op::ALL {
                for operand in operands(op.info().operand) {
                    let encoded = encoding.encode(op, operand).unwrap();
                    let mut code = encoded.as_slice().to_vec();
                    let length = code.len();
                    code.extend([0; CODE_PADDING]);
                    let expected = Fetched { op, operand, next: length };
                    assert_eq!(encoding.decode(&code, 0), Some(expected), "{encoding:?}");
                    let fetched = match encoding {
                        Encoding::Word => fetch::<Word>(&code),
                        Encoding::Byte => fetch::<Byte>(&code),
                        Encoding::Leb => fetch::<Leb>(&code),
                        Encoding::Implied => fetch::<Implied>(&code),
                        Encoding::Composite | Encoding::Echo | Encoding::Context => {
                            fetch::<Composite>(&code)
                        }
                    };
                    assert_eq!(fetched, expected, "{encoding:?}");
                    let row = encoding.rows()[code[0] as usize];
                    let (opcode, bits, next) = row.fetch(&code, 0);
                    let operand = op.info().operand.from_bits(bits, false);
                    let by_rows = Fetched { op: Op::from_opcode(opcode).unwrap(), operand, next };
                    assert_eq!(by_rows, expected, "{encoding:?}");
                    tried += 1;
                }
            }
        }
        assert!(tried > 5 * Op::COUNT);
    }

    #[test]
    fn an_operand_out_of_range_is_refused() {
        for &encoding in Encoding::ALL {
            assert_eq!(encoding.encode(Op::LoadSlot, -1), None);
            assert_eq!(encoding.encode(Op::LoadSlot, MAX_UNSIGNED as i32 + 1), None);
            assert_eq!(encoding.encode(Op::PushInt, MIN_SIGNED - 1), None);
            assert_eq!(encoding.encode(Op::Add, 1), None);
        }
    }

    #[test]
    fn a_longer_spelling_than_the_encoders_is_no_instruction() {
        let load = Op::LoadSlot as u8;
        assert_eq!(Leb::decode(&[load, 0x85, 0x00], 0), None);
        assert_eq!(Implied::decode(&[load, 0x00], 0), None);
        assert_eq!(Byte::decode(&[byte::WIDE, load, 1, 0, 0, 0], 0), None);
        assert_eq!(Word::decode(&[Op::Add as u8, 1, 0, 0], 0), None);
    }

    #[test]
    fn names_and_numbers_lead_back_to_the_encoding() {
        for &encoding in Encoding::ALL {
            assert_eq!(Encoding::from_name(encoding.name()), Some(encoding));
            assert_eq!(Encoding::from_number(encoding as u8), Some(encoding));
        }
        assert_eq!(Encoding::from_number(Encoding::ALL.len() as u8), None);
        // A new encoding does not compile here until it is named: what is in this match
        // has to be in `ALL` as well.
        let n_encodings = |last: Encoding| match last {
            Encoding::Word
            | Encoding::Byte
            | Encoding::Leb
            | Encoding::Implied
            | Encoding::Composite
            | Encoding::Echo
            | Encoding::Context => 7,
        };
        assert_eq!(Encoding::ALL.len(), n_encodings(Encoding::Context));
    }
}
