//! Compiling on the board: the allocator, and the memory's way back from it.
//!
//! It owns the pool while the compiler runs, and what the compiler held of it.
//! Once there is an image nothing allocates any more: the image moves to the
//! pool's start and the machine gets the rest, so the two need the larger of
//! their peaks and not the sum. It is one of the two places with unsafe code.

#![allow(unsafe_code, reason = "an allocator is unsafe to write and to take memory from")]

use alloc::vec::Vec;
use core::alloc::{GlobalAlloc, Layout};
use core::sync::atomic::{AtomicUsize, Ordering};

use embedded_alloc::LlffHeap;
use scruple_bytecode::Encoding;
use scruple_compiler::{Diagnostics, Options, compile};

use crate::memory;
use crate::parcel::Parcel;

#[global_allocator]
static ALLOCATOR: Counted =
    Counted { heap: LlffHeap::empty(), peak: AtomicUsize::new(0), reach: AtomicUsize::new(0) };

/// The allocator with its books.
struct Counted {
    heap: LlffHeap,
    /// Most bytes in use at once.
    peak: AtomicUsize,
    /// The highest address in use so far.
    reach: AtomicUsize,
}

// SAFETY: every call is handed on as it is to an allocator that keeps the rules.
unsafe impl GlobalAlloc for Counted {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        // SAFETY: the caller's promises are those that are asked for here.
        let place = unsafe { self.heap.alloc(layout) };
        if !place.is_null() {
            let end = place as usize + layout.size();
            self.peak
                .store(self.peak.load(Ordering::Relaxed).max(self.heap.used()), Ordering::Relaxed);
            self.reach.store(self.reach.load(Ordering::Relaxed).max(end), Ordering::Relaxed);
        }
        place
    }

    unsafe fn dealloc(&self, place: *mut u8, layout: Layout) {
        // SAFETY: as above.
        unsafe { self.heap.dealloc(place, layout) }
    }
}

/// A source that was compiled on the board.
pub(crate) struct Built {
    pub(crate) image: &'static [u8],
    /// The memory that the image leaves.
    pub(crate) pool: &'static mut [u64],
    /// Most bytes that were allocated at once.
    pub(crate) peak: usize,
    /// Bytes from the pool's start to the highest address ever in use: what the
    /// compiler needs of RAM, gaps included.
    pub(crate) reach: usize,
}

/// Why there is no image.
pub(crate) enum Failure {
    Diagnostics(Diagnostics),
    /// The parcel asks for what cannot be.
    Parcel,
}

/// Compiles the parcel's source with all the memory there is.
pub(crate) fn build(parcel: &Parcel<'_>) -> Result<Built, Failure> {
    let pool = memory::take_pool();
    let (start, bytes) = (pool.as_mut_ptr(), size_of_val(pool));
    // SAFETY: the pool is exclusive and given up for good; this comes once, since
    // the pool is then empty, and the allocator refuses memory of no size.
    unsafe { ALLOCATOR.heap.init(start as usize, bytes) };
    let source = core::str::from_utf8(parcel.script).map_err(|_| Failure::Parcel)?;
    let encoding = Encoding::from_number(parcel.encoding)
        .filter(|encoding| encoding.is_in_build())
        .ok_or(Failure::Parcel)?;
    let options = Options { encoding, max_nesting: parcel.max_nesting, lines: parcel.lines };
    let compiled = compile(source, &options).map_err(Failure::Diagnostics)?;
    let reach = ALLOCATOR.reach.load(Ordering::Relaxed) - start as usize;
    let peak = ALLOCATOR.peak.load(Ordering::Relaxed);
    let (image, pool) = reclaim(compiled.image, start, bytes).ok_or(Failure::Parcel)?;
    Ok(Built { image, pool, peak, reach })
}

/// Takes the pool back from the allocator, all but the image: nothing if the
/// allocator has given out more than that. Nothing may allocate from then on.
fn reclaim(
    image: Vec<u8>,
    start: *mut u64,
    bytes: usize,
) -> Option<(&'static [u8], &'static mut [u64])> {
    /// How much more than asked for the allocator books for a block.
    const SLACK: usize = 8;
    if ALLOCATOR.heap.used() > image.capacity() + SLACK {
        return None;
    }
    let image = image.leak();
    let words = image.len().div_ceil(size_of::<u64>());
    // SAFETY: both lie in the pool, which has no other block in use; they may
    // overlap, and `copy` may. Behind `words` nothing is in use, all of it was
    // initialised when the pool was taken or has been written since.
    unsafe {
        core::ptr::copy(image.as_ptr(), start.cast::<u8>(), image.len());
        let image = core::slice::from_raw_parts(start.cast::<u8>(), image.len());
        let rest = bytes / size_of::<u64>() - words;
        Some((image, core::slice::from_raw_parts_mut(start.add(words), rest)))
    }
}
