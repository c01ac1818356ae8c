//! The ledger: the heap's books. Bytes by category now and at the two peaks.
//!
//! It owns the arithmetic and one identity, checked by [`Ledger::audit`]: the
//! categories of each book add up to its total. It refuses to know where the
//! bytes lie.

use super::kinds::Category;

/// Bytes by category at one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Book {
    bytes: [u32; Category::ALL.len()],
    total: u32,
}

impl Book {
    /// The bytes of one category.
    pub fn bytes(&self, category: Category) -> u32 {
        self.bytes[category as usize]
    }

    /// The bytes of all categories, kept apart from them so that they can be
    /// checked against it.
    pub fn total(&self) -> u32 {
        self.total
    }

    fn with_stack(mut self, bytes: u32) -> Book {
        self.bytes[Category::Stack as usize] = bytes;
        self.total += bytes;
        self
    }

    /// Whether the categories add up to the total.
    pub fn adds_up(&self) -> bool {
        self.bytes.iter().map(|&bytes| u64::from(bytes)).sum::<u64>() == u64::from(self.total)
    }
}

/// The heap's books.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    now: Book,
    high_water: Book,
    live_peak: Book,
    stack_peak: u32,
    allocated: u64,
    allocations: u64,
    collections: u64,
}

impl Ledger {
    /// What is allocated now, garbage included and the stack left out.
    pub fn now(&self) -> &Book {
        &self.now
    }

    /// The moment of most bytes allocated at once, garbage included.
    pub fn high_water(&self) -> &Book {
        &self.high_water
    }

    /// The moment of most bytes reachable at once, as far as a collection showed
    /// it: exact where every allocation collects first.
    pub fn live_peak(&self) -> &Book {
        &self.live_peak
    }

    /// Most bytes of stack at once.
    pub fn stack_peak(&self) -> u32 {
        self.stack_peak
    }

    /// Bytes allocated since the start, freed ones included.
    pub fn allocated(&self) -> u64 {
        self.allocated
    }

    /// Blocks allocated since the start, freed ones included.
    pub fn allocations(&self) -> u64 {
        self.allocations
    }

    /// Collections since the start.
    pub fn collections(&self) -> u64 {
        self.collections
    }

    /// Whether every book adds up, and no peak is below what it must bound.
    pub fn audit(&self) -> bool {
        self.now.adds_up()
            && self.high_water.adds_up()
            && self.live_peak.adds_up()
            && self.high_water.total >= self.live_peak.total
            && self.high_water.total >= self.now.total
            && self.stack_peak >= self.high_water.bytes(Category::Stack)
    }

    #[inline(always)]
    pub(crate) fn allocate(&mut self, category: Category, bytes: usize) {
        self.add(category, bytes);
        self.allocated += bytes as u64;
        self.allocations += 1;
    }

    /// Books more bytes of a block that is allocated.
    #[inline(always)]
    pub(crate) fn extend(&mut self, category: Category, bytes: usize) {
        self.add(category, bytes);
        self.allocated += bytes as u64;
    }

    #[inline(always)]
    pub(crate) fn add(&mut self, category: Category, bytes: usize) {
        self.now.bytes[category as usize] += bytes as u32;
        self.now.total += bytes as u32;
    }

    #[inline(always)]
    pub(crate) fn free(&mut self, category: Category, bytes: usize) {
        self.now.bytes[category as usize] -= bytes as u32;
        self.now.total -= bytes as u32;
    }

    /// Keeps the high-water marks, the stack being of this size.
    ///
    /// The stack changes at every call, so its bytes are not booked each time:
    /// they enter a book when it is kept.
    #[inline(always)]
    pub(crate) fn settle(&mut self, stack_bytes: usize) {
        let stack = stack_bytes as u32;
        if stack > self.stack_peak {
            self.stack_peak = stack;
        }
        if self.now.total + stack > self.high_water.total {
            self.high_water = self.now.with_stack(stack);
        }
    }

    /// After a collection: what was reachable, and what was then allocated, by category.
    pub(crate) fn collected(&mut self, coming: [(Category, usize); 2], stack_bytes: usize) {
        self.collections += 1;
        let mut book = self.now.with_stack(stack_bytes as u32);
        for (category, bytes) in coming {
            book.bytes[category as usize] += bytes as u32;
            book.total += bytes as u32;
        }
        if book.total > self.live_peak.total {
            self.live_peak = book;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn categories_add_up_through_allocation_freeing_and_peaks() {
        let mut ledger = Ledger::default();
        ledger.allocate(Category::Objects, 24);
        ledger.settle(40);
        ledger.allocate(Category::Strings, 16);
        ledger.settle(8);
        assert_eq!(ledger.high_water().total(), 64);
        assert_eq!(ledger.high_water().bytes(Category::Stack), 40);
        assert_eq!(ledger.now().total(), 40);
        ledger.free(Category::Objects, 24);
        ledger.collected([(Category::Numbers, 8), (Category::Numbers, 0)], 8);
        ledger.allocate(Category::Numbers, 8);
        ledger.settle(8);
        assert_eq!(ledger.live_peak().total(), 32);
        assert_eq!(ledger.live_peak().bytes(Category::Stack), 8);
        assert!(ledger.audit());
        assert_eq!(ledger.stack_peak(), 40);
    }
}
