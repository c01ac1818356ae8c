//! `Boolean` and `Boolean.prototype` (ECMA-262, "Boolean Objects").

use super::Intrinsic;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Boolean ( value ): a primitive, or an object with `new`.
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let value = Value::boolean(vm.to_boolean(vm.arg(&call, 0)));
    if !call.constructs {
        return Ok(value);
    }
    let prototype = vm.prototype_for(&call, Intrinsic::BooleanPrototype)?;
    vm.new_wrapper(Class::Boolean, prototype, value).map(Value::object)
}

/// ECMA-262, Boolean.prototype.toString ( ).
pub(super) fn to_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let truth = this_boolean(vm, call.this)?;
    Ok(Value::name(if truth { names::TRUE } else { names::FALSE }))
}

/// ECMA-262, Boolean.prototype.valueOf ( ).
pub(super) fn value_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    this_boolean(vm, call.this).map(Value::boolean)
}

/// ECMA-262, ThisBooleanValue.
fn this_boolean<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, value: Value<L>) -> Result<bool, Raise> {
    let value = match value.as_object() {
        Some(object) if vm.class(object) == Class::Boolean => vm.internal_value(object),
        _ => value,
    };
    match value.as_boolean() {
        Some(truth) => Ok(truth),
        None => Err(vm.throw_type("the this value is not a Boolean")),
    }
}
