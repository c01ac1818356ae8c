//! The memory of open functions: lists that grow by chunks, and a meter of what those
//! take.
//!
//! What lives here goes when its function closes. It refuses to hold anything
//! that the image needs: that is the business of `output` and `atoms`.
//!
//! Each chunk is a block of its own. A bump arena takes blocks that double, of which
//! twenty small functions open in one another have half idle: 1.5 KB each, where the
//! chunks are 0.4 KB.

use alloc::boxed::Box;
use alloc::vec;
use alloc::vec::Vec;
use core::cell::Cell;
use core::mem::size_of;

/// How many bytes the open arenas were asked for: now, and at most.
#[derive(Default)]
pub(crate) struct Meter {
    now: Cell<usize>,
    peak: Cell<usize>,
}

impl Meter {
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

/// What the lists of one open function take.
pub(crate) struct Arena<'m> {
    asked: Cell<usize>,
    meter: &'m Meter,
}

impl Arena<'_> {
    fn count(&self, bytes: usize) {
        self.asked.set(self.asked.get() + bytes);
        self.meter.add(bytes);
    }
}

/// Where arenas come from and go to.
pub(crate) struct Pool<'m> {
    meter: &'m Meter,
}

impl<'m> Pool<'m> {
    pub(crate) fn new(meter: &'m Meter) -> Self {
        Pool { meter }
    }

    pub(crate) fn take(&self) -> Arena<'m> {
        Arena { asked: Cell::new(0), meter: self.meter }
    }

    pub(crate) fn give_back(&self, arena: Arena<'m>) {
        self.meter.release(arena.asked.get());
    }
}

/// A list of an open function. It grows a chunk of `N` entries at a time, so that no
/// entry moves and at most one chunk lies idle. The first chunk is half of that, and needs no
/// directory: most lists of most functions have no second one.
pub(crate) struct Chunks<'a, T, const N: usize> {
    arena: &'a Arena<'a>,
    first: Box<[T]>,
    others: Vec<Box<[T]>>,
    len: u32,
}

impl<'a, T: Copy + Default, const N: usize> Chunks<'a, T, N> {
    /// Entries of the first chunk.
    const FIRST: usize = N / 2;

    pub(crate) fn new(arena: &'a Arena<'a>) -> Self {
        Chunks { arena, first: Box::default(), others: Vec::new(), len: 0 }
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
            self.first = vec![T::default(); Self::FIRST].into_boxed_slice();
            return;
        }
        if self.others.len() == self.others.capacity() {
            let more = (self.others.len() / 2).max(2);
            self.arena.count(more * size_of::<Box<[T]>>());
            self.others.reserve_exact(more);
        }
        self.arena.count(N * size_of::<T>());
        self.others.push(vec![T::default(); N].into_boxed_slice());
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
