//! `WeakMap.prototype` and `WeakSet.prototype` (ECMA-262, "WeakMap Objects",
//! "WeakSet Objects").

use super::{delete_key, get_or_insert, get_value, has_key, put, this_collection};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// ECMA-262, WeakMap.prototype.delete ( key ).
pub(crate) fn delete_from_map<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    delete_key(vm, &call, Class::WeakMap)
}

/// ECMA-262, WeakMap.prototype.get ( key ).
pub(crate) fn get<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    get_value(vm, &call, Class::WeakMap)
}

/// ECMA-262, WeakMap.prototype.getOrInsert ( key, value ).
pub(crate) fn get_or_insert_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = keeper(vm, &call, Class::WeakMap)?;
    get_or_insert(vm, &call, map, false)
}

/// ECMA-262, WeakMap.prototype.getOrInsertComputed ( key, callback ).
pub(crate) fn get_or_insert_computed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = keeper(vm, &call, Class::WeakMap)?;
    get_or_insert(vm, &call, map, true)
}

/// ECMA-262, WeakMap.prototype.has ( key ).
pub(crate) fn map_has<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    has_key(vm, &call, Class::WeakMap)
}

/// ECMA-262, WeakMap.prototype.set ( key, value ).
pub(crate) fn set<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let map = keeper(vm, &call, Class::WeakMap)?;
    put(vm, map, vm.arg(&call, 0), vm.arg(&call, 1))?;
    Ok(call.this)
}

/// ECMA-262, WeakSet.prototype.add ( value ).
pub(crate) fn add<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let set = keeper(vm, &call, Class::WeakSet)?;
    put(vm, set, vm.arg(&call, 0), Value::undefined())?;
    Ok(call.this)
}

/// ECMA-262, WeakSet.prototype.delete ( value ).
pub(crate) fn delete_from_set<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    delete_key(vm, &call, Class::WeakSet)
}

/// ECMA-262, WeakSet.prototype.has ( value ).
pub(crate) fn set_has<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    has_key(vm, &call, Class::WeakSet)
}

/// The collection that the this value is, if the first argument can be a key of it
/// (ECMA-262, CanBeHeldWeakly).
fn keeper<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    class: Class,
) -> Result<Ref, Raise> {
    let collection = this_collection(vm, call, class)?;
    let key = vm.arg(call, 0);
    if !key.is_object() && !vm.is_unregistered_symbol(key) {
        return Err(vm.throw_type("the value cannot be held weakly"));
    }
    Ok(collection)
}
