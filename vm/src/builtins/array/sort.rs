//! `sort` and `toSorted` of `Array.prototype`: a stable merge sort of a copy, as the
//! standard asks: what the comparator does to the array meanwhile has no effect on
//! the order.

use core::cmp::Ordering;

use super::{create, present, read, remove, this_object, write};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::number::with_text;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// ECMA-262, Array.prototype.sort ( comparator ).
pub(crate) fn sort<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let comparator = comparator(vm, &call)?;
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let (items, n_undefined) = collect(vm, object, length)?;
    merge_sort(vm, items, comparator)?;
    let mut index = 0.0;
    for at in 0..vm.array_len(items) {
        let value = vm.element(items, at).unwrap_or(Value::undefined());
        write(vm, object, index, value)?;
        index += 1.0;
    }
    for _ in 0..n_undefined {
        write(vm, object, index, Value::undefined())?;
        index += 1.0;
    }
    while index < length {
        remove(vm, object, index)?;
        index += 1.0;
    }
    Ok(Value::object(object))
}

/// ECMA-262, Array.prototype.toSorted ( comparator ): elements that are not there
/// are undefined in the copy.
pub(crate) fn to_sorted<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let comparator = comparator(vm, &call)?;
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let items = super::copy::new_array(vm, object, length)?;
    let (mut index, mut n_defined) = (0.0, 0.0);
    while index < length {
        let value = read(vm, object, index)?;
        if !value.is_undefined() {
            create(vm, items, n_defined, value)?;
            n_defined += 1.0;
        }
        index += 1.0;
    }
    merge_sort(vm, items, comparator)?;
    while n_defined < length {
        create(vm, items, n_defined, Value::undefined())?;
        n_defined += 1.0;
    }
    Ok(Value::object(items))
}

pub(in crate::builtins) fn comparator<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<Value<L>, Raise> {
    let comparator = vm.arg(call, 0);
    if !comparator.is_undefined() && !vm.is_callable(comparator) {
        return Err(vm.throw_type("the comparator is not a function"));
    }
    Ok(comparator)
}

/// ECMA-262, SortIndexedProperties, the elements that are there: those other than
/// undefined in an array of their own, rooted, and how many are undefined, which
/// come last whatever the comparator says.
fn collect<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    length: f64,
) -> Result<(Ref, u64), Raise> {
    let room = if super::has_elements(vm, object) { vm.array_room(object) } else { 0 };
    let items = vm.new_array_of(Class::Array, vm.width_like(object), room as usize)?;
    vm.push(Value::object(items))?;
    let mut n_undefined = 0;
    let mut index = 0.0;
    while index < length {
        match present(vm, object, index)? {
            Some(value) if value.is_undefined() => n_undefined += 1,
            Some(value) => {
                vm.push(value)?;
                vm.append(items, value)?;
                vm.pop();
            }
            None => {}
        }
        index += 1.0;
    }
    Ok((items, n_undefined))
}

/// Merges from the bottom up. Runs are cut evenly, so that the left one of a
/// pair, which is copied out, never has more than half of the elements.
pub(in crate::builtins) fn merge_sort<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    items: Ref,
    comparator: Value<L>,
) -> Result<(), Raise> {
    let count = u64::from(vm.array_len(items));
    if count < 2 {
        return Ok(());
    }
    let room = count.div_ceil(2) as usize;
    let scratch = vm.new_array_of(Class::Array, vm.width(items), room)?;
    vm.push(Value::object(scratch))?;
    let levels = u64::BITS - (count - 1).leading_zeros();
    for level in (1..=levels).rev() {
        let cut = |run: u64| ((run * count) >> level) as u32;
        for pair in 0..1u64 << (level - 1) {
            let (start, middle, end) = (cut(2 * pair), cut(2 * pair + 1), cut(2 * pair + 2));
            if start < middle && middle < end {
                merge(vm, items, scratch, [start, middle, end], comparator)?;
            }
        }
    }
    Ok(())
}

fn merge<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    items: Ref,
    scratch: Ref,
    [start, middle, end]: [u32; 3],
    comparator: Value<L>,
) -> Result<(), Raise> {
    let item = |vm: &Vm<'_, L, H>, array: Ref, at: u32| {
        vm.element(array, at).unwrap_or(Value::undefined())
    };
    // In order already: the usual case of sorted input costs one comparison.
    let (last, first) = (item(vm, items, middle - 1), item(vm, items, middle));
    if compare(vm, comparator, last, first)?.is_le() {
        return Ok(());
    }
    for at in start..middle {
        let value = item(vm, items, at);
        vm.put_element(scratch, at - start, value)?;
    }
    let (mut left, mut right, mut to) = (0, middle, start);
    while left < middle - start && right < end {
        let (a, b) = (item(vm, scratch, left), item(vm, items, right));
        let value = if compare(vm, comparator, a, b)?.is_le() {
            left += 1;
            a
        } else {
            right += 1;
            b
        };
        vm.set_element(items, to, value)?;
        to += 1;
    }
    while left < middle - start {
        let value = item(vm, scratch, left);
        vm.set_element(items, to, value)?;
        left += 1;
        to += 1;
    }
    Ok(())
}

/// ECMA-262, CompareArrayElements of two values that are not undefined. A value
/// that is being moved stays in one of the two arrays, so both are rooted.
fn compare<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    comparator: Value<L>,
    a: Value<L>,
    b: Value<L>,
) -> Result<Ordering, Raise> {
    vm.spend(1)?;
    let before = vm.heap.sp;
    if !comparator.is_undefined() {
        let order = vm.invoke(comparator, Value::undefined(), &[a, b])?;
        vm.push(order)?;
        let order = vm.to_number(order)?;
        vm.heap.sp = before;
        return Ok(order.partial_cmp(&0.0).unwrap_or(Ordering::Equal));
    }
    if let (Some(a), Some(b)) = (vm.as_number(a), vm.as_number(b)) {
        // As text, without making strings.
        let compare = |left: &str| with_text::<H, _>(b, |right| left.cmp(right));
        return Ok(with_text::<H, _>(a, compare));
    }
    let left = vm.to_text(a)?;
    vm.push(left)?;
    let right = vm.to_text(b)?;
    vm.push(right)?;
    vm.heap.sp = before;
    vm.spend_on_pair(left, right)?;
    match (vm.view(left), vm.view(right)) {
        (Some(left), Some(right)) => Ok(vm.compare_views(&left, &right)),
        _ => Err(Raise::internal("ToString gave no string")),
    }
}
