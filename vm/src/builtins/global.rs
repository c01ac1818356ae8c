//! The functions of the global object that read numbers (ECMA-262, "Function
//! Properties of the Global Object"). Those for URIs are in `uri.rs`.

use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::number;
use crate::text::View;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, isFinite ( number ).
pub(super) fn is_finite<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = vm.to_number(vm.arg(&call, 0))?;
    Ok(Value::boolean(number.is_finite()))
}

/// ECMA-262, isNaN ( number ).
pub(super) fn is_nan<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = vm.to_number(vm.arg(&call, 0))?;
    Ok(Value::boolean(number.is_nan()))
}

/// ECMA-262, parseFloat ( string ).
pub(super) fn parse_float<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let text = vm.to_text(vm.arg(&call, 0))?;
    let number = match vm.view(text) {
        Some(view) => {
            let start = first_solid(vm, &view)?;
            number::decimal_prefix::<H>(view.len() - start, &|at| vm.unit(&view, start + at))
        }
        None => None,
    };
    let (number, used) = number.unwrap_or((f64::NAN, 0));
    vm.spend_on_units(used)?;
    vm.number(number)
}

/// ECMA-262, parseInt ( string, radix ).
pub(super) fn parse_int<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let text = vm.to_text(vm.arg(&call, 0))?;
    // The conversion of the radix may run a script.
    vm.push(text)?;
    let radix = vm.to_i32(vm.arg(&call, 1))?;
    let Some(view) = vm.view(text) else { return Err(Raise::internal("no text")) };
    let mut at = first_solid(vm, &view)?;
    let unit = |at: usize| if at < view.len() { vm.unit(&view, at) } else { 0 };
    let negative = unit(at) == u16::from(b'-');
    if negative || unit(at) == u16::from(b'+') {
        at += 1;
    }
    let prefixed = unit(at) == u16::from(b'0') && matches!(unit(at + 1), 0x58 | 0x78);
    let radix = match radix {
        0 if prefixed => 16,
        0 => 10,
        radix => radix,
    };
    if !(2..=36).contains(&radix) {
        return vm.number(f64::NAN);
    }
    if radix == 16 && prefixed {
        at += 2;
    }
    let (number, used) = number::integer::<H>(view.len() - at, &|i| unit(at + i), radix as u32);
    vm.spend_on_units(used)?;
    vm.number(match used {
        0 => f64::NAN,
        _ if negative => -number,
        _ => number,
    })
}

/// Where the leading white space ends.
fn first_solid<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, view: &View<'_>) -> Result<usize, Raise> {
    let mut at = 0;
    while at < view.len() && number::is_space(vm.unit(view, at)) {
        at += 1;
    }
    vm.spend_on_units(at)?;
    Ok(at)
}
