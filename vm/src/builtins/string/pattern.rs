//! What the methods of strings ask of a pattern that is an object: its own method for
//! the job (ECMA-262, `%Symbol.match%` and its kin). Regular expressions are outside
//! the subset, so a pattern without one is a string.

use super::rooted_text;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::{NameId, names};

/// What the pattern's own method gives for the string, if the pattern is an object and
/// has one.
pub(super) fn delegated<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    symbol: NameId,
) -> Result<Option<Value<L>>, Raise> {
    if call.this.is_nullish() {
        return Err(vm.throw_type("a string method needs a this value"));
    }
    let pattern = vm.arg(call, 0);
    if !pattern.is_object() {
        return Ok(None);
    }
    let Some(method) = vm.get_method(pattern, symbol)? else { return Ok(None) };
    let args = [call.this, vm.arg(call, 1)];
    // Only splitting and replacing have a second argument.
    let argc = if matches!(symbol, names::SYMBOL_SPLIT | names::SYMBOL_REPLACE) { 2 } else { 1 };
    vm.invoke(method, pattern, &args[..argc]).map(Some)
}

/// ECMA-262, IsRegExp.
fn is_pattern<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, value: Value<L>) -> Result<bool, Raise> {
    let Some(object) = value.as_object() else { return Ok(false) };
    let matcher = vm.get(object, Key::name(names::SYMBOL_MATCH))?;
    Ok(vm.to_boolean(matcher))
}

/// A TypeError if the argument calls itself a pattern where only a string will do.
pub(super) fn refuse_pattern<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<(), Raise> {
    if is_pattern(vm, vm.arg(call, 0))? {
        return Err(vm.throw_type("a pattern where a string is needed"));
    }
    Ok(())
}

/// A TypeError if the argument calls itself a pattern and is not for all matches.
pub(super) fn require_global<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<(), Raise> {
    if call.this.is_nullish() {
        return Err(vm.throw_type("a string method needs a this value"));
    }
    let Some(pattern) = vm.arg(call, 0).as_object() else { return Ok(()) };
    if !is_pattern(vm, vm.arg(call, 0))? {
        return Ok(());
    }
    let mark = vm.heap.sp;
    let flags = vm.get(pattern, Key::name(names::FLAGS))?;
    if flags.is_nullish() {
        return Err(vm.throw_type("a pattern without flags"));
    }
    vm.push(flags)?;
    let (_, view) = rooted_text(vm, flags)?;
    let global = (0..view.len()).any(|at| vm.unit(&view, at) == u16::from(b'g'));
    vm.heap.sp = mark;
    if global { Ok(()) } else { Err(vm.throw_type("a pattern that is not for all matches")) }
}

/// ECMA-262, String.prototype.match ( regexp ).
pub(crate) fn matches<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    or_regular_expression(vm, &call, names::SYMBOL_MATCH)
}

/// ECMA-262, String.prototype.matchAll ( regexp ).
pub(crate) fn match_all<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    require_global(vm, &call)?;
    or_regular_expression(vm, &call, names::SYMBOL_MATCH_ALL)
}

/// ECMA-262, String.prototype.search ( regexp ).
pub(crate) fn search<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    or_regular_expression(vm, &call, names::SYMBOL_SEARCH)
}

/// Without a method of the pattern's own, a regular expression would be made of it.
fn or_regular_expression<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    symbol: NameId,
) -> Result<Value<L>, Raise> {
    if let Some(result) = delegated(vm, call, symbol)? {
        return Ok(result);
    }
    rooted_text(vm, call.this)?;
    vm.host_mut().note_unsupported("regular expressions");
    Err(vm.throw_type("unsupported: regular expressions"))
}
