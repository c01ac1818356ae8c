//! Code laid down before, to be carried out again: what the encoding `echo` refers to.
//!
//! A table finds places in the code by the two operations that begin there. It keeps the
//! latest few of a kind, has about as many places as the code has instructions, and is
//! made of the code alone: so it can be made anew when it grows. A place that it tells is decoded
//! and compared; what it does not tell is only a saving missed.
//!
//! In the walk of a sweep that measures, the function's code is laid down as well, with
//! the shortest branches and references. Later instructions so find earlier ones of the
//! same function. All of that is taken back before the other walk, which follows what
//! the first one chose; how far a reference reaches is settled as a branch's distance is.
//!
//! It refuses to choose: that is `chooser`.

use alloc::vec;
use alloc::vec::Vec;

use scruple_bytecode::encoding::echo::{ECHO, MOST_ECHOED, Reference};
use scruple_bytecode::ops::Op;
use scruple_bytecode::sets::{InstructionSet, MAX_PARTS, may_stand_inside};

use crate::branches::is_silent;
use crate::chooser::{Cost, WINDOW, Waiting};
use crate::narrow;

/// Places that are kept of those with the same number.
const WAYS: usize = 4;

/// Places that a table has room for at first.
const LEAST: usize = 16 * WAYS;

/// How far a table reaches: a place takes 16 bits. A reference that goes back further
/// would take four bytes at least.
const REACH: usize = u16::MAX as usize;

/// Instructions to be carried out again.
#[derive(Clone, Copy, Default)]
pub(crate) struct Echo {
    /// Where the first of them begins.
    pub(crate) place: u32,
    /// How many.
    pub(crate) count: u8,
}

/// The places of one stretch of code: the closed functions, or the script's statements.
#[derive(Default)]
pub(crate) struct Earlier {
    /// Places from `base` on plus one, in groups of [`WAYS`], the latest first.
    places: Vec<u16>,
    /// Where the table begins.
    base: usize,
    n_places: usize,
    /// Up to here the code is in the table.
    seen: usize,
    /// What the chooser found for each place of its window.
    found: [Echo; WINDOW],
}

/// Both stretches.
#[derive(Default)]
pub(crate) struct Stretches {
    pub(crate) functions: Earlier,
    pub(crate) script: Earlier,
}

impl Earlier {
    /// Takes in what was laid down since.
    pub(crate) fn catch_up(&mut self, set: &InstructionSet<'_>, code: &[u8]) {
        while let Some((hash, next)) = step(set, code, self.seen) {
            let at = core::mem::replace(&mut self.seen, next);
            let Some(hash) = hash else { continue };
            if at - self.base >= REACH {
                self.begin_at(at);
                continue;
            }
            if 4 * self.n_places >= 3 * self.places.len() {
                // A table of twice the length, from where this one began.
                let length = (2 * self.places.len()).max(LEAST);
                self.places = Vec::new();
                self.places = vec![0; length];
                self.begin_at(self.base);
                continue;
            }
            let place = (at - self.base + 1) as u16;
            let group = self.group(hash);
            let group = &mut self.places[group..][..WAYS];
            self.n_places += usize::from(group[WAYS - 1] == 0);
            group.copy_within(..WAYS - 1, 1);
            group[0] = place;
        }
    }

    /// Forgets the code from a place on, which is going to be laid down otherwise.
    pub(crate) fn forget(&mut self, set: &InstructionSet<'_>, code: &[u8], start: usize) {
        if self.base > start {
            self.begin_at(start);
        }
        let least = start - self.base;
        let mut at = start;
        while at < self.seen
            && let Some((hash, next)) = step(set, code, at)
        {
            at = next;
            let Some(hash) = hash else { continue };
            let group = self.group(hash);
            let group = &mut self.places[group..][..WAYS];
            // The latest come first, so what stays is moved to the front.
            let n = group.iter().take_while(|&&place| usize::from(place) > least).count();
            group.copy_within(n.., 0);
            group[WAYS - n..].fill(0);
            self.n_places -= n;
        }
        self.seen = self.seen.min(start);
    }

    /// Begins anew, with nothing seen yet.
    fn begin_at(&mut self, base: usize) {
        self.places.fill(0);
        (self.n_places, self.base, self.seen) = (0, base, base);
    }

