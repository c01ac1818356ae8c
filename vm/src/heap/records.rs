//! Records: objects alike that the collector has folded.
//!
//! An object that a script makes lists its properties itself, key and value of each.
//! Where a collection sees two or more with the same keys and prototype, it moves the
//! keys to one *shape* and leaves the values alone, in a *record*: in halves where every
//! value fits one, or else in slots. A half is what refers to a block, and so can be most
//! other values, or it is an integer as wide as itself: the key's slot in the shape tells.
//! The object itself becomes the record if its block is long enough, since blocks stay where they are, or else its property table does. That costs
//! nothing before memory is asked back, and nothing for objects of which there is but
//! one. Who looks at a record sees the object it was; whoever changes more of it than a
//! value that fits unfolds it first (`properties.rs`).
//!
//! What lies on the machine's stack is left alone: it is being made or worked on. What was
//! unfolded where the cells behind it were taken has a table of its own, and is a cell
//! larger than it was made.
//!
//! The first cell of a record is booked as an object's, the others as properties.
//!
//! A shape is stored as a property table that has [`WIDTH`] set, and keys alone.

use super::Heap;
use super::kinds::{Category, Kind};
use crate::holders::flags;
use crate::keys::attributes::{ACCESSOR, WRITABLE};
use crate::layout::{Layout, Tag, cell_bytes};
use crate::properties::MOST_WITHIN;
use crate::value::{Ref, Value};

/// The most properties of a record.
const MOST_KEYS: usize = 16;

/// How many shapes and objects that wait for one like them are kept in sight.
const WINDOW: usize = 8;

/// The half of a shape that tells how records of it hold their values: 0 in a property
/// table, which is no shape.
const WIDTH: usize = 3;
const SLOTS: u32 = 1;
const HALVES: u32 = 2;

// What a half holds: a reference, or in the place of objects in flash that do not
// exist a special value or an integer.
const FIRST_SPECIAL: u32 = 848;
const FIRST_INT: u32 = FIRST_SPECIAL + 4;
const LEAST_INT: i32 = -8;
const MOST_INT: i32 = LEAST_INT + (Ref::FIRST_HOST - FIRST_INT) as i32 - 1;
const _: () = assert!(crate::builtins::COUNT < FIRST_SPECIAL as usize);

/// What marks a key in a shape whose values are integers: no accessor is writable.
const INTEGERS: u64 = (ACCESSOR | WRITABLE) as u64;

fn is_of_integers<L: Layout>(key: L::Slot) -> bool {
    L::bits(key) & INTEGERS == INTEGERS
}

/// A key's slot in a shape as it is in a property table.
fn without_mark<L: Layout>(key: L::Slot) -> L::Slot {
    let mark = if is_of_integers::<L>(key) { u64::from(ACCESSOR) } else { 0 };
    L::from_bits(L::bits(key) & !mark)
}

/// An integer of a half's width.
fn half_integer<L: Layout>(half: u32) -> i32 {
    let beside = 32 - L::HALF_BITS;
    (half << beside) as i32 >> beside
}

/// A value as the half of a record that holds integers, if it fits.
fn pack_integer<L: Layout>(value: Value<L>) -> Option<u32> {
    let beside = 32 - L::HALF_BITS;
    let half = (value.as_int()? as u32) << beside >> beside;
    (Some(half_integer::<L>(half)) == value.as_int()).then_some(half)
}

/// Cells of a record of so many properties.
const fn record_cells(count: usize, width: u32) -> usize {
    if width == HALVES { (2 + count).div_ceil(4) } else { (1 + count).div_ceil(2) }
}

/// Cells of a shape of so many keys.
const fn shape_cells(count: usize) -> usize {
    (2 + count).div_ceil(2)
}

/// A value as a half of a record, if it fits.
fn pack<L: Layout>(value: Value<L>) -> Option<u32> {
    if let Some(int) = value.as_int() {
        let fits = (LEAST_INT..=MOST_INT).contains(&int);
        return fits.then(|| FIRST_INT + (int - LEAST_INT) as u32);
    }
    let payload = value.payload();
    match value.tag_if_not_number()? {
        Tag::Object | Tag::HeapText | Tag::HeapNumber => Some(payload),
        Tag::Symbol if Ref(payload).is_cell() => Some(payload),
        Tag::Special if payload < FIRST_INT - FIRST_SPECIAL => Some(FIRST_SPECIAL + payload),
        _ => None,
    }
}

