//! Arrays: elements in a block of their own, and the sparse ones as properties. How a
//! block holds them is in `elements.rs`.
//!
//! An element lies in the elements block while its index is within the block; an
//! index far behind it, or an element with attributes of its own, is a listed
//! property. The elements block also holds the length, so an empty array has none.

use crate::Host;
use crate::define::Descriptor;
use crate::elements::Width;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::holders::flags;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::{Layout, Tag};
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Makes an array with room for that many elements and length 0.
    pub(crate) fn new_array(&mut self, room: usize) -> Result<Ref, Raise> {
        self.new_array_of(Class::Array, Width::SLOT, room)
    }

    /// The same with the width to begin with: a guess, or what is sure to be needed.
    pub(crate) fn new_array_of(
        &mut self,
        class: Class,
        width: Width,
        room: usize,
    ) -> Result<Ref, Raise> {
        let array = self.allocate(Kind::Array, 1)?;
        self.heap.set_child(array, 1, Ref::NONE);
        self.heap.set_child(array, 2, Ref::NONE);
        self.heap.set_half(array, 3, class as u32);
        if room > 0 {
            self.push(Value::object(array))?;
            let made = self.make_elements(array, width, room);
            self.pop();
            made?;
        }
        Ok(array)
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

    /// Appends to an array that is being made: array and value are rooted.
    pub(crate) fn append(&mut self, array: Ref, value: Value<L>) -> Result<(), Raise> {
        let length = self.array_len(array);
        self.put_element(array, length, value).map(drop)
    }

    /// The array, if it is one with neither properties nor a prototype of its own
    /// and no script has changed a built-in.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn as_bare_array(&self, value: Value<L>) -> Option<Ref> {
        let object = value.as_object().filter(|object| object.is_cell())?;
        let bare = self.heap.is_kind(object, Kind::Array)
            && self.heap.child(object, 1).is_none()
            && self.heap.half(object, 3) & flags::CLASS == Class::Array as u32
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
            self.refit(array, at + 1, Width::of(value))?;
        }
        // A value that is too wide widens the block for what is there and itself.
        if index >= self.array_len(array) {
            let elements = self.heap.child(array, 2);
            self.heap.set_slot(elements, 1, L::from_bits(u64::from(index) + 1));
        }
        self.set_element(array, index, value)?;
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
            self.make_elements(array, Width::NARROWEST, 0)?;
        }
        if length > self.array_len(array) {
            let elements = self.heap.child(array, 2);
            self.heap.set_slot(elements, 1, L::from_bits(u64::from(length)));
        }
        Ok(())
    }

    /// Makes room for that many elements of an empty array, if the heap has it:
    /// where a length is only a wish, the array can still grow step by step.
    pub(crate) fn reserve_if_room(&mut self, array: Ref, width: Width, room: usize) {
        if room > self.room(array)
            && self.heap.child(array, 2).is_none()
            && let Err(_) = self.make_elements(array, width, room)
        {
            debug_assert!(self.heap.child(array, 2).is_none());
        }
    }

    /// Puts room for new elements in the place of old ones, in an array all of
    /// whose elements lie in its block. What the room holds is left over, and no
    /// narrower than the width.
    pub(crate) fn open_gap(
        &mut self,
        array: Ref,
        at: u32,
        [n_old, n_new]: [u32; 2],
        width: Width,
    ) -> Result<(), Raise> {
        let before = self.array_len(array);
        let after = before - n_old + n_new;
        let behind = before - at - n_old;
        if n_new <= n_old {
            self.move_elements(array, at + n_old, at + n_new, behind);
            return self.set_array_len(array, after).map(drop);
        }
        if after as usize > self.room(array) {
            self.refit(array, after as usize, width)?;
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
        let large = if is_array { self.array_index(key) } else { None };
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

    /// ECMA-262, "Array index": that of a key, if it is one. Those past what a key holds
    /// are kept as text.
    pub(crate) fn array_index(&self, key: Key) -> Option<u32> {
        let view = match key.kind() {
            KeyKind::Index(index) => return Some(index),
            KeyKind::Name(_) => return None,
            KeyKind::Constant(constant) => {
                self.view(Value::tagged(Tag::ImageText, constant.payload()))?
            }
            KeyKind::Text(block) if self.heap.is_kind(block, Kind::Symbol) => return None,
            KeyKind::Text(block) => self.heap_view(block),
        };
        if view.len() > 10 || view.len() < 8 {
            return None;
        }
        let mut index = 0u64;
        for at in 0..view.len() {
            let digit = self.unit(&view, at).wrapping_sub(u16::from(b'0'));
            if digit > 9 || (at == 0 && digit == 0) {
                return None;
            }
            index = index * 10 + u64::from(digit);
        }
        u32::try_from(index).ok().filter(|&index| index < u32::MAX)
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
        let room = self.room(array) as u32;
        for at in reached..before.min(room) {
            self.clear_element(array, at);
        }
        self.heap.set_slot(elements, 1, L::from_bits(u64::from(reached)));
        self.cut_elements(array, reached as usize);
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
            if let Some(place) =
                self.array_index(key).filter(|&place| place >= length && place < before)
                && !own.is(attributes::CONFIGURABLE)
            {
                reached = reached.max(place + 1);
            }
        }
        let mut index = 0;
        while !table.is_none() && index < self.heap.n_listed(table) {
            let key = self.property_at(table, index).map(|(key, _)| key);
            match key.and_then(|key| Some((key, self.array_index(key)?))) {
                Some((key, place)) if place >= reached => self.remove_listed(holder, key),
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
                self.clear_element(array, index);
            }
        }
        // The block holds the length, and no element any more.
        self.drop_room(array);
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
