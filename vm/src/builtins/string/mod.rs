//! `String` and `String.prototype` (ECMA-262, "String Objects").
//!
//! Here are the constructor, what reads single units, and what the other files
//! share: `search.rs` looks for one string in another, `shape.rs` cuts and fills,
//! `case.rs` maps letters, `pattern.rs` asks patterns that are objects. Regular
//! expressions are outside the subset, so any other pattern is a string.

pub(super) mod case;
pub(super) mod form;
pub(super) mod pattern;
pub(super) mod search;
pub(super) mod shape;

use super::Intrinsic;
use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::text::View;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::names;

/// The longest string that is tried: no layout's heap holds a longer one.
const LONGEST: f64 = (1 << 30) as f64;

/// ECMA-262, String ( value ).
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let text = match call.argc() {
        0 => Value::name(names::EMPTY),
        _ if vm.arg(&call, 0).is_symbol() && !call.constructs => {
            return vm.symbol_text(vm.arg(&call, 0));
        }
        _ => vm.to_text(vm.arg(&call, 0))?,
    };
    if !call.constructs {
        return Ok(text);
    }
    vm.push(text)?;
    let prototype = vm.prototype_for(&call, Intrinsic::StringPrototype)?;
    vm.new_wrapper(Class::Text, prototype, text).map(Value::object)
}

/// ECMA-262, String.fromCharCode ( ...codeUnits ).
pub(super) fn from_char_code<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    for index in 0..call.argc() {
        let unit = vm.to_u32(vm.arg(&call, index))? as u16;
        vm.set_arg(&call, index, Value::small(i32::from(unit)));
    }
    vm.text_of(call.argc(), true, |vm, index| vm.arg(&call, index).as_int().unwrap_or(0) as u16)
}

/// ECMA-262, String.fromCodePoint ( ...codePoints ).
pub(super) fn from_code_point<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let mut text = vm.text_builder()?;
    for index in 0..call.argc() {
        let number = vm.to_number(vm.arg(&call, index))?;
        if !(0.0..=1_114_111.0).contains(&number) || libm::trunc(number) != number {
            return Err(vm.throw_range("not a code point"));
        }
        text.push_point(vm, number as u32)?;
    }
    text.finish(vm)
}

/// ECMA-262, String.prototype.toString ( ) and String.prototype.valueOf ( ).
pub(super) fn value_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let value = match call.this.as_object() {
        Some(object) if vm.class(object) == Class::Text => vm.internal_value(object),
        _ => call.this,
    };
    if value.is_string() { Ok(value) } else { Err(vm.throw_type("the this value is not a string")) }
}

/// ECMA-262, String.prototype.at ( index ).
pub(super) fn at<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, view) = this_text(vm, &call)?;
    let index = vm.to_integer(vm.arg(&call, 0))?;
    let index = if index < 0.0 { index + view.len() as f64 } else { index };
    Ok(match unit_at(vm, &view, index) {
        Some(unit) => Value::unit(unit),
        None => Value::undefined(),
    })
}

/// ECMA-262, String.prototype.charAt ( pos ).
pub(super) fn char_at<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, view) = this_text(vm, &call)?;
    let index = vm.to_integer(vm.arg(&call, 0))?;
    Ok(match unit_at(vm, &view, index) {
        Some(unit) => Value::unit(unit),
        None => Value::name(names::EMPTY),
    })
}

/// ECMA-262, String.prototype.charCodeAt ( pos ).
pub(super) fn char_code_at<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, view) = this_text(vm, &call)?;
    let index = vm.to_integer(vm.arg(&call, 0))?;
    match unit_at(vm, &view, index) {
        Some(unit) => Ok(Value::small(i32::from(unit))),
        None => vm.number(f64::NAN),
    }
}

/// ECMA-262, String.prototype.codePointAt ( pos ).
pub(super) fn code_point_at<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (_, view) = this_text(vm, &call)?;
    let index = vm.to_integer(vm.arg(&call, 0))?;
    if index < 0.0 || index >= view.len() as f64 {
        return Ok(Value::undefined());
    }
    let (point, _) = vm.code_point(&view, index as usize);
    Ok(Value::small(point as i32))
}

fn unit_at<'m, L: Layout, H: Host>(vm: &Vm<'m, L, H>, view: &View<'m>, index: f64) -> Option<u16> {
    let inside = index >= 0.0 && index < view.len() as f64;
    inside.then(|| vm.unit(view, index as usize))
}

/// ECMA-262, RequireObjectCoercible and ToString of the this value. The string
/// is rooted.
fn this_text<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    call: &Call<L>,
) -> Result<(Value<L>, View<'m>), Raise> {
    if call.this.is_nullish() {
        return Err(vm.throw_type("a string method needs a this value"));
    }
    rooted_text(vm, call.this)
}

/// ToString of an argument. The string is rooted.
fn arg_text<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    call: &Call<L>,
    index: usize,
) -> Result<(Value<L>, View<'m>), Raise> {
    rooted_text(vm, vm.arg(call, index))
}

/// ToString of a value. The string lies on the stack.
fn rooted_text<'m, L: Layout, H: Host>(
    vm: &mut Vm<'m, L, H>,
    value: Value<L>,
) -> Result<(Value<L>, View<'m>), Raise> {
    let text = vm.to_text(value)?;
    vm.push(text)?;
    match vm.view(text) {
        Some(view) => Ok((text, view)),
        None => Err(Raise::internal("ToString gave no string")),
    }
}

/// A whole number from the argument, clamped to what indexes a string of this
/// length; the default if the argument is undefined.
fn clamped<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    index: usize,
    len: usize,
    default: usize,
) -> Result<usize, Raise> {
    let value = vm.arg(call, index);
    if value.is_undefined() {
        return Ok(default);
    }
    Ok(vm.to_integer(value)?.clamp(0.0, len as f64) as usize)
}
