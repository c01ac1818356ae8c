//! `JSON` (ECMA-262, "The JSON Object").
//!
//! Nothing here calls itself: what is open while a text is read, revived or
//! written lies on the machine's stack, so nesting costs no stack of the host
//! program and ends where the machine's own ends.

mod read;
mod revive;
mod write;

use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, JSON.parse ( text [ , reviver ] ).
pub(super) fn parse<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let text = vm.to_text(vm.arg(&call, 0))?;
    vm.push(text)?;
    let value = read::read(vm, text)?;
    let reviver = vm.arg(&call, 1);
    if !vm.is_callable(reviver) {
        return Ok(value);
    }
    vm.push(value)?;
    revive::revive(vm, value, reviver)
}

/// ECMA-262, JSON.stringify ( value [ , replacer [ , space ] ] ).
pub(super) fn stringify<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    write::write(vm, vm.arg(&call, 0), vm.arg(&call, 1), vm.arg(&call, 2))
}
