//! Bytes in the heap, and the numbers that are read from them (ECMA-262, "Structured
//! Data": ArrayBuffer objects and raw bytes).
//!
//! A buffer is an object that refers to its block of bytes, so that a resizable one
//! can take another block, and takes no more than it holds; one without bytes has no
//! block. Views ask the buffer at every access. It refuses to know views: they are in
//! `views.rs`.

use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// Slots of a buffer: its block (null once it is detached), its length in bytes, and
/// of a resizable one the most that it may have.
const BLOCK: usize = 2;
const LENGTH: usize = 3;
const MOST: usize = 4;

/// No buffer is longer: a length is a small integer in every layout.
pub(crate) const LONGEST: f64 = ((1 << 30) - 1) as f64;

/// What an element of a typed array is (ECMA-262, "The TypedArray Constructors").
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub(crate) enum Element {
    Int8 = 0,
    Uint8 = 1,
    Uint8Clamped = 2,
    Int16 = 3,
    Uint16 = 4,
    Int32 = 5,
    Uint32 = 6,
    Float16 = 7,
    Float32 = 8,
    Float64 = 9,
}

impl Element {
    pub(crate) const ALL: [Element; 10] = [
        Element::Int8,
        Element::Uint8,
        Element::Uint8Clamped,
        Element::Int16,
        Element::Uint16,
        Element::Int32,
        Element::Uint32,
        Element::Float16,
        Element::Float32,
        Element::Float64,
    ];

    /// Bytes of an element.
    pub(crate) const fn size(self) -> usize {
        match self {
            Element::Int8 | Element::Uint8 | Element::Uint8Clamped => 1,
            Element::Int16 | Element::Uint16 | Element::Float16 => 2,
            Element::Int32 | Element::Uint32 | Element::Float32 => 4,
            Element::Float64 => 8,
        }
    }

    /// ECMA-262, RawBytesToNumeric, the bytes as a number with the first one lowest.
    pub(crate) fn decode(self, bits: u64) -> f64 {
        match self {
            Element::Int8 => f64::from(bits as i8),
            Element::Uint8 | Element::Uint8Clamped => f64::from(bits as u8),
            Element::Int16 => f64::from(bits as i16),
            Element::Uint16 => f64::from(bits as u16),
            Element::Int32 => f64::from(bits as i32),
            Element::Uint32 => f64::from(bits as u32),
            Element::Float16 => half_number(bits as u16),
            Element::Float32 => f64::from(f32::from_bits(bits as u32)),
            Element::Float64 => f64::from_bits(bits),
        }
    }

