//! The heap: one region of memory, given, and the books of what lies in it.
//!
//! The region holds, from its low end: the collector's two bits a cell, the
//! collector's mark stack, and the cells; the machine's stack grows down from its
//! high end. Nothing is allocated anywhere else. Blocks move only in `compact.rs`.

mod collect;
mod compact;
pub(crate) mod kinds;
pub(crate) mod ledger;
mod map;
mod pace;
pub(crate) mod raw;
mod records;
mod share;

use crate::layout::{Layout, cell_bytes};
use crate::value::{Ref, Value};
use kinds::{Category, Kind};
use ledger::Ledger;
use raw::Region;

/// How the heap is to behave. All bytes.
#[derive(Clone, Copy, Debug)]
pub struct HeapOptions {
    /// The most bytes of cells, or the whole region.
    pub limit: usize,
    /// Collect after that many bytes of allocation, whatever else: 0 collects
    /// before every allocation, which makes the live peak exact. With any number, objects
    /// alike are folded whenever more would be alive than ever before.
    pub collect_every: usize,
    /// Collect when the heap has grown by half, but not before it has grown by
    /// that many bytes; sooner where it would grow into what the stack has used.
    pub growth: usize,
    /// Do behind every collection what is otherwise done when memory is short: fold
    /// objects alike, keep equal strings once, move the blocks together. That is for tests:
    /// it finds a reference that is held where it must not be.
    pub thorough: bool,
}

impl Default for HeapOptions {
    fn default() -> Self {
        HeapOptions { limit: usize::MAX, collect_every: usize::MAX, growth: 1024, thorough: false }
    }
}

/// The references the collector starts from, besides the stack.
#[derive(Debug)]
pub(crate) struct Roots<L: Layout> {
    /// Globals of each image.
    pub(crate) globals: [Ref; crate::MAX_IMAGES],
    /// Objects in flash that a script has changed.
    pub(crate) changes: Ref,
    /// The key table: weak, its strings are kept by their uses alone.
    pub(crate) keys: Ref,
    /// The string of the key made last: who asked for the key holds a number
    /// that the collector does not see, and perhaps another string like it.
    pub(crate) key: Value<L>,
    /// The first table with weak keys, which leads to the others: all are weak.
    pub(crate) weak: Ref,
    /// Values the host retains, as elements.
    pub(crate) retained: Ref,
    /// Template objects, each behind its site's number, and registered symbols, each
    /// behind its key, in an array.
    pub(crate) templates: Ref,
    /// The generic iterator opened last of those that loops and patterns have open.
    pub(crate) open: Ref,
    /// The exception on its way, or the last value a native works on.
    pub(crate) thrown: Value<L>,
}

/// The region and its books.
///
/// In this order, what is used most first: Thumb-2 reaches the first 124 bytes of a struct
/// with instructions of half the length. With the machine's own order (`vm.rs`) that took
/// the core firmware from 129,008 bytes of flash to 127,340, and fib by 2.8 % fewer
/// instructions of the host (callgrind on `scruple run samples/kernels/fib.js`).
#[repr(C)]
pub(crate) struct Heap<'m, L: Layout> {
    pub(crate) mem: Region<'m, L::Slot>,
    /// The stack's lowest slot in use. Between handlers the interpreter holds it
    /// in a register and syncs before whatever may allocate.
    pub(crate) sp: usize,
    /// First slot of cell 0.
    base: usize,
    /// Cells below this have been in use.
    top: usize,
    /// Free cells that the next allocations take.
    run: (usize, usize),
    /// The slot that frames are kept above, the cells in use aside: the end of the region
    /// or the stack's limit. Past the region if the blocks are to be moved together as soon
    /// as nothing in Rust refers to one: so a call need not ask for it.
    pub(crate) frame_limit: usize,
    /// Slots below `sp` that frames may still grow into.
    pub(crate) reserve: usize,
    pub(crate) roots: Roots<L>,
    /// First slot of the mark stack; the bits lie below it.
    marks: usize,
    /// Cells that fit between `base` and the end of the region, within the limit.
    n_cells: usize,
    /// Where the search for the next run goes on.
    search: usize,
    /// Cells that may still be handed out before a collection is due.
    allowance: usize,
    collect_every: usize,
    growth: usize,
    /// Cells that were in use when they were moved together last.
    compacted: usize,
    /// Where an allocation failed, for the witness.
    pub(crate) failed_bytes: usize,
    thorough: bool,
    pub(crate) ledger: Ledger,
}

