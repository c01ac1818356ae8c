//! Property tables: the listed properties of an object, in order of creation.
//!
//! A plain object begins with its properties in its own block, behind its one cell:
//! its reference to a table is then one to itself, and the count lies above its
//! flags. That saves the table's header, a cell in four of an object of two
//! properties. Where the block cannot grow, they move to a table of their own.
//! Host instructions of `examples/once` under callgrind, against a table for every
//! object: 0.972 of them on `binary_trees`, 1.000 to 1.008 on `nbody`, `closures`,
//! `json_records` and `sort_heap`.
//!
//! It refuses to know what an object has besides its table.

use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::holders::flags;
use crate::keys::{Key, attributes};
use crate::layout::{Layout, special};
use crate::object::{Class, Own};
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// The most properties in an object's own block: their count has the six bits of
/// a half above class and flags.
pub(crate) const MOST_WITHIN: usize = 63;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    #[inline]
    pub(crate) fn find_in_properties(&self, table: Ref, key: Key) -> Option<usize> {
        if table.is_none() {
            return None;
        }
        let count = self.heap.n_listed(table);
        let at = self.heap.slot_of(table);
        let entries = &self.heap.mem[at + 2..at + 2 + 2 * count];
        entries.chunks_exact(2).position(|entry| Key::from_slot::<L>(entry[0]).0 == key)
    }

    /// Whether an object or a table is one that the collector has folded.
    #[inline]
    pub(crate) fn is_record(&self, object: Ref) -> bool {
        object.is_cell() && self.heap.is_kind(object, Kind::Record)
    }

    /// What lists the properties of a holder, or nothing: a table, or a record.
    #[inline]
    pub(crate) fn table_of(&self, holder: Ref) -> Ref {
        if holder.is_none() || self.is_record(holder) { holder } else { self.heap.child(holder, 2) }
    }

    /// How many properties a table or a record has.
    pub(crate) fn n_properties(&self, table: Ref) -> usize {
        match table.is_none() {
            true => 0,
            false if self.is_record(table) => self.heap.n_listed(self.heap.shape(table)),
            false => self.heap.n_listed(table),
        }
    }

    /// A key of a table or a record, and its attributes.
    pub(crate) fn listed_key(&self, table: Ref, index: usize) -> (Key, u8) {
        Key::from_slot::<L>(match self.is_record(table) {
            true => self.heap.shape_key(self.heap.shape(table), index),
            false => self.heap.slot(table, 2 + 2 * index),
        })
    }

    /// Where a table or a record has a property.
    #[inline]
    pub(crate) fn find_listed(&self, table: Ref, key: Key) -> Option<usize> {
        if !self.is_record(table) {
            return self.find_in_properties(table, key);
        }
        self.find_in_shape(table, key)
    }

    #[inline(never)]
    fn find_in_shape(&self, table: Ref, key: Key) -> Option<usize> {
        let shape = self.heap.shape(table);
        let at = self.heap.slot_of(shape) + 2;
        let keys = &self.heap.mem[at..at + self.heap.n_listed(shape)];
        keys.iter().position(|&slot| Key::from_slot::<L>(slot).0 == key)
    }

    /// Has the properties of a holder in a table again, if the collector has folded it.
    /// It is rooted by the caller.
    pub(crate) fn unfold(&mut self, holder: Ref) -> Result<(), Raise> {
        let record = self.table_of(holder);
        if !self.is_record(record) {
            return Ok(());
        }
        let cells = self.heap.cells(record);
        let room = 1 + self.n_properties(record);
        let table = match self.extend(record, cells, room) {
            true => record,
            false => self.allocate(Kind::Properties, room)?,
        };
        self.heap.unfold(holder, record, table);
        Ok(())
    }

    /// Changes the value of a listed property, and tells whether there is one.
    pub(crate) fn set_listed(
        &mut self,
        holder: Ref,
        key: Key,
        value: Value<L>,
    ) -> Result<bool, Raise> {
        let table = self.table_of(holder);
        let Some(index) = self.find_listed(table, key) else { return Ok(false) };
        if !self.is_record(table) || !self.heap.set_record_value(table, index, value) {
            self.unfold(holder)?;
            let table = self.heap.child(holder, 2);
            self.heap.set_value(table, 3 + 2 * index, value);
        }
        Ok(true)
    }

    /// An own property of a holder's table. The inner `None` marks one deleted
    /// from what the object has in flash or by nature.
    #[inline]
    pub(crate) fn listed(&self, holder: Ref, key: Key) -> Option<Option<Own<L>>> {
        self.listed_in(self.table_of(holder), key)
    }

    /// The same by what lists the properties.
    #[inline]
    pub(crate) fn listed_in(&self, table: Ref, key: Key) -> Option<Option<Own<L>>> {
        if self.is_record(table) {
            return self.listed_in_record(table, key);
        }
        let index = self.find_in_properties(table, key)?;
        Some(
            self.own_of(
                self.heap.slot(table, 2 + 2 * index),
                self.heap.value(table, 3 + 2 * index),
            ),
        )
    }

    #[inline(never)]
    fn listed_in_record(&self, record: Ref, key: Key) -> Option<Option<Own<L>>> {
        let index = self.find_in_shape(record, key)?;
        Some(self.property_at(record, index).map(|(_, own)| own))
    }

    /// A property by its place in a table or a record, unless it is marked deleted.
    pub(crate) fn property_at(&self, table: Ref, index: usize) -> Option<(Key, Own<L>)> {
        let (slot, value) = match self.is_record(table) {
            true => {
                let key = self.heap.shape_key(self.heap.shape(table), index);
                (key, self.heap.record_value(table, index))
            }
            false => (self.heap.slot(table, 2 + 2 * index), self.heap.value(table, 3 + 2 * index)),
        };
        Some((Key::from_slot::<L>(slot).0, self.own_of(slot, value)?))
    }

    /// A property by its key slot and its value, unless it is marked deleted.
    #[inline]
    fn own_of(&self, slot: L::Slot, value: Value<L>) -> Option<Own<L>> {
        let (_, attributes) = Key::from_slot::<L>(slot);
        if attributes & attributes::ACCESSOR != 0 {
            let pair = Ref(value.payload());
            let (getter, setter) = (self.heap.child(pair, 1), self.heap.child(pair, 2));
            let attributes = attributes & !attributes::ACCESSOR;
            return Some(Own::Accessor { getter, setter, attributes });
        }
        if value == Value::special(special::DELETED) {
            return None;
        }
        Some(Own::Data { value, attributes })
    }

    /// Appends to the property table, or overwrites what is listed there. Both
    /// object and value are rooted by the caller.
    pub(crate) fn add_property(
        &mut self,
        object: Ref,
        key: Key,
        value: Value<L>,
        attributes: u8,
    ) -> Result<(), Raise> {
        self.keep_key(key);
        let holder = self.make_holder(object)?;
        let table = self.heap.child(holder, 2);
        if let Some(index) = self.find_in_properties(table, key) {
            self.heap.set_slot(table, 2 + 2 * index, key.with_attributes::<L>(attributes));
            self.heap.set_value(table, 3 + 2 * index, value);
            return Ok(());
        }
        self.append_listed(holder, key, value, attributes)
    }

    /// Lists a property behind the others of a holder that is not folded and lists none of
    /// that key. All are rooted by the caller, the key by `keep_key`.
    pub(crate) fn append_listed(
        &mut self,
        holder: Ref,
        key: Key,
        value: Value<L>,
        attributes: u8,
    ) -> Result<(), Raise> {
        let table = self.heap.child(holder, 2);
        let (count, cells) = match table.is_none() {
            true => (0, 0),
            false => (self.heap.n_listed(table), self.heap.cells(table)),
        };
        let mut table = table;
        if count + 1 >= cells || table == holder && count == MOST_WITHIN {
            table = self.grow_properties(holder, table, count, cells)?;
        }
        self.heap.set_slot(table, 2 + 2 * count, key.with_attributes::<L>(attributes));
        self.heap.set_value(table, 3 + 2 * count, value);
        self.heap.set_n_listed(table, count + 1);
        Ok(())
    }

    /// Does what may collect while the holder's table grows: the collector leaves it as
    /// it is, whether the machine's stack leads there or something else.
    fn growing<T>(&mut self, holder: Ref, grow: impl FnOnce(&mut Self) -> T) -> T {
        let bits = self.heap.half(holder, 3);
        self.heap.set_half(holder, 3, bits | flags::GROWING);
        let grown = grow(self);
        let bits = self.heap.half(holder, 3);
        self.heap.set_half(holder, 3, bits & !flags::GROWING);
        grown
    }

    fn grow_properties(
        &mut self,
        holder: Ref,
        table: Ref,
        count: usize,
        cells: usize,
    ) -> Result<Ref, Raise> {
        if count + 1 >= 1 << L::HALF_BITS.min(16) {
            return Err(self.refuse_cells(cells + 1));
        }
        if table.is_none() && self.list_within(holder, 1) {
            return Ok(holder);
        }
        let more = cells.max(1) + 1 + count / 4;
        let counts = table != holder || count < MOST_WITHIN;
        if cells > 0
            && counts
            && self.growing(holder, |vm| {
                vm.extend(table, cells, more) || vm.extend(table, cells, cells + 1)
            })
        {
            return Ok(table);
        }
        let grown = self.growing(holder, |vm| vm.allocate(Kind::Properties, more))?;
        for slot in 2..2 + 2 * count {
            let kept = self.heap.slot(table, slot);
            self.heap.set_slot(grown, slot, kept);
        }
        self.heap.set_half(grown, 1, count as u32);
        self.heap.set_child(holder, 2, grown);
        if table == holder {
            // The object keeps its one cell; the others are free at once.
            self.heap.set_n_listed(holder, 0);
            self.heap.shrink(holder, cells, 1);
        }
        Ok(grown)
    }

    /// Gives a plain object without a table room for that many properties in its
    /// own block, if the cells behind it are free.
    pub(crate) fn list_within(&mut self, object: Ref, room: usize) -> bool {
        let plain = self.heap.is_kind(object, Kind::Object)
            && self.heap.half(object, 3) & flags::CLASS == Class::Plain as u32;
        plain && room <= MOST_WITHIN && self.extend_object(object, room)
    }

    /// Takes a property out of the table; the order of the others stays.
    pub(crate) fn remove_listed(&mut self, holder: Ref, key: Key) {
        let table = self.heap.child(holder, 2);
        if let Some(index) = self.find_in_properties(table, key) {
            let count = self.heap.n_listed(table);
            let at = self.heap.slot_of(table) + 2;
            self.heap.mem.copy_within(at + 2 * (index + 1)..at + 2 * count, at + 2 * index);
            self.heap.set_value(table, 3 + 2 * (count - 1), Value::undefined());
            self.heap.set_n_listed(table, count - 1);
        }
    }
}
