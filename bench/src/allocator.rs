//! An allocator that counts what each thread holds: the only unsafe code of the
//! workspace's host side.
//!
//! It owns the counters and nothing else: every request goes to the system's
//! allocator unchanged. The counters are a thread's own, so that scripts compiled
//! side by side do not see each other's bytes; the price is that bytes allocated
//! on one thread and freed on another are booked on both. The compiler stays on
//! one thread.
//!
//! A program counts only if it makes [`Counting`] its global allocator, as the
//! command line does; elsewhere [`peak_during`] says that it does not know.

#![allow(
    unsafe_code,
    reason = "a global allocator is an unsafe trait; what it adds to the system's is safe arithmetic"
)]

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

thread_local! {
    /// Bytes this thread has allocated and not freed. Const-initialised cells of
    /// plain integers: reading them never allocates.
    static HELD: Cell<isize> = const { Cell::new(0) };
    static PEAK: Cell<isize> = const { Cell::new(0) };
    static CALLS: Cell<u64> = const { Cell::new(0) };
}

/// The system's allocator, counting.
pub struct Counting;

// SAFETY: every method hands its arguments to `System`, whose contract is this
// trait's, and returns what `System` returned. The caller upholds the contract of
// each call; counting touches no memory but this module's integers.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        // SAFETY: the caller upholds the contract of `alloc`.
        let block = unsafe { System.alloc(layout) };
        if !block.is_null() {
            grow(layout.size() as isize);
        }
        block
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        // SAFETY: the caller upholds the contract of `alloc_zeroed`.
        let block = unsafe { System.alloc_zeroed(layout) };
        if !block.is_null() {
            grow(layout.size() as isize);
        }
        block
    }

    unsafe fn dealloc(&self, block: *mut u8, layout: Layout) {
        grow(-(layout.size() as isize));
        // SAFETY: the caller upholds the contract of `dealloc`; every block came
        // from `System`.
        unsafe { System.dealloc(block, layout) }
    }

    unsafe fn realloc(&self, block: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        // SAFETY: the caller upholds the contract of `realloc`; every block came
        // from `System`.
        let moved = unsafe { System.realloc(block, layout, size) };
        if !moved.is_null() {
            grow(size as isize - layout.size() as isize);
        }
        moved
    }
}

/// Books a change. A thread that is ending has no counters any more.
fn grow(bytes: isize) {
    let _ = HELD.try_with(|held| {
        let now = held.get() + bytes;
        held.set(now);
        let _ = PEAK.try_with(|peak| peak.set(peak.get().max(now)));
    });
    let _ = CALLS.try_with(|calls| calls.set(calls.get() + 1));
}

/// Carries out some work on this thread, and tells the most bytes it held at once
/// beyond those held before. Nothing if [`Counting`] is not the global allocator.
///
/// Such measurements must not be nested: the inner one forgets the outer's peak.
pub fn peak_during<T>(work: impl FnOnce() -> T) -> (T, Option<usize>) {
    let before = HELD.get();
    PEAK.set(before);
    let result = work();
    let peak = usize::try_from(PEAK.get() - before).unwrap_or(0);
    (result, counts().then_some(peak))
}

/// Bytes this thread holds, if they are counted: a difference of two such figures
/// is what some work has left behind.
pub fn held() -> Option<isize> {
    counts().then(|| HELD.get())
}

/// Whether this program's allocations come by here.
fn counts() -> bool {
    let before = CALLS.get();
    drop(std::hint::black_box(Box::new(0u8)));
    CALLS.get() != before
}

#[cfg(test)]
mod tests {
    use super::*;

    // The library's own tests run over the counting allocator.
    #[global_allocator]
    static ALLOCATOR: Counting = Counting;

    #[test]
    fn the_peak_is_what_was_held_at_once_and_not_the_sum() {
        let (kept, peak) = peak_during(|| {
            drop(std::hint::black_box(vec![0u8; 3000]));
            drop(std::hint::black_box(vec![0u8; 5000]));
            std::hint::black_box(vec![0u8; 1000])
        });
        assert_eq!(kept.len(), 1000);
        assert_eq!(peak, Some(5000));
    }

    #[test]
    fn growing_a_block_books_the_difference() {
        let (_, peak) = peak_during(|| {
            let mut list: Vec<u8> = Vec::with_capacity(100);
            list.reserve_exact(400);
            std::hint::black_box(list)
        });
        assert_eq!(peak, Some(400));
    }

    #[test]
    fn other_threads_are_not_counted() {
        let (_, peak) = peak_during(|| {
            let other = std::thread::spawn(|| std::hint::black_box(vec![0u8; 1 << 20]).len());
            other.join().ok()
        });
        assert!(peak.is_some_and(|bytes| bytes < 1 << 20));
    }
}
