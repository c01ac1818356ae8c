//! `JSON` (ECMA-262, "The JSON Object").
//!
//! Nothing here calls itself: what is open while a text is read, revived or
//! written lies on the machine's stack, so nesting costs no stack of the host
//! program and ends where the machine's own ends.

mod read;
mod revive;
mod source;
mod write;

use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, JSON.parse ( text [ , reviver ] ).
pub(super) fn parse<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let text = vm.to_text(vm.arg(&call, 0))?;
    vm.push(text)?;
    let value = read::read(vm, text)?;
    let reviver = vm.arg(&call, 1);
    if !vm.is_callable(reviver) {
        return Ok(value);
    }
    vm.push(value)?;
    revive::revive(vm, value, text, reviver)
}

/// ECMA-262, JSON.rawJSON ( text ).
pub(super) fn raw_json<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let text = vm.to_text(vm.arg(&call, 0))?;
    vm.push(text)?;
    let Some(view) = vm.view(text) else { return Err(Raise::internal("no text")) };
    let ends =
        if view.len() == 0 { [0x20; 2] } else { [0, view.len() - 1].map(|at| vm.unit(&view, at)) };
    let plain = !ends.iter().any(|unit| matches!(unit, 0x09 | 0x0a | 0x0d | 0x20 | 0x5b | 0x7b));
    if !plain {
        return Err(vm.throw_syntax("not the JSON text of a primitive value"));
    }
    read::read(vm, text)?;
    let object = vm.new_exotic(Class::RawJson, Ref::NONE, 1)?;
    vm.push(Value::object(object))?;
    vm.add_property(object, Key::name(names::RAW_JSON), text, attributes::ALL)?;
    super::freeze_value(vm, Value::object(object))
}

/// ECMA-262, JSON.isRawJSON ( O ).
pub(super) fn is_raw_json<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = vm.arg(&call, 0).as_object();
    Ok(Value::boolean(object.is_some_and(|object| vm.class(object) == Class::RawJson)))
}

/// ECMA-262, JSON.stringify ( value [ , replacer [ , space ] ] ).
pub(super) fn stringify<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    write::write(vm, vm.arg(&call, 0), vm.arg(&call, 1), vm.arg(&call, 2))
}
