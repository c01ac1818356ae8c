//! The functions of `Object` that close an object against change, and those that
//! tell (ECMA-262, SetIntegrityLevel and TestIntegrityLevel).

use super::object::{key_at, push_keys};
use crate::Host;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::holders::flags;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::object::{Class, Own};
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Object.preventExtensions ( O ).
pub(super) fn prevent_extensions<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let value = vm.arg(&call, 0);
    if let Some(object) = value.as_object() {
        require_closing(vm, object)?;
    }
    Ok(value)
}

/// ECMA-262, Object.seal ( O ).
pub(super) fn seal<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    close(vm, vm.arg(&call, 0), false)
}

/// ECMA-262, Object.freeze ( O ).
pub(super) fn freeze<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    close(vm, vm.arg(&call, 0), true)
}

/// ECMA-262, SetIntegrityLevel ( O, frozen ).
pub(crate) fn freeze_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<Value<L>, Raise> {
    close(vm, value, true)
}

/// ECMA-262, Object.isExtensible ( O ).
pub(super) fn is_extensible<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let object = vm.arg(&call, 0).as_object();
    Ok(Value::boolean(object.is_some_and(|object| vm.is_extensible(object))))
}

/// ECMA-262, Object.isSealed ( O ).
pub(super) fn is_sealed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    is_closed(vm, vm.arg(&call, 0), false)
}

/// ECMA-262, Object.isFrozen ( O ).
pub(super) fn is_frozen<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    is_closed(vm, vm.arg(&call, 0), true)
}

fn require_closing<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, object: Ref) -> Result<(), Raise> {
    if vm.prevent_extensions(object)? {
        return Ok(());
    }
    Err(vm.throw_type("an array whose length follows its buffer cannot be closed"))
}

/// ECMA-262, SetIntegrityLevel.
fn close<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    freezes: bool,
) -> Result<Value<L>, Raise> {
    let Some(object) = value.as_object() else { return Ok(value) };
    require_closing(vm, object)?;
    if object.is_cell()
        && matches!(vm.heap.kind(object), Kind::Object | Kind::Array)
        && !vm.is_typed(object)
    {
        if vm.heap.is_kind(object, Kind::Array) {
            vm.list_elements(object)?;
            if freezes && vm.class(object) == Class::Array {
                vm.set_flag(object, flags::LENGTH_FIXED)?;
            }
        }
        let key = Key::name(names::SYMBOL_ITERATOR);
        if vm.class(object) == Class::Arguments
            && let Some(Own::Data { value, attributes }) = vm.get_own(object, key)?
        {
            vm.add_property(object, key, value, attributes)?;
        }
        // All that can change is listed now: no list of keys is needed.
        if vm.heap.is_kind(object, Kind::Object) {
            vm.unfold(object)?;
        }
        restrict_listed(vm, object, freezes);
        return Ok(value);
    }
    let keys = push_keys(vm, object)?;
    for index in 0..vm.array_len(keys) {
        let Some((key, _)) = key_at(vm, keys, index)? else { continue };
        let Some(own) = vm.get_own(object, key)? else { continue };
        let freezes = freezes && matches!(own, Own::Data { .. });
        let wish = Descriptor {
            configurable: Some(false),
            writable: freezes.then_some(false),
            ..Descriptor::empty()
        };
        if !vm.define(object, key, &wish)? {
            return Err(vm.throw_not_definable(key));
        }
    }
    Ok(value)
}

/// Takes attributes from every listed property.
fn restrict_listed<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, object: Ref, freezes: bool) {
    let holder = vm.holder(object);
    if holder.is_none() || vm.heap.child(holder, 2).is_none() {
        return;
    }
    let table = vm.heap.child(holder, 2);
    for index in 0..vm.heap.n_listed(table) {
        let (key, before) = Key::from_slot::<L>(vm.heap.slot(table, 2 + 2 * index));
        let mut after = before & !attributes::CONFIGURABLE;
        if freezes && before & attributes::ACCESSOR == 0 {
            after &= !attributes::WRITABLE;
        }
        vm.heap.set_slot(table, 2 + 2 * index, key.with_attributes::<L>(after));
    }
}

/// ECMA-262, TestIntegrityLevel.
fn is_closed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    frozen: bool,
) -> Result<Value<L>, Raise> {
    let Some(object) = value.as_object() else { return Ok(Value::boolean(true)) };
    if vm.is_extensible(object) {
        return Ok(Value::boolean(false));
    }
    let keys = push_keys(vm, object)?;
    for index in 0..vm.array_len(keys) {
        let Some((key, _)) = key_at(vm, keys, index)? else { continue };
        let open = vm.get_own(object, key)?.is_some_and(|own| {
            let changes = matches!(own, Own::Data { .. }) && own.is(attributes::WRITABLE);
            own.is(attributes::CONFIGURABLE) || frozen && changes
        });
        if open {
            return Ok(Value::boolean(false));
        }
    }
    Ok(Value::boolean(true))
}
