//! The board's memory: where the parcel lies, which RAM is left, and how far the
//! program's own stack has come.
//!
//! It owns every symbol of the linker's that the program reads, and is one of
//! the two places with unsafe code; it refuses to hand the same memory out twice.

#![allow(unsafe_code, reason = "memory that only the linker knows of")]

use core::mem::{align_of, size_of, size_of_val};
use core::ptr::{addr_of, read_volatile};
use core::sync::atomic::{AtomicBool, Ordering};

unsafe extern "C" {
    static _parcel: u8;
    static _flash_end: u8;
    static __sdata: u8;
    static __sheap: u8;
    static _stack_end: u32;
    static _stack_start: u32;
}

/// What cortex-m-rt paints the stack with before anything runs on it.
const PAINT: u32 = 0xcccc_cccc;

static TAKEN: AtomicBool = AtomicBool::new(false);

/// Everything in flash behind the program: the parcel, and whatever follows.
pub(crate) fn parcel() -> &'static [u8] {
    let (start, end) = (addr_of!(_parcel), addr_of!(_flash_end));
    // SAFETY: the linker has put `_parcel` behind everything of the program and
    // `_flash_end` at the end of the flash; what lies between is initialised
    // (erased flash reads as ones) and nothing writes to it.
    unsafe { core::slice::from_raw_parts(start, end as usize - start as usize) }
}

/// The RAM between the static data and the program's own stack. The first call
/// gets it, later ones get nothing.
pub(crate) fn take_pool() -> &'static mut [u64] {
    if TAKEN.load(Ordering::Relaxed) {
        return &mut [];
    }
    TAKEN.store(true, Ordering::Relaxed);
    let start = (addr_of!(__sheap) as usize).next_multiple_of(size_of::<u64>());
    let bytes = (addr_of!(_stack_end) as usize).saturating_sub(start);
    let first = start as *mut u64;
    // SAFETY: no static of the program lies behind `__sheap`, the stack ends at
    // `_stack_end` (an overflow is found by `stack_peak`), TAKEN hands this out
    // once, and there is one core and no interrupt that comes by here. The writes
    // make it initialised before there is a reference to it.
    unsafe {
        first.write_bytes(0, bytes / size_of::<u64>());
        core::slice::from_raw_parts_mut(first, bytes / size_of::<u64>())
    }
}

/// Takes room for some things from the front of the pool, each set to `value`.
/// Where there is not enough, there are fewer of them.
pub(crate) fn carve<T: Copy>(
    pool: &mut &'static mut [u64],
    n: usize,
    value: T,
) -> &'static mut [T] {
    const { assert!(align_of::<T>() <= align_of::<u64>()) };
    let all = core::mem::take(pool);
    let n = n.min(size_of_val(all) / size_of::<T>());
    let (front, rest) = all.split_at_mut((n * size_of::<T>()).div_ceil(size_of::<u64>()));
    *pool = rest;
    let first = front.as_mut_ptr().cast::<T>();
    // SAFETY: `front` is exclusive, aligned enough, and holds `n` of them; they
    // are written before there is a reference to them.
    unsafe {
        for at in 0..n {
            first.add(at).write(value);
        }
        core::slice::from_raw_parts_mut(first, n)
    }
}

/// The pool as the machine's region.
pub(crate) fn region(pool: &'static mut [u64]) -> &'static mut [u32] {
    // SAFETY: any bits are a u32, and its alignment is the smaller one.
    unsafe { core::slice::from_raw_parts_mut(pool.as_mut_ptr().cast(), 2 * pool.len()) }
}

/// Bytes of static data in RAM, padding included.
pub(crate) fn static_bytes() -> u32 {
    (addr_of!(__sheap) as usize - addr_of!(__sdata) as usize) as u32
}

/// Most bytes of the program's own stack so far, or nothing if it has grown past
/// its end, over other memory.
pub(crate) fn stack_peak() -> Option<u32> {
    let (end, start) = (addr_of!(_stack_end), addr_of!(_stack_start));
    let mut lowest = end;
    // SAFETY: the addresses lie between the stack's two ends, which are aligned;
    // the read is volatile since the compiler knows nothing of that memory.
    while lowest < start && unsafe { read_volatile(lowest) } == PAINT {
        lowest = lowest.wrapping_add(1);
    }
    if lowest == end { None } else { Some((start as usize - lowest as usize) as u32) }
}
