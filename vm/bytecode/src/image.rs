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
//! A *narrow* image has entries of 16 bits, a *wide* one of 32 (constant
//! entries, string order and globals); the compiler takes the first that fits.

use core::cmp::Ordering;
use core::fmt;

use crate::encoding::{CODE_PADDING, Encoding};
use crate::leb128;
use crate::names::{self, NameId};
use crate::operand::{ConstId, FieldId, FreeId, FunctionId, GlobalId};

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
    /// Offset of the hash of the instruction set; 0 stands for the one built in.
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
/// Bytes of a function record.
pub const FUNCTION_RECORD_LEN: usize = 14;

/// Where the fields of a function record lie.
pub mod record {
    /// Offset of the first code byte, 24 bits.
    pub const AT_CODE: usize = 0;
    /// Offset of the number of parameters that have slots, 8 bits.
    pub const AT_PARAMS: usize = 3;
    /// Offset of the number of slots, 16 bits.
    pub const AT_SLOTS: usize = 4;
    /// Offset of the deepest operand stack, 16 bits.
    pub const AT_DEPTH: usize = 6;
    /// Offset of the function's place in the lists, 24 bits.
    pub const AT_LISTS: usize = 8;
    /// Offset of the flags, 8 bits.
    pub const AT_FLAGS: usize = 11;
    /// Offset of the number of free variables, 16 bits.
    pub const AT_FREE: usize = 12;
    /// Flag: an arrow function, which has no this value and no prototype.
    pub const FLAG_ARROW: u8 = 1;
    /// Flag: a method, getter or setter, which is no constructor.
    pub const FLAG_METHOD: u8 = 2;
    /// Flag: the function makes an arguments object, so the call keeps arguments
    /// past the parameters.
    pub const FLAG_ARGUMENTS: u8 = 4;
}

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

/// Bit of a free-variable entry that marks a global.
pub const FREE_GLOBAL: u16 = 0x8000;
/// Bit of a capture source that marks a free variable of the parent; without it
/// the source is a slot of the parent.
pub const CAPTURE_FREE: u16 = 0x8000;

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

/// The text of a string constant.
#[derive(Clone, Copy, Debug)]
pub enum Text<'a> {
    /// One byte a code unit.
    Latin1(&'a [u8]),
    /// Two little-endian bytes a code unit.
    Utf16(&'a [u8]),
}

impl<'a> Text<'a> {
    /// Length in code units.
    #[allow(clippy::len_without_is_empty, reason = "a length in code units, not a container")]
    pub fn len(self) -> usize {
        match self {
            Text::Latin1(bytes) => bytes.len(),
            Text::Utf16(bytes) => bytes.len() / 2,
        }
    }

    /// The code unit at an index below the length.
    pub fn unit(self, index: usize) -> u16 {
        match self {
            Text::Latin1(bytes) => u16::from(bytes[index]),
            Text::Utf16(bytes) => u16::from_le_bytes([bytes[2 * index], bytes[2 * index + 1]]),
        }
    }

    /// The code units.
    pub fn units(self) -> impl Iterator<Item = u16> + use<'a> {
        (0..self.len()).map(move |index| self.unit(index))
    }

    /// The order of the string-order section: by code units.
    pub fn order(self, other: Text<'_>) -> Ordering {
        if let (Text::Latin1(a), Text::Latin1(b)) = (self, other) {
            return a.cmp(b);
        }
        self.units().cmp(other.units())
    }
}

impl fmt::Display for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for unit in char::decode_utf16(self.units()) {
            fmt::Write::write_char(f, unit.unwrap_or(char::REPLACEMENT_CHARACTER))?;
        }
        Ok(())
    }
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

