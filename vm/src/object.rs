//! Objects: the essential internal methods (ECMA-262, "Ordinary Object Internal
//! Methods", and those of arrays, strings and functions).
//!
//! It owns look-up and assignment; where a prototype, a table and flags lie is in
//! `holders.rs`, tables are in `properties.rs`, definition and
//! deletion in `define.rs`, globals in `globals.rs`. Its callers keep the
//! objects and values they pass on the machine's stack: any method that returns
//! `Result` may collect.

use crate::Host;
use crate::builtins::{self, Flash, Intrinsic};
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::holders::flags;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::Layout;
use crate::properties::MOST_WITHIN;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

/// What an object is besides its properties.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub(crate) enum Class {
    Plain = 0,
    Array = 1,
    Arguments = 2,
    Function = 3,
    Error = 4,
    Boolean = 5,
    Number = 6,
    Text = 7,
    Symbol = 8,
    /// Its internal value is what it goes through; the place and what it gives of
    /// each element lie behind.
    ArrayIterator = 9,
    /// Likewise; the place lies behind.
    TextIterator = 10,
    Map = 11,
    Set = 12,
    WeakMap = 13,
    WeakSet = 14,
    /// See `builtins/collections/walk.rs`.
    EntryIterator = 15,
    /// See `bytes.rs`.
    Buffer = 16,
    /// See `views.rs`.
    Typed = 17,
    DataView = 18,
    RawJson = 19,
}

impl Class {
    fn from_bits(bits: u32) -> Class {
        match bits {
            1 => Class::Array,
            2 => Class::Arguments,
            3 => Class::Function,
            4 => Class::Error,
            5 => Class::Boolean,
            6 => Class::Number,
            7 => Class::Text,
            8 => Class::Symbol,
            9 => Class::ArrayIterator,
            10 => Class::TextIterator,
            11 => Class::Map,
            12 => Class::Set,
            13 => Class::WeakMap,
            14 => Class::WeakSet,
            15 => Class::EntryIterator,
            16 => Class::Buffer,
            17 => Class::Typed,
            18 => Class::DataView,
            19 => Class::RawJson,
            _ => Class::Plain,
        }
    }
}

// The classes whose objects have properties that no table lists.
const TEXT: u32 = Class::Text as u32;
const TYPED: u32 = Class::Typed as u32;

/// An own property.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Own<L: Layout> {
    Data { value: Value<L>, attributes: u8 },
    Accessor { getter: Ref, setter: Ref, attributes: u8 },
}

impl<L: Layout> Own<L> {
    /// An accessor property with %ThrowTypeError% both ways.
    pub(crate) fn thrower(attributes: u8) -> Self {
        let thrower = Intrinsic::ThrowTypeError.reference();
        Own::Accessor { getter: thrower, setter: thrower, attributes }
    }

    pub(crate) fn attributes(&self) -> u8 {
        match *self {
            Own::Data { attributes, .. } | Own::Accessor { attributes, .. } => attributes,
        }
    }

    pub(crate) fn is(&self, attribute: u8) -> bool {
        self.attributes() & attribute != 0
    }
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Makes an object with room for that many properties, if there is memory for them in
    /// one piece. The prototype is rooted by the caller.
    pub(crate) fn new_object(&mut self, prototype: Ref, room: usize) -> Result<Ref, Raise> {
        // Properties beyond that go to a table of their own.
        let room = room.min(MOST_WITHIN);
        let (object, room) = match self.allocate_object(room) {
            Err(_) if room > 0 => (self.allocate_object(0)?, 0),
            object => (object?, room),
        };
        self.heap.set_child(object, 1, prototype);
        self.heap.set_child(object, 2, if room > 0 { object } else { Ref::NONE });
        self.heap.set_half(object, 3, Class::Plain as u32);
        Ok(object)
    }

    /// Makes an object of that many cells for a class that has slots of its own; the
    /// collector looks at the first two of them. The prototype is rooted by the caller.
    pub(crate) fn new_exotic(
        &mut self,
        class: Class,
        prototype: Ref,
        cells: usize,
    ) -> Result<Ref, Raise> {
        let object = self.allocate(Kind::Object, cells)?;
        self.heap.set_child(object, 1, prototype);
        self.heap.set_child(object, 2, Ref::NONE);
        self.heap.set_half(object, 3, class as u32);
        Ok(object)
    }

