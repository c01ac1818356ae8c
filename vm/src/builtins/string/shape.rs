//! Cutting strings, filling them up, and putting them together.

use super::search::empty;
use super::{LONGEST, arg_text, clamped, rooted_text, this_text};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::{Layout, Tag};
use crate::number::is_space;
use crate::text::View;
use crate::value::Value;
use crate::vm::Vm;

/// ECMA-262, String.prototype.slice ( start, end ).
pub(crate) fn slice<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, &call)?;
    let start = from_either_end(vm, vm.arg(&call, 0), text.len(), 0)?;
    let end = from_either_end(vm, vm.arg(&call, 1), text.len(), text.len())?;
    vm.slice_text(value, start.min(end), end)
}

/// ECMA-262, String.prototype.substring ( start, end ).
pub(crate) fn substring<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, &call)?;
    let start = clamped(vm, &call, 0, text.len(), 0)?;
    let end = clamped(vm, &call, 1, text.len(), text.len())?;
    vm.slice_text(value, start.min(end), start.max(end))
}

/// ECMA-262, String.prototype.substr ( start, length ), annex B.
pub(crate) fn substr<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, &call)?;
    let start = from_either_end(vm, vm.arg(&call, 0), text.len(), 0)?;
    let rest = text.len() - start;
    let len = clamped(vm, &call, 1, rest, rest)?;
    vm.slice_text(value, start, start + len)
}

/// A position counted from the start, or from the end if it is negative.
fn from_either_end<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    len: usize,
    default: usize,
) -> Result<usize, Raise> {
    if value.is_undefined() {
        return Ok(default);
    }
    let position = vm.to_integer(value)?;
    let position = if position < 0.0 { position + len as f64 } else { position };
    Ok(position.clamp(0.0, len as f64) as usize)
}

/// ECMA-262, String.prototype.trim ( ).
pub(crate) fn trim<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    trim_sides(vm, &call, true, true)
}

/// ECMA-262, String.prototype.trimStart ( ).
pub(crate) fn trim_start<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    trim_sides(vm, &call, true, false)
}

/// ECMA-262, String.prototype.trimEnd ( ).
pub(crate) fn trim_end<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    trim_sides(vm, &call, false, true)
}

/// ECMA-262, TrimString.
fn trim_sides<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    at_start: bool,
    at_end: bool,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, call)?;
    vm.spend_on_units(text.len())?;
    let (mut start, mut end) = (0, text.len());
    while at_start && start < end && is_space(vm.unit(&text, start)) {
        start += 1;
    }
    while at_end && start < end && is_space(vm.unit(&text, end - 1)) {
        end -= 1;
    }
    vm.slice_text(value, start, end)
}

/// ECMA-262, String.prototype.padStart ( maxLength [ , fillString ] ).
pub(crate) fn pad_start<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    pad(vm, &call, true)
}

/// ECMA-262, String.prototype.padEnd ( maxLength [ , fillString ] ).
pub(crate) fn pad_end<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    pad(vm, &call, false)
}

/// ECMA-262, StringPaddingBuiltinsImpl and StringPad.
fn pad<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    at_start: bool,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, call)?;
    let length = vm.to_length(vm.arg(call, 0))?;
    if length <= text.len() as f64 {
        return Ok(value);
    }
    let filler = match vm.arg(call, 1).is_undefined() {
        true => View::Unit(u16::from(b' ')),
        false => arg_text(vm, call, 1)?.1,
    };
    if filler.len() == 0 {
        return Ok(value);
    }
    let fill = checked_length(vm, length)? - text.len();
    let (of_text, of_fill) = if at_start { (fill, 0) } else { (0, text.len()) };
    made(vm, text.len() + fill, text.is_wide() || filler.is_wide(), |vm, target| {
        for at in 0..fill {
            let unit = vm.unit(&filler, at % filler.len());
            vm.set_unit(target, of_fill + at, unit);
        }
        vm.copy_units(target, of_text, &text);
    })
}

/// ECMA-262, String.prototype.repeat ( count ).
pub(crate) fn repeat<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, &call)?;
    let count = vm.to_integer(vm.arg(&call, 0))?;
    if count < 0.0 || count == f64::INFINITY {
        return Err(vm.throw_range("a string cannot be repeated that often"));
    }
    if count == 0.0 || text.len() == 0 {
        return Ok(empty());
    }
    if count == 1.0 {
        return Ok(value);
    }
    let len = checked_length(vm, count * text.len() as f64)?;
    made(vm, len, text.is_wide(), |vm, target| {
        for at in (0..len).step_by(text.len()) {
            vm.copy_units(target, at, &text);
        }
    })
}

/// ECMA-262, String.prototype.concat ( ...args ).
pub(crate) fn concat<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, &call)?;
    let (mut len, mut wide) = (text.len(), text.is_wide());
    for index in 0..call.argc() {
        let before = vm.heap.sp;
        let (part, view) = rooted_text(vm, vm.arg(&call, index))?;
        vm.set_arg(&call, index, part);
        vm.heap.sp = before;
        len += view.len();
        wide |= view.is_wide();
    }
    if len == text.len() {
        return Ok(value);
    }
    let len = checked_length(vm, len as f64)?;
    made(vm, len, wide, |vm, target| {
        vm.copy_units(target, 0, &text);
        let mut at = text.len();
        for index in 0..call.argc() {
            if let Some(view) = vm.view(vm.arg(&call, index)) {
                vm.copy_units(target, at, &view);
                at += view.len();
            }
        }
    })
}

/// A string of a known length, written by a function that allocates nothing.
fn made<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    len: usize,
    wide: bool,
    write: impl FnOnce(&mut Vm<'m, L, H>, &View<'m>),
) -> Result<Value<L>, Raise> {
    vm.spend_on_units(len)?;
    let block = vm.allocate_text(len, wide)?;
    let target = vm.heap_view(block);
    write(vm, &target);
    if len == 1 {
        return Ok(Value::unit(vm.unit(&target, 0)));
    }
    Ok(Value::tagged(Tag::HeapText, block.0))
}

/// A length that can be tried: the heap decides, but not on numbers so large that
/// the host's own arithmetic would have a say.
fn checked_length<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, length: f64) -> Result<usize, Raise> {
    if length >= LONGEST {
        return Err(vm.throw_range("the string would be too long"));
    }
    Ok(length as usize)
}