/// The function record, and the lists it leads to.
///
/// Lists of a function, in order: its free variables (16 bits each: a global's
/// number with [`FREE_GLOBAL`] set, or the index of the capture), the sources of
/// its captures (16 bits each: a slot of the parent, or with [`CAPTURE_FREE`]
/// set a free variable of the parent), then in LEB128: the constant that names
/// it plus one, or 0; its `length`; the number of its handlers; and for each
/// handler the start and the length of the guarded code and its target, all
/// counted from the function's first byte. Inner handlers come first.
#[derive(Clone, Copy, Debug)]
pub struct Function<'a> {
    /// First byte of its code, in the code section.
    pub code: u32,
    /// Parameters that have slots.
    pub n_params: u8,
    /// Slots, parameters included.
    pub n_slots: u16,
    /// Deepest operand stack.
    pub depth: u16,
    /// Flags of the [`record`] module.
    pub flags: u8,
    /// Number of free variables.
    pub n_free: u16,
    lists: &'a [u8],
}

/// What a call needs of a function record, and no more.
#[derive(Clone, Copy, Debug)]
pub struct FrameShape {
    /// First byte of its code, in the code section.
    pub code: u32,
    /// Parameters that have slots.
    pub n_params: u8,
    /// Slots, parameters included.
    pub n_slots: u16,
    /// Deepest operand stack.
    pub depth: u16,
    /// Flags of the [`record`] module.
    pub flags: u8,
}

impl FrameShape {
    /// Reads a function record.
    #[inline(always)]
    pub fn read(record: &[u8; FUNCTION_RECORD_LEN]) -> FrameShape {
        let [c0, c1, c2, n_params, s0, s1, d0, d1, _, _, _, flags, ..] = *record;
        const { assert!(record::AT_PARAMS == 3 && record::AT_SLOTS == 4) };
        const { assert!(record::AT_DEPTH == 6 && record::AT_FLAGS == 11) };
        FrameShape {
            code: u32::from_le_bytes([c0, c1, c2, 0]),
            n_params,
            n_slots: u16::from_le_bytes([s0, s1]),
            depth: u16::from_le_bytes([d0, d1]),
            flags,
        }
    }
}

/// A guarded range of code and where an exception in it goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Guard {
    /// First guarded byte, counted from the function's first byte.
    pub start: u32,
    /// First byte behind the range.
    pub end: u32,
    /// Where control goes, the exception on the stack.
    pub target: u32,
}

/// What is variable in a function and needed seldom.
#[derive(Clone, Copy, Debug)]
pub struct Details<'a> {
    /// The constant that names it.
    pub name: Option<FieldId>,
    /// Its `length`.
    pub length: u32,
    /// Number of guards.
    pub n_guards: u32,
    guards: &'a [u8],
}

impl<'a> Function<'a> {
    /// Whether a flag of the [`record`] module is set.
    #[inline]
    pub fn has(&self, flag: u8) -> bool {
        self.flags & flag != 0
    }

    /// The entry of a free variable.
    #[inline]
    pub fn free(&self, id: FreeId) -> Option<u16> {
        u16_at(self.lists, 2 * id.index())
    }

    /// How many of the free variables are captures.
    pub fn n_captures(&self) -> usize {
        (0..self.n_free as usize)
            .filter(|i| u16_at(self.lists, 2 * i).is_some_and(|entry| entry & FREE_GLOBAL == 0))
            .count()
    }

    /// Where the closure's maker finds a capture.
    pub fn capture_source(&self, capture: usize) -> Option<u16> {
        u16_at(self.lists, 2 * (self.n_free as usize + capture))
    }

    /// Reads the name, length and guards: nothing where they do not lie whole.
    pub fn details(&self) -> Option<Details<'a>> {
        let at = 2 * (self.n_free as usize + self.n_captures());
        let (name, at) = leb128::read_unsigned(self.lists, at)?;
        let (length, at) = leb128::read_unsigned(self.lists, at)?;
        let (n_guards, at) = leb128::read_unsigned(self.lists, at)?;
        let name = match name {
            0 => None,
            n => Some(FieldId::new(n as usize - 1)?),
        };
        Some(Details { name, length, n_guards, guards: &self.lists[at..] })
    }
}

