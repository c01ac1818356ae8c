//! When to collect, and what to do beside it: the one place that knows how short memory is.
//!
//! It owns the shares of the room at which a collection is due, at which one folds objects
//! alike and keeps equal strings once, and at which the blocks are wished together. They
//! were chosen on the samples (DEVELOPERS.md, "The least RAM"). It refuses to know how any
//! of that is done.

use super::Heap;
use crate::layout::{Layout, cell_bytes};

impl<L: Layout> Heap<'_, L> {
    /// Collects where so many cells are asked for, and does what the room that is left calls
    /// for.
    pub(super) fn collect_for(&mut self, cells: usize) {
        self.settle(self.sp);
        self.collect();
        // Where it is asked how little would do, folding is for every new height.
        let live = self.ledger.now().total() as usize + self.stack_bytes();
        let height = live + cells * cell_bytes::<L>();
        let is_new = height > self.ledger.live_peak().total() as usize;
        if self.thorough || self.collect_every < usize::MAX && is_new {
            self.fold();
            if self.share() {
                self.collect();
            }
            if self.thorough {
                self.want_compaction();
            }
        } else if self.is_tight() {
            self.share();
            // Where it is asked how little is alive, an array is to find its room behind it.
            if self.collect_every == usize::MAX {
                self.want_compaction();
            }
        }
        self.grant_allowance();
        // One allocation is always allowed after a collection.
        self.allowance = self.allowance.max(cells);
        self.search = 0;
    }

    /// Wishes the blocks together: see `frame_limit`.
    pub(crate) fn want_compaction(&mut self) {
        self.frame_limit = usize::MAX / 2;
    }

    #[inline(always)]
    pub(crate) fn wants_compaction(&self) -> bool {
        self.frame_limit == usize::MAX / 2
    }

    /// Whether the cells in use leave the stack little room, and have become more since
    /// they were moved together: what is called now may need it, and could not ask for it.
    #[inline]
    pub(crate) fn crowds_stack(&self) -> bool {
        // Three quarters of the room are in use, and an eighth has come since then.
        let (room, used) = (self.sp.saturating_sub(self.base), 2 * self.top);
        4 * used > 3 * room && 8 * used > room + 16 * self.compacted
    }

    /// Whether a collection has left so little room that folding pays: it is work, what
    /// is folded is slower to read, and the less is alive the sooner is the next
    /// collection.
    pub(super) fn is_tight(&self) -> bool {
        let (spare, cells) = self.spare_cells();
        spare < cells / 4
    }

    pub(super) fn grant_allowance(&mut self) {
        let every = self.collect_every / cell_bytes::<L>();
        let heap = self.ledger.now().total() as usize;
        let growth = (heap / 2).max(self.growth) / cell_bytes::<L>();
        // Where there are few to spare, no limit: it would be a collection at every step.
        let (spare, cells) = self.spare_cells();
        let spare = if spare > cells / 32 { spare } else { growth };
        self.allowance = every.min(growth).min(spare);
    }

    /// Cells that may be handed out before they are likely to stand in the stack's way,
    /// which has been deeper than it is and may come to be so again, and how many could be
    /// in all: five sixths of those up to there. Where a block lies high up that cannot be
    /// moved when the stack comes back, the run ends.
    fn spare_cells(&self) -> (usize, usize) {
        let deepest = self.mem.len() - self.ledger.stack_peak() as usize / L::SLOT_BYTES;
        let cells = (deepest.saturating_sub(self.base) / 2).min(self.n_cells);
        let cells = cells - cells / 6;
        // What the collector has for itself counts with them: some cells more to spare.
        let in_use = self.ledger.now().total() as usize / cell_bytes::<L>();
        (cells.saturating_sub(in_use), cells)
    }
}
