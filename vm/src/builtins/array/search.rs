//! Looking for an element, and arrays as text.

use super::{is_plain, present, read, this_object};
use crate::Host;
use crate::builtins::{Intrinsic, method_of};
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::text::TextBuilder;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Array.prototype.includes ( searchElement [ , fromIndex ] ).
pub(crate) fn includes<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let mut index = start(vm, &call, length)?;
    let wanted = vm.arg(&call, 0);
    while index < length {
        let value = read(vm, object, index)?;
        if vm.same_value_zero(value, wanted) {
            return Ok(Value::boolean(true));
        }
        index += 1.0;
    }
    Ok(Value::boolean(false))
}

/// ECMA-262, Array.prototype.indexOf ( searchElement [ , fromIndex ] ).
pub(crate) fn index_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let mut index = start(vm, &call, length)?;
    let wanted = vm.arg(&call, 0);
    if is_plain(vm, object) {
        // Nothing behind the block: a plain array has no listed elements.
        let end = vm.array_room(object);
        vm.spend(end as usize)?;
        let found = (index as u32..end).find(|&at| {
            vm.element(object, at).is_some_and(|value| vm.strictly_equal(value, wanted))
        });
        return vm.number(found.map_or(-1.0, f64::from));
    }
    while index < length {
        if let Some(value) = present(vm, object, index)?
            && vm.strictly_equal(value, wanted)
        {
            return vm.number(index);
        }
        index += 1.0;
    }
    vm.number(-1.0)
}

/// ECMA-262, Array.prototype.lastIndexOf ( searchElement [ , fromIndex ] ).
pub(crate) fn last_index_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    if length == 0.0 {
        return vm.number(-1.0);
    }
    let from = if call.argc() > 1 { vm.to_integer(vm.arg(&call, 1))? } else { length - 1.0 };
    let mut index = if from < 0.0 { length + from } else { from.min(length - 1.0) };
    let wanted = vm.arg(&call, 0);
    while index >= 0.0 {
        if let Some(value) = present(vm, object, index)?
            && vm.strictly_equal(value, wanted)
        {
            return vm.number(index);
        }
        index -= 1.0;
    }
    vm.number(-1.0)
}

/// Where a search begins. With no elements, nothing is converted.
fn start<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    length: f64,
) -> Result<f64, Raise> {
    if length == 0.0 {
        return Ok(0.0);
    }
    super::relative(vm, vm.arg(call, 1), length, 0.0)
}

/// ECMA-262, Array.prototype.join ( separator ).
pub(crate) fn join<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    join_elements(vm, &call, object, length)
}

/// The same for an object and a length that are known: a typed array's, too.
pub(in crate::builtins) fn join_elements<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    object: Ref,
    length: f64,
) -> Result<Value<L>, Raise> {
    let separator = match vm.arg(call, 0) {
        value if value.is_undefined() => Value::unit(u16::from(b',')),
        value => vm.to_text(value)?,
    };
    vm.push(separator)?;
    joined(vm, object, length, separator, |vm, value| vm.to_text(value))
}

/// ECMA-262, Array.prototype.toLocaleString ( ), the separator a comma.
pub(crate) fn to_locale_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    join_locally(vm, object, length)
}

/// The same for an object and a length that are known.
pub(in crate::builtins) fn join_locally<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    length: f64,
) -> Result<Value<L>, Raise> {
    joined(vm, object, length, Value::unit(u16::from(b',')), |vm, value| {
        let method = vm.get_value(value, Key::name(names::TO_LOCALE_STRING))?;
        let text = vm.invoke(method, value, &[])?;
        vm.push(text)?;
        vm.to_text(text)
    })
}

/// The texts of the elements, a separator between; undefined and null have none.
fn joined<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    length: f64,
    separator: Value<L>,
    text_of: impl Fn(&mut Vm<'_, L, H>, Value<L>) -> Result<Value<L>, Raise>,
) -> Result<Value<L>, Raise> {
    if length == 1.0 {
        let value = read(vm, object, 0.0)?;
        if value.is_nullish() {
            return Ok(Value::name(names::EMPTY));
        }
        vm.push(value)?;
        return text_of(vm, value);
    }
    let mut result = vm.text_builder()?;
    let before = vm.heap.sp;
    let mut index = 0.0;
    while index < length {
        if index > 0.0 {
            result.push_value(vm, separator)?;
        }
        let value = read(vm, object, index)?;
        if !value.is_nullish() {
            vm.push(value)?;
            push_text(vm, &mut result, value, &text_of)?;
        }
        vm.heap.sp = before;
        index += 1.0;
    }
    result.finish(vm)
}

fn push_text<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    result: &mut TextBuilder,
    value: Value<L>,
    text_of: impl Fn(&mut Vm<'_, L, H>, Value<L>) -> Result<Value<L>, Raise>,
) -> Result<(), Raise> {
    let text = text_of(vm, value)?;
    vm.push(text)?;
    result.push_value(vm, text)
}

/// ECMA-262, Array.prototype.toString ( ).
pub(crate) fn to_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let join = vm.get(object, Key::name(names::JOIN))?;
    let function = match vm.is_callable(join) {
        true => join,
        false => method_of(Intrinsic::ObjectPrototype, names::TO_STRING),
    };
    vm.invoke(function, Value::object(object), &[])
}