    /// Makes an object with an internal value, both rooted by the caller.
    pub(crate) fn new_wrapper(
        &mut self,
        class: Class,
        prototype: Ref,
        value: Value<L>,
    ) -> Result<Ref, Raise> {
        let object = self.new_exotic(class, prototype, 2)?;
        self.heap.set_value(object, 2, value);
        Ok(object)
    }

    /// The internal value of a wrapper or error object.
    pub(crate) fn internal_value(&self, object: Ref) -> Value<L> {
        if object.is_cell()
            && self.heap.is_kind(object, Kind::Object)
            && self.heap.half(object, 3) & flags::CLASS != Class::Plain as u32
            && self.heap.cells(object) > 1
        {
            self.heap.value(object, 2)
        } else {
            Flash::of(object).map_or(Value::undefined(), |flash| flash.internal_value())
        }
    }

    pub(crate) fn class(&self, object: Ref) -> Class {
        if !object.is_cell() {
            return match Flash::of(object) {
                Some(flash) => flash.class(),
                None => Class::Function,
            };
        }
        match self.heap.kind(object) {
            Kind::Closure | Kind::Bound => Class::Function,
            Kind::Object | Kind::Array => {
                Class::from_bits(self.heap.half(object, 3) & flags::CLASS)
            }
            // A record; or a box or an iterator, which only a damaged image lets a script
            // see.
            _ => Class::Plain,
        }
    }

    /// Whether it is a function, of whatever kind.
    pub fn is_callable(&self, value: Value<L>) -> bool {
        value.as_object().is_some_and(|object| self.class(object) == Class::Function)
    }

    pub(crate) fn is_array(&self, value: Value<L>) -> bool {
        value.as_object().is_some_and(|object| self.class(object) == Class::Array)
    }

    /// ECMA-262, [[GetOwnProperty]].
    #[inline]
    pub(crate) fn get_own(&mut self, object: Ref, key: Key) -> Result<Option<Own<L>>, Raise> {
        if object.is_cell() && self.heap.is_kind(object, Kind::Object) {
            if let Some(found) = self.listed_in(self.heap.child(object, 2), key) {
                return Ok(found);
            }
            return match self.heap.half(object, 3) & flags::CLASS {
                TEXT => self.text_own(object, key),
                TYPED => self.typed_own(object, key),
                _ => Ok(None),
            };
        }
        if self.is_record(object) {
            return Ok(self.listed(object, key).flatten());
        }
        self.get_own_exotic(object, key)
    }

    fn get_own_exotic(&mut self, object: Ref, key: Key) -> Result<Option<Own<L>>, Raise> {
        if object.is_cell() && self.heap.is_kind(object, Kind::Array) {
            if let KeyKind::Index(index) = key.kind()
                && let Some(value) = self.element(object, index)
            {
                return Ok(Some(Own::Data { value, attributes: attributes::ALL }));
            }
            if key.is_name(names::LENGTH) && self.class(object) == Class::Array {
                let fixed = self.has_flag(object, flags::LENGTH_FIXED);
                let attributes = if fixed { 0 } else { attributes::WRITABLE };
                let value = self.number(f64::from(self.array_len(object)))?;
                return Ok(Some(Own::Data { value, attributes }));
            }
        }
        // ECMA-262, CreateUnmappedArgumentsObject: a property that nothing can change
        // need not be listed.
        if key.is_name(names::CALLEE) && self.class(object) == Class::Arguments {
            return Ok(Some(Own::thrower(0)));
        }
        let holder = self.holder(object);
        if let Some(found) = self.listed(holder, key) {
            return Ok(found);
        }
        if key.is_name(names::SYMBOL_ITERATOR) && self.class(object) == Class::Arguments {
            let value = builtins::method_of(Intrinsic::ArrayPrototype, names::VALUES);
            return Ok(Some(Own::Data { value, attributes: attributes::HIDDEN }));
        }
        if object == builtins::GLOBAL_OBJECT
            && let Some(found) = self.global_own(key)
        {
            return Ok(Some(found));
        }
        if let Some(flash) = Flash::of(object) {
            return flash.own(self, key);
        }
        if self.class(object) == Class::Function {
            return self.function_own(object, key);
        }
        Ok(None)
    }

