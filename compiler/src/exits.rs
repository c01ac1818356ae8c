//! What is open and can be left, and the ways out of it.
//!
//! A `finally` block exists once. Each way out of what it guards stores which
//! way it is (and a returned value) in two hidden slots and goes to the block;
//! behind the block the stored number is told apart. Whether a `try` has a
//! `finally` block shows only behind it, so the words of a way out are noted,
//! and written anew as the plain jump where there proves to be none.
//!
//! A loop over an iterator is left with the iterator closed (ECMA-262,
//! IteratorClose). A `break` of it leads to a close behind the loop, which is written
//! only if there is one; what passes the loop on a longer way closes where it leaves.
//! A return closes only what lies within a try statement, whose `finally` block comes
//! after the closing: the machine closes the rest when the frame is left, and all of
//! it for an exception.
//!
//! It refuses grammar: `jumps` and `tries` have the statements.

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::draft::{LabelId, Use, VarId, Word};
use crate::function::Function;
use crate::narrow;

/// A statement that is open and can be left, or that leaving must pass.
#[derive(Clone, Copy, Default)]
pub(crate) enum Control {
    #[default]
    Nothing,
    /// A loop.
    Loop {
        end: LabelId,
        next: LabelId,
        /// The iterator to close plus one, or 0.
        iterator: u32,
        /// Where a `break` of a loop with an iterator leads, plus one; 0 while there
        /// was none.
        broken: u32,
    },
    /// A switch.
    Switch { end: LabelId },
    /// A label, of a loop or of another statement.
    Label { atom: Atom, end: LabelId, is_loop: bool },
    /// A try statement that may prove to have a `finally` block.
    Try(Try),
}

/// A try statement.
#[derive(Clone, Copy, Default)]
pub(crate) struct Try {
    /// The `finally` block.
    pub(crate) block: LabelId,
    /// The returned value or the exception.
    pub(crate) value: VarId,
    /// Which way the block was come to.
    pub(crate) way: VarId,
    /// First way out plus one, or 0.
    pub(crate) first_exit: u32,
}

/// Where a way out leads.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) enum Goal {
    /// Out of the function, with the value on the stack.
    #[default]
    Return,
    /// Behind the statement with this index among the open ones.
    Break(u32),
    /// Into the next turn of the loop with this index.
    Continue(u32),
}

/// A way out of a try statement.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Exit {
    pub(crate) goal: Goal,
    /// Where the draft leaves this way, first site plus one, or 0.
    first_site: u32,
    /// The next way out of the same statement plus one, or 0.
    next: u32,
}

/// A place where the draft leaves a try statement.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Site {
    place: u32,
    /// The next one of the same way out plus one, or 0.
    next: u32,
}

/// The way that falls out of the block, and the way of an exception; the ways
/// out are numbered from there.
pub(crate) const NORMAL: i32 = 0;
pub(crate) const THROWN: i32 = 1;
pub(crate) const FIRST_EXIT: i32 = 2;

/// Goes to the goal, through the try statements between ( -- ), or for a return
/// ( value -- )
pub(crate) fn leave(f: &mut Function<'_>, goal: Goal) {
    let place = f.draft.len();
    let iterators = (outermost(goal)..f.controls.len())
        .filter(|&index| iterator_of(f, index).is_some())
        .count();
    for _ in 0..length_of_way(goal) + 2 * narrow::to_u32(iterators) {
        f.word(Word::Nothing);
    }
    write_way(f, place, goal);
}

/// How many words a way out takes, whether a `finally` block is in it or not, besides
/// two for each iterator.
fn length_of_way(goal: Goal) -> u32 {
    match goal {
        Goal::Return => 4,
        Goal::Break(_) | Goal::Continue(_) => 3,
    }
}

/// The outermost statement that the way to a goal passes.
fn outermost(goal: Goal) -> u32 {
    match goal {
        Goal::Return => 0,
        Goal::Break(index) | Goal::Continue(index) => index + 1,
    }
}

/// The iterator of an open statement.
fn iterator_of(f: &Function<'_>, index: u32) -> Option<VarId> {
    match f.controls.get(index) {
        Control::Loop { iterator, .. } => iterator.checked_sub(1).map(VarId),
        _ => None,
    }
}

/// ( -- ) Closes the iterator in a temporary.
pub(crate) fn close_words(iterator: VarId) -> [Word; 2] {
    [Word::Load(plain(iterator)), Word::Op(Op::CloseValues, 0)]
}

