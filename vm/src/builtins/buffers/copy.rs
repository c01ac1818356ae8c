//! Methods that give a new typed array of the elements of one (ECMA-262, "Properties
//! of the %TypedArray% Prototype Object").

use super::change::sort_elements;
use super::typed::{create, new_typed, put, species_of};
use super::{relative, validated};
use crate::Host;
use crate::builtins::array::sort::comparator;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, %TypedArray%.prototype.slice ( start, end ).
pub(crate) fn slice<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    let start = relative(vm, vm.arg(&call, 0), length, 0.0)?;
    let end = relative(vm, vm.arg(&call, 1), length, length)?;
    let count = (end - start).max(0.0);
    let constructor = species_of(vm, view)?;
    let result = create(vm, constructor, count)?;
    if count == 0.0 {
        return Ok(Value::object(result));
    }
    let (_, length) = validated(vm, call.this)?;
    let count = (end.min(length) - start).max(0.0) as usize;
    let element = vm.element_type(view);
    vm.spend(count)?;
    if element == vm.element_type(result) {
        // Byte by byte from the first on, even where both share a buffer.
        let [from, to] = [view, result].map(|view| vm.buffer_block(vm.view_buffer(view)));
        let at = vm.view_offset(view) + start as usize * element.size();
        let target = vm.view_offset(result);
        let room = vm.view_len(result).unwrap_or(0).min(count) * element.size();
        for byte in 0..room {
            let bits = vm.read_bits(from, at + byte, 1);
            vm.write_bits(to, target + byte, 1, bits);
        }
        return Ok(Value::object(result));
    }
    for index in 0..count {
        let value = vm.typed_value(view, start + index as f64)?;
        put(vm, result, index as f64, value)?;
    }
    Ok(Value::object(result))
}

/// ECMA-262, %TypedArray%.prototype.toReversed ( ).
pub(crate) fn to_reversed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    let result = new_typed(vm, vm.element_type(view), length)?;
    vm.spend(length as usize)?;
    for index in 0..length as usize {
        let number = vm.typed_element(view, length as usize - 1 - index).unwrap_or(f64::NAN);
        vm.set_typed_element(result, index, number);
    }
    Ok(Value::object(result))
}

/// ECMA-262, %TypedArray%.prototype.toSorted ( comparator ).
pub(crate) fn to_sorted<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let comparator = comparator(vm, &call)?;
    let (view, length) = validated(vm, call.this)?;
    let result = new_typed(vm, vm.element_type(view), length)?;
    super::typed::copy_elements(vm, view, result, length as usize, 0)?;
    sort_elements(vm, result, length as usize, comparator)?;
    Ok(Value::object(result))
}

/// ECMA-262, %TypedArray%.prototype.with ( index, value ).
pub(crate) fn with<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    let index = vm.to_integer(vm.arg(&call, 0))?;
    let index = if index < 0.0 { index + length } else { index };
    let number = vm.to_number(vm.arg(&call, 1))?;
    let there = vm.view_len(view).is_some_and(|len| index >= 0.0 && index < len as f64);
    if !there {
        return Err(vm.throw_range("the array has no such index"));
    }
    let result = new_typed(vm, vm.element_type(view), length)?;
    vm.spend(length as usize)?;
    for at in 0..length as usize {
        let own = vm.typed_element(view, at).unwrap_or(f64::NAN);
        vm.set_typed_element(result, at, if at == index as usize { number } else { own });
    }
    Ok(Value::object(result))
}
