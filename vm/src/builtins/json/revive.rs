//! What a reviver makes of a value that was read (ECMA-262,
//! InternalizeJSONProperty), from the innermost value outwards.
//!
//! The levels that the standard's algorithm calls itself for lie on the machine's
//! stack, seven slots each.

use super::source;
use crate::Host;
use crate::builtins::Intrinsic;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::names;

// Slots of a level, by their distance from the stack's top.
/// How many members are done.
const DONE: usize = 0;
/// The keys of an object, the length of an array, or undefined.
const MEMBERS: usize = 1;
const VALUE: usize = 2;
const NAME: usize = 3;
const HOLDER: usize = 4;
/// Where the value's text begins, or undefined if it was not read.
const SOURCE: usize = 5;
/// Where the text of the array's next member begins, or undefined.
const NEXT: usize = 6;
const LEVEL: usize = 7;

/// The revived value. Value, text and reviver are rooted; the result is not.
pub(super) fn revive<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    text: Value<L>,
    reviver: Value<L>,
) -> Result<Value<L>, Raise> {
    let root = vm.new_object(Intrinsic::ObjectPrototype.reference(), 1)?;
    vm.push(Value::object(root))?;
    vm.add_property(root, Key::name(names::EMPTY), value, attributes::ALL)?;
    let bottom = vm.heap.sp;
    let start = first_place(vm, text);
    open(vm, text, Value::object(root), Value::name(names::EMPTY), start)?;
    loop {
        let level = vm.heap.sp;
        if let Some(name) = next_member(vm, level)? {
            vm.spend(1)?;
            let holder = vm.heap.mem_value(level + VALUE);
            vm.push(name)?;
            let source = source_of_member(vm, text, level, name)?;
            vm.pop();
            open(vm, text, holder, name, source)?;
            continue;
        }
        let [value, name, holder] =
            [VALUE, NAME, HOLDER].map(|slot| vm.heap.mem_value(level + slot));
        let context = context(vm, text, value, vm.heap.mem_value(level + SOURCE))?;
        let revived = vm.invoke(reviver, holder, &[name, value, context])?;
        if level + LEVEL == bottom {
            return Ok(revived);
        }
        vm.heap.set_mem_value(level + VALUE, revived);
        if let Some(holder) = holder.as_object() {
            let key = vm.to_key(name)?;
            // Where the member refuses, it stays as it is.
            if revived.is_undefined() {
                vm.delete(holder, key)?;
            } else {
                vm.define(holder, key, &Descriptor::data(revived, attributes::ALL))?;
            }
        }
        vm.heap.sp = level + LEVEL;
    }
}

/// Where a text's value begins.
fn first_place<L: Layout, H: Host>(vm: &Vm<'_, L, H>, text: Value<L>) -> Option<usize> {
    let view = vm.view(text)?;
    (0..view.len()).find(|&at| !matches!(vm.unit(&view, at), 0x09 | 0x0a | 0x0d | 0x20))
}

/// Where the text of a level's member begins. The name is rooted.
fn source_of_member<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    text: Value<L>,
    level: usize,
    name: Value<L>,
) -> Result<Option<usize>, Raise> {
    let place = |vm: &Vm<'_, L, H>, slot: usize| {
        vm.as_number(vm.heap.mem_value(level + slot)).map(|place| place as usize)
    };
    if vm.heap.mem_value(level + MEMBERS).is_object() {
        return match place(vm, SOURCE) {
            Some(at) => source::member(vm, text, at, name),
            None => Ok(None),
        };
    }
    let Some(at) = place(vm, NEXT) else { return Ok(None) };
    let next = source::first_or_next(vm, text, at, false)?;
    let next = place_value(vm, next)?;
    vm.heap.set_mem_value(level + NEXT, next);
    Ok(Some(at))
}

fn place_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    place: Option<usize>,
) -> Result<Value<L>, Raise> {
    place.map_or(Ok(Value::undefined()), |place| vm.number(place as f64))
}

/// The object that tells a reviver what the value was read from.
fn context<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    text: Value<L>,
    value: Value<L>,
    source: Value<L>,
) -> Result<Value<L>, Raise> {
    let mark = vm.heap.sp;
    let object = vm.new_object(Intrinsic::ObjectPrototype.reference(), 0)?;
    vm.push(Value::object(object))?;
    if let Some(at) = vm.as_number(source)
        && let Some(source) = source::of_value(vm, text, at as usize, value)?
    {
        vm.push(source)?;
        vm.add_property(object, Key::name(names::SOURCE), source, attributes::ALL)?;
    }
    vm.heap.sp = mark;
    Ok(Value::object(object))
}

/// Opens the level of a property. The holder is rooted.
fn open<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    text: Value<L>,
    holder: Value<L>,
    name: Value<L>,
    source: Option<usize>,
) -> Result<(), Raise> {
    let next_slot = vm.push(Value::undefined())?;
    let source_slot = vm.push(Value::undefined())?;
    vm.push(holder)?;
    vm.push(name)?;
    let Some(object) = holder.as_object() else { return Err(Raise::internal("no holder")) };
    let key = vm.to_key(name)?;
    let value = vm.get(object, key)?;
    vm.push(value)?;
    let members = match value.as_object() {
        Some(array) if vm.is_array(value) => {
            let length = vm.length_of(array)?;
            vm.number(length)?
        }
        Some(object) => Value::object(vm.own_keys(object, true)?),
        None => Value::undefined(),
    };
    vm.push(members)?;
    // What was an array or object in the text, and is another now, was not read.
    let view = vm.view(text);
    let begins = source.zip(view).map(|(at, view)| vm.unit(&view, at));
    let begins_array = begins == Some(u16::from(b'['));
    let begins_object = begins == Some(u16::from(b'{'));
    let same = begins_array == vm.is_array(value)
        && begins_object == (value.is_object() && !vm.is_array(value));
    let source = source.filter(|_| same);
    if let Some(at) = source.filter(|_| begins_array) {
        let first = source::first_or_next(vm, text, at, true)?;
        let first = place_value(vm, first)?;
        vm.heap.set_mem_value(next_slot, first);
    }
    let source = place_value(vm, source)?;
    vm.heap.set_mem_value(source_slot, source);
    vm.push(Value::small(0))?;
    Ok(())
}

/// The name of the next member of a level's value, and counts it as done.
fn next_member<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    level: usize,
) -> Result<Option<Value<L>>, Raise> {
    let members = vm.heap.mem_value(level + MEMBERS);
    let done = vm.as_number(vm.heap.mem_value(level + DONE)).unwrap_or(0.0);
    let name = match members.as_object() {
        Some(keys) => vm.element(keys, done as u32),
        None if vm.as_number(members).is_some_and(|length| done < length) => {
            Some(vm.number_text(done)?)
        }
        None => None,
    };
    if let Some(name) = name {
        // Kept while the count may need a cell of its own.
        vm.push(name)?;
        let next = vm.number(done + 1.0)?;
        vm.heap.set_mem_value(level + DONE, next);
        vm.pop();
    }
    Ok(name)
}
