//! Where in its text a value was read: what a reviver is told of it (ECMA-262, JSON
//! Parse Records).
//!
//! No record is kept while a text is read, for that would take as much as the value.
//! The text is known to be well formed, so the place of a member is found again by
//! passing over what lies before it: in an array from the member before, in an object
//! from its start, since the last member of a name counts.

use super::read::Reader;
use crate::Host;
use crate::error::Raise;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

/// The place of the first value of an array or object that begins at a place, or of
/// the one behind a member that begins there; nothing at the end.
pub(super) fn first_or_next<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    text: Value<L>,
    at: usize,
    first: bool,
) -> Result<Option<usize>, Raise> {
    let Some(view) = vm.view(text) else { return Ok(None) };
    let mut reader = Reader::at(view, at);
    if first {
        reader.pass(vm)?;
    } else {
        reader.pass_value(vm)?;
        reader.skip_space(vm);
        if reader.unit(vm) != Some(u16::from(b',')) {
            return Ok(None);
        }
        reader.pass(vm)?;
    }
    reader.skip_space(vm);
    let ends = matches!(reader.unit(vm), None | Some(0x5d | 0x7d));
    Ok((!ends).then_some(reader.place()))
}

/// The place of the value that the object at a place has last under a name. The name
/// is rooted.
pub(super) fn member<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    text: Value<L>,
    at: usize,
    name: Value<L>,
) -> Result<Option<usize>, Raise> {
    let Some(view) = vm.view(text) else { return Ok(None) };
    let mut found = None;
    let mut next = first_or_next(vm, text, at, true)?;
    while let Some(start) = next {
        let mark = vm.heap.sp;
        let mut reader = Reader::at(view, start);
        let own = reader.string(vm)?;
        vm.push(own)?;
        // The colon.
        reader.skip_space(vm);
        reader.pass(vm)?;
        reader.skip_space(vm);
        if vm.strictly_equal(own, name) {
            found = Some(reader.place());
        }
        vm.heap.sp = mark;
        next = first_or_next(vm, text, reader.place(), false)?;
    }
    Ok(found)
}

/// What a reviver is told of a value whose text begins at a place: that text, if the
/// value is a primitive that nobody has changed since. The value is rooted, the text
/// that is given is not.
pub(super) fn of_value<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    text: Value<L>,
    at: usize,
    value: Value<L>,
) -> Result<Option<Value<L>>, Raise> {
    let Some(view) = vm.view(text).filter(|_| !value.is_object()) else { return Ok(None) };
    let mut reader = Reader::at(view, at);
    if matches!(reader.unit(vm), Some(0x5b | 0x7b)) {
        return Ok(None);
    }
    let Some(read) = reader.begin(vm)? else { return Ok(None) };
    if !vm.same_value(read, value) {
        return Ok(None);
    }
    vm.slice_text(text, at, reader.place()).map(Some)
}
