//! The collector's map: two bits a cell, at the low end of the region.
//!
//! | bits | the cell |
//! | ---- | -------- |
//! | 00 | is free |
//! | 01 | continues a block |
//! | 10 | begins a block not (yet) marked |
//! | 11 | begins a marked block |

use super::Heap;
use crate::layout::Layout;

const FREE: u64 = 0;
const TAIL: u64 = 1;
const HEAD: u64 = 2;
const MARKED: u64 = 3;

/// Cells whose bits one slot holds.
pub(super) const fn cells_a_slot<L: Layout>() -> usize {
    L::SLOT_BYTES * 4
}

impl<L: Layout> Heap<'_, L> {
    #[inline(always)]
    fn pair(&self, cell: usize) -> u64 {
        let word = L::bits(self.mem[cell / cells_a_slot::<L>()]);
        word >> (2 * (cell % cells_a_slot::<L>())) & 3
    }

    #[inline(always)]
    fn set_pair(&mut self, cell: usize, pair: u64) {
        let at = cell / cells_a_slot::<L>();
        let shift = 2 * (cell % cells_a_slot::<L>());
        let word = L::bits(self.mem[at]) & !(3 << shift) | pair << shift;
        self.mem[at] = L::from_bits(word);
    }

    #[inline(always)]
    pub(super) fn mark_taken(&mut self, cell: usize, cells: usize) {
        self.set_pair(cell, HEAD);
        if cells > 1 {
            self.mark_tails(cell + 1, cell + cells);
        }
    }

    pub(super) fn mark_tails(&mut self, start: usize, end: usize) {
        self.fill(start, end, TAIL);
    }

    pub(super) fn mark_free(&mut self, start: usize, end: usize) {
        self.fill(start, end, FREE);
    }

    fn fill(&mut self, start: usize, end: usize, pair: u64) {
        let per = cells_a_slot::<L>();
        let whole = L::from_bits(pair * 0x5555_5555_5555_5555);
        let mut cell = start;
        while cell < end {
            if cell.is_multiple_of(per) && cell + per <= end {
                self.mem[cell / per] = whole;
                cell += per;
            } else {
                self.set_pair(cell, pair);
                cell += 1;
            }
        }
    }

    pub(super) fn is_marked(&self, cell: usize) -> bool {
        self.pair(cell) == MARKED
    }

    pub(super) fn set_marked(&mut self, cell: usize) {
        debug_assert!(self.pair(cell) & HEAD != 0, "no block begins at cell {cell}");
        self.set_pair(cell, MARKED);
    }

    /// Frees a block of one cell.
    #[inline(always)]
    pub(super) fn set_free(&mut self, cell: usize) {
        self.set_pair(cell, FREE);
    }

    /// Takes the marks of the blocks that begin in the cells of a slot.
    #[inline(always)]
    pub(super) fn take_marks(&mut self, slot: usize) -> Heads {
        let first = slot * cells_a_slot::<L>();
        let word = L::bits(self.mem[slot]);
        let heads = word >> 1 & pair_mask(cells_a_slot::<L>());
        let marked = heads & word;
        self.mem[slot] = L::from_bits(word & !marked);
        Heads {
            last_marked: marked.checked_ilog2().map(|bit| first + bit as usize / 2),
            unmarked: Cells { first, pairs: heads & !word },
        }
    }

    /// How many cells the block that begins at a cell has.
    pub(crate) fn block_cells(&self, cell: usize) -> usize {
        let per = cells_a_slot::<L>();
        let mut end = cell + 1;
        while end < self.top {
            let word = L::bits(self.mem[end / per]) >> (2 * (end % per));
            // A pair that is no tail has a set bit here.
            let mask = pair_mask(per - end % per);
            let others = ((word >> 1) | !word) & mask;
            if others != 0 {
                return end + others.trailing_zeros() as usize / 2 - cell;
            }
            end += per - end % per;
        }
        self.top - cell
    }

    /// How many cells are in use from the first one that a slot of bits is for to a cell.
    pub(super) fn used_cells(&self, slot: usize, end: usize) -> usize {
        let per = cells_a_slot::<L>();
        let mut used = 0;
        let mut cell = slot * per;
        while cell < end {
            let word = L::bits(self.mem[cell / per]);
            let pairs = (word | word >> 1) & pair_mask((end - cell).min(per));
            used += pairs.count_ones() as usize;
            cell += per;
        }
        used
    }

    pub(super) fn free_between(&self, start: usize, end: usize) -> bool {
        self.next_used(start, end).is_none()
    }

    /// The next free cells below the top: first and one behind the last.
    pub(super) fn next_free(&self, from: usize) -> Option<(usize, usize)> {
        let per = cells_a_slot::<L>();
        let mut cell = from;
        while cell < self.top {
            let word = L::bits(self.mem[cell / per]) >> (2 * (cell % per));
            let free = !(word | word >> 1) & pair_mask(per - cell % per);
            if free != 0 {
                let start = cell + free.trailing_zeros() as usize / 2;
                if start >= self.top {
                    return None;
                }
                let end = self.next_used(start, self.top).unwrap_or(self.top);
                return Some((start, end));
            }
            cell += per - cell % per;
        }
        None
    }

    fn next_used(&self, from: usize, limit: usize) -> Option<usize> {
        let per = cells_a_slot::<L>();
        let mut cell = from;
        while cell < limit {
            let word = L::bits(self.mem[cell / per]) >> (2 * (cell % per));
            let used = (word | word >> 1) & pair_mask(per - cell % per);
            if used != 0 {
                let found = cell + used.trailing_zeros() as usize / 2;
                return if found < limit { Some(found) } else { None };
            }
            cell += per - cell % per;
        }
        None
    }

    /// The next block at or behind a cell, and whether it is marked. Inline, whoever
    /// else asks: out of line, binary_trees.js takes 2 % more host instructions.
    #[inline(always)]
    pub(super) fn next_block(&self, from: usize) -> Option<(usize, bool)> {
        let per = cells_a_slot::<L>();
        let mut cell = from;
        while cell < self.top {
            let word = L::bits(self.mem[cell / per]) >> (2 * (cell % per));
            let heads = (word >> 1) & pair_mask(per - cell % per);
            if heads != 0 {
                let found = cell + heads.trailing_zeros() as usize / 2;
                return if found < self.top { Some((found, self.is_marked(found))) } else { None };
            }
            cell += per - cell % per;
        }
        None
    }
}

/// What begins in the cells of one slot of the map.
pub(super) struct Heads {
    /// The last marked block, if there is one.
    pub(super) last_marked: Option<usize>,
    /// The blocks that are not marked.
    pub(super) unmarked: Cells,
}

/// Some of the cells of a slot of the map, in ascending order.
pub(super) struct Cells {
    first: usize,
    /// The low bit of each one's pair.
    pairs: u64,
}

impl Iterator for Cells {
    type Item = usize;

    #[inline(always)]
    fn next(&mut self) -> Option<usize> {
        if self.pairs == 0 {
            return None;
        }
        let cell = self.first + self.pairs.trailing_zeros() as usize / 2;
        self.pairs &= self.pairs - 1;
        Some(cell)
    }
}

/// The low bit of each of the first `pairs` pairs.
#[inline(always)]
fn pair_mask(pairs: usize) -> u64 {
    let all = 0x5555_5555_5555_5555u64;
    if pairs >= 32 { all } else { all & ((1 << (2 * pairs)) - 1) }
}
