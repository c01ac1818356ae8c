//! What a reviver makes of a value that was read (ECMA-262,
//! InternalizeJSONProperty), from the innermost value outwards.
//!
//! The levels that the standard's algorithm calls itself for lie on the machine's
//! stack, five slots each.

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
const LEVEL: usize = 5;

/// The revived value. Value and reviver are rooted; the result is not.
pub(super) fn revive<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    reviver: Value<L>,
) -> Result<Value<L>, Raise> {
    let root = vm.new_object(Intrinsic::ObjectPrototype.reference(), 1)?;
    vm.push(Value::object(root))?;
    vm.add_property(root, Key::name(names::EMPTY), value, attributes::ALL)?;
    let bottom = vm.heap.sp;
    open(vm, Value::object(root), Value::name(names::EMPTY))?;
    loop {
        let level = vm.heap.sp;
        if let Some(name) = next_member(vm, level)? {
            vm.spend(1)?;
            let holder = vm.heap.mem_value(level + VALUE);
            open(vm, holder, name)?;
            continue;
        }
        let [value, name, holder] =
            [VALUE, NAME, HOLDER].map(|slot| vm.heap.mem_value(level + slot));
        let revived = vm.invoke(reviver, holder, &[name, value])?;
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

/// Opens the level of a property. The holder is rooted.
fn open<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    holder: Value<L>,
    name: Value<L>,
) -> Result<(), Raise> {
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
