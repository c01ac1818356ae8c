//! Bytes that live until the image is made: they are appended, some are written over,
//! and in the end all are handed on from the front.
//!
//! They lie in pieces. A list that grows has to move, and keeps room for the next time;
//! a piece stays where it is, at most one is not full, and each goes as soon as the
//! image has what is in it. So the image never lies beside a second copy of its parts.
//!
//! It refuses to know what the bytes mean.

use alloc::boxed::Box;
use alloc::vec::Vec;

use scruple_bytecode::leb128;

use crate::growth;

/// What bytes can be appended to.
pub(crate) trait Sink {
    fn put(&mut self, bytes: &[u8]);

    /// Appends an unsigned LEB128 number.
    fn leb(&mut self, value: u32) {
        let mut digits = [0; leb128::MAX_BYTES];
        let length = leb128::write_unsigned(value, &mut digits);
        self.put(&digits[..length]);
    }
}

impl Sink for Vec<u8> {
    fn put(&mut self, bytes: &[u8]) {
        growth::append(self, bytes);
    }
}

/// Pieces grow with what lies before them: short scripts have little idle, long ones few
/// pieces. From so many bytes on, before which there are so many pieces, they have this
/// size.
const SIZES: [(usize, usize, usize); 4] =
    [(0, 0, 128), (1024, 8, 256), (4096, 20, 1024), (20_480, 36, 4096)];

/// The largest size.
const LARGEST: usize = SIZES[SIZES.len() - 1].2;

/// Bytes in pieces.
#[derive(Default)]
pub(crate) struct Strip {
    /// The pieces that are full.
    full: Vec<Box<[u8]>>,
    n_full: usize,
    /// The piece that is not.
    last: Vec<u8>,
    /// Whether all is one piece, that can be looked at as such.
    is_whole: bool,
}

impl Strip {
    /// Bytes in one piece.
    pub(crate) fn whole() -> Strip {
        Strip { is_whole: true, ..Strip::default() }
    }

    pub(crate) fn len(&self) -> usize {
        self.n_full + self.last.len()
    }

    /// All bytes, of a strip in one piece.
    pub(crate) fn as_whole(&self) -> &[u8] {
        debug_assert!(self.is_whole);
        &self.last
    }

    /// Takes the bytes from a place on away, of a strip in one piece.
    pub(crate) fn truncate(&mut self, len: usize) {
        debug_assert!(self.is_whole);
        self.last.truncate(len);
    }

    /// The byte at a place, or 0 where there is none.
    pub(crate) fn get(&self, at: usize) -> u8 {
        let found = match at.checked_sub(self.n_full) {
            Some(at) => self.last.get(at),
            None => {
                let (piece, at) = split(at);
                self.full[piece].get(at)
            }
        };
        found.copied().unwrap_or(0)
    }

    /// Writes over bytes that are there.
    pub(crate) fn set(&mut self, at: usize, mut bytes: &[u8]) {
        let mut at = at;
        while !bytes.is_empty() && at < self.len() {
            let places = match at.checked_sub(self.n_full) {
                Some(at) => &mut self.last[at..],
                None => {
                    let (piece, at) = split(at);
                    &mut self.full[piece][at..]
                }
            };
            let (now, rest) = bytes.split_at(bytes.len().min(places.len()));
            places[..now.len()].copy_from_slice(now);
            (at, bytes) = (at + now.len(), rest);
        }
    }

    /// Appends another strip, which goes on the way.
    pub(crate) fn join(&mut self, other: Strip) {
        for piece in other.pieces() {
            self.put(&piece);
        }
    }

    /// The pieces in order, each to be let go of.
    pub(crate) fn pieces(self) -> impl Iterator<Item = Vec<u8>> {
        let Strip { full, mut last, .. } = self;
        let mut parts = Vec::new();
        // On a board, shortening a block moves it.
        if !cfg!(feature = "small") {
            last.shrink_to_fit();
            // From the end, so that it needs no second copy.
            while last.len() > LARGEST {
                growth::push(&mut parts, last.split_off(last.len() - LARGEST));
                last.shrink_to_fit();
            }
        }
        let full = full.into_iter().map(|piece| piece.into_vec());
        full.chain(core::iter::once(last)).chain(parts.into_iter().rev())
    }

    /// The bytes in order, each piece gone when it is read.
    pub(crate) fn into_bytes(self) -> impl Iterator<Item = u8> {
        let mut pieces = self.pieces();
        let (mut piece, mut at) = (Vec::new(), 0);
        core::iter::from_fn(move || {
            loop {
                if let Some(&byte) = piece.get(at) {
                    at += 1;
                    return Some(byte);
                }
                (piece, at) = (pieces.next()?, 0);
            }
        })
    }

    #[cold]
    #[inline(never)]
    fn append_across(&mut self, mut bytes: &[u8]) {
        if self.is_whole {
            return growth::append(&mut self.last, bytes);
        }
        loop {
            let room = (self.last.capacity() - self.last.len()).min(bytes.len());
            let (now, rest) = bytes.split_at(room);
            self.last.extend_from_slice(now);
            bytes = rest;
            if bytes.is_empty() {
                return;
            }
            let size = size_at(self.len());
            let piece = core::mem::replace(&mut self.last, Vec::with_capacity(size));
            if !piece.is_empty() {
                self.n_full += piece.len();
                growth::push(&mut self.full, piece.into_boxed_slice());
            }
        }
    }
}

impl Sink for Strip {
    fn put(&mut self, bytes: &[u8]) {
        if self.last.capacity() - self.last.len() >= bytes.len() {
            self.last.extend_from_slice(bytes);
        } else {
            self.append_across(bytes);
        }
    }
}

/// The sizes that count at a place.
fn sizes_at(at: usize) -> (usize, usize, usize) {
    let [first, others @ ..] = SIZES;
    others.into_iter().rev().find(|size| at >= size.0).unwrap_or(first)
}

/// The size of the piece that begins at a place.
fn size_at(at: usize) -> usize {
    sizes_at(at).2
}

/// The number of the piece that a place is in, and where in it.
fn split(at: usize) -> (usize, usize) {
    let (start, n_before, size) = sizes_at(at);
    (n_before + (at - start) / size, (at - start) % size)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strip_has_its_bytes_where_they_were_put() {
        let mut strip = Strip::default();
        let mut list = Vec::new();
        for n in 0..30_000u32 {
            let bytes = n.to_le_bytes();
            let bytes = &bytes[..(n % 5) as usize % 4];
            strip.put(bytes);
            list.extend_from_slice(bytes);
        }
        for at in (0..list.len()).step_by(7) {
            assert_eq!(strip.get(at), list[at]);
            strip.set(at, &[1, 2]);
            list.splice(at..(at + 2).min(list.len()), [1, 2].into_iter().take(list.len() - at));
        }
        assert_eq!(strip.len(), list.len());
        let mut other = Strip::whole();
        other.put(&list);
        assert_eq!(other.as_whole(), list);
        strip.join(other);
        list.extend_from_within(..);
        assert!(strip.into_bytes().eq(list));
    }
}
