//! The iterators of arrays and strings, as objects (ECMA-262, "Array Iterator
//! Objects" and "String Iterator Objects").
//!
//! A script gets one by asking for it; loops and patterns mostly go without. An
//! iterator is an object with an internal value and, behind it, its place: of an
//! array iterator four times the index, and what it gives of each element.

use super::Intrinsic;
use super::collections::walk;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

// What an array iterator gives.
pub(super) const KEYS: i32 = 0;
pub(super) const VALUES: i32 = 1;
pub(super) const ENTRIES: i32 = 2;

/// Slots of an iterator: what it goes through, and where it is.
const SOURCE: usize = 2;
const PLACE: usize = 3;

/// ECMA-262, Array.prototype.keys ( ).
pub(super) fn keys<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    of_array(vm, call, KEYS)
}

/// ECMA-262, Array.prototype.values ( ), which is Array.prototype
/// [ %Symbol.iterator% ] ( ) too.
pub(super) fn values<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    of_array(vm, call, VALUES)
}

/// ECMA-262, Array.prototype.entries ( ).
pub(super) fn entries<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    of_array(vm, call, ENTRIES)
}

/// ECMA-262, CreateArrayIterator.
pub(super) fn of_array<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
    gives: i32,
) -> Result<Value<L>, Raise> {
    let object = Value::object(vm.to_object(call.this)?);
    vm.push(object)?;
    let prototype = Intrinsic::ArrayIteratorPrototype.reference();
    let iterator = vm.new_wrapper(Class::ArrayIterator, prototype, object)?;
    vm.heap.set_value(iterator, PLACE, Value::small(gives));
    Ok(Value::object(iterator))
}

/// ECMA-262, String.prototype [ %Symbol.iterator% ] ( ).
pub(super) fn of_text<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    if call.this.is_nullish() {
        return Err(vm.throw_type("a string method needs a this value"));
    }
    let text = vm.to_text(call.this)?;
    vm.push(text)?;
    let prototype = Intrinsic::StringIteratorPrototype.reference();
    let iterator = vm.new_wrapper(Class::TextIterator, prototype, text)?;
    vm.heap.set_value(iterator, PLACE, Value::small(0));
    Ok(Value::object(iterator))
}

/// ECMA-262, %IteratorPrototype% [ %Symbol.iterator% ] ( ).
pub(super) fn itself<L: Layout, H: Host>(
    _: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    Ok(call.this)
}

/// ECMA-262, get %Iterator.prototype% [ %Symbol.toStringTag% ].
pub(super) fn get_tag<L: Layout, H: Host>(
    _: &mut Vm<'_, L, H>,
    _: Call<L>,
) -> Result<Value<L>, Raise> {
    Ok(Value::name(names::ITERATOR_CTOR))
}

/// ECMA-262, set %Iterator.prototype% [ %Symbol.toStringTag% ], which is
/// SetterThatIgnoresPrototypeProperties.
pub(super) fn set_tag<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let home = Intrinsic::IteratorPrototype.reference();
    let Some(object) = call.this.as_object().filter(|&object| object != home) else {
        return Err(vm.throw_type("the tag cannot be set here"));
    };
    let (key, value) = (Key::name(names::SYMBOL_TO_STRING_TAG), vm.arg(&call, 0));
    if vm.get_own(object, key)?.is_some() {
        vm.set(object, key, value)?;
    } else if !vm.create(object, key, value, attributes::ALL)? {
        return Err(vm.throw_not_definable(key));
    }
    Ok(Value::undefined())
}

/// ECMA-262, %ArrayIteratorPrototype%.next ( ).
pub(super) fn next_of_array<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let iterator = this_iterator(vm, &call, Class::ArrayIterator)?;
    let value = step_array(vm, iterator)?;
    result(vm, value)
}

/// ECMA-262, %StringIteratorPrototype%.next ( ).
pub(super) fn next_of_text<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let iterator = this_iterator(vm, &call, Class::TextIterator)?;
    let value = step_text(vm, iterator)?;
    result(vm, value)
}

