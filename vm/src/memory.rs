//! Looking on at the memory: events where the heap's books can reach a new
//! height, and the blocks of the heap one by one.
//!
//! It owns what an observer that asks for [`Changes`](crate::Changes) is told; every
//! other one is compiled without it. It refuses to keep anything: which block was
//! made where is the observer's to remember. A block is known by its first cell until
//! that cell begins another, or the blocks are moved together.

use crate::Host;
use crate::error::{Raise, StopKind};
use crate::heap::NoRoom;
use crate::heap::kinds::Kind;
use crate::host::{Observer, Wanted, Wants};
use crate::layout::{Layout, cell_bytes};
use crate::value::Ref;
use crate::vm::Vm;

/// What is about to happen to the memory, or has happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// Memory is asked for: a collection may come first, and the height that it
    /// ends is the present one.
    Asked,
    /// A block was made; its first cell.
    Made(usize),
    /// A block grew where it lies; its first cell.
    Grew(usize),
    /// The stack has taken a frame.
    Entered,
    /// The blocks are about to be moved together, right behind a collection.
    Moving,
    /// They have been: they are as many, and in the same order.
    Moved,
}

/// A change of the memory, with what the ledger does not know at each moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Booking {
    /// What changed.
    pub change: Change,
    /// Bytes of stack, those included that the entered frame may come to use.
    pub stack_bytes: usize,
}

/// A block of the heap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Block {
    /// Its first cell.
    pub cell: usize,
    /// What it is used for.
    pub kind: Kind,
    /// Its bytes.
    pub bytes: usize,
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Every block of the heap, garbage included, from the lowest cell up. Properties
    /// in an object's own block come behind it as one of their own.
    pub fn blocks(&self) -> impl Iterator<Item = Block> {
        let mut from = 0;
        let mut within = None;
        core::iter::from_fn(move || {
            if let Some(properties) = within.take() {
                return Some(properties);
            }
            let cell = self.heap.block_from(from)?;
            let cells = self.heap.block_cells(cell);
            from = cell + cells;
            let kind = match self.heap.kind(Ref::from_cell(cell)) {
                Kind::Properties if self.heap.is_shape(Ref::from_cell(cell)) => Kind::Shape,
                kind => kind,
            };
            let own = if self.heap.lists_within(cell) { 1 } else { cells };
            within = (own < cells).then(|| Block {
                cell,
                kind: Kind::Properties,
                bytes: (cells - own) * cell_bytes::<L>(),
            });
            Some(Block { cell, kind, bytes: own * cell_bytes::<L>() })
        })
    }

    /// The image whose code runs, and the place of the running instruction in its
    /// code section; nothing while no instruction runs.
    pub fn running(&self) -> Option<(usize, usize)> {
        Some((self.current, self.pc.checked_sub(1)?))
    }

    /// Allocates a block. What the caller still needs lies in roots.
    pub(crate) fn allocate(&mut self, kind: Kind, cells: usize) -> Result<Ref, Raise> {
        self.note_asked();
        let block = self.heap.allocate(kind, cells);
        self.note_made(block)
    }

    /// Allocates an object with room for so many properties in its own block.
    pub(crate) fn allocate_object(&mut self, room: usize) -> Result<Ref, Raise> {
        self.note_asked();
        let object = self.heap.allocate_object(room);
        if let (Ok(object), true) = (object, room > 0) {
            // Before anybody looks: the cells behind the first are properties.
            self.heap.set_child(object, 2, object);
        }
        self.note_made(object)
    }

    pub(crate) fn allocate_number(&mut self, number: f64) -> Result<Ref, Raise> {
        self.note_asked();
        let block = self.heap.allocate_number(number);
        self.note_made(block)
    }

    /// Grows a block in place if the cells behind it are free.
    pub(crate) fn extend(&mut self, block: Ref, from: usize, to: usize) -> bool {
        self.note_asked();
        let grew = self.heap.extend(block, from, to);
        self.note_grown(grew, block);
        grew
    }

    /// Makes room for properties in an object's own block, likewise.
    pub(crate) fn extend_object(&mut self, object: Ref, room: usize) -> bool {
        self.note_asked();
        let grew = self.heap.extend(object, 1, 1 + room);
        if grew {
            // Before anybody looks: from now on the new cells are properties.
            self.heap.set_child(object, 2, object);
        }
        self.note_grown(grew, object);
        grew
    }

    #[inline(always)]
    fn note_grown(&mut self, grew: bool, block: Ref) {
        if Wants::<H>::MEMORY
            && grew
            && let Some(cell) = block.cell()
        {
            self.book(Change::Grew(cell), self.heap.sp);
        }
    }

    /// Collects at once, for the sake of the stack.
    pub(crate) fn collect_now(&mut self) {
        self.note_asked();
        self.heap.collect_now();
    }

    /// Tells an observer of a height that a collection may end. The heap itself
    /// books it before it collects, so the books are the same without.
    #[inline(always)]
    fn note_asked(&mut self) {
        if Wants::<H>::MEMORY {
            self.heap.settle(self.heap.sp);
            self.book(Change::Asked, self.heap.sp);
        }
    }

    #[inline(always)]
    /// More cells are asked for than a block's count can tell, however much room there is.
    #[cold]
    pub(crate) fn refuse_cells(&mut self, cells: usize) -> Raise {
        self.heap.failed_bytes = cells * cell_bytes::<L>();
        Raise::stop(StopKind::Heap)
    }

    fn note_made(&mut self, block: Result<Ref, NoRoom>) -> Result<Ref, Raise> {
        let block = block.map_err(|_| Raise::stop(StopKind::Heap))?;
        if Wants::<H>::MEMORY
            && let Some(cell) = block.cell()
        {
            self.book(Change::Made(cell), self.heap.sp);
        }
        Ok(block)
    }

    /// Tells an observer of a change; `low` is the stack's lowest slot.
    pub(crate) fn book(&mut self, change: Change, low: usize) {
        let stack_bytes = (self.heap.stack_end() - low) * L::SLOT_BYTES;
        <H::Observer as Observer>::booked(self, Booking { change, stack_bytes });
    }
}
