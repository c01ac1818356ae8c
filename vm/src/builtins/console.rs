//! `console.log`: the host's output, with the standard's ToString; a symbol, which
//! that refuses, is written as its own `toString` writes it.

use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

/// Writes its arguments, a space between, and ends the line. All arguments are
/// converted before the first is written: a conversion that throws prints nothing.
pub(super) fn log<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    for index in 0..call.argc() {
        let value = vm.arg(&call, index);
        let text = if value.is_symbol() { vm.symbol_text(value)? } else { vm.to_text(value)? };
        vm.set_arg(&call, index, text);
    }
    for index in 0..call.argc() {
        if index > 0 {
            vm.host_mut().write(" ");
        }
        let text = vm.arg(&call, index);
        if let Some(view) = vm.view(text) {
            vm.spend_on_units(view.len())?;
            vm.pieces(&view, |vm, piece| vm.host_mut().write(piece));
        }
    }
    vm.host_mut().write("\n");
    if vm.host().takes_more() { Ok(Value::undefined()) } else { Err(Raise::stop_run()) }
}
