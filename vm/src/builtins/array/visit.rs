//! Calling a function for each element.

use super::{array_like, callback, create, present, read, this_object};
use crate::Host;
use crate::elements::Width;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// What a method goes through, and the function it calls.
struct Walk<L: Layout> {
    object: Ref,
    length: f64,
    function: Value<L>,
    this: Value<L>,
}

impl<L: Layout> Walk<L> {
    fn begin<H: Host>(vm: &mut Vm<'_, L, H>, call: &Call<L>) -> Result<Self, Raise> {
        let object = this_object(vm, call)?;
        let length = vm.length_of(object)?;
        let function = callback(vm, call, 0)?;
        Ok(Walk { object, length, function, this: vm.arg(call, 1) })
    }

    /// Calls the function for an element, which is rooted by the caller.
    fn ask<H: Host>(
        &self,
        vm: &mut Vm<'_, L, H>,
        index: f64,
        value: Value<L>,
    ) -> Result<Value<L>, Raise> {
        let at = vm.number(index)?;
        vm.invoke(self.function, self.this, &[value, at, Value::object(self.object)])
    }

    /// Calls the function for each element that is there, and hands element,
    /// index and answer on until it is told to stop. All lie on the stack.
    fn each<H: Host>(
        &self,
        vm: &mut Vm<'_, L, H>,
        mut take: impl FnMut(&mut Vm<'_, L, H>, f64, Value<L>, Value<L>) -> Result<bool, Raise>,
    ) -> Result<(), Raise> {
        let before = vm.heap.sp;
        let mut index = 0.0;
        while index < self.length {
            if let Some(value) = present(vm, self.object, index)? {
                vm.push(value)?;
                let answer = self.ask(vm, index, value)?;
                vm.push(answer)?;
                if !take(vm, index, value, answer)? {
                    return Ok(());
                }
                vm.heap.sp = before;
            }
            index += 1.0;
        }
        Ok(())
    }

    /// The first index, from either end, whose element the function accepts;
    /// elements that are not there count as undefined.
    fn find<H: Host>(
        &self,
        vm: &mut Vm<'_, L, H>,
        backwards: bool,
    ) -> Result<Option<(f64, Value<L>)>, Raise> {
        let before = vm.heap.sp;
        let mut step = 0.0;
        while step < self.length {
            let index = if backwards { self.length - 1.0 - step } else { step };
            let value = read(vm, self.object, index)?;
            vm.push(value)?;
            let answer = self.ask(vm, index, value)?;
            if vm.to_boolean(answer) {
                return Ok(Some((index, value)));
            }
            vm.heap.sp = before;
            step += 1.0;
        }
        Ok(None)
    }
}

/// ECMA-262, Array.prototype.forEach ( callback [ , thisArg ] ).
pub(crate) fn for_each<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, &call)?;
    walk.each(vm, |_, _, _, _| Ok(true))?;
    Ok(Value::undefined())
}

/// ECMA-262, Array.prototype.every ( callback [ , thisArg ] ).
pub(crate) fn every<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    all_answer(vm, &call, true)
}

/// ECMA-262, Array.prototype.some ( callback [ , thisArg ] ).
pub(crate) fn some<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let none = all_answer(vm, &call, false)?;
    Ok(Value::boolean(none != Value::boolean(true)))
}

/// Whether the function's answer is the expected one for every element.
fn all_answer<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    expected: bool,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, call)?;
    let mut all = true;
    walk.each(vm, |vm, _, _, answer| {
        all = vm.to_boolean(answer) == expected;
        Ok(all)
    })?;
    Ok(Value::boolean(all))
}

/// ECMA-262, Array.prototype.map ( callback [ , thisArg ] ).
pub(crate) fn map<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, &call)?;
    let result = array_like(vm, walk.object, walk.length, Width::NARROWEST)?;
    walk.each(vm, |vm, index, _, answer| create(vm, result, index, answer).map(|()| true))?;
    Ok(Value::object(result))
}

/// ECMA-262, Array.prototype.filter ( callback [ , thisArg ] ).
pub(crate) fn filter<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let walk = Walk::begin(vm, &call)?;
    let result = array_like(vm, walk.object, 0.0, Width::SLOT)?;
    let mut to = 0.0;
    walk.each(vm, |vm, _, value, answer| {
        if vm.to_boolean(answer) {
            create(vm, result, to, value)?;
            to += 1.0;
        }
        Ok(true)
    })?;
    Ok(Value::object(result))
}

/// ECMA-262, Array.prototype.find ( predicate [ , thisArg ] ).
pub(crate) fn find<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    found_value(vm, &call, false)
}

/// ECMA-262, Array.prototype.findLast ( predicate [ , thisArg ] ).
pub(crate) fn find_last<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    found_value(vm, &call, true)
}

/// ECMA-262, Array.prototype.findIndex ( predicate [ , thisArg ] ).
pub(crate) fn find_index<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    found_index(vm, &call, false)
}

/// ECMA-262, Array.prototype.findLastIndex ( predicate [ , thisArg ] ).
pub(crate) fn find_last_index<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    found_index(vm, &call, true)
}

fn found_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    backwards: bool,
) -> Result<Value<L>, Raise> {
    let found = Walk::begin(vm, call)?.find(vm, backwards)?;
    Ok(found.map_or(Value::undefined(), |(_, value)| value))
}

fn found_index<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    backwards: bool,
) -> Result<Value<L>, Raise> {
    let found = Walk::begin(vm, call)?.find(vm, backwards)?;
    vm.number(found.map_or(-1.0, |(index, _)| index))
}

/// ECMA-262, Array.prototype.reduce ( callback [ , initialValue ] ).
pub(crate) fn reduce<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    fold(vm, &call, false)
}

/// ECMA-262, Array.prototype.reduceRight ( callback [ , initialValue ] ).
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
    let walk = Walk::begin(vm, call)?;
    let mut started = call.argc() > 1;
    let slot = vm.push(vm.arg(call, 1))?;
    let mut step = 0.0;
    while step < walk.length {
        let index = if backwards { walk.length - 1.0 - step } else { step };
        step += 1.0;
        let Some(value) = present(vm, walk.object, index)? else { continue };
        if !started {
            started = true;
            vm.heap.set_mem_value(slot, value);
            continue;
        }
        vm.push(value)?;
        let at = vm.number(index)?;
        let sum = vm.heap.mem_value(slot);
        let args = [sum, value, at, Value::object(walk.object)];
        let sum = vm.invoke(walk.function, Value::undefined(), &args)?;
        vm.pop();
        vm.heap.set_mem_value(slot, sum);
    }
    if !started {
        return Err(vm.throw_type("an empty array has nothing to begin with"));
    }
    Ok(vm.heap.mem_value(slot))
}
