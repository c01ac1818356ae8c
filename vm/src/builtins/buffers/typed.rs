//! The typed arrays' constructors, their functions and accessors (ECMA-262,
//! "TypedArray Objects").

use super::{callback, species, throw_detached, to_index, validated};
use crate::Host;
use crate::builtins::Intrinsic;
use crate::bytes::{Element, LONGEST};
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::remainder::fmod;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// The constructor of arrays of such elements: the intrinsics are in their order.
fn constructor_of(element: Element) -> Intrinsic {
    let number = Intrinsic::Int8Array as usize + element as usize;
    Intrinsic::from_number(number).unwrap_or(Intrinsic::Uint8Array)
}

fn prototype_of(element: Element) -> Intrinsic {
    let number = Intrinsic::Int8ArrayPrototype as usize + element as usize;
    Intrinsic::from_number(number).unwrap_or(Intrinsic::Uint8ArrayPrototype)
}

/// ECMA-262, %TypedArray% ( ): it makes nothing.
pub(crate) fn construct_none<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    _: Call<L>,
) -> Result<Value<L>, Raise> {
    Err(vm.throw_type("a typed array is made by the constructor of its element type"))
}

/// ECMA-262, TypedArray ( ...args ), of each element type.
pub(crate) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = call.callee.flash().unwrap_or(0).wrapping_sub(Intrinsic::Int8Array as usize);
    let Some(&element) = Element::ALL.get(number) else {
        return Err(Raise::internal("no typed array's constructor"));
    };
    if !call.constructs {
        return Err(vm.throw_type("a typed array is made by `new`"));
    }
    let first = vm.arg(&call, 0);
    let Some(source) = first.as_object() else {
        let length = to_index(vm, first)?;
        let prototype = vm.prototype_for(&call, prototype_of(element))?;
        return typed_with(vm, prototype, element, length).map(Value::object);
    };
    let prototype = vm.prototype_for(&call, prototype_of(element))?;
    let view = if vm.is_typed(source) {
        of_typed(vm, prototype, element, source)?
    } else if vm.class(source) == Class::Buffer {
        of_buffer(vm, &call, prototype, element, source)?
    } else {
        let list = to_list(vm, first)?;
        let length = vm.length_of(list)?;
        let view = typed_with(vm, prototype, element, length)?;
        fill_from(vm, view, list, length, 0.0)?;
        view
    };
    Ok(Value::object(view))
}

/// An array of zeros with a buffer of its own, rooted (ECMA-262, AllocateTypedArray
/// and AllocateTypedArrayBuffer).
pub(super) fn new_typed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    element: Element,
    length: f64,
) -> Result<Ref, Raise> {
    typed_with(vm, prototype_of(element).reference(), element, length)
}

/// The same with a prototype that is rooted.
fn typed_with<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    prototype: Ref,
    element: Element,
    length: f64,
) -> Result<Ref, Raise> {
    let of_buffer = Intrinsic::ArrayBufferPrototype.reference();
    let buffer = vm.new_buffer(of_buffer, length * element.size() as f64, None)?;
    vm.push(Value::object(buffer))?;
    let places = [Some(0), Some(length as usize)];
    let view = vm.new_view(Class::Typed, prototype, buffer, places, element)?;
    vm.push(Value::object(view))?;
    Ok(view)
}

/// ECMA-262, InitializeTypedArrayFromTypedArray.
fn of_typed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    prototype: Ref,
    element: Element,
    source: Ref,
) -> Result<Ref, Raise> {
    let (_, length) = validated(vm, Value::object(source))?;
    let view = typed_with(vm, prototype, element, length)?;
    copy_elements(vm, source, view, length as usize, 0)?;
    Ok(view)
}

/// Copies elements from the start of one array to a place in another of another
/// buffer, or of the same element type.
pub(super) fn copy_elements<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    from: Ref,
    to: Ref,
    count: usize,
    at: usize,
) -> Result<(), Raise> {
    let (element, size) = (vm.element_type(from), vm.element_type(from).size());
    if count == 0 {
        return Ok(());
    }
    if element == vm.element_type(to) {
        let blocks = [from, to].map(|view| vm.buffer_block(vm.view_buffer(view)));
        let places = [vm.view_offset(from), vm.view_offset(to) + at * size];
        return vm.copy_bytes(blocks, places, count * size);
    }
    vm.spend(count)?;
    for index in 0..count {
        let number = vm.typed_element(from, index).unwrap_or(f64::NAN);
        vm.set_typed_element(to, at + index, number);
    }
    Ok(())
}

