//! When the blocks of the heap move together: where an instruction begins that has all it
//! works on on the machine's stack, and no built-in waits for it.
//!
//! It owns what follows from it for what the heap does not know: places by hash, and who
//! looks on. How blocks move is in `heap/compact.rs`.

use crate::Host;
use crate::host::{Wanted, Wants};
use crate::layout::Layout;
use crate::memory::Change;
use crate::vm::Vm;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Collects and moves the blocks together if the heap wants that. No reference that Rust
    /// holds outlives it.
    #[inline(always)]
    pub(crate) fn compact_if_wanted(&mut self) {
        if self.heap.wants_compaction() {
            self.compact_now();
        }
    }

    /// Does that at once, if no built-in holds references.
    #[cold]
    #[inline(never)]
    pub(crate) fn compact_now(&mut self) {
        if self.can_compact() {
            // Anew: the fewer blocks there are, the lower they come to lie.
            self.collect_now();
            if Wants::<H>::MEMORY {
                self.book(Change::Moving, self.heap.sp);
            }
            self.heap.compact();
            if H::FAMILIES.collections {
                self.place_all();
            }
            if Wants::<H>::MEMORY {
                self.book(Change::Moved, self.heap.sp);
            }
        }
        self.decline_compaction();
    }

    /// Has the heap wish for no more until the next collection.
    pub(crate) fn decline_compaction(&mut self) {
        self.heap.frame_limit = self.stack_end_limit;
    }

    /// Whether no built-in and no host function waits for the running function: those
    /// hold references. Nor where tail calls may outnumber the stack: their frames go when
    /// the stack has no room, and what they keep alive until then is to leave it none.
    pub(crate) fn can_compact(&self) -> bool {
        self.nesting <= 1 && !self.tail_calls
    }
}