impl<L: Layout> Heap<'_, L> {
    /// Whether a property table has keys alone, those of records.
    pub(crate) fn is_shape(&self, table: Ref) -> bool {
        self.half(table, WIDTH) != 0
    }

    /// The block that lists the keys of a record.
    #[inline]
    pub(crate) fn shape(&self, record: Ref) -> Ref {
        self.child(record, 1)
    }

    /// A key of a shape with its attributes, as a property table has it.
    pub(crate) fn shape_key(&self, shape: Ref, index: usize) -> L::Slot {
        without_mark::<L>(self.slot(shape, 2 + index))
    }

    /// The prototype of the records of a shape.
    pub(crate) fn shape_prototype(&self, shape: Ref) -> Ref {
        self.child(shape, 2)
    }

    /// A value of a record.
    pub(crate) fn record_value(&self, record: Ref, index: usize) -> Value<L> {
        let shape = self.shape(record);
        if self.half(shape, WIDTH) == SLOTS {
            return self.value(record, 1 + index);
        }
        let half = self.half(record, 2 + index);
        if is_of_integers::<L>(self.slot(shape, 2 + index)) {
            return Value::small(half_integer::<L>(half));
        }
        if !Ref(half).is_cell() {
            return match half {
                FIRST_SPECIAL..FIRST_INT => Value::special(half - FIRST_SPECIAL),
                FIRST_INT..Ref::FIRST_HOST => Value::small((half - FIRST_INT) as i32 + LEAST_INT),
                _ => Value::object(Ref(half)),
            };
        }
        let tag = match self.kind(Ref(half)) {
            Kind::Number => Tag::HeapNumber,
            Kind::Symbol => Tag::Symbol,
            kind if kind.is_text() => Tag::HeapText,
            _ => Tag::Object,
        };
        Value::tagged(tag, half)
    }

    /// Changes a value of a record, if it fits.
    pub(crate) fn set_record_value(&mut self, record: Ref, index: usize, value: Value<L>) -> bool {
        let shape = self.shape(record);
        if self.half(shape, WIDTH) == SLOTS {
            self.set_value(record, 1 + index, value);
            return true;
        }
        let half = self.pack_for(shape, index, value);
        self.set_half(record, 2 + index, half.unwrap_or(self.half(record, 2 + index)));
        half.is_some()
    }

    /// A value as the half that a record of the shape has for that key, if it fits.
    fn pack_for(&self, shape: Ref, index: usize, value: Value<L>) -> Option<u32> {
        match is_of_integers::<L>(self.slot(shape, 2 + index)) {
            true => pack_integer(value),
            false => pack(value),
        }
    }

    /// Whether a record holds a value, by its index, in a slot or as what refers to a block
    /// in a half; it may be an integer, too.
    pub(super) fn record_place(&self, record: Ref, index: usize) -> Place {
        let shape = self.shape(record);
        if self.half(shape, WIDTH) == SLOTS {
            return Place::Slot(1 + index);
        }
        match is_of_integers::<L>(self.slot(shape, 2 + index)) {
            true => Place::Integer,
            false => Place::Half(2 + index),
        }
    }

    /// Makes the record that an object is, or has for a table, a property table that has
    /// room for all: one of its own, or the record itself, which then has grown.
    pub(crate) fn unfold(&mut self, object: Ref, record: Ref, table: Ref) {
        let shape = self.shape(record);
        let count = self.half(shape, 1) as usize;
        // From the last on: each goes behind where it was.
        for index in (0..count).rev() {
            let value = self.record_value(record, index);
            self.set_slot(table, 2 + 2 * index, self.shape_key(shape, index));
            self.set_value(table, 3 + 2 * index, value);
        }
        if record == object {
            let cells = self.cells(record);
            let at = self.slot_of(record);
            self.mem[at] = L::header(Kind::Object as u8, self.shape_prototype(shape).0);
            self.set_half(record, 3, 0);
            if table != record {
                self.shrink(record, cells, 1);
            }
        } else if table == record {
            let at = self.slot_of(table);
            self.mem[at] = L::header(Kind::Properties as u8, 0);
            self.set_slot(table, 1, Value::<L>::undefined().0);
            self.book_first(Category::Objects, Category::Properties);
        }
        self.set_child(object, 2, table);
        self.set_n_listed(table, count);
    }

    /// Books the first cell of a record elsewhere.
    fn book_first(&mut self, from: Category, to: Category) {
        self.ledger.free(from, cell_bytes::<L>());
        self.ledger.add(to, cell_bytes::<L>());
    }

    /// Folds objects alike. To be called behind a collection: all that is left is live.
    pub(super) fn fold(&mut self) {
        let mut window = Window { blocks: [Ref::NONE; WINDOW], next: 0 };
        let mut candidates = 0;
        let mut from = 0;
        while let Some(cell) = self.block_from(from) {
            let block = Ref::from_cell(cell);
            match self.kind(block) {
                Kind::Record => window.keep(self.shape(block)),
                Kind::Object if self.can_fold(block) => candidates += 1,
                _ => {}
            }
            from = cell + self.block_cells(cell);
        }
        if candidates == 0 {
            return;
        }
        self.pin_stack(true);
        let mut folded = false;
        let mut from = 0;
        while let Some(cell) = self.block_from(from) {
            let block = Ref::from_cell(cell);
            from = cell + self.block_cells(cell);
            if self.kind(block) == Kind::Object && self.can_fold(block) {
                folded |= self.fold_like(block, &mut window);
            }
        }
        self.pin_stack(false);
        if folded {
            let mut end = 0;
            while let Some(cell) = self.block_from(end) {
                end = cell + self.block_cells(cell);
            }
            let run = if self.run.0 < self.run.1 { self.run.1 } else { 0 };
            self.lower_top(end.max(run));
        }
    }

    /// Notes at each object that the stack refers to that it does, or no more.
    fn pin_stack(&mut self, pinned: bool) {
        for at in self.sp..self.mem.len() {
            if let Some(object) = Value::<L>(self.mem[at]).as_object()
                && object.is_cell()
                && self.is_kind(object, Kind::Object)
            {
                let bits = self.half(object, 3) & !flags::ON_STACK;
                self.set_half(object, 3, bits | if pinned { flags::ON_STACK } else { 0 });
            }
        }
    }

    /// Whether an object is a plain one with properties and nothing else to it.
    fn can_fold(&self, object: Ref) -> bool {
        let table = self.child(object, 2);
        let bits = self.half(object, 3) & flags::BESIDE_COUNT;
        bits == 0
            && !table.is_none()
            && !self.is_kind(table, Kind::Record)
            && (1..=MOST_KEYS).contains(&self.n_listed(table))
    }

    /// Folds an object into a shape in sight, or with objects like it that wait there; or
    /// else it waits itself.
    fn fold_like(&mut self, object: Ref, window: &mut Window) -> bool {
        let mut group = [object; 3];
        let mut count = 1;
        for other in window.blocks {
            if other.is_none() || !self.alike(object, other) {
                continue;
            }
            if self.is_kind(other, Kind::Object) {
                if count < group.len() {
                    group[count] = other;
                    count += 1;
                }
            } else if self.fits(object, other) {
                self.fold_into(object, other);
                return true;
            }
        }
        let shape = self.fold_group(&group[..count]);
        match shape {
            Some(shape) => {
                for other in &group[1..count] {
                    window.forget(*other);
                }
                window.keep(shape);
            }
            None => window.keep(object),
        }
        shape.is_some()
    }

    /// Whether an object has the keys and the prototype of a shape, or of another
    /// object.
    fn alike(&self, object: Ref, other: Ref) -> bool {
        let table = self.child(object, 2);
        let count = self.n_listed(table);
        let (prototype, keys, step) = match self.is_kind(other, Kind::Object) {
            true => (self.child(other, 1), self.child(other, 2), 2),
            false => (self.shape_prototype(other), other, 1),
        };
        let key = |at| without_mark::<L>(self.slot(keys, 2 + step * at));
        self.child(object, 1) == prototype
            && self.n_listed(keys) == count
            && (0..count).all(|at| self.slot(table, 2 + 2 * at) == key(at))
    }

    /// Whether an object's values fit in records of a shape.
    fn fits(&self, object: Ref, shape: Ref) -> bool {
        let table = self.child(object, 2);
        let fits = |at| self.pack_for(shape, at, self.value(table, 3 + 2 * at)).is_some();
        self.half(shape, WIDTH) == SLOTS || (0..self.n_listed(table)).all(fits)
    }

    /// The slot that a shape is to have for a key of objects alike whose values are to
    /// lie in halves, if they fit.
    fn key_of_halves(&self, group: &[Ref], index: usize) -> Option<L::Slot> {
        let key = self.slot(self.child(group[0], 2), 2 + 2 * index);
        let all = |fits: fn(Value<L>) -> Option<u32>| {
            let value = |object: &Ref| self.value(self.child(*object, 2), 3 + 2 * index);
            group.iter().all(|object| fits(value(object)).is_some())
        };
        let attributes = L::bits(key) as u8;
        if attributes & WRITABLE != 0 && all(pack_integer) {
            return Some(L::from_bits(L::bits(key) | INTEGERS));
        }
        all(pack).then_some(key)
    }

    /// Makes a shape of what objects have in common, and records of them, if that takes
    /// less memory. Of objects with one property, or two slots, it takes three.
    fn fold_group(&mut self, group: &[Ref]) -> Option<Ref> {
        let table = self.child(group[0], 2);
        let count = self.n_listed(table);
        let shorter = record_cells(count, HALVES) < record_cells(count, SLOTS);
        let packs = shorter && (0..count).all(|at| self.key_of_halves(group, at).is_some());
        let width = if packs { HALVES } else { SLOTS };
        let cells = shape_cells(count);
        let freed: usize = group.iter().map(|&object| self.freed_by(object, width)).sum();
        if freed <= cells {
            return None;
        }
        // The place first, so that there is a way back; the books last, so that they
        // never say more than before.
        let start = self.place_for(cells)?;
        let shape = Ref::from_cell(start);
        self.mark_taken(start, cells);
        let at = self.slot_of(shape);
        self.mem[at] = L::header(Kind::Properties as u8, count as u32);
        self.set_slot(shape, 1, L::from_halves(self.child(group[0], 1).0, width));
        for index in 0..count {
            let plain = self.slot(table, 2 + 2 * index);
            let key = if packs { self.key_of_halves(group, index) } else { None };
            self.set_slot(shape, 2 + index, key.unwrap_or(plain));
        }
        for &object in group {
            self.fold_into(object, shape);
        }
        if start + cells > self.top {
            self.raise_top(start + cells);
        }
        self.ledger.allocate(Category::Properties, cells * cell_bytes::<L>());
        Some(shape)
    }

    /// Which block of an object becomes the record: the object, or its table.
    fn record_of(&self, object: Ref, width: u32) -> Ref {
        let table = self.child(object, 2);
        let within = record_cells(self.n_listed(table), width) <= self.cells(object);
        if within { object } else { table }
    }

    /// Cells that folding an object gives back.
    fn freed_by(&self, object: Ref, width: u32) -> usize {
        let table = self.child(object, 2);
        let record = self.record_of(object, width);
        let apart = if record == table { 0 } else { self.cells(table) };
        self.cells(record) + apart - record_cells(self.n_listed(table), width)
    }

    /// Free cells, one behind the other: below the top, or else above it. Those of the
    /// present run are spoken for.
    fn place_for(&self, cells: usize) -> Option<usize> {
        let (first, last) = self.run;
        let mut from = 0;
        while let Some((start, end)) = self.next_free(from) {
            // The run may lie anywhere in it: the cells before it may be free since then.
            let holds_run = first < last && start <= first && first < end;
            if start + cells <= if holds_run { first } else { end } {
                return Some(start);
            }
            from = if holds_run { last } else { end };
        }
        self.room_for_top(self.top + cells).then_some(self.top)
    }

    /// Makes a record of an object that has the keys of a shape and fits its width.
    fn fold_into(&mut self, object: Ref, shape: Ref) {
        let width = self.half(shape, WIDTH);
        let (table, record) = (self.child(object, 2), self.record_of(object, width));
        let (count, cells) = (self.n_listed(table), self.cells(record));
        // From the first on: none goes behind where it was.
        for index in 0..count {
            let value = self.value(table, 3 + 2 * index);
            if width == SLOTS {
                self.set_value(record, 1 + index, value);
            } else if let Some(half) = self.pack_for(shape, index, value) {
                self.set_half(record, 2 + index, half);
            }
        }
        let at = self.slot_of(record);
        self.mem[at] = L::header(Kind::Record as u8, shape.0);
        if record != object {
            self.book_first(Category::Properties, Category::Objects);
        } else if let Some(cell) = table.cell().filter(|_| table != object) {
            let end = cell + self.block_cells(cell);
            self.mark_free(cell, end);
            self.search = self.search.min(cell);
            self.ledger.free(Category::Properties, (end - cell) * cell_bytes::<L>());
        }
        self.shrink(record, cells, record_cells(count, width));
    }
}

/// Where a value of a record lies.
pub(super) enum Place {
    Slot(usize),
    /// In a half that may refer to a block.
    Half(usize),
    /// In a half that is an integer.
    Integer,
}

/// The blocks in sight: shapes, and objects that wait for one like them.
struct Window {
    blocks: [Ref; WINDOW],
    next: usize,
}

impl Window {
    /// Keeps a block in sight, in the place of the one that has been there longest.
    fn keep(&mut self, block: Ref) {
        if !self.blocks.contains(&block) {
            self.blocks[self.next] = block;
            self.next = (self.next + 1) % WINDOW;
        }
    }

    fn forget(&mut self, block: Ref) {
        for place in &mut self.blocks {
            if *place == block {
                *place = Ref::NONE;
            }
        }
    }
}

const _: () = assert!(MOST_KEYS <= MOST_WITHIN);
