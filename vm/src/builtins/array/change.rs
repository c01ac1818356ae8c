//! Changing an array where it is: splicing, filling, copying, reversing.

use super::{
    array_like, carry, create, is_free, present, read, relative, remove, set_length, this_object,
    write,
};
use crate::Host;
use crate::elements::Width;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::INDEX_LIMIT;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// ECMA-262, Array.prototype.splice ( start, deleteCount, ...items ).
pub(crate) fn splice<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let start = relative(vm, vm.arg(&call, 0), length, 0.0)?;
    let n_items = call.argc().saturating_sub(2);
    let n_deleted = match call.argc() {
        0 => 0.0,
        1 => length - start,
        _ => vm.to_integer(vm.arg(&call, 1))?.clamp(0.0, length - start),
    };
    super::ends::grown(vm, length - n_deleted, n_items)?;
    let deleted = array_like(vm, object, n_deleted, vm.width_like(object))?;
    for index in 0..n_deleted as u64 {
        let index = index as f64;
        if let Some(value) = present(vm, object, start + index)? {
            create(vm, deleted, index, value)?;
        }
    }
    set_length(vm, deleted, n_deleted)?;
    let total = length - n_deleted + n_items as f64;
    if is_free(vm, object)
        && f64::from(vm.array_len(object)) == length
        && total < f64::from(INDEX_LIMIT)
    {
        vm.spend(length as usize)?;
        let width = Width::of_all((0..n_items).map(|index| vm.arg(&call, 2 + index)));
        vm.open_gap(object, start as u32, [n_deleted as u32, n_items as u32], width)?;
    } else {
        shift_rest(vm, object, length, start, n_deleted, n_items as f64)?;
    }
    for index in 0..n_items {
        let value = vm.arg(&call, 2 + index);
        write(vm, object, start + index as f64, value)?;
    }
    set_length(vm, object, total)?;
    Ok(Value::object(deleted))
}

/// Moves what lies behind the deleted elements to where it stays.
fn shift_rest<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    length: f64,
    start: f64,
    n_deleted: f64,
    n_items: f64,
) -> Result<(), Raise> {
    if n_items < n_deleted {
        let mut index = start;
        while index < length - n_deleted {
            carry(vm, object, index + n_deleted, index + n_items)?;
            index += 1.0;
        }
        let mut index = length;
        while index > length - n_deleted + n_items {
            index -= 1.0;
            remove(vm, object, index)?;
        }
    } else if n_items > n_deleted {
        let mut index = length - n_deleted;
        while index > start {
            index -= 1.0;
            carry(vm, object, index + n_deleted, index + n_items)?;
        }
    }
    Ok(())
}

/// ECMA-262, Array.prototype.fill ( value [ , start [ , end ] ] ).
pub(crate) fn fill<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let mut index = relative(vm, vm.arg(&call, 1), length, 0.0)?;
    let end = relative(vm, vm.arg(&call, 2), length, length)?;
    let value = vm.arg(&call, 0);
    while index < end {
        write(vm, object, index, value)?;
        index += 1.0;
    }
    Ok(Value::object(object))
}

/// ECMA-262, Array.prototype.copyWithin ( target, start [ , end ] ).
pub(crate) fn copy_within<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let to = relative(vm, vm.arg(&call, 0), length, 0.0)?;
    let from = relative(vm, vm.arg(&call, 1), length, 0.0)?;
    let end = relative(vm, vm.arg(&call, 2), length, length)?;
    let count = (end - from).min(length - to);
    let backwards = from < to && to < from + count;
    let mut done = 0.0;
    while done < count {
        let step = if backwards { count - 1.0 - done } else { done };
        carry(vm, object, from + step, to + step)?;
        done += 1.0;
    }
    Ok(Value::object(object))
}

/// ECMA-262, Array.prototype.reverse ( ).
pub(crate) fn reverse<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let mut lower = 0.0;
    while lower < libm::floor(length / 2.0) {
        let upper = length - 1.0 - lower;
        let before = vm.heap.sp;
        let low = present(vm, object, lower)?;
        vm.push(low.unwrap_or(Value::undefined()))?;
        let high = present(vm, object, upper)?;
        vm.push(high.unwrap_or(Value::undefined()))?;
        match (low, high) {
            (Some(low), Some(high)) => {
                write(vm, object, lower, high)?;
                write(vm, object, upper, low)?;
            }
            (None, Some(high)) => {
                write(vm, object, lower, high)?;
                remove(vm, object, upper)?;
            }
            (Some(low), None) => {
                remove(vm, object, lower)?;
                write(vm, object, upper, low)?;
            }
            (None, None) => {}
        }
        vm.heap.sp = before;
        lower += 1.0;
    }
    Ok(Value::object(object))
}

/// ECMA-262, Array.prototype.at ( index ).
pub(crate) fn at<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let index = vm.to_integer(vm.arg(&call, 0))?;
    let index = if index < 0.0 { index + length } else { index };
    if index < 0.0 || index >= length {
        return Ok(Value::undefined());
    }
    read(vm, object, index)
}
