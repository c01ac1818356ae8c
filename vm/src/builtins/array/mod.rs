//! `Array` and `Array.prototype` (ECMA-262, "Array Objects").
//!
//! Here is what the files beside share: elements of any object by number. Every
//! method works on array-likes; a *plain* array, in whose elements nothing else
//! has a say, takes shorter ways where nothing shows the difference.
//!
//! What a method makes is an array unless the original's constructor has another
//! species.

pub(super) mod change;
pub(super) mod copy;
pub(super) mod ends;
pub(super) mod make;
pub(super) mod part;
pub(super) mod search;
pub(super) mod sort;
pub(super) mod visit;

use super::{Intrinsic, callback, relative};
use crate::Host;
use crate::define::Descriptor;
use crate::elements::Width;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::holders::flags;
use crate::host::Call;
use crate::keys::{INDEX_LIMIT, Key, attributes};
use crate::layout::Layout;
use crate::object::{Class, Own};
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262: no array-like grows beyond this length.
const LONGEST: f64 = super::number::MAX_SAFE_INTEGER;

/// What a step costs, in steps over elements that lie in a block, if it looks
/// along the prototypes for an element, and if it spells a large index: roughly
/// what they take, so that a budget bounds the time.
const LOOK_UP: usize = 8;
const TEXT_KEY: usize = 64;

/// ToObject of the this value. The object is rooted.
fn this_object<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, call: &Call<L>) -> Result<Ref, Raise> {
    if let Some(object) = call.this.as_object() {
        return Ok(object);
    }
    let object = vm.to_object(call.this)?;
    vm.push(Value::object(object))?;
    Ok(object)
}

/// Whether the block of an object holds elements.
#[inline]
fn has_elements<L: Layout, H: Host>(vm: &Vm<'_, L, H>, object: Ref) -> bool {
    object.is_cell() && vm.heap.is_kind(object, Kind::Array)
}

/// Whether the object is an array in whose elements nothing else has a say: no
/// property, accessor or attribute of its own, nor a changed prototype.
fn is_plain<L: Layout, H: Host>(vm: &Vm<'_, L, H>, object: Ref) -> bool {
    has_elements(vm, object)
        && vm.class(object) == Class::Array
        && vm.holder(object).is_none()
        && vm.holder(Intrinsic::ArrayPrototype.reference()).is_none()
        && vm.holder(Intrinsic::ObjectPrototype.reference()).is_none()
}

/// Whether the object is plain, every index below its length lies in its block,
/// and its length may change.
fn is_free<L: Layout, H: Host>(vm: &Vm<'_, L, H>, object: Ref) -> bool {
    is_plain(vm, object)
        && vm.array_room(object) == vm.array_len(object)
        && !vm.has_flag(object, flags::NOT_EXTENSIBLE | flags::LENGTH_FIXED)
}

/// ECMA-262, HasProperty and Get of an index in one: nothing if the object has
/// no such property.
fn present<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    index: f64,
) -> Result<Option<Value<L>>, Raise> {
    vm.spend(1)?;
    if has_elements(vm, object)
        && index < f64::from(INDEX_LIMIT)
        && let Some(value) = vm.element(object, index as u32)
    {
        return Ok(Some(value));
    }
    vm.spend(LOOK_UP)?;
    let Some(key) = known_key(vm, index)? else { return Ok(None) };
    let mut holder = object;
    while !holder.is_none() {
        match vm.get_own(holder, key)? {
            Some(Own::Data { value, .. }) => return Ok(Some(value)),
            Some(Own::Accessor { getter, .. }) if getter.is_none() => {
                return Ok(Some(Value::undefined()));
            }
            Some(Own::Accessor { getter, .. }) => {
                return vm.invoke(Value::object(getter), Value::object(object), &[]).map(Some);
            }
            None => holder = vm.above(holder, key),
        }
    }
    Ok(None)
}

/// ECMA-262, Get of an index.
fn read<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    index: f64,
) -> Result<Value<L>, Raise> {
    Ok(present(vm, object, index)?.unwrap_or(Value::undefined()))
}

/// The key of an index, if any object may have it: asking makes no key.
fn known_key<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, index: f64) -> Result<Option<Key>, Raise> {
    if index < f64::from(INDEX_LIMIT) {
        return Ok(Key::index(index as u32));
    }
    vm.spend(TEXT_KEY)?;
    let text = vm.number_text(index)?;
    let key = vm.find_key(text);
    if let Some(key) = key {
        vm.keep_key(key);
    }
    Ok(key)
}

