//! Objects: the essential internal methods (ECMA-262, "Ordinary Object Internal
//! Methods", and those of arrays, strings and functions).
//!
//! It owns look-up, definition and deletion of properties. Its callers keep the
//! objects and values they pass on the machine's stack: any method that returns
//! `Result` may collect.

use crate::Host;
use crate::builtins::{self, Flash, Intrinsic};
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::{Layout, Tag, special};
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::image::{GlobalKind, record};
use scruple_bytecode::names;
use scruple_bytecode::operand::GlobalId;

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
            _ => Class::Plain,
        }
    }
}

/// Flags of an object, beside its class in one half.
pub(crate) mod flags {
    /// No property can be added.
    pub(crate) const NOT_EXTENSIBLE: u32 = 0x100;
    /// The length of an array cannot change.
    pub(crate) const LENGTH_FIXED: u32 = 0x200;
}

/// An own property.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Own<L: Layout> {
    Data { value: Value<L>, attributes: u8 },
    Accessor { getter: Ref, setter: Ref, attributes: u8 },
}

impl<L: Layout> Own<L> {
    pub(crate) fn attributes(&self) -> u8 {
        match *self {
            Own::Data { attributes, .. } | Own::Accessor { attributes, .. } => attributes,
        }
    }

    pub(crate) fn is(&self, attribute: u8) -> bool {
        self.attributes() & attribute != 0
    }
}

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
    /// Makes an object with room for that many properties. The prototype is
    /// rooted by the caller.
    pub(crate) fn new_object(&mut self, prototype: Ref, room: usize) -> Result<Ref, Raise> {
        self.new_object_of(Class::Plain, prototype, room)
    }

    fn new_object_of(&mut self, class: Class, prototype: Ref, room: usize) -> Result<Ref, Raise> {
        let object = self.allocate(Kind::Object, 1)?;
        self.heap.set_child(object, 1, prototype);
        self.heap.set_child(object, 2, Ref::NONE);
        self.heap.set_half(object, 3, class as u32);
        if room > 0 {
            self.push(Value::object(object))?;
            let table = self.allocate(Kind::Properties, 1 + room);
            self.pop();
            self.heap.set_child(object, 2, table?);
        }
        Ok(object)
    }

    /// Makes an object with an internal value, both rooted by the caller.
    pub(crate) fn new_wrapper(
        &mut self,
        class: Class,
        prototype: Ref,
        value: Value<L>,
    ) -> Result<Ref, Raise> {
        let object = self.allocate(Kind::Object, 2)?;
        self.heap.set_child(object, 1, prototype);
        self.heap.set_child(object, 2, Ref::NONE);
        self.heap.set_half(object, 3, class as u32);
        self.heap.set_value(object, 2, value);
        Ok(object)
    }

    /// The internal value of a wrapper or error object.
    pub(crate) fn internal_value(&self, object: Ref) -> Value<L> {
        if object.is_cell()
            && self.heap.is_kind(object, Kind::Object)
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
            _ => Class::from_bits(self.heap.half(object, 3) & 0xff),
        }
    }

    /// Whether it is a function, of whatever kind.
    pub fn is_callable(&self, value: Value<L>) -> bool {
        value.as_object().is_some_and(|object| self.class(object) == Class::Function)
    }

    pub(crate) fn is_array(&self, value: Value<L>) -> bool {
        value.as_object().is_some_and(|object| self.class(object) == Class::Array)
    }

    /// The block with an object's prototype, properties and flags in its halves
    /// 1 to 3: the object itself, its extra block, or nothing.
    #[inline]
    pub(crate) fn holder(&self, object: Ref) -> Ref {
        if !object.is_cell() {
            return self.changes_of(object);
        }
        match self.heap.kind(object) {
            Kind::Object => object,
            Kind::Array | Kind::Bound => self.heap.child(object, 1),
            _ => self.heap.child(object, 2),
        }
    }

    fn changes_of(&self, object: Ref) -> Ref {
        let list = self.heap.roots.changes;
        if list.is_none() {
            return Ref::NONE;
        }
        let count = self.heap.half(list, 1) as usize;
        (0..count)
            .find(|&at| self.heap.child(list, 2 + 2 * at) == object)
            .map_or(Ref::NONE, |at| self.heap.child(list, 3 + 2 * at))
    }

    /// The holder, made if the object has none yet.
    fn make_holder(&mut self, object: Ref) -> Result<Ref, Raise> {
        let holder = self.holder(object);
        if !holder.is_none() {
            return Ok(holder);
        }
        let prototype = self.prototype(object);
        let extra = self.allocate(Kind::Extra, 1)?;
        self.heap.set_child(extra, 1, prototype);
        self.heap.set_child(extra, 2, Ref::NONE);
        self.heap.set_half(extra, 3, self.class(object) as u32);
        if !object.is_cell() {
            self.push(Value::object(extra))?;
            let noted = self.note_change(object, extra);
            self.pop();
            noted?;
        } else {
            let place = match self.heap.kind(object) {
                Kind::Array | Kind::Bound => 1,
                _ => 2,
            };
            self.heap.set_child(object, place, extra);
        }
        Ok(extra)
    }

    fn note_change(&mut self, object: Ref, extra: Ref) -> Result<(), Raise> {
        let list = self.heap.roots.changes;
        let (count, cells) = match list.is_none() {
            true => (0, 0),
            false => (self.heap.half(list, 1) as usize, self.heap.cells(list)),
        };
        let mut list = list;
        if 2 * (count + 1) + 2 > 4 * cells {
            let grown = self.allocate(Kind::Changes, cells + 1)?;
            for half in 2..2 + 2 * count {
                let kept = self.heap.child(list, half);
                self.heap.set_child(grown, half, kept);
            }
            self.heap.roots.changes = grown;
            list = grown;
        }
        self.heap.set_child(list, 2 + 2 * count, object);
        self.heap.set_child(list, 3 + 2 * count, extra);
        self.heap.set_half(list, 1, count as u32 + 1);
        Ok(())
    }

    /// The prototype of an object, or `Ref::NONE`.
    #[inline]
    pub(crate) fn prototype(&self, object: Ref) -> Ref {
        let holder = self.holder(object);
        if !holder.is_none() {
            return self.heap.child(holder, 1);
        }
        if let Some(flash) = Flash::of(object) {
            return flash.prototype();
        }
        match self.class(object) {
            Class::Array => Intrinsic::ArrayPrototype.reference(),
            Class::Arguments => Intrinsic::ObjectPrototype.reference(),
            _ => Intrinsic::FunctionPrototype.reference(),
        }
    }

    /// ECMA-262, OrdinarySetPrototypeOf.
    pub(crate) fn set_prototype(&mut self, object: Ref, prototype: Ref) -> Result<bool, Raise> {
        if self.prototype(object) == prototype {
            return Ok(true);
        }
        if !self.is_extensible(object) || object == Intrinsic::ObjectPrototype.reference() {
            return Ok(false);
        }
        let mut above = prototype;
        while !above.is_none() {
            if above == object {
                return Ok(false);
            }
            above = self.prototype(above);
        }
        let holder = self.make_holder(object)?;
        self.heap.set_child(holder, 1, prototype);
        Ok(true)
    }

    /// The half of flags that an object has for itself: an array's are not in
    /// its extra block.
    fn flags_block(&self, object: Ref) -> Ref {
        if object.is_cell() && self.heap.is_kind(object, Kind::Array) {
            object
        } else {
            self.holder(object)
        }
    }

    pub(crate) fn has_flag(&self, object: Ref, flag: u32) -> bool {
        let block = self.flags_block(object);
        !block.is_none() && self.heap.half(block, 3) & flag != 0
    }

    pub(crate) fn set_flag(&mut self, object: Ref, flag: u32) -> Result<(), Raise> {
        let mut block = self.flags_block(object);
        if block.is_none() {
            block = self.make_holder(object)?;
        }
        let bits = self.heap.half(block, 3);
        self.heap.set_half(block, 3, bits | flag);
        Ok(())
    }

    pub(crate) fn is_extensible(&self, object: Ref) -> bool {
        object.host().is_none() && !self.has_flag(object, flags::NOT_EXTENSIBLE)
    }

    #[inline]
    pub(crate) fn find_in_properties(&self, table: Ref, key: Key) -> Option<usize> {
        if table.is_none() {
            return None;
        }
        let at = self.heap.slot_of(table);
        let count = L::low(self.heap.mem[at]) as usize;
        let entries = &self.heap.mem[at + 2..at + 2 + 2 * count];
        entries.chunks_exact(2).position(|entry| Key::from_slot::<L>(entry[0]).0 == key)
    }

    /// An own property of a holder's table. The inner `None` marks one deleted
    /// from what the object has in flash or by nature.
    #[inline]
    fn listed(&self, holder: Ref, key: Key) -> Option<Option<Own<L>>> {
        if holder.is_none() {
            return None;
        }
        let table = self.heap.child(holder, 2);
        let index = self.find_in_properties(table, key)?;
        Some(self.property_at(table, index).map(|(_, own)| own))
    }

    /// A property by its place in a table, unless it is marked deleted.
    pub(crate) fn property_at(&self, table: Ref, index: usize) -> Option<(Key, Own<L>)> {
        let (key, attributes) = Key::from_slot::<L>(self.heap.slot(table, 2 + 2 * index));
        let value = self.heap.value(table, 3 + 2 * index);
        if attributes & attributes::ACCESSOR != 0 {
            let pair = Ref(value.payload());
            let (getter, setter) = (self.heap.child(pair, 1), self.heap.child(pair, 2));
            let attributes = attributes & !attributes::ACCESSOR;
            return Some((key, Own::Accessor { getter, setter, attributes }));
        }
        if value == Value::special(special::DELETED) {
            return None;
        }
        Some((key, Own::Data { value, attributes }))
    }

    /// ECMA-262, [[GetOwnProperty]].
    #[inline]
    pub(crate) fn get_own(&mut self, object: Ref, key: Key) -> Result<Option<Own<L>>, Raise> {
        if object.is_cell() && self.heap.is_kind(object, Kind::Object) {
            if let Some(found) = self.listed(object, key) {
                return Ok(found);
            }
            if self.heap.half(object, 3) & 0xff == Class::Text as u32 {
                return self.text_own(object, key);
            }
            return Ok(None);
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
        let holder = self.holder(object);
        if let Some(found) = self.listed(holder, key) {
            return Ok(found);
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
            && self.closure_function(object).is_some_and(|function| {
                !function.has(record::FLAG_ARROW) && !function.has(record::FLAG_METHOD)
            });
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

    /// A script's `var` or function, or a host function, as a property of the
    /// global object.
    fn global_own(&mut self, key: Key) -> Option<Own<L>> {
        if let Some((at, kind)) = self.find_global(key) {
            let value = Value(self.heap.mem[at]);
            return match kind {
                GlobalKind::Var | GlobalKind::Function => Some(Own::Data {
                    value,
                    attributes: attributes::WRITABLE | attributes::ENUMERABLE,
                }),
                GlobalKind::Undeclared => Some(Own::Data { value, attributes: attributes::HIDDEN }),
                GlobalKind::Let | GlobalKind::Const => None,
            };
        }
        self.host_global(key).map(|value| Own::Data { value, attributes: attributes::HIDDEN })
    }

    pub(crate) fn host_global(&self, key: Key) -> Option<Value<L>> {
        let functions = self.host_functions;
        let found = functions.iter().position(|function| self.key_is_str(key, function.name))?;
        Some(Value::object(Ref::from_host(found)))
    }

    fn key_is_str(&self, key: Key, text: &str) -> bool {
        match key.kind() {
            KeyKind::Index(_) => false,
            KeyKind::Name(name) => name.text() == text,
            KeyKind::Constant(constant) => {
                self.is_text(Value::tagged(Tag::ImageText, constant.payload()), text)
            }
            KeyKind::Text(block) => self.is_text(Value::tagged(Tag::HeapText, block.0), text),
        }
    }

    /// The slot and kind of a global that an image holds, whichever it is.
    pub(crate) fn find_global(&self, key: Key) -> Option<(usize, GlobalKind)> {
        for image in 0..self.n_images() {
            let globals = self.heap.roots.globals[image];
            if globals.is_none() {
                continue;
            }
            let names = self.image(image)?;
            for at in 0..names.n_globals() {
                let value = self.heap.value(globals, 2 + at);
                if value == Value::elsewhere() {
                    continue;
                }
                let (kind, name) = names.global(GlobalId::new(at)?)?;
                if self.field_key_in(image, name) == Some(key) {
                    return Some((self.heap.slot_of(globals) + 2 + at, kind));
                }
            }
        }
        None
    }

    /// The value of a global by name: a binding of a script, or a property of
    /// the global object or its prototype.
    pub(crate) fn load_global_by_key(&mut self, key: Key) -> Result<Option<Value<L>>, Raise> {
        if let Some((at, _)) = self.find_global(key) {
            let value: Value<L> = Value(self.heap.mem[at]);
            if value == Value::uninitialised() {
                return Err(self.throw_uninitialised(key));
            }
            return Ok(Some(value));
        }
        let object = builtins::GLOBAL_OBJECT;
        if !self.has_property(object, key)? {
            return Ok(None);
        }
        self.get(object, key).map(Some)
    }

    /// Sets a global by name, or tells that there is none.
    pub(crate) fn store_global_by_key(&mut self, key: Key, value: Value<L>) -> Result<bool, Raise> {
        if let Some((at, kind)) = self.find_global(key) {
            if self.heap.mem[at] == Value::<L>::uninitialised().0 {
                return Err(self.throw_uninitialised(key));
            }
            if kind == GlobalKind::Const {
                return Err(self.throw_constant(key));
            }
            self.heap.mem[at] = value.0;
            return Ok(true);
        }
        let object = builtins::GLOBAL_OBJECT;
        if !self.has_property(object, key)? {
            return Ok(false);
        }
        self.set(object, key, value).map(|()| true)
    }

    /// What a name that a script only uses stands for from the start: a writable
    /// built-in or a host function.
    pub(crate) fn flash_global(&mut self, key: Key) -> Option<Value<L>> {
        if self.holder(builtins::GLOBAL_OBJECT).is_cell() {
            return None;
        }
        match self.get_own(builtins::GLOBAL_OBJECT, key) {
            Ok(Some(Own::Data { value, attributes })) if attributes & attributes::WRITABLE != 0 => {
                Some(value)
            }
            _ => None,
        }
    }

    /// ECMA-262, [[HasProperty]].
    pub(crate) fn has_property(&mut self, object: Ref, key: Key) -> Result<bool, Raise> {
        let mut holder = object;
        while !holder.is_none() {
            if self.get_own(holder, key)?.is_some() {
                return Ok(true);
            }
            holder = self.prototype(holder);
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
        let mut holder = object;
        while !holder.is_none() {
            match self.get_own(holder, key)? {
                Some(Own::Data { value, .. }) => return Ok(value),
                Some(Own::Accessor { getter, .. }) => {
                    if getter.is_none() {
                        return Ok(Value::undefined());
                    }
                    return self.invoke(Value::object(getter), receiver, &[]);
                }
                None => holder = self.prototype(holder),
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
        let mut holder = object;
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
                None => holder = self.prototype(holder),
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
    fn overwrite(&mut self, object: Ref, key: Key, value: Value<L>) -> Result<bool, Raise> {
        if object.is_cell() && self.heap.is_kind(object, Kind::Array) {
            if let KeyKind::Index(index) = key.kind()
                && self.element(object, index).is_some()
            {
                self.set_element(object, index, value);
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
        if !holder.is_none() {
            let table = self.heap.child(holder, 2);
            if let Some(index) = self.find_in_properties(table, key) {
                self.heap.set_value(table, 3 + 2 * index, value);
                return Ok(true);
            }
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
        if !self.is_extensible(object) {
            return Ok(false);
        }
        self.add_property(object, key, value, attributes)?;
        Ok(true)
    }

    /// Appends to the property table, or overwrites what is listed there. Both
    /// object and value are rooted by the caller.
    pub(crate) fn add_property(
        &mut self,
        object: Ref,
        key: Key,
        value: Value<L>,
        attributes: u8,
    ) -> Result<(), Raise> {
        self.keep_key(key);
        let holder = self.make_holder(object)?;
        let table = self.heap.child(holder, 2);
        if let Some(index) = self.find_in_properties(table, key) {
            self.heap.set_slot(table, 2 + 2 * index, key.with_attributes::<L>(attributes));
            self.heap.set_value(table, 3 + 2 * index, value);
            return Ok(());
        }
        let (count, cells) = match table.is_none() {
            true => (0, 0),
            false => (self.heap.half(table, 1) as usize, self.heap.cells(table)),
        };
        let mut table = table;
        if count + 1 >= cells {
            table = self.grow_properties(holder, table, count, cells)?;
        }
        self.heap.set_slot(table, 2 + 2 * count, key.with_attributes::<L>(attributes));
        self.heap.set_value(table, 3 + 2 * count, value);
        self.heap.set_half(table, 1, count as u32 + 1);
        Ok(())
    }

    fn grow_properties(
        &mut self,
        holder: Ref,
        table: Ref,
        count: usize,
        cells: usize,
    ) -> Result<Ref, Raise> {
        if count + 1 >= 1 << L::HALF_BITS.min(16) {
            return Err(Raise::stop(crate::error::StopKind::Heap));
        }
        let more = cells.max(1) + 1 + count / 4;
        if cells > 0
            && (self.heap.extend(table, cells, more) || self.heap.extend(table, cells, cells + 1))
        {
            return Ok(table);
        }
        let grown = self.allocate(Kind::Properties, more)?;
        for slot in 2..2 + 2 * count {
            let kept = self.heap.slot(table, slot);
            self.heap.set_slot(grown, slot, kept);
        }
        self.heap.set_half(grown, 1, count as u32);
        self.heap.set_child(holder, 2, grown);
        Ok(grown)
    }

    /// ECMA-262, [[Delete]]: tells whether it was allowed.
    pub(crate) fn delete(&mut self, object: Ref, key: Key) -> Result<bool, Raise> {
        let Some(own) = self.get_own(object, key)? else { return Ok(true) };
        if !own.is(attributes::CONFIGURABLE) {
            return Ok(false);
        }
        if object.is_cell()
            && self.heap.is_kind(object, Kind::Array)
            && let KeyKind::Index(index) = key.kind()
            && self.element(object, index).is_some()
        {
            self.set_element(object, index, Value::hole());
            return Ok(true);
        }
        if object == builtins::GLOBAL_OBJECT
            && let Some((at, _)) = self.find_global(key)
        {
            self.heap.mem[at] = Value::<L>::elsewhere().0;
        }
        let by_nature =
            !object.is_cell() || matches!(self.heap.kind(object), Kind::Closure | Kind::Bound);
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
        self.remove_listed(object, key);
        Ok(true)
    }

    /// Takes a property out of the table; the order of the others stays.
    pub(crate) fn remove_listed(&mut self, object: Ref, key: Key) {
        let holder = self.holder(object);
        if holder.is_none() {
            return;
        }
        let table = self.heap.child(holder, 2);
        if let Some(index) = self.find_in_properties(table, key) {
            let count = self.heap.half(table, 1) as usize;
            let at = self.heap.slot_of(table) + 2;
            self.heap.mem.copy_within(at + 2 * (index + 1)..at + 2 * count, at + 2 * index);
            self.heap.set_value(table, 3 + 2 * (count - 1), Value::undefined());
            self.heap.set_half(table, 1, count as u32 - 1);
        }
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
                self.set_element(object, index, value);
                return Ok(true);
            }
            // An element has no attributes: it becomes a listed property. The
            // value stays reachable while the table grows.
            self.push(value)?;
            self.add_property(object, key, value, attributes)?;
            self.pop();
            self.set_element(object, index, Value::hole());
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

    /// The key of a field of any image, if it is a string constant.
    pub(crate) fn field_key_in(
        &self,
        image: usize,
        field: scruple_bytecode::operand::FieldId,
    ) -> Option<Key> {
        let lies = crate::value::ImageConst { image, constant: field.into() };
        match self.image(image)?.constant(field.into())? {
            scruple_bytecode::image::Constant::Name(name) => Some(Key::name(name)),
            _ => self.find_key(Value::tagged(Tag::ImageText, lies.payload())),
        }
    }
}
