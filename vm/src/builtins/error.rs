//! The Error constructors and `Error.prototype` (ECMA-262, "Error Objects").

use super::Intrinsic;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Error ( message ) and NativeError ( message ): with or without `new`.
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let key = Key::name(names::PROTOTYPE);
    let mut prototype = match vm.foreign_target(&call) {
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
    let message = vm.arg(&call, 0);
    if !message.is_undefined() {
        let message = vm.to_text(message)?;
        vm.push(message)?;
        vm.add_property(error, Key::name(names::MESSAGE), message, attributes::HIDDEN)?;
    }
    install_cause(vm, error, vm.arg(&call, 1))?;
    Ok(Value::object(error))
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