/// There is no room: not even after a collection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct NoRoom;

/// Where the count of the properties in an object's own block lies in its flags.
const COUNT_SHIFT: u32 = 10;

/// The most bytes of a region that are used: what the books count in, and what a frame's
/// link holds, reach that far.
const MOST_BYTES: usize = (1 << 31) - 8;

/// References the mark stack holds.
const MARK_STACK: usize = 32;

impl<'m, L: Layout> Heap<'m, L> {
    pub(crate) fn new(mem: &'m mut [L::Slot], options: HeapOptions) -> Self {
        let slots = mem.len().min(MOST_BYTES / L::SLOT_BYTES);
        let mem = &mut mem[..slots];
        let mark_slots = MARK_STACK / 2;
        let cells_a_slot = map::cells_a_slot::<L>();
        // bits + marks + cells = slots, bits = cells / cells_a_slot.
        let usable = slots.saturating_sub(mark_slots + 1);
        let n_cells = (usable * cells_a_slot / (2 * cells_a_slot + 1)).min(max_cells::<L>());
        let bits = n_cells.div_ceil(cells_a_slot);
        let end = slots;
        mem.fill(L::Slot::default());
        let mut heap = Heap {
            mem: Region::new(mem, bits + mark_slots),
            marks: bits,
            base: bits + mark_slots,
            top: 0,
            n_cells: n_cells.min(options.limit / cell_bytes::<L>()),
            run: (0, 0),
            search: 0,
            allowance: 0,
            collect_every: options.collect_every,
            growth: options.growth,
            thorough: options.thorough,
            ledger: Ledger::default(),
            roots: Roots {
                globals: [Ref::NONE; crate::MAX_IMAGES],
                changes: Ref::NONE,
                keys: Ref::NONE,
                weak: Ref::NONE,
                key: Value::undefined(),
                retained: Ref::NONE,
                templates: Ref::NONE,
                open: Ref::NONE,
                thrown: Value::undefined(),
            },
            sp: end,
            reserve: 0,
            frame_limit: 0,
            compacted: 0,
            failed_bytes: 0,
        };
        if slots > heap.base {
            heap.ledger.add(Category::Collector, mark_slots * L::SLOT_BYTES);
        }
        heap.settle(end);
        heap.grant_allowance();
        heap
    }

    /// The slots behind the stack's first.
    pub(crate) fn stack_end(&self) -> usize {
        self.mem.len()
    }

