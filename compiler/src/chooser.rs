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
//! Under `context` which entries there are hangs on the instruction before: the split is
//! one over places and tables, and one that ends where control can come from elsewhere
//! must end where the first table counts. A plain instruction leads there, so there is
//! always such a split, and no byte is spent on it alone. What the instructions that went
//! out lead to is kept for the next ones.
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
use scruple_bytecode::sets::{
    Entry, InstructionSet, MAX_ENTRIES, MAX_PARTS, Table, leaves_and_goes_on,
};
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

/// The entries of a table by their opcode bytes, as lists by first operation.
struct Lists {
    /// The first entry that begins with an operation, and the next one of the same.
    heads: [u8; Op::COUNT],
    following: [u8; MAX_ENTRIES],
}

impl Lists {
    /// The entry that comes first in the table is asked first, and keeps a tie.
    fn new(set: &InstructionSet<'_>, table: Table) -> Lists {
        let mut lists = Lists { heads: [NONE; Op::COUNT], following: [NONE; MAX_ENTRIES] };
        for index in (0..MAX_ENTRIES).rev() {
            let entry = set.entry_of(Table::First.opcode_byte(index), table);
            let Some(first) = entry.and_then(|entry| entry.part(0)) else { continue };
            let head = &mut lists.heads[first.op as usize];
            lists.following[index] = *head;
            *head = index as u8;
        }
        lists
    }
}

/// Bytes and instructions to the end of the window.
pub(crate) type Cost = (u16, u16);

/// More than any split takes: that of a place and a table that must not be.
const NEVER: Cost = (u16::MAX / 2, 0);

/// The window, and the set as lists by first operation.
pub(crate) struct Chooser<'s> {
    set: &'s InstructionSet<'s>,
    lists: Lists,
    /// The lists where the second table counts, if it ever does.
    then: Option<Box<Lists>>,
    window: [Waiting; WINDOW],
    n_waiting: u8,
    /// The table that counts where the window begins.
    table: Table,
    /// The instructions of the split, each at its first place.
    choices: [Choice; WINDOW],
}

/// An instruction of a split.
#[derive(Clone, Copy)]
struct Choice {
    /// The entry by its opcode byte, counted from the first one's, or [`NONE`].
    index: u8,
    /// How many operations it takes.
    n_parts: u8,
    /// The table that counts where it stands.
    table: Table,
}

impl Choice {
    const PLAIN: Choice = Choice { index: NONE, n_parts: 1, table: Table::First };
}

