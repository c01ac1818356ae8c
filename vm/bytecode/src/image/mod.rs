//! The image: a compiled script as it lies in flash, a mapped file or RAM.
//!
//! This module owns the layout and reads it where it lies; nothing is copied or
//! relocated. It refuses to judge the instructions: that is the verifier's work,
//! and [`Image::open`] alone makes no image safe to run.
//!
//! All numbers are little-endian. Sections follow one another without gaps:
//!
//! | section | holds |
//! | ------- | ----- |
//! | header | [`HEADER_LEN`] bytes, see the `header` module |
//! | constant entries | one a constant: two kind bits above an offset into the constant text, or above a name number |
//! | string order | the numbers of the string constants that have text, sorted by [`Text`] order |
//! | constant text | numbers as 8 bytes; strings as a LEB128 length in code units and their Latin-1 bytes or UTF-16 units |
//! | globals | one a global: three kind bits below the number of the constant that names it |
//! | function records | [`FUNCTION_RECORD_LEN`] bytes a function; the last one is the script itself |
//! | lists | what is variable in a function: see [`Function`] |
//! | code | the instructions of every function, then [`CODE_PADDING`] zero bytes |
//! | lines | LEB128 triples (code step, zigzag line step, column), strippable |
//!
//! The version rises when what an older build takes would mean another thing. What it
//! does not know and refuses needs no new one: an operation at the end of the table, or
//! a flag of a function that comes with such an operation only. So are the flags of
//! classes: a constructor of a class is made by `make_class`, a function that asks for
//! `new.target` begins with `enter_target`, a link behind the captures is set and read
//! by operations that came with it. So is an encoding: an older build refuses its number.
//! An image in an encoding that has an instruction set names it by hash in the header; a
//! machine that was not given this set refuses it.
//!
//! A *narrow* image has entries of 16 bits, a *wide* one of 32 (constant
//! entries, string order and globals); the compiler takes the first that fits.

mod checksum;
mod error;
mod function;
mod lines;
mod sizes;
mod text;

pub use checksum::checksum;
pub use error::ImageError;
pub use function::{
    CAPTURE_FREE, Details, FREE_GLOBAL, FUNCTION_RECORD_LEN, FrameShape, Function, Guard, record,
};
pub use lines::Position;
pub use sizes::Sizes;
pub use text::Text;

use core::cmp::Ordering;

use error::ImageErrorKind;

use crate::encoding::echo::{self, ECHO, EchoFault, Reference};
use crate::encoding::{CODE_PADDING, Encoding, Instruction};
use crate::leb128;
use crate::names::{self, NameId};
use crate::operand::{ConstId, FieldId, FunctionId, GlobalId};
use crate::sets::{InstructionSet, SHIPPED_SETS, Table};

/// Where the header's fields lie.
pub mod header {
    /// Four bytes that every image begins with.
    pub const MAGIC: [u8; 4] = *b"SCRP";
    /// The version of the format this crate reads and writes.
    pub const VERSION: u8 = 1;
    /// Offset of the version.
    pub const AT_VERSION: usize = 4;
    /// Offset of the encoding's number.
    pub const AT_ENCODING: usize = 5;
    /// Offset of the flags.
    pub const AT_FLAGS: usize = 6;
    /// Offset of the hash of the instruction set (`sets`): always 0 where the encoding has
    /// none, never where it has one.
    pub const AT_SET_HASH: usize = 8;
    /// Offset of the hash of the name list.
    pub const AT_NAMES_HASH: usize = 12;
    /// Offset of the CRC-32 of all that follows the checksum.
    pub const AT_CHECKSUM: usize = 16;
    /// Offset of the number of constants.
    pub const AT_CONSTANTS: usize = 20;
    /// Offset of the number of string constants that have text.
    pub const AT_STRINGS: usize = 24;
    /// Offset of the number of bytes of constant text.
    pub const AT_TEXT: usize = 28;
    /// Offset of the number of globals.
    pub const AT_GLOBALS: usize = 32;
    /// Offset of the number of functions.
    pub const AT_FUNCTIONS: usize = 36;
    /// Offset of the number of bytes of lists.
    pub const AT_LISTS: usize = 40;
    /// Offset of the number of bytes of code, padding included.
    pub const AT_CODE: usize = 44;
    /// Offset of the number of bytes of the line table.
    pub const AT_LINES: usize = 48;
    /// Flag: entries of 32 bits.
    pub const FLAG_WIDE: u8 = 1;
}

