//! Blocks of elements: how wide an element is there, and how it is packed.
//!
//! An element takes a slot, or 16, 8 or 4 bits where every element of the array can
//! be told in as many: a small integer, a truth value, `undefined`, `null` or no
//! element. The machine chooses by what it stores: a block begins as narrow as its
//! first values allow and is widened, never narrowed, when a value does not fit; from
//! 4 bits to 16 at once, as two steps would copy it twice.
//! Scripts see nothing of it.
//!
//! The width lies with the array's flags. A packed block is of a kind of its own, as
//! the collector must not take its bits for references. Its room is the one that a
//! block of slots would have, even if more elements would fit into its last cell:
//! so it grows in the same steps, and widening asks for no more than was asked for
//! before.
//!
//! Here are blocks and bits; what an array is, and its length, is `array`'s.

use crate::Host;
use crate::error::Raise;
use crate::heap::Heap;
use crate::heap::kinds::Kind;
use crate::layout::{Layout, Tag, special};
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// Slots of an elements block before its first element.
pub(crate) const HEAD: usize = 2;

/// The most room that a header notes.
pub(crate) const NOTED: usize = 0xffff;

/// Where the width lies among the flags of an array.
pub(crate) const WIDTH_SHIFT: u32 = 10;

/// How wide an element is: 0 for a slot, else `n` for `32 >> n` bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Width(u32);

/// The patterns of what is no integer: the payload of the special value.
const SPECIALS: u32 = special::HOLE + 1;

/// The least integer that an element has a pattern for, by width. Behind the
/// specials follow as many as there are patterns.
const LEAST: [i32; 4] = [0, -32763, -1, -1];

impl Width {
    pub(crate) const SLOT: Width = Width(0);
    pub(crate) const NARROWEST: Width = Width(3);
    /// 16 bits.
    const HALF: Width = Width(1);

    /// The width in the flags of an array.
    #[inline(always)]
    pub(crate) fn of_flags(flags: u32) -> Width {
        Width(flags >> WIDTH_SHIFT & 3)
    }

    #[inline(always)]
    pub(crate) fn is_packed(self) -> bool {
        self != Width::SLOT
    }

    /// The narrowest width that holds a value.
    #[cfg_attr(feature = "small", inline(never))]
    pub(crate) fn of<L: Layout>(value: Value<L>) -> Width {
        let mut width = Width::NARROWEST;
        while width.is_packed() && width.pattern(value).is_none() {
            width.0 -= 1;
        }
        width
    }

    /// The narrowest width that holds each of the values.
    pub(crate) fn of_all<L: Layout>(values: impl Iterator<Item = Value<L>>) -> Width {
        values.map(Width::of).fold(Width::NARROWEST, Width::min)
    }

    /// The logarithm of the bits of an element, if it is packed.
    #[inline(always)]
    fn log(self) -> u32 {
        5 - self.0
    }

    /// The logarithm of the elements a slot holds.
    #[inline(always)]
    fn slot_log<L: Layout>(self) -> u32 {
        if self.is_packed() { bits_log::<L>() - self.log() } else { 0 }
    }

    #[inline(always)]
    fn mask(self) -> u32 {
        (1 << (32 >> self.0)) - 1
    }

    /// The bits of a value in a packed block, if it has any.
    #[inline(always)]
    pub(crate) fn pattern<L: Layout>(self, value: Value<L>) -> Option<u32> {
        if let Some(int) = value.as_int() {
            let above = int.wrapping_sub(LEAST[self.0 as usize & 3]) as u32;
            return if above <= self.mask() - SPECIALS { Some(above + SPECIALS) } else { None };
        }
        let is_special = value.has_tag(Tag::Special) && value.payload() < SPECIALS;
        if is_special { Some(value.payload()) } else { None }
    }

    #[inline(always)]
    fn value<L: Layout>(self, pattern: u32) -> Value<L> {
        match pattern.checked_sub(SPECIALS) {
            Some(above) => Value::small(above as i32 + LEAST[self.0 as usize & 3]),
            None => Value::special(pattern),
        }
    }

    /// The slot of a packed element behind the head, and the place of its lowest bit there.
    #[inline(always)]
    fn place<L: Layout>(self, index: usize) -> (usize, u32) {
        let bit = (index as u32) << self.log() & ((1 << bits_log::<L>()) - 1);
        (HEAD + (index >> self.slot_log::<L>()), bit)
    }