impl<'a> Details<'a> {
    /// The guards, inner ones first; ends early where the list is cut short.
    pub fn guards(&self) -> impl Iterator<Item = Guard> + use<'a> {
        let bytes = self.guards;
        let mut at = 0;
        (0..self.n_guards).map_while(move |_| {
            let (start, next) = leb128::read_unsigned(bytes, at)?;
            let (length, next) = leb128::read_unsigned(bytes, next)?;
            let (target, next) = leb128::read_unsigned(bytes, next)?;
            at = next;
            Some(Guard { start, end: start.checked_add(length)?, target })
        })
    }
}

/// A place in the source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Position {
    /// Line, from 1.
    pub line: u32,
    /// Column in code points, from 1.
    pub column: u32,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.column)
    }
}

/// Why bytes are no image that this build can use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ImageError {
    kind: ImageErrorKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ImageErrorKind {
    TooShort,
    Magic,
    Version(u8),
    Encoding(u8),
    InstructionSet(u32),
    Names(u32),
    Checksum,
    Sections,
}

impl ImageError {
    /// Whether a compiler and an interpreter of different builds met: the bytes
    /// are whole, and compiling the script again mends it.
    pub fn is_mismatch(&self) -> bool {
        matches!(
            self.kind,
            ImageErrorKind::Version(_)
                | ImageErrorKind::Encoding(_)
                | ImageErrorKind::InstructionSet(_)
                | ImageErrorKind::Names(_)
        )
    }

    /// The offset of the byte that is wrong.
    pub fn offset(&self) -> usize {
        match self.kind {
            ImageErrorKind::TooShort | ImageErrorKind::Magic => 0,
            ImageErrorKind::Version(_) => header::AT_VERSION,
            ImageErrorKind::Encoding(_) => header::AT_ENCODING,
            ImageErrorKind::InstructionSet(_) => header::AT_SET_HASH,
            ImageErrorKind::Names(_) => header::AT_NAMES_HASH,
            ImageErrorKind::Checksum => header::AT_CHECKSUM,
            ImageErrorKind::Sections => header::AT_CONSTANTS,
        }
    }
}

impl From<ImageErrorKind> for ImageError {
    fn from(kind: ImageErrorKind) -> Self {
        ImageError { kind }
    }
}

impl fmt::Display for ImageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "image offset {}: ", self.offset())?;
        match self.kind {
            ImageErrorKind::TooShort => write!(f, "shorter than a header of {HEADER_LEN} bytes"),
            ImageErrorKind::Magic => write!(f, "not an image: the first four bytes are not SCRP"),
            ImageErrorKind::Version(v) => {
                write!(f, "format version {v}, this build reads {}", header::VERSION)
            }
            ImageErrorKind::Encoding(n) => write!(f, "encoding number {n} is unknown"),
            ImageErrorKind::InstructionSet(h) => {
                write!(f, "instruction set {h:08x} is not in this build")
            }
            ImageErrorKind::Names(h) => write!(
                f,
                "name list {h:08x}, this build has {:08x}: compile the script again",
                names::HASH
            ),
            ImageErrorKind::Checksum => write!(f, "checksum differs: the image is damaged"),
            ImageErrorKind::Sections => write!(f, "section lengths do not add up to the image"),
        }
    }
}

impl core::error::Error for ImageError {}

