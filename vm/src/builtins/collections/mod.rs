//! Map, Set, WeakMap and WeakSet (ECMA-262, "Keyed Collections"): their constructors
//! and what they share. The entries themselves are in `entries.rs`.

pub(super) mod algebra;
pub(super) mod map;
pub(super) mod set;
pub(super) mod walk;
pub(super) mod weak;

use super::Intrinsic;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Map ( [ iterable ] ) and its kin: by `new` only.
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    const SET: Ref = Intrinsic::Set.reference();
    const WEAK_MAP: Ref = Intrinsic::WeakMap.reference();
    const WEAK_SET: Ref = Intrinsic::WeakSet.reference();
    let (class, prototype, adder) = match call.callee {
        SET => (Class::Set, Intrinsic::SetPrototype, names::ADD),
        WEAK_MAP => (Class::WeakMap, Intrinsic::WeakMapPrototype, names::SET),
        WEAK_SET => (Class::WeakSet, Intrinsic::WeakSetPrototype, names::ADD),
        _ => (Class::Map, Intrinsic::MapPrototype, names::SET),
    };
    if !call.constructs {
        return Err(vm.throw_type("a collection is made by `new`"));
    }
    let prototype = vm.prototype_for(&call, prototype)?;
    let collection = vm.new_collection(class, prototype)?;
    let this = Value::object(collection);
    vm.push(this)?;
    let iterable = vm.arg(&call, 0);
    if iterable.is_nullish() {
        return Ok(this);
    }
    let adder = vm.get(collection, Key::name(adder))?;
    if !vm.is_callable(adder) {
        return Err(vm.throw_type("the collection has no function to add with"));
    }
    vm.push(adder)?;
    let pairs = matches!(class, Class::Map | Class::WeakMap);
    super::iterate(vm, iterable, |vm, value| {
        if !pairs {
            return vm.invoke(adder, this, &[value]).map(drop);
        }
        let Some(entry) = value.as_object() else {
            return Err(vm.throw_type("an entry is not an object"));
        };
        let key = vm.get_index(entry, 0.0)?;
        vm.push(key)?;
        let value = vm.get_index(entry, 1.0)?;
        vm.push(value)?;
        vm.invoke(adder, this, &[key, value]).map(drop)
    })?;
    Ok(this)
}

/// The collection of a class that the this value must be.
fn this_collection<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    class: Class,
) -> Result<Ref, Raise> {
    match call.this.as_object() {
        Some(object) if vm.class(object) == class => Ok(object),
        _ => Err(vm.throw_type("the this value is no such collection")),
    }
}

/// ECMA-262, CanonicalizeKeyedCollectionKey: one zero is no key.
fn canonical<L: Layout, H: Host>(vm: &Vm<'_, L, H>, key: Value<L>) -> Value<L> {
    if vm.as_number(key) == Some(0.0) { Value::small(0) } else { key }
}

/// Whether the collection has the key that the first argument is.
fn has_key<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    class: Class,
) -> Result<Value<L>, Raise> {
    let collection = this_collection(vm, call, class)?;
    let found = vm.find_entry(collection, vm.arg(call, 0))?;
    Ok(Value::boolean(found.is_some()))
}

/// Removes the key that the first argument is, and tells whether it was there.
fn delete_key<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    class: Class,
) -> Result<Value<L>, Raise> {
    let collection = this_collection(vm, call, class)?;
    let found = vm.find_entry(collection, vm.arg(call, 0))?;
    if let Some(index) = found {
        vm.remove_entry(collection, index);
    }
    Ok(Value::boolean(found.is_some()))
}

/// The value of a key, or undefined.
fn get_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    class: Class,
) -> Result<Value<L>, Raise> {
    let map = this_collection(vm, call, class)?;
    let found = vm.find_entry(map, vm.arg(call, 0))?;
    let table = vm.entries_table(map);
    Ok(found.map_or(Value::undefined(), |index| vm.entry_value(map, table, index)))
}

/// Adds an entry or changes its value; key and value are rooted.
fn put<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    collection: Ref,
    key: Value<L>,
    value: Value<L>,
) -> Result<(), Raise> {
    match vm.find_entry(collection, key)? {
        Some(index) if vm.class(collection) != Class::Set => {
            vm.set_entry_value(collection, index, value);
            Ok(())
        }
        Some(_) => Ok(()),
        None => vm.add_entry(collection, canonical(vm, key), value),
    }
}

/// ECMA-262, getOrInsert and getOrInsertComputed of maps: the value of a key, put
/// there first if there is none.
fn get_or_insert<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    map: Ref,
    computes: bool,
) -> Result<Value<L>, Raise> {
    let function = vm.arg(call, 1);
    if computes && !vm.is_callable(function) {
        return Err(vm.throw_type("the argument is not a function"));
    }
    let key = canonical(vm, vm.arg(call, 0));
    if let Some(index) = vm.find_entry(map, key)? {
        let table = vm.entries_table(map);
        return Ok(vm.entry_value(map, table, index));
    }
    let mut value = function;
    if computes {
        value = vm.invoke(function, Value::undefined(), &[key])?;
        vm.push(value)?;
    }
    put(vm, map, key, value)?;
    Ok(value)
}

/// Calls the function that is the first argument for each entry, those added
/// meanwhile included.
fn for_each<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    class: Class,
) -> Result<Value<L>, Raise> {
    let collection = this_collection(vm, call, class)?;
    let function = vm.arg(call, 0);
    if !vm.is_callable(function) {
        return Err(vm.throw_type("the argument is not a function"));
    }
    let mut cursor = vm.first_entry(collection);
    let root = vm.push(Value::object(cursor.table))?;
    while let Some(index) = vm.next_entry(collection, &mut cursor)? {
        vm.heap.set_mem_value(root, Value::object(cursor.table));
        let value = vm.entry_value(collection, cursor.table, index);
        let key = vm.entry_key(collection, cursor.table, index).unwrap_or(Value::undefined());
        vm.invoke(function, vm.arg(call, 1), &[value, key, Value::object(collection)])?;
    }
    Ok(Value::undefined())
}
