//! `DataView` and `DataView.prototype` (ECMA-262, "DataView Objects").

use super::{throw_detached, to_index};
use crate::Host;
use crate::builtins::Intrinsic;
use crate::bytes::Element;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// ECMA-262, DataView ( buffer [ , byteOffset [ , byteLength ] ] ).
pub(crate) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    if !call.constructs {
        return Err(vm.throw_type("a DataView is made by `new`"));
    }
    let buffer = match vm.arg(&call, 0).as_object() {
        Some(object) if vm.class(object) == Class::Buffer => object,
        _ => return Err(vm.throw_type("a DataView needs an ArrayBuffer")),
    };
    let offset = to_index(vm, vm.arg(&call, 1))?;
    if vm.is_detached(buffer) {
        return Err(throw_detached(vm));
    }
    let wish = vm.arg(&call, 2);
    let bytes = vm.buffer_len(buffer) as f64;
    if offset > bytes {
        return Err(vm.throw_range("the view would begin outside the buffer"));
    }
    let length = match wish.is_undefined() {
        true if vm.most_bytes(buffer).is_some() => None,
        true => Some(bytes - offset),
        false => {
            let length = to_index(vm, wish)?;
            if offset + length > bytes {
                return Err(vm.throw_range("the view would end outside the buffer"));
            }
            Some(length)
        }
    };
    let prototype = vm.prototype_for(&call, Intrinsic::DataViewPrototype)?;
    if vm.is_detached(buffer) {
        return Err(throw_detached(vm));
    }
    // Asking for the prototype may have made the buffer shorter.
    let bytes = vm.buffer_len(buffer) as f64;
    if offset > bytes || length.is_some_and(|length| offset + length > bytes) {
        return Err(vm.throw_range("the view would lie outside the buffer"));
    }
    let places = [Some(offset as usize), length.map(|length| length as usize)];
    vm.new_view(Class::DataView, prototype, buffer, places, Element::Uint8).map(Value::object)
}

fn this_view<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, call: &Call<L>) -> Result<Ref, Raise> {
    match call.this.as_object() {
        Some(object) if vm.class(object) == Class::DataView => Ok(object),
        _ => Err(vm.throw_type("the this value is not a DataView")),
    }
}

/// The length of a view that lies within its buffer.
fn length_of<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, view: Ref) -> Result<usize, Raise> {
    match vm.view_len(view) {
        Some(length) => Ok(length),
        None => Err(vm.throw_type("the view lies outside its buffer")),
    }
}

/// ECMA-262, get DataView.prototype.buffer.
pub(crate) fn buffer<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_view(vm, &call)?;
    Ok(Value::object(vm.view_buffer(view)))
}

/// ECMA-262, get DataView.prototype.byteLength.
pub(crate) fn byte_length<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_view(vm, &call)?;
    let length = length_of(vm, view)?;
    vm.number(length as f64)
}

/// ECMA-262, get DataView.prototype.byteOffset.
pub(crate) fn byte_offset<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let view = this_view(vm, &call)?;
    length_of(vm, view)?;
    vm.number(vm.view_offset(view) as f64)
}

/// ECMA-262, GetViewValue and SetViewValue, up to the access: block and place of the
/// bytes, and the number to be written.
fn access<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    element: Element,
    writes: bool,
) -> Result<(Ref, usize, f64), Raise> {
    let view = this_view(vm, call)?;
    let index = to_index(vm, vm.arg(call, 0))?;
    let number = if writes { vm.to_number(vm.arg(call, 1))? } else { 0.0 };
    let length = length_of(vm, view)?;
    if index + element.size() as f64 > length as f64 {
        return Err(vm.throw_range("the place lies outside the view"));
    }
    let block = vm.buffer_block(vm.view_buffer(view));
    Ok((block, vm.view_offset(view) + index as usize, number))
}

/// The bytes in the order that the standard's default is the reverse of.
fn ordered(bits: u64, element: Element, little: bool) -> u64 {
    if little { bits } else { bits.swap_bytes() >> (64 - 8 * element.size()) }
}

fn get<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    element: Element,
) -> Result<Value<L>, Raise> {
    let (block, at, _) = access(vm, call, element, false)?;
    let little = vm.to_boolean(vm.arg(call, 1));
    let bits = ordered(vm.read_bits(block, at, element.size()), element, little);
    vm.number(element.decode(bits))
}

fn set<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    element: Element,
) -> Result<Value<L>, Raise> {
    let (block, at, number) = access(vm, call, element, true)?;
    let little = vm.to_boolean(vm.arg(call, 2));
    let bits = ordered(element.encode(number), element, little);
    vm.write_bits(block, at, element.size(), bits);
    Ok(Value::undefined())
}

macro_rules! accesses {
    ($($(#[doc = $doc:literal])* $name:ident = $way:ident $element:ident;)*) => {$(
        $(#[doc = $doc])*
        pub(crate) fn $name<L: Layout, H: Host>(
            vm: &mut Vm<'_, L, H>,
            call: Call<L>,
        ) -> Result<Value<L>, Raise> {
            $way(vm, &call, Element::$element)
        }
    )*};
}

accesses! {
    /// ECMA-262, DataView.prototype.getFloat16 ( byteOffset [ , littleEndian ] ).
    get_float16 = get Float16;
    /// ECMA-262, DataView.prototype.getFloat32 ( byteOffset [ , littleEndian ] ).
    get_float32 = get Float32;
    /// ECMA-262, DataView.prototype.getFloat64 ( byteOffset [ , littleEndian ] ).
    get_float64 = get Float64;
    /// ECMA-262, DataView.prototype.getInt8 ( byteOffset ).
    get_int8 = get Int8;
    /// ECMA-262, DataView.prototype.getInt16 ( byteOffset [ , littleEndian ] ).
    get_int16 = get Int16;
    /// ECMA-262, DataView.prototype.getInt32 ( byteOffset [ , littleEndian ] ).
    get_int32 = get Int32;
    /// ECMA-262, DataView.prototype.getUint8 ( byteOffset ).
    get_uint8 = get Uint8;
    /// ECMA-262, DataView.prototype.getUint16 ( byteOffset [ , littleEndian ] ).
    get_uint16 = get Uint16;
    /// ECMA-262, DataView.prototype.getUint32 ( byteOffset [ , littleEndian ] ).
    get_uint32 = get Uint32;
    /// ECMA-262, DataView.prototype.setFloat16 ( byteOffset, value [ , littleEndian ] ).
    set_float16 = set Float16;
    /// ECMA-262, DataView.prototype.setFloat32 ( byteOffset, value [ , littleEndian ] ).
    set_float32 = set Float32;
    /// ECMA-262, DataView.prototype.setFloat64 ( byteOffset, value [ , littleEndian ] ).
    set_float64 = set Float64;
    /// ECMA-262, DataView.prototype.setInt8 ( byteOffset, value ).
    set_int8 = set Int8;
    /// ECMA-262, DataView.prototype.setInt16 ( byteOffset, value [ , littleEndian ] ).
    set_int16 = set Int16;
    /// ECMA-262, DataView.prototype.setInt32 ( byteOffset, value [ , littleEndian ] ).
    set_int32 = set Int32;
    /// ECMA-262, DataView.prototype.setUint8 ( byteOffset, value ).
    set_uint8 = set Uint8;
    /// ECMA-262, DataView.prototype.setUint16 ( byteOffset, value [ , littleEndian ] ).
    set_uint16 = set Uint16;
    /// ECMA-262, DataView.prototype.setUint32 ( byteOffset, value [ , littleEndian ] ).
    set_uint32 = set Uint32;
}