/// Bytes of the header.
pub const HEADER_LEN: usize = 52;
/// The most bytes of instructions: a place among them, the one behind the last included, has
/// 24 bits in function records and in the machine's frames.
pub const MAX_CODE: usize = crate::operand::MAX_UNSIGNED as usize;
/// Kinds of constant, as the two top bits of an entry.
pub mod constant {
    /// A string of Latin-1 bytes.
    pub const LATIN1: u32 = 0;
    /// A string of UTF-16 code units.
    pub const UTF16: u32 = 1;
    /// A number.
    pub const NUMBER: u32 = 2;
    /// A name in flash.
    pub const NAME: u32 = 3;
}

/// How a script declares a global.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum GlobalKind {
    /// The script uses the name and does not declare it.
    Undeclared = 0,
    /// `var`: a property of the global object.
    Var = 1,
    /// A function declaration: a property of the global object.
    Function = 2,
    /// `let`: a binding of the script.
    Let = 3,
    /// `const`: a binding of the script that cannot change.
    Const = 4,
}

/// A constant of an image.
#[derive(Clone, Copy, Debug)]
pub enum Constant<'a> {
    /// A number.
    Number(f64),
    /// A string that lies in the image.
    Text(Text<'a>),
    /// A string that is a name in flash.
    Name(NameId),
}

/// What a string constant is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Field {
    /// A name in flash.
    Name(NameId),
    /// A text of the image.
    Text,
}

/// A compiled script, read where it lies.
#[derive(Clone, Copy, Debug)]
pub struct Image<'a> {
    bytes: &'a [u8],
    encoding: Encoding,
    set: Option<&'a InstructionSet<'a>>,
    wide: bool,
    entries: &'a [u8],
    order: &'a [u8],
    text: &'a [u8],
    globals: &'a [u8],
    records: &'a [u8],
    lists: &'a [u8],
    code: &'a [u8],
    lines: &'a [u8],
}