/// ECMA-262, Set of an index: a refusal is a TypeError.
fn write<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    index: f64,
    value: Value<L>,
) -> Result<(), Raise> {
    vm.spend(1)?;
    // An element that lies in the block is a writable property of its own.
    if has_elements(vm, object)
        && index < f64::from(INDEX_LIMIT)
        && vm.element(object, index as u32).is_some()
    {
        return vm.set_element(object, index as u32, value);
    }
    vm.push(value)?;
    let key = vm.index_key(index)?;
    vm.set(object, key, value)?;
    vm.pop();
    Ok(())
}

/// ECMA-262, DeletePropertyOrThrow of an index.
fn remove<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, object: Ref, index: f64) -> Result<(), Raise> {
    vm.spend(1)?;
    match known_key(vm, index)? {
        Some(key) if !vm.delete(object, key)? => Err(vm.throw_not_deletable(key)),
        _ => Ok(()),
    }
}

/// Writes what is present at one index to another, or deletes there: a step of
/// many algorithms.
fn carry<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    from: f64,
    to: f64,
) -> Result<(), Raise> {
    match present(vm, object, from)? {
        Some(value) => write(vm, object, to, value),
        None => remove(vm, object, to),
    }
}

/// ECMA-262, CreateDataPropertyOrThrow on what is being made, which is rooted by the
/// caller: nearly always a fresh array.
fn create<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    array: Ref,
    index: f64,
    value: Value<L>,
) -> Result<(), Raise> {
    let before = vm.heap.sp;
    vm.push(value)?;
    let fresh = has_elements(vm, array)
        && vm.heap.child(array, 1).is_none()
        && vm.class(array) == Class::Array
        && !vm.has_flag(array, flags::NOT_EXTENSIBLE | flags::LENGTH_FIXED);
    if fresh && index < f64::from(INDEX_LIMIT) {
        vm.put_element(array, index as u32, value)?;
    } else {
        let key = vm.index_key(index)?;
        if !vm.define(array, key, &Descriptor::data(value, attributes::ALL))? {
            return Err(vm.throw_not_definable(key));
        }
    }
    vm.heap.sp = before;
    Ok(())
}

/// ECMA-262, Set of the length: a refusal is a TypeError.
fn set_length<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    length: f64,
) -> Result<(), Raise> {
    let before = vm.heap.sp;
    let value = vm.number(length)?;
    vm.push(value)?;
    vm.set(object, Key::name(names::LENGTH), value)?;
    vm.heap.sp = before;
    Ok(())
}

/// ECMA-262, ArrayCreate. The array is rooted, and has room for holes of that width.
fn array_of_length<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    length: f64,
    room: usize,
    width: Width,
) -> Result<Ref, Raise> {
    if length > f64::from(u32::MAX) {
        return Err(vm.throw_range("invalid array length"));
    }
    let array = vm.new_array_of(Class::Array, width, room)?;
    vm.push(Value::object(array))?;
    if length > 0.0 {
        vm.set_array_len(array, length as u32)?;
    }
    Ok(array)
}

/// ECMA-262, ArraySpeciesCreate. The result is rooted; an array has room for elements
/// of that width.
fn array_like<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    original: Ref,
    length: f64,
    width: Width,
) -> Result<Ref, Raise> {
    const ARRAY: Ref = Intrinsic::Array.reference();
    let usual =
        vm.class(original) != Class::Array || is_plain(vm, original) && vm.holder(ARRAY).is_none();
    if !usual {
        let mut constructor = vm.get(original, Key::name(names::CONSTRUCTOR))?;
        if let Some(object) = constructor.as_object() {
            vm.push(constructor)?;
            constructor = vm.get(object, Key::name(names::SYMBOL_SPECIES))?;
            if constructor.is_null() {
                constructor = Value::undefined();
            }
            vm.pop();
        }
        if !constructor.is_undefined() && constructor != Value::object(ARRAY) {
            return species_array(vm, constructor, length);
        }
    }
    let there = if has_elements(vm, original) { vm.array_room(original) } else { 0 };
    array_of_length(vm, length, there.min(length as u32) as usize, width)
}

/// What a species makes for that many elements, rooted.
fn species_array<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    constructor: Value<L>,
    length: f64,
) -> Result<Ref, Raise> {
    if !vm.is_constructor(constructor) {
        return Err(vm.throw_type("an array's species is not a constructor"));
    }
    vm.push(constructor)?;
    let length = vm.number(length)?;
    let made = vm.construct(constructor, &[length])?;
    vm.push(made)?;
    made.as_object().ok_or(Raise::internal("a constructor gave no object"))
}

/// ECMA-262, IsArray.
fn is_array_value<L: Layout, H: Host>(vm: &Vm<'_, L, H>, value: Value<L>) -> bool {
    vm.is_array(value) || value.as_object() == Some(Intrinsic::ArrayPrototype.reference())
}
