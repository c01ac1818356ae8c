//! Functions of an image: the record of fixed size, and the lists it leads to.

use super::u16_at;
use crate::leb128;
use crate::operand::{FieldId, FreeId};

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
    /// Flag: the constructor of a class, which is called by `new` only.
    pub const FLAG_CLASS: u8 = 8;
    /// Flag: the constructor of a class that extends another; it makes no object.
    pub const FLAG_DERIVED: u8 = 16;
    /// Flag: the closure has one more reference, behind its captures: of a method
    /// the object it is defined in, of a class's constructor the function that
    /// defines the fields.
    pub const FLAG_LINKED: u8 = 32;
    /// Flag: the function asks for `new.target`, and makes its this value itself.
    pub const FLAG_TARGET: u8 = 64;
}

/// Bit of a free-variable entry that marks a global.
pub const FREE_GLOBAL: u16 = 0x8000;
/// Bit of a capture source that marks a free variable of the parent; without it
/// the source is a slot of the parent.
pub const CAPTURE_FREE: u16 = 0x8000;

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
    /// Reads a record; its lists lie in that section.
    #[inline]
    pub(super) fn read(bytes: &[u8; FUNCTION_RECORD_LEN], lists: &'a [u8]) -> Option<Function<'a>> {
        let frame = FrameShape::read(bytes);
        let [l0, l1, l2] = [0, 1, 2].map(|byte| bytes[record::AT_LISTS + byte]);
        Some(Function {
            code: frame.code,
            n_params: frame.n_params,
            n_slots: frame.n_slots,
            depth: frame.depth,
            flags: frame.flags,
            n_free: u16::from_le_bytes([bytes[record::AT_FREE], bytes[record::AT_FREE + 1]]),
            lists: lists.get(u32::from_le_bytes([l0, l1, l2, 0]) as usize..)?,
        })
    }

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
