//! Property tables: the listed properties of an object, in order of creation.
//!
//! It refuses to know what an object has besides its table.

use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::{Key, attributes};
use crate::layout::{Layout, special};
use crate::object::Own;
use crate::value::{Ref, Value};
use crate::vm::Vm;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    #[inline]
    pub(crate) fn find_in_properties(&self, table: Ref, key: Key) -> Option<usize> {
        if table.is_none() {
            return None;
        }
        let at = self.heap.slot_of(table);
        let count = L::low(self.heap.mem[at]) as usize;
        let entries = &self.heap.mem[at + 2..at + 2 + 2 * count];
        entries.chunks_exact(2).position(|entry| Key::from_slot::<L>(entry[0]).0 == key)
    }

    /// An own property of a holder's table. The inner `None` marks one deleted
    /// from what the object has in flash or by nature.
    #[inline]
    pub(crate) fn listed(&self, holder: Ref, key: Key) -> Option<Option<Own<L>>> {
        if holder.is_none() {
            return None;
        }
        let table = self.heap.child(holder, 2);
        let index = self.find_in_properties(table, key)?;
        Some(self.property_at(table, index).map(|(_, own)| own))
    }

    /// A property by its place in a table, unless it is marked deleted.
    pub(crate) fn property_at(&self, table: Ref, index: usize) -> Option<(Key, Own<L>)> {
        let (key, attributes) = Key::from_slot::<L>(self.heap.slot(table, 2 + 2 * index));
        let value = self.heap.value(table, 3 + 2 * index);
        if attributes & attributes::ACCESSOR != 0 {
            let pair = Ref(value.payload());
            let (getter, setter) = (self.heap.child(pair, 1), self.heap.child(pair, 2));
            let attributes = attributes & !attributes::ACCESSOR;
            return Some((key, Own::Accessor { getter, setter, attributes }));
        }
        if value == Value::special(special::DELETED) {
            return None;
        }
        Some((key, Own::Data { value, attributes }))
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
        let (count, cells) = match table.is_none() {
            true => (0, 0),
            false => (self.heap.half(table, 1) as usize, self.heap.cells(table)),
        };
        let mut table = table;
        if count + 1 >= cells {
            table = self.grow_properties(holder, table, count, cells)?;
        }
        self.heap.set_slot(table, 2 + 2 * count, key.with_attributes::<L>(attributes));
        self.heap.set_value(table, 3 + 2 * count, value);
        self.heap.set_half(table, 1, count as u32 + 1);
        Ok(())
    }

    fn grow_properties(
        &mut self,
        holder: Ref,
        table: Ref,
        count: usize,
        cells: usize,
    ) -> Result<Ref, Raise> {
        if count + 1 >= 1 << L::HALF_BITS.min(16) {
            return Err(Raise::stop(crate::error::StopKind::Heap));
        }
        let more = cells.max(1) + 1 + count / 4;
        if cells > 0 && (self.extend(table, cells, more) || self.extend(table, cells, cells + 1)) {
            return Ok(table);
        }
        let grown = self.allocate(Kind::Properties, more)?;
        for slot in 2..2 + 2 * count {
            let kept = self.heap.slot(table, slot);
            self.heap.set_slot(grown, slot, kept);
        }
        self.heap.set_half(grown, 1, count as u32);
        self.heap.set_child(holder, 2, grown);
        Ok(grown)
    }

    /// Takes a property out of the table; the order of the others stays.
    pub(crate) fn remove_listed(&mut self, object: Ref, key: Key) {
        let holder = self.holder(object);
        if holder.is_none() {
            return;
        }
        let table = self.heap.child(holder, 2);
        if let Some(index) = self.find_in_properties(table, key) {
            let count = self.heap.half(table, 1) as usize;
            let at = self.heap.slot_of(table) + 2;
            self.heap.mem.copy_within(at + 2 * (index + 1)..at + 2 * count, at + 2 * index);
            self.heap.set_value(table, 3 + 2 * (count - 1), Value::undefined());
            self.heap.set_half(table, 1, count as u32 - 1);
        }
    }
}
