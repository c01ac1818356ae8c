//! How the lists grow that live until the image is made.
//!
//! A list that doubles holds up to twice what is in it, and these are most of what
//! the compiler holds at its peak: they grow by a sixteenth. Each entry is then moved
//! some seventeen times, and large blocks the allocator moves without copying.

use alloc::vec::Vec;
use core::mem::size_of;

/// The least room a list grows by, in bytes.
const LEAST: usize = 64;

/// Makes room for that many entries more.
pub(crate) fn make_room<T>(list: &mut Vec<T>, n: usize) {
    if list.capacity() - list.len() < n {
        list.reserve_exact(n.max(list.len() / 16).max(LEAST / size_of::<T>()));
    }
}

/// Appends an entry.
pub(crate) fn push<T>(list: &mut Vec<T>, entry: T) {
    make_room(list, 1);
    list.push(entry);
}

/// Appends bytes.
pub(crate) fn append(list: &mut Vec<u8>, bytes: &[u8]) {
    make_room(list, bytes.len());
    list.extend_from_slice(bytes);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_holds_at_most_a_sixteenth_more_than_is_in_it() {
        let mut list = Vec::new();
        for n in 0..100_000u32 {
            push(&mut list, n);
            assert!(list.capacity() <= list.len() + list.len() / 16 + LEAST);
        }
        let mut bytes = Vec::new();
        append(&mut bytes, &[1; 1000]);
        append(&mut bytes, &[2; 3]);
        assert_eq!((list[99_999], bytes.len(), bytes[1002]), (99_999, 1003, 2));
    }
}
