//! Strings: where they lie and how new ones are made.
//!
//! A string is a sequence of UTF-16 code units (ECMA-262, "The String Type").
//! It lies in an image, among the names in flash, in the value itself (one code
//! unit) or in the heap, there as Latin-1 bytes where every unit fits one.

use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::layout::{Layout, Tag};
use crate::value::{ImageConst, Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::NameId;
use scruple_bytecode::image::{Constant, Text};
use scruple_bytecode::names;

/// Where a string's code units lie. It holds no reference into the region: the
/// string must stay rooted while a view of it is used across an allocation.
#[derive(Clone, Copy, Debug)]
pub(crate) enum View<'m> {
    /// Outside the heap.
    Fixed(Text<'m>),
    /// One code unit.
    Unit(u16),
    /// In the heap: first slot of the text, length, whether units take two bytes.
    Cells { at: usize, len: usize, wide: bool },
}

impl View<'_> {
    pub(crate) fn len(&self) -> usize {
        match *self {
            View::Fixed(text) => text.len(),
            View::Unit(_) => 1,
            View::Cells { len, .. } => len,
        }
    }

    /// Whether a unit may be above 255.
    pub(crate) fn is_wide(&self) -> bool {
        match *self {
            View::Fixed(Text::Latin1(_)) => false,
            View::Fixed(Text::Utf16(_)) => true,
            View::Unit(unit) => unit > 0xff,
            View::Cells { wide, .. } => wide,
        }
    }
}

