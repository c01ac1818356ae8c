//! The collector: marks from the roots and sweeps. It moves nothing: `compact.rs`.
//!
//! It needs no recursion: references still to be followed lie on a small mark
//! stack of fixed size. When that is full, the block is marked all the same and
//! the lowest such cell is remembered; once the stack is empty, marked blocks
//! from there on are gone through again. All it needs is in the ledger.
//!
//! Weak tables (of WeakMap and WeakSet) are in a list through their headers. What
//! they hold is marked last, entry by entry, once its key is.

use super::compact::Numbering;
use super::kinds::{Category, Kind};
use super::records::Place;
use super::{Heap, MARK_STACK};
use crate::layout::{Layout, cell_bytes};
use crate::value::{Ref, Value};

/// Who goes through references: marks the blocks that they lead to, or leads them to
/// where those move.
#[derive(Default)]
pub(super) struct Visitor {
    /// How the mark stack numbers the cells, where blocks move (`compact.rs`).
    moves: Option<Numbering>,
    /// References on the mark stack.
    pending: usize,
    /// The lowest cell whose block was marked without a place on the stack.
    overflow: Option<usize>,
}

impl Visitor {
    /// One that leads references to where blocks move.
    pub(super) fn moving(numbering: Numbering) -> Visitor {
        Visitor { moves: Some(numbering), ..Visitor::default() }
    }
}

