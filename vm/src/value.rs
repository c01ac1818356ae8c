//! Values and references: the newtypes over a layout's bits.

use core::fmt;

use crate::layout::{Layout, Tag, special};
use scruple_bytecode::NameId;
use scruple_bytecode::operand::ConstId;

/// A reference to an object, in the heap, in flash or of the host.
///
/// Number 0 refers to nothing. Then come the objects in flash, then the host's
/// functions, then the cells of the heap. So a half can name any object, at the
/// cost of as many cells of reach.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ref(pub(crate) u32);

impl Ref {
    /// The reference to nothing.
    pub(crate) const NONE: Ref = Ref(0);
    /// The first host function.
    pub(crate) const FIRST_HOST: u32 = 960;
    /// The first cell.
    pub(crate) const FIRST_CELL: u32 = 1024;

    #[inline(always)]
    pub(crate) const fn is_none(self) -> bool {
        self.0 == 0
    }

    #[inline(always)]
    pub(crate) const fn is_cell(self) -> bool {
        self.0 >= Ref::FIRST_CELL
    }

    /// The number of the cell, if it is in the heap.
    #[inline(always)]
    pub(crate) const fn cell(self) -> Option<usize> {
        if self.is_cell() { Some((self.0 - Ref::FIRST_CELL) as usize) } else { None }
    }

    #[inline(always)]
    pub(crate) const fn from_cell(cell: usize) -> Ref {
        Ref(cell as u32 + Ref::FIRST_CELL)
    }

    /// The number in flash, if it is there.
    #[inline(always)]
    pub(crate) const fn flash(self) -> Option<usize> {
        if self.0 != 0 && self.0 < Ref::FIRST_HOST { Some(self.0 as usize - 1) } else { None }
    }

    pub(crate) const fn from_flash(number: usize) -> Ref {
        Ref(number as u32 + 1)
    }

    /// The number of the host function, if it is one.
    pub(crate) const fn host(self) -> Option<usize> {
        if self.0 >= Ref::FIRST_HOST && self.0 < Ref::FIRST_CELL {
            Some((self.0 - Ref::FIRST_HOST) as usize)
        } else {
            None
        }
    }

    pub(crate) const fn from_host(number: usize) -> Ref {
        Ref(number as u32 + Ref::FIRST_HOST)
    }
}

impl fmt::Debug for Ref {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.cell(), self.flash(), self.host()) {
            (Some(cell), _, _) => write!(f, "cell {cell}"),
            (_, Some(number), _) => write!(f, "flash {number}"),
            (_, _, Some(number)) => write!(f, "host {number}"),
            _ => f.write_str("nothing"),
        }
    }
}

/// A language value, one slot wide.
///
/// It is plain bits: a value that the program must not lose while the collector
/// may run lies on the machine's stack, in an object, or is retained by
/// [`Vm::retain`](crate::Vm::retain). It may be somewhere else after a script has run:
/// who called [`Vm::run`](crate::Vm::run) or [`Vm::call`](crate::Vm::call) reads it
/// again, from where it is kept. While a host function runs nothing moves.
pub struct Value<L: Layout>(pub(crate) L::Slot);

impl<L: Layout> Clone for Value<L> {
    #[inline(always)]
    fn clone(&self) -> Self {
        *self
    }
}

impl<L: Layout> Copy for Value<L> {}

/// Same bits: stricter than any equality of the language.
impl<L: Layout> PartialEq for Value<L> {
    #[inline(always)]
    fn eq(&self, other: &Self) -> bool {
        self.0 == other.0
    }
}

impl<L: Layout> Eq for Value<L> {}

impl<L: Layout> fmt::Debug for Value<L> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (L::as_int(self.0), L::as_inline_number(self.0)) {
            (Some(int), _) => write!(f, "{int}"),
            (_, Some(number)) => write!(f, "{number}"),
            _ => write!(f, "{:?} {}", L::tag_bits(self.0), L::payload(self.0)),
        }
    }
}

/// A constant of one of the loaded images, as a payload.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct ImageConst {
    pub(crate) image: usize,
    pub(crate) constant: ConstId,
}

const CONST_BITS: u32 = 21;

impl ImageConst {
    #[inline(always)]
    pub(crate) fn payload(self) -> u32 {
        (self.image as u32) << CONST_BITS | self.constant.index() as u32
    }

    #[inline(always)]
    pub(crate) fn from_payload(payload: u32) -> Self {
        ImageConst {
            image: (payload >> CONST_BITS) as usize,
            constant: ConstId::from_operand((payload & ((1 << CONST_BITS) - 1)) as i32),
        }
    }
}

/// The most constants an image may have to be loaded.
pub(crate) const MAX_CONSTANTS: usize = 1 << CONST_BITS;

impl<L: Layout> Value<L> {
    #[inline(always)]
    pub(crate) fn tagged(tag: Tag, payload: u32) -> Self {
        Value(L::pack(tag as u8, payload))
    }

    #[inline(always)]
    pub(crate) fn special(payload: u32) -> Self {
        Self::tagged(Tag::Special, payload)
    }

