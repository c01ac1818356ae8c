//! Layouts: how values and references become bits in the region.
//!
//! A region is a slice of *slots*, one value wide. Two slots are a *cell*, the
//! heap's unit; a slot splits into two *halves*, each wide enough for a
//! reference. This module owns the bit patterns; it refuses to know what a block
//! of cells means.
//!
//! `narrow`: slot 32 bits, half 16 bits, cell 8 bytes. A value is
//!
//! ```text
//! iiiiiiii iiiiiiii iiiiiiii iiiiiii1   a 31-bit integer
//! pppppppp pppppppp pppppppp ttttttt0   tag t, 24 bits of payload
//! ```
//!
//! A number that is no small integer lies in a cell of its own, without a
//! header. A header's upper half is a pattern that no canonical double begins
//! with, so the collector can tell the two apart.
//!
//! `wide`: slot 64 bits, half 32 bits, cell 16 bytes. A value is a double, or in
//! the space of the negative quiet NaNs, which no canonical double uses,
//!
//! ```text
//! 11111111 11111000 00000000 tttttttt   tag t (1 for an integer),
//! pppppppp pppppppp pppppppp pppppppp   32 bits of payload
//! ```

use core::fmt::Debug;

use crate::Host;
use crate::error::Raise;
use crate::host::Observer;
use crate::interp::Loop;
use crate::vm::Vm;
use scruple_bytecode::encoding::Shipped;

/// What the payload of a value means. Even numbers: the low bit marks integers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub(crate) enum Tag {
    /// One of the [`special`] payloads.
    Special = 0,
    /// An object: the payload is a reference.
    Object = 2,
    /// A string in the heap: the payload is a reference.
    HeapText = 4,
    /// A number in the heap: the payload is a reference.
    HeapNumber = 6,
    /// A string constant of an image.
    ImageText = 8,
    /// A name in flash.
    NameText = 10,
    /// A string of one code unit, which is the payload.
    UnitText = 12,
    /// A number constant of an image.
    ImageNumber = 14,
    /// A symbol: the payload is its name's number if it is well-known, or else a
    /// reference.
    Symbol = 16,
}

impl Tag {
    #[inline(always)]
    pub(crate) fn of_bits(bits: u8) -> Tag {
        match bits {
            2 => Tag::Object,
            4 => Tag::HeapText,
            6 => Tag::HeapNumber,
            8 => Tag::ImageText,
            10 => Tag::NameText,
            12 => Tag::UnitText,
            14 => Tag::ImageNumber,
            16 => Tag::Symbol,
            _ => Tag::Special,
        }
    }
}

/// Payloads of [`Tag::Special`].
pub(crate) mod special {
    pub(crate) const UNDEFINED: u32 = 0;
    pub(crate) const NULL: u32 = 1;
    pub(crate) const FALSE: u32 = 2;
    pub(crate) const TRUE: u32 = 3;
    /// An array element that is not there.
    pub(crate) const HOLE: u32 = 4;
    /// A variable in its temporal dead zone.
    pub(crate) const UNINITIALISED: u32 = 5;
    /// A global whose binding lies elsewhere and is found by name.
    pub(crate) const ELSEWHERE: u32 = 6;
    /// A property of an object in flash that a script deleted.
    pub(crate) const DELETED: u32 = 7;
}