    /// The packed element in a slot of it and others.
    #[inline(always)]
    fn unpack<L: Layout>(self, slot: L::Slot, bit: u32) -> Value<L> {
        self.value((L::bits(slot) >> bit) as u32 & self.mask())
    }

    #[inline(always)]
    fn pack<L: Layout>(self, slot: L::Slot, bit: u32, pattern: u32) -> L::Slot {
        let others = L::bits(slot) & !(u64::from(self.mask()) << bit);
        L::from_bits(others | u64::from(pattern) << bit)
    }

    /// The cells of a block with room for that many elements.
    fn cells<L: Layout>(self, room: usize) -> usize {
        1 + (room.div_ceil(1 << self.slot_log::<L>())).div_ceil(2)
    }

    /// The elements for which a block of so many cells has room.
    #[inline(always)]
    fn capacity<L: Layout>(self, cells: usize) -> usize {
        (2 * cells - HEAD) << self.slot_log::<L>()
    }

    fn kind(self) -> Kind {
        if self.is_packed() { Kind::Packed } else { Kind::Elements }
    }

    /// A slot of nothing but holes.
    fn holes<L: Layout>(self) -> L::Slot {
        if !self.is_packed() {
            return Value::<L>::hole().0;
        }
        // Every pattern's lowest bits, times the pattern of a hole.
        let ones = u64::MAX / u64::from(self.mask());
        L::from_bits(ones * u64::from(special::HOLE))
    }
}

/// The logarithm of the bits of a slot.
#[inline(always)]
const fn bits_log<L: Layout>() -> u32 {
    3 + L::SLOT_BYTES.trailing_zeros()
}

/// Where a block lies among the cells: of a reference to no cell, far behind them.
#[inline(always)]
fn place(block: Ref) -> usize {
    block.0.wrapping_sub(Ref::FIRST_CELL) as usize
}

