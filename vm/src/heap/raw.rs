//! The region as the interpreter's loop sees it: the crate's only unsafe code.
//!
//! [`Region`] is the slice of memory that the heap was given, and is one to
//! everybody but the loop. The loop holds a [`Window`] on it in a register and
//! reads and writes the machine's stack through that, without asking for its
//! bounds. It refuses to be anything but slots by number: what lies in them is
//! for others, and blocks of the heap are reached through the slice.
//!
//! Who keeps a slot's number within the region: the verifier has seen that every
//! slot is one of its function's and that no operand stack leaves the depth the
//! function declares; `enter` makes a frame only where that depth and the reserve
//! lie within the region, and writes the links that `leave` reads back; globals
//! are counted by the image, and their block is as long. Who keeps a place within
//! the code: the verifier has seen that every branch, every handler and every end
//! of an instruction leads to an instruction, and there is padding behind the
//! last.
//!
//! What it is for: user milliseconds of `examples/once` on `bench/yardstick` fell
//! from 195, 160, 176 (fib, loop, sieve) to 156, 117, 140. Each checked access
//! read the slice's address and length anew, as the machine may have changed them.
//!
//! The feature `checked` bounds every access, as builds with debug assertions do,
//! behind the same functions: all tests run so but those of the release build.
#![allow(unsafe_code, reason = "the stack in a register's reach, for a measured gain")]

use core::marker::PhantomData;
use core::ops::{Deref, DerefMut};
use core::ptr::NonNull;

use scruple_bytecode::encoding::VerifiedCode;

/// A region of memory, given for as long as the machine lives.
pub(crate) struct Region<'m, S> {
    first: NonNull<S>,
    len: usize,
    /// The first cell, and how many pairs of slots there are from there.
    cells: NonNull<[S; 2]>,
    n_cells: usize,
    given: PhantomData<&'m mut [S]>,
}

impl<'m, S: Copy> Region<'m, S> {
    /// A region whose cells begin at slot `base`.
    pub(super) fn new(slots: &'m mut [S], base: usize) -> Self {
        let len = slots.len();
        let first = NonNull::from(slots).cast::<S>();
        let base = base.min(len);
        // SAFETY: `base` lies within the slice or at its end.
        let cells = unsafe { first.add(base) }.cast();
        Region { first, len, cells, n_cells: (len - base) / 2, given: PhantomData }
    }

    /// The cells of the region, and what is left of it: to look several blocks up
    /// with one comparison each. Where they begin is kept, for finding it anew took a
    /// dozen host instructions an element.
    #[inline(always)]
    pub(crate) fn cells_mut(&mut self) -> &mut [[S; 2]] {
        // SAFETY: `new` found the place and the number within the slice; nobody else
        // reads or writes it while `self` is borrowed, as for `deref_mut`. A pair of
        // slots is laid out as two slots that follow each other.
        unsafe { core::slice::from_raw_parts_mut(self.cells.as_ptr(), self.n_cells) }
    }

    /// A window on the region, for the loop. It is used only while the region is
    /// there: the loop runs within a call of the machine that owns it.
    #[inline(always)]
    pub(crate) fn window(&self) -> Window<S> {
        Window {
            first: self.first,
            #[cfg(any(feature = "checked", debug_assertions))]
            len: self.len,
        }
    }
}

impl<S> Deref for Region<'_, S> {
    type Target = [S];

    #[inline(always)]
    fn deref(&self) -> &[S] {
        // SAFETY: `new` took both from one slice, borrowed for longer than the
        // region lives and by nobody else; no window writes while this reference
        // lives, because the loop gives no window to what borrows the machine.
        unsafe { core::slice::from_raw_parts(self.first.as_ptr(), self.len) }
    }
}

impl<S> DerefMut for Region<'_, S> {
    #[inline(always)]
    fn deref_mut(&mut self) -> &mut [S] {
        // SAFETY: as above, and `self` is borrowed mutably.
        unsafe { core::slice::from_raw_parts_mut(self.first.as_ptr(), self.len) }
    }
}

/// The region's first slot, to be held in a register.
pub(crate) struct Window<S> {
    first: NonNull<S>,
    #[cfg(any(feature = "checked", debug_assertions))]
    len: usize,
}

impl<S> Clone for Window<S> {
    #[inline(always)]
    fn clone(&self) -> Self {
        *self
    }
}

impl<S> Copy for Window<S> {}

impl<S: Copy> Window<S> {
    #[inline(always)]
    fn check(self, at: usize) {
        #[cfg(any(feature = "checked", debug_assertions))]
        assert!(at < self.len, "slot {at} of {}", self.len);
        let _ = at;
    }

    #[inline(always)]
    pub(crate) fn get(self, at: usize) -> S {
        self.check(at);
        // SAFETY: the verifier and `enter` keep `at` within the region (module
        // documentation), which is borrowed for as long as the machine runs.
        unsafe { self.first.add(at).read() }
    }

    #[inline(always)]
    pub(crate) fn set(self, at: usize, slot: S) {
        self.check(at);
        // SAFETY: as in `get`.
        unsafe { self.first.add(at).write(slot) }
    }
}

impl Window<u8> {
    /// A window on the code section of a verified image, used only while the image
    /// is there.
    #[inline(always)]
    pub(crate) fn on_code(code: &[u8]) -> Self {
        Window {
            first: NonNull::from(code).cast(),
            #[cfg(any(feature = "checked", debug_assertions))]
            len: code.len(),
        }
    }
}

impl VerifiedCode for Window<u8> {
    #[inline(always)]
    fn byte(self, at: usize) -> u8 {
        // `get` is unsafe with its own argument: the verifier keeps `at` within an
        // instruction of this code section (module documentation).
        self.get(at)
    }
}
