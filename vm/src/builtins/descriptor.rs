//! The functions of `Object` that read and write property descriptors
//! (ECMA-262, "The Property Descriptor Specification Type").

use super::Intrinsic;
use super::object::{key_at, push_keys, push_object};
use crate::Host;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::object::Own;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::{NameId, names};

/// ECMA-262, Object.defineProperty ( O, P, Attributes ).
pub(super) fn define_property<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let target = vm.arg(&call, 0);
    let object = require_object(vm, target)?;
    let key = vm.to_key(vm.arg(&call, 1))?;
    push_key(vm, key)?;
    let wish = to_descriptor(vm, vm.arg(&call, 2))?;
    define_or_throw(vm, object, key, &wish)?;
    Ok(target)
}

/// ECMA-262, Object.defineProperties ( O, Properties ).
pub(super) fn define_properties<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let target = vm.arg(&call, 0);
    let object = require_object(vm, target)?;
    define_all(vm, object, vm.arg(&call, 1))?;
    Ok(target)
}

/// Slots that a wish takes on the stack until all are read: its key, the object
/// it was read from, value, getter, setter, and what it says besides.
const WISH: usize = 6;

/// ECMA-262, ObjectDefineProperties: all descriptors are read before the first
/// property is defined.
pub(super) fn define_all<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    properties: Value<L>,
) -> Result<(), Raise> {
    let properties = push_object(vm, properties)?;
    let keys = push_keys(vm, properties)?;
    let first = vm.heap.sp;
    for index in 0..vm.array_len(keys) {
        let Some((key, text)) = key_at(vm, keys, index)? else { continue };
        let listed = vm.get_own(properties, key)?;
        if !listed.is_some_and(|own| own.is(attributes::ENUMERABLE)) {
            continue;
        }
        vm.push(text)?;
        let described = vm.get(properties, key)?;
        vm.push(described)?;
        let wish = to_descriptor(vm, described)?;
        vm.push(Value::small(pack(&wish)))?;
    }
    let mut top = first;
    while top > vm.heap.sp {
        let key = vm.to_key(vm.heap.mem_value(top - 1))?;
        let kept = [3, 4, 5].map(|depth| vm.heap.mem_value(top - depth));
        let wish = unpack(vm.heap.mem_value(top - WISH), kept);
        define_or_throw(vm, object, key, &wish)?;
        top -= WISH;
    }
    Ok(())
}

/// What a descriptor says besides its values, two bits a field: whether the
/// field is there, and which truth value it has.
fn pack<L: Layout>(wish: &Descriptor<L>) -> i32 {
    let flags = [
        wish.writable,
        wish.enumerable,
        wish.configurable,
        wish.value.map(|_| true),
        wish.getter.map(|_| true),
        wish.setter.map(|_| true),
    ];
    flags.iter().fold(0, |bits, flag| bits << 2 | flag.map_or(0, |truth| 2 | i32::from(truth)))
}

fn unpack<L: Layout>(packed: Value<L>, kept: [Value<L>; 3]) -> Descriptor<L> {
    let bits = packed.as_int().unwrap_or(0);
    let flag = |place: i32| {
        let two = bits >> (2 * place) & 3;
        (two & 2 != 0).then_some(two & 1 != 0)
    };
    let [value, getter, setter] = kept;
    let function = |value: Value<L>| value.as_object().unwrap_or(Ref::NONE);
    Descriptor {
        writable: flag(5),
        enumerable: flag(4),
        configurable: flag(3),
        value: flag(2).map(|_| value),
        getter: flag(1).map(|_| function(getter)),
        setter: flag(0).map(|_| function(setter)),
    }
}

/// ECMA-262, ToPropertyDescriptor. Three slots on the stack keep its values; the
/// object it is read from is rooted by the caller.
pub(super) fn to_descriptor<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<Descriptor<L>, Raise> {
    let Some(object) = value.as_object() else {
        return Err(vm.throw_type("a property descriptor is an object"));
    };
    let enumerable = truth(vm, object, names::ENUMERABLE)?;
    let configurable = truth(vm, object, names::CONFIGURABLE)?;
    let value = push_field(vm, object, names::VALUE)?;
    let writable = truth(vm, object, names::WRITABLE)?;
    let getter = push_function(vm, object, names::GET)?;
    let setter = push_function(vm, object, names::SET)?;
    let wish = Descriptor { value, getter, setter, writable, enumerable, configurable };
    if wish.is_accessor() && wish.is_data() {
        return Err(vm.throw_type("a property has a value or accessors, not both"));
    }
    Ok(wish)
}

