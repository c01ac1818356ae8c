//! The closed functions: what the image needs of each beside its code, in fewer bytes
//! than it takes there.
//!
//! What is not known when a function closes has its place and is filled in: the name,
//! which what the function is bound to gives it, and where its free variables come from,
//! which the close of the function around tells. It refuses to know names' meanings and
//! drafts.

use alloc::vec::Vec;

use crate::atoms::Atom;
use crate::draft::VarId;
use crate::growth;
use crate::narrow;
use crate::strip::{Sink, Strip};

/// A closed function: its number, and where its parts are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Closed {
    pub(crate) id: u32,
    record: u32,
    lists: u32,
}

/// A function closed inside one that is open.
#[derive(Clone, Copy, Default)]
pub(crate) struct Child {
    lists: u32,
    /// How many free variables it has: a row each with the open function.
    pub(crate) n_free: u16,
}

/// Where a free variable of a closed function comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    /// A slot of the function that makes the closure.
    Slot(u32),
    /// A free variable of that function.
    Outer(u32),
    /// A global.
    Global(u32),
}

/// How many bytes a source takes among the lists. A number that does not fit is told
/// when the image is made: 15 bits are all that it has.
pub(crate) const SOURCE_LEN: usize = 3;

impl Source {
    fn pack(self) -> [u8; SOURCE_LEN] {
        let (tag, number) = match self {
            Source::Slot(number) => (0, number),
            Source::Outer(number) => (1, number),
            Source::Global(number) => (2, number),
        };
        let [low, high] = narrow::to_u16(number).to_le_bytes();
        [tag, low, high]
    }

    pub(crate) fn unpack([tag, low, high]: [u8; SOURCE_LEN]) -> Source {
        let number = u16::from_le_bytes([low, high]).into();
        match tag {
            0 => Source::Slot(number),
            1 => Source::Outer(number),
            _ => Source::Global(number),
        }
    }
}

/// A free variable of a function whose parent is open.
#[derive(Clone, Copy, Default)]
pub(crate) struct FreeRow {
    pub(crate) atom: Atom,
    /// The parent's record.
    pub(crate) var: VarId,
    /// Offset of the first assignment to it plus one, or 0; above it, whether the code
    /// takes it for a constant.
    written: u32,
}

const CONST_BIT: u32 = 1 << 31;

impl FreeRow {
    pub(crate) fn new(atom: Atom, var: VarId, written: u32, seems_const: bool) -> FreeRow {
        FreeRow { atom, var, written: written | if seems_const { CONST_BIT } else { 0 } }
    }

    pub(crate) fn written(self) -> u32 {
        self.written & !CONST_BIT
    }

    pub(crate) fn seems_const(self) -> bool {
        self.written & CONST_BIT != 0
    }

    /// What is assigned in a function inside is assigned here, unless it was before.
    pub(crate) fn note_write(&mut self, inner: FreeRow) {
        if self.written() == 0 && inner.written() > 0 {
            self.written = inner.written;
        }
    }
}

/// A function that closes, but for its name and its free variables.
#[derive(Clone, Copy, Default)]
pub(crate) struct FunctionRow<'g> {
    /// Bytes of its code.
    pub(crate) n_code: u32,
    pub(crate) n_params: u8,
    pub(crate) flags: u8,
    pub(crate) n_slots: u16,
    pub(crate) depth: u16,
    pub(crate) n_free: u16,
    pub(crate) length: u32,
    /// Start, end and handler of each guard.
    pub(crate) guards: &'g [[u32; 3]],
}

/// The functions closed so far.
#[derive(Default)]
pub(crate) struct Functions {
    n: u32,
    /// Of each function in a row its flags and the number of its parameters, a byte
    /// each, then as LEB128 its slots, its depth, its free variables and the bytes of
    /// its code.
    pub(crate) records: Strip,
    /// Of each function in a row the atom of its name plus one, in three bytes, and the
    /// sources of its free variables; then, as the image has it, its length, how many
    /// guards it has, and these.
    pub(crate) lists: Strip,
    /// Functions of the present statement of the script that take free variables of
    /// another one for their own, and the lists of that one.
    chains: Vec<(Child, u32)>,
}

impl Functions {
    pub(crate) fn len(&self) -> u32 {
        self.n
    }

    /// Appends a function.
    pub(crate) fn add(&mut self, row: FunctionRow<'_>) -> Closed {
        let (id, record) = (self.n, narrow::to_u32(self.records.len()));
        let lists = narrow::to_u32(self.lists.len());
        self.n += 1;
        self.records.put(&[row.flags, row.n_params]);
        for number in [row.n_slots.into(), row.depth.into(), row.n_free.into(), row.n_code] {
            self.records.leb(number);
        }
        self.lists.put(&[0; NAME_LEN]);
        for _ in 0..row.n_free {
            // Where it comes from shows when the function around closes.
            self.lists.put(&Source::Slot(0).pack());
        }
        self.lists.leb(row.length);
        self.lists.leb(narrow::to_u32(row.guards.len()));
        for &[start, end, handler] in row.guards {
            self.lists.leb(start);
            self.lists.leb(end - start);
            self.lists.leb(handler);
        }
        Closed { id, record, lists }
    }

    pub(crate) fn flags(&self, closed: Closed) -> u8 {
        self.records.get(closed.record as usize)
    }

    pub(crate) fn add_flags(&mut self, closed: Closed, flags: u8) {
        let flags = self.flags(closed) | flags;
        self.records.set(closed.record as usize, &[flags]);
    }

    pub(crate) fn n_params(&self, closed: Closed) -> u8 {
        self.records.get(closed.record as usize + 1)
    }

    pub(crate) fn set_name(&mut self, closed: Closed, name: Option<Atom>) {
        let name = name.map_or(0, |name| name.number() + 1);
        self.lists.set(closed.lists as usize, &three(name));
    }

    pub(crate) fn set_source(&mut self, child: Child, free: u32, source: Source) {
        self.lists.set(place_of_source(child.lists, free), &source.pack());
    }

    fn source(&self, lists: u32, free: u32) -> Source {
        let at = place_of_source(lists, free);
        Source::unpack([0, 1, 2].map(|byte| self.lists.get(at + byte)))
    }

    /// The child has free variables of the function that is closing, whose lists come
    /// next, for its own: whether those are globals shows when the script's statement
    /// closes.
    pub(crate) fn add_chain(&mut self, child: Child) {
        growth::push(&mut self.chains, (child, narrow::to_u32(self.lists.len())));
    }

    /// A free variable that comes from one of the function around is a global if that
    /// one is. A function closes behind those inside it, so one pass from the end
    /// settles every chain.
    pub(crate) fn settle_chains(&mut self) {
        for (child, around) in core::mem::take(&mut self.chains).into_iter().rev() {
            for free in 0..child.n_free.into() {
                if let Source::Outer(outer) = self.source(child.lists, free)
                    && let source @ Source::Global(_) = self.source(around, outer)
                {
                    self.set_source(child, free, source);
                }
            }
        }
    }
}

impl Closed {
    /// As a child of the function around, which has rows of its free variables.
    pub(crate) fn as_child(self, n_free: u16) -> Child {
        Child { lists: self.lists, n_free }
    }
}

fn place_of_source(lists: u32, free: u32) -> usize {
    lists as usize + NAME_LEN + free as usize * SOURCE_LEN
}

/// How many bytes a name takes among the lists.
const NAME_LEN: usize = 3;

/// The three low bytes.
pub(crate) fn three(n: u32) -> [u8; 3] {
    let [a, b, c, _] = n.to_le_bytes();
    [a, b, c]
}
