//! One string in another: looking, comparing, splitting, replacing.

use super::pattern::{delegated, refuse_pattern, require_global};
use super::{arg_text, clamped, rooted_text, this_text};
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::text::{TextBuilder, View};
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, String.prototype.includes ( searchString [ , position ] ).
pub(crate) fn includes<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let found = find_arg(vm, &call, true)?;
    Ok(Value::boolean(found.is_some()))
}

/// ECMA-262, String.prototype.indexOf ( searchString [ , position ] ).
pub(crate) fn index_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let found = find_arg(vm, &call, false)?;
    position_value(vm, found)
}

fn find_arg<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    refuses: bool,
) -> Result<Option<usize>, Raise> {
    let (_, text) = this_text(vm, call)?;
    if refuses {
        refuse_pattern(vm, call)?;
    }
    let (_, search) = arg_text(vm, call, 0)?;
    let start = clamped(vm, call, 1, text.len(), 0)?;
    find(vm, &text, &search, start)
}

fn position_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    found: Option<usize>,
) -> Result<Value<L>, Raise> {
    vm.number(found.map_or(-1.0, |at| at as f64))
}

/// ECMA-262, String.prototype.lastIndexOf ( searchString [ , position ] ).
pub(crate) fn last_index_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, text) = this_text(vm, &call)?;
    let (_, search) = arg_text(vm, &call, 0)?;
    let position = vm.to_number(vm.arg(&call, 1))?;
    let Some(last) = text.len().checked_sub(search.len()) else {
        return position_value(vm, None);
    };
    let start = if position.is_nan() { last } else { position.clamp(0.0, last as f64) as usize };
    for at in (0..=start).rev() {
        if matches_at(vm, &text, &search, at)? {
            return position_value(vm, Some(at));
        }
    }
    position_value(vm, None)
}

/// ECMA-262, String.prototype.startsWith ( searchString [ , position ] ).
pub(crate) fn starts_with<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, text) = this_text(vm, &call)?;
    refuse_pattern(vm, &call)?;
    let (_, search) = arg_text(vm, &call, 0)?;
    let start = clamped(vm, &call, 1, text.len(), 0)?;
    let there = start + search.len() <= text.len() && matches_at(vm, &text, &search, start)?;
    Ok(Value::boolean(there))
}

/// ECMA-262, String.prototype.endsWith ( searchString [ , endPosition ] ).
pub(crate) fn ends_with<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, text) = this_text(vm, &call)?;
    refuse_pattern(vm, &call)?;
    let (_, search) = arg_text(vm, &call, 0)?;
    let end = clamped(vm, &call, 1, text.len(), text.len())?;
    let there = match end.checked_sub(search.len()) {
        Some(start) => matches_at(vm, &text, &search, start)?,
        None => false,
    };
    Ok(Value::boolean(there))
}

/// ECMA-262, String.prototype.localeCompare ( that ): by code units, which is an
/// order as the clause asks for.
pub(crate) fn locale_compare<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, text) = this_text(vm, &call)?;
    let (_, that) = arg_text(vm, &call, 0)?;
    vm.spend_on_units(text.len().min(that.len()))?;
    Ok(Value::small(vm.compare_views(&text, &that) as i32))
}

/// ECMA-262, String.prototype.split ( separator, limit ).
pub(crate) fn split<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    if let Some(result) = delegated(vm, &call, names::SYMBOL_SPLIT)? {
        return Ok(result);
    }
    let (value, text) = this_text(vm, &call)?;
    let limit = vm.arg(&call, 1);
    let limit = if limit.is_undefined() { u32::MAX } else { vm.to_u32(limit)? };
    let (_, separator) = arg_text(vm, &call, 0)?;
    let parts = vm.new_array(0)?;
    vm.push(Value::object(parts))?;
    let whole = vm.arg(&call, 0).is_undefined() || text.len() == 0 && separator.len() > 0;
    if limit == 0 {
        return Ok(Value::object(parts));
    }
    if whole {
        vm.append(parts, value)?;
        return Ok(Value::object(parts));
    }
    if separator.len() == 0 {
        for at in 0..text.len().min(limit as usize) {
            let unit = Value::unit(vm.unit(&text, at));
            vm.append(parts, unit)?;
        }
        return Ok(Value::object(parts));
    }
    let mut from = 0;
    loop {
        let found = find(vm, &text, &separator, from)?;
        let part = vm.slice_text(value, from, found.unwrap_or(text.len()))?;
        vm.push(part)?;
        vm.append(parts, part)?;
        vm.pop();
        match found {
            Some(at) if vm.array_len(parts) < limit => from = at + separator.len(),
            _ => return Ok(Value::object(parts)),
        }
    }
}