/// The loop with handlers of a set's own: see [`Layout::own_loop`].
pub(crate) type OwnLoop<L, H> =
    fn(&mut Vm<'_, L, H>, &mut <<H as Host>::Observer as Observer>::Tally) -> Raise;

/// How values and references become bits.
pub trait Layout: Copy + Debug + 'static {
    /// One value wide.
    type Slot: Copy + Eq + Debug + Default + 'static;

    /// The name a command line and a report use.
    const NAME: &'static str;
    /// Bytes of a slot.
    const SLOT_BYTES: usize;
    /// Bits of a half.
    const HALF_BITS: u32;
    /// The smallest and largest integers held inline.
    const INT_RANGE: (i32, i32);

    /// The loop with handlers of their own for the entries of the shipped set, if a machine
    /// has them. They change no count; what they cost is the time of a build.
    #[doc(hidden)]
    fn own_loop<H: Host>() -> Option<OwnLoop<Self, H>>;

    #[doc(hidden)]
    fn int(value: i32) -> Option<Self::Slot>;
    /// An integer that is known to be in range.
    #[doc(hidden)]
    fn int_in_range(value: i32) -> Self::Slot;
    #[doc(hidden)]
    fn as_int(slot: Self::Slot) -> Option<i32>;
    #[doc(hidden)]
    fn add_ints(a: Self::Slot, b: Self::Slot) -> Option<Self::Slot>;
    #[doc(hidden)]
    fn subtract_ints(a: Self::Slot, b: Self::Slot) -> Option<Self::Slot>;
    #[doc(hidden)]
    fn both_ints(a: Self::Slot, b: Self::Slot) -> Option<(i32, i32)>;
    /// Two integers that are in the same order as two small integers, or equal as they.
    #[doc(hidden)]
    fn int_order(a: Self::Slot, b: Self::Slot) -> Option<(i32, i32)> {
        Self::both_ints(a, b)
    }
    #[doc(hidden)]
    fn inline_number(value: f64) -> Option<Self::Slot>;
    #[doc(hidden)]
    fn as_inline_number(slot: Self::Slot) -> Option<f64>;
    #[doc(hidden)]
    fn pack(tag: u8, payload: u32) -> Self::Slot;
    #[doc(hidden)]
    fn tag_bits(slot: Self::Slot) -> u8;
    #[doc(hidden)]
    fn payload(slot: Self::Slot) -> u32;
    #[doc(hidden)]
    fn from_halves(high: u32, low: u32) -> Self::Slot;
    #[doc(hidden)]
    fn high(slot: Self::Slot) -> u32;
    #[doc(hidden)]
    fn low(slot: Self::Slot) -> u32;
    #[doc(hidden)]
    fn from_bits(bits: u64) -> Self::Slot;
    #[doc(hidden)]
    fn bits(slot: Self::Slot) -> u64;
    #[doc(hidden)]
    fn header(kind: u8, low: u32) -> Self::Slot;
    #[doc(hidden)]
    fn header_kind(slot: Self::Slot) -> Option<u8>;
}

/// Bytes of a cell.
pub const fn cell_bytes<L: Layout>() -> usize {
    2 * L::SLOT_BYTES
}

/// 16-bit references, 4-byte values, 8-byte cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Narrow;

// A double whose upper 16 bits are one of these is a NaN other than the
// canonical one, so it never lies in a number cell.
const NARROW_HEADERS_LOW: u32 = 0xfff0;
const NARROW_HEADERS_HIGH: u32 = 0x7ff8;
const NARROW_HEADERS_LAST: u32 = 0x7ff0;

impl Layout for Narrow {
    type Slot = u32;

    const NAME: &'static str = "narrow";
    const SLOT_BYTES: usize = 4;
    const HALF_BITS: u32 = 16;
    const INT_RANGE: (i32, i32) = (-(1 << 30), (1 << 30) - 1);

    fn own_loop<H: Host>() -> Option<OwnLoop<Self, H>> {
        Some(Shipped::run_image)
    }

    #[inline(always)]
    fn int(value: i32) -> Option<u32> {
        value.checked_mul(2).map(|doubled| doubled as u32 | 1)
    }

    #[inline(always)]
    fn int_in_range(value: i32) -> u32 {
        debug_assert!(Self::int(value).is_some());
        (value as u32) << 1 | 1
    }

    #[inline(always)]
    fn as_int(slot: u32) -> Option<i32> {
        if slot & 1 == 1 { Some(slot as i32 >> 1) } else { None }
    }

    #[inline(always)]
    fn add_ints(a: u32, b: u32) -> Option<u32> {
        if a & b & 1 == 0 {
            return None;
        }
        (a as i32 - 1).checked_add(b as i32).map(|sum| sum as u32)
    }

    #[inline(always)]
    fn subtract_ints(a: u32, b: u32) -> Option<u32> {
        if a & b & 1 == 0 {
            return None;
        }
        (a as i32).checked_sub(b as i32 - 1).map(|difference| difference as u32)
    }

    #[inline(always)]
    fn both_ints(a: u32, b: u32) -> Option<(i32, i32)> {
        if a & b & 1 == 1 { Some((a as i32 >> 1, b as i32 >> 1)) } else { None }
    }

