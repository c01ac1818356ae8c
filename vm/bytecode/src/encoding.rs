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
use crate::ops::{Op, Opcode};

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

    /// Fetches the operand bits of the instruction at a position, whose opcode
    /// byte has this arm, and the position behind it. The code is one that the
    /// verifier has accepted, padding included. On other bytes the answer is
    /// unspecified, but some answer, or a panic: never undefined behaviour.
    fn operand(arm: Arm, code: &[u8], at: usize) -> (u32, usize);

    /// Fetches the operand bits of the instruction at a position of verified code,
    /// whose opcode byte is `byte`, and the position behind it: if it is that
    /// operation in its shortest form.
    #[inline(always)]
    fn expect<A: Opcode>(byte: u8, code: &[u8], at: usize) -> Option<(u32, usize)> {
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
    /// Behind a prefix: the opcode follows, then four bytes.
    Wide,
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
    fn operand(_: Arm, code: &[u8], at: usize) -> (u32, usize) {
        let bytes: &[u8; 4] = code[at..].first_chunk().unwrap_or(&[0; 4]);
        // The shift copies the sign for signed operands; unsigned ones drop the
        // copies where they are used.
        ((i32::from_le_bytes(*bytes) >> 8) as u32, at + 4)
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
    fn operand(arm: Arm, code: &[u8], at: usize) -> (u32, usize) {
        match arm.form {
            Form::OneByte => (u32::from(code[at + 1]), at + 2),
            Form::TwoBytes | Form::TwoSigned => {
                let pair: &[u8; 2] = code[at + 1..].first_chunk().unwrap_or(&[0; 2]);
                let bits = match arm.form {
                    Form::TwoSigned => i32::from(i16::from_le_bytes(*pair)) as u32,
                    _ => u32::from(u16::from_le_bytes(*pair)),
                };
                (bits, at + 3)
            }
            // The opcode behind the prefix is the interpreter's to look at.
            Form::Wide => {
                let quad: &[u8; 4] = code[at + 2..].first_chunk().unwrap_or(&[0; 4]);
                (u32::from_le_bytes(*quad), at + 6)
            }
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

const fn leb_arms(short_forms: bool) -> [Arm; 256] {
    let mut arms = [TRAP; 256];
    let mut opcode = 0;
    while opcode < Op::COUNT {
        let form = match Op::ALL[opcode].info().operand {
            OperandKind::None => Form::Folded(0),
            _ => Form::Leb,
        };
        arms[opcode] = Arm { opcode: opcode as u8, form };
        opcode += 1;
    }
    if short_forms {
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
fn leb_operand(arm: Arm, code: &[u8], at: usize) -> (u32, usize) {
    match arm.form {
        Form::Folded(bits) => (bits, at + 1),
        _ => {
            let first = u32::from(code[at + 1]);
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
fn long_leb(code: &[u8], at: usize) -> (u32, u32) {
    match leb128::read_unsigned(code, at) {
        Some((bits, next)) => (bits, (next - at) as u32),
        None => (0, 1),
    }
}

fn decode_leb(encoding: Encoding, arms: &[Arm; 256], code: &[u8], at: usize) -> Option<Fetched> {
    let opcode = *code.get(at)?;
    let arm = arms[opcode as usize];
    if arm == TRAP && opcode != Op::Trap as u8 {
        return None;
    }
    let op = Op::from_opcode(arm.opcode)?;
    let (bits, next) = match arm.form {
        Form::Folded(bits) => (bits, at + 1),
        _ => leb128::read_unsigned(code, at + 1)?,
    };
    let fetched = Fetched { op, operand: to_operand(op.info().operand, bits), next };
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
    const ZIGZAG: bool = true;
    const ARMS: &'static [Arm; 256] = &leb_arms(false);

    #[inline(always)]
    fn operand(arm: Arm, code: &[u8], at: usize) -> (u32, usize) {
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
    let mut opcode = Op::COUNT;
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
    const ZIGZAG: bool = true;
    const ARMS: &'static [Arm; 256] = &leb_arms(true);

    #[inline(always)]
    fn operand(arm: Arm, code: &[u8], at: usize) -> (u32, usize) {
        leb_operand(arm, code, at)
    }

    #[inline(always)]
    fn expect<A: Opcode>(byte: u8, code: &[u8], at: usize) -> Option<(u32, usize)> {
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
                        Encoding::Word => fetch::<Word>(&code),
                        Encoding::Byte => fetch::<Byte>(&code),
                        Encoding::Leb => fetch::<Leb>(&code),
                        Encoding::Implied => fetch::<Implied>(&code),
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
