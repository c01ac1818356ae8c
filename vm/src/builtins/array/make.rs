//! Making arrays: the constructor and its functions.

use super::{array_of_length, callback, create, is_array_value, read, set_length};
use crate::Host;
use crate::builtins::Intrinsic;
use crate::define::Descriptor;
use crate::elements::Width;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// The longest array whose elements get their place when it is made empty. A
/// longer one may well stay sparse, and grows as it is filled.
const ROOM_AT_ONCE: usize = 4096;

/// ECMA-262, Array ( ...values ): with or without `new`.
pub(crate) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let prototype = vm.prototype_for(&call, Intrinsic::ArrayPrototype)?;
    let array = construct_plain(vm, &call)?;
    if vm.foreign_target(&call).is_some()
        && let Some(object) = array.as_object()
    {
        vm.push(array)?;
        vm.set_prototype(object, prototype)?;
    }
    Ok(array)
}

fn construct_plain<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<Value<L>, Raise> {
    let first = vm.arg(call, 0);
    if call.argc() != 1 || !first.is_number() {
        return of_arguments(vm, call);
    }
    let length = vm.to_array_length(first)?;
    let wish = if length as usize <= ROOM_AT_ONCE { length as usize } else { 0 };
    let array = vm.new_array(0)?;
    vm.push(Value::object(array))?;
    vm.reserve_if_room(array, Width::NARROWEST, wish);
    vm.set_array_len(array, length)?;
    Ok(Value::object(array))
}

fn of_arguments<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<Value<L>, Raise> {
    let width = Width::of_all((0..call.argc()).map(|index| vm.arg(call, index)));
    let array = vm.new_array_of(Class::Array, width, call.argc())?;
    vm.push(Value::object(array))?;
    for index in 0..call.argc() {
        let value = vm.arg(call, index);
        vm.append(array, value)?;
    }
    Ok(Value::object(array))
}

/// ECMA-262, Array.isArray ( arg ).
pub(crate) fn is_array<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    Ok(Value::boolean(is_array_value(vm, vm.arg(&call, 0))))
}

/// ECMA-262, Array.of ( ...items ).
pub(crate) fn of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    if is_intrinsic(vm, &call) {
        return of_arguments(vm, &call);
    }
    let length = vm.number(call.argc() as f64)?;
    let target = construct_this(vm, &call, &[length])?;
    for index in 0..call.argc() {
        let value = vm.arg(&call, index);
        define(vm, target, index as f64, value)?;
    }
    set_length(vm, target, call.argc() as f64)?;
    Ok(Value::object(target))
}

/// ECMA-262, Array.from ( items [ , mapper [ , thisArg ] ] ). Arrays, arguments
/// objects and strings are gone through without an iterator, as long as theirs are
/// the standard's own.
pub(crate) fn from<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let mapper = match vm.arg(&call, 1).is_undefined() {
        true => None,
        false => Some(callback(vm, &call, 1)?),
    };
    let items = vm.arg(&call, 0);
    if items.is_nullish() {
        return Err(vm.throw_type("an array cannot be made from undefined or null"));
    }
    let plain = vm.plainly_iterable(items);
    if let Some(text) = plain.filter(|plain| plain.is_string()) {
        return from_text(vm, &call, text, mapper);
    }
    let iterates = plain.is_some();
    if !iterates && let Some(method) = vm.get_method(items, names::SYMBOL_ITERATOR)? {
        return from_iterator(vm, &call, items, method, mapper);
    }
    let source = vm.to_object(items)?;
    vm.push(Value::object(source))?;
    let mut length = vm.length_of(source)?;
    let target = if iterates { target(vm, &call, None)? } else { target(vm, &call, Some(length))? };
    let mut index = 0.0;
    loop {
        // An iterator asks for the length anew at every step.
        if iterates {
            length = vm.length_of(source)?;
        }
        if index >= length {
            break;
        }
        let value = read(vm, source, index)?;
        put_mapped(vm, &call, target, index, value, mapper)?;
        index += 1.0;
    }
    set_length(vm, target, index)?;
    Ok(Value::object(target))
}

