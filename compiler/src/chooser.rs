//! The choice of composites, under the encoding that has an instruction set.
//!
//! Operations on their way out wait in a window. What goes elsewhere, a label that is
//! led to and the border of a guard empty it, so a composite never reaches over any of
//! them. A full window is split into instructions by dynamic programming from its end:
//! the fewest bytes, and of equals the fewest instructions. That is the best there is
//! within the window, where the longest entry first would miss a better one that begins
//! an operation later. Only as much of it goes out as has a whole entry's length behind
//! it, so that the border of the window is hardly felt.
//!
//! Operations that the line table would put on different lines are never joined: of a
//! composite the table tells one position, that of the first operation that may fail,
//! and so an error's line is right under every encoding; its column may be that of a
//! neighbour.
//!
//! Under `echo`, code laid down before may stand for what waits (`echoes`): it is taken
//! where that saves bytes, by the same rule on lines.
//!
//! It refuses to lay anything down; that is `branches`. Both walks of the sweep ask the
//! same questions and get the same answers; where there are echoes, the second one is told
//! those of the first.

use alloc::boxed::Box;

use scruple_bytecode::image::Position;
use scruple_bytecode::ops::Op;
use scruple_bytecode::sets::{Entry, InstructionSet, MAX_ENTRIES, MAX_PARTS};
use scruple_bytecode::{Encoding, encoding::Digits};

use crate::branches::is_silent;
use crate::echoes::Earlier;

/// An operation on its way out. The operand of a branch is its label.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Waiting {
    pub(crate) op: Op,
    pub(crate) operand: i32,
    pub(crate) position: Position,
}

/// Operations that wait at most.
pub(crate) const WINDOW: usize = 16;

/// Operations that go on waiting when the window is full: the next ones may show a
/// better split of them.
const KEPT: usize = MAX_PARTS - 1;

const NONE: u8 = u8::MAX;
/// An echo, in the place of an entry's number.
const ECHO: u8 = NONE - 1;
const _: () = assert!(MAX_ENTRIES < ECHO as usize);

/// The window, and the set as lists by first operation.
pub(crate) struct Chooser<'s> {
    set: &'s InstructionSet<'s>,
    /// The first entry that begins with an operation, and the next one of the same.
    heads: [u8; Op::COUNT],
    following: [u8; MAX_ENTRIES],
    window: [Waiting; WINDOW],
    n_waiting: u8,
    /// The entry that the instruction at each place of the window begins, if it is one,
    /// and how many operations it takes.
    choices: [(u8, u8); WINDOW],
}

