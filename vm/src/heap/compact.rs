//! Compaction: the blocks move to the low end, in the order they are in.
//!
//! A collection leaves holes, and one block that lies high up can be in the stack's way
//! or leave no hole long enough. Blocks can move only while nothing in Rust refers to
//! one, so not where an allocation finds no room: the heap wishes for it, and the next
//! instruction that has all it works on on the machine's stack sees to it
//! (`compaction.rs` of the machine).
//!
//! Where a block moves is the number of cells in use below it, which the collector's bits
//! tell. So it takes no memory: the mark stack, which nothing else uses then, has the
//! number of every so many slots of bits.

use super::collect::Visitor;
use super::kinds::Kind;
use super::map::cells_a_slot;
use super::{Heap, MARK_STACK};
use crate::layout::Layout;
use crate::value::{Ref, Value};

/// How many slots of the collector's bits each number on the mark stack is for.
#[derive(Clone, Copy)]
pub(super) struct Numbering(usize);

impl<L: Layout> Heap<'_, L> {
    /// Moves the blocks together. To be called behind a collection, where nothing in Rust
    /// refers to a block.
    pub(crate) fn compact(&mut self) {
        let numbering = self.number_cells();
        let mut visitor = Visitor::moving(numbering);
        self.move_roots(numbering);
        for at in self.sp..self.mem.len() {
            self.visit_value(&mut visitor, at);
        }
        let mut from = 0;
        while let Some(cell) = self.block_from(from) {
            let cells = self.block_cells(cell);
            let block = Ref::from_cell(cell);
            // What the collector does not mark, but drops with what it leads to.
            match self.kind(block) {
                Kind::WeakEntries => {
                    let next = self.moved(numbering, self.child(block, 1));
                    self.set_child(block, 1, next);
                    self.visit_slots(&mut visitor, block, 2, 2 * cells);
                }
                Kind::Keys => {
                    for half in 2..4 * cells {
                        let key = self.moved(numbering, self.child(block, half));
                        self.set_child(block, half, key);
                    }
                }
                _ => self.visit_children(&mut visitor, block),
            }
            from = cell + cells;
        }
        self.slide();
    }

    fn move_roots(&mut self, numbering: Numbering) {
        for index in 0..self.roots.globals.len() {
            self.roots.globals[index] = self.moved(numbering, self.roots.globals[index]);
        }
        self.roots.changes = self.moved(numbering, self.roots.changes);
        self.roots.keys = self.moved(numbering, self.roots.keys);
        self.roots.key = self.moved_value(numbering, self.roots.key);
        self.roots.weak = self.moved(numbering, self.roots.weak);
        self.roots.retained = self.moved(numbering, self.roots.retained);
        self.roots.templates = self.moved(numbering, self.roots.templates);
        self.roots.open = self.moved(numbering, self.roots.open);
        self.roots.thrown = self.moved_value(numbering, self.roots.thrown);
    }

    /// Where a block will be.
    pub(super) fn moved(&self, Numbering(step): Numbering, block: Ref) -> Ref {
        let Some(cell) = block.cell() else { return block };
        let slot = cell / cells_a_slot::<L>();
        let place = slot / step;
        let number = self.pending(place).0 as usize + self.used_cells(place * step, cell);
        Ref::from_cell(number)
    }

    pub(super) fn moved_value(&self, numbering: Numbering, value: Value<L>) -> Value<L> {
        match (value.block(), value.tag_if_not_number()) {
            (Some(block), Some(tag)) => Value::tagged(tag, self.moved(numbering, block).0),
            _ => value,
        }
    }

    /// Numbers the cells in use.
    fn number_cells(&mut self) -> Numbering {
        let per = cells_a_slot::<L>();
        let step = self.top.div_ceil(per).div_ceil(MARK_STACK).max(1);
        let mut number = 0;
        for place in 0..MARK_STACK {
            self.set_pending(place, Ref(number as u32));
            let end = ((place + 1) * step * per).min(self.top);
            number += self.used_cells(place * step, end);
        }
        Numbering(step)
    }

    /// Moves the blocks, and their bits with them.
    fn slide(&mut self) {
        let (mut from, mut to) = (0, 0);
        while let Some(cell) = self.block_from(from) {
            let cells = self.block_cells(cell);
            from = cell + cells;
            if to < cell {
                let at = self.base + 2 * cell;
                self.mem.copy_within(at..at + 2 * cells, self.base + 2 * to);
                self.mark_free(cell, from);
                self.mark_taken(to, cells);
            }
            to += cells;
        }
        // In debug builds what still refers to where a block was shows at its next use.
        if cfg!(debug_assertions) {
            let (start, end) = (self.base + 2 * to, self.base + 2 * self.top);
            self.mem[start..end].fill(L::from_bits(0xdead_dead));
        }
        self.lower_top(to);
        self.compacted = to;
        self.search = 0;
        self.run = (0, 0);
    }
}
