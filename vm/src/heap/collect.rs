//! The collector: marks from the roots, sweeps, moves nothing.
//!
//! It needs no recursion: references still to be followed lie on a small mark
//! stack of fixed size. When that is full, the block is marked all the same and
//! the lowest such cell is remembered; once the stack is empty, marked blocks
//! from there on are gone through again. All it needs is in the ledger.
//!
//! Weak tables (of WeakMap and WeakSet) are in a list through their headers. What
//! they hold is marked last, entry by entry, once its key is.

use super::kinds::{Category, Kind};
use super::records::Place;
use super::{Heap, MARK_STACK};
use crate::layout::{Layout, Tag, cell_bytes};
use crate::value::{Ref, Value};

/// The state of one marking.
struct Marker {
    /// References on the mark stack.
    pending: usize,
    /// The lowest cell whose block was marked without a place on the stack.
    overflow: Option<usize>,
}

impl<L: Layout> Heap<'_, L> {
    /// Frees every block that no root leads to.
    pub(super) fn collect(&mut self) {
        let mut marker = Marker { pending: 0, overflow: None };
        self.mark_roots(&mut marker);
        self.trace(&mut marker);
        while self.mark_held(&mut marker) {}
        self.drop_dead_entries();
        self.drop_dead_keys();
        self.sweep();
    }

    /// Marks all that marked blocks lead to.
    fn trace(&mut self, marker: &mut Marker) {
        self.drain(marker);
        while let Some(first) = marker.overflow.take() {
            let mut from = first;
            while let Some((cell, marked)) = self.next_block(from) {
                if marked {
                    self.mark_children(marker, Ref::from_cell(cell));
                    self.drain(marker);
                }
                from = cell + 1;
            }
        }
    }

    /// Marks the values of weak tables whose keys are marked, and tells whether there
    /// was one: it may lead to a key of another entry. A chain of entries that lies
    /// the wrong way round takes a pass each, and no memory.
    fn mark_held(&mut self, marker: &mut Marker) -> bool {
        let mut found = false;
        let mut table = self.roots.weak;
        while let Some(cell) = table.cell() {
            for index in 0..self.half(table, 2) as usize {
                let (key, value) = (self.value(table, 2 + 2 * index), 3 + 2 * index);
                let held = self.value(table, value);
                if self.is_marked(cell) && self.lives(key) && !self.lives(held) {
                    found = true;
                    self.mark_slots(marker, table, value, value + 1);
                    self.trace(marker);
                }
            }
            table = self.child(table, 1);
        }
        found
    }

    /// Whether a value leads to no block that would be swept.
    fn lives(&self, value: Value<L>) -> bool {
        let refers = matches!(
            value.tag_if_not_number(),
            Some(Tag::Object | Tag::HeapText | Tag::HeapNumber | Tag::Symbol)
        );
        let block = if refers { Ref(value.payload()) } else { Ref::NONE };
        block.cell().is_none_or(|cell| self.is_marked(cell))
    }

    /// Empties the entries of weak tables whose keys are to be swept, and takes the
    /// tables that are to be swept themselves out of the list.
    fn drop_dead_entries(&mut self) {
        let mut table = core::mem::replace(&mut self.roots.weak, Ref::NONE);
        while let Some(cell) = table.cell() {
            let next = self.child(table, 1);
            if self.is_marked(cell) {
                for index in 0..self.half(table, 2) as usize {
                    if !self.lives(self.value(table, 2 + 2 * index)) {
                        self.set_value(table, 2 + 2 * index, Value::hole());
                        self.set_value(table, 3 + 2 * index, Value::undefined());
                        self.set_half(table, 3, self.half(table, 3) - 1);
                    }
                }
                self.set_child(table, 1, self.roots.weak);
                self.roots.weak = table;
            }
            table = next;
        }
    }

    fn mark_roots(&mut self, marker: &mut Marker) {
        for index in 0..self.roots.globals.len() {
            let globals = self.roots.globals[index];
            self.mark(marker, globals);
        }
        self.mark(marker, self.roots.changes);
        self.mark(marker, self.roots.retained);
        self.mark(marker, self.roots.templates);
        self.mark(marker, self.roots.open);
        self.mark(marker, self.roots.keys);
        self.mark_value(marker, self.roots.thrown);
        self.mark_value(marker, self.roots.key);
        for at in self.sp..self.mem.len() {
            self.mark_value(marker, Value(self.mem[at]));
            // Draining at each root keeps the mark stack shallow.
            self.drain(marker);
        }
    }

    #[inline]
    fn mark_value(&mut self, marker: &mut Marker, value: Value<L>) {
        if matches!(
            value.tag_if_not_number(),
            Some(Tag::Object | Tag::HeapText | Tag::HeapNumber | Tag::Symbol)
        ) {
            self.mark(marker, Ref(value.payload()));
        }
    }

    fn mark(&mut self, marker: &mut Marker, block: Ref) {
        let Some(cell) = block.cell() else { return };
        if self.is_marked(cell) {
            return;
        }
        self.set_marked(cell);
        if !self.kind(block).has_children() {
            return;
        }
        if marker.pending < MARK_STACK {
            self.set_pending(marker.pending, block);
            marker.pending += 1;
        } else {
            marker.overflow = Some(marker.overflow.map_or(cell, |lowest| lowest.min(cell)));
        }
    }

    fn drain(&mut self, marker: &mut Marker) {
        while marker.pending > 0 {
            marker.pending -= 1;
            let block = self.pending(marker.pending);
            self.mark_children(marker, block);
        }
    }

    pub(super) fn pending(&self, index: usize) -> Ref {
        let slot = self.mem[self.marks + index / 2];
        Ref(if index.is_multiple_of(2) { L::high(slot) } else { L::low(slot) })
    }

    pub(super) fn set_pending(&mut self, index: usize, block: Ref) {
        let at = self.marks + index / 2;
        let slot = self.mem[at];
        self.mem[at] = if index.is_multiple_of(2) {
            L::from_halves(block.0, L::low(slot))
        } else {
            L::from_halves(L::high(slot), block.0)
        };
    }

    fn mark_children(&mut self, marker: &mut Marker, block: Ref) {
        let children = |heap: &mut Self, marker: &mut Marker, halves: core::ops::Range<usize>| {
            for index in halves {
                let child = heap.child(block, index);
                heap.mark(marker, child);
            }
        };
        match self.kind(block) {
            Kind::Object => {
                children(self, marker, 1..3);
                if self.child(block, 2) == block {
                    self.mark_listed(marker, block);
                } else if self.cells(block) > 1 {
                    self.mark_slots(marker, block, 2, 4);
                }
            }
            Kind::Extra | Kind::Bound => {
                let last = if self.kind(block) == Kind::Bound { 4 } else { 3 };
                children(self, marker, 1..last);
            }
            Kind::Array => children(self, marker, 1..3),
            Kind::Closure => {
                let cells = self.cells(block);
                children(self, marker, 2..4 * cells);
            }
            Kind::Accessor => children(self, marker, 1..3),
            Kind::Properties if self.is_shape(block) => {
                children(self, marker, 2..3);
                for index in 2..2 + self.n_listed(block) {
                    self.mark_key(marker, self.slot(block, index));
                }
            }
            Kind::Properties => self.mark_listed(marker, block),
            Kind::Record => {
                children(self, marker, 1..2);
                for index in 0..self.n_listed(self.shape(block)) {
                    match self.record_place(block, index) {
                        Place::Slot(slot) => self.mark_slots(marker, block, slot, slot + 1),
                        Place::Half(half) => children(self, marker, half..half + 1),
                        Place::Integer => {}
                    }
                }
            }
            Kind::Entries => {
                children(self, marker, 1..2);
                let cells = self.cells(block);
                self.mark_slots(marker, block, 2, 2 * cells);
            }
            Kind::Elements | Kind::Globals => {
                let cells = self.cells(block);
                self.mark_slots(marker, block, 2, 2 * cells);
            }
            Kind::Box | Kind::Symbol => self.mark_slots(marker, block, 1, 2),
            Kind::KeyIterator => {
                children(self, marker, 1..2);
                self.mark_slots(marker, block, 2, 3);
            }
            Kind::ValueIterator => {
                let slots = 2 * self.cells(block);
                self.mark_slots(marker, block, 1, slots);
            }
            Kind::Changes => {
                let count = self.half(block, 1) as usize;
                children(self, marker, 2..2 + 2 * count);
            }
            _ => {}
        }
    }

    fn mark_listed(&mut self, marker: &mut Marker, table: Ref) {
        for index in 0..self.n_listed(table) {
            self.mark_key(marker, self.slot(table, 2 + 2 * index));
            self.mark_slots(marker, table, 3 + 2 * index, 4 + 2 * index);
        }
    }

    fn mark_key(&mut self, marker: &mut Marker, key: L::Slot) {
        if let Some(text) = crate::keys::key_block::<L>(key) {
            self.mark(marker, text);
        }
    }

    fn mark_slots(&mut self, marker: &mut Marker, block: Ref, from: usize, to: usize) {
        for index in from..to {
            let value = self.value(block, index);
            self.mark_value(marker, value);
        }
    }

    /// The key table does not keep its strings: those that nothing else leads to
    /// leave it.
    fn drop_dead_keys(&mut self) {
        let table = self.roots.keys;
        let Some(cell) = table.cell() else { return };
        let halves = 4 * self.block_cells(cell);
        let mut dropped = 0;
        for index in 2..halves {
            let key = self.child(table, index);
            if key.cell().is_some_and(|cell| !self.is_marked(cell)) {
                self.set_child(table, index, crate::keys::DROPPED);
                dropped += 1;
            }
        }
        let count = self.half(table, 1);
        self.set_half(table, 1, count - dropped);
    }

    fn sweep(&mut self) {
        let mut from = 0;
        let mut last_used = 0;
        while let Some((cell, marked)) = self.next_block(from) {
            let cells = self.block_cells(cell);
            from = cell + cells;
            if marked {
                self.set_unmarked(cell);
                last_used = from;
            } else {
                let block = Ref::from_cell(cell);
                let kind = self.kind(block);
                let category = kind.category();
                // Properties in an object's own block are booked as such.
                let within = if self.lists_within(cell) { cells - 1 } else { 0 };
                // In debug builds a missing root shows at its next use.
                if cfg!(debug_assertions) {
                    let at = self.base + 2 * cell;
                    self.mem[at..at + 2 * cells].fill(L::from_bits(0xdead_dead));
                }
                self.mark_free(cell, from);
                self.ledger.free(category, (cells - within) * cell_bytes::<L>());
                self.ledger.free(Category::Properties, within * cell_bytes::<L>());
            }
        }
        self.lower_top(last_used);
    }

    /// Whether the block at a cell is an object with properties in its own block, or a
    /// record: its first cell is booked as an object, the others as properties.
    pub(crate) fn lists_within(&self, cell: usize) -> bool {
        let block = Ref::from_cell(cell);
        match self.kind(block) {
            Kind::Object => self.child(block, 2) == block,
            kind => kind == Kind::Record,
        }
    }
}