/// Lengths that do not fit a header's half: long strings have a slot for it.
const LONG: usize = 0xffff;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Where a string lies, if the value is a string.
    pub(crate) fn view(&self, value: Value<L>) -> Option<View<'m>> {
        match value.tag_if_not_number()? {
            Tag::HeapText => Some(self.heap_view(Ref(value.payload()))),
            Tag::ImageText => {
                let ImageConst { image, constant } = ImageConst::from_payload(value.payload());
                match self.image(image)?.constant(constant)? {
                    Constant::Text(text) => Some(View::Fixed(text)),
                    _ => None,
                }
            }
            Tag::NameText => {
                let name = NameId::new(value.payload() as usize)?;
                Some(View::Fixed(Text::Latin1(name.text().as_bytes())))
            }
            Tag::UnitText => Some(View::Unit(value.payload() as u16)),
            _ => None,
        }
    }

    pub(crate) fn heap_view(&self, block: Ref) -> View<'m> {
        let at = self.heap.slot_of(block);
        let kind = self.heap.kind(block);
        let wide =
            matches!(kind, Kind::Utf16 | Kind::LongUtf16 | Kind::KeyUtf16 | Kind::KeyLongUtf16);
        if is_long(kind) {
            let len = L::bits(self.heap.slot(block, 1)) as usize & 0xffff_ffff;
            View::Cells { at: at + 2, len, wide }
        } else {
            View::Cells { at: at + 1, len: self.heap.half(block, 1) as usize, wide }
        }
    }

    /// The code unit at an index below the length.
    #[inline]
    pub(crate) fn unit(&self, view: &View<'m>, index: usize) -> u16 {
        match *view {
            View::Fixed(text) => text.unit(index),
            View::Unit(unit) => unit,
            View::Cells { at, wide: false, .. } => {
                let word = L::bits(self.heap.mem[at + index / L::SLOT_BYTES]);
                (word >> (8 * (index % L::SLOT_BYTES))) as u8 as u16
            }
            View::Cells { at, wide: true, .. } => {
                let per = L::SLOT_BYTES / 2;
                let word = L::bits(self.heap.mem[at + index / per]);
                (word >> (16 * (index % per))) as u16
            }
        }
    }

    /// The code point that begins at an index, and how many units it takes. A
    /// lone surrogate stands for itself.
    pub(crate) fn code_point(&self, view: &View<'m>, index: usize) -> (u32, usize) {
        let first = self.unit(view, index);
        if (0xd800..0xdc00).contains(&first) && index + 1 < view.len() {
            let second = self.unit(view, index + 1);
            if (0xdc00..0xe000).contains(&second) {
                let point =
                    0x1_0000 + ((u32::from(first) - 0xd800) << 10) + (u32::from(second) - 0xdc00);
                return (point, 2);
            }
        }
        (u32::from(first), 1)
    }

    /// Compares two strings by code units.
    pub(crate) fn compare_views(&self, a: &View<'m>, b: &View<'m>) -> core::cmp::Ordering {
        for index in 0..a.len().min(b.len()) {
            let order = self.unit(a, index).cmp(&self.unit(b, index));
            if order.is_ne() {
                return order;
            }
        }
        a.len().cmp(&b.len())
    }

    pub(crate) fn same_text(&self, a: &View<'m>, b: &View<'m>) -> bool {
        a.len() == b.len() && self.compare_views(a, b).is_eq()
    }

    /// Whether a string value is exactly this ASCII text.
    pub(crate) fn is_text(&self, value: Value<L>, text: &str) -> bool {
        self.view(value).is_some_and(|view| {
            view.len() == text.len()
                && text.bytes().enumerate().all(|(i, b)| self.unit(&view, i) == u16::from(b))
        })
    }

    /// Makes room for a string of this length in the heap, its units zero.
    pub(crate) fn allocate_text(&mut self, len: usize, wide: bool) -> Result<Ref, Raise> {
        let bytes = if wide { 2 * len } else { len };
        let head = if len >= LONG { 2 } else { 1 };
        let slots = head + bytes.div_ceil(L::SLOT_BYTES);
        let kind = match (head, wide) {
            (1, false) => Kind::Latin1,
            (1, true) => Kind::Utf16,
            (_, false) => Kind::LongLatin1,
            (_, true) => Kind::LongUtf16,
        };
        let block = self.allocate(kind, slots.div_ceil(2))?;
        if head == 1 {
            self.heap.set_half(block, 1, len as u32);
        } else {
            self.heap.set_slot(block, 1, L::from_bits(len as u64));
        }
        let zero = L::from_bits(0);
        for index in head..2 * slots.div_ceil(2) {
            self.heap.set_slot(block, index, zero);
        }
        Ok(block)
    }

    /// Gives a string that is being made more room where it lies, if the cells
    /// behind it are free and its length still fits where it is noted.
    fn extend_text(&mut self, block: Ref, from: usize, to: usize, wide: bool) -> bool {
        let long = is_long(self.heap.kind(block));
        let cells = self.text_cells(to, wide, long);
        if !long && to >= LONG || !self.extend(block, self.heap.cells(block), cells) {
            return false;
        }
        self.set_text_len(block, to, long);
        let view = self.heap_view(block);
        for index in from..to {
            self.set_unit(&view, index, 0);
        }
        true
    }

    /// Gives back what a finished string has too much.
    fn cut_text(&mut self, block: Ref, len: usize, wide: bool) {
        let long = is_long(self.heap.kind(block));
        self.set_text_len(block, len, long);
        let cells = self.text_cells(len, wide, long);
        self.heap.shrink(block, self.heap.cells(block), cells);
    }

    fn set_text_len(&mut self, block: Ref, len: usize, long: bool) {
        if long {
            self.heap.set_slot(block, 1, L::from_bits(len as u64));
        } else {
            self.heap.set_half(block, 1, len as u32);
        }
    }

    fn text_cells(&self, len: usize, wide: bool, long: bool) -> usize {
        let bytes = if wide { 2 * len } else { len };
        (1 + usize::from(long) + bytes.div_ceil(L::SLOT_BYTES)).div_ceil(2)
    }

    /// Writes a unit of a string that is being made.
    #[inline]
    pub(crate) fn set_unit(&mut self, view: &View<'m>, index: usize, unit: u16) {
        let View::Cells { at, wide, .. } = *view else { return };
        let (per, bits) = if wide { (L::SLOT_BYTES / 2, 16) } else { (L::SLOT_BYTES, 8) };
        debug_assert!(wide || unit <= 0xff);
        let slot = &mut self.heap.mem[at + index / per];
        let shift = bits * (index % per);
        let mask = ((1u64 << bits) - 1) << shift;
        *slot = L::from_bits(L::bits(*slot) & !mask | u64::from(unit) << shift);
    }

    /// Copies units of a string into one that is being made.
    pub(crate) fn copy_units(&mut self, to: &View<'m>, at: usize, from: &View<'m>) {
        for index in 0..from.len() {
            let unit = self.unit(from, index);
            self.set_unit(to, at + index, unit);
        }
    }

    /// A string of the units that a function gives, in the smallest form: a name
    /// for the empty string, the value itself for one unit, the heap otherwise.
    pub(crate) fn text_of(
        &mut self,
        len: usize,
        wide: bool,
        mut unit: impl FnMut(&Self, usize) -> u16,
    ) -> Result<Value<L>, Raise> {
        match len {
            0 => return Ok(Value::name(names::EMPTY)),
            1 => return Ok(Value::unit(unit(self, 0))),
            _ => {}
        }
        self.spend_on_units(len)?;
        let wide = wide && (0..len).any(|index| unit(self, index) > 0xff);
        let block = self.allocate_text(len, wide)?;
        let view = self.heap_view(block);
        for index in 0..len {
            let unit = unit(self, index);
            self.set_unit(&view, index, unit);
        }
        Ok(Value::tagged(Tag::HeapText, block.0))
    }

    /// A string of Latin-1 bytes.
    pub(crate) fn text_from_latin1(&mut self, bytes: &[u8]) -> Result<Value<L>, Raise> {
        self.text_of(bytes.len(), false, |_, index| u16::from(bytes[index]))
    }

    /// A string value of a Rust string.
    pub fn text_from_str(&mut self, text: &str) -> Result<Value<L>, Raise> {
        if text.is_ascii() {
            return self.text_from_latin1(text.as_bytes());
        }
        let mut builder = self.text_builder()?;
        for unit in text.encode_utf16() {
            builder.push_unit(self, unit)?;
        }
        let text = builder.finish(self)?;
        self.pop();
        Ok(text)
    }

    /// The units `start..end` of a string value, which must stay rooted.
    pub(crate) fn slice_text(
        &mut self,
        value: Value<L>,
        start: usize,
        end: usize,
    ) -> Result<Value<L>, Raise> {
        let Some(view) = self.view(value) else { return Ok(value) };
        if start == 0 && end == view.len() {
            return Ok(value);
        }
        let len = end.saturating_sub(start);
        self.text_of(len, view.is_wide(), |vm, index| vm.unit(&view, start + index))
    }

    /// Joins two strings, both rooted.
    pub(crate) fn concat(&mut self, a: Value<L>, b: Value<L>) -> Result<Value<L>, Raise> {
        let (Some(left), Some(right)) = (self.view(a), self.view(b)) else { return Ok(a) };
        if left.len() == 0 {
            return Ok(b);
        }
        if right.len() == 0 {
            return Ok(a);
        }
        let len = left.len() + right.len();
        self.spend_on_units(len)?;
        let block = self.allocate_text(len, left.is_wide() || right.is_wide())?;
        let view = self.heap_view(block);
        self.copy_units(&view, 0, &left);
        self.copy_units(&view, left.len(), &right);
        Ok(Value::tagged(Tag::HeapText, block.0))
    }

    /// Starts a string of unknown length. Its block lies on the machine's stack
    /// until it is finished.
    pub(crate) fn text_builder(&mut self) -> Result<TextBuilder, Raise> {
        let block = self.allocate_text(8, false)?;
        let root = self.push(Value::tagged(Tag::HeapText, block.0))?;
        Ok(TextBuilder { root, len: 0, capacity: 8, wide: false })
    }
}

