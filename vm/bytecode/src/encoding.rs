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

use crate::leb128;
use crate::operand::{MAX_SIGNED, MAX_UNSIGNED, MIN_SIGNED, OperandKind};
use crate::ops::Op;

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
}

impl Encoding {
    /// Every encoding.
    pub const ALL: &'static [Encoding] =
        &[Encoding::Word, Encoding::Byte, Encoding::Leb, Encoding::Implied];

    /// The name a command line and a report use.
    pub const fn name(self) -> &'static str {
        match self {
            Encoding::Word => "word",
            Encoding::Byte => "byte",
            Encoding::Leb => "leb",
            Encoding::Implied => "implied",
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
            _ => None,
        }
    }

    /// Encodes one instruction, or nothing if the operand is out of range.
    pub fn encode(self, op: Op, operand: i32) -> Option<Encoded> {
        let in_range = match op.info().operand {
            OperandKind::None => operand == 0,
            kind if kind.is_signed() => (MIN_SIGNED..=MAX_SIGNED).contains(&operand),
            _ => operand as u32 <= MAX_UNSIGNED,
        };
        if !in_range {
            return None;
        }
        Some(match self {
            Encoding::Word => Word::encode(op, operand),
            Encoding::Byte => Byte::encode(op, operand),
            Encoding::Leb => Leb::encode(op, operand),
            Encoding::Implied => Implied::encode(op, operand),
        })
    }

    /// Decodes the instruction at a position, or nothing if the bytes there are
    /// no instruction.
    pub fn decode(self, code: &[u8], at: usize) -> Option<Fetched> {
        match self {
            Encoding::Word => Word::decode(code, at),
            Encoding::Byte => Byte::decode(code, at),
            Encoding::Leb => Leb::decode(code, at),
            Encoding::Implied => Implied::decode(code, at),
        }
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

/// A decoder the interpreter is generic over.
pub trait Decoder {
    /// Which encoding it decodes.
    const ENCODING: Encoding;

    /// Fetches from code the verifier has accepted, padding included. On other
    /// bytes the answer is unspecified, but some answer, or a panic: never
    /// undefined behaviour.
    fn fetch(code: &[u8], at: usize) -> Fetched;

    /// Fetches from any bytes: nothing where no instruction lies whole.
    fn decode(code: &[u8], at: usize) -> Option<Fetched>;
}

/// Decoder of `word`.
pub struct Word;

impl Word {
    fn encode(op: Op, operand: i32) -> Encoded {
        Encoded::new(&((operand as u32) << 8 | op as u32).to_le_bytes())
    }
}

impl Decoder for Word {
    const ENCODING: Encoding = Encoding::Word;

    #[inline(always)]
    fn fetch(code: &[u8], at: usize) -> Fetched {
        let bytes: &[u8; 4] = code[at..at + 4].first_chunk().unwrap_or(&[0; 4]);
        let word = u32::from_le_bytes(*bytes);
        let row = PLAIN[(word & 0xff) as usize];
        // Signed operands keep their sign by an arithmetic shift; the mask is
        // all ones for them and drops the copied sign bits for unsigned ones.
        let operand = (word as i32 >> 8) & row.word_mask;
        Fetched { op: row.op, operand, next: at + 4 }
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

/// Decoder of `byte`.
pub struct Byte;

/// The prefix that widens the operand of the next instruction to four bytes.
const WIDE: u8 = 0xff;

/// Operand bytes by kind: two where a program of usual size passes 255.
const fn byte_width(kind: OperandKind) -> usize {
    match kind {
        OperandKind::None => 0,
        OperandKind::Slot | OperandKind::FreeId | OperandKind::Count | OperandKind::Argc => 1,
        _ => 2,
    }
}

impl Byte {
    fn encode(op: Op, operand: i32) -> Encoded {
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

    #[cold]
    #[inline(never)]
    fn fetch_wide(code: &[u8], at: usize) -> Fetched {
        Self::decode_wide(code, at).unwrap_or(Fetched { op: Op::Trap, operand: 0, next: at + 1 })
    }

    fn decode_wide(code: &[u8], at: usize) -> Option<Fetched> {
        let op = Op::from_opcode(*code.get(at + 1)?)?;
        let operand = i32::from_le_bytes(*code.get(at + 2..)?.first_chunk::<4>()?);
        Some(Fetched { op, operand, next: at + 6 })
    }
}

impl Decoder for Byte {
    const ENCODING: Encoding = Encoding::Byte;

    #[inline(always)]
    fn fetch(code: &[u8], at: usize) -> Fetched {
        let bytes: &[u8; 3] = code[at..at + 3].first_chunk().unwrap_or(&[0; 3]);
        let row = PLAIN[bytes[0] as usize];
        if row.byte_len == 0 {
            return Byte::fetch_wide(code, at);
        }
        let raw = i16::from_le_bytes([bytes[1], bytes[2]]);
        Fetched {
            op: row.op,
            operand: raw as i32 & row.byte_mask,
            next: at + row.byte_len as usize,
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

/// Decoder of `leb`.
pub struct Leb;

/// The operand as the unsigned number that LEB128 lays down.
const fn to_unsigned(kind: OperandKind, operand: i32) -> u32 {
    if kind.is_signed() { leb128::zigzag(operand) } else { operand as u32 }
}

/// The inverse of [`to_unsigned`].
const fn to_operand(kind: OperandKind, raw: u32) -> i32 {
    if kind.is_signed() { leb128::unzigzag(raw) } else { raw as i32 }
}

impl Leb {
    fn encode(op: Op, operand: i32) -> Encoded {
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

/// What an opcode byte of `leb` or `implied` says: the operation, the folded
/// operand, and whether LEB128 bytes follow.
#[derive(Clone, Copy)]
struct LebRow {
    op: Op,
    /// 0x7f where an operand follows, 0 where it is folded in or absent.
    follow_mask: u8,
    /// All ones where the operand is signed, as zigzag's sign fold needs it.
    signed: bool,
    folded: i16,
}

const INVALID_LEB: LebRow = LebRow { op: Op::Trap, follow_mask: 0, signed: false, folded: 0 };

const fn leb_rows(short_forms: bool) -> [LebRow; 256] {
    let mut rows = [INVALID_LEB; 256];
    let mut opcode = 0;
    while opcode < Op::COUNT {
        let op = Op::ALL[opcode];
        let kind = op.info().operand;
        rows[opcode] = LebRow {
            op,
            follow_mask: if matches!(kind, OperandKind::None) { 0 } else { 0xff },
            signed: kind.is_signed(),
            folded: 0,
        };
        opcode += 1;
    }
    if short_forms {
        let mut form = 0;
        while form < SHORT_FORMS.len() {
            let (op, first, count) = SHORT_FORMS[form];
            let mut step = 0;
            while step < count {
                rows[opcode] = LebRow { op, follow_mask: 0, signed: false, folded: first + step };
                opcode += 1;
                step += 1;
            }
            form += 1;
        }
    }
    rows
}

static LEB_ROWS: [LebRow; 256] = leb_rows(false);
static IMPLIED_ROWS: [LebRow; 256] = leb_rows(true);

#[inline(always)]
fn fetch_leb(rows: &[LebRow; 256], code: &[u8], at: usize) -> Fetched {
    let bytes: &[u8; 2] = code[at..at + 2].first_chunk().unwrap_or(&[0; 2]);
    let row = rows[bytes[0] as usize];
    let first = bytes[1] & row.follow_mask;
    if first >= 0x80 {
        return fetch_long_leb(row, code, at);
    }
    let raw = first as i32;
    let value = if row.signed { (raw >> 1) ^ -(raw & 1) } else { raw };
    Fetched {
        op: row.op,
        operand: value + row.folded as i32,
        next: at + 1 + (row.follow_mask & 1) as usize,
    }
}

// Operands past one LEB128 byte are a few per cent of those fetched: out of
// line they leave the dispatch loop shorter.
#[inline(never)]
fn fetch_long_leb(row: LebRow, code: &[u8], at: usize) -> Fetched {
    let trap = Fetched { op: Op::Trap, operand: 0, next: at + 1 };
    match leb128::read_unsigned(code, at + 1) {
        Some((raw, next)) => {
            let operand = if row.signed { leb128::unzigzag(raw) } else { raw as i32 };
            Fetched { op: row.op, operand, next }
        }
        None => trap,
    }
}

fn decode_leb(encoding: Encoding, rows: &[LebRow; 256], code: &[u8], at: usize) -> Option<Fetched> {
    let opcode = *code.get(at)?;
    let row = rows[opcode as usize];
    if row.op as u8 == Op::Trap as u8 && opcode != Op::Trap as u8 {
        return None;
    }
    let fetched = if row.follow_mask == 0 {
        Fetched { op: row.op, operand: i32::from(row.folded), next: at + 1 }
    } else {
        let (raw, next) = leb128::read_unsigned(code, at + 1)?;
        Fetched { op: row.op, operand: to_operand(row.op.info().operand, raw), next }
    };
    canonical(encoding, code, at, fetched)
}

/// One instruction has one form: a longer spelling than the encoder's is no
/// instruction, so that `encode` undoes `decode` as well.
fn canonical(encoding: Encoding, code: &[u8], at: usize, fetched: Fetched) -> Option<Fetched> {
    let encoded = encoding.encode(fetched.op, fetched.operand)?;
    (encoded.as_slice() == &code[at..fetched.next]).then_some(fetched)
}

impl Decoder for Leb {
    const ENCODING: Encoding = Encoding::Leb;

    #[inline(always)]
    fn fetch(code: &[u8], at: usize) -> Fetched {
        fetch_leb(&LEB_ROWS, code, at)
    }

    fn decode(code: &[u8], at: usize) -> Option<Fetched> {
        decode_leb(Encoding::Leb, &LEB_ROWS, code, at)
    }
}

/// Decoder of `implied`.
pub struct Implied;

/// The short forms of `implied`: an operation, its first folded operand, how
/// many operands from there have an opcode of their own.
///
/// Chosen by the operand counts of the sample scripts in `leb`; the command
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
    (Op::Call, 0, 5),
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

const _: () = assert!(Op::COUNT + short_form_count() < WIDE as usize);

impl Implied {
    fn encode(op: Op, operand: i32) -> Encoded {
        let mut opcode = Op::COUNT as i32;
        for &(short, first, count) in SHORT_FORMS {
            let offset = operand - i32::from(first);
            if short == op && (0..i32::from(count)).contains(&offset) {
                return Encoded::new(&[(opcode + offset) as u8]);
            }
            opcode += i32::from(count);
        }
        Leb::encode(op, operand)
    }
}

impl Decoder for Implied {
    const ENCODING: Encoding = Encoding::Implied;

    #[inline(always)]
    fn fetch(code: &[u8], at: usize) -> Fetched {
        fetch_leb(&IMPLIED_ROWS, code, at)
    }

    fn decode(code: &[u8], at: usize) -> Option<Fetched> {
        decode_leb(Encoding::Implied, &IMPLIED_ROWS, code, at)
    }
}

/// What an opcode byte of `word` or `byte` says.
#[derive(Clone, Copy)]
struct PlainRow {
    op: Op,
    /// Bytes of the instruction in `byte`; 0 where the opcode is the prefix.
    byte_len: u8,
    byte_mask: i32,
    word_mask: i32,
}

const fn plain_rows() -> [PlainRow; 256] {
    let invalid = PlainRow { op: Op::Trap, byte_len: 1, byte_mask: 0, word_mask: 0 };
    let mut rows = [invalid; 256];
    let mut opcode = 0;
    while opcode < Op::COUNT {
        let op = Op::ALL[opcode];
        let kind = op.info().operand;
        rows[opcode] = PlainRow {
            op,
            byte_len: 1 + byte_width(kind) as u8,
            byte_mask: match byte_width(kind) {
                0 => 0,
                1 => 0xff,
                _ if kind.is_signed() => -1,
                _ => 0xffff,
            },
            word_mask: match kind {
                OperandKind::None => 0,
                _ if kind.is_signed() => -1,
                _ => MAX_UNSIGNED as i32,
            },
        };
        opcode += 1;
    }
    rows[WIDE as usize].byte_len = 0;
    rows
}

static PLAIN: [PlainRow; 256] = plain_rows();

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

    // Our own invariant (design: "decode(encode(x)) = x"), for both decoders.
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
                        Encoding::Word => Word::fetch(&code, 0),
                        Encoding::Byte => Byte::fetch(&code, 0),
                        Encoding::Leb => Leb::fetch(&code, 0),
                        Encoding::Implied => Implied::fetch(&code, 0),
                    };
                    assert_eq!(fetched, expected, "{encoding:?}");
                    tried += 1;
                }
            }
        }
        assert!(tried > 4 * Op::COUNT);
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
        assert_eq!(Byte::decode(&[WIDE, load, 1, 0, 0, 0], 0), None);
        assert_eq!(Word::decode(&[Op::Add as u8, 1, 0, 0], 0), None);
    }

    #[test]
    fn names_and_numbers_lead_back_to_the_encoding() {
        for &encoding in Encoding::ALL {
            assert_eq!(Encoding::from_name(encoding.name()), Some(encoding));
            assert_eq!(Encoding::from_number(encoding as u8), Some(encoding));
        }
        assert_eq!(Encoding::from_number(Encoding::ALL.len() as u8), None);
    }
}
