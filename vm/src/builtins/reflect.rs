//! `Reflect` (ECMA-262, "The Reflect Object"): the internal methods of objects as
//! functions, which tell a refusal instead of throwing.

use super::descriptor::{from_descriptor, push_key, to_descriptor};
use super::object::{prototype_argument, prototype_of};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// The object that the first argument must be.
fn target<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, call: &Call<L>) -> Result<Ref, Raise> {
    match vm.arg(call, 0).as_object() {
        Some(object) => Ok(object),
        None => Err(vm.throw_type("the target is not an object")),
    }
}

/// That object, and the key that the second argument is, whose string is rooted.
fn target_and_key<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<(Ref, Key), Raise> {
    let object = target(vm, call)?;
    let key = vm.to_key(vm.arg(call, 1))?;
    push_key(vm, key)?;
    Ok((object, key))
}

/// ECMA-262, CreateListFromArrayLike: the values lie on the stack, their number is
/// given.
fn push_list<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, list: Value<L>) -> Result<usize, Raise> {
    let Some(list) = list.as_object() else {
        return Err(vm.throw_type("the argument list is not an object"));
    };
    let length = vm.length_of(list)?;
    let mut index = 0.0;
    while index < length {
        let value = vm.get_index(list, index)?;
        vm.push(value)?;
        index += 1.0;
    }
    Ok(length as usize)
}

/// ECMA-262, Reflect.apply ( target, thisArgument, argumentsList ).
pub(super) fn apply<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let function = vm.arg(&call, 0);
    if !vm.is_callable(function) {
        return Err(vm.throw_type("the target is not a function"));
    }
    vm.push(function)?;
    vm.push(vm.arg(&call, 1))?;
    let argc = push_list(vm, vm.arg(&call, 2))?;
    vm.call_pushed(argc)
}

/// ECMA-262, Reflect.construct ( target, argumentsList [ , newTarget ] ).
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let constructor = vm.arg(&call, 0);
    let new_target = if call.argc() > 2 { vm.arg(&call, 2) } else { constructor };
    if !vm.is_constructor(constructor) || !vm.is_constructor(new_target) {
        return Err(vm.throw_type("the target is not a constructor"));
    }
    vm.push(constructor)?;
    vm.push(new_target)?;
    let argc = push_list(vm, vm.arg(&call, 1))?;
    vm.nested(argc, true)
}

/// ECMA-262, Reflect.defineProperty ( target, propertyKey, attributes ).
pub(super) fn define_property<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (object, key) = target_and_key(vm, &call)?;
    let wish = to_descriptor(vm, vm.arg(&call, 2))?;
    vm.define(object, key, &wish).map(Value::boolean)
}

/// ECMA-262, Reflect.deleteProperty ( target, propertyKey ).
pub(super) fn delete_property<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (object, key) = target_and_key(vm, &call)?;
    vm.delete(object, key).map(Value::boolean)
}

/// ECMA-262, Reflect.get ( target, propertyKey [ , receiver ] ).
pub(super) fn get<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (object, key) = target_and_key(vm, &call)?;
    let receiver = if call.argc() > 2 { vm.arg(&call, 2) } else { Value::object(object) };
    vm.get_from(object, key, receiver)
}

/// ECMA-262, Reflect.getOwnPropertyDescriptor ( target, propertyKey ).
pub(super) fn get_own_property_descriptor<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (object, key) = target_and_key(vm, &call)?;
    match vm.get_own(object, key)? {
        Some(own) => from_descriptor(vm, own),
        None => Ok(Value::undefined()),
    }
}

/// ECMA-262, Reflect.getPrototypeOf ( target ).
pub(super) fn get_prototype_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = target(vm, &call)?;
    prototype_of(vm, Value::object(object))
}

/// ECMA-262, Reflect.has ( target, propertyKey ).
pub(super) fn has<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (object, key) = target_and_key(vm, &call)?;
    vm.has_property(object, key).map(Value::boolean)
}

/// ECMA-262, Reflect.isExtensible ( target ).
pub(super) fn is_extensible<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = target(vm, &call)?;
    Ok(Value::boolean(vm.is_extensible(object)))
}

/// ECMA-262, Reflect.ownKeys ( target ).
pub(super) fn own_keys<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = target(vm, &call)?;
    vm.own_keys_and_symbols(object).map(Value::object)
}

/// ECMA-262, Reflect.preventExtensions ( target ).
pub(super) fn prevent_extensions<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = target(vm, &call)?;
    vm.prevent_extensions(object).map(Value::boolean)
}

/// ECMA-262, Reflect.set ( target, propertyKey, V [ , receiver ] ).
pub(super) fn set<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (object, key) = target_and_key(vm, &call)?;
    let receiver = if call.argc() > 3 { vm.arg(&call, 3) } else { Value::object(object) };
    vm.set_with(object, key, vm.arg(&call, 2), receiver).map(Value::boolean)
}

/// ECMA-262, Reflect.setPrototypeOf ( target, proto ).
pub(super) fn set_prototype_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = target(vm, &call)?;
    let prototype = prototype_argument(vm, vm.arg(&call, 1))?;
    vm.set_prototype(object, prototype).map(Value::boolean)
}
