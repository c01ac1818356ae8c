//! `Object` (ECMA-262, "Properties of the Object Constructor"): what lists,
//! copies and links objects. Descriptors and integrity levels are beside it.

use super::Intrinsic;
use crate::Host;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::object::Own;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// ECMA-262, Object ( [ value ] ): with or without `new`.
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let value = vm.arg(&call, 0);
    let object = if vm.foreign_target(&call).is_some() {
        let prototype = vm.prototype_for(&call, Intrinsic::ObjectPrototype)?;
        vm.new_object(prototype, 0)?
    } else if value.is_nullish() {
        vm.new_object(Intrinsic::ObjectPrototype.reference(), 0)?
    } else {
        vm.to_object(value)?
    };
    Ok(Value::object(object))
}

/// ECMA-262, Object.assign ( target, ...sources ).
pub(super) fn assign<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let target = push_object(vm, vm.arg(&call, 0))?;
    for at in 1..call.argc() {
        let source = vm.arg(&call, at);
        if source.is_nullish() {
            continue;
        }
        let mark = vm.heap.sp;
        let from = push_object(vm, source)?;
        let keys = push_keys(vm, from)?;
        for index in 0..vm.array_len(keys) {
            let Some((key, _)) = key_at(vm, keys, index)? else { continue };
            if let Some(value) = enumerable_value(vm, from, key)? {
                vm.push(value)?;
                vm.set(target, key, value)?;
                vm.pop();
            }
        }
        vm.heap.sp = mark;
    }
    Ok(Value::object(target))
}

/// ECMA-262, Object.create ( O, Properties ).
pub(super) fn create<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let prototype = prototype_argument(vm, vm.arg(&call, 0))?;
    let object = vm.new_object(prototype, 0)?;
    vm.push(Value::object(object))?;
    let properties = vm.arg(&call, 1);
    if !properties.is_undefined() {
        super::descriptor::define_all(vm, object, properties)?;
    }
    Ok(Value::object(object))
}

/// ECMA-262, Object.keys ( O ).
pub(super) fn keys<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = push_object(vm, vm.arg(&call, 0))?;
    vm.own_keys(object, true).map(Value::object)
}

/// ECMA-262, Object.values ( O ).
pub(super) fn values<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    list_properties(vm, vm.arg(&call, 0), false)
}

/// ECMA-262, Object.entries ( O ).
pub(super) fn entries<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    list_properties(vm, vm.arg(&call, 0), true)
}

/// ECMA-262, EnumerableOwnProperties: the values, or pairs of key and value.
fn list_properties<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    pairs: bool,
) -> Result<Value<L>, Raise> {
    let object = push_object(vm, value)?;
    let keys = vm.own_keys(object, false)?;
    vm.push(Value::object(keys))?;
    let list = vm.new_array(0)?;
    vm.push(Value::object(list))?;
    for index in 0..vm.array_len(keys) {
        let mark = vm.heap.sp;
        let Some((key, text)) = key_at(vm, keys, index)? else { continue };
        let Some(mut value) = enumerable_value(vm, object, key)? else { continue };
        vm.push(value)?;
        if pairs {
            let pair = vm.new_array(2)?;
            vm.push(Value::object(pair))?;
            vm.append(pair, text)?;
            vm.append(pair, value)?;
            value = Value::object(pair);
        }
        vm.append(list, value)?;
        vm.heap.sp = mark;
    }
    Ok(Value::object(list))
}

/// ECMA-262, Object.fromEntries ( iterable ).
pub(super) fn from_entries<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let source = vm.arg(&call, 0);
    if source.is_nullish() {
        return Err(vm.throw_type("undefined and null have no entries"));
    }
    let object = vm.new_object(Intrinsic::ObjectPrototype.reference(), 0)?;
    vm.push(Value::object(object))?;
    super::iterate(vm, source, |vm, entry| {
        let Some(entry) = entry.as_object() else {
            return Err(vm.throw_type("an entry is not an object"));
        };
        let name = vm.get_index(entry, 0.0)?;
        vm.push(name)?;
        let value = vm.get_index(entry, 1.0)?;
        vm.push(value)?;
        let key = vm.to_key(name)?;
        vm.define(object, key, &Descriptor::data(value, attributes::ALL)).map(drop)
    })?;
    Ok(Value::object(object))
}

/// ECMA-262, Object.groupBy ( items, callback ). Nobody sees the object before it is
/// done, so it holds the groups from the start.
pub(super) fn group_by<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let groups = vm.new_object(Ref::NONE, 0)?;
    vm.push(Value::object(groups))?;
    each_with_key(vm, &call, |vm, value, key| {
        let key = vm.to_key(key)?;
        let group = match vm.get_own(groups, key)? {
            Some(Own::Data { value: group, .. }) => group,
            _ => {
                let group = Value::object(vm.new_array(0)?);
                vm.push(group)?;
                vm.add_property(groups, key, group, attributes::ALL)?;
                group
            }
        };
        match group.as_object() {
            Some(group) => vm.append(group, value),
            None => Err(Raise::internal("a group that is no array")),
        }
    })?;
    Ok(Value::object(groups))
}