fn this_iterator<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    class: Class,
) -> Result<Ref, Raise> {
    match call.this.as_object() {
        Some(object) if object.is_cell() && vm.class(object) == class => Ok(object),
        _ => Err(vm.throw_type("the this value is not such an iterator")),
    }
}

/// ECMA-262, CreateIteratorResultObject.
pub(super) fn result<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Option<Value<L>>,
) -> Result<Value<L>, Raise> {
    let given = value.unwrap_or(Value::undefined());
    vm.push(given)?;
    let object = vm.new_object(Intrinsic::ObjectPrototype.reference(), 2)?;
    vm.push(Value::object(object))?;
    vm.add_property(object, Key::name(names::VALUE), given, attributes::ALL)?;
    let done = Value::boolean(value.is_none());
    vm.add_property(object, Key::name(names::DONE), done, attributes::ALL)?;
    Ok(Value::object(object))
}

/// The next value of an array iterator. The iterator is rooted, the value is not.
fn step_array<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    iterator: Ref,
) -> Result<Option<Value<L>>, Raise> {
    let Some(source) = vm.heap.value(iterator, SOURCE).as_object() else { return Ok(None) };
    let place = vm.as_number(vm.heap.value(iterator, PLACE)).unwrap_or(0.0);
    let index = libm::floor(place / 4.0);
    let length = match vm.is_typed(source) {
        true => vm.view_len(source).map(|length| length as f64),
        false => Some(vm.length_of(source)?),
    };
    let Some(length) = length else {
        return Err(vm.throw_type("the array lies outside its buffer"));
    };
    if index >= length {
        vm.heap.set_value(iterator, SOURCE, Value::undefined());
        return Ok(None);
    }
    let next = vm.number(place + 4.0)?;
    vm.heap.set_value(iterator, PLACE, next);
    let gives = (place - 4.0 * index) as i32;
    if gives == KEYS {
        return vm.number(index).map(Some);
    }
    let value = vm.get_index(source, index)?;
    if gives == VALUES {
        return Ok(Some(value));
    }
    let mark = vm.heap.sp;
    vm.push(value)?;
    let pair = vm.new_array(2)?;
    vm.push(Value::object(pair))?;
    let index = vm.number(index)?;
    vm.push(index)?;
    vm.append(pair, index)?;
    vm.append(pair, value)?;
    vm.heap.sp = mark;
    Ok(Some(Value::object(pair)))
}

/// The next value of a string iterator: the text of a code point.
fn step_text<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    iterator: Ref,
) -> Result<Option<Value<L>>, Raise> {
    let text = vm.heap.value(iterator, SOURCE);
    let start = vm.heap.value(iterator, PLACE).as_int().unwrap_or(0) as usize;
    let Some(view) = vm.view(text).filter(|view| start < view.len()) else {
        vm.heap.set_value(iterator, SOURCE, Value::undefined());
        return Ok(None);
    };
    let (_, units) = vm.code_point(&view, start);
    vm.heap.set_value(iterator, PLACE, Value::small((start + units) as i32));
    vm.slice_text(text, start, start + units).map(Some)
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The next value of an object that is one of these iterators and is stepped by
    /// the `next` that it has from flash: no object is made of the result. Nothing
    /// if it is another one.
    pub(crate) fn step_built_in(
        &mut self,
        object: Value<L>,
        next: Value<L>,
    ) -> Option<Result<Option<Value<L>>, Raise>> {
        let iterator = object.as_object().filter(|object| object.is_cell())?;
        let (owner, step): (_, fn(&mut Self, Ref) -> _) = match self.class(iterator) {
            Class::ArrayIterator => (Intrinsic::ArrayIteratorPrototype, step_array),
            Class::TextIterator => (Intrinsic::StringIteratorPrototype, step_text),
            Class::EntryIterator => (walk::owner(self, iterator), walk::step),
            _ => return None,
        };
        (next == super::method_of(owner, names::NEXT)).then(|| step(self, iterator))
    }
}