impl<L: Layout> Heap<'_, L> {
    /// Frees every block that no root leads to.
    pub(super) fn collect(&mut self) {
        let mut visitor = Visitor::default();
        self.mark_roots(&mut visitor);
        self.trace(&mut visitor);
        while self.mark_held(&mut visitor) {}
        self.drop_dead_entries();
        self.drop_dead_keys();
        self.sweep();
    }

    /// Marks all that marked blocks lead to.
    fn trace(&mut self, visitor: &mut Visitor) {
        self.drain(visitor);
        while let Some(first) = visitor.overflow.take() {
            let mut from = first;
            while let Some((cell, marked)) = self.next_block(from) {
                if marked {
                    self.visit_children(visitor, Ref::from_cell(cell));
                    self.drain(visitor);
                }
                from = cell + 1;
            }
        }
    }

    /// Marks the values of weak tables whose keys are marked, and tells whether there
    /// was one: it may lead to a key of another entry. A chain of entries that lies
    /// the wrong way round takes a pass each, and no memory.
    fn mark_held(&mut self, visitor: &mut Visitor) -> bool {
        let mut found = false;
        let mut table = self.roots.weak;
        while let Some(cell) = table.cell() {
            for index in 0..self.half(table, 2) as usize {
                let (key, value) = (self.value(table, 2 + 2 * index), 3 + 2 * index);
                let held = self.value(table, value);
                if self.is_marked(cell) && self.lives(key) && !self.lives(held) {
                    found = true;
                    self.visit_slots(visitor, table, value, value + 1);
                    self.trace(visitor);
                }
            }
            table = self.child(table, 1);
        }
        found
    }

    /// Whether a value leads to no block that would be swept.
    fn lives(&self, value: Value<L>) -> bool {
        value.block().and_then(Ref::cell).is_none_or(|cell| self.is_marked(cell))
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

    fn mark_roots(&mut self, visitor: &mut Visitor) {
        for index in 0..self.roots.globals.len() {
            let globals = self.roots.globals[index];
            self.mark(visitor, globals);
        }
        self.mark(visitor, self.roots.changes);
        self.mark(visitor, self.roots.retained);
        self.mark(visitor, self.roots.templates);
        self.mark(visitor, self.roots.open);
        self.mark(visitor, self.roots.keys);
        self.mark_value(visitor, self.roots.thrown);
        self.mark_value(visitor, self.roots.key);
        for at in self.sp..self.mem.len() {
            self.visit_value(visitor, at);
            // Draining at each root keeps the mark stack shallow.
            self.drain(visitor);
        }
    }

    #[inline]
    fn visit_half(&mut self, visitor: &mut Visitor, block: Ref, half: usize) {
        let child = self.child(block, half);
        match visitor.moves {
            None => self.mark(visitor, child),
            Some(numbering) => self.set_child(block, half, self.moved(numbering, child)),
        }
    }

    /// Visits what a slot refers to.
    #[inline]
    pub(super) fn visit_value(&mut self, visitor: &mut Visitor, at: usize) {
        let value = Value::<L>(self.mem[at]);
        match visitor.moves {
            None => self.mark_value(visitor, value),
            Some(numbering) => self.mem[at] = self.moved_value(numbering, value).0,
        }
    }

    /// Visits what a property's key in a slot refers to.
    fn visit_key(&mut self, visitor: &mut Visitor, at: usize) {
        let key = self.mem[at];
        let Some(block) = crate::keys::key_block::<L>(key) else { return };
        match visitor.moves {
            None => self.mark(visitor, block),
            Some(numbering) => {
                let moved = self.moved(numbering, block);
                self.mem[at] = crate::keys::with_key_block::<L>(key, moved);
            }
        }
    }

    fn mark_value(&mut self, visitor: &mut Visitor, value: Value<L>) {
        if let Some(block) = value.block() {
            self.mark(visitor, block);
        }
    }

    fn mark(&mut self, visitor: &mut Visitor, block: Ref) {
        let Some(cell) = block.cell() else { return };
        if self.is_marked(cell) {
            return;
        }
        self.set_marked(cell);
        if !self.kind(block).has_children() {
            return;
        }
        if visitor.pending < MARK_STACK {
            self.set_pending(visitor.pending, block);
            visitor.pending += 1;
        } else {
            visitor.overflow = Some(visitor.overflow.map_or(cell, |lowest| lowest.min(cell)));
        }
    }

    fn drain(&mut self, visitor: &mut Visitor) {
        while visitor.pending > 0 {
            visitor.pending -= 1;
            let block = self.pending(visitor.pending);
            self.visit_children(visitor, block);
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

    /// Visits all that a block refers to, but for what weak tables hold: marks it, or
    /// leads to where it moves. What else the block says of itself stays as it is until
    /// all is visited.
    pub(super) fn visit_children(&mut self, visitor: &mut Visitor, block: Ref) {
        match self.kind(block) {
            Kind::Object => {
                let own = self.child(block, 2) == block;
                self.visit_halves(visitor, block, 1, 3);
                if own {
                    self.visit_listed(visitor, block);
                } else if self.cells(block) > 1 {
                    self.visit_slots(visitor, block, 2, 4);
                }
            }
            Kind::Extra | Kind::Array | Kind::Accessor => {
                self.visit_halves(visitor, block, 1, 3);
            }
            Kind::Bound => self.visit_halves(visitor, block, 1, 4),
            Kind::Closure => {
                let cells = self.cells(block);
                self.visit_halves(visitor, block, 2, 4 * cells);
            }
            Kind::Properties if self.is_shape(block) => {
                self.visit_halves(visitor, block, 2, 3);
                for index in 2..2 + self.n_listed(block) {
                    self.visit_key(visitor, self.slot_of(block) + index);
                }
            }
            Kind::Properties => self.visit_listed(visitor, block),
            Kind::Record => {
                for index in 0..self.n_listed(self.shape(block)) {
                    match self.record_place(block, index) {
                        Place::Slot(slot) => self.visit_slots(visitor, block, slot, slot + 1),
                        Place::Half(half) => self.visit_half(visitor, block, half),
                        Place::Integer => {}
                    }
                }
                // The shape last: it tells where the values are.
                self.visit_half(visitor, block, 1);
            }
            Kind::Entries => {
                self.visit_half(visitor, block, 1);
                let cells = self.cells(block);
                self.visit_slots(visitor, block, 2, 2 * cells);
            }
            Kind::Elements | Kind::Globals => {
                let cells = self.cells(block);
                self.visit_slots(visitor, block, 2, 2 * cells);
            }
            Kind::Box | Kind::Symbol => self.visit_slots(visitor, block, 1, 2),
            Kind::KeyIterator => {
                self.visit_half(visitor, block, 1);
                self.visit_slots(visitor, block, 2, 3);
            }
            Kind::ValueIterator => {
                let slots = 2 * self.cells(block);
                self.visit_slots(visitor, block, 1, slots);
            }
            Kind::Changes => {
                let count = self.half(block, 1) as usize;
                self.visit_halves(visitor, block, 2, 2 + 2 * count);
            }
            _ => {}
        }
    }

    fn visit_halves(&mut self, visitor: &mut Visitor, block: Ref, from: usize, to: usize) {
        for half in from..to {
            self.visit_half(visitor, block, half);
        }
    }

    fn visit_listed(&mut self, visitor: &mut Visitor, table: Ref) {
        let at = self.slot_of(table);
        for index in 0..self.n_listed(table) {
            self.visit_key(visitor, at + 2 + 2 * index);
            self.visit_value(visitor, at + 3 + 2 * index);
        }
    }

    pub(super) fn visit_slots(
        &mut self,
        visitor: &mut Visitor,
        block: Ref,
        from: usize,
        to: usize,
    ) {
        let at = self.slot_of(block);
        for slot in at + from..at + to {
            self.visit_value(visitor, slot);
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

    /// Frees what is not marked, and takes the marks away: those of a whole slot of the map at
    /// once, so that a block that lives costs next to nothing.
    fn sweep(&mut self) {
        // Most of what is freed are numbers, a cell each, which are booked together.
        let (mut last, mut n_numbers) = (None, 0);
        for slot in 0..self.bits_in_use() {
            let heads = self.take_marks(slot);
            last = heads.last_marked.or(last);
            for cell in heads.unmarked {
                match self.kind(Ref::from_cell(cell)) {
                    Kind::Number => {
                        self.spoil(cell, 1);
                        self.set_free(cell);
                        n_numbers += 1;
                    }
                    kind => self.free_block(cell, kind),
                }
            }
        }
        self.ledger.free(Category::Numbers, n_numbers * cell_bytes::<L>());
        self.lower_top(last.map_or(0, |cell| cell + self.block_cells(cell)));
    }

    /// In debug builds a missing root shows at its next use.
    #[inline(always)]
    fn spoil(&mut self, cell: usize, cells: usize) {
        if cfg!(debug_assertions) {
            let at = self.base + 2 * cell;
            self.mem[at..at + 2 * cells].fill(L::from_bits(0xdead_dead));
        }
    }

    fn free_block(&mut self, cell: usize, kind: Kind) {
        let cells = self.block_cells(cell);
        // Properties in an object's own block are booked as such.
        let within = if self.lists_within(cell) { cells - 1 } else { 0 };
        self.spoil(cell, cells);
        self.mark_free(cell, cell + cells);
        self.ledger.free(kind.category(), (cells - within) * cell_bytes::<L>());
        self.ledger.free(Category::Properties, within * cell_bytes::<L>());
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