/// ECMA-262, InitializeTypedArrayFromArrayBuffer.
fn of_buffer<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    prototype: Ref,
    element: Element,
    buffer: Ref,
) -> Result<Ref, Raise> {
    let size = element.size() as f64;
    let offset = to_index(vm, vm.arg(call, 1))?;
    if fmod(offset, size) != 0.0 {
        return Err(vm.throw_range("the array would begin within an element"));
    }
    let wish = match vm.arg(call, 2) {
        length if length.is_undefined() => None,
        length => Some(to_index(vm, length)?),
    };
    if vm.is_detached(buffer) {
        return Err(throw_detached(vm));
    }
    let bytes = vm.buffer_len(buffer) as f64;
    let follows = wish.is_none() && vm.most_bytes(buffer).is_some();
    if !follows && wish.is_none() && fmod(bytes, size) != 0.0 {
        return Err(vm.throw_range("the buffer ends within an element"));
    }
    let length = wish.unwrap_or((bytes - offset) / size);
    if offset > bytes || !follows && offset + length * size > bytes {
        return Err(vm.throw_range("the array would end outside the buffer"));
    }
    let length = (!follows).then_some(length as usize);
    let places = [Some(offset as usize), length];
    vm.new_view(Class::Typed, prototype, buffer, places, element)
}

/// What an object's values are taken from (ECMA-262, IteratorToList): an array of
/// them, or the object itself if it has no iterator. It is rooted. An array of nothing
/// but numbers is taken as it is: nobody can see that no list was made.
fn to_list<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, source: Value<L>) -> Result<Ref, Raise> {
    if let Some(array) = vm.plainly_iterable(source).and_then(Value::as_object) {
        let whole = vm.is_array(source) && vm.array_room(array) == vm.array_len(array);
        let numbers = |index| vm.element(array, index).is_some_and(Value::is_number);
        if whole && (0..vm.array_len(array)).all(numbers) {
            return Ok(array);
        }
    }
    let Some(method) = vm.get_method(source, names::SYMBOL_ITERATOR)? else {
        let object = vm.to_object(source)?;
        vm.push(Value::object(object))?;
        return Ok(object);
    };
    vm.push(method)?;
    let iterator = vm.values_by(source, method)?;
    vm.push(Value::object(iterator))?;
    let list = vm.new_array(0)?;
    vm.push(Value::object(list))?;
    while let Some(value) = vm.advance(iterator)? {
        vm.spend(1)?;
        vm.push(value)?;
        vm.append(list, value)?;
        vm.pop();
    }
    Ok(list)
}

/// Puts the elements of an array-like into a typed array from a place on.
pub(super) fn fill_from<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    view: Ref,
    source: Ref,
    length: f64,
    at: f64,
) -> Result<(), Raise> {
    let mark = vm.heap.sp;
    let mut index = 0.0;
    while index < length {
        vm.spend(1)?;
        let value = vm.get_index(source, index)?;
        vm.push(value)?;
        let number = vm.to_number(value)?;
        vm.set_typed_element(view, (at + index) as usize, number);
        vm.heap.sp = mark;
        index += 1.0;
    }
    Ok(())
}

/// ECMA-262, TypedArrayCreateFromCtor, for a number of elements: the array is rooted.
pub(super) fn create<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    constructor: Value<L>,
    length: f64,
) -> Result<Ref, Raise> {
    if length > LONGEST {
        return Err(vm.throw_range("an array of that length cannot be"));
    }
    let wish = vm.number(length)?;
    let (view, there) = create_with(vm, constructor, &[wish])?;
    if there < length {
        return Err(vm.throw_type("the constructor made too short an array"));
    }
    Ok(view)
}

/// The same for any arguments, with the length that came of it.
pub(super) fn create_with<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    constructor: Value<L>,
    args: &[Value<L>],
) -> Result<(Ref, f64), Raise> {
    let made = vm.construct(constructor, args)?;
    vm.push(made)?;
    validated(vm, made)
}

