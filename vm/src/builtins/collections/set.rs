//! `Set.prototype` (ECMA-262, "Set Objects").

use super::{delete_key, has_key, put, this_collection};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, Set.prototype.add ( value ).
pub(crate) fn add<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let set = this_collection(vm, &call, Class::Set)?;
    put(vm, set, vm.arg(&call, 0), Value::undefined())?;
    Ok(call.this)
}

/// ECMA-262, Set.prototype.clear ( ).
pub(crate) fn clear<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let set = this_collection(vm, &call, Class::Set)?;
    vm.clear_entries(set);
    Ok(Value::undefined())
}

/// ECMA-262, Set.prototype.delete ( value ).
pub(crate) fn delete<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    delete_key(vm, &call, Class::Set)
}

/// ECMA-262, Set.prototype.forEach ( callback [ , thisArg ] ).
pub(crate) fn for_each<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    super::for_each(vm, &call, Class::Set)
}

/// ECMA-262, Set.prototype.has ( value ).
pub(crate) fn has<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    has_key(vm, &call, Class::Set)
}

/// ECMA-262, get Set.prototype.size.
pub(crate) fn size<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let set = this_collection(vm, &call, Class::Set)?;
    vm.number(vm.n_entries(set) as f64)
}
