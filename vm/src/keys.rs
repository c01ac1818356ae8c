//! Property keys: one number a key, so that lookups compare numbers.
//!
//! A key is an array index below 2^26, a name in flash, a string constant of an
//! image, or a string in the heap that the key table holds. Strings are looked
//! for in that order, so equal strings always give the same key.
//!
//! A symbol's key is the number of the symbol: a well-known one is a name in flash
//! that no string finds, and one that a script made is its block in the heap. So a
//! look-up compares numbers as it does for strings, and what a key is shows in the
//! name or in the kind of the block.

use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::layout::{Layout, Tag};
use crate::text::View;
use crate::value::{ImageConst, Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::image::Field;
use scruple_bytecode::operand::FieldId;
use scruple_bytecode::{NameId, names};

/// A half of the key table whose string was swept.
pub(crate) const DROPPED: Ref = Ref(1);

/// Property attributes, in the low bits of a property's key slot.
pub(crate) mod attributes {
    /// The value can be changed.
    pub(crate) const WRITABLE: u8 = 1;
    /// The property is enumerated.
    pub(crate) const ENUMERABLE: u8 = 2;
    /// The property can be deleted and its attributes changed.
    pub(crate) const CONFIGURABLE: u8 = 4;
    /// The value is a reference to a getter and a setter.
    pub(crate) const ACCESSOR: u8 = 8;
    /// What an assignment gives a new property.
    pub(crate) const ALL: u8 = WRITABLE | ENUMERABLE | CONFIGURABLE;
    /// What the built-ins' methods have.
    pub(crate) const HIDDEN: u8 = WRITABLE | CONFIGURABLE;
}

/// A property key: two bits of kind and 26 of payload above four bits that a
/// property table uses for attributes and that are 0 here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Key(u32);

/// What a key is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum KeyKind {
    Index(u32),
    Name(NameId),
    Constant(ImageConst),
    /// A string that the key table holds, or a symbol that a script made.
    Text(Ref),
}

const ATTRIBUTE_BITS: u32 = 4;
pub(crate) const PAYLOAD_BITS: u32 = 26;

/// Array indexes from here on are strings as keys; elements have none of them.
pub(crate) const INDEX_LIMIT: u32 = 1 << PAYLOAD_BITS;

impl Key {
    #[inline(always)]
    pub(crate) const fn index(index: u32) -> Option<Key> {
        if index < INDEX_LIMIT { Some(Key(index << ATTRIBUTE_BITS)) } else { None }
    }

    #[inline(always)]
    pub(crate) const fn name(name: NameId) -> Key {
        Key::of(1, name.index() as u32)
    }

    #[inline(always)]
    const fn of(kind: u32, payload: u32) -> Key {
        Key(kind << (ATTRIBUTE_BITS + PAYLOAD_BITS) | payload << ATTRIBUTE_BITS)
    }

    #[inline(always)]
    pub(crate) fn kind(self) -> KeyKind {
        let payload = self.0 >> ATTRIBUTE_BITS & (INDEX_LIMIT - 1);
        match self.0 >> (ATTRIBUTE_BITS + PAYLOAD_BITS) {
            0 => KeyKind::Index(payload),
            1 => match NameId::new(payload as usize) {
                Some(name) => KeyKind::Name(name),
                None => KeyKind::Index(payload),
            },
            2 => KeyKind::Constant(ImageConst::from_payload(payload)),
            _ => KeyKind::Text(Ref(payload)),
        }
    }

    pub(crate) fn as_index(self) -> Option<u32> {
        match self.kind() {
            KeyKind::Index(index) => Some(index),
            _ => None,
        }
    }

    pub(crate) fn is_name(self, name: NameId) -> bool {
        self == Key::name(name)
    }

    /// The key as a slot of a property table.
    #[inline(always)]
    pub(crate) fn with_attributes<L: Layout>(self, attributes: u8) -> L::Slot {
        L::from_bits(u64::from(self.0 | u32::from(attributes)))
    }

    #[inline(always)]
    pub(crate) fn from_slot<L: Layout>(slot: L::Slot) -> (Key, u8) {
        let bits = L::bits(slot) as u32;
        (Key(bits & !0xf), (bits & 0xf) as u8)
    }
}

/// The string block that a property's key slot refers to.
pub(crate) fn key_block<L: Layout>(slot: L::Slot) -> Option<Ref> {
    match Key::from_slot::<L>(slot).0.kind() {
        KeyKind::Text(block) => Some(block),
        _ => None,
    }
}

/// A property's key slot that refers to another string block, with its attributes.
pub(crate) fn with_key_block<L: Layout>(slot: L::Slot, block: Ref) -> L::Slot {
    Key::of(3, block.0).with_attributes::<L>(Key::from_slot::<L>(slot).1)
}