/// ECMA-262, TypedArraySpeciesCreate, the constructor.
pub(super) fn species_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    view: Ref,
) -> Result<Value<L>, Raise> {
    species(vm, view, constructor_of(vm.element_type(view)))
}

/// ECMA-262, %TypedArray%.of ( ...items ).
pub(crate) fn of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    require_constructor(vm, &call)?;
    let view = create(vm, call.this, call.argc() as f64)?;
    for index in 0..call.argc() {
        let value = vm.arg(&call, index);
        put(vm, view, index as f64, value)?;
    }
    Ok(Value::object(view))
}

/// ECMA-262, %TypedArray%.from ( source [ , mapper [ , thisArg ] ] ).
pub(crate) fn from<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    require_constructor(vm, &call)?;
    let mapper = match vm.arg(&call, 1).is_undefined() {
        true => None,
        false => Some(callback(vm, &call, 1)?),
    };
    let list = to_list(vm, vm.arg(&call, 0))?;
    let length = vm.length_of(list)?;
    let view = create(vm, call.this, length)?;
    let mark = vm.heap.sp;
    let mut index = 0.0;
    while index < length {
        vm.spend(1)?;
        let mut value = vm.get_index(list, index)?;
        vm.push(value)?;
        if let Some(mapper) = mapper {
            let at = vm.number(index)?;
            value = vm.invoke(mapper, vm.arg(&call, 2), &[value, at])?;
            vm.push(value)?;
        }
        put(vm, view, index, value)?;
        vm.heap.sp = mark;
        index += 1.0;
    }
    Ok(Value::object(view))
}

fn require_constructor<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<(), Raise> {
    if vm.is_constructor(call.this) {
        return Ok(());
    }
    Err(vm.throw_type("the this value is not a constructor"))
}

/// ECMA-262, Set of an element of a typed array. The value is rooted.
pub(super) fn put<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    view: Ref,
    index: f64,
    value: Value<L>,
) -> Result<(), Raise> {
    let number = vm.to_number(value)?;
    vm.set_typed_element(view, index as usize, number);
    Ok(())
}

/// The typed array that the this value must be, in bounds or not.
pub(super) fn this_typed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<Ref, Raise> {
    match vm.as_typed(call.this) {
        Some(view) => Ok(view),
        None => Err(vm.throw_type("the this value is not a typed array")),
    }
}

/// ECMA-262, get %TypedArray%.prototype.buffer.
pub(crate) fn buffer<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_typed(vm, &call)?;
    Ok(Value::object(vm.view_buffer(view)))
}

/// ECMA-262, get %TypedArray%.prototype.byteLength.
pub(crate) fn byte_length<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_typed(vm, &call)?;
    let bytes = vm.view_len(view).unwrap_or(0) * vm.element_type(view).size();
    vm.number(bytes as f64)
}

/// ECMA-262, get %TypedArray%.prototype.byteOffset.
pub(crate) fn byte_offset<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_typed(vm, &call)?;
    let offset = vm.view_len(view).map_or(0, |_| vm.view_offset(view));
    vm.number(offset as f64)
}

/// ECMA-262, get %TypedArray%.prototype.length.
pub(crate) fn length<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_typed(vm, &call)?;
    vm.number(vm.view_len(view).unwrap_or(0) as f64)
}

/// ECMA-262, get %TypedArray%.prototype [ %Symbol.toStringTag% ].
pub(crate) fn tag<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let Some(view) = vm.as_typed(call.this) else { return Ok(Value::undefined()) };
    Ok(Value::name(name_of(vm.element_type(view))))
}

fn name_of(element: Element) -> scruple_bytecode::NameId {
    match element {
        Element::Int8 => names::INT8_ARRAY,
        Element::Uint8 => names::UINT8_ARRAY,
        Element::Uint8Clamped => names::UINT8_CLAMPED_ARRAY,
        Element::Int16 => names::INT16_ARRAY,
        Element::Uint16 => names::UINT16_ARRAY,
        Element::Int32 => names::INT32_ARRAY,
        Element::Uint32 => names::UINT32_ARRAY,
        Element::Float16 => names::FLOAT16_ARRAY,
        Element::Float32 => names::FLOAT32_ARRAY,
        Element::Float64 => names::FLOAT64_ARRAY,
    }
}