/// Writes a way out at a place of the draft that has room for it: to the
/// innermost try statement in the way, or to the goal itself.
fn write_way(f: &mut Function<'_>, place: u32, goal: Goal) {
    let outermost = outermost(goal);
    let mut place = place;
    let passed = (outermost..f.controls.len())
        .rev()
        .find(|&index| matches!(f.controls.get(index), Control::Try(_)));
    // A return that passes no try statement is the machine's to close for, but not one
    // that has more to do before it leaves.
    if passed.is_some() || goal != Goal::Return || f.epilogue.is_some() {
        let first = passed.unwrap_or(outermost);
        for index in (first..f.controls.len()).rev() {
            let Some(iterator) = iterator_of(f, index) else { continue };
            for word in close_words(iterator) {
                f.draft.set(place, word.pack());
                place += 1;
            }
            f.max_depth = f.max_depth.max(2);
        }
    }
    let mut words = [Word::Nothing; 4];
    let branch = |label: LabelId| Word::Op(Op::Branch, narrow::to_operand(label.0));
    match passed {
        Some(index) => {
            let Control::Try(statement) = f.controls.get(index) else { return };
            let number = note_site(f, index, goal, place);
            if goal == Goal::Return {
                words[0] = Word::Store(plain(statement.value));
            }
            words[1] = Word::Op(Op::PushInt, number);
            words[2] = Word::Store(plain(statement.way));
            words[3] = branch(statement.block);
            f.max_depth = f.max_depth.max(1);
        }
        None => {
            let goal_index = outermost.saturating_sub(1);
            words[1] = match (goal, f.controls.get(goal_index)) {
                (Goal::Return, _) => match f.epilogue {
                    Some(epilogue) => branch(epilogue),
                    None => Word::Op(Op::Return, 0),
                },
                (Goal::Continue(_), Control::Loop { next, .. }) => branch(next),
                (_, Control::Loop { iterator: 1.., broken, .. }) => {
                    let label = match broken.checked_sub(1) {
                        Some(label) => LabelId(label),
                        None => break_label(f, goal_index),
                    };
                    branch(label)
                }
                (
                    _,
                    Control::Loop { end, .. }
                    | Control::Switch { end }
                    | Control::Label { end, .. },
                ) => branch(end),
                (_, Control::Try(_) | Control::Nothing) => Word::Nothing,
            };
        }
    }
    let skipped = 4 - length_of_way(goal);
    for (offset, word) in (0..).zip(&words[skipped as usize..]) {
        f.draft.set(place + offset, word.pack());
    }
}

/// Makes the label that the breaks of a loop with an iterator lead to.
fn break_label(f: &mut Function<'_>, index: u32) -> LabelId {
    let label = f.label();
    f.controls.update(index, |control| {
        if let Control::Loop { broken, .. } = control {
            *broken = label.0 + 1;
        }
    });
    label
}

/// Notes that the draft leaves a try statement here, and tells the way's number.
fn note_site(f: &mut Function<'_>, control: u32, goal: Goal, place: u32) -> i32 {
    let Control::Try(statement) = f.controls.get(control) else { return NORMAL };
    let mut number = FIRST_EXIT;
    let mut last = None;
    let mut next = statement.first_exit;
    while let Some(index) = next.checked_sub(1) {
        let exit = f.exits.get(index);
        if exit.goal == goal {
            let site = f.sites.push(Site { place, next: exit.first_site });
            f.exits.update(index, |exit| exit.first_site = site + 1);
            return number;
        }
        number += 1;
        last = Some(index);
        next = exit.next;
    }
    let site = f.sites.push(Site { place, next: 0 });
    let added = f.exits.push(Exit { goal, first_site: site + 1, next: 0 }) + 1;
    match last {
        Some(last) => f.exits.update(last, |exit| exit.next = added),
        None => f.controls.update(control, |control| {
            if let Control::Try(statement) = control {
                statement.first_exit = added;
            }
        }),
    }
    number
}

/// The try statement, no longer open, has no `finally` block: its ways out lead
/// where they would lead without it.
pub(crate) fn write_plain_exits(f: &mut Function<'_>, statement: Try) {
    let mut next = statement.first_exit;
    while let Some(index) = next.checked_sub(1) {
        let exit = f.exits.get(index);
        next = exit.next;
        let mut next_site = exit.first_site;
        while let Some(site) = next_site.checked_sub(1) {
            let Site { place, next } = f.sites.get(site);
            next_site = next;
            write_way(f, place, exit.goal);
        }
    }
}

/// The ways out of a try statement with their numbers.
pub(crate) fn exits(f: &Function<'_>, statement: Try) -> impl Iterator<Item = (i32, Exit)> + use<> {
    let mut list = alloc::vec::Vec::new();
    let mut next = statement.first_exit;
    while let Some(index) = next.checked_sub(1) {
        let exit = f.exits.get(index);
        next = exit.next;
        list.push(exit);
    }
    (FIRST_EXIT..).zip(list)
}

/// A use of a temporary.
pub(crate) fn plain(var: VarId) -> Use {
    Use { var, is_early: false }
}