pub(crate) fn is_long(kind: Kind) -> bool {
    matches!(kind, Kind::LongLatin1 | Kind::LongUtf16 | Kind::KeyLongLatin1 | Kind::KeyLongUtf16)
}

/// A string that is being made unit by unit.
pub(crate) struct TextBuilder {
    root: usize,
    len: usize,
    capacity: usize,
    wide: bool,
}

impl TextBuilder {
    pub(crate) fn push_unit<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'_, L, H>,
        unit: u16,
    ) -> Result<(), Raise> {
        if unit > 0xff && !self.wide {
            self.regrow(vm, self.capacity, true)?;
        }
        if self.len == self.capacity {
            self.regrow(vm, self.capacity + self.capacity / 2 + 8, self.wide)?;
        }
        let view = vm.heap_view(self.block(vm));
        vm.set_unit(&view, self.len, unit);
        self.len += 1;
        Ok(())
    }

    /// Appends a code point.
    pub(crate) fn push_point<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'_, L, H>,
        point: u32,
    ) -> Result<(), Raise> {
        if point < 0x1_0000 {
            return self.push_unit(vm, point as u16);
        }
        let offset = point - 0x1_0000;
        self.push_unit(vm, 0xd800 + (offset >> 10) as u16)?;
        self.push_unit(vm, 0xdc00 + (offset & 0x3ff) as u16)
    }

    /// Appends ASCII text.
    pub(crate) fn push_str<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'_, L, H>,
        text: &str,
    ) -> Result<(), Raise> {
        text.encode_utf16().try_for_each(|unit| self.push_unit(vm, unit))
    }

    /// Appends a string value, which must be rooted.
    pub(crate) fn push_value<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'_, L, H>,
        value: Value<L>,
    ) -> Result<(), Raise> {
        let Some(view) = vm.view(value) else { return Ok(()) };
        self.push_view(vm, &view, 0, view.len())
    }

    /// Appends the units `start..end` of a rooted string.
    pub(crate) fn push_view<'m, L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'m, L, H>,
        view: &View<'m>,
        start: usize,
        end: usize,
    ) -> Result<(), Raise> {
        for index in start..end {
            let unit = vm.unit(view, index);
            self.push_unit(vm, unit)?;
        }
        Ok(())
    }

    /// The string. Its root stays on the stack until the caller's frame goes.
    pub(crate) fn finish<L: Layout, H: Host>(
        self,
        vm: &mut Vm<'_, L, H>,
    ) -> Result<Value<L>, Raise> {
        let view = vm.heap_view(self.block(vm));
        let value = match self.len {
            0 | 1 => vm.text_of(self.len, true, |vm, index| vm.unit(&view, index))?,
            len => {
                vm.cut_text(self.block(vm), len, self.wide);
                vm.heap.mem_value(self.root)
            }
        };
        vm.heap.set_mem_value(self.root, value);
        Ok(value)
    }

    fn block<L: Layout, H: Host>(&self, vm: &Vm<'_, L, H>) -> Ref {
        Ref(vm.heap.mem_value(self.root).payload())
    }

    fn regrow<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'_, L, H>,
        capacity: usize,
        wide: bool,
    ) -> Result<(), Raise> {
        // Whether it grows where it lies: the heap is not to be seen in what is left to spend.
        vm.spend_on_units(capacity)?;
        if wide == self.wide && vm.extend_text(self.block(vm), self.capacity, capacity, wide) {
            self.capacity = capacity;
            return Ok(());
        }
        let block = vm.allocate_text(capacity, wide)?;
        let (to, from) = (vm.heap_view(block), vm.heap_view(self.block(vm)));
        for index in 0..self.len {
            let unit = vm.unit(&from, index);
            vm.set_unit(&to, index, unit);
        }
        vm.heap.set_mem_value(self.root, Value::tagged(Tag::HeapText, block.0));
        self.capacity = capacity;
        self.wide = wide;
        Ok(())
    }
}
