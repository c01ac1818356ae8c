//! Defining and deleting properties (ECMA-262, [[DefineOwnProperty]] and
//! [[Delete]]).
//!
//! Its callers keep objects and values on the machine's stack, as those of
//! `object.rs` do.

use crate::Host;
use crate::builtins;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::{Layout, special};
use crate::object::{Class, Own};
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// A property descriptor (ECMA-262, "The Property Descriptor Specification Type").
#[derive(Clone, Copy, Debug)]
pub(crate) struct Descriptor<L: Layout> {
    pub(crate) value: Option<Value<L>>,
    /// A function, or `Ref::NONE` for undefined.
    pub(crate) getter: Option<Ref>,
    pub(crate) setter: Option<Ref>,
    pub(crate) writable: Option<bool>,
    pub(crate) enumerable: Option<bool>,
    pub(crate) configurable: Option<bool>,
}

impl<L: Layout> Descriptor<L> {
    pub(crate) fn empty() -> Self {
        Descriptor {
            value: None,
            getter: None,
            setter: None,
            writable: None,
            enumerable: None,
            configurable: None,
        }
    }

    pub(crate) fn data(value: Value<L>, attributes: u8) -> Self {
        Descriptor {
            value: Some(value),
            writable: Some(attributes & attributes::WRITABLE != 0),
            enumerable: Some(attributes & attributes::ENUMERABLE != 0),
            configurable: Some(attributes & attributes::CONFIGURABLE != 0),
            ..Descriptor::empty()
        }
    }

    pub(crate) fn is_accessor(&self) -> bool {
        self.getter.is_some() || self.setter.is_some()
    }

    pub(crate) fn is_data(&self) -> bool {
        self.value.is_some() || self.writable.is_some()
    }

    fn attributes_over(&self, before: u8) -> u8 {
        let choose = |wish: Option<bool>, bit: u8| match wish {
            Some(true) => bit,
            Some(false) => 0,
            None => before & bit,
        };
        choose(self.writable, attributes::WRITABLE)
            | choose(self.enumerable, attributes::ENUMERABLE)
            | choose(self.configurable, attributes::CONFIGURABLE)
    }
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// ECMA-262, [[Delete]]: tells whether it was allowed.
    pub(crate) fn delete(&mut self, object: Ref, key: Key) -> Result<bool, Raise> {
        let Some(own) = self.get_own(object, key)? else { return Ok(true) };
        if !own.is(attributes::CONFIGURABLE) || self.typed_key(object, key).is_some() {
            return Ok(false);
        }
        if object.is_cell()
            && self.heap.is_kind(object, Kind::Array)
            && let KeyKind::Index(index) = key.kind()
            && self.element(object, index).is_some()
        {
            self.clear_element(object, index);
            return Ok(true);
        }
        if object == builtins::GLOBAL_OBJECT
            && let Some((at, _)) = self.find_global(key)
        {
            self.heap.mem[at] = Value::<L>::elsewhere().0;
        }
        let by_nature = !object.is_cell()
            || matches!(self.heap.kind(object), Kind::Closure | Kind::Bound)
            || key.is_name(names::SYMBOL_ITERATOR) && self.class(object) == Class::Arguments;
        if by_nature {
            // A mark stays, or what lies in flash would show through.
            self.add_property(
                object,
                key,
                Value::special(special::DELETED),
                attributes::CONFIGURABLE,
            )?;
            return Ok(true);
        }
        let holder = self.make_holder(object)?;
        self.remove_listed(holder, key);
        Ok(true)
    }

    /// ECMA-262, [[DefineOwnProperty]]: tells whether it was allowed.
    pub(crate) fn define(
        &mut self,
        object: Ref,
        key: Key,
        wish: &Descriptor<L>,
    ) -> Result<bool, Raise> {
        if object.is_cell()
            && self.heap.is_kind(object, Kind::Array)
            && self.class(object) == Class::Array
            && key.is_name(names::LENGTH)
        {
            return self.define_length(object, wish);
        }
        if let Some(number) = self.typed_key(object, key) {
            return self.define_typed(object, number, wish);
        }
        let Some(own) = self.get_own(object, key)? else {
            if !self.is_extensible(object) {
                return Ok(false);
            }
            let attributes = wish.attributes_over(0);
            if wish.is_accessor() {
                let pair = Value::object(self.new_accessor(wish.getter, wish.setter)?);
                let attributes = attributes & !attributes::WRITABLE | attributes::ACCESSOR;
                self.push(pair)?;
                let created = self.create(object, key, pair, attributes);
                self.pop();
                return created;
            }
            return self.create(object, key, wish.value.unwrap_or(Value::undefined()), attributes);
        };
        if !self.change_allowed(&own, wish) {
            return Ok(false);
        }
        self.apply(object, key, own, wish)
    }