    /// The properties a function has by nature until a script changes them.
    fn function_own(&mut self, object: Ref, key: Key) -> Result<Option<Own<L>>, Raise> {
        let data = |value, attributes| Ok(Some(Own::Data { value, attributes }));
        if key.is_name(names::LENGTH) {
            let length = self.function_length(object);
            return data(self.number(length)?, attributes::CONFIGURABLE);
        }
        if key.is_name(names::NAME) {
            return data(self.function_name(object)?, attributes::CONFIGURABLE);
        }
        let constructs = object.is_cell()
            && self.heap.is_kind(object, Kind::Closure)
            && self.closure_constructs(object);
        if key.is_name(names::PROTOTYPE) && constructs {
            let prototype = self.new_object(Intrinsic::ObjectPrototype.reference(), 1)?;
            let value = Value::object(prototype);
            self.push(value)?;
            self.add_property(
                prototype,
                Key::name(names::CONSTRUCTOR),
                Value::object(object),
                attributes::HIDDEN,
            )?;
            self.add_property(object, key, value, attributes::WRITABLE)?;
            self.pop();
            return data(value, attributes::WRITABLE);
        }
        Ok(None)
    }

    /// The characters and the length of a String object.
    fn text_own(&mut self, object: Ref, key: Key) -> Result<Option<Own<L>>, Raise> {
        let text = self.internal_value(object);
        let Some(view) = self.view(text) else { return Ok(None) };
        if key.is_name(names::LENGTH) {
            let value = self.number(view.len() as f64)?;
            return Ok(Some(Own::Data { value, attributes: 0 }));
        }
        match key.as_index() {
            Some(index) if (index as usize) < view.len() => {
                let value = Value::unit(self.unit(&view, index as usize));
                Ok(Some(Own::Data { value, attributes: attributes::ENUMERABLE }))
            }
            _ => Ok(None),
        }
    }

    /// ECMA-262, [[HasProperty]].
    pub(crate) fn has_property(&mut self, object: Ref, key: Key) -> Result<bool, Raise> {
        let (mut holder, mut n_steps) = (object, 0);
        while !holder.is_none() {
            if self.get_own(holder, key)?.is_some() {
                return Ok(true);
            }
            self.climb(&mut n_steps)?;
            holder = self.above(holder, key);
        }
        Ok(false)
    }

    /// ECMA-262, Get (O, P).
    pub(crate) fn get(&mut self, object: Ref, key: Key) -> Result<Value<L>, Raise> {
        self.get_from(object, key, Value::object(object))
    }

    /// ECMA-262, [[Get]] with a receiver.
    #[inline]
    pub(crate) fn get_from(
        &mut self,
        object: Ref,
        key: Key,
        receiver: Value<L>,
    ) -> Result<Value<L>, Raise> {
        let (mut holder, mut n_steps) = (object, 0);
        while !holder.is_none() {
            match self.get_own(holder, key)? {
                Some(Own::Data { value, .. }) => return Ok(value),
                Some(Own::Accessor { getter, .. }) => {
                    if getter.is_none() {
                        return Ok(Value::undefined());
                    }
                    return self.invoke(Value::object(getter), receiver, &[]);
                }
                None => {
                    self.climb(&mut n_steps)?;
                    holder = self.above(holder, key);
                }
            }
        }
        Ok(Value::undefined())
    }

    /// ECMA-262, Set (O, P, V, true): a failure is a TypeError.
    pub(crate) fn set(&mut self, object: Ref, key: Key, value: Value<L>) -> Result<(), Raise> {
        if self.set_with(object, key, value, Value::object(object))? {
            Ok(())
        } else {
            Err(self.throw_read_only(key))
        }
    }

