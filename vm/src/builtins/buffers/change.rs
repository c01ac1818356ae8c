//! Methods that change a typed array where it is (ECMA-262, "Properties of the
//! %TypedArray% Prototype Object").

use core::cmp::Ordering;

use super::typed::{copy_elements, fill_from, this_typed};
use super::{relative, validated};
use crate::Host;
use crate::builtins::array::sort::{comparator, merge_sort};
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// ECMA-262, %TypedArray%.prototype.fill ( value [ , start [ , end ] ] ).
pub(crate) fn fill<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    let number = vm.to_number(vm.arg(&call, 0))?;
    let start = relative(vm, vm.arg(&call, 1), length, 0.0)?;
    let end = relative(vm, vm.arg(&call, 2), length, length)?;
    let (_, length) = validated(vm, call.this)?;
    let end = end.min(length);
    vm.spend((end - start).max(0.0) as usize)?;
    for index in start as usize..end as usize {
        vm.set_typed_element(view, index, number);
    }
    Ok(call.this)
}

/// ECMA-262, %TypedArray%.prototype.copyWithin ( target, start [ , end ] ).
pub(crate) fn copy_within<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    let to = relative(vm, vm.arg(&call, 0), length, 0.0)?;
    let from = relative(vm, vm.arg(&call, 1), length, 0.0)?;
    let end = relative(vm, vm.arg(&call, 2), length, length)?;
    let count = (end - from).min(length - to);
    if count <= 0.0 {
        return Ok(call.this);
    }
    let (_, length) = validated(vm, call.this)?;
    let count = count.min(length - from).min(length - to);
    if count > 0.0 {
        let (offset, size) = (vm.view_offset(view), vm.element_type(view).size());
        let block = vm.buffer_block(vm.view_buffer(view));
        let places = [from, to].map(|place| offset + place as usize * size);
        vm.copy_bytes([block; 2], places, count as usize * size)?;
    }
    Ok(call.this)
}

/// ECMA-262, %TypedArray%.prototype.reverse ( ).
pub(crate) fn reverse<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    let length = length as usize;
    vm.spend(length)?;
    for lower in 0..length / 2 {
        swap(vm, view, lower, length - 1 - lower);
    }
    Ok(call.this)
}

fn swap<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, view: Ref, a: usize, b: usize) {
    if let (Some(left), Some(right)) = (vm.typed_element(view, a), vm.typed_element(view, b)) {
        vm.set_typed_element(view, a, right);
        vm.set_typed_element(view, b, left);
    }
}

/// ECMA-262, %TypedArray%.prototype.set ( source [ , offset ] ).
pub(crate) fn set<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_typed(vm, &call)?;
    let offset = vm.to_integer(vm.arg(&call, 1))?;
    if offset < 0.0 {
        return Err(vm.throw_range("a place before the array's first"));
    }
    let (_, room) = validated(vm, call.this)?;
    let source = vm.arg(&call, 0);
    let typed = vm.as_typed(source);
    let (source, length) = match typed {
        Some(_) => validated(vm, source)?,
        None => {
            let object = vm.to_object(source)?;
            vm.push(Value::object(object))?;
            (object, vm.length_of(object)?)
        }
    };
    if length + offset > room {
        return Err(vm.throw_range("the values go beyond the array"));
    }
    if typed.is_none() {
        fill_from(vm, view, source, length, offset)?;
        return Ok(Value::undefined());
    }
    let mut from = source;
    let same_buffer = vm.view_buffer(source) == vm.view_buffer(view);
    if same_buffer && vm.element_type(source) != vm.element_type(view) {
        // Elements of another size would be written over before they are read.
        from = super::typed::new_typed(vm, vm.element_type(source), length)?;
        copy_elements(vm, source, from, length as usize, 0)?;
    }
    copy_elements(vm, from, view, length as usize, offset as usize)?;
    Ok(Value::undefined())
}

/// ECMA-262, %TypedArray%.prototype.sort ( comparator ).
pub(crate) fn sort<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let comparator = comparator(vm, &call)?;
    let (view, length) = validated(vm, call.this)?;
    sort_elements(vm, view, length as usize, comparator)?;
    Ok(call.this)
}

/// Without a comparator, numbers are sorted where they lie: equal ones cannot be told
/// apart, so a heap sort does, and takes no memory. A comparator is handed values that
/// lie in an array meanwhile.
pub(super) fn sort_elements<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    view: Ref,
    length: usize,
    comparator: Value<L>,
) -> Result<(), Raise> {
    if comparator.is_undefined() {
        return sort_numbers(vm, view, length);
    }
    let items = vm.new_array(length)?;
    vm.push(Value::object(items))?;
    for index in 0..length {
        let value = vm.typed_value(view, index as f64)?;
        vm.push(value)?;
        vm.append(items, value)?;
        vm.pop();
    }
    merge_sort(vm, items, comparator)?;
    for index in 0..length {
        let value = vm.element(items, index as u32).unwrap_or(Value::undefined());
        let number = vm.as_number(value).unwrap_or(f64::NAN);
        vm.set_typed_element(view, index, number);
    }
    Ok(())
}

fn sort_numbers<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    view: Ref,
    length: usize,
) -> Result<(), Raise> {
    for top in (0..length / 2).rev() {
        sink(vm, view, top, length)?;
    }
    for end in (1..length).rev() {
        swap(vm, view, 0, end);
        sink(vm, view, 0, end)?;
    }
    Ok(())
}

/// Restores the order of a heap whose element at `top` may be smaller than those
/// below it.
fn sink<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    view: Ref,
    top: usize,
    length: usize,
) -> Result<(), Raise> {
    let mut parent = top;
    loop {
        vm.spend(1)?;
        let mut child = 2 * parent + 1;
        if child >= length {
            return Ok(());
        }
        if child + 1 < length && order(vm, view, child, child + 1).is_lt() {
            child += 1;
        }
        if order(vm, view, parent, child).is_ge() {
            return Ok(());
        }
        swap(vm, view, parent, child);
        parent = child;
    }
}

/// ECMA-262, CompareTypedArrayElements: NaN comes last, and -0 before +0.
fn order<L: Layout, H: Host>(vm: &Vm<'_, L, H>, view: Ref, a: usize, b: usize) -> Ordering {
    let number = |at| vm.typed_element(view, at).unwrap_or(f64::NAN);
    let (left, right) = (number(a), number(b));
    match (left.is_nan(), right.is_nan()) {
        (false, false) => left.total_cmp(&right),
        (left, right) => left.cmp(&right),
    }
}

/// ECMA-262, %TypedArray%.prototype.subarray ( start, end ).
pub(crate) fn subarray<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_typed(vm, &call)?;
    let length = vm.view_len(view).unwrap_or(0) as f64;
    let start = relative(vm, vm.arg(&call, 0), length, 0.0)?;
    let end = vm.arg(&call, 1);
    let follows = vm.follows_buffer(view) && end.is_undefined();
    let end = relative(vm, end, length, length)?;
    let constructor = super::typed::species_of(vm, view)?;
    let buffer = Value::object(vm.view_buffer(view));
    let offset = vm.view_offset(view) as f64 + start * vm.element_type(view).size() as f64;
    let offset = vm.number(offset)?;
    let count = vm.number((end - start).max(0.0))?;
    let args = [buffer, offset, count];
    let args = if follows { &args[..2] } else { &args };
    let (result, _) = super::typed::create_with(vm, constructor, args)?;
    Ok(Value::object(result))
}