/// A compiled script, read where it lies.
#[derive(Clone, Copy, Debug)]
pub struct Image<'a> {
    bytes: &'a [u8],
    encoding: Encoding,
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
    /// sections' contents are not looked at.
    pub fn open(bytes: &'a [u8]) -> Result<Image<'a>, ImageError> {
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
        let encoding = Encoding::from_number(number).ok_or(Kind::Encoding(number))?;
        let field = |at| u32_at(bytes, at).unwrap_or(0);
        if field(header::AT_SET_HASH) != 0 {
            return Err(Kind::InstructionSet(field(header::AT_SET_HASH)).into());
        }
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

    /// The bytes by section, in the order they are stored.
    pub fn sizes(&self) -> Sizes {
        Sizes {
            header: HEADER_LEN,
            constants: self.entries.len() + self.order.len() + self.text.len(),
            functions: self.globals.len() + self.records.len() + self.lists.len(),
            instructions: self.code.len() - CODE_PADDING,
            padding: CODE_PADDING,
            lines: self.lines.len(),
        }
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
        let u24 = |at: usize| u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], 0]);
        let u16 = |at: usize| u16::from_le_bytes([bytes[at], bytes[at + 1]]);
        let frame = FrameShape::read(bytes);
        Some(Function {
            code: frame.code,
            n_params: frame.n_params,
            n_slots: frame.n_slots,
            depth: frame.depth,
            flags: frame.flags,
            n_free: u16(record::AT_FREE),
            lists: self.lists.get(u24(record::AT_LISTS) as usize..)?,
        })
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

    /// The source position of the instruction at this byte of the code section,
    /// if the line table has not been stripped. A function's first instructions
    /// may come before its first entry: they count as being where that is.
    pub fn position(&self, at: usize) -> Option<Position> {
        let id = self.function_at(at)?;
        let (begin, end) = (self.function(id)?.code, self.code_end(id)?);
        let mut found = None;
        for (start, position) in self.positions() {
            let is_behind = start as usize > at;
            if start >= end || (is_behind && found.is_some()) {
                break;
            }
            if start >= begin {
                found = Some(position);
            }
            if is_behind && found.is_some() {
                break;
            }
        }
        found
    }

    /// The line table: where in the code section each position begins.
    pub fn positions(&self) -> impl Iterator<Item = (u32, Position)> + use<'a> {
        let lines = self.lines;
        let (mut at, mut code, mut line) = (0, 0u32, 1i32);
        core::iter::from_fn(move || {
            let (step, next) = leb128::read_unsigned(lines, at)?;
            let (line_step, next) = leb128::read_unsigned(lines, next)?;
            let (column, next) = leb128::read_unsigned(lines, next)?;
            at = next;
            code = code.checked_add(step)?;
            line = line.checked_add(leb128::unzigzag(line_step))?;
            Some((code, Position { line: u32::try_from(line).ok()?, column }))
        })
    }

    fn entry_len(&self) -> usize {
        if self.wide { 4 } else { 2 }
    }

    fn entry(&self, table: &[u8], index: usize) -> Option<u32> {
        if self.wide {
            u32_at(table, index.checked_mul(4)?)
        } else {
            u16_at(table, index.checked_mul(2)?).map(u32::from)
        }
    }

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

/// Bytes of an image by section. They add up to the image.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sizes {
    /// The header.
    pub header: usize,
    /// Constant entries, string order and constant text.
    pub constants: usize,
    /// Globals, function records and lists.
    pub functions: usize,
    /// Instructions.
    pub instructions: usize,
    /// The zero bytes behind the instructions.
    pub padding: usize,
    /// The line table.
    pub lines: usize,
}

impl Sizes {
    /// The sum.
    pub fn total(&self) -> usize {
        self.header
            + self.constants
            + self.functions
            + self.instructions
            + self.padding
            + self.lines
    }
}

/// CRC-32 (the polynomial of IEEE 802.3, reflected). Bit by bit: an image is
/// checked once, and a table would cost a kibibyte of flash.
pub fn checksum(bytes: &[u8]) -> u32 {
    let mut crc = !0u32;
    for &byte in bytes {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = (crc >> 1) ^ (0xedb8_8320 & (crc & 1).wrapping_neg());
        }
    }
    !crc
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

    // Source: the usual check value of CRC-32.
    #[test]
    fn the_checksum_of_the_nine_digits_is_the_usual_check_value() {
        assert_eq!(checksum(b"123456789"), 0xcbf4_3926);
    }

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