/// ECMA-262, GroupBy: calls the function for each value and hands on the value and
/// what it gives, both on the stack.
pub(super) fn each_with_key<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    mut take: impl FnMut(&mut Vm<'_, L, H>, Value<L>, Value<L>) -> Result<(), Raise>,
) -> Result<(), Raise> {
    let items = vm.arg(call, 0);
    if items.is_nullish() {
        return Err(vm.throw_type("undefined and null have no values to group"));
    }
    let function = vm.arg(call, 1);
    if !vm.is_callable(function) {
        return Err(vm.throw_type("the argument is not a function"));
    }
    let mut index = 0.0;
    super::iterate(vm, items, |vm, value| {
        let at = vm.number(index)?;
        let key = vm.invoke(function, Value::undefined(), &[value, at])?;
        vm.push(key)?;
        index += 1.0;
        take(vm, value, key)
    })
}

/// ECMA-262, Object.getOwnPropertyNames ( O ).
pub(super) fn get_own_property_names<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = push_object(vm, vm.arg(&call, 0))?;
    vm.own_keys(object, false).map(Value::object)
}

/// ECMA-262, Object.getOwnPropertySymbols ( O ).
pub(super) fn get_own_property_symbols<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = push_object(vm, vm.arg(&call, 0))?;
    vm.own_symbols(object).map(Value::object)
}

/// ECMA-262, Object.getPrototypeOf ( O ).
pub(super) fn get_prototype_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    prototype_of(vm, vm.arg(&call, 0))
}

/// ECMA-262, Object.setPrototypeOf ( O, proto ).
pub(super) fn set_prototype_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let value = vm.arg(&call, 0);
    if value.is_nullish() {
        return Err(vm.throw_type("cannot convert undefined or null to an object"));
    }
    let prototype = prototype_argument(vm, vm.arg(&call, 1))?;
    change_prototype(vm, value, prototype)?;
    Ok(value)
}

/// ECMA-262, Object.hasOwn ( O, P ).
pub(super) fn has_own<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = push_object(vm, vm.arg(&call, 0))?;
    let key = vm.to_key(vm.arg(&call, 1))?;
    let own = vm.get_own(object, key)?;
    Ok(Value::boolean(own.is_some()))
}

/// ECMA-262, Object.is ( value1, value2 ).
pub(super) fn is<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    Ok(Value::boolean(vm.same_value(vm.arg(&call, 0), vm.arg(&call, 1))))
}

/// The prototype of a value's object. A primitive's object need not be made.
pub(super) fn prototype_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<Value<L>, Raise> {
    let prototype = match value.as_object() {
        Some(object) => vm.prototype(object),
        None if value.is_nullish() => vm.to_object(value)?,
        None => vm.prototype_of_primitive(value),
    };
    Ok(if prototype.is_none() { Value::null() } else { Value::object(prototype) })
}

/// Gives a value another prototype if it is an object: a refusal is a TypeError.
pub(super) fn change_prototype<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    prototype: Ref,
) -> Result<(), Raise> {
    match value.as_object() {
        Some(object) if !vm.set_prototype(object, prototype)? => {
            Err(vm.throw_type("the object's prototype cannot be set to this"))
        }
        _ => Ok(()),
    }
}

pub(super) fn prototype_argument<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<Ref, Raise> {
    match value.as_object() {
        Some(prototype) => Ok(prototype),
        None if value.is_null() => Ok(Ref::NONE),
        None => Err(vm.throw_type("a prototype is an object or null")),
    }
}

/// ECMA-262, ToObject, and keeps the object.
pub(super) fn push_object<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<Ref, Raise> {
    let object = vm.to_object(value)?;
    vm.push(Value::object(object))?;
    Ok(object)
}

/// All own keys of an object, symbols among them, and keeps them.
pub(super) fn push_keys<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
) -> Result<Ref, Raise> {
    let keys = vm.own_keys_and_symbols(object)?;
    vm.push(Value::object(keys))?;
    Ok(keys)
}

/// A key of a list that [`push_keys`] made, and its text or symbol. The list keeps both.
pub(super) fn key_at<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    keys: Ref,
    index: u32,
) -> Result<Option<(Key, Value<L>)>, Raise> {
    match vm.element(keys, index) {
        Some(text) => Ok(Some((vm.to_key(text)?, text))),
        None => Ok(None),
    }
}

/// The value of an own property that is enumerable now: scripts that ran since
/// the keys were listed may have deleted it. It is not rooted.
fn enumerable_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    key: Key,
) -> Result<Option<Value<L>>, Raise> {
    match vm.get_own(object, key)? {
        Some(own) if !own.is(attributes::ENUMERABLE) => Ok(None),
        Some(Own::Data { value, .. }) => Ok(Some(value)),
        Some(Own::Accessor { .. }) => vm.get(object, key).map(Some),
        None => Ok(None),
    }
}