    /// The lowest slot the stack may reach without meeting the cells in use.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn stack_floor(&self) -> usize {
        self.base + 2 * self.top
    }

    /// Books the stack and keeps the high-water mark.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn settle(&mut self, low: usize) {
        let bytes = (self.mem.len() - low) * L::SLOT_BYTES;
        self.ledger.settle(bytes);
    }

    /// The first slot of a block.
    #[inline(always)]
    pub(crate) fn slot_of(&self, block: Ref) -> usize {
        debug_assert!(block.is_cell());
        self.base + 2 * (block.0 - Ref::FIRST_CELL) as usize
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn slot(&self, block: Ref, index: usize) -> L::Slot {
        self.mem[self.slot_of(block) + index]
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn set_slot(&mut self, block: Ref, index: usize, slot: L::Slot) {
        let at = self.slot_of(block) + index;
        self.mem[at] = slot;
    }

    /// The value in a slot of the machine's stack.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn mem_value(&self, at: usize) -> Value<L> {
        Value(self.mem[at])
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn set_mem_value(&mut self, at: usize, value: Value<L>) {
        self.mem[at] = value.0;
    }

    /// How many cells there can be.
    pub(crate) fn most_cells(&self) -> usize {
        self.n_cells
    }

    /// How many cells a block has.
    pub(crate) fn cells(&self, block: Ref) -> usize {
        block.cell().map_or(0, |cell| self.block_cells(cell))
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn value(&self, block: Ref, index: usize) -> Value<L> {
        Value(self.slot(block, index))
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn set_value(&mut self, block: Ref, index: usize, value: Value<L>) {
        self.set_slot(block, index, value.0);
    }

    /// The kind of a block. Of a number cell, [`Kind::Number`].
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn kind(&self, block: Ref) -> Kind {
        Kind::from_header(L::header_kind(self.slot(block, 0)))
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn is_kind(&self, block: Ref, kind: Kind) -> bool {
        debug_assert!(kind != Kind::Number, "a number has no header");
        L::high(self.slot(block, 0)) == L::high(L::header(kind as u8, 0))
    }

    pub(crate) fn set_kind(&mut self, block: Ref, kind: Kind) {
        let low = self.half(block, 1);
        self.set_slot(block, 0, L::header(kind as u8, low));
    }

    /// A half of a block: half 1 is the header's, halves 2 and 3 the next
    /// slot's, and so on.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn half(&self, block: Ref, index: usize) -> u32 {
        let slot = self.slot(block, index / 2);
        if index.is_multiple_of(2) { L::high(slot) } else { L::low(slot) }
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn set_half(&mut self, block: Ref, index: usize, half: u32) {
        debug_assert!(index > 0);
        let at = self.slot_of(block) + index / 2;
        let slot = self.mem[at];
        self.mem[at] = match index {
            1 => L::header(L::header_kind(slot).unwrap_or(0), half),
            _ if index.is_multiple_of(2) => L::from_halves(half, L::low(slot)),
            _ => L::from_halves(L::high(slot), half),
        };
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn child(&self, block: Ref, index: usize) -> Ref {
        Ref(self.half(block, index))
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn set_child(&mut self, block: Ref, index: usize, child: Ref) {
        self.set_half(block, index, child.0);
    }

    /// How many properties a table lists; an object that is its own counts them
    /// above its flags.
    #[inline(always)]
    pub(crate) fn n_listed(&self, table: Ref) -> usize {
        if self.is_kind(table, Kind::Object) {
            (self.half(table, 3) >> COUNT_SHIFT) as usize & crate::properties::MOST_WITHIN
        } else {
            self.half(table, 1) as usize
        }
    }

    pub(crate) fn set_n_listed(&mut self, table: Ref, count: usize) {
        if self.is_kind(table, Kind::Object) {
            let flags = self.half(table, 3) & ((1 << COUNT_SHIFT) - 1);
            self.set_half(table, 3, flags | (count as u32) << COUNT_SHIFT);
        } else {
            self.set_half(table, 1, count as u32);
        }
    }

    /// The book of what a block grows by: an object grows by properties.
    fn tail_category(&self, block: Ref) -> Category {
        match self.kind(block) {
            Kind::Object | Kind::Record => Category::Properties,
            kind => kind.category(),
        }
    }

    /// Allocates a block: header written, the other slots undefined. The caller
    /// has synced the stack pointer; what it still needs lies in roots.
    pub(crate) fn allocate(&mut self, kind: Kind, cells: usize) -> Result<Ref, NoRoom> {
        let category = kind.category();
        let cell = self.take([category; 2], cells)?;
        Ok(self.begin(cell, kind, cells))
    }

    /// Allocates an object with room for so many properties in its own block.
    pub(crate) fn allocate_object(&mut self, room: usize) -> Result<Ref, NoRoom> {
        let cell = self.take([Category::Objects, Category::Properties], 1 + room)?;
        Ok(self.begin(cell, Kind::Object, 1 + room))
    }

    fn begin(&mut self, cell: usize, kind: Kind, cells: usize) -> Ref {
        let block = Ref::from_cell(cell);
        let at = self.slot_of(block);
        let undefined = Value::<L>::undefined().0;
        self.mem[at] = L::header(kind as u8, 0);
        for slot in &mut self.mem[at + 1..at + 2 * cells] {
            *slot = undefined;
        }
        block
    }

    /// Allocates a number cell.
    pub(crate) fn allocate_number(&mut self, number: f64) -> Result<Ref, NoRoom> {
        let cell = self.take([Category::Numbers; 2], 1)?;
        let block = Ref::from_cell(cell);
        let at = self.slot_of(block);
        let bits = number.to_bits();
        self.mem[at] = L::from_bits(bits >> 32);
        self.mem[at + 1] = L::from_bits(bits & 0xffff_ffff);
        Ok(block)
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn number(&self, block: Ref) -> f64 {
        let at = self.slot_of(block);
        f64::from_bits(L::bits(self.mem[at]) << 32 | L::bits(self.mem[at + 1]) & 0xffff_ffff)
    }

    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    fn take(&mut self, books: [Category; 2], cells: usize) -> Result<usize, NoRoom> {
        debug_assert!(cells > 0);
        let (start, end) = self.run;
        if end - start < cells {
            self.find_run(books, cells)?;
        }
        let start = self.run.0;
        self.run.0 += cells;
        self.mark_taken(start, cells);
        self.ledger.allocate(books[0], cell_bytes::<L>());
        if cells > 1 {
            self.ledger.extend(books[1], (cells - 1) * cell_bytes::<L>());
        }
        self.settle(self.sp);
        Ok(start)
    }

    /// Grows a block in place if the cells behind it are free.
    pub(crate) fn extend(&mut self, block: Ref, from: usize, to: usize) -> bool {
        let Some(cell) = block.cell() else { return false };
        let (start, end) = (cell + from, cell + to);
        let exact = self.collect_every == 0;
        if exact {
            // Growing in place needs memory like any allocation.
            self.drop_run();
            self.collect_for(to - from);
        }
        if end > self.top {
            if self.free_between(start, self.top) && self.room_for_top(end) {
                self.raise_top(end);
            } else {
                return false;
            }
        } else if !self.free_between(start, end) {
            return false;
        }
        if self.run.0 < end && self.run.1 > start {
            self.run.0 = end;
            self.run.1 = self.run.1.max(end);
        }
        self.mark_tails(start, end);
        let at = self.base + 2 * start;
        let undefined = Value::<L>::undefined().0;
        let slots = 2 * (end - start);
        self.mem[at..at + slots].fill(undefined);
        let category = self.tail_category(block);
        if exact {
            self.note_live([category; 2], to - from);
        }
        self.ledger.allocate(category, (to - from) * cell_bytes::<L>());
        self.allowance = self.allowance.saturating_sub(to - from);
        self.settle(self.sp);
        true
    }

    /// Gives the cells of a block behind its first `to` back.
    pub(crate) fn shrink(&mut self, block: Ref, from: usize, to: usize) {
        let Some(cell) = block.cell() else { return };
        if to >= from || to == 0 {
            return;
        }
        self.mark_free(cell + to, cell + from);
        self.search = self.search.min(cell + to);
        let category = self.tail_category(block);
        self.ledger.free(category, (from - to) * cell_bytes::<L>());
    }

    fn room_for_top(&self, top: usize) -> bool {
        top <= self.n_cells && self.base + 2 * top + self.reserve <= self.sp
    }

    fn raise_top(&mut self, top: usize) {
        let before = self.bits_in_use();
        self.top = top;
        let grown = self.bits_in_use() - before;
        self.ledger.add(Category::Collector, grown * L::SLOT_BYTES);
    }

    /// After a sweep: the cells above the last block are the stack's again.
    fn lower_top(&mut self, top: usize) {
        let before = self.bits_in_use();
        self.top = top;
        let shed = before - self.bits_in_use();
        self.ledger.free(Category::Collector, shed * L::SLOT_BYTES);
    }

    /// Slots of collector bits that the cells in use need.
    fn bits_in_use(&self) -> usize {
        self.top.div_ceil(map::cells_a_slot::<L>())
    }

    #[cold]
    #[inline(never)]
    fn find_run(&mut self, books: [Category; 2], cells: usize) -> Result<(), NoRoom> {
        if self.n_cells == 0 {
            // Nor has the collector a place to work in.
            self.failed_bytes = cells * cell_bytes::<L>();
            return Err(NoRoom);
        }
        self.drop_run();
        let mut collected = self.collect_every == 0 || self.allowance < cells;
        if collected {
            self.collect_for(cells);
        }
        let mut found = self.search_run(cells);
        if !found && !collected {
            collected = true;
            self.collect_for(cells);
            found = self.search_run(cells);
        }
        if !found {
            self.fold();
            if self.share() {
                self.collect();
            }
            self.search = 0;
            found = self.search_run(cells);
        } else if collected && self.is_tight() {
            // Behind the search: a shape must not take the only hole that was long enough.
            self.fold();
        }
        if collected {
            // What finds no room is not part of what was live.
            self.note_live(books, if found { cells } else { 0 });
        }
        if found {
            return Ok(());
        }
        self.failed_bytes = cells * cell_bytes::<L>();
        Err(NoRoom)
    }

    /// Collects at once, for the sake of the stack.
    pub(crate) fn collect_now(&mut self) {
        if self.n_cells == 0 {
            return;
        }
        self.drop_run();
        self.collect_for(0);
        self.note_live([Category::Stack; 2], 0);
    }

    fn stack_bytes(&self) -> usize {
        (self.mem.len() - self.sp) * L::SLOT_BYTES
    }

    /// Books what a collection left, with cells that are allocated at once: the first in
    /// one book, the others in another.
    fn note_live(&mut self, books: [Category; 2], cells: usize) {
        let stack = self.stack_bytes();
        let first = cells.min(1);
        let coming = [(books[0], first), (books[1], cells - first)];
        let coming = coming.map(|(book, cells)| (book, cells * cell_bytes::<L>()));
        self.ledger.collected(coming, stack);
    }

    /// Puts the cells of the present run back to the free ones.
    fn drop_run(&mut self) {
        self.allowance += self.run.1 - self.run.0;
        self.search = self.search.min(self.run.0);
        self.run = (self.search, self.search);
    }

    /// The first cell of the next block at or behind a cell.
    pub(crate) fn block_from(&self, cell: usize) -> Option<usize> {
        self.next_block(cell).map(|(cell, _)| cell)
    }

    /// Finds free cells: the next run below the top, or cells above it.
    fn search_run(&mut self, cells: usize) -> bool {
        let mut from = self.search;
        while let Some((start, end)) = self.next_free(from) {
            if end - start >= cells {
                self.take_run(start, end, cells);
                return true;
            }
            if end == self.top {
                // Free cells at the top: what is above them joins them.
                from = start;
                break;
            }
            from = end;
        }
        let start = match self.next_free(from) {
            Some((start, end)) if end == self.top => start,
            _ => self.top,
        };
        // Up to the next whole slot of collector bits, so that the allocations
        // that follow find a run; exactly the cells asked for if memory is short.
        let whole = (start + cells).next_multiple_of(map::cells_a_slot::<L>());
        let end = if self.room_for_top(whole) { whole } else { start + cells };
        if !self.room_for_top(end) {
            return false;
        }
        self.raise_top(end.max(self.top));
        self.take_run(start, end, cells);
        true
    }

    fn take_run(&mut self, start: usize, end: usize, cells: usize) {
        let exact = self.collect_every == 0;
        let allowed = if exact { cells } else { self.allowance.max(cells) };
        let end = end.min(start + allowed);
        self.allowance = self.allowance.saturating_sub(end - start);
        self.run = (start, end);
        self.search = end;
    }
}

/// The most cells a half can number, and a property key.
fn max_cells<L: Layout>() -> usize {
    (1usize << L::HALF_BITS.min(crate::keys::PAYLOAD_BITS)) - Ref::FIRST_CELL as usize
}
