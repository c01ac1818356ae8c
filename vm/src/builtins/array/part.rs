//! New arrays of the elements of others: slices, concatenations, flattenings.

use super::{
    LONGEST, array_like, callback, create, has_elements, is_array_value, is_plain, present,
    relative, set_length, this_object,
};
use crate::Host;
use crate::elements::Width;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Array.prototype.slice ( start, end ).
pub(crate) fn slice<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let start = relative(vm, vm.arg(&call, 0), length, 0.0)?;
    let end = relative(vm, vm.arg(&call, 1), length, length)?;
    let count = (end - start).max(0.0);
    let result = array_like(vm, object, count, vm.width_like(object))?;
    let mut index = 0.0;
    while index < count {
        if let Some(value) = present(vm, object, start + index)? {
            create(vm, result, index, value)?;
        }
        index += 1.0;
    }
    set_length(vm, result, count)?;
    Ok(Value::object(result))
}

/// ECMA-262, Array.prototype.concat ( ...items ).
pub(crate) fn concat<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let result = array_like(vm, object, 0.0, Width::SLOT)?;
    if has_elements(vm, result) {
        reserve_for_parts(vm, &call, object, result);
    }
    let mut length = append_part(vm, result, 0.0, Value::object(object))?;
    for index in 0..call.argc() {
        let value = vm.arg(&call, index);
        length = append_part(vm, result, length, value)?;
    }
    set_length(vm, result, length)?;
    Ok(Value::object(result))
}

/// Makes the result's block at once where the parts show how large it gets.
fn reserve_for_parts<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    object: Ref,
    result: Ref,
) {
    let (mut room, mut width) = (0, Width::NARROWEST);
    for value in core::iter::once(Value::object(object))
        .chain((0..call.argc()).map(|index| vm.arg(call, index)))
    {
        let (more, wide) = match value.as_object() {
            Some(part) if has_elements(vm, part) => (vm.array_room(part), vm.width(part)),
            _ => (1, Width::of(value)),
        };
        room += more as usize;
        width = width.min(wide);
    }
    vm.reserve_if_room(result, width, room);
}

/// ECMA-262, IsConcatSpreadable and what follows. Gives the new length.
fn append_part<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    result: Ref,
    length: f64,
    part: Value<L>,
) -> Result<f64, Raise> {
    let spreads = match part.as_object() {
        Some(object) if is_plain(vm, object) => true,
        Some(object) => {
            let wish = vm.get(object, Key::name(names::SYMBOL_IS_CONCAT_SPREADABLE))?;
            if wish.is_undefined() { is_array_value(vm, part) } else { vm.to_boolean(wish) }
        }
        None => false,
    };
    let Some(source) = part.as_object().filter(|_| spreads) else {
        if length >= LONGEST {
            return Err(vm.throw_type(TOO_LONG));
        }
        create(vm, result, length, part)?;
        return Ok(length + 1.0);
    };
    let n_more = vm.length_of(source)?;
    if length + n_more > LONGEST {
        return Err(vm.throw_type(TOO_LONG));
    }
    let mut index = 0.0;
    while index < n_more {
        if let Some(value) = present(vm, source, index)? {
            create(vm, result, length + index, value)?;
        }
        index += 1.0;
    }
    Ok(length + n_more)
}

const TOO_LONG: &str = "an array-like cannot grow that long";

/// ECMA-262, Array.prototype.flat ( [ depth ] ).
pub(crate) fn flat<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let depth = vm.arg(&call, 0);
    let depth = if depth.is_undefined() { 1.0 } else { vm.to_integer(depth)?.max(0.0) };
    let result = array_like(vm, object, 0.0, Width::SLOT)?;
    flatten(vm, result, 0.0, object, length, depth, None)?;
    Ok(Value::object(result))
}

/// ECMA-262, Array.prototype.flatMap ( mapperFunction [ , thisArg ] ).
pub(crate) fn flat_map<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = this_object(vm, &call)?;
    let length = vm.length_of(object)?;
    let mapper = (callback(vm, &call, 0)?, vm.arg(&call, 1));
    let result = array_like(vm, object, 0.0, Width::SLOT)?;
    flatten(vm, result, 0.0, object, length, 1.0, Some(mapper))?;
    Ok(Value::object(result))
}

/// ECMA-262, FlattenIntoArray. Gives the index behind the last element.
fn flatten<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    target: Ref,
    start: f64,
    source: Ref,
    length: f64,
    depth: f64,
    mapper: Option<(Value<L>, Value<L>)>,
) -> Result<f64, Raise> {
    let mut at = start;
    let mut index = 0.0;
    while index < length {
        let before = vm.heap.sp;
        if let Some(mut element) = present(vm, source, index)? {
            vm.push(element)?;
            if let Some((function, this)) = mapper {
                let position = vm.number(index)?;
                let args = [element, position, Value::object(source)];
                element = vm.invoke(function, this, &args)?;
                vm.push(element)?;
            }
            let nested = element.as_object().filter(|_| is_array_value(vm, element));
            at = match nested.filter(|_| depth > 0.0) {
                Some(nested) => {
                    let length = vm.length_of(nested)?;
                    vm.nest(|vm| flatten(vm, target, at, nested, length, depth - 1.0, None))?
                }
                None if at >= LONGEST => return Err(vm.throw_type(TOO_LONG)),
                None => {
                    create(vm, target, at, element)?;
                    at + 1.0
                }
            };
        }
        vm.heap.sp = before;
        index += 1.0;
    }
    Ok(at)
}
