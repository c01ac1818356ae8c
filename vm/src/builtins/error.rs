//! The Error constructors and `Error.prototype` (ECMA-262, "Error Objects").

use super::Intrinsic;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Error ( message ) and NativeError ( message ): with or without `new`.
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    made(vm, &call, 0).map(Value::object)
}

/// ECMA-262, AggregateError ( errors, message [ , options ] ).
pub(super) fn construct_aggregate<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let error = made(vm, &call, 1)?;
    let list = vm.new_array(0)?;
    vm.push(Value::object(list))?;
    super::iterate(vm, vm.arg(&call, 0), |vm, value| vm.append(list, value))?;
    let key = Key::name(names::ERRORS);
    vm.add_property(error, key, Value::object(list), attributes::HIDDEN)?;
    Ok(Value::object(error))
}

/// An error with the message and the options at those arguments. It is rooted.
fn made<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    first: usize,
) -> Result<Ref, Raise> {
    let key = Key::name(names::PROTOTYPE);
    let mut prototype = match vm.foreign_target(call) {
        Some(target) => vm.get(target, key)?,
        None => Value::undefined(),
    };
    if prototype.is_object() {
        vm.push(prototype)?;
    } else {
        prototype = vm.get(call.callee, key)?;
    }
    let prototype = prototype.as_object().unwrap_or(Intrinsic::ErrorPrototype.reference());
    let error = vm.new_error(prototype)?;
    vm.push(Value::object(error))?;
    let message = vm.arg(call, first);
    if !message.is_undefined() {
        let message = vm.to_text(message)?;
        vm.push(message)?;
        vm.add_property(error, Key::name(names::MESSAGE), message, attributes::HIDDEN)?;
    }
    install_cause(vm, error, vm.arg(call, first + 1))?;
    Ok(error)
}

/// ECMA-262, Error.isError ( arg ).
pub(super) fn is_error<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = vm.arg(&call, 0).as_object();
    Ok(Value::boolean(object.is_some_and(|object| vm.class(object) == Class::Error)))
}

/// ECMA-262, InstallErrorCause ( O, options ).
fn install_cause<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    error: Ref,
    options: Value<L>,
) -> Result<(), Raise> {
    let Some(options) = options.as_object() else { return Ok(()) };
    let key = Key::name(names::CAUSE);
    if vm.has_property(options, key)? {
        let cause = vm.get(options, key)?;
        vm.push(cause)?;
        vm.add_property(error, key, cause, attributes::HIDDEN)?;
    }
    Ok(())
}

/// ECMA-262, Error.prototype.toString ( ).
pub(super) fn to_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let Some(object) = call.this.as_object() else {
        return Err(vm.throw_type("Error.prototype.toString needs an object"));
    };
    let name = vm.get(object, Key::name(names::NAME))?;
    let name = if name.is_undefined() { Value::name(names::ERROR) } else { vm.to_text(name)? };
    vm.push(name)?;
    let message = vm.get(object, Key::name(names::MESSAGE))?;
    let message =
        if message.is_undefined() { Value::name(names::EMPTY) } else { vm.to_text(message)? };
    vm.push(message)?;
    if vm.is_text(name, "") {
        return Ok(message);
    }
    if vm.is_text(message, "") {
        return Ok(name);
    }
    let mut builder = vm.text_builder()?;
    builder.push_value(vm, name)?;
    builder.push_str(vm, ": ")?;
    builder.push_value(vm, message)?;
    builder.finish(vm)
}
