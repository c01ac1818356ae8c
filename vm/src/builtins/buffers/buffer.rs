//! `ArrayBuffer` and `ArrayBuffer.prototype` (ECMA-262, "ArrayBuffer Objects").

use super::{relative, species, this_buffer, throw_detached, to_index};
use crate::Host;
use crate::builtins::Intrinsic;
use crate::bytes::LONGEST;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, ArrayBuffer ( length [ , options ] ).
pub(crate) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    if !call.constructs {
        return Err(vm.throw_type("a buffer is made by `new`"));
    }
    let len = to_index(vm, vm.arg(&call, 0))?;
    let mut most = None;
    if let Some(options) = vm.arg(&call, 1).as_object() {
        let value = vm.get(options, Key::name(names::MAX_BYTE_LENGTH))?;
        if !value.is_undefined() {
            vm.push(value)?;
            most = Some(to_index(vm, value)?);
        }
    }
    if most.is_some_and(|most| len > most) {
        return Err(vm.throw_range("a buffer longer than it may become"));
    }
    let prototype = vm.prototype_for(&call, Intrinsic::ArrayBufferPrototype)?;
    vm.new_buffer(prototype, len, most).map(Value::object)
}

/// ECMA-262, ArrayBuffer.isView ( arg ).
pub(crate) fn is_view<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = vm.arg(&call, 0).as_object();
    let class = object.map(|object| vm.class(object));
    Ok(Value::boolean(matches!(class, Some(Class::Typed | Class::DataView))))
}

/// ECMA-262, get ArrayBuffer.prototype.byteLength.
pub(crate) fn byte_length<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let buffer = this_buffer(vm, &call)?;
    vm.number(vm.buffer_len(buffer) as f64)
}

/// ECMA-262, get ArrayBuffer.prototype.maxByteLength.
pub(crate) fn max_byte_length<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let buffer = this_buffer(vm, &call)?;
    vm.number(vm.most_bytes(buffer).unwrap_or(vm.buffer_len(buffer)) as f64)
}

/// ECMA-262, get ArrayBuffer.prototype.resizable.
pub(crate) fn resizable<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let buffer = this_buffer(vm, &call)?;
    Ok(Value::boolean(vm.most_bytes(buffer).is_some()))
}

/// ECMA-262, get ArrayBuffer.prototype.detached.
pub(crate) fn detached<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let buffer = this_buffer(vm, &call)?;
    Ok(Value::boolean(vm.is_detached(buffer)))
}

/// ECMA-262, ArrayBuffer.prototype.resize ( newLength ).
pub(crate) fn resize<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let buffer = this_buffer(vm, &call)?;
    if vm.most_bytes(buffer).is_none() {
        return Err(vm.throw_type("the buffer is not resizable"));
    }
    let len = to_index(vm, vm.arg(&call, 0))?;
    if vm.is_detached(buffer) {
        return Err(throw_detached(vm));
    }
    if vm.most_bytes(buffer).is_none_or(|most| len > most as f64) {
        return Err(vm.throw_range("a buffer cannot become longer than it may"));
    }
    vm.resize_buffer(buffer, len as usize)?;
    Ok(Value::undefined())
}

/// ECMA-262, ArrayBuffer.prototype.slice ( start, end ).
pub(crate) fn slice<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let buffer = this_buffer(vm, &call)?;
    if vm.is_detached(buffer) {
        return Err(throw_detached(vm));
    }
    let len = vm.buffer_len(buffer) as f64;
    let first = relative(vm, vm.arg(&call, 0), len, 0.0)?;
    let last = relative(vm, vm.arg(&call, 1), len, len)?;
    let count = (last - first).max(0.0);
    let constructor = species(vm, buffer, Intrinsic::ArrayBuffer)?;
    let wish = vm.number(count)?;
    let made = vm.construct(constructor, &[wish])?;
    vm.push(made)?;
    let target = match made.as_object() {
        Some(object) if vm.class(object) == Class::Buffer => object,
        _ => return Err(vm.throw_type("a species made no ArrayBuffer")),
    };
    if vm.is_detached(target) || target == buffer || (vm.buffer_len(target) as f64) < count {
        return Err(vm.throw_type("a species made a buffer of no use"));
    }
    if vm.is_detached(buffer) {
        return Err(throw_detached(vm));
    }
    // Making the target may have made this one shorter.
    let left = vm.buffer_len(buffer).saturating_sub(first as usize).min(count as usize);
    if left > 0 {
        let blocks = [vm.buffer_block(buffer), vm.buffer_block(target)];
        vm.copy_bytes(blocks, [first as usize, 0], left)?;
    }
    Ok(made)
}

/// ECMA-262, ArrayBuffer.prototype.transfer ( [ newLength ] ).
pub(crate) fn transfer<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    handed_over(vm, &call, true)
}

/// ECMA-262, ArrayBuffer.prototype.transferToFixedLength ( [ newLength ] ).
pub(crate) fn transfer_to_fixed_length<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    handed_over(vm, &call, false)
}

/// ECMA-262, ArrayBufferCopyAndDetach: no byte is copied unless the length grows.
fn handed_over<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    keeps_most: bool,
) -> Result<Value<L>, Raise> {
    let buffer = this_buffer(vm, call)?;
    let wish = vm.arg(call, 0);
    let len = match wish.is_undefined() {
        true => vm.buffer_len(buffer) as f64,
        false => to_index(vm, wish)?,
    };
    if vm.is_detached(buffer) {
        return Err(throw_detached(vm));
    }
    let most = vm.most_bytes(buffer).filter(|_| keeps_most).map(|most| most as f64);
    if most.is_some_and(|most| len > most) || len > LONGEST {
        return Err(vm.throw_range("a buffer cannot become that long"));
    }
    let prototype: Ref = Intrinsic::ArrayBufferPrototype.reference();
    // What has no room is found out before this buffer is given up.
    let target = vm.new_buffer(prototype, 0.0, most)?;
    vm.push(Value::object(target))?;
    vm.resize_buffer(buffer, len as usize)?;
    vm.move_bytes(buffer, target);
    Ok(Value::object(target))
}
