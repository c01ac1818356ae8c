//! Buffers and their views: `ArrayBuffer`, the typed arrays of numbers, `DataView`
//! (ECMA-262, "Structured Data" and "TypedArray Objects"). There are none of BigInts,
//! and nothing is shared.
//!
//! Here is what the files beside share. Bytes are in `bytes.rs`, element access in
//! `views.rs`.

pub(super) mod buffer;
pub(super) mod change;
pub(super) mod copy;
pub(super) mod data_view;
pub(super) mod typed;
pub(super) mod visit;

use super::{Intrinsic, callback, relative};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, ToIndex.
fn to_index<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, value: Value<L>) -> Result<f64, Raise> {
    let index = vm.to_integer(value)?;
    if (0.0..=super::number::MAX_SAFE_INTEGER).contains(&index) {
        return Ok(index);
    }
    Err(vm.throw_range("not an index"))
}

/// The buffer that the this value must be.
fn this_buffer<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, call: &Call<L>) -> Result<Ref, Raise> {
    match call.this.as_object() {
        Some(object) if vm.class(object) == Class::Buffer => Ok(object),
        _ => Err(vm.throw_type("the this value is not an ArrayBuffer")),
    }
}

fn throw_detached<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>) -> Raise {
    vm.throw_type("the buffer is detached")
}

/// ECMA-262, ValidateTypedArray: the typed array that a value must be, and its length.
fn validated<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<(Ref, f64), Raise> {
    let Some(view) = vm.as_typed(value) else {
        return Err(vm.throw_type("the value is not a typed array"));
    };
    match vm.view_len(view) {
        Some(length) => Ok((view, length as f64)),
        None => Err(vm.throw_type("the array lies outside its buffer")),
    }
}

/// ECMA-262, SpeciesConstructor. The result is rooted.
fn species<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    object: Ref,
    default: Intrinsic,
) -> Result<Value<L>, Raise> {
    let default = Value::object(default.reference());
    let constructor = vm.get(object, Key::name(names::CONSTRUCTOR))?;
    if constructor.is_undefined() {
        return Ok(default);
    }
    let Some(constructor) = constructor.as_object() else {
        return Err(vm.throw_type("a constructor is not an object"));
    };
    vm.push(Value::object(constructor))?;
    let species = vm.get(constructor, Key::name(names::SYMBOL_SPECIES))?;
    if species.is_nullish() {
        return Ok(default);
    }
    if !vm.is_constructor(species) {
        return Err(vm.throw_type("a species is not a constructor"));
    }
    vm.push(species)?;
    Ok(species)
}
