//! Typed arrays as exotic objects (ECMA-262, "TypedArray Exotic Objects"), and what
//! every view of a buffer has.
//!
//! A key that is a canonical numeric string names an element or nothing: it is never
//! looked for in a table, nor along the prototypes. Methods are elsewhere.

use crate::Host;
use crate::bytes::Element;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::Layout;
use crate::number::with_text;
use crate::object::{Class, Own};
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// Slots of a view: its buffer, where in it it begins, how many elements it has
/// (undefined if it follows the buffer's length), and what they are.
const BUFFER: usize = 2;
const OFFSET: usize = 3;
const LENGTH: usize = 4;
const ELEMENT: usize = 5;

/// A canonical numeric string as a key (ECMA-262, CanonicalNumericIndexString).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Numeric(f64);

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Makes a view. Prototype and buffer are rooted by the caller.
    pub(crate) fn new_view(
        &mut self,
        class: Class,
        prototype: Ref,
        buffer: Ref,
        [offset, length]: [Option<usize>; 2],
        element: Element,
    ) -> Result<Ref, Raise> {
        let view = self.new_exotic(class, prototype, 3)?;
        let number = |number: usize| Value::small(number as i32);
        self.heap.set_value(view, BUFFER, Value::object(buffer));
        self.heap.set_value(view, OFFSET, number(offset.unwrap_or(0)));
        self.heap.set_value(view, LENGTH, length.map_or(Value::undefined(), number));
        self.heap.set_value(view, ELEMENT, number(element as usize));
        Ok(view)
    }

    /// Whether the value is a typed array.
    pub(crate) fn as_typed(&self, value: Value<L>) -> Option<Ref> {
        value.as_object().filter(|&object| self.is_typed(object))
    }

    #[inline]
    pub(crate) fn is_typed(&self, object: Ref) -> bool {
        object.is_cell()
            && self.heap.is_kind(object, Kind::Object)
            && self.heap.half(object, 3) & crate::holders::flags::CLASS == Class::Typed as u32
    }

    pub(crate) fn view_buffer(&self, view: Ref) -> Ref {
        self.heap.value(view, BUFFER).as_object().unwrap_or(Ref::NONE)
    }

    /// Where a view begins in its buffer.
    pub(crate) fn view_offset(&self, view: Ref) -> usize {
        self.heap.value(view, OFFSET).as_int().unwrap_or(0) as usize
    }

    /// Whether a view follows the length of its buffer.
    pub(crate) fn follows_buffer(&self, view: Ref) -> bool {
        self.heap.value(view, LENGTH).is_undefined()
    }

    /// What the elements of a typed array are.
    pub(crate) fn element_type(&self, view: Ref) -> Element {
        let number = self.heap.value(view, ELEMENT).as_int().unwrap_or(0) as usize;
        Element::ALL[number.min(Element::ALL.len() - 1)]
    }

    /// How many elements a view has, or bytes a DataView; nothing if it lies out of
    /// its buffer's bounds or that is detached.
    pub(crate) fn view_len(&self, view: Ref) -> Option<usize> {
        let buffer = self.view_buffer(view);
        let (bytes, offset) = (self.buffer_len(buffer), self.view_offset(view));
        let size = match self.class(view) {
            Class::Typed => self.element_type(view).size(),
            _ => 1,
        };
        let left = bytes.checked_sub(offset).filter(|_| !self.is_detached(buffer))?;
        match self.heap.value(view, LENGTH).as_int() {
            Some(length) => Some(length as usize).filter(|length| length * size <= left),
            None => Some(left / size),
        }
    }

    /// The number at an index, if a typed array has it.
    pub(crate) fn typed_element(&self, view: Ref, index: usize) -> Option<f64> {
        if index >= self.view_len(view)? {
            return None;
        }
        let element = self.element_type(view);
        let at = self.view_offset(view) + index * element.size();
        let block = self.buffer_block(self.view_buffer(view));
        Some(element.decode(self.read_bits(block, at, element.size())))
    }

    /// ECMA-262, TypedArrayGetElement, of an index that may be too large.
    pub(crate) fn typed_value(&mut self, view: Ref, index: f64) -> Result<Value<L>, Raise> {
        match self.typed_element(view, index as usize) {
            Some(number) => self.number(number),
            None => Ok(Value::undefined()),
        }
    }

    /// Puts a number at an index, if a typed array has it.
    pub(crate) fn set_typed_element(&mut self, view: Ref, index: usize, number: f64) {
        if self.view_len(view).is_none_or(|len| index >= len) {
            return;
        }
        let element = self.element_type(view);
        let at = self.view_offset(view) + index * element.size();
        let block = self.buffer_block(self.view_buffer(view));
        self.write_bits(block, at, element.size(), element.encode(number));
    }

    /// The number that a key is, if it is one to a typed array.
    pub(crate) fn numeric(&self, key: Key) -> Option<Numeric> {
        let text = match key.kind() {
            KeyKind::Index(index) => return Some(Numeric(f64::from(index))),
            KeyKind::Name(names::INFINITY) => return Some(Numeric(f64::INFINITY)),
            KeyKind::Name(names::NA_N) => return Some(Numeric(f64::NAN)),
            KeyKind::Name(_) => return None,
            KeyKind::Constant(constant) => {
                Value::tagged(crate::layout::Tag::ImageText, constant.payload())
            }
            KeyKind::Text(_) if self.is_symbol_key(key) => return None,
            KeyKind::Text(block) => Value::tagged(crate::layout::Tag::HeapText, block.0),
        };
        let view = self.view(text)?;
        let first = (view.len() > 0).then(|| self.unit(&view, 0))?;
        if !matches!(u8::try_from(first), Ok(b'0'..=b'9' | b'-' | b'I' | b'N')) {
            return None;
        }
        if self.is_text(text, "-0") {
            return Some(Numeric(-0.0));
        }
        let number = self.text_to_number(text);
        with_text::<H, _>(number, |spelled| self.is_text(text, spelled)).then_some(Numeric(number))
    }

    /// ECMA-262, IsValidIntegerIndex: the index.
    pub(crate) fn valid_index(&self, view: Ref, Numeric(number): Numeric) -> Option<usize> {
        let index = number as usize;
        let whole = (index as f64).to_bits() == number.to_bits();
        self.view_len(view).filter(|&len| whole && index < len).map(|_| index)
    }

    /// The number that a key is, if the object is a typed array.
    #[inline]
    pub(crate) fn typed_key(&self, object: Ref, key: Key) -> Option<Numeric> {
        if self.is_typed(object) { self.numeric(key) } else { None }
    }

    /// What is looked at behind an object that has no such property: a typed array's
    /// elements are not looked for along the prototypes.
    #[inline]
    pub(crate) fn above(&self, object: Ref, key: Key) -> Ref {
        match self.typed_key(object, key) {
            Some(_) => Ref::NONE,
            None => self.prototype(object),
        }
    }

    /// ECMA-262, [[GetOwnProperty]] of a typed array, of what no table lists.
    pub(crate) fn typed_own(&mut self, view: Ref, key: Key) -> Result<Option<Own<L>>, Raise> {
        let index = self.numeric(key).and_then(|number| self.valid_index(view, number));
        let Some(number) = index.and_then(|index| self.typed_element(view, index)) else {
            return Ok(None);
        };
        Ok(Some(Own::Data { value: self.number(number)?, attributes: attributes::ALL }))
    }

    /// ECMA-262, TypedArraySetElement. All are rooted: converting the value may run
    /// scripts.
    pub(crate) fn typed_set(
        &mut self,
        view: Ref,
        key: Numeric,
        value: Value<L>,
    ) -> Result<(), Raise> {
        let number = self.to_number(value)?;
        if let Some(index) = self.valid_index(view, key) {
            self.set_typed_element(view, index, number);
        }
        Ok(())
    }

    /// ECMA-262, [[DefineOwnProperty]] of a typed array, of a numeric key.
    pub(crate) fn define_typed(
        &mut self,
        view: Ref,
        key: Numeric,
        wish: &Descriptor<L>,
    ) -> Result<bool, Raise> {
        if self.valid_index(view, key).is_none()
            || wish.is_accessor()
            || [wish.configurable, wish.enumerable, wish.writable].contains(&Some(false))
        {
            return Ok(false);
        }
        if let Some(value) = wish.value {
            self.typed_set(view, key, value)?;
        }
        Ok(true)
    }

    /// ECMA-262, [[PreventExtensions]]: tells whether it was allowed. A typed array
    /// whose length can change refuses.
    pub(crate) fn prevent_extensions(&mut self, object: Ref) -> Result<bool, Raise> {
        if self.is_typed(object)
            && (self.follows_buffer(object) || self.most_bytes(self.view_buffer(object)).is_some())
        {
            return Ok(false);
        }
        self.set_flag(object, crate::holders::flags::NOT_EXTENSIBLE)?;
        Ok(true)
    }
}