/// ECMA-262, String.prototype.replace ( searchValue, replaceValue ).
pub(crate) fn replace<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    substitute(vm, &call, false)
}

/// ECMA-262, String.prototype.replaceAll ( searchValue, replaceValue ).
pub(crate) fn replace_all<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    substitute(vm, &call, true)
}

fn substitute<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    all: bool,
) -> Result<Value<L>, Raise> {
    if all {
        require_global(vm, call)?;
    }
    if let Some(result) = delegated(vm, call, names::SYMBOL_REPLACE)? {
        return Ok(result);
    }
    let (value, text) = this_text(vm, call)?;
    let (search_value, search) = arg_text(vm, call, 0)?;
    let function = vm.arg(call, 1);
    let function = vm.is_callable(function).then_some(function);
    let template = match function {
        Some(_) => None,
        None => Some(arg_text(vm, call, 1)?.1),
    };
    let Some(mut position) = find(vm, &text, &search, 0)? else { return Ok(value) };
    let mut result = vm.text_builder()?;
    let mut end = 0;
    loop {
        result.push_view(vm, &text, end, position)?;
        end = position + search.len();
        if let Some(function) = function {
            let before = vm.heap.sp;
            let at = vm.number(position as f64)?;
            let replacement =
                vm.invoke(function, Value::undefined(), &[search_value, at, value])?;
            let (_, replacement) = rooted_text(vm, replacement)?;
            result.push_view(vm, &replacement, 0, replacement.len())?;
            vm.heap.sp = before;
        } else if let Some(template) = template {
            push_substitution(vm, &mut result, &template, &text, position, end)?;
        }
        let from = position + search.len().max(1);
        let next = if all { find(vm, &text, &search, from)? } else { None };
        match next {
            Some(next) => position = next,
            None => break,
        }
    }
    result.push_view(vm, &text, end, text.len())?;
    result.finish(vm)
}

/// ECMA-262, GetSubstitution with no captures: `$1` and `$<` stand for themselves.
fn push_substitution<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    result: &mut TextBuilder,
    template: &View<'m>,
    text: &View<'m>,
    position: usize,
    end: usize,
) -> Result<(), Raise> {
    let mut at = 0;
    while at < template.len() {
        let unit = vm.unit(template, at);
        let next = if at + 1 < template.len() { vm.unit(template, at + 1) } else { 0 };
        at += 1;
        if unit != u16::from(b'$') {
            result.push_unit(vm, unit)?;
            continue;
        }
        at += 1;
        match u8::try_from(next) {
            Ok(b'$') => result.push_unit(vm, unit)?,
            Ok(b'&') => result.push_view(vm, text, position, end)?,
            Ok(b'`') => result.push_view(vm, text, 0, position)?,
            Ok(b'\'') => result.push_view(vm, text, end, text.len())?,
            _ => {
                result.push_unit(vm, unit)?;
                at -= 1;
            }
        }
    }
    Ok(())
}

/// ECMA-262, StringIndexOf.
fn find<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    text: &View<'m>,
    search: &View<'m>,
    from: usize,
) -> Result<Option<usize>, Raise> {
    let mut at = from;
    while at + search.len() <= text.len() {
        if matches_at(vm, text, search, at)? {
            return Ok(Some(at));
        }
        at += 1;
    }
    Ok(None)
}

/// Whether the string that is searched for lies at a place, where it fits.
fn matches_at<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    text: &View<'m>,
    search: &View<'m>,
    at: usize,
) -> Result<bool, Raise> {
    let mut same = 0;
    while same < search.len() && vm.unit(text, at + same) == vm.unit(search, same) {
        same += 1;
    }
    vm.spend(1 + same)?;
    Ok(same == search.len())
}

/// The empty string, where a rooted one is not needed.
pub(super) fn empty<L: Layout>() -> Value<L> {
    Value::name(names::EMPTY)
}
