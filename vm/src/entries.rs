//! Entries: what a Map, a Set and their weak kin hold, in order of insertion.
//!
//! The entries lie one behind the other in a table. A removed one leaves a hole, so
//! that what goes through the table loses its place at no removal. When the table is
//! full, or cleared, another takes its place; the old one remembers which, and who
//! still goes through it counts how many of the entries before its place moved over.
//!
//! Up to [`FEW`] entries are searched one by one: that takes no RAM. Larger tables
//! have a block of places beside them, a half each, open addressing by hash.
//! Numbers and strings hash alike wherever they lie, references as long as blocks do not
//! move: entries are placed anew when they do, and when the table grows.
//!
//! A weak table is the same, but the collector empties entries (`heap/collect.rs`)
//! and nobody goes through it. Callers keep keys and values on the stack.

use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// The largest table without places.
const FEW: usize = 8;

/// The slots of a collection that hold its table and the table's places.
const TABLE: usize = 2;
const PLACES: usize = 3;

/// A place in a collection, for who goes through it: table and entry. The table is
/// rooted by its user.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cursor {
    pub(crate) table: Ref,
    pub(crate) index: usize,
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Makes an empty collection. The prototype is rooted by the caller.
    pub(crate) fn new_collection(&mut self, class: Class, prototype: Ref) -> Result<Ref, Raise> {
        self.new_wrapper(class, prototype, Value::undefined())
    }

    /// The block that a slot of a collection refers to.
    fn part(&self, collection: Ref, slot: usize) -> Ref {
        self.heap.value(collection, slot).as_object().unwrap_or(Ref::NONE)
    }

    pub(crate) fn entries_table(&self, collection: Ref) -> Ref {
        self.part(collection, TABLE)
    }

    /// Slots that an entry takes: a Set has no values.
    fn stride(&self, collection: Ref) -> usize {
        if self.class(collection) == Class::Set { 1 } else { 2 }
    }

    /// Entries that a table has had, holes included.
    fn n_used(&self, table: Ref) -> usize {
        if table.is_none() { 0 } else { self.heap.half(table, 2) as usize }
    }

    /// Entries that are there.
    pub(crate) fn n_entries(&self, collection: Ref) -> usize {
        let table = self.entries_table(collection);
        if table.is_none() { 0 } else { self.heap.half(table, 3) as usize }
    }

    /// The key of an entry, unless it is a hole.
    pub(crate) fn entry_key(&self, collection: Ref, table: Ref, index: usize) -> Option<Value<L>> {
        let key = self.heap.value(table, 2 + self.stride(collection) * index);
        (key != Value::hole()).then_some(key)
    }

    /// The value of an entry; of a Set's, the key.
    pub(crate) fn entry_value(&self, collection: Ref, table: Ref, index: usize) -> Value<L> {
        let stride = self.stride(collection);
        self.heap.value(table, 1 + stride + stride * index)
    }

    pub(crate) fn set_entry_value(&mut self, collection: Ref, index: usize, value: Value<L>) {
        let table = self.entries_table(collection);
        self.heap.set_value(table, 3 + 2 * index, value);
    }

    /// The entry with a key (ECMA-262, SameValueZero).
    pub(crate) fn find_entry(
        &mut self,
        collection: Ref,
        key: Value<L>,
    ) -> Result<Option<usize>, Raise> {
        let table = self.entries_table(collection);
        let places = self.part(collection, PLACES);
        if !places.is_none() {
            self.spend(1)?;
            return Ok(self.find_place(collection, key));
        }
        let used = self.n_used(table);
        self.spend(1 + used)?;
        Ok((0..used).find(|&index| self.has_key(collection, table, index, key)))
    }

    fn has_key(&self, collection: Ref, table: Ref, index: usize, key: Value<L>) -> bool {
        self.entry_key(collection, table, index).is_some_and(|own| self.same_value_zero(own, key))
    }

    fn find_place(&self, collection: Ref, key: Value<L>) -> Option<usize> {
        let (table, places) = (self.entries_table(collection), self.part(collection, PLACES));
        let count = self.n_places(places);
        let mut place = self.hash(key) % count;
        // A quarter of the places is free, so there is an end.
        loop {
            let number = self.heap.half(places, 2 + place) as usize;
            let index = number.checked_sub(1)?;
            if self.has_key(collection, table, index, key) {
                return Some(index);
            }
            place = (place + 1) % count;
        }
    }

    fn n_places(&self, places: Ref) -> usize {
        4 * self.heap.cells(places) - 2
    }

    fn hash(&self, value: Value<L>) -> usize {
        let number = self.as_number(value);
        let mut hash = match (number, self.view(value)) {
            (Some(number), _) => {
                // The two zeros are the same key.
                let bits = (number + 0.0).to_bits();
                bits as u32 ^ (bits >> 32) as u32
            }
            (_, Some(view)) => return self.hash_view(&view),
            _ => value.payload(),
        };
        // The finaliser of MurmurHash3: neighbours are to lie far apart.
        hash = (hash ^ hash >> 16).wrapping_mul(0x85eb_ca6b);
        hash = (hash ^ hash >> 13).wrapping_mul(0xc2b2_ae35);
        (hash ^ hash >> 16) as usize
    }

    /// Appends an entry with a key that is not there yet; collection, key and value
    /// are rooted by the caller.
    pub(crate) fn add_entry(
        &mut self,
        collection: Ref,
        key: Value<L>,
        value: Value<L>,
    ) -> Result<(), Raise> {
        let stride = self.stride(collection);
        if self.n_used(self.entries_table(collection)) == self.capacity(collection) {
            self.grow_entries(collection)?;
        }
        let table = self.entries_table(collection);
        let index = self.n_used(table);
        self.heap.set_value(table, 2 + stride * index, key);
        if stride == 2 {
            self.heap.set_value(table, 3 + 2 * index, value);
        }
        let there = self.heap.half(table, 3);
        self.heap.set_half(table, 2, index as u32 + 1);
        self.heap.set_half(table, 3, there + 1);
        if !self.part(collection, PLACES).is_none() {
            self.note_place(collection, key, index);
        }
        Ok(())
    }

    fn capacity(&self, collection: Ref) -> usize {
        let table = self.entries_table(collection);
        if table.is_none() { 0 } else { 2 * (self.heap.cells(table) - 1) / self.stride(collection) }
    }

    fn note_place(&mut self, collection: Ref, key: Value<L>, index: usize) {
        let places = self.part(collection, PLACES);
        let count = self.n_places(places);
        let mut place = self.hash(key) % count;
        while self.heap.half(places, 2 + place) != 0 {
            place = (place + 1) % count;
        }
        self.heap.set_half(places, 2 + place, index as u32 + 1);
    }

    /// Makes room for at least one entry more: where the table lies, if nothing was
    /// removed from it and the cells behind it are free, or in another one.
    fn grow_entries(&mut self, collection: Ref) -> Result<(), Raise> {
        let old = self.entries_table(collection);
        let (stride, there) = (self.stride(collection), self.n_entries(collection));
        let capacity = there + (there / 2).max(4);
        self.spend(there)?;
        if capacity >= 1 << L::HALF_BITS.min(30) {
            return Err(self.refuse_cells(1 + (stride * capacity).div_ceil(2)));
        }
        let cells = 1 + (stride * capacity).div_ceil(2);
        let stays = there > 0 && there == self.n_used(old);
        if !stays || !self.extend(old, self.heap.cells(old), cells) {
            self.move_entries(collection, cells)?;
        }
        let capacity = self.capacity(collection);
        self.heap.set_value(collection, PLACES, Value::undefined());
        if capacity > FEW {
            let halves = 2 + capacity + capacity / 3 + 1;
            let places = self.allocate(Kind::Places, halves.div_ceil(4))?;
            self.heap.set_value(collection, PLACES, Value::object(places));
            self.place_entries(collection);
        }
        Ok(())
    }

    /// Finds the places of all entries of a large table.
    fn place_entries(&mut self, collection: Ref) {
        let (table, places) = (self.entries_table(collection), self.part(collection, PLACES));
        for half in 2..2 + self.n_places(places) {
            self.heap.set_half(places, half, 0);
        }
        for index in 0..self.n_used(table) {
            if let Some(key) = self.entry_key(collection, table, index) {
                self.note_place(collection, key, index);
            }
        }
    }

    /// Finds the places of all entries of all large tables: blocks have moved.
    pub(crate) fn place_all(&mut self) {
        let mut from = 0;
        while let Some(cell) = self.heap.block_from(from) {
            from = cell + self.heap.block_cells(cell);
            let block = Ref::from_cell(cell);
            if self.heap.is_kind(block, Kind::Object)
                && matches!(
                    self.class(block),
                    Class::Map | Class::Set | Class::WeakMap | Class::WeakSet
                )
                && !self.part(block, PLACES).is_none()
            {
                self.place_entries(block);
            }
        }
    }

    fn move_entries(&mut self, collection: Ref, cells: usize) -> Result<(), Raise> {
        let stride = self.stride(collection);
        let weak = matches!(self.class(collection), Class::WeakMap | Class::WeakSet);
        let kind = if weak { Kind::WeakEntries } else { Kind::Entries };
        let table = self.allocate(kind, cells)?;
        self.heap.set_child(table, 1, Ref::NONE);
        if weak {
            self.heap.set_child(table, 1, self.heap.roots.weak);
            self.heap.roots.weak = table;
        }
        let old = self.entries_table(collection);
        let mut there = 0;
        for index in 0..self.n_used(old) {
            if self.entry_key(collection, old, index).is_none() {
                continue;
            }
            for part in 0..stride {
                let value = self.heap.value(old, 2 + stride * index + part);
                self.heap.set_value(table, 2 + stride * there + part, value);
            }
            there += 1;
        }
        self.heap.set_half(table, 2, there as u32);
        self.heap.set_half(table, 3, there as u32);
        if !old.is_none() && !weak {
            self.heap.set_child(old, 1, table);
        }
        self.heap.set_value(collection, TABLE, Value::object(table));
        Ok(())
    }

    /// Removes an entry, and the table with the last one.
    pub(crate) fn remove_entry(&mut self, collection: Ref, index: usize) {
        let table = self.entries_table(collection);
        let stride = self.stride(collection);
        self.heap.set_value(table, 2 + stride * index, Value::hole());
        if stride == 2 {
            self.heap.set_value(table, 3 + 2 * index, Value::undefined());
        }
        let there = self.heap.half(table, 3) - 1;
        self.heap.set_half(table, 3, there);
        if there == 0 {
            self.clear_entries(collection);
        }
    }

    /// Removes all entries: who goes through the table begins anew with the next.
    pub(crate) fn clear_entries(&mut self, collection: Ref) {
        let table = self.entries_table(collection);
        let stride = self.stride(collection);
        for index in 0..self.n_used(table) {
            self.heap.set_value(table, 2 + stride * index, Value::hole());
            if stride == 2 {
                self.heap.set_value(table, 3 + 2 * index, Value::undefined());
            }
        }
        self.heap.set_value(collection, TABLE, Value::undefined());
        self.heap.set_value(collection, PLACES, Value::undefined());
    }

    /// The start of a collection.
    pub(crate) fn first_entry(&self, collection: Ref) -> Cursor {
        Cursor { table: self.entries_table(collection), index: 0 }
    }

    /// The next entry from a place on, which moves behind it; nothing at the end.
    /// Where the cursor's table changes, its user roots the new one.
    pub(crate) fn next_entry(
        &mut self,
        collection: Ref,
        cursor: &mut Cursor,
    ) -> Result<Option<usize>, Raise> {
        let current = self.entries_table(collection);
        while cursor.table != current {
            let passed = if cursor.table.is_none() { 0 } else { cursor.index };
            self.spend(1 + passed)?;
            let moved = (0..passed)
                .filter(|&index| self.entry_key(collection, cursor.table, index).is_some())
                .count();
            let next = match cursor.table.is_none() {
                true => Ref::NONE,
                false => self.heap.child(cursor.table, 1),
            };
            // A table that was cleared leads nowhere.
            *cursor = match next.is_none() {
                true => Cursor { table: current, index: 0 },
                false => Cursor { table: next, index: moved },
            };
        }
        while cursor.index < self.n_used(current) {
            self.spend(1)?;
            cursor.index += 1;
            if self.entry_key(collection, current, cursor.index - 1).is_some() {
                return Ok(Some(cursor.index - 1));
            }
        }
        Ok(None)
    }
}