impl<L: Layout> Heap<'_, L> {
    /// An element of a block, or a hole. The index lies within the block.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    fn element(&self, block: Ref, width: Width, index: usize) -> Value<L> {
        if !width.is_packed() {
            return self.value(block, HEAD + index);
        }
        let (slot, bit) = width.place::<L>(index);
        width.unpack(self.slot(block, slot), bit)
    }

    /// Puts a value into a block, if it is wide enough: tells whether it was.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    fn put_element(&mut self, block: Ref, width: Width, index: usize, value: Value<L>) -> bool {
        if !width.is_packed() {
            self.set_value(block, HEAD + index, value);
            return true;
        }
        let Some(pattern) = width.pattern(value) else { return false };
        let (slot, bit) = width.place::<L>(index);
        let packed = width.pack::<L>(self.slot(block, slot), bit, pattern);
        self.set_slot(block, slot, packed);
        true
    }
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    #[inline(always)]
    pub(crate) fn width(&self, array: Ref) -> Width {
        Width::of_flags(self.heap.half(array, 3))
    }

    fn set_width(&mut self, array: Ref, width: Width) {
        let flags = self.heap.half(array, 3) & !(3 << WIDTH_SHIFT);
        self.heap.set_half(array, 3, flags | width.0 << WIDTH_SHIFT);
    }

    /// The width to begin with for elements of what may be an array.
    pub(crate) fn width_like(&self, object: Ref) -> Width {
        if object.is_cell() && self.heap.is_kind(object, Kind::Array) {
            self.width(object)
        } else {
            Width::SLOT
        }
    }

    /// Gives an array without a block one of holes. The array is rooted.
    pub(crate) fn make_elements(
        &mut self,
        array: Ref,
        width: Width,
        room: usize,
    ) -> Result<(), Raise> {
        let elements = self.allocate(width.kind(), width.cells::<L>(room))?;
        self.heap.set_slot(elements, 1, L::from_bits(0));
        self.make_holes(elements, width, HEAD);
        self.heap.set_child(array, 2, elements);
        self.set_width(array, width);
        self.note_room(array, room);
        Ok(())
    }

    /// Fills the slots of a block from one on with holes.
    fn make_holes(&mut self, block: Ref, width: Width, from: usize) {
        for at in from..2 * self.heap.cells(block) {
            self.heap.set_slot(block, at, width.holes::<L>());
        }
    }

    /// Notes the room of the elements block in its header, so that most accesses
    /// need not ask the collector's map: of a block of slots all there is.
    fn note_room(&mut self, array: Ref, room: usize) {
        let elements = self.heap.child(array, 2);
        let width = self.width(array);
        let all = width.capacity::<L>(self.heap.cells(elements));
        let room = if width.is_packed() { room.min(all) } else { all };
        self.heap.set_half(elements, 1, room.min(NOTED) as u32);
    }

    pub(crate) fn room(&self, array: Ref) -> usize {
        let elements = self.heap.child(array, 2);
        if elements.is_none() { 0 } else { self.elements_room(array, elements) }
    }

    /// The room of an elements block: from its header where it fits there.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    fn elements_room(&self, array: Ref, elements: Ref) -> usize {
        match self.heap.half(elements, 1) as usize {
            NOTED => self.width(array).capacity::<L>(self.heap.cells(elements)),
            noted => noted,
        }
    }

    /// An element that lies in the elements block. What lies there behind the length
    /// is a hole, so the room alone bounds the index.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn element(&self, array: Ref, index: u32) -> Option<Value<L>> {
        let elements = self.heap.child(array, 2);
        if elements.is_none() || index as usize >= self.elements_room(array, elements) {
            return None;
        }
        let value = self.heap.element(elements, self.width(array), index as usize);
        if value == Value::hole() { None } else { Some(value) }
    }

    /// Changes an element that lies in the elements block. Tells whether there is
    /// one, and the block is wide enough for the value.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn change_element(&mut self, array: Ref, index: u32, value: Value<L>) -> bool {
        self.element(array, index).is_some() && {
            let (elements, width) = (self.heap.child(array, 2), self.width(array));
            self.heap.put_element(elements, width, index as usize, value)
        }
    }

    /// Puts a value into a place of the elements block, which is widened if need be.
    pub(crate) fn set_element(
        &mut self,
        array: Ref,
        index: u32,
        value: Value<L>,
    ) -> Result<(), Raise> {
        let (elements, width) = (self.heap.child(array, 2), self.width(array));
        if self.heap.put_element(elements, width, index as usize, value) {
            return Ok(());
        }
        self.push(Value::object(array))?;
        self.push(value)?;
        self.refit(array, 0, Width::of(value))?;
        self.pop();
        self.pop();
        let (elements, width) = (self.heap.child(array, 2), self.width(array));
        self.heap.put_element(elements, width, index as usize, value);
        Ok(())
    }

    /// Makes a hole of a place of the elements block.
    pub(crate) fn clear_element(&mut self, array: Ref, index: u32) {
        let (elements, width) = (self.heap.child(array, 2), self.width(array));
        self.heap.put_element(elements, width, index as usize, Value::hole());
    }

    /// Gives the elements block at least that much room, and that width if it is
    /// narrower: in its place where the cells behind it are free. The array is rooted.
    pub(crate) fn refit(&mut self, array: Ref, least: usize, width: Width) -> Result<(), Raise> {
        let old = self.heap.child(array, 2);
        if old.is_none() {
            return self.make_elements(array, width, least.max(2));
        }
        let (mut before, mut room) = (self.width(array), self.room(array));
        let length = self.array_len(array);
        let mut width = width.min(before);
        let mut cells = self.heap.cells(old);
        let mut wish = room;
        if least > room {
            wish = least.max(room + room / 2);
            // Nobody asked for more than the length.
            if least <= length as usize {
                wish = wish.min(length as usize);
            }
        }
        let needed = least.max(room.min(length as usize));
        if width != before
            && (0..room).all(|at| self.heap.element(old, before, at) == Value::hole())
        {
            // Nothing to keep but the length: `new Array(n)` that is filled with objects.
            self.heap.shrink(old, cells, 1);
            self.heap.set_kind(old, width.kind());
            self.set_width(array, width);
            self.note_room(array, 0);
            (before, room, cells) = (width, 0, 1);
        }
        if width != before {
            // Who outgrows 4 bits mostly outgrows 8 as well, and would be copied twice.
            width = width.min(Width::HALF);
        }
        for new_room in [wish, needed] {
            let wanted = width.cells::<L>(new_room);
            if wanted <= cells || self.extend(old, cells, wanted) {
                if width == before {
                    self.make_holes(old, width, 2 * cells);
                } else {
                    self.heap.set_kind(old, width.kind());
                    self.repack(old, before, old, width, room.min(new_room));
                }
                self.set_width(array, width);
                self.note_room(array, new_room);
                return Ok(());
            }
        }
        // The old block stays reachable through the array until it is replaced.
        let (grown, new_room) = match self.allocate(width.kind(), width.cells::<L>(wish)) {
            Ok(grown) => (grown, wish),
            Err(_) => (self.allocate(width.kind(), width.cells::<L>(needed))?, needed),
        };
        self.heap.set_slot(grown, 1, L::from_bits(u64::from(length)));
        if width == before {
            let (from, to) = (self.heap.slot_of(old), self.heap.slot_of(grown) + HEAD);
            self.heap.mem.copy_within(from + HEAD..from + 2 * cells, to);
            self.make_holes(grown, width, 2 * cells);
        } else {
            self.repack(old, before, grown, width, room.min(new_room));
        }
        self.heap.set_child(array, 2, grown);
        self.set_width(array, width);
        self.note_room(array, new_room);
        Ok(())
    }

    /// Copies the first elements of a block to a wider one, which may be the same, and
    /// makes holes of the others there.
    fn repack(&mut self, from: Ref, narrow: Width, to: Ref, wide: Width, count: usize) {
        // From the end on: a wider element lies behind the narrower ones before it.
        for index in (0..wide.capacity::<L>(self.heap.cells(to))).rev() {
            let value = match index < count {
                true => self.heap.element(from, narrow, index),
                false => Value::hole(),
            };
            self.heap.put_element(to, wide, index, value);
        }
    }

    /// Gives what a block holds behind so many elements back to the heap, if that is
    /// at least half of it.
    pub(crate) fn cut_elements(&mut self, array: Ref, count: usize) {
        let (elements, width) = (self.heap.child(array, 2), self.width(array));
        let (cells, keep) = (self.heap.cells(elements), width.cells::<L>(count));
        if cells > 4 && keep <= cells / 2 {
            let room = self.room(array);
            self.heap.shrink(elements, cells, keep);
            self.note_room(array, room);
        }
    }

    /// Gives back all room of a block without elements; the length stays.
    pub(crate) fn drop_room(&mut self, array: Ref) {
        let elements = self.heap.child(array, 2);
        if !elements.is_none() {
            self.heap.shrink(elements, self.heap.cells(elements), 1);
            self.note_room(array, 0);
        }
    }

    /// Moves elements within the block.
    pub(crate) fn move_elements(&mut self, array: Ref, from: u32, to: u32, count: u32) {
        let (elements, width) = (self.heap.child(array, 2), self.width(array));
        if !width.is_packed() {
            if count > 0 {
                let first = self.heap.slot_of(elements) + HEAD;
                let from = first + from as usize;
                self.heap.mem.copy_within(from..from + count as usize, first + to as usize);
            }
            return;
        }
        let bits = 32 >> width.0;
        let (from, to, count) = (from * bits, to * bits, count * bits);
        let slot_bits = 1 << bits_log::<L>();
        let mut left = count;
        while left > 0 {
            // As many bits as lie in one slot here and there: from the start on, or if
            // they move towards the end, from there.
            let (take, done) = if to < from {
                let done = count - left;
                let ahead = |at: u32| slot_bits - (at + done) % slot_bits;
                (left.min(ahead(from)).min(ahead(to)), done)
            } else {
                let behind = |at: u32| (at + left - 1) % slot_bits + 1;
                let take = left.min(behind(from)).min(behind(to));
                (take, left - take)
            };
            let mask = u64::MAX >> (64 - take);
            let [source, target] = [from, to]
                .map(|at| (HEAD + ((at + done) / slot_bits) as usize, (at + done) % slot_bits));
            let moved = L::bits(self.heap.slot(elements, source.0)) >> source.1 & mask;
            let others = L::bits(self.heap.slot(elements, target.0)) & !(mask << target.1);
            self.heap.set_slot(elements, target.0, L::from_bits(others | moved << target.1));
            left -= take;
        }
    }

    /// The place of an element of what may be an array: its width, and the number of
    /// the block's first slot. For an index below [`NOTED`]; a hole counts as one.
    #[inline(always)]
    fn quick_place(&mut self, array: Value<L>, index: i32) -> Option<(Width, usize)> {
        let array = array.as_object()?;
        let cells = self.heap.mem.cells_mut();
        let [header, links] = *cells.get(place(array))?;
        if L::high(header) != L::high(L::header(Kind::Array as u8, 0)) {
            return None;
        }
        let elements = place(Ref(L::high(links)));
        let room = L::low(cells.get(elements)?[0]);
        // A negative index is a large one.
        if index as u32 >= room {
            return None;
        }
        Some((Width::of_flags(L::low(links)), 2 * elements))
    }

    /// The element of what may be an array, if there is one at an index below [`NOTED`].
    #[inline(always)]
    pub(crate) fn quick_element(&mut self, array: Value<L>, index: i32) -> Option<Value<L>> {
        let (width, first) = self.quick_place(array, index)?;
        let slots = self.heap.mem.cells_mut().as_flattened();
        let value = if width.is_packed() {
            packed_element(slots, first, width, index as usize)?
        } else {
            Value(*slots.get(first + HEAD + index as usize)?)
        };
        if value == Value::hole() { None } else { Some(value) }
    }

    /// Changes an element of what may be an array, if there is one at an index below
    /// [`NOTED`] and the block is wide enough.
    #[inline(always)]
    pub(crate) fn quick_change(
        &mut self,
        array: Value<L>,
        index: i32,
        value: Value<L>,
    ) -> Option<()> {
        let (width, first) = self.quick_place(array, index)?;
        let slots = self.heap.mem.cells_mut().as_flattened_mut();
        if width.is_packed() {
            if packed_element::<L>(slots, first, width, index as usize)? == Value::hole() {
                return None;
            }
            put_packed(slots, first, width, index as usize, value)?;
        } else {
            let slot = slots.get_mut(first + HEAD + index as usize)?;
            if *slot == Value::<L>::hole().0 {
                return None;
            }
            *slot = value.0;
        }
        Some(())
    }

    /// What `push` does to an array that is nothing but elements and has room for
    /// one more, where no script has changed a built-in: the length after it.
    /// Nothing is done in any other case.
    ///
    /// A million calls of `push` took a third of the time of
    /// `bench/yardstick/sieve.js` when they went through the built-in.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn push_quick(&mut self, array: Value<L>, value: Value<L>) -> Option<Value<L>> {
        let (width, elements) = self.bare_elements(array)?;
        let cells = self.heap.mem.cells_mut();
        let [head, length] = *cells.get(elements)?;
        let (room, length) = (L::low(head), L::bits(length) as u32);
        // A block whose room its header cannot note counts as full.
        if length >= room || room == NOTED as u32 {
            return None;
        }
        let slots = cells.as_flattened_mut();
        if width.is_packed() {
            put_packed(slots, 2 * elements, width, length as usize, value)?;
        } else {
            *slots.get_mut(2 * elements + HEAD + length as usize)? = value.0;
        }
        cells.get_mut(elements)?[1] = L::from_bits(u64::from(length) + 1);
        Value::int(length as i32 + 1)
    }

    /// The width and the cell of the elements of a value that [`Vm::as_bare_array`]
    /// would give, if it has any and is no frozen one.
    #[inline(always)]
    pub(crate) fn bare_elements(&mut self, value: Value<L>) -> Option<(Width, usize)> {
        let array = value.as_object()?;
        let [header, links] = *self.heap.mem.cells_mut().get(place(array))?;
        let flags = L::low(links);
        let bare = header == L::header(Kind::Array as u8, Ref::NONE.0)
            && flags & ((1 << WIDTH_SHIFT) - 1) == Class::Array as u32
            && self.heap.roots.changes.is_none();
        // No elements are a reference to no cell.
        bare.then(|| (Width::of_flags(flags), place(Ref(L::high(links)))))
    }
}

/// A packed element of the block that begins at a slot. Out of line, and with values alone:
/// laid out in every arm of the interpreter that reads elements, it made the loop longer than
/// it is worth.
#[inline(never)]
fn packed_element<L: Layout>(
    slots: &[L::Slot],
    first: usize,
    width: Width,
    index: usize,
) -> Option<Value<L>> {
    let (slot, bit) = width.place::<L>(index);
    Some(width.unpack(*slots.get(first + slot)?, bit))
}

/// Puts a value there, if the block is wide enough.
#[inline(never)]
fn put_packed<L: Layout>(
    slots: &mut [L::Slot],
    first: usize,
    width: Width,
    index: usize,
    value: Value<L>,
) -> Option<()> {
    let (slot, bit) = width.place::<L>(index);
    let slot = slots.get_mut(first + slot)?;
    *slot = width.pack::<L>(*slot, bit, width.pattern(value)?);
    Some(())
}