    /// ECMA-262, ValidateAndApplyPropertyDescriptor, steps 4 to 8.
    fn change_allowed(&self, own: &Own<L>, wish: &Descriptor<L>) -> bool {
        if own.is(attributes::CONFIGURABLE) {
            return true;
        }
        if wish.configurable == Some(true)
            || wish.enumerable.is_some_and(|wish| wish != own.is(attributes::ENUMERABLE))
        {
            return false;
        }
        match *own {
            Own::Accessor { getter, setter, .. } => {
                !wish.is_data()
                    && wish.getter.is_none_or(|wish| wish == getter)
                    && wish.setter.is_none_or(|wish| wish == setter)
            }
            Own::Data { value, attributes } => {
                if wish.is_accessor() {
                    return false;
                }
                attributes & attributes::WRITABLE != 0
                    || wish.writable != Some(true)
                        && wish.value.is_none_or(|wish| self.same_value(wish, value))
            }
        }
    }

    fn apply(
        &mut self,
        object: Ref,
        key: Key,
        own: Own<L>,
        wish: &Descriptor<L>,
    ) -> Result<bool, Raise> {
        let before = own.attributes();
        let (value, attributes) = match own {
            Own::Data { .. } if wish.is_accessor() => {
                let pair = self.new_accessor(wish.getter, wish.setter)?;
                let attributes = wish.attributes_over(before & !attributes::WRITABLE);
                (Value::object(pair), attributes | attributes::ACCESSOR)
            }
            Own::Data { value, .. } => (wish.value.unwrap_or(value), wish.attributes_over(before)),
            Own::Accessor { .. } if wish.is_data() => {
                let value = wish.value.unwrap_or(Value::undefined());
                (value, wish.attributes_over(before & !attributes::WRITABLE))
            }
            Own::Accessor { getter, setter, .. } => {
                let pair =
                    self.new_accessor(wish.getter.or(Some(getter)), wish.setter.or(Some(setter)))?;
                (Value::object(pair), wish.attributes_over(before) | attributes::ACCESSOR)
            }
        };
        if object.is_cell()
            && self.heap.is_kind(object, Kind::Array)
            && let KeyKind::Index(index) = key.kind()
            && self.element(object, index).is_some()
        {
            if attributes == attributes::ALL {
                self.set_element(object, index, value)?;
                return Ok(true);
            }
            // An element has no attributes: it becomes a listed property. The
            // value stays reachable while the table grows.
            self.push(value)?;
            self.add_property(object, key, value, attributes)?;
            self.pop();
            self.clear_element(object, index);
            return Ok(true);
        }
        if object == builtins::GLOBAL_OBJECT
            && attributes == before
            && attributes & attributes::WRITABLE != 0
            && let Some((at, _)) = self.find_global(key)
        {
            self.heap.mem[at] = value.0;
            return Ok(true);
        }
        self.push(value)?;
        self.add_property(object, key, value, attributes)?;
        self.pop();
        if object == builtins::GLOBAL_OBJECT
            && let Some((at, _)) = self.find_global(key)
        {
            self.heap.mem[at] = Value::<L>::elsewhere().0;
        }
        Ok(true)
    }

    fn new_accessor(&mut self, getter: Option<Ref>, setter: Option<Ref>) -> Result<Ref, Raise> {
        let pair = self.allocate(Kind::Accessor, 1)?;
        self.heap.set_child(pair, 1, getter.unwrap_or(Ref::NONE));
        self.heap.set_child(pair, 2, setter.unwrap_or(Ref::NONE));
        Ok(pair)
    }
}
