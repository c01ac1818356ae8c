//! Strings as sequences of code points and of raw parts: `raw`, the well-formed
//! forms, and what of the normal forms needs no table.
//!
//! The tables of the Unicode Character Database are refused: they would take more
//! flash than all other built-ins of strings.

use super::{rooted_text, this_text};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::text::View;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, String.raw ( template, ...substitutions ).
pub(crate) fn raw<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let cooked = vm.to_object(vm.arg(&call, 0))?;
    vm.push(Value::object(cooked))?;
    let literals = vm.get(cooked, Key::name(names::RAW))?;
    vm.push(literals)?;
    let literals = vm.to_object(literals)?;
    vm.push(Value::object(literals))?;
    let length = vm.length_of(literals)?;
    let mut result = vm.text_builder()?;
    let mark = vm.heap.sp;
    let mut index = 0.0;
    while index < length {
        vm.spend(1)?;
        let part = vm.get_index(literals, index)?;
        vm.push(part)?;
        let (part, _) = rooted_text(vm, part)?;
        result.push_value(vm, part)?;
        index += 1.0;
        if index < length && index <= call.argc() as f64 - 1.0 {
            let (part, _) = rooted_text(vm, vm.arg(&call, index as usize))?;
            result.push_value(vm, part)?;
        }
        vm.heap.sp = mark;
    }
    result.finish(vm)
}

/// ECMA-262, String.prototype.isWellFormed ( ).
pub(crate) fn is_well_formed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, text) = this_text(vm, &call)?;
    vm.spend_on_units(text.len())?;
    Ok(Value::boolean(lone_surrogate(vm, &text, 0).is_none()))
}

/// ECMA-262, String.prototype.toWellFormed ( ).
pub(crate) fn to_well_formed<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    const REPLACEMENT: u16 = 0xfffd;
    let (value, text) = this_text(vm, &call)?;
    vm.spend_on_units(text.len())?;
    let Some(mut lone) = lone_surrogate(vm, &text, 0) else { return Ok(value) };
    let mut result = vm.text_builder()?;
    let mut from = 0;
    loop {
        result.push_view(vm, &text, from, lone)?;
        result.push_unit(vm, REPLACEMENT)?;
        from = lone + 1;
        match lone_surrogate(vm, &text, from) {
            Some(next) => lone = next,
            None => break,
        }
    }
    result.push_view(vm, &text, from, text.len())?;
    result.finish(vm)
}

/// The first surrogate from a place on that is half of no pair.
fn lone_surrogate<'m, L: Layout, H: Host>(
    vm: &Vm<'m, L, H>,
    text: &View<'m>,
    from: usize,
) -> Option<usize> {
    let mut at = from;
    while at < text.len() {
        let (point, units) = vm.code_point(text, at);
        if (0xd800..0xe000).contains(&point) {
            return Some(at);
        }
        at += units;
    }
    None
}

/// ECMA-262, String.prototype.normalize ( [ form ] ): below U+0080 every form leaves
/// a string as it is, and below U+0300 the form NFC does (Unicode Standard Annex 15,
/// "Detecting Normalization Forms": all of them have the quick check Yes there).
pub(crate) fn normalize<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (value, text) = this_text(vm, &call)?;
    let form = vm.arg(&call, 0);
    let mut composes = true;
    if !form.is_undefined() {
        let (form, _) = rooted_text(vm, form)?;
        composes = vm.is_text(form, "NFC");
        if !composes && !["NFD", "NFKC", "NFKD"].iter().any(|other| vm.is_text(form, other)) {
            return Err(vm.throw_range("not a normal form"));
        }
    }
    let limit = if composes { 0x300 } else { 0x80 };
    vm.spend_on_units(text.len())?;
    if (0..text.len()).all(|at| vm.unit(&text, at) < limit) {
        return Ok(value);
    }
    vm.host_mut().note_unsupported("normal forms of other letters");
    Err(vm.throw_type("unsupported: normal forms of other letters"))
}