impl<'s> Chooser<'s> {
    pub(crate) fn new(set: &'s InstructionSet<'s>) -> Box<Chooser<'s>> {
        let nothing =
            Waiting { op: Op::Trap, operand: 0, position: Position { line: 0, column: 0 } };
        let mut chooser = Chooser {
            set,
            heads: [NONE; Op::COUNT],
            following: [NONE; MAX_ENTRIES],
            window: [nothing; WINDOW],
            n_waiting: 0,
            choices: [(NONE, 1); WINDOW],
        };
        // The entry that comes first in the set is asked first, and keeps a tie.
        for index in (0..set.len()).rev() {
            let Some(first) = set.entry(index).and_then(|entry| entry.part(0)) else { continue };
            let head = &mut chooser.heads[first.op as usize];
            chooser.following[index] = *head;
            *head = index as u8;
        }
        Box::new(chooser)
    }

    /// The set.
    pub(crate) fn set(&self) -> &'s InstructionSet<'s> {
        self.set
    }

    /// The set's hash, for the image's header.
    pub(crate) fn hash(&self) -> u32 {
        self.set.hash()
    }

    /// Lets an operation wait, and tells whether the window is full.
    pub(crate) fn wait(&mut self, waiting: Waiting) -> bool {
        self.window[self.n_waiting as usize] = waiting;
        self.n_waiting += 1;
        self.n_waiting as usize == WINDOW
    }

    /// Empties the window without laying anything down: a walk begins.
    pub(crate) fn forget(&mut self) {
        self.n_waiting = 0;
    }

    /// Splits what waits into instructions, and tells how many operations there are of
    /// which the split stands: all of them where the run ends here. Of the code before,
    /// if it is given, instructions may be carried out again.
    pub(crate) fn split(
        &mut self,
        run_ends: bool,
        earlier: Option<(&mut Earlier, &[u8])>,
    ) -> usize {
        let costs = self.choose(None, &[(0, 0); WINDOW + 1]);
        if let Some(earlier) = earlier {
            // How far back what was found lies depends on what goes out before it: about
            // what it takes without echoes.
            self.choose(Some(earlier), &costs);
        }
        self.settled(run_ends, || None)
    }

    /// Chooses an instruction for each place of the window, and tells the bytes and
    /// instructions from there to the end.
    fn choose(
        &mut self,
        mut earlier: Option<(&mut Earlier, &[u8])>,
        without: &[(u16, u16); WINDOW + 1],
    ) -> [(u16, u16); WINDOW + 1] {
        let n = self.n_waiting as usize;
        let mut costs = [(0u16, 0u16); WINDOW + 1];
        for at in (0..n).rev() {
            let rest = costs[at + 1];
            let mut best = (rest.0 + plain_len(self.window[at]), rest.1 + 1);
            let mut choice = (NONE, 1);
            let mut index = self.heads[self.window[at].op as usize];
            while index != NONE {
                if let Some(entry) = self.set.entry(index as usize)
                    && let Some(len) = self.entry_len(entry, at)
                {
                    let rest = costs[at + entry.n_parts()];
                    let cost = (rest.0 + len, rest.1 + 1);
                    if cost < best {
                        (best, choice) = (cost, (index, entry.n_parts() as u8));
                    }
                }
                index = self.following[index as usize];
            }
            // Only for bytes: an echo reads what it refers to as well.
            if let Some((earlier, code)) = &mut earlier
                && let waiting = &self.window[at..n]
                && let ahead = without[0].0.saturating_sub(without[at].0)
                && let Some((cost, n_parts, echo)) =
                    earlier.best(self.set, code, waiting, ahead, &costs[at..])
                && cost.0 < best.0
            {
                (best, choice) = (cost, (ECHO, n_parts));
                earlier.note(at, echo);
            }
            (costs[at], self.choices[at]) = (best, choice);
        }
        costs
    }

    /// The same where the choices were made before: each is an entry's number, and how
    /// many operations.
    pub(crate) fn follow(&mut self, run_ends: bool, mut next: impl FnMut() -> (u8, u8)) -> usize {
        self.settled(run_ends, || Some(next()))
    }

    fn settled(&mut self, run_ends: bool, mut made: impl FnMut() -> Option<(u8, u8)>) -> usize {
        let n = self.n_waiting as usize;
        let kept = if run_ends { 0 } else { KEPT };
        let mut settled = 0;
        while settled + kept < n {
            if let Some(choice) = made() {
                self.choices[settled] = choice;
            }
            settled += self.choices[settled].1 as usize;
        }
        settled
    }

    /// The choice made for a place of the split window.
    pub(crate) fn choice(&self, at: usize) -> (u8, u8) {
        self.choices[at]
    }

    /// Whether the instruction that begins at a place of the split window is an echo.
    pub(crate) fn is_echo(&self, at: usize) -> bool {
        self.choices[at].0 == ECHO
    }

    /// The instruction that begins at a place of the split window: its operations, and
    /// the entry's number unless it is a single plain operation.
    pub(crate) fn instruction(&self, at: usize) -> (&[Waiting], Option<(u8, Entry<'s>)>) {
        let (index, n_parts) = self.choices[at];
        let parts = &self.window[at..at + n_parts as usize];
        let entry = if index == NONE { None } else { self.set.entry(index as usize) };
        (parts, entry.map(|entry| (index, entry)))
    }

    /// Takes that many operations out of the window.
    pub(crate) fn let_go(&mut self, n: usize) {
        self.window.copy_within(n.., 0);
        self.n_waiting -= n as u8;
    }

    /// The bytes of an entry with the operations at a place, if it stands for them.
    fn entry_len(&self, entry: Entry<'_>, at: usize) -> Option<u16> {
        let waiting = self.window[at..self.n_waiting as usize].get(..entry.n_parts())?;
        let (mut len, mut line) = (1, 0);
        for (part, waiting) in entry.parts().zip(waiting) {
            let is_branch = waiting.op.is_branch();
            // The number of a branch's label is no operand yet, and always free.
            let operand = if is_branch { 0 } else { waiting.operand };
            if part.op != waiting.op || part.operand.is_some_and(|fixed| fixed != operand) {
                return None;
            }
            if part.operand.is_none() {
                len += Digits::of(waiting.op, operand)?.as_slice().len() as u16;
            }
            if !is_silent(waiting.op) && waiting.position.line > 0 {
                if line > 0 && line != waiting.position.line {
                    return None;
                }
                line = waiting.position.line;
            }
        }
        Some(len)
    }
}

/// The bytes of an operation on its own: an operand out of range is told later. How
/// many a branch's distance takes is not known, and the same with and without an entry.
fn plain_len(waiting: Waiting) -> u16 {
    let operand = if waiting.op.is_branch() { 0 } else { waiting.operand };
    Encoding::Composite.encode(waiting.op, operand).map_or(1, |it| it.as_slice().len() as u16)
}
