//! Equal strings and numbers, once.
//!
//! Neither has an identity that a script could see: where a collection leaves little
//! room, the collector leads references to equal ones to one of them, and the others are
//! garbage at the next. It looks at what objects and arrays hold, through a small table
//! by content that forgets: what comes often is found, at no cost in memory. The table
//! is the mark stack, which nothing else uses then.
//!
//! What a holder on the machine's stack leads to is left alone: a built-in may hold it
//! and count on the holder to keep it.

use super::kinds::Kind;
use super::records::Place;
use super::{Heap, MARK_STACK};
use crate::layout::{Layout, Tag};
use crate::value::{Ref, Value};

/// The most slots of a string that is compared with others.
const MOST_SLOTS: usize = 16;

impl<L: Layout> Heap<'_, L> {
    /// Leads what refers to equal strings or numbers to one of them, and tells whether
    /// there were any. To be called behind a collection: no block is marked.
    pub(super) fn share(&mut self) -> bool {
        for place in 0..MARK_STACK {
            self.set_pending(place, Ref::NONE);
        }
        for at in self.sp..self.mem.len() {
            if let Some(holder) = Value::<L>(self.mem[at]).as_object().filter(|it| it.is_cell()) {
                self.pin_values(holder);
                if matches!(self.kind(holder), Kind::Object | Kind::Array) {
                    self.pin_values(self.child(holder, 2));
                }
            }
        }
        let mut shared = false;
        let mut from = 0;
        while let Some(cell) = self.block_from(from) {
            from = cell + self.block_cells(cell);
            let holder = Ref::from_cell(cell);
            for index in 0..self.n_values(holder) {
                shared |= self.share_value(holder, index);
            }
        }
        for slot in 0..self.bits_in_use() {
            self.take_marks(slot);
        }
        shared
    }

    /// Marks the strings and numbers that a block holds.
    fn pin_values(&mut self, holder: Ref) {
        for index in 0..self.n_values(holder) {
            if let Some(cell) = self.content(holder, index).cell() {
                self.set_marked(cell);
            }
        }
    }

    fn share_value(&mut self, holder: Ref, index: usize) -> bool {
        let block = self.content(holder, index);
        let Some(cell) = block.cell() else { return false };
        let like = self.like(block);
        if like == block || self.is_marked(cell) {
            return false;
        }
        match self.value_place(holder, index) {
            Place::Slot(slot) => {
                let tag = match self.kind(block) {
                    Kind::Number => Tag::HeapNumber,
                    _ => Tag::HeapText,
                };
                self.set_value(holder, slot, Value::tagged(tag, like.0));
            }
            Place::Half(half) => self.set_child(holder, half, like),
            Place::Integer => {}
        }
        true
    }

    /// How many values a block holds: property tables, records and elements, and no
    /// others.
    fn n_values(&self, holder: Ref) -> usize {
        if !holder.is_cell() {
            return 0;
        }
        match self.kind(holder) {
            Kind::Record => self.n_listed(self.shape(holder)),
            Kind::Object if self.child(holder, 2) == holder => self.n_listed(holder),
            Kind::Properties if !self.is_shape(holder) => self.n_listed(holder),
            Kind::Elements => 2 * self.cells(holder) - 2,
            _ => 0,
        }
    }

    fn value_place(&self, holder: Ref, index: usize) -> Place {
        match self.kind(holder) {
            Kind::Record => self.record_place(holder, index),
            Kind::Elements => Place::Slot(2 + index),
            _ => Place::Slot(3 + 2 * index),
        }
    }

    /// The block of a string or a number that a block holds, or nothing.
    fn content(&self, holder: Ref, index: usize) -> Ref {
        match self.value_place(holder, index) {
            Place::Slot(slot) => {
                let value = self.value(holder, slot);
                match value.tag_if_not_number() {
                    Some(Tag::HeapText | Tag::HeapNumber) => Ref(value.payload()),
                    _ => Ref::NONE,
                }
            }
            Place::Half(half) => self.child(holder, half),
            Place::Integer => Ref::NONE,
        }
    }

    /// How many slots of a block make up a string or a number that is compared.
    fn n_compared(&self, block: Ref) -> usize {
        let units = match self.kind(block) {
            Kind::Number => return 2,
            Kind::Latin1 => self.half(block, 1) as usize,
            Kind::Utf16 => 2 * self.half(block, 1) as usize,
            _ => return 0,
        };
        let slots = 1 + units.div_ceil(L::SLOT_BYTES);
        if slots <= MOST_SLOTS { slots } else { 0 }
    }

    /// The block in the table that is equal to a block; or else that itself, which is in
    /// the table from then on.
    fn like(&mut self, block: Ref) -> Ref {
        let slots = self.n_compared(block);
        if slots == 0 {
            return block;
        }
        // Which ones meet in a place is another matter each time, as memory fills.
        let mut hash = self.ledger.now().total();
        for slot in 0..slots {
            let bits = L::bits(self.slot(block, slot));
            hash = (hash ^ bits as u32 ^ (bits >> 32) as u32).wrapping_mul(0x9e37_79b1);
            hash ^= hash >> 15;
        }
        // Two places for each: what comes again is in the first, what is new takes it.
        let first = 2 * (hash as usize % (MARK_STACK / 2));
        let mut found = block;
        for place in first..first + 2 {
            let known = self.pending(place);
            self.set_pending(place, found);
            let is_like = |at| self.slot(block, at) == self.slot(known, at);
            if known.is_cell() && (0..slots).all(is_like) {
                self.set_pending(first, known);
                return known;
            }
            found = known;
        }
        block
    }
}
