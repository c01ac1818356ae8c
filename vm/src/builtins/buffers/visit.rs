//! Methods of typed arrays that go through the elements: calling a function for each,
//! and searching (ECMA-262, "Properties of the %TypedArray% Prototype Object").
//!
//! They differ from those of arrays in that every index below the length is gone
//! through, whatever a function called on the way did to the buffer.

use super::typed::{create, put, species_of};
use super::{callback, relative, validated};
use crate::Host;
use crate::builtins::array;
use crate::builtins::iterators::{self, ENTRIES, KEYS, VALUES};
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// What a method goes through, and the function it calls.
struct Walk<L: Layout> {
    view: Ref,
    length: f64,
    function: Value<L>,
    this: Value<L>,
}

impl<L: Layout> Walk<L> {
    fn begin<H: Host>(vm: &mut Vm<'_, L, H>, call: &Call<L>) -> Result<Self, Raise> {
        let (view, length) = validated(vm, call.this)?;
        let function = callback(vm, call, 0)?;
        Ok(Walk { view, length, function, this: vm.arg(call, 1) })
    }

    /// Calls the function for each element, from either end, and hands index, element
    /// and answer on, both rooted, until it is told to stop.
    fn each<H: Host>(
        &self,
        vm: &mut Vm<'_, L, H>,
        backwards: bool,
        mut take: impl FnMut(&mut Vm<'_, L, H>, f64, Value<L>, Value<L>) -> Result<bool, Raise>,
    ) -> Result<(), Raise> {
        let mark = vm.heap.sp;
        let mut step = 0.0;
        while step < self.length {
            vm.spend(1)?;
            let index = if backwards { self.length - 1.0 - step } else { step };
            let value = vm.typed_value(self.view, index)?;
            vm.push(value)?;
            let at = vm.number(index)?;
            let view = Value::object(self.view);
            let answer = vm.invoke(self.function, self.this, &[value, at, view])?;
            vm.push(answer)?;
            if !take(vm, index, value, answer)? {
                return Ok(());
            }
            vm.heap.sp = mark;
            step += 1.0;
        }
        Ok(())
    }

    /// The first element, from either end, that the function accepts or refuses.
    fn find<H: Host>(
        &self,
        vm: &mut Vm<'_, L, H>,
        backwards: bool,
        wanted: bool,
    ) -> Result<Option<(f64, Value<L>)>, Raise> {
        let mut found = None;
        self.each(vm, backwards, |vm, index, value, answer| {
            if vm.to_boolean(answer) == wanted {
                found = Some((index, value));
            }
            Ok(found.is_none())
        })?;
        Ok(found)
    }
}

/// ECMA-262, %TypedArray%.prototype.every ( callback [ , thisArg ] ).
pub(crate) fn every<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, &call)?;
    let refused = walk.find(vm, false, false)?;
    Ok(Value::boolean(refused.is_none()))
}

/// ECMA-262, %TypedArray%.prototype.some ( callback [ , thisArg ] ).
pub(crate) fn some<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, &call)?;
    let accepted = walk.find(vm, false, true)?;
    Ok(Value::boolean(accepted.is_some()))
}

/// ECMA-262, %TypedArray%.prototype.forEach ( callback [ , thisArg ] ).
pub(crate) fn for_each<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, &call)?;
    walk.each(vm, false, |_, _, _, _| Ok(true))?;
    Ok(Value::undefined())
}

/// ECMA-262, %TypedArray%.prototype.find ( predicate [ , thisArg ] ).
pub(crate) fn find<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    found_value(vm, &call, false)
}

/// ECMA-262, %TypedArray%.prototype.findLast ( predicate [ , thisArg ] ).
pub(crate) fn find_last<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    found_value(vm, &call, true)
}

fn found_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    backwards: bool,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, call)?;
    let found = walk.find(vm, backwards, true)?;
    Ok(found.map_or(Value::undefined(), |(_, value)| value))
}

/// ECMA-262, %TypedArray%.prototype.findIndex ( predicate [ , thisArg ] ).
pub(crate) fn find_index<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    found_index(vm, &call, false)
}

/// ECMA-262, %TypedArray%.prototype.findLastIndex ( predicate [ , thisArg ] ).
pub(crate) fn find_last_index<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    found_index(vm, &call, true)
}

fn found_index<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    backwards: bool,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, call)?;
    let found = walk.find(vm, backwards, true)?;
    vm.number(found.map_or(-1.0, |(index, _)| index))
}

/// ECMA-262, %TypedArray%.prototype.map ( callback [ , thisArg ] ).
pub(crate) fn map<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, &call)?;
    let constructor = species_of(vm, walk.view)?;
    let result = create(vm, constructor, walk.length)?;
    walk.each(vm, false, |vm, index, _, answer| put(vm, result, index, answer).map(|()| true))?;
    Ok(Value::object(result))
}