    /// ECMA-262, OrdinarySet: tells whether it was allowed.
    pub(crate) fn set_with(
        &mut self,
        object: Ref,
        key: Key,
        value: Value<L>,
        receiver: Value<L>,
    ) -> Result<bool, Raise> {
        let (mut holder, mut n_steps) = (object, 0);
        while !holder.is_none() {
            match self.get_own(holder, key)? {
                Some(Own::Data { attributes, .. }) => {
                    if attributes & attributes::WRITABLE == 0 {
                        return Ok(false);
                    }
                    if receiver == Value::object(holder) {
                        return self.overwrite(holder, key, value);
                    }
                    break;
                }
                Some(Own::Accessor { setter, .. }) => {
                    if setter.is_none() {
                        return Ok(false);
                    }
                    self.invoke(Value::object(setter), receiver, &[value])?;
                    return Ok(true);
                }
                None => {
                    if let Some(number) = self.typed_key(holder, key) {
                        // There is no such element, but the value is converted.
                        if receiver == Value::object(holder) {
                            self.typed_set(holder, number, value)?;
                        }
                        return Ok(true);
                    }
                    self.climb(&mut n_steps)?;
                    holder = self.prototype(holder);
                }
            }
        }
        let Some(target) = receiver.as_object() else { return Ok(false) };
        if target != object {
            match self.get_own(target, key)? {
                Some(Own::Data { attributes, .. }) => {
                    return if attributes & attributes::WRITABLE == 0 {
                        Ok(false)
                    } else {
                        self.overwrite(target, key, value)
                    };
                }
                Some(Own::Accessor { .. }) => return Ok(false),
                None => {}
            }
        }
        self.create(target, key, value, attributes::ALL)
    }

    /// Changes the value of an own data property, which is writable.
    pub(crate) fn overwrite(
        &mut self,
        object: Ref,
        key: Key,
        value: Value<L>,
    ) -> Result<bool, Raise> {
        if let Some(number) = self.typed_key(object, key) {
            self.typed_set(object, number, value)?;
            return Ok(true);
        }
        if object.is_cell() && self.heap.is_kind(object, Kind::Array) {
            if let KeyKind::Index(index) = key.kind()
                && self.element(object, index).is_some()
            {
                self.set_element(object, index, value)?;
                return Ok(true);
            }
            if key.is_name(names::LENGTH) && self.class(object) == Class::Array {
                let length = self.to_array_length(value)?;
                if self.has_flag(object, flags::LENGTH_FIXED) {
                    return Ok(length == self.array_len(object));
                }
                return self.set_array_len(object, length);
            }
        }
        let holder = self.holder(object);
        if self.set_listed(holder, key, value)? {
            return Ok(true);
        }
        if object == builtins::GLOBAL_OBJECT
            && let Some((at, _)) = self.find_global(key)
        {
            self.heap.mem[at] = value.0;
            return Ok(true);
        }
        // What the object has in flash or by nature moves to its table.
        let attributes = match self.get_own(object, key)? {
            Some(own) => own.attributes(),
            None => attributes::ALL,
        };
        self.add_property(object, key, value, attributes)?;
        Ok(true)
    }

    /// Adds a property that the object does not have, if it is extensible.
    pub(crate) fn create(
        &mut self,
        object: Ref,
        key: Key,
        value: Value<L>,
        attributes: u8,
    ) -> Result<bool, Raise> {
        if object.host().is_some() {
            return Ok(false);
        }
        if object.is_cell() && self.heap.is_kind(object, Kind::Array) {
            return self.create_in_array(object, key, value, attributes);
        }
        if object.is_cell()
            && self.heap.is_kind(object, Kind::Object)
            && !self.is_record(self.heap.child(object, 2))
            && self.heap.half(object, 3) & flags::CLASS != TYPED
        {
            // It is its own holder, and what it does not have it does not list: nothing
            // of it is marked deleted.
            if self.heap.half(object, 3) & flags::NOT_EXTENSIBLE != 0 {
                return Ok(false);
            }
            self.keep_key(key);
            self.append_listed(object, key, value, attributes)?;
            return Ok(true);
        }
        if !self.is_extensible(object) || self.typed_key(object, key).is_some() {
            return Ok(false);
        }
        self.add_property(object, key, value, attributes)?;
        Ok(true)
    }
}