    #[inline(always)]
    fn int_order(a: u32, b: u32) -> Option<(i32, i32)> {
        if a & b & 1 == 1 { Some((a as i32, b as i32)) } else { None }
    }

    fn inline_number(_: f64) -> Option<u32> {
        None
    }

    fn as_inline_number(_: u32) -> Option<f64> {
        None
    }

    #[inline(always)]
    fn pack(tag: u8, payload: u32) -> u32 {
        debug_assert!(payload < 1 << 24 && tag & 1 == 0);
        payload << 8 | tag as u32
    }

    #[inline(always)]
    fn tag_bits(slot: u32) -> u8 {
        slot as u8
    }

    #[inline(always)]
    fn payload(slot: u32) -> u32 {
        slot >> 8
    }

    #[inline(always)]
    fn from_halves(high: u32, low: u32) -> u32 {
        debug_assert!(high <= 0xffff && low <= 0xffff);
        high << 16 | low
    }

    #[inline(always)]
    fn high(slot: u32) -> u32 {
        slot >> 16
    }

    #[inline(always)]
    fn low(slot: u32) -> u32 {
        slot & 0xffff
    }

    #[inline(always)]
    fn from_bits(bits: u64) -> u32 {
        bits as u32
    }

    #[inline(always)]
    fn bits(slot: u32) -> u64 {
        u64::from(slot)
    }

    #[inline(always)]
    fn header(kind: u8, low: u32) -> u32 {
        let high = match kind {
            0..16 => NARROW_HEADERS_LOW + u32::from(kind),
            16..23 => NARROW_HEADERS_HIGH + u32::from(kind) - 15,
            _ => NARROW_HEADERS_LAST + u32::from(kind) - 22,
        };
        Self::from_halves(high, low)
    }

    #[inline(always)]
    fn header_kind(slot: u32) -> Option<u8> {
        let high = slot >> 16;
        if high > NARROW_HEADERS_LOW {
            Some((high - NARROW_HEADERS_LOW) as u8)
        } else if high > NARROW_HEADERS_HIGH && high < 0x8000 {
            Some((high - NARROW_HEADERS_HIGH + 15) as u8)
        } else if high > NARROW_HEADERS_LAST && high < NARROW_HEADERS_HIGH {
            Some((high - NARROW_HEADERS_LAST + 22) as u8)
        } else {
            None
        }
    }
}

/// 32-bit references, 8-byte values with doubles inline, 16-byte cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wide;

const WIDE_TAGGED: u64 = 0xfff8 << 48;
const WIDE_INT: u64 = WIDE_TAGGED | 1 << 32;
const WIDE_HEADER: u32 = 0xfff0_0000;
/// What the tag of an inline double reads as: no tag, and odd like an integer's.
const NO_TAG: u8 = 0xff;

impl Layout for Wide {
    type Slot = u64;

    const NAME: &'static str = "wide";
    const SLOT_BYTES: usize = 8;
    const HALF_BITS: u32 = 32;
    const INT_RANGE: (i32, i32) = (i32::MIN, i32::MAX);

    fn own_loop<H: Host>() -> Option<OwnLoop<Self, H>> {
        None
    }

    #[inline(always)]
    fn int(value: i32) -> Option<u64> {
        Some(WIDE_INT | u64::from(value as u32))
    }

    #[inline(always)]
    fn int_in_range(value: i32) -> u64 {
        WIDE_INT | u64::from(value as u32)
    }

    #[inline(always)]
    fn as_int(slot: u64) -> Option<i32> {
        if slot >> 32 == WIDE_INT >> 32 { Some(slot as i32) } else { None }
    }

    #[inline(always)]
    fn add_ints(a: u64, b: u64) -> Option<u64> {
        let (a, b) = Self::both_ints(a, b)?;
        Self::int(a.checked_add(b)?)
    }

    #[inline(always)]
    fn subtract_ints(a: u64, b: u64) -> Option<u64> {
        let (a, b) = Self::both_ints(a, b)?;
        Self::int(a.checked_sub(b)?)
    }