/// The array index that a string spells canonically, below the limit.
fn spelled_index(len: usize, unit: impl Fn(usize) -> u16) -> Option<u32> {
    if len == 0 || len > 8 || (len > 1 && unit(0) == u16::from(b'0')) {
        return None;
    }
    let mut index = 0u32;
    for at in 0..len {
        let digit = unit(at).wrapping_sub(u16::from(b'0'));
        if digit > 9 {
            return None;
        }
        index = index * 10 + u32::from(digit);
    }
    (index < INDEX_LIMIT).then_some(index)
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The key that an instruction names. The compiler names no array index.
    #[inline]
    pub(crate) fn field_key(&self, field: FieldId) -> Result<Key, Raise> {
        match self.current_image().field(field) {
            Some(Field::Name(name)) => Ok(Key::name(name)),
            Some(Field::Text) => {
                let lies = ImageConst { image: self.current, constant: field.into() }.payload();
                if self.current == 0 {
                    return Ok(Key::of(2, lies));
                }
                // An earlier image or the key table may hold the string already.
                self.find_key(Value::tagged(Tag::ImageText, lies))
                    .ok_or(Raise::internal("a field that no image holds"))
            }
            None => Err(Raise::internal("a field that is no string")),
        }
    }

    /// The key of a value that is an integer, a string or a symbol, if some object
    /// may have it: nothing is allocated.
    pub(crate) fn find_key(&self, value: Value<L>) -> Option<Key> {
        if let Some(int) = value.as_int() {
            return u32::try_from(int).ok().and_then(Key::index);
        }
        let Some(view) = self.view(value) else { return symbol_key(value) };
        // The first image comes before the key table and the others behind it: so
        // a string keeps its key when another image that has it is loaded.
        self.fixed_key(value, &view)
            .or_else(|| self.find_in_table(&view).map(|block| Key::of(3, block.0)))
            .or_else(|| (1..self.n_images()).find_map(|image| self.image_key(image, &view)))
    }

    /// The key of a string that is an index, a name or an image's constant.
    fn fixed_key(&self, value: Value<L>, view: &View<'m>) -> Option<Key> {
        match value.tag_if_not_number()? {
            // The description of a well-known symbol is not the symbol.
            Tag::NameText => {
                let name = NameId::new(value.payload() as usize)?;
                if !name.is_symbol() {
                    return Some(Key::name(name));
                }
            }
            Tag::HeapText if is_key(self.heap.kind(Ref(value.payload()))) => {
                return Some(Key::of(3, value.payload()));
            }
            _ => {}
        }
        if let Some(index) = spelled_index(view.len(), |at| self.unit(view, at)) {
            return Key::index(index);
        }
        if value.has_tag(Tag::ImageText) {
            let lies = ImageConst::from_payload(value.payload());
            if lies.image == 0 {
                return Some(Key::of(2, value.payload()));
            }
        }
        self.name_key(view).or_else(|| self.image_key(0, view))
    }

    fn name_key(&self, view: &View<'m>) -> Option<Key> {
        const LONGEST: usize = 32;
        let mut bytes = [0; LONGEST];
        let bytes = bytes.get_mut(..view.len())?;
        for (at, byte) in bytes.iter_mut().enumerate() {
            *byte = u8::try_from(self.unit(view, at)).ok()?;
        }
        names::find(bytes).map(Key::name)
    }

    fn image_key(&self, image: usize, view: &View<'m>) -> Option<Key> {
        let constant = self.image(image)?.find_by(|text| {
            let own = (0..view.len()).map(|at| self.unit(view, at));
            text.units().cmp(own)
        })?;
        Some(Key::of(2, ImageConst { image, constant }.payload()))
    }

    /// The property key of a value (ECMA-262, ToPropertyKey). A string that is
    /// new as a key goes into the key table.
    /// The key's string stays rooted until the next key is made.
    pub(crate) fn to_key(&mut self, value: Value<L>) -> Result<Key, Raise> {
        if let Some(key) = self.find_key(value) {
            self.keep_key(key);
            return Ok(key);
        }
        let text = if value.is_string() {
            value
        } else {
            let primitive = self.to_primitive(value, crate::convert::Hint::String)?;
            if primitive.is_symbol() { primitive } else { self.to_text(primitive)? }
        };
        if let Some(key) = self.find_key(text) {
            self.keep_key(key);
            return Ok(key);
        }
        self.push(text)?;
        let key = self.insert_key(text);
        self.pop();
        self.keep_key(key?);
        key
    }

    /// Keeps a key's string from the collector until the next key is made: the
    /// key table does not, and the string it was looked for by is another one.
    #[inline]
    pub(crate) fn keep_key(&mut self, key: Key) {
        if let KeyKind::Text(block) = key.kind() {
            self.heap.roots.key = Value::tagged(Tag::HeapText, block.0);
        }
    }

    /// The key of an ASCII text that the host gives.
    pub(crate) fn key_of_str(&mut self, text: &str) -> Result<Key, Raise> {
        let value = self.text_from_str(text)?;
        self.to_key(value)
    }

    /// Whether a key is a symbol's.
    pub(crate) fn is_symbol_key(&self, key: Key) -> bool {
        match key.kind() {
            KeyKind::Name(name) => name.is_symbol(),
            KeyKind::Text(block) => self.heap.is_kind(block, Kind::Symbol),
            _ => false,
        }
    }

    /// The string or the symbol that a key stands for.
    pub(crate) fn key_text(&mut self, key: Key) -> Result<Value<L>, Raise> {
        match key.kind() {
            KeyKind::Index(index) => self.number_text(f64::from(index)),
            KeyKind::Name(name) if name.is_symbol() => Ok(Value::symbol(name)),
            KeyKind::Name(name) => Ok(Value::name(name)),
            KeyKind::Constant(constant) => Ok(Value::tagged(Tag::ImageText, constant.payload())),
            KeyKind::Text(block) if self.heap.is_kind(block, Kind::Symbol) => {
                Ok(Value::tagged(Tag::Symbol, block.0))
            }
            KeyKind::Text(block) => Ok(Value::tagged(Tag::HeapText, block.0)),
        }
    }

    pub(crate) fn hash_view(&self, view: &View<'m>) -> usize {
        let mut hash = 0x811c_9dc5u32;
        for at in 0..view.len() {
            hash = (hash ^ u32::from(self.unit(view, at))).wrapping_mul(0x0100_0193);
        }
        (hash ^ hash >> 15) as usize
    }

    /// Halves of the key table that hold references: a power of two, less the
    /// header's two.
    fn table_places(&self) -> usize {
        match self.heap.roots.keys.cell() {
            Some(cell) => 4 * self.heap.block_cells(cell) - 2,
            None => 0,
        }
    }

    fn find_in_table(&self, view: &View<'m>) -> Option<Ref> {
        let places = self.table_places();
        if places == 0 {
            return None;
        }
        let table = self.heap.roots.keys;
        let mut place = self.hash_view(view) % places;
        for _ in 0..places {
            let block = self.heap.child(table, 2 + place);
            if block.is_none() {
                return None;
            }
            if block != DROPPED && self.same_text(&self.heap_view(block), view) {
                return Some(block);
            }
            place = (place + 1) % places;
        }
        None
    }

    fn insert_key(&mut self, text: Value<L>) -> Result<Key, Raise> {
        // A string that lies elsewhere (one unit) is copied to the heap: the
        // table holds references.
        let block = match text.tag() {
            Tag::HeapText => Ref(text.payload()),
            _ => {
                let Some(view) = self.view(text) else {
                    return Err(Raise::internal("a key that is no string"));
                };
                let block = self.allocate_text(view.len(), view.is_wide())?;
                let copy = self.heap_view(block);
                self.copy_units(&copy, 0, &view);
                block
            }
        };
        self.push(Value::tagged(Tag::HeapText, block.0))?;
        let grown = self.make_place();
        self.pop();
        grown?;
        self.place_key(self.heap.roots.keys, block);
        let kind = match self.heap.kind(block) {
            Kind::Latin1 => Kind::KeyLatin1,
            Kind::Utf16 => Kind::KeyUtf16,
            Kind::LongLatin1 => Kind::KeyLongLatin1,
            Kind::LongUtf16 => Kind::KeyLongUtf16,
            kind => kind,
        };
        self.heap.set_kind(block, kind);
        Ok(Key::of(3, block.0))
    }

    /// Grows the table when it is three quarters full.
    fn make_place(&mut self) -> Result<(), Raise> {
        let places = self.table_places();
        let old = self.heap.roots.keys;
        let count = if old.is_none() { 0 } else { self.heap.half(old, 1) as usize };
        if 4 * (count + 1) <= 3 * places {
            return Ok(());
        }
        let cells = if places == 0 { 2 } else { (places + 2) / 2 };
        let table = self.allocate(Kind::Keys, cells)?;
        for index in 2..4 * cells {
            self.heap.set_child(table, index, Ref::NONE);
        }
        // The allocation may have collected, and with it dropped keys.
        for place in 0..places {
            let block = self.heap.child(old, 2 + place);
            if !block.is_none() && block != DROPPED {
                self.place_key(table, block);
            }
        }
        self.heap.roots.keys = table;
        Ok(())
    }

    fn place_key(&mut self, table: Ref, block: Ref) {
        let Some(cell) = table.cell() else { return };
        let places = 4 * self.heap.block_cells(cell) - 2;
        let view = self.heap_view(block);
        let mut place = self.hash_view(&view) % places;
        while !matches!(self.heap.child(table, 2 + place), Ref::NONE | DROPPED) {
            place = (place + 1) % places;
        }
        self.heap.set_child(table, 2 + place, block);
        let count = self.heap.half(table, 1);
        self.heap.set_half(table, 1, count + 1);
    }
}

/// A symbol as a key.
fn symbol_key<L: Layout>(value: Value<L>) -> Option<Key> {
    if !value.is_symbol() {
        return None;
    }
    let payload = value.payload();
    match Ref(payload).is_cell() {
        true => Some(Key::of(3, payload)),
        false => NameId::new(payload as usize).map(Key::name),
    }
}

/// Well-known symbols and references share the numbers.
const _: () = assert!(names::COUNT < Ref::FIRST_CELL as usize);

fn is_key(kind: Kind) -> bool {
    matches!(kind, Kind::KeyLatin1 | Kind::KeyUtf16 | Kind::KeyLongLatin1 | Kind::KeyLongUtf16)
}
