//! Adding and taking at the ends of an array.

use super::{LONGEST, carry, is_free, read, remove, set_length, this_object, write};
use crate::Host;
use crate::elements::Width;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, Array.prototype.push ( ...items ).
pub(crate) fn push<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    if is_free(vm, object) {
        for index in 0..call.argc() {
            let value = vm.arg(&call, index);
            vm.append(object, value)?;
        }
        let length = vm.array_len(object);
        return vm.number(f64::from(length));
    }
    let length = vm.length_of(object)?;
    let total = grown(vm, length, call.argc())?;
    for index in 0..call.argc() {
        let value = vm.arg(&call, index);
        write(vm, object, length + index as f64, value)?;
    }
    set_length(vm, object, total)?;
    vm.number(total)
}

/// ECMA-262, Array.prototype.pop ( ).
pub(crate) fn pop<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    if length == 0.0 {
        set_length(vm, object, 0.0)?;
        return Ok(Value::undefined());
    }
    let value = read(vm, object, length - 1.0)?;
    vm.push(value)?;
    if is_free(vm, object) {
        vm.set_array_len(object, length as u32 - 1)?;
        return Ok(value);
    }
    remove(vm, object, length - 1.0)?;
    set_length(vm, object, length - 1.0)?;
    Ok(value)
}

/// ECMA-262, Array.prototype.shift ( ).
pub(crate) fn shift<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    if length == 0.0 {
        set_length(vm, object, 0.0)?;
        return Ok(Value::undefined());
    }
    let first = read(vm, object, 0.0)?;
    vm.push(first)?;
    if is_free(vm, object) {
        vm.spend(length as usize)?;
        vm.move_elements(object, 1, 0, length as u32 - 1);
        vm.set_array_len(object, length as u32 - 1)?;
        return Ok(first);
    }
    let mut index = 1.0;
    while index < length {
        carry(vm, object, index, index - 1.0)?;
        index += 1.0;
    }
    remove(vm, object, length - 1.0)?;
    set_length(vm, object, length - 1.0)?;
    Ok(first)
}

/// ECMA-262, Array.prototype.unshift ( ...items ).
pub(crate) fn unshift<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let count = call.argc();
    let total = grown(vm, length, count)?;
    if count > 0 && is_free(vm, object) && total < f64::from(crate::keys::INDEX_LIMIT) {
        vm.spend(total as usize)?;
        let width = Width::of_all((0..count).map(|index| vm.arg(&call, index)));
        vm.open_gap(object, 0, [0, count as u32], width)?;
    } else if count > 0 {
        let mut index = length;
        while index > 0.0 {
            index -= 1.0;
            carry(vm, object, index, index + count as f64)?;
        }
    }
    for index in 0..count {
        let value = vm.arg(&call, index);
        write(vm, object, index as f64, value)?;
    }
    set_length(vm, object, total)?;
    vm.number(total)
}

/// The length with that many more elements.
pub(super) fn grown<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    length: f64,
    count: usize,
) -> Result<f64, Raise> {
    let total = length + count as f64;
    if total > LONGEST {
        return Err(vm.throw_type("an array-like cannot grow that long"));
    }
    Ok(total)
}