    #[inline(always)]
    fn both_ints(a: u64, b: u64) -> Option<(i32, i32)> {
        if a >> 32 == WIDE_INT >> 32 && b >> 32 == WIDE_INT >> 32 {
            Some((a as i32, b as i32))
        } else {
            None
        }
    }

    #[inline(always)]
    fn inline_number(value: f64) -> Option<u64> {
        debug_assert!(value.to_bits() < WIDE_TAGGED, "a NaN that is not canonical");
        Some(value.to_bits())
    }

    #[inline(always)]
    fn as_inline_number(slot: u64) -> Option<f64> {
        if slot < WIDE_TAGGED { Some(f64::from_bits(slot)) } else { None }
    }

    #[inline(always)]
    fn pack(tag: u8, payload: u32) -> u64 {
        WIDE_TAGGED | u64::from(tag) << 32 | u64::from(payload)
    }

    #[inline(always)]
    fn tag_bits(slot: u64) -> u8 {
        if slot < WIDE_TAGGED { NO_TAG } else { (slot >> 32) as u8 }
    }

    #[inline(always)]
    fn payload(slot: u64) -> u32 {
        slot as u32
    }

    #[inline(always)]
    fn from_halves(high: u32, low: u32) -> u64 {
        u64::from(high) << 32 | u64::from(low)
    }

    #[inline(always)]
    fn high(slot: u64) -> u32 {
        (slot >> 32) as u32
    }

    #[inline(always)]
    fn low(slot: u64) -> u32 {
        slot as u32
    }

    #[inline(always)]
    fn from_bits(bits: u64) -> u64 {
        bits
    }

    #[inline(always)]
    fn bits(slot: u64) -> u64 {
        slot
    }

    #[inline(always)]
    fn header(kind: u8, low: u32) -> u64 {
        Self::from_halves(WIDE_HEADER | u32::from(kind), low)
    }

    #[inline(always)]
    fn header_kind(slot: u64) -> Option<u8> {
        let high = Self::high(slot);
        if high & !0xff == WIDE_HEADER { Some(high as u8) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_is_never_the_start_of_a_canonical_double() {
        for kind in 1..=29 {
            let header = Narrow::header(kind, 0x1234);
            assert_eq!(Narrow::header_kind(header), Some(kind));
            let double = f64::from_bits(u64::from(header) << 32);
            assert!(double.is_nan());
            assert_ne!(header >> 16, (f64::NAN.to_bits() >> 48) as u32);
        }
        for number in [0.0, -0.0, 1.5, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MIN] {
            assert_eq!(Narrow::header_kind((number.to_bits() >> 32) as u32), None);
        }
    }

    #[test]
    fn wide_values_are_doubles_or_tagged() {
        for number in [0.0, -0.0, 1.5, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MIN] {
            let slot = Wide::inline_number(number).unwrap();
            assert_eq!(Wide::as_inline_number(slot).unwrap().to_bits(), number.to_bits());
            assert_eq!(Wide::tag_bits(slot), NO_TAG);
            assert_eq!(Wide::as_int(slot), None);
        }
        let slot = Wide::pack(Tag::HeapText as u8, 0xdead_beef);
        assert_eq!(Wide::as_inline_number(slot), None);
        assert_eq!((Wide::tag_bits(slot), Wide::payload(slot)), (4, 0xdead_beef));
        let int = Wide::int(-5).unwrap();
        assert_eq!((Wide::as_int(int), Wide::as_inline_number(int)), (Some(-5), None));
        assert_eq!(Wide::add_ints(Wide::int(i32::MAX).unwrap(), Wide::int(1).unwrap()), None);
    }

    #[test]
    fn small_integers_keep_their_value_and_overflow_is_seen() {
        let (low, high) = Narrow::INT_RANGE;
        for value in [low, -1, 0, 1, high] {
            assert_eq!(Narrow::int(value).and_then(Narrow::as_int), Some(value));
        }
        assert_eq!(Narrow::int(high + 1), None);
        assert_eq!(Narrow::int(low - 1), None);
        let (one, top) = (Narrow::int(1).unwrap(), Narrow::int(high).unwrap());
        assert_eq!(Narrow::add_ints(top, one), None);
        assert_eq!(Narrow::subtract_ints(one, top).and_then(Narrow::as_int), Some(1 - high));
    }
}
