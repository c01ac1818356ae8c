//! Arrays: elements in a block of their own, and the sparse ones as properties.
//!
//! An element lies in the elements block while its index is within the block; an
//! index far behind it, or an element with attributes of its own, is a listed
//! property. The elements block also holds the length, so an empty array has none.

use crate::Host;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::Layout;
use crate::object::{Class, flags};
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// Where a block lies among the cells: of a reference to no cell, far behind them.
#[inline(always)]
fn place(block: Ref) -> usize {
    block.0.wrapping_sub(Ref::FIRST_CELL) as usize
}

/// Slots of an elements block before its first element.
const HEAD: usize = 2;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Makes an array with room for that many elements and length 0.
    pub(crate) fn new_array(&mut self, room: usize) -> Result<Ref, Raise> {
        self.new_array_of(Class::Array, room)
    }

    pub(crate) fn new_array_of(&mut self, class: Class, room: usize) -> Result<Ref, Raise> {
        let array = self.allocate(Kind::Array, 1)?;
        self.heap.set_child(array, 1, Ref::NONE);
        self.heap.set_child(array, 2, Ref::NONE);
        self.heap.set_half(array, 3, class as u32);
        if room > 0 {
            self.push(Value::object(array))?;
            let made = self.make_elements(array, room);
            self.pop();
            made?;
        }
        Ok(array)
    }

    fn make_elements(&mut self, array: Ref, room: usize) -> Result<Ref, Raise> {
        let elements = self.allocate(Kind::Elements, 1 + room.div_ceil(2))?;
        self.heap.set_slot(elements, 1, L::from_bits(0));
        for at in HEAD..2 * self.heap.cells(elements) {
            self.heap.set_value(elements, at, Value::hole());
        }
        self.heap.set_child(array, 2, elements);
        self.note_room(array);
        Ok(elements)
    }

    /// Notes the room of the elements block in its header, so that most
    /// accesses need not ask the collector's map.
    fn note_room(&mut self, array: Ref) {
        let elements = self.heap.child(array, 2);
        let room = (2 * self.heap.cells(elements) - HEAD).min(NOTED);
        self.heap.set_half(elements, 1, room as u32);
    }

    /// The length of an array.
    #[inline]
    pub(crate) fn array_len(&self, array: Ref) -> u32 {
        let elements = self.heap.child(array, 2);
        if elements.is_none() { 0 } else { L::bits(self.heap.slot(elements, 1)) as u32 }
    }

    pub(crate) fn array_room(&self, array: Ref) -> u32 {
        (self.room(array) as u32).min(self.array_len(array))
    }

    fn room(&self, array: Ref) -> usize {
        let elements = self.heap.child(array, 2);
        if elements.is_none() { 0 } else { self.elements_room(elements) }
    }

    /// The room of an elements block: from its header where it fits there.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    fn elements_room(&self, elements: Ref) -> usize {
        match self.heap.half(elements, 1) as usize {
            NOTED => 2 * self.heap.cells(elements) - HEAD,
            noted => noted,
        }
    }

    /// The slot of an element that lies in the elements block. What lies there
    /// behind the length is a hole, so the room alone bounds the index.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    fn element_slot(&self, array: Ref, index: u32) -> Option<usize> {
        let elements = self.heap.child(array, 2);
        if elements.is_none() || index as usize >= self.elements_room(elements) {
            return None;
        }
        Some(self.heap.slot_of(elements) + HEAD + index as usize)
    }

    /// The element of what may be an array, for an index below [`NOTED`]. A hole
    /// counts as one.
    #[inline(always)]
    pub(crate) fn quick_element(&mut self, array: Value<L>, index: i32) -> Option<&mut L::Slot> {
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
        cells.as_flattened_mut().get_mut(2 * elements + HEAD + index as usize)
    }

    /// An element that lies in the elements block.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn element(&self, array: Ref, index: u32) -> Option<Value<L>> {
        let value = self.heap.mem_value(self.element_slot(array, index)?);
        if value == Value::hole() { None } else { Some(value) }
    }

    /// Changes an element that lies in the elements block, and tells whether there
    /// is one.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn change_element(&mut self, array: Ref, index: u32, value: Value<L>) -> bool {
        match self.element_slot(array, index) {
            Some(at) if self.heap.mem_value(at) != Value::hole() => {
                self.heap.set_mem_value(at, value);
                true
            }
            _ => false,
        }
    }

    /// Puts a value into a place of the elements block.
    #[inline]
    pub(crate) fn set_element(&mut self, array: Ref, index: u32, value: Value<L>) {
        let elements = self.heap.child(array, 2);
        self.heap.set_value(elements, HEAD + index as usize, value);
    }

    /// Appends to an array that is being made: array and value are rooted.
    pub(crate) fn append(&mut self, array: Ref, value: Value<L>) -> Result<(), Raise> {
        let length = self.array_len(array);
        self.put_element(array, length, value).map(drop)
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
        let elements = self.bare_elements(array)?;
        let cells = self.heap.mem.cells_mut();
        let [head, length] = *cells.get(elements)?;
        let (room, length) = (L::low(head), L::bits(length) as u32);
        // A block whose room its header cannot note counts as full.
        if length >= room || room == NOTED as u32 {
            return None;
        }
        *cells.as_flattened_mut().get_mut(2 * elements + HEAD + length as usize)? = value.0;
        cells.get_mut(elements)?[1] = L::from_bits(u64::from(length) + 1);
        Value::int(length as i32 + 1)
    }

    /// The cell of the elements of a value that [`Vm::as_bare_array`] would give, if it
    /// has any and is no frozen one.
    #[inline(always)]
    pub(crate) fn bare_elements(&mut self, value: Value<L>) -> Option<usize> {
        let array = value.as_object()?;
        let [header, links] = *self.heap.mem.cells_mut().get(place(array))?;
        let bare = header == L::header(Kind::Array as u8, Ref::NONE.0)
            && L::low(links) == Class::Array as u32
            && self.heap.roots.changes.is_none();
        // No elements are a reference to no cell.
        bare.then(|| place(Ref(L::high(links))))
    }

    /// The array, if it is one with neither properties nor a prototype of its own
    /// and no script has changed a built-in.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn as_bare_array(&self, value: Value<L>) -> Option<Ref> {
        let object = value.as_object().filter(|object| object.is_cell())?;
        let bare = self.heap.is_kind(object, Kind::Array)
            && self.heap.child(object, 1).is_none()
            && self.heap.half(object, 3) & 0xff == Class::Array as u32
            && self.heap.roots.changes.is_none();
        bare.then_some(object)
    }

    /// Puts a value at an index, growing the block or listing a sparse element;
    /// the length follows. Array and value are rooted by the caller.
    pub(crate) fn put_element(
        &mut self,
        array: Ref,
        index: u32,
        value: Value<L>,
    ) -> Result<bool, Raise> {
        let room = self.room(array);
        let at = index as usize;
        if at >= room {
            if at > room + room / 2 + 16 {
                return self.put_sparse(array, index, value, attributes::ALL);
            }
            self.grow_elements(array, at + 1)?;
        }
        let elements = self.heap.child(array, 2);
        if index >= self.array_len(array) {
            self.heap.set_slot(elements, 1, L::from_bits(u64::from(index) + 1));
        }
        self.heap.set_value(elements, HEAD + at, value);
        Ok(true)
    }

    fn put_sparse(
        &mut self,
        array: Ref,
        index: u32,
        value: Value<L>,
        attributes: u8,
    ) -> Result<bool, Raise> {
        let Some(key) = Key::index(index) else { return Ok(false) };
        self.add_property(array, key, value, attributes)?;
        self.reach_length(array, index.saturating_add(1))?;
        Ok(true)
    }

    /// Raises the length to at least this.
    fn reach_length(&mut self, array: Ref, length: u32) -> Result<(), Raise> {
        if self.heap.child(array, 2).is_none() {
            self.make_elements(array, 0)?;
        }
        if length > self.array_len(array) {
            let elements = self.heap.child(array, 2);
            self.heap.set_slot(elements, 1, L::from_bits(u64::from(length)));
        }
        Ok(())
    }

    fn grow_elements(&mut self, array: Ref, least: usize) -> Result<(), Raise> {
        let old = self.heap.child(array, 2);
        if old.is_none() {
            self.make_elements(array, least.max(2))?;
            return Ok(());
        }
        let cells = self.heap.cells(old);
        let room = 2 * cells - HEAD;
        let wish = 1 + least.max(room + room / 2).div_ceil(2);
        let needed = 1 + least.div_ceil(2);
        if self.extend(old, cells, wish) || self.extend(old, cells, needed) {
            for at in 2 * cells..2 * self.heap.cells(old) {
                self.heap.set_value(old, at, Value::hole());
            }
            self.note_room(array);
            return Ok(());
        }
        let length = self.array_len(array);
        // The old block stays reachable through the array until it is replaced.
        let grown = match self.allocate(Kind::Elements, wish) {
            Ok(grown) => grown,
            Err(_) => self.allocate(Kind::Elements, needed)?,
        };
        self.heap.set_slot(grown, 1, L::from_bits(u64::from(length)));
        for at in HEAD..2 * self.heap.cells(grown) {
            let value = if at < HEAD + room { self.heap.value(old, at) } else { Value::hole() };
            self.heap.set_value(grown, at, value);
        }
        self.heap.set_child(array, 2, grown);
        self.note_room(array);
        Ok(())
    }

    /// Makes room for that many elements of an empty array, if the heap has it:
    /// where a length is only a wish, the array can still grow step by step.
    pub(crate) fn reserve_if_room(&mut self, array: Ref, room: usize) {
        if room > self.room(array)
            && self.heap.child(array, 2).is_none()
            && let Err(_) = self.make_elements(array, room)
        {
            debug_assert!(self.heap.child(array, 2).is_none());
        }
    }

    /// Moves elements within the block.
    pub(crate) fn move_elements(&mut self, array: Ref, from: u32, to: u32, count: u32) {
        if count > 0 {
            let first = self.heap.slot_of(self.heap.child(array, 2)) + HEAD;
            let from = first + from as usize;
            self.heap.mem.copy_within(from..from + count as usize, first + to as usize);
        }
    }

    /// Puts room for new elements in the place of old ones, in an array all of
    /// whose elements lie in its block. What the room holds is left over.
    pub(crate) fn open_gap(
        &mut self,
        array: Ref,
        at: u32,
        n_old: u32,
        n_new: u32,
    ) -> Result<(), Raise> {
        let before = self.array_len(array);
        let after = before - n_old + n_new;
        let behind = before - at - n_old;
        if n_new <= n_old {
            self.move_elements(array, at + n_old, at + n_new, behind);
            return self.set_array_len(array, after).map(drop);
        }
        if after as usize > self.room(array) {
            self.grow_elements(array, after as usize)?;
        }
        let elements = self.heap.child(array, 2);
        self.heap.set_slot(elements, 1, L::from_bits(u64::from(after)));
        self.move_elements(array, at + n_old, at + n_new, behind);
        Ok(())
    }

    /// Adds a property that the array does not have yet.
    pub(crate) fn create_in_array(
        &mut self,
        array: Ref,
        key: Key,
        value: Value<L>,
        attributes: u8,
    ) -> Result<bool, Raise> {
        if self.has_flag(array, flags::NOT_EXTENSIBLE) {
            return Ok(false);
        }
        let is_array = self.class(array) == Class::Array;
        let KeyKind::Index(index) = key.kind() else {
            return self.create_named(array, key, value, attributes, is_array);
        };
        let length = self.array_len(array);
        if is_array && index >= length && self.has_flag(array, flags::LENGTH_FIXED) {
            return Ok(false);
        }
        if !is_array && index as usize >= self.room(array) {
            self.add_property(array, key, value, attributes)?;
            return Ok(true);
        }
        self.push(value)?;
        let put = if attributes == attributes::ALL {
            self.put_element(array, index, value)
        } else {
            self.put_sparse(array, index, value, attributes)
        };
        self.pop();
        put
    }

    /// A named property; or an index from the key limit up, which is a string as
    /// a key and counts for the length all the same.
    fn create_named(
        &mut self,
        array: Ref,
        key: Key,
        value: Value<L>,
        attributes: u8,
        is_array: bool,
    ) -> Result<bool, Raise> {
        let large = if is_array { self.large_index(key)? } else { None };
        let fixed = self.has_flag(array, flags::LENGTH_FIXED);
        if fixed && large.is_some_and(|index| index >= self.array_len(array)) {
            return Ok(false);
        }
        self.add_property(array, key, value, attributes)?;
        if let Some(index) = large {
            self.reach_length(array, index + 1)?;
        }
        Ok(true)
    }

    fn large_index(&mut self, key: Key) -> Result<Option<u32>, Raise> {
        if matches!(key.kind(), KeyKind::Name(_)) {
            return Ok(None);
        }
        let text = self.key_text(key)?;
        let Some(view) = self.view(text) else { return Ok(None) };
        if view.len() > 10 || view.len() < 8 {
            return Ok(None);
        }
        let mut index = 0u64;
        for at in 0..view.len() {
            let digit = self.unit(&view, at).wrapping_sub(u16::from(b'0'));
            if digit > 9 || (at == 0 && digit == 0) {
                return Ok(None);
            }
            index = index * 10 + u64::from(digit);
        }
        Ok(u32::try_from(index).ok().filter(|&index| index < u32::MAX))
    }

    /// ECMA-262, ArraySetLength without the descriptor: deletes from the end
    /// until an element refuses. Tells whether none did.
    pub(crate) fn set_array_len(&mut self, array: Ref, length: u32) -> Result<bool, Raise> {
        let before = self.array_len(array);
        if length >= before {
            self.reach_length(array, length)?;
            return Ok(true);
        }
        let reached = self.drop_listed_from(array, length, before)?;
        let elements = self.heap.child(array, 2);
        let room = self.room(array);
        for at in reached as usize..(before as usize).min(room) {
            self.heap.set_value(elements, HEAD + at, Value::hole());
        }
        self.heap.set_slot(elements, 1, L::from_bits(u64::from(reached)));
        // What is cut off goes back to the heap if it is at least half.
        let keep = 1 + (reached as usize).div_ceil(2);
        let cells = self.heap.cells(elements);
        if cells > 4 && keep <= cells / 2 {
            self.heap.shrink(elements, cells, keep);
            self.note_room(array);
        }
        Ok(reached == length)
    }

    /// Deletes the listed elements from a length on, and gives the length that
    /// was reached: one behind the last that cannot be deleted.
    fn drop_listed_from(&mut self, array: Ref, length: u32, before: u32) -> Result<u32, Raise> {
        let holder = self.holder(array);
        if holder.is_none() {
            return Ok(length);
        }
        let mut reached = length;
        let table = self.heap.child(holder, 2);
        let mut index = 0;
        while !table.is_none() && index < self.heap.n_listed(table) {
            let found = self.property_at(table, index);
            index += 1;
            let Some((key, own)) = found else { continue };
            let place = match key.as_index() {
                Some(place) => Some(place),
                None => self.large_index(key)?,
            };
            if let Some(place) = place.filter(|&place| place >= length && place < before)
                && !own.is(attributes::CONFIGURABLE)
            {
                reached = reached.max(place + 1);
            }
        }
        let mut index = 0;
        while !table.is_none() && index < self.heap.n_listed(table) {
            let place = match self.property_at(table, index) {
                Some((key, _)) => match key.as_index() {
                    Some(place) => Some((key, place)),
                    None => self.large_index(key)?.map(|place| (key, place)),
                },
                None => None,
            };
            match place {
                Some((key, place)) if place >= reached => self.remove_listed(array, key),
                _ => index += 1,
            }
        }
        Ok(reached)
    }

    /// ECMA-262, ArraySetLength.
    pub(crate) fn define_length(
        &mut self,
        array: Ref,
        wish: &Descriptor<L>,
    ) -> Result<bool, Raise> {
        let length = match wish.value {
            Some(value) => Some(self.to_array_length(value)?),
            None => None,
        };
        if wish.configurable == Some(true) || wish.enumerable == Some(true) || wish.is_accessor() {
            return Ok(false);
        }
        let fixed = self.has_flag(array, flags::LENGTH_FIXED);
        if fixed && wish.writable == Some(true) {
            return Ok(false);
        }
        let mut done = true;
        if let Some(length) = length
            && length != self.array_len(array)
        {
            if fixed {
                return Ok(false);
            }
            done = self.set_array_len(array, length)?;
        }
        if wish.writable == Some(false) {
            self.set_flag(array, flags::LENGTH_FIXED)?;
        }
        Ok(done)
    }

    /// A length as ArraySetLength takes it: a RangeError unless it is a whole
    /// number below 2^32.
    pub(crate) fn to_array_length(&mut self, value: Value<L>) -> Result<u32, Raise> {
        let as_u32 = self.to_u32(value)?;
        let number = self.to_number(value)?;
        if f64::from(as_u32) != number {
            return Err(self.throw_range("invalid array length"));
        }
        Ok(as_u32)
    }

    /// Turns every element into a listed property, so that attributes can be
    /// changed one by one: what freezing and sealing need.
    pub(crate) fn list_elements(&mut self, array: Ref) -> Result<(), Raise> {
        for index in 0..self.array_len(array) {
            if index as usize >= self.room(array) {
                break;
            }
            if let (Some(value), Some(key)) = (self.element(array, index), Key::index(index)) {
                self.add_property(array, key, value, attributes::ALL)?;
                self.set_element(array, index, Value::hole());
            }
        }
        // The block holds the length, and no element any more.
        let elements = self.heap.child(array, 2);
        if !elements.is_none() {
            self.heap.shrink(elements, self.heap.cells(elements), 1);
            self.note_room(array);
        }
        Ok(())
    }

    /// The `length` of any object (ECMA-262, LengthOfArrayLike).
    pub(crate) fn length_of(&mut self, object: Ref) -> Result<f64, Raise> {
        if object.is_cell()
            && self.heap.is_kind(object, Kind::Array)
            && self.class(object) == Class::Array
        {
            return Ok(f64::from(self.array_len(object)));
        }
        let length = self.get(object, Key::name(names::LENGTH))?;
        self.to_length(length)
    }
}

/// The most room that a header notes.
const NOTED: usize = 0xffff;
