//! `Map` and `Map.prototype` (ECMA-262, "Map Objects").

use super::{delete_key, get_or_insert, get_value, has_key, put, this_collection};
use crate::Host;
use crate::builtins::Intrinsic;
use crate::builtins::object::each_with_key;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, Map.groupBy ( items, callback ). Nobody sees the map before it is done,
/// so it holds the groups from the start.
pub(crate) fn group_by<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = vm.new_collection(Class::Map, Intrinsic::MapPrototype.reference())?;
    vm.push(Value::object(map))?;
    each_with_key(vm, &call, |vm, value, key| {
        let group = match vm.find_entry(map, key)? {
            Some(index) => vm.entry_value(map, vm.entries_table(map), index),
            None => {
                let group = Value::object(vm.new_array(0)?);
                vm.push(group)?;
                put(vm, map, key, group)?;
                group
            }
        };
        match group.as_object() {
            Some(group) => vm.append(group, value),
            None => Err(Raise::internal("a group that is no array")),
        }
    })?;
    Ok(Value::object(map))
}

/// ECMA-262, Map.prototype.clear ( ).
pub(crate) fn clear<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = this_collection(vm, &call, Class::Map)?;
    vm.clear_entries(map);
    Ok(Value::undefined())
}

/// ECMA-262, Map.prototype.delete ( key ).
pub(crate) fn delete<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    delete_key(vm, &call, Class::Map)
}

/// ECMA-262, Map.prototype.forEach ( callback [ , thisArg ] ).
pub(crate) fn for_each<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    super::for_each(vm, &call, Class::Map)
}

/// ECMA-262, Map.prototype.get ( key ).
pub(crate) fn get<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    get_value(vm, &call, Class::Map)
}

/// ECMA-262, Map.prototype.getOrInsert ( key, value ).
pub(crate) fn get_or_insert_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = this_collection(vm, &call, Class::Map)?;
    get_or_insert(vm, &call, map, false)
}

/// ECMA-262, Map.prototype.getOrInsertComputed ( key, callback ).
pub(crate) fn get_or_insert_computed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = this_collection(vm, &call, Class::Map)?;
    get_or_insert(vm, &call, map, true)
}

/// ECMA-262, Map.prototype.has ( key ).
pub(crate) fn has<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    has_key(vm, &call, Class::Map)
}

/// ECMA-262, Map.prototype.set ( key, value ).
pub(crate) fn set<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = this_collection(vm, &call, Class::Map)?;
    put(vm, map, vm.arg(&call, 0), vm.arg(&call, 1))?;
    Ok(call.this)
}

/// ECMA-262, get Map.prototype.size.
pub(crate) fn size<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = this_collection(vm, &call, Class::Map)?;
    vm.number(vm.n_entries(map) as f64)
}
