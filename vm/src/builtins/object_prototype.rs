//! `Object.prototype` (ECMA-262, "Properties of the Object Prototype Object").

use super::Intrinsic;
use super::object::{change_prototype, prototype_of, push_object};
use crate::Host;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::object::{Class, Own};
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// ECMA-262, Object.prototype.hasOwnProperty ( V ).
pub(super) fn has_own_property<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let own = own_of_this(vm, call)?;
    Ok(Value::boolean(own.is_some()))
}

/// ECMA-262, Object.prototype.propertyIsEnumerable ( V ).
pub(super) fn property_is_enumerable<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let own = own_of_this(vm, call)?;
    Ok(Value::boolean(own.is_some_and(|own| own.is(attributes::ENUMERABLE))))
}

/// The key is converted before the this value, as the standard has it.
fn own_of_this<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Option<Own<L>>, Raise> {
    let key = vm.to_key(vm.arg(&call, 0))?;
    let object = push_object(vm, call.this)?;
    vm.get_own(object, key)
}

/// ECMA-262, Object.prototype.isPrototypeOf ( V ).
pub(super) fn is_prototype_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let Some(mut below) = vm.arg(&call, 0).as_object() else { return Ok(Value::boolean(false)) };
    let object = vm.to_object(call.this)?;
    loop {
        vm.spend(1)?;
        below = vm.prototype(below);
        if below.is_none() || below == object {
            return Ok(Value::boolean(below == object));
        }
    }
}

/// ECMA-262, Object.prototype.toLocaleString ( ).
pub(super) fn to_locale_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let method = vm.get_value(call.this, Key::name(names::TO_STRING))?;
    vm.invoke(method, call.this, &[])
}

/// ECMA-262, Object.prototype.toString ( ).
pub(super) fn to_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let this = call.this;
    if !this.is_nullish() {
        let tag = vm.get_value(this, Key::name(names::SYMBOL_TO_STRING_TAG))?;
        if tag.is_string() {
            vm.push(tag)?;
            let mut text = vm.text_builder()?;
            text.push_str(vm, "[object ")?;
            text.push_value(vm, tag)?;
            text.push_str(vm, "]")?;
            return text.finish(vm);
        }
    }
    let tag = if this.is_undefined() {
        "[object Undefined]"
    } else if this.is_null() {
        "[object Null]"
    } else if this.is_symbol() {
        "[object Object]"
    } else if this.as_boolean().is_some() {
        "[object Boolean]"
    } else if this.is_string() {
        "[object String]"
    } else {
        this.as_object().map_or("[object Number]", |object| tag_of(vm, object))
    };
    vm.text_from_latin1(tag.as_bytes())
}

fn tag_of<L: Layout, H: Host>(vm: &Vm<'_, L, H>, object: Ref) -> &'static str {
    const ARRAY_PROTOTYPE: Ref = Intrinsic::ArrayPrototype.reference();
    match vm.class(object) {
        Class::Array => "[object Array]",
        Class::Arguments => "[object Arguments]",
        Class::Function => "[object Function]",
        Class::Error => "[object Error]",
        Class::Boolean => "[object Boolean]",
        Class::Number => "[object Number]",
        Class::Text => "[object String]",
        _ if object == ARRAY_PROTOTYPE => "[object Array]",
        _ => "[object Object]",
    }
}

/// ECMA-262, Object.prototype.valueOf ( ).
pub(super) fn value_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    vm.to_object(call.this).map(Value::object)
}

/// ECMA-262, get Object.prototype.__proto__.
pub(super) fn get_proto<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    prototype_of(vm, call.this)
}

/// ECMA-262, set Object.prototype.__proto__.
pub(super) fn set_proto<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let value = vm.arg(&call, 0);
    if call.this.is_nullish() {
        return Err(vm.throw_type("cannot convert undefined or null to an object"));
    }
    match value.as_object() {
        Some(prototype) => change_prototype(vm, call.this, prototype)?,
        None if value.is_null() => change_prototype(vm, call.this, Ref::NONE)?,
        None => {}
    }
    Ok(Value::undefined())
}

/// ECMA-262, Object.prototype.__defineGetter__ ( P, getter ).
pub(super) fn define_getter<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    define_accessor(vm, &call, true)
}

/// ECMA-262, Object.prototype.__defineSetter__ ( P, setter ).
pub(super) fn define_setter<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    define_accessor(vm, &call, false)
}

fn define_accessor<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    gets: bool,
) -> Result<Value<L>, Raise> {
    let object = push_object(vm, call.this)?;
    let function = vm.arg(call, 1);
    let Some(function) = function.as_object().filter(|_| vm.is_callable(function)) else {
        return Err(vm.throw_type("an accessor is a function"));
    };
    let key = vm.to_key(vm.arg(call, 0))?;
    let wish = Descriptor {
        getter: gets.then_some(function),
        setter: (!gets).then_some(function),
        enumerable: Some(true),
        configurable: Some(true),
        ..Descriptor::empty()
    };
    if !vm.define(object, key, &wish)? {
        return Err(vm.throw_not_definable(key));
    }
    Ok(Value::undefined())
}

/// ECMA-262, Object.prototype.__lookupGetter__ ( P ).
pub(super) fn lookup_getter<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    look_accessor_up(vm, &call, true)
}

/// ECMA-262, Object.prototype.__lookupSetter__ ( P ).
pub(super) fn lookup_setter<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    look_accessor_up(vm, &call, false)
}

fn look_accessor_up<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    gets: bool,
) -> Result<Value<L>, Raise> {
    let mut holder = push_object(vm, call.this)?;
    let key = vm.to_key(vm.arg(call, 0))?;
    while !holder.is_none() {
        match vm.get_own(holder, key)? {
            Some(Own::Accessor { getter, setter, .. }) => {
                let function = if gets { getter } else { setter };
                let there = !function.is_none();
                return Ok(if there { Value::object(function) } else { Value::undefined() });
            }
            Some(Own::Data { .. }) => break,
            None => holder = vm.prototype(holder),
        }
    }
    Ok(Value::undefined())
}