    /// The instructions laid down that are best carried out again in place of the first
    /// waiting operations, and what that and the rest then take in bytes and
    /// instructions, with how many operations it takes. `costs` are those from each
    /// operation on, `ahead` the bytes that are to be laid down before.
    pub(crate) fn best(
        &self,
        set: &InstructionSet<'_>,
        code: &[u8],
        waiting: &[Waiting],
        ahead: u16,
        costs: &[[Cost; 2]],
    ) -> Option<(Cost, u8, Echo)> {
        let [first, second, ..] = waiting else { return None };
        let hash = hash([(first.op, first.operand), (second.op, second.operand)])?;
        if self.places.is_empty() {
            return None;
        }
        let group = self.group(hash);
        let mut best: Option<(Cost, u8, Echo)> = None;
        for &place in &self.places[group..][..WAYS] {
            let Some(place) = place.checked_sub(1) else { break };
            let place = self.base + usize::from(place);
            // Branches and references in between may grow, so that what seems to save a
            // byte then saves none: to reckon with it costs more than it brings (13,210
            // bytes of samples as it is, 13,212 and 13,216 with an eighth or a quarter
            // added).
            let back = narrow::to_u32(code.len() - place + usize::from(ahead));
            for (n, count) in matches(set, code, place, waiting) {
                let bytes = Reference { count, back }.encode().map(|it| it.as_slice().len() as u16);
                let Some(bytes) = bytes else { break };
                let rest = costs[n][0];
                let cost = (rest.0 + bytes, rest.1 + 1);
                if best.is_none_or(|(least, ..)| cost < least) {
                    best = Some((
                        cost,
                        n as u8,
                        Echo { place: narrow::to_u32(place), count: count as u8 },
                    ));
                }
            }
        }
        best
    }

    /// Notes what was found for a place of the window.
    pub(crate) fn note(&mut self, at: usize, echo: Echo) {
        self.found[at] = echo;
    }

    /// What was noted.
    pub(crate) fn noted(&self, at: usize) -> Echo {
        self.found[at]
    }

    fn group(&self, hash: u32) -> usize {
        (hash as usize % (self.places.len() / WAYS)) * WAYS
    }
}

/// How many of the waiting operations, from the first on, the instructions at a place
/// stand for: one instruction, two, and so on.
fn matches(
    set: &InstructionSet<'_>,
    code: &[u8],
    place: usize,
    waiting: &[Waiting],
) -> impl Iterator<Item = (usize, usize)> {
    let (mut at, mut n, mut count, mut line) = (place, 0, 0, 0);
    core::iter::from_fn(move || {
        if count == MOST_ECHOED || (n > 0 && !may_stand_inside(waiting[n - 1].op)) {
            return None;
        }
        let found = set.instruction(code, at)?;
        for part in found.parts() {
            let waiting = waiting.get(n).filter(|_| n < MAX_PARTS)?;
            let is_same = (waiting.op, waiting.operand) == (part.op, part.operand);
            if !is_same || waiting.op.is_branch() {
                return None;
            }
            // The rule on lines is that of composites.
            if !is_silent(waiting.op) && waiting.position.line > 0 {
                if line > 0 && line != waiting.position.line {
                    return None;
                }
                line = waiting.position.line;
            }
            n += 1;
        }
        (at, count) = (found.next, count + 1);
        Some((n, count))
    })
}

/// The number of what begins at a place, if it can be referred to, and the place behind
/// the instruction; nothing before the one that follows is laid down as well.
fn step(set: &InstructionSet<'_>, code: &[u8], at: usize) -> Option<(Option<u32>, usize)> {
    if code.get(at) == Some(&ECHO) {
        return Reference::decode(code, at).map(|(_, next)| (None, next));
    }
    let found = set.instruction(code, at)?;
    let mut parts = found.parts().map(|part| (part.op, part.operand));
    let first = parts.next()?;
    if let Some(second) = parts.next() {
        return Some((hash([first, second]), found.next));
    }
    if code.get(found.next)? == &ECHO {
        return Some((None, found.next));
    }
    let second = set.instruction(code, found.next)?.first();
    Some((hash([first, (second.op, second.operand)]), found.next))
}

/// A number of two operations (FNV-1a by words), if they can be part of an echo.
fn hash(operations: [(Op, i32); 2]) -> Option<u32> {
    let [(first, _), (second, _)] = operations;
    if first.is_branch() || second.is_branch() || !may_stand_inside(first) {
        return None;
    }
    let mut hash = 0x811c_9dc5u32;
    for (op, operand) in operations {
        for word in [op as u32, operand.cast_unsigned()] {
            hash = (hash ^ word).wrapping_mul(0x0100_0193);
        }
    }
    Some(hash ^ hash >> 15)
}
