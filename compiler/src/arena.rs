//! The memory of open functions: bump arenas, a meter of what was asked of them,
//! and lists that grow by chunks.
//!
//! What lives here goes when its function closes. It refuses to hold anything
//! that the image needs: that is the business of `output` and `atoms`.

use core::cell::Cell;
use core::mem::size_of;

use bumpalo::Bump;
use bumpalo::collections::Vec as BumpVec;

/// How many bytes the open arenas were asked for: now, and at most; and how many tokens
/// were read.
#[derive(Default)]
pub(crate) struct Meter {
    now: Cell<usize>,
    peak: Cell<usize>,
    tokens: Cell<usize>,
}

impl Meter {
    pub(crate) fn tokens(&self) -> usize {
        self.tokens.get()
    }

    /// Counts a token, whoever reads it.
    #[inline]
    pub(crate) fn count_token(&self) {
        self.tokens.set(self.tokens.get() + 1);
    }

    pub(crate) fn peak(&self) -> usize {
        self.peak.get()
    }

    fn add(&self, bytes: usize) {
        self.now.set(self.now.get() + bytes);
        self.peak.set(self.peak.get().max(self.now.get()));
    }

    fn release(&self, bytes: usize) {
        self.now.set(self.now.get() - bytes);
    }
}

/// The first block of an arena, which doubles what it takes after that. A block of the
/// usual size has half lie idle in a small function: 1.5 KB each where twenty of them were
/// open in one another.
const FIRST_BLOCK: usize = 448;

/// The memory of one open function.
pub(crate) struct Arena<'m> {
    bump: Bump,
    asked: Cell<usize>,
    meter: &'m Meter,
}

impl Arena<'_> {
    fn count(&self, bytes: usize) {
        self.asked.set(self.asked.get() + bytes);
        self.meter.add(bytes);
    }
}

/// Where arenas come from and go to. They are not kept for the next function: kept, they
/// would lie idle until a function of their size came.
pub(crate) struct Pool<'m> {
    meter: &'m Meter,
}

impl<'m> Pool<'m> {
    pub(crate) fn new(meter: &'m Meter) -> Self {
        Pool { meter }
    }

    pub(crate) fn take(&self) -> Arena<'m> {
        Arena { bump: Bump::with_capacity(FIRST_BLOCK), asked: Cell::new(0), meter: self.meter }
    }

    pub(crate) fn give_back(&self, arena: Arena<'m>) {
        self.meter.release(arena.asked.get());
    }
}

/// A list in an arena. It grows a chunk of `N` entries at a time, so that no entry moves and
/// at most one chunk lies idle; doubling a vector would leave every former buffer behind in
/// the arena. The first chunk is half of that, and needs no directory: most lists of most
/// functions have no second one.
pub(crate) struct Chunks<'a, T, const N: usize> {
    arena: &'a Arena<'a>,
    first: &'a mut [T],
    others: BumpVec<'a, &'a mut [T]>,
    len: u32,
}

impl<'a, T: Copy + Default, const N: usize> Chunks<'a, T, N> {
    /// Entries of the first chunk.
    const FIRST: usize = N / 2;

    pub(crate) fn new(arena: &'a Arena<'a>) -> Self {
        Chunks { arena, first: &mut [], others: BumpVec::new_in(&arena.bump), len: 0 }
    }

    pub(crate) fn len(&self) -> u32 {
        self.len
    }

    /// Appends an entry and returns its index.
    pub(crate) fn push(&mut self, entry: T) -> u32 {
        let index = self.len;
        self.len += 1;
        match Self::split(index) {
            (None, place) if place < self.first.len() => self.first[place] = entry,
            (Some(chunk), place) if chunk < self.others.len() => self.others[chunk][place] = entry,
            _ => {
                self.grow();
                self.set(index, entry);
            }
        }
        index
    }

    #[cold]
    #[inline(never)]
    fn grow(&mut self) {
        if self.first.is_empty() {
            self.arena.count(Self::FIRST * size_of::<T>());
            self.first = self.arena.bump.alloc_slice_fill_copy(Self::FIRST, T::default());
            return;
        }
        if self.others.len() == self.others.capacity() {
            let more = (self.others.len() / 2).max(2);
            self.arena.count((self.others.len() + more) * size_of::<&mut [T]>());
            self.others.reserve_exact(more);
        }
        self.arena.count(N * size_of::<T>());
        self.others.push(self.arena.bump.alloc_slice_fill_copy(N, T::default()));
    }

    /// The entry at an index, or the default one where there is none.
    pub(crate) fn get(&self, index: u32) -> T {
        if index >= self.len {
            return T::default();
        }
        match Self::split(index) {
            (None, place) => self.first[place],
            (Some(chunk), place) => self.others[chunk][place],
        }
    }

    /// Changes the entry at an index; where there is none, nothing.
    pub(crate) fn update(&mut self, index: u32, change: impl FnOnce(&mut T)) {
        if index < self.len {
            change(match Self::split(index) {
                (None, place) => &mut self.first[place],
                (Some(chunk), place) => &mut self.others[chunk][place],
            });
        }
    }

    pub(crate) fn set(&mut self, index: u32, entry: T) {
        self.update(index, |place| *place = entry);
    }

    /// Takes the last entry away.
    pub(crate) fn pop(&mut self) -> Option<T> {
        let last = self.len.checked_sub(1)?;
        let entry = self.get(last);
        self.len = last;
        Some(entry)
    }

    pub(crate) fn truncate(&mut self, len: u32) {
        self.len = self.len.min(len);
    }

    /// The number of the chunk behind the first one, and the place in it.
    fn split(index: u32) -> (Option<usize>, usize) {
        match (index as usize).checked_sub(Self::FIRST) {
            None => (None, index as usize),
            Some(index) => (Some(index / N), index % N),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chunked_list_keeps_its_entries_and_the_meter_its_peak() {
        let meter = Meter::default();
        let pool = Pool::new(&meter);
        let arena = pool.take();
        {
            let mut list: Chunks<'_, u32, 4> = Chunks::new(&arena);
            for n in 0..100 {
                assert_eq!(list.push(n * n), n);
            }
            assert_eq!(list.get(9), 81);
            list.update(9, |entry| *entry += 1);
            assert_eq!(list.get(9), 82);
            assert_eq!(list.get(100), 0);
            assert_eq!(list.pop(), Some(99 * 99));
            list.truncate(1);
            assert_eq!((list.len(), list.push(7), list.get(1)), (1, 1, 7));
        }
        let peak = meter.peak();
        assert!(peak >= 400, "{peak}");
        pool.give_back(arena);
        let arena = pool.take();
        assert_eq!(Chunks::<'_, u32, 4>::new(&arena).push(1), 0);
        assert_eq!(meter.peak(), peak);
        pool.give_back(arena);
        assert_eq!(meter.now.get(), 0);
    }
}