impl<'s> Chooser<'s> {
    pub(crate) fn new(set: &'s InstructionSet<'s>, encoding: Encoding) -> Box<Chooser<'s>> {
        let nothing =
            Waiting { op: Op::Trap, operand: 0, position: Position { line: 0, column: 0 } };
        let has_tables = encoding.has_tables() && set.len_of(Table::Then) > 0;
        Box::new(Chooser {
            set,
            lists: Lists::new(set, Table::First),
            then: has_tables.then(|| Box::new(Lists::new(set, Table::Then))),
            window: [nothing; WINDOW],
            n_waiting: 0,
            table: Table::First,
            choices: [Choice::PLAIN; WINDOW],
        })
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
        (self.n_waiting, self.table) = (0, Table::First);
    }

    /// Splits what waits into instructions, and tells how many operations there are of
    /// which the split stands: all of them where the run ends here. Of the code before,
    /// if it is given, instructions may be carried out again.
    pub(crate) fn split(
        &mut self,
        run_ends: bool,
        earlier: Option<(&mut Earlier, &[u8])>,
    ) -> usize {
        let (costs, mut choices) = self.choose(run_ends, None, &[[(0, 0); 2]; WINDOW + 1]);
        if let Some(earlier) = earlier {
            // How far back what was found lies depends on what goes out before it: about
            // what it takes without echoes.
            (_, choices) = self.choose(run_ends, Some(earlier), &costs);
        }
        self.settle(run_ends, |at, table| choices[at][table as usize])
    }

    /// Chooses an instruction for each place of the window, and tells the bytes and
    /// instructions from there to the end.
    fn choose(
        &mut self,
        run_ends: bool,
        mut earlier: Option<(&mut Earlier, &[u8])>,
        without: &[[Cost; 2]; WINDOW + 1],
    ) -> ([[Cost; 2]; WINDOW + 1], [[Choice; 2]; WINDOW]) {
        let n = self.n_waiting as usize;
        // By place: from where the first table counts, and from where the second does.
        let mut costs = [[(0, 0); 2]; WINDOW + 1];
        let mut choices = [[Choice::PLAIN; 2]; WINDOW];
        if run_ends {
            costs[n][Table::Then as usize] = NEVER;
        }
        for at in (0..n).rev() {
            let (mut best, mut choice) = self.best(&self.lists, Table::First, at, &costs);
            // Only for bytes: an echo reads what it refers to as well.
            if let Some((earlier, code)) = &mut earlier
                && let waiting = &self.window[at..n]
                && let ahead = without[0][0].0.saturating_sub(without[at][0].0)
                && let Some((cost, n_parts, echo)) =
                    earlier.best(self.set, code, waiting, ahead, &costs[at..])
                && cost.0 < best.0
            {
                (best, choice) = (cost, Choice { index: ECHO, n_parts, table: Table::First });
                earlier.note(at, echo);
            }
            (costs[at][0], choices[at][0]) = (best, choice);
            if let Some(then) = &self.then {
                (costs[at][1], choices[at][1]) = self.best(then, Table::Then, at, &costs);
            }
        }
        (costs, choices)
    }

    /// The same where the choices were made before: each is an entry's number, and how
    /// many operations.
    pub(crate) fn follow(&mut self, run_ends: bool, mut next: impl FnMut() -> (u8, u8)) -> usize {
        self.settle(run_ends, |_, _| {
            let (index, n_parts) = next();
            Choice { index, n_parts, table: Table::First }
        })
    }

    /// Takes the choices in a row, as far as they stand.
    fn settle(
        &mut self,
        run_ends: bool,
        mut choice_at: impl FnMut(usize, Table) -> Choice,
    ) -> usize {
        let n = self.n_waiting as usize;
        let kept = if run_ends { 0 } else { KEPT };
        let (mut settled, mut table) = (0, self.table);
        while settled + kept < n {
            let choice = choice_at(settled, table);
            self.choices[settled] = choice;
            settled += choice.n_parts as usize;
            table = self.behind(choice.index != NONE, settled);
        }
        debug_assert!(!run_ends || table == Table::First, "a run ends where `then` counts");
        self.table = table;
        settled
    }

    /// The choice made for a place of the split window.
    pub(crate) fn choice(&self, at: usize) -> (u8, u8) {
        let Choice { index, n_parts, .. } = self.choices[at];
        (index, n_parts)
    }

    /// Whether the instruction that begins at a place of the split window is an echo.
    pub(crate) fn is_echo(&self, at: usize) -> bool {
        self.choices[at].index == ECHO
    }

    /// The best instruction at a place where a table counts, and what it and the best
    /// that can follow cost.
    fn best(
        &self,
        lists: &Lists,
        table: Table,
        at: usize,
        costs: &[[Cost; 2]; WINDOW + 1],
    ) -> (Cost, Choice) {
        let rest = costs[at + 1][Table::First as usize];
        let mut best = (rest.0 + plain_len(self.window[at]), rest.1 + 1);
        let mut choice = Choice { table, ..Choice::PLAIN };
        let mut index = lists.heads[self.window[at].op as usize];
        while index != NONE {
            if let Some(entry) = self.entry_at(index, table)
                && let Some(len) = self.entry_len(entry, at)
            {
                let behind = at + entry.n_parts();
                let rest = costs[behind][self.behind(true, behind) as usize];
                let cost = (rest.0 + len, rest.1 + 1);
                if cost < best {
                    (best, choice) =
                        (cost, Choice { index, n_parts: entry.n_parts() as u8, table });
                }
            }
            index = lists.following[index as usize];
        }
        (best, choice)
    }

    fn entry_at(&self, index: u8, table: Table) -> Option<Entry<'s>> {
        self.set.entry_of(Table::First.opcode_byte(index.into()), table)
    }

    /// The table that counts behind an instruction that ends before a place.
    fn behind(&self, is_entry: bool, place: usize) -> Table {
        let goes_on = is_entry && leaves_and_goes_on(self.window[place - 1].op);
        if self.then.is_some() && goes_on { Table::Then } else { Table::First }
    }

    /// The instruction that begins at a place of the split window: its operations, and
    /// the entry with its opcode byte, counted from the first one's, unless it is a single plain operation.
    pub(crate) fn instruction(&self, at: usize) -> (&[Waiting], Option<(u8, Entry<'s>)>) {
        let Choice { index, n_parts, table } = self.choices[at];
        let parts = &self.window[at..at + n_parts as usize];
        let entry = if index >= ECHO { None } else { self.entry_at(index, table) };
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