fn field<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    name: NameId,
) -> Result<Option<Value<L>>, Raise> {
    let key = Key::name(name);
    if !vm.has_property(object, key)? {
        return Ok(None);
    }
    vm.get(object, key).map(Some)
}

fn truth<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    name: NameId,
) -> Result<Option<bool>, Raise> {
    let value = field(vm, object, name)?;
    Ok(value.map(|value| vm.to_boolean(value)))
}

fn push_field<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    name: NameId,
) -> Result<Option<Value<L>>, Raise> {
    let value = field(vm, object, name)?;
    vm.push(value.unwrap_or(Value::undefined()))?;
    Ok(value)
}

fn push_function<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    name: NameId,
) -> Result<Option<Ref>, Raise> {
    match push_field(vm, object, name)? {
        None => Ok(None),
        Some(value) if value.is_undefined() => Ok(Some(Ref::NONE)),
        Some(value) => match value.as_object().filter(|_| vm.is_callable(value)) {
            Some(function) => Ok(Some(function)),
            None => Err(vm.throw_type("an accessor is a function or undefined")),
        },
    }
}

/// ECMA-262, DefinePropertyOrThrow.
fn define_or_throw<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    key: Key,
    wish: &Descriptor<L>,
) -> Result<(), Raise> {
    if vm.define(object, key, wish)? { Ok(()) } else { Err(vm.throw_not_definable(key)) }
}

/// ECMA-262, Object.getOwnPropertyDescriptor ( O, P ).
pub(super) fn get_own_property_descriptor<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = push_object(vm, vm.arg(&call, 0))?;
    let key = vm.to_key(vm.arg(&call, 1))?;
    match vm.get_own(object, key)? {
        Some(own) => from_descriptor(vm, own),
        None => Ok(Value::undefined()),
    }
}

/// ECMA-262, Object.getOwnPropertyDescriptors ( O ).
pub(super) fn get_own_property_descriptors<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = push_object(vm, vm.arg(&call, 0))?;
    let keys = push_keys(vm, object)?;
    let list = vm.new_object(Intrinsic::ObjectPrototype.reference(), 0)?;
    vm.push(Value::object(list))?;
    for index in 0..vm.array_len(keys) {
        let Some((key, _)) = key_at(vm, keys, index)? else { continue };
        let Some(own) = vm.get_own(object, key)? else { continue };
        let described = from_descriptor(vm, own)?;
        vm.push(described)?;
        vm.add_property(list, key, described, attributes::ALL)?;
        vm.pop();
    }
    Ok(Value::object(list))
}

/// ECMA-262, FromPropertyDescriptor. The result is not rooted.
pub(super) fn from_descriptor<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    own: Own<L>,
) -> Result<Value<L>, Raise> {
    let mark = vm.heap.sp;
    let function = |function: Ref| match function.is_none() {
        true => Value::undefined(),
        false => Value::object(function),
    };
    let truth = |bit| Value::boolean(own.is(bit));
    let parts = match own {
        Own::Data { value, .. } => {
            [(names::VALUE, value), (names::WRITABLE, truth(attributes::WRITABLE))]
        }
        Own::Accessor { getter, setter, .. } => {
            [(names::GET, function(getter)), (names::SET, function(setter))]
        }
    };
    for (_, value) in parts {
        vm.push(value)?;
    }
    let object = vm.new_object(Intrinsic::ObjectPrototype.reference(), 4)?;
    vm.push(Value::object(object))?;
    let both = [
        (names::ENUMERABLE, truth(attributes::ENUMERABLE)),
        (names::CONFIGURABLE, truth(attributes::CONFIGURABLE)),
    ];
    for (name, value) in parts.into_iter().chain(both) {
        vm.add_property(object, Key::name(name), value, attributes::ALL)?;
    }
    vm.heap.sp = mark;
    Ok(Value::object(object))
}

fn require_object<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<Ref, Raise> {
    match value.as_object() {
        Some(object) => Ok(object),
        None => Err(vm.throw_type("properties can only be defined on an object")),
    }
}

/// Keeps the string of a key while scripts may run and make other keys.
pub(super) fn push_key<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, key: Key) -> Result<(), Raise> {
    if key.as_index().is_none() {
        let text = vm.key_text(key)?;
        vm.push(text)?;
    }
    Ok(())
}
