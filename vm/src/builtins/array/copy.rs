//! Changed copies: what the methods of `change.rs` and `sort.rs` do, done to a new
//! array. Elements that are not there are undefined in it, and it is a plain array
//! whatever the original is: the clauses ask for no species.

use super::{array_of_length, create, read, relative, this_object};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// ECMA-262, Array.prototype.toReversed ( ).
pub(crate) fn to_reversed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let result = new_array(vm, object, length)?;
    let mut index = 0.0;
    while index < length {
        let value = read(vm, object, length - 1.0 - index)?;
        create(vm, result, index, value)?;
        index += 1.0;
    }
    Ok(Value::object(result))
}

/// ECMA-262, Array.prototype.toSpliced ( start, skipCount, ...items ).
pub(crate) fn to_spliced<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let start = relative(vm, vm.arg(&call, 0), length, 0.0)?;
    let n_items = call.argc().saturating_sub(2);
    let n_skipped = match call.argc() {
        0 => 0.0,
        1 => length - start,
        _ => vm.to_integer(vm.arg(&call, 1))?.clamp(0.0, length - start),
    };
    super::ends::grown(vm, length - n_skipped, n_items)?;
    let result = new_array(vm, object, length - n_skipped + n_items as f64)?;
    copy_part(vm, object, [0.0, start], result, 0.0)?;
    for index in 0..n_items {
        let value = vm.arg(&call, 2 + index);
        create(vm, result, start + index as f64, value)?;
    }
    copy_part(vm, object, [start + n_skipped, length], result, start + n_items as f64)?;
    Ok(Value::object(result))
}

/// ECMA-262, Array.prototype.with ( index, value ).
pub(crate) fn with<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let index = vm.to_integer(vm.arg(&call, 0))?;
    let index = if index < 0.0 { index + length } else { index };
    if index < 0.0 || index >= length {
        return Err(vm.throw_range("the array has no such index"));
    }
    let result = new_array(vm, object, length)?;
    copy_part(vm, object, [0.0, index], result, 0.0)?;
    let value = vm.arg(&call, 1);
    create(vm, result, index, value)?;
    copy_part(vm, object, [index + 1.0, length], result, index + 1.0)?;
    Ok(Value::object(result))
}

/// ECMA-262, ArrayCreate, of an array that is about to be filled from its start, with
/// what is in the original for the most part.
/// It is rooted.
pub(super) fn new_array<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    original: Ref,
    length: f64,
) -> Result<Ref, Raise> {
    let width = vm.width_like(original);
    let checked = if length > f64::from(u32::MAX) { length } else { 0.0 };
    let array = array_of_length(vm, checked, 0, width)?;
    vm.reserve_if_room(array, width, length.min(4096.0) as usize);
    Ok(array)
}

fn copy_part<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    [from, end]: [f64; 2],
    result: Ref,
    to: f64,
) -> Result<(), Raise> {
    let mut index = from;
    while index < end {
        let value = read(vm, object, index)?;
        create(vm, result, to + (index - from), value)?;
        index += 1.0;
    }
    Ok(())
}