/// ECMA-262, %TypedArray%.prototype.filter ( callback [ , thisArg ] ).
pub(crate) fn filter<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, &call)?;
    let kept = vm.new_array(0)?;
    vm.push(Value::object(kept))?;
    walk.each(vm, false, |vm, _, value, answer| {
        if vm.to_boolean(answer) {
            vm.append(kept, value)?;
        }
        Ok(true)
    })?;
    let constructor = species_of(vm, walk.view)?;
    let result = create(vm, constructor, f64::from(vm.array_len(kept)))?;
    for index in 0..vm.array_len(kept) {
        let value = vm.element(kept, index).unwrap_or(Value::undefined());
        put(vm, result, f64::from(index), value)?;
    }
    Ok(Value::object(result))
}

/// ECMA-262, %TypedArray%.prototype.reduce ( callback [ , initialValue ] ).
pub(crate) fn reduce<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    fold(vm, &call, false)
}

/// ECMA-262, %TypedArray%.prototype.reduceRight ( callback [ , initialValue ] ).
pub(crate) fn reduce_right<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    fold(vm, &call, true)
}

fn fold<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    backwards: bool,
) -> Result<Value<L>, Raise> {
    let Walk { view, length, function, .. } = Walk::begin(vm, call)?;
    let at = |step: f64| if backwards { length - 1.0 - step } else { step };
    let mut step = 0.0;
    let mut result = vm.arg(call, 1);
    if call.argc() < 2 {
        if length == 0.0 {
            return Err(vm.throw_type("an array without elements and an initial value"));
        }
        result = vm.typed_value(view, at(0.0))?;
        step = 1.0;
    }
    let root = vm.push(result)?;
    let mark = vm.heap.sp;
    while step < length {
        vm.spend(1)?;
        let value = vm.typed_value(view, at(step))?;
        vm.push(value)?;
        let index = vm.number(at(step))?;
        let args = [result, value, index, Value::object(view)];
        result = vm.invoke(function, Value::undefined(), &args)?;
        vm.heap.set_mem_value(root, result);
        vm.heap.sp = mark;
        step += 1.0;
    }
    Ok(result)
}

/// ECMA-262, %TypedArray%.prototype.includes ( searchElement [ , fromIndex ] ).
pub(crate) fn includes<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    if length == 0.0 {
        return Ok(Value::boolean(false));
    }
    let start = relative(vm, vm.arg(&call, 1), length, 0.0)?;
    let wanted = vm.arg(&call, 0);
    vm.spend((length - start) as usize)?;
    // What a conversion has cut off reads as undefined.
    let found = (start as usize..length as usize).any(|at| match vm.typed_element(view, at) {
        Some(own) => vm.as_number(wanted).is_some_and(|n| n == own || n.is_nan() && own.is_nan()),
        None => wanted.is_undefined(),
    });
    Ok(Value::boolean(found))
}

/// ECMA-262, %TypedArray%.prototype.indexOf ( searchElement [ , fromIndex ] ).
pub(crate) fn index_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    if length == 0.0 {
        return vm.number(-1.0);
    }
    let start = relative(vm, vm.arg(&call, 1), length, 0.0)?;
    let wanted = vm.as_number(vm.arg(&call, 0));
    vm.spend((length - start) as usize)?;
    let found = (start as usize..length as usize)
        .find(|&at| wanted.is_some() && vm.typed_element(view, at) == wanted);
    vm.number(found.map_or(-1.0, |at| at as f64))
}

/// ECMA-262, %TypedArray%.prototype.lastIndexOf ( searchElement [ , fromIndex ] ).
pub(crate) fn last_index_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    if length == 0.0 {
        return vm.number(-1.0);
    }
    let from = if call.argc() > 1 { vm.to_integer(vm.arg(&call, 1))? } else { length - 1.0 };
    let last = if from < 0.0 { length + from } else { from.min(length - 1.0) };
    let wanted = vm.as_number(vm.arg(&call, 0));
    vm.spend((last + 1.0) as usize)?;
    let found = (0..(last + 1.0) as usize)
        .rev()
        .find(|&at| wanted.is_some() && vm.typed_element(view, at) == wanted);
    vm.number(found.map_or(-1.0, |at| at as f64))
}

/// ECMA-262, %TypedArray%.prototype.at ( index ).
pub(crate) fn at<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    let index = vm.to_integer(vm.arg(&call, 0))?;
    let index = if index < 0.0 { index + length } else { index };
    if index < 0.0 || index >= length {
        return Ok(Value::undefined());
    }
    vm.typed_value(view, index)
}

/// ECMA-262, %TypedArray%.prototype.join ( separator ).
pub(crate) fn join<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    array::search::join_elements(vm, &call, view, length)
}

/// ECMA-262, %TypedArray%.prototype.toLocaleString ( ).
pub(crate) fn to_locale_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (view, length) = validated(vm, call.this)?;
    array::search::join_locally(vm, view, length)
}

/// ECMA-262, %TypedArray%.prototype.entries ( ).
pub(crate) fn entries<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    validated(vm, call.this)?;
    iterators::of_array(vm, call, ENTRIES)
}

/// ECMA-262, %TypedArray%.prototype.keys ( ).
pub(crate) fn keys<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    validated(vm, call.this)?;
    iterators::of_array(vm, call, KEYS)
}

/// ECMA-262, %TypedArray%.prototype.values ( ), which is %TypedArray%.prototype
/// [ %Symbol.iterator% ] ( ) too.
pub(crate) fn values<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    validated(vm, call.this)?;
    iterators::of_array(vm, call, VALUES)
}