impl<'a> Image<'a> {
    /// Reads the header and finds the sections. The checksum must match; the
    /// sections' contents are not looked at. Of instruction sets it knows the shipped
    /// one.
    pub fn open(bytes: &'a [u8]) -> Result<Image<'a>, ImageError> {
        Image::open_with(bytes, SHIPPED_SETS)
    }

    /// The same with these instruction sets.
    pub fn open_with(
        bytes: &'a [u8],
        sets: &'a [&'a InstructionSet<'a>],
    ) -> Result<Image<'a>, ImageError> {
        use ImageErrorKind as Kind;
        if bytes.len() < HEADER_LEN {
            return Err(Kind::TooShort.into());
        }
        if bytes[..4] != header::MAGIC {
            return Err(Kind::Magic.into());
        }
        if bytes[header::AT_VERSION] != header::VERSION {
            return Err(Kind::Version(bytes[header::AT_VERSION]).into());
        }
        let number = bytes[header::AT_ENCODING];
        let encoding = Encoding::from_number(number)
            .filter(|encoding| encoding.is_in_build())
            .ok_or(Kind::Encoding(number))?;
        let field = |at| u32_at(bytes, at).unwrap_or(0);
        let hash = field(header::AT_SET_HASH);
        let set = match sets.iter().find(|set| set.hash() == hash) {
            Some(&set) if encoding.has_set() => Some(set),
            _ if !encoding.has_set() && hash == 0 => None,
            _ if !encoding.has_set() => return Err(Kind::StraySet(hash).into()),
            _ => {
                let known = sets.first().map(|set| set.hash());
                return Err(Kind::InstructionSet(hash, known, sets.len() > 1).into());
            }
        };
        if field(header::AT_NAMES_HASH) != names::HASH {
            return Err(Kind::Names(field(header::AT_NAMES_HASH)).into());
        }
        if field(header::AT_CHECKSUM) != checksum(&bytes[header::AT_CHECKSUM + 4..]) {
            return Err(Kind::Checksum.into());
        }
        let wide = bytes[header::AT_FLAGS] & header::FLAG_WIDE != 0;
        let entry = if wide { 4 } else { 2 };
        let mut rest = &bytes[HEADER_LEN..];
        let mut section = |at: usize, unit: usize| -> Result<&'a [u8], ImageError> {
            let length = (field(at) as usize).checked_mul(unit).ok_or(Kind::Sections)?;
            let (section, behind) = rest.split_at_checked(length).ok_or(Kind::Sections)?;
            rest = behind;
            Ok(section)
        };
        let image = Image {
            bytes,
            encoding,
            set,
            wide,
            entries: section(header::AT_CONSTANTS, entry)?,
            order: section(header::AT_STRINGS, entry)?,
            text: section(header::AT_TEXT, 1)?,
            globals: section(header::AT_GLOBALS, entry)?,
            records: section(header::AT_FUNCTIONS, FUNCTION_RECORD_LEN)?,
            lists: section(header::AT_LISTS, 1)?,
            code: section(header::AT_CODE, 1)?,
            lines: section(header::AT_LINES, 1)?,
        };
        if !rest.is_empty() || image.records.is_empty() || image.code.len() < CODE_PADDING {
            return Err(Kind::Sections.into());
        }
        if image.code.len() - CODE_PADDING > MAX_CODE {
            return Err(Kind::Code(image.code.len() - CODE_PADDING).into());
        }
        Ok(image)
    }

    /// The bytes of the whole image.
    pub fn bytes(&self) -> &'a [u8] {
        self.bytes
    }

    /// The encoding of its instructions.
    pub fn encoding(&self) -> Encoding {
        self.encoding
    }

    /// The instruction set that its instructions are of, if it has one.
    #[inline]
    pub fn set(&self) -> Option<&'a InstructionSet<'a>> {
        self.set
    }

    /// Decodes the instruction at a position of the code section, or nothing if the
    /// bytes there are none. Control can come there from elsewhere: what is read in a row
    /// is read by [`Image::walk`].
    pub fn decode(&self, at: usize) -> Option<Instruction> {
        self.decode_in(at, Table::First)
    }

    /// The same where this table of the instruction set counts.
    pub fn decode_in(&self, at: usize, table: Table) -> Option<Instruction> {
        self.decode_before(at, self.code.len(), table)
    }

    /// The same, of an instruction that ends before `end`.
    pub(crate) fn decode_before(&self, at: usize, end: usize, table: Table) -> Option<Instruction> {
        let code = self.code.get(..end)?;
        if self.is_echo(at) {
            return echo::decode(self.set?, code, at).ok();
        }
        let table = if self.encoding.has_tables() { table } else { Table::First };
        if let Some(instruction) = self.set.and_then(|set| set.decode(code, at, table)) {
            return Some(instruction);
        }
        self.encoding.decode(code, at).map(Instruction::from)
    }

    /// Whether the instruction at a position is an echo, right or wrong.
    fn is_echo(&self, at: usize) -> bool {
        self.encoding.has_echoes() && self.code.get(at) == Some(&ECHO)
    }

    /// What the echo at a position refers to, if there is one.
    pub fn echoed(&self, at: usize) -> Option<Reference> {
        if !self.is_echo(at) {
            return None;
        }
        Reference::decode(self.code, at).map(|(reference, _)| reference)
    }

    /// Why the instruction at a position is no echo, where it is meant to be one.
    pub(crate) fn echo_fault(&self, at: usize, end: usize) -> Option<EchoFault> {
        if !self.is_echo(at) {
            return None;
        }
        echo::decode(self.set?, self.code.get(..end)?, at).err()
    }

    /// Which table of the set tells what is behind an instruction.
    pub fn table_behind(&self, instruction: &Instruction) -> Table {
        match self.set {
            Some(set) if self.encoding.has_tables() && set.len_of(Table::Then) > 0 => {
                instruction.leads_to()
            }
            _ => Table::First,
        }
    }

    /// The instructions from a position on that control can come to from elsewhere, each
    /// with its position, up to where there is none.
    pub fn walk(self, start: usize) -> impl Iterator<Item = (usize, Instruction)> + use<'a> {
        let (mut at, mut table) = (start, Table::First);
        core::iter::from_fn(move || {
            let instruction = self.decode_in(at, table)?;
            table = self.table_behind(&instruction);
            Some((core::mem::replace(&mut at, instruction.next), instruction))
        })
    }

    /// How many constants it has.
    pub fn n_constants(&self) -> usize {
        self.entries.len() / self.entry_len()
    }

    /// How many globals it names.
    pub fn n_globals(&self) -> usize {
        self.globals.len() / self.entry_len()
    }

    /// How many functions it has, the script itself included.
    pub fn n_functions(&self) -> usize {
        self.records.len() / FUNCTION_RECORD_LEN
    }

    /// The function that is the script itself.
    pub fn script(&self) -> FunctionId {
        FunctionId::from_operand(self.n_functions() as i32 - 1)
    }

    /// The code section, padding included.
    #[inline]
    pub fn code(&self) -> &'a [u8] {
        self.code
    }

    /// A constant, or nothing where there is no such constant or it does not lie
    /// whole.
    #[inline]
    pub fn constant(&self, id: ConstId) -> Option<Constant<'a>> {
        let (kind, value) = self.split_entry(id.index())?;
        let at = value as usize;
        match kind {
            constant::NUMBER => {
                let bytes = self.text.get(at..)?.first_chunk::<8>()?;
                Some(Constant::Number(f64::from_le_bytes(*bytes)))
            }
            constant::NAME => NameId::new(at).map(Constant::Name),
            _ => self.text_at(kind, at).map(Constant::Text),
        }
    }

    /// What a string constant is, without a look at its text.
    #[inline]
    pub fn field(&self, id: FieldId) -> Option<Field> {
        let (kind, value) = self.split_entry(id.index())?;
        match kind {
            constant::NAME => NameId::new(value as usize).map(Field::Name),
            constant::NUMBER => None,
            _ => Some(Field::Text),
        }
    }

    /// Finds the string constant with this text, other than a name in flash.
    pub fn find_text(&self, text: Text<'_>) -> Option<ConstId> {
        self.find_by(|candidate| candidate.order(text))
    }

    /// Finds the string constant that a comparison by [`Text`] order calls equal.
    pub fn find_by(&self, compare: impl Fn(Text<'a>) -> Ordering) -> Option<ConstId> {
        let n = self.order.len() / self.entry_len();
        let (mut low, mut high) = (0, n);
        while low < high {
            let middle = low.midpoint(high);
            let id = ConstId::new(self.entry(self.order, middle)? as usize)?;
            let Some(Constant::Text(candidate)) = self.constant(id) else { return None };
            match compare(candidate) {
                Ordering::Less => low = middle + 1,
                Ordering::Greater => high = middle,
                Ordering::Equal => return Some(id),
            }
        }
        None
    }

    /// A global's kind and the constant that names it.
    pub fn global(&self, id: GlobalId) -> Option<(GlobalKind, FieldId)> {
        let entry = self.entry(self.globals, id.index())?;
        let kind = match entry & 7 {
            0 => GlobalKind::Undeclared,
            1 => GlobalKind::Var,
            2 => GlobalKind::Function,
            3 => GlobalKind::Let,
            4 => GlobalKind::Const,
            _ => return None,
        };
        Some((kind, FieldId::new((entry >> 3) as usize)?))
    }

    /// A function's record.
    #[inline]
    pub fn function(&self, id: FunctionId) -> Option<Function<'a>> {
        let at = id.index().checked_mul(FUNCTION_RECORD_LEN)?;
        let bytes = self.records.get(at..)?.first_chunk::<FUNCTION_RECORD_LEN>()?;
        Function::read(bytes, self.lists)
    }

    /// The function records, for [`FrameShape::read`].
    #[inline]
    pub fn records(&self) -> &'a [u8] {
        self.records
    }

    /// The first byte behind a function's code: functions follow one another.
    pub fn code_end(&self, id: FunctionId) -> Option<u32> {
        match FunctionId::new(id.index() + 1).and_then(|next| self.function(next)) {
            Some(next) => Some(next.code),
            None => Some((self.code.len() - CODE_PADDING) as u32),
        }
    }

    /// The function whose code holds this byte of the code section.
    pub fn function_at(&self, at: usize) -> Option<FunctionId> {
        (0..self.n_functions()).rev().find_map(|index| {
            let id = FunctionId::new(index)?;
            (self.function(id)?.code as usize <= at).then_some(id)
        })
    }

    fn entry_len(&self) -> usize {
        if self.wide { 4 } else { 2 }
    }

    #[inline]
    fn entry(&self, table: &[u8], index: usize) -> Option<u32> {
        if self.wide {
            u32_at(table, index.checked_mul(4)?)
        } else {
            u16_at(table, index.checked_mul(2)?).map(u32::from)
        }
    }

    #[inline]
    fn split_entry(&self, index: usize) -> Option<(u32, u32)> {
        let entry = self.entry(self.entries, index)?;
        let bits = if self.wide { 30 } else { 14 };
        Some((entry >> bits, entry & ((1 << bits) - 1)))
    }

    fn text_at(&self, kind: u32, at: usize) -> Option<Text<'a>> {
        let (length, start) = leb128::read_unsigned(self.text, at)?;
        let rest = self.text.get(start..)?;
        let length = length as usize;
        if kind == constant::LATIN1 {
            rest.get(..length).map(Text::Latin1)
        } else {
            rest.get(..length.checked_mul(2)?).map(Text::Utf16)
        }
    }
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..)?.first_chunk().map(|pair| u16::from_le_bytes(*pair))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..)?.first_chunk().map(|quad| u32::from_le_bytes(*quad))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_that_are_no_image_are_refused_with_an_offset() {
        assert_eq!(Image::open(&[]).unwrap_err().offset(), 0);
        let mut bytes = [0u8; HEADER_LEN];
        assert!(!Image::open(&bytes).unwrap_err().is_mismatch());
        bytes[..4].copy_from_slice(&header::MAGIC);
        bytes[header::AT_VERSION] = header::VERSION + 1;
        let error = Image::open(&bytes).unwrap_err();
        assert!(error.is_mismatch());
        assert_eq!(error.offset(), header::AT_VERSION);
    }
}
