//! `Function` and `Function.prototype` (ECMA-262, "Function Objects").

use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Function ( … ): it would translate source text, which the machine
/// never sees.
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    _: Call<L>,
) -> Result<Value<L>, Raise> {
    vm.host_mut().note_unsupported("the Function constructor");
    Err(vm.throw_type("unsupported: the Function constructor"))
}

/// ECMA-262, Function.prototype.apply ( thisArg, argArray ).
pub(super) fn apply<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    require_function(vm, call.this)?;
    vm.push(call.this)?;
    vm.push(vm.arg(&call, 0))?;
    let list = vm.arg(&call, 1);
    if list.is_nullish() {
        return vm.call_pushed(0);
    }
    let Some(list) = list.as_object() else {
        return Err(vm.throw_type("the argument list is not an object"));
    };
    let length = vm.length_of(list)?;
    for index in 0..length as u64 {
        let value = vm.get_index(list, index as f64)?;
        vm.push(value)?;
    }
    vm.call_pushed(length as usize)
}

/// ECMA-262, Function.prototype.call ( thisArg, ...args ).
pub(super) fn call<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    require_function(vm, call.this)?;
    vm.push(call.this)?;
    vm.push(vm.arg(&call, 0))?;
    for index in 1..call.argc() {
        vm.push(vm.arg(&call, index))?;
    }
    vm.call_pushed(call.argc().saturating_sub(1))
}

/// ECMA-262, Function.prototype.bind ( thisArg, ...args ).
pub(super) fn bind<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let target = require_function(vm, call.this)?;
    let n_bound = call.argc().saturating_sub(1);
    let list = vm.allocate(Kind::Elements, 1 + (n_bound + 1).div_ceil(2))?;
    vm.heap.set_slot(list, 1, L::from_bits(n_bound as u64 + 1));
    for index in 0..=n_bound {
        let value = vm.arg(&call, index);
        vm.heap.set_value(list, 2 + index, value);
    }
    vm.push(Value::object(list))?;
    let bound = vm.allocate(Kind::Bound, 1)?;
    vm.heap.set_child(bound, 1, Ref::NONE);
    vm.heap.set_child(bound, 2, target);
    vm.heap.set_child(bound, 3, list);
    let value = Value::object(bound);
    vm.push(value)?;
    // One that is only inherited says nothing of the target.
    let length = match vm.get_own(target, Key::name(names::LENGTH))? {
        Some(_) => vm.get(target, Key::name(names::LENGTH))?,
        None => Value::undefined(),
    };
    let length = if length.is_number() { vm.to_integer(length)? - n_bound as f64 } else { 0.0 };
    let length = vm.number(length.max(0.0))?;
    vm.push(length)?;
    vm.add_property(bound, Key::name(names::LENGTH), length, attributes::CONFIGURABLE)?;
    let name = vm.get(target, Key::name(names::NAME))?;
    let name = if name.is_string() { name } else { Value::name(names::EMPTY) };
    vm.push(name)?;
    let mut builder = vm.text_builder()?;
    builder.push_str(vm, "bound ")?;
    builder.push_value(vm, name)?;
    let name = builder.finish(vm)?;
    vm.add_property(bound, Key::name(names::NAME), name, attributes::CONFIGURABLE)?;
    Ok(value)
}

/// ECMA-262, Function.prototype.toString ( ): the machine has no source text, so
/// every function shows as a native one.
pub(super) fn to_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let function = require_function(vm, call.this)?;
    let name = vm.get(function, Key::name(names::NAME))?;
    vm.push(name)?;
    let mut builder = vm.text_builder()?;
    builder.push_str(vm, "function ")?;
    builder.push_value(vm, name)?;
    builder.push_str(vm, "() { [native code] }")?;
    builder.finish(vm)
}

fn require_function<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<Ref, Raise> {
    match value.as_object() {
        Some(function) if vm.is_callable(value) => Ok(function),
        _ => Err(vm.throw_type("the this value is not a function")),
    }
}

/// ECMA-262, Function.prototype [ %Symbol.hasInstance% ] ( V ).
pub(super) fn has_instance<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    vm.has_instance(vm.arg(&call, 0), call.this).map(Value::boolean)
}