    /// ECMA-262, NumericToRawBytes: the inverse.
    pub(crate) fn encode(self, number: f64) -> u64 {
        match self {
            // Ties to even, as ToUint8Clamp has it; NaN becomes 0.
            Element::Uint8Clamped => libm::rint(number.clamp(0.0, 255.0)) as u64,
            Element::Float16 => u64::from(half_bits(number)),
            Element::Float32 => u64::from((number as f32).to_bits()),
            Element::Float64 => number.to_bits(),
            _ => u64::from(crate::convert::wrap_to_i32(number) as u32),
        }
    }
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Makes a buffer of zeros, resizable up to a length if there is one (ECMA-262,
    /// AllocateArrayBuffer). A length that no heap of this size can have is a
    /// RangeError. The prototype is rooted by the caller.
    pub(crate) fn new_buffer(
        &mut self,
        prototype: Ref,
        len: f64,
        most: Option<f64>,
    ) -> Result<Ref, Raise> {
        let longest = LONGEST.min((self.heap.most_cells() * 2 * L::SLOT_BYTES) as f64);
        if len > longest || most.is_some_and(|most| most > LONGEST) {
            return Err(self.throw_range("a buffer of that length cannot be"));
        }
        let cells = if most.is_some() { 3 } else { 2 };
        let buffer = self.new_exotic(Class::Buffer, prototype, cells)?;
        self.heap.set_value(buffer, LENGTH, Value::small(0));
        if let Some(most) = most {
            self.heap.set_value(buffer, MOST, Value::small(most as i32));
        }
        self.push(Value::object(buffer))?;
        let sized = self.resize_buffer(buffer, len as usize);
        self.pop();
        sized.map(|()| buffer)
    }

    /// Gives a rooted buffer another length: bytes that are new are zero.
    pub(crate) fn resize_buffer(&mut self, buffer: Ref, len: usize) -> Result<(), Raise> {
        let (before, old) = (self.buffer_len(buffer), self.buffer_block(buffer));
        if len == 0 {
            self.heap.set_value(buffer, BLOCK, Value::undefined());
            self.heap.set_value(buffer, LENGTH, Value::small(0));
            return Ok(());
        }
        let cells = (1 + len.div_ceil(L::SLOT_BYTES)).div_ceil(2);
        self.spend(cells)?;
        if !old.is_none() && cells <= self.heap.cells(old) {
            self.heap.shrink(old, self.heap.cells(old), cells);
            self.clear_bytes(old, len.min(before));
        } else {
            let block = self.allocate(Kind::Bytes, cells)?;
            self.clear_bytes(block, 0);
            if !old.is_none() {
                let at = self.heap.slot_of(old) + 1;
                let slots = before.min(len).div_ceil(L::SLOT_BYTES);
                let to = self.heap.slot_of(block) + 1;
                self.heap.mem.copy_within(at..at + slots, to);
            }
            self.heap.set_value(buffer, BLOCK, Value::object(block));
        }
        self.heap.set_value(buffer, LENGTH, Value::small(len as i32));
        Ok(())
    }

    /// Makes the bytes of a block zero from one on: beyond its length they are always.
    fn clear_bytes(&mut self, block: Ref, from: usize) {
        let mut at = from;
        while !at.is_multiple_of(L::SLOT_BYTES) {
            self.write_bits(block, at, 1, 0);
            at += 1;
        }
        let zero = L::from_bits(0);
        for slot in 1 + at / L::SLOT_BYTES..2 * self.heap.cells(block) {
            self.heap.set_slot(block, slot, zero);
        }
    }

    /// Bytes of a buffer: none once it is detached.
    pub(crate) fn buffer_len(&self, buffer: Ref) -> usize {
        self.heap.value(buffer, LENGTH).as_int().unwrap_or(0) as usize
    }

    /// The most bytes that a resizable buffer may have.
    pub(crate) fn most_bytes(&self, buffer: Ref) -> Option<usize> {
        if self.heap.cells(buffer) < 3 {
            return None;
        }
        self.heap.value(buffer, MOST).as_int().map(|most| most as usize)
    }

    /// The block of a buffer that has bytes.
    pub(crate) fn buffer_block(&self, buffer: Ref) -> Ref {
        self.heap.value(buffer, BLOCK).as_object().unwrap_or(Ref::NONE)
    }

    pub(crate) fn is_detached(&self, buffer: Ref) -> bool {
        self.heap.value(buffer, BLOCK).is_null()
    }

    /// ECMA-262, DetachArrayBuffer. The block is another buffer's, or goes.
    pub(crate) fn detach_buffer(&mut self, buffer: Ref) {
        self.heap.set_value(buffer, BLOCK, Value::null());
        self.heap.set_value(buffer, LENGTH, Value::small(0));
        if self.most_bytes(buffer).is_some() {
            self.heap.set_value(buffer, MOST, Value::small(0));
        }
    }

    /// Hands the bytes of one buffer to another that has none.
    pub(crate) fn move_bytes(&mut self, from: Ref, to: Ref) {
        let (block, len) = (self.heap.value(from, BLOCK), self.heap.value(from, LENGTH));
        self.heap.set_value(to, BLOCK, block);
        self.heap.set_value(to, LENGTH, len);
        self.detach_buffer(from);
    }

    /// Reads up to eight bytes, the first one lowest. The caller has seen to it that
    /// they are there.
    pub(crate) fn read_bits(&self, block: Ref, at: usize, size: usize) -> u64 {
        let within = at % L::SLOT_BYTES;
        let slot = L::bits(self.heap.slot(block, 1 + at / L::SLOT_BYTES));
        if within + size <= L::SLOT_BYTES {
            let mask = u64::MAX >> (64 - 8 * size);
            return slot >> (8 * within) & mask;
        }
        (0..size).fold(0, |bits, byte| bits | self.read_bits(block, at + byte, 1) << (8 * byte))
    }

    /// Writes up to eight bytes, likewise.
    pub(crate) fn write_bits(&mut self, block: Ref, at: usize, size: usize, bits: u64) {
        let within = at % L::SLOT_BYTES;
        if within + size <= L::SLOT_BYTES {
            let index = 1 + at / L::SLOT_BYTES;
            let mask = u64::MAX >> (64 - 8 * size) << (8 * within);
            let slot = L::bits(self.heap.slot(block, index)) & !mask;
            self.heap.set_slot(block, index, L::from_bits(slot | bits << (8 * within) & mask));
            return;
        }
        for byte in 0..size {
            self.write_bits(block, at + byte, 1, bits >> (8 * byte));
        }
    }

    /// Copies bytes between blocks, or within one as if by way of another.
    pub(crate) fn copy_bytes(
        &mut self,
        [from, to]: [Ref; 2],
        [at, target]: [usize; 2],
        count: usize,
    ) -> Result<(), Raise> {
        self.spend(1 + count / 8)?;
        let backwards = from == to && at < target;
        for step in 0..count {
            let byte = if backwards { count - 1 - step } else { step };
            let bits = self.read_bits(from, at + byte, 1);
            self.write_bits(to, target + byte, 1, bits);
        }
        Ok(())
    }
}

/// The nearest number of IEEE 754's binary16, ties to even: ten bits behind the
/// leading one, which stands for at least 2^-14.
pub(crate) fn half_precision(number: f64) -> f64 {
    const LARGEST_THAT_ROUNDS_DOWN: f64 = 65_520.0;
    let exponent = (number.to_bits() >> 52 & 0x7ff) as i32 - 1023;
    if exponent == 1024 {
        return number;
    }
    if libm::fabs(number) >= LARGEST_THAT_ROUNDS_DOWN {
        return libm::copysign(f64::INFINITY, number);
    }
    let last_place = exponent.max(-14) - 10;
    libm::scalbn(libm::rint(libm::scalbn(number, -last_place)), last_place)
}

/// The bits of a number in that format.
fn half_bits(number: f64) -> u16 {
    let rounded = half_precision(number);
    let sign = u16::from(rounded.is_sign_negative()) << 15;
    let size = libm::fabs(rounded);
    if size.is_nan() {
        return 0x7e00;
    }
    if size.is_infinite() {
        return sign | 0x7c00;
    }
    let exponent = ((size.to_bits() >> 52) as i32 - 1023).max(-15);
    let fraction = match exponent {
        -15 => libm::scalbn(size, 24),
        _ => libm::scalbn(size, 10 - exponent) - 1024.0,
    };
    sign | ((exponent + 15) as u16) << 10 | fraction as u16
}

/// The number that such bits are.
fn half_number(bits: u16) -> f64 {
    let (exponent, fraction) = (i32::from(bits >> 10 & 0x1f), f64::from(bits & 0x3ff));
    let size = match exponent {
        0 => libm::scalbn(fraction, -24),
        0x1f if fraction == 0.0 => f64::INFINITY,
        0x1f => f64::NAN,
        _ => libm::scalbn(1024.0 + fraction, exponent - 25),
    };
    if bits >> 15 == 1 { -size } else { size }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table of "NumericToRawBytes" and "ToUint8Clamp" of ECMA-262.
    #[test]
    fn elements_take_numbers_modulo_their_range_and_clamped_ones_to_the_nearest() {
        let through = |element: Element, number| element.decode(element.encode(number));
        assert_eq!(through(Element::Int8, 200.0), -56.0);
        assert_eq!(through(Element::Uint16, -1.0), 65535.0);
        assert_eq!(through(Element::Uint32, 4294967297.0), 1.0);
        assert_eq!(through(Element::Int32, f64::INFINITY), 0.0);
        assert_eq!(through(Element::Uint8Clamped, 1.5), 2.0);
        assert_eq!(through(Element::Uint8Clamped, 2.5), 2.0);
        assert_eq!(through(Element::Uint8Clamped, 300.0), 255.0);
        assert_eq!(through(Element::Uint8Clamped, f64::NAN), 0.0);
        assert_eq!(through(Element::Float32, 0.1), f64::from(0.1f32));
        for bits in 0..=u16::MAX {
            let number = half_number(bits);
            assert!(number.is_nan() || half_bits(number) == bits, "{bits:#06x}");
        }
        assert_eq!(through(Element::Float16, 1.337), 1.3369140625);
        for (number, element) in Element::ALL.into_iter().enumerate() {
            assert_eq!(element as usize, number);
        }
    }
}