    /// The value undefined.
    #[inline(always)]
    pub fn undefined() -> Self {
        Self::special(special::UNDEFINED)
    }

    /// The value null.
    pub fn null() -> Self {
        Self::special(special::NULL)
    }

    /// A Boolean.
    #[inline(always)]
    pub fn boolean(value: bool) -> Self {
        Self::special(special::FALSE + u32::from(value))
    }

    #[inline(always)]
    pub(crate) fn hole() -> Self {
        Self::special(special::HOLE)
    }

    #[inline(always)]
    pub(crate) fn uninitialised() -> Self {
        Self::special(special::UNINITIALISED)
    }

    #[inline(always)]
    pub(crate) fn elsewhere() -> Self {
        Self::special(special::ELSEWHERE)
    }

    /// A small integer, if the layout holds it inline.
    #[inline(always)]
    pub fn int(value: i32) -> Option<Self> {
        L::int(value).map(Value)
    }

    /// An integer that every layout holds inline: at most 30 bits.
    #[inline(always)]
    pub(crate) fn small(value: i32) -> Self {
        debug_assert!(value >= L::INT_RANGE.0 && value <= L::INT_RANGE.1);
        Value(L::int_in_range(value))
    }

    /// The block that the value refers to, or the object in flash.
    #[inline]
    pub(crate) fn block(self) -> Option<Ref> {
        match self.tag_if_not_number() {
            Some(Tag::Object | Tag::HeapText | Tag::HeapNumber | Tag::Symbol) => {
                Some(Ref(self.payload()))
            }
            _ => None,
        }
    }

    #[inline(always)]
    pub(crate) fn object(object: Ref) -> Self {
        Self::tagged(Tag::Object, object.0)
    }

    #[inline(always)]
    pub(crate) fn name(name: NameId) -> Self {
        Self::tagged(Tag::NameText, name.index() as u32)
    }

    /// A well-known symbol.
    pub(crate) fn symbol(name: NameId) -> Self {
        debug_assert!(name.is_symbol());
        Self::tagged(Tag::Symbol, name.index() as u32)
    }

    #[inline(always)]
    pub(crate) fn unit(unit: u16) -> Self {
        Self::tagged(Tag::UnitText, u32::from(unit))
    }

    #[inline(always)]
    pub(crate) fn tag(self) -> Tag {
        Tag::from_bits_of::<L>(self)
    }

    #[inline(always)]
    pub(crate) fn payload(self) -> u32 {
        L::payload(self.0)
    }

    /// The small integer, if it is one.
    #[inline(always)]
    pub fn as_int(self) -> Option<i32> {
        L::as_int(self.0)
    }

    /// The object, if it is one.
    #[inline(always)]
    pub(crate) fn as_object(self) -> Option<Ref> {
        if self.has_tag(Tag::Object) { Some(Ref(self.payload())) } else { None }
    }

    /// Whether it has this tag: never true of an integer or an inline number.
    #[inline(always)]
    pub(crate) fn has_tag(self, tag: Tag) -> bool {
        L::tag_bits(self.0) == tag as u8
    }

    /// Whether it is undefined.
    pub fn is_undefined(self) -> bool {
        self == Self::undefined()
    }

    /// Whether it is null.
    pub fn is_null(self) -> bool {
        self == Self::null()
    }

    /// Whether it is undefined or null.
    #[inline(always)]
    pub fn is_nullish(self) -> bool {
        self.has_tag(Tag::Special) && self.payload() <= special::NULL
    }

    /// The Boolean, if it is one.
    #[inline(always)]
    pub fn as_boolean(self) -> Option<bool> {
        if !self.has_tag(Tag::Special) {
            return None;
        }
        match self.payload() {
            special::FALSE => Some(false),
            special::TRUE => Some(true),
            _ => None,
        }
    }

    /// Whether it is an object.
    #[inline(always)]
    pub fn is_object(self) -> bool {
        self.has_tag(Tag::Object)
    }

    /// Whether it is a string, wherever that lies.
    pub fn is_string(self) -> bool {
        matches!(
            self.tag_if_not_number(),
            Some(Tag::HeapText | Tag::ImageText | Tag::NameText | Tag::UnitText)
        )
    }

    /// Whether it is a number, however it is held.
    pub fn is_number(self) -> bool {
        matches!(self.tag_if_not_number(), None | Some(Tag::HeapNumber | Tag::ImageNumber))
    }

    /// Whether it is a symbol.
    pub fn is_symbol(self) -> bool {
        self.has_tag(Tag::Symbol)
    }

    #[inline(always)]
    pub(crate) fn tag_if_not_number(self) -> Option<Tag> {
        if L::as_int(self.0).is_some() || L::as_inline_number(self.0).is_some() {
            None
        } else {
            Some(self.tag())
        }
    }

    /// Whether it marks a variable that a plain load must not hand out.
    #[inline(always)]
    pub(crate) fn is_marker(self) -> bool {
        self.has_tag(Tag::Special) && self.payload() >= special::HOLE
    }
}

impl Tag {
    #[inline(always)]
    fn from_bits_of<L: Layout>(value: Value<L>) -> Tag {
        Tag::of_bits(L::tag_bits(value.0))
    }
}