/// The elements are what the iterator gives.
fn from_iterator<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    items: Value<L>,
    method: Value<L>,
    mapper: Option<Value<L>>,
) -> Result<Value<L>, Raise> {
    vm.push(method)?;
    let target = target(vm, call, None)?;
    let iterator = vm.values_by(items, method)?;
    vm.push(Value::object(iterator))?;
    let mut index = 0.0;
    while let Some(value) = vm.advance(iterator)? {
        vm.spend(1)?;
        let put = put_mapped(vm, call, target, index, value, mapper);
        vm.or_close(iterator, put)?;
        index += 1.0;
    }
    set_length(vm, target, index)?;
    Ok(Value::object(target))
}

/// The elements are the code points of the string.
fn from_text<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    text: Value<L>,
    mapper: Option<Value<L>>,
) -> Result<Value<L>, Raise> {
    vm.push(text)?;
    let target = target(vm, call, None)?;
    let Some(view) = vm.view(text) else { return Err(Raise::internal("no string")) };
    let (mut at, mut index) = (0, 0.0);
    while at < view.len() {
        let (_, units) = vm.code_point(&view, at);
        let value = vm.slice_text(text, at, at + units)?;
        put_mapped(vm, call, target, index, value, mapper)?;
        at += units;
        index += 1.0;
    }
    set_length(vm, target, index)?;
    Ok(Value::object(target))
}

/// The object that the elements go to, rooted.
fn target<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    length: Option<f64>,
) -> Result<Ref, Raise> {
    if is_intrinsic(vm, call) {
        return array_of_length(vm, length.unwrap_or(0.0), 0, Width::NARROWEST);
    }
    match length {
        None => construct_this(vm, call, &[]),
        Some(length) => {
            let length = vm.number(length)?;
            construct_this(vm, call, &[length])
        }
    }
}

fn put_mapped<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    target: Ref,
    index: f64,
    value: Value<L>,
    mapper: Option<Value<L>>,
) -> Result<(), Raise> {
    let before = vm.heap.sp;
    vm.push(value)?;
    let value = match mapper {
        Some(mapper) => {
            let at = vm.number(index)?;
            vm.invoke(mapper, vm.arg(call, 2), &[value, at])?
        }
        None => value,
    };
    define(vm, target, index, value)?;
    vm.heap.sp = before;
    Ok(())
}

/// ECMA-262, CreateDataPropertyOrThrow.
fn define<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    target: Ref,
    index: f64,
    value: Value<L>,
) -> Result<(), Raise> {
    if super::is_free(vm, target) && index == f64::from(vm.array_len(target)) {
        return create(vm, target, index, value);
    }
    let before = vm.heap.sp;
    vm.push(value)?;
    let key = vm.index_key(index)?;
    let wish = Descriptor::data(value, crate::keys::attributes::ALL);
    if !vm.define(target, key, &wish)? {
        return Err(vm.throw_not_definable(key));
    }
    vm.heap.sp = before;
    Ok(())
}

/// Whether the this value leads to plain arrays: it is `Array`, or no
/// constructor at all.
fn is_intrinsic<L: Layout, H: Host>(vm: &Vm<'_, L, H>, call: &Call<L>) -> bool {
    call.this == Value::object(Intrinsic::Array.reference()) || !vm.is_constructor(call.this)
}

/// ECMA-262, Construct of the this value. The object is rooted.
fn construct_this<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    args: &[Value<L>],
) -> Result<Ref, Raise> {
    let made = vm.construct(call.this, args)?;
    vm.push(made)?;
    match made.as_object() {
        Some(object) => Ok(object),
        None => Err(Raise::internal("a constructor gave no object")),
    }
}
