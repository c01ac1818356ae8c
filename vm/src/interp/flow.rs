//! Construction, iteration: handlers that go through several objects. What a value
//! iterator does is `iterate.rs`.

use super::Next;
use crate::Host;
use crate::call::CONSTRUCTS;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::{NameId, names};

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// `new`: the constructor lies under the arguments; the this value's place is
    /// made between them.
    pub(super) fn construct_literal(&mut self, argc: usize) -> Next {
        self.push(Value::undefined())?;
        let sp = self.heap.sp;
        for index in 0..argc {
            let value = self.heap.mem_value(sp + 1 + index);
            self.heap.set_mem_value(sp + index, value);
        }
        let constructor = self.heap.mem_value(sp + argc + 1);
        self.heap.set_mem_value(sp + argc, constructor);
        self.construct_pushed(argc)
    }

    /// Constructs with what lies on the stack: the constructor, what `new` was applied
    /// to, the arguments.
    pub(super) fn construct_pushed(&mut self, argc: usize) -> Next {
        let constructor = self.heap.mem_value(self.heap.sp + argc + 1);
        match self.as_closure(constructor) {
            Some(closure) => self.construct_closure(closure, argc, 0),
            None if self.is_constructor(constructor) => {
                self.call_other(constructor, argc, CONSTRUCTS)
            }
            None => Err(self.throw_type("not a constructor")),
        }
    }

    pub(super) fn begin_keys(&mut self) -> Next {
        let value = self.peek(0);
        let keys = self.new_array(0)?;
        self.push(Value::object(keys))?;
        if !value.is_nullish() {
            let object = self.to_object(value)?;
            self.push(Value::object(object))?;
            self.collect_enumerable(object, keys)?;
            self.pop();
        }
        let iterator = self.allocate(Kind::KeyIterator, 2)?;
        self.heap.set_child(iterator, 1, keys);
        self.heap.set_value(iterator, 1, Value::small(0));
        self.heap.set_value(iterator, 2, value);
        self.pop();
        self.replace(1, Value::object(iterator))
    }

    /// The enumerable string keys of an object and its prototypes, each once
    /// (ECMA-262, EnumerateObjectProperties).
    fn collect_enumerable(&mut self, object: Ref, keys: Ref) -> Result<(), Raise> {
        let mut holder = object;
        while !holder.is_none() {
            let own = self.own_keys(holder, true)?;
            self.push(Value::object(own))?;
            for index in 0..self.array_len(own) {
                let Some(text) = self.element(own, index) else { continue };
                let key = self.to_key(text)?;
                if !self.is_shadowed(object, holder, key)? {
                    self.append(keys, text)?;
                }
            }
            self.pop();
            holder = self.prototype(holder);
        }
        Ok(())
    }

    /// Whether an object before `holder` in the chain has the key.
    fn is_shadowed(&mut self, object: Ref, holder: Ref, key: Key) -> Result<bool, Raise> {
        let mut below = object;
        while below != holder {
            if self.get_own(below, key)?.is_some() {
                return Ok(true);
            }
            self.spend(1)?;
            below = self.prototype(below);
        }
        Ok(false)
    }

    /// The next key of a `for-in` whose property is still there.
    pub(super) fn following_key(&mut self) -> Result<Option<Value<L>>, Raise> {
        let iterator = self.iterator(Kind::KeyIterator)?;
        let keys = self.heap.child(iterator, 1);
        let value = self.heap.value(iterator, 2);
        loop {
            let index = self.heap.value(iterator, 1).as_int().unwrap_or(0) as u32;
            let Some(text) = self.element(keys, index) else { return Ok(None) };
            self.heap.set_value(iterator, 1, Value::small(index as i32 + 1));
            let Some(object) = value.as_object() else { return Ok(Some(text)) };
            // The collector may lead the list to an equal string.
            self.push(text)?;
            let key = self.to_key(text)?;
            let is_there = self.is_enumerable(object, key)?;
            self.pop();
            if is_there {
                return Ok(Some(text));
            }
        }
    }

    /// Whether the first object of a chain that has a property has it as an enumerable one.
    fn is_enumerable(&mut self, object: Ref, key: Key) -> Result<bool, Raise> {
        let mut holder = object;
        while !holder.is_none() {
            if let Some(own) = self.get_own(holder, key)? {
                return Ok(own.is(attributes::ENUMERABLE));
            }
            self.spend(1)?;
            holder = self.prototype(holder);
        }
        Ok(false)
    }

    pub(super) fn iterator(&mut self, kind: Kind) -> Result<Ref, Raise> {
        match self.peek(0).as_object() {
            Some(object) if object.is_cell() && self.heap.is_kind(object, kind) => Ok(object),
            _ => Err(Raise::internal("no iterator")),
        }
    }

    pub(super) fn begin_values(&mut self) -> Next {
        let value = self.peek(0);
        let iterator = self.values_of(value)?;
        if self.is_generic(iterator) {
            self.note_open(iterator)?;
        }
        self.replace(1, Value::object(iterator))
    }

    /// Steps the iterator on top of the stack past a value.
    pub(super) fn skip_values(&mut self) -> Next {
        let iterator = self.iterator(Kind::ValueIterator)?;
        self.skip(iterator)?;
        self.discard(1)
    }

    /// Closes the iterator on top of the stack, unless it is done.
    pub(super) fn end_values(&mut self) -> Next {
        let iterator = self.iterator(Kind::ValueIterator)?;
        if self.is_generic(iterator) {
            self.close_iterator(iterator)?;
        }
        self.discard(1)
    }

    /// The next value of the iterator on top of the stack.
    pub(super) fn following_value(&mut self) -> Result<Option<Value<L>>, Raise> {
        let iterator = self.iterator(Kind::ValueIterator)?;
        self.advance(iterator)
    }

    /// The own keys of an object as an array of strings: indexes in ascending
    /// order, then the others as they were added (ECMA-262,
    /// OrdinaryOwnPropertyKeys).
    pub(crate) fn own_keys(&mut self, object: Ref, enumerable_only: bool) -> Result<Ref, Raise> {
        let keys = self.new_array(0)?;
        self.push(Value::object(keys))?;
        self.collect_indexes(object, keys, enumerable_only)?;
        self.collect_names(object, keys, enumerable_only, false)?;
        self.pop();
        Ok(keys)
    }

    /// All of them, symbols behind the strings.
    pub(crate) fn own_keys_and_symbols(&mut self, object: Ref) -> Result<Ref, Raise> {
        let keys = self.own_keys(object, false)?;
        self.push(Value::object(keys))?;
        self.collect_names(object, keys, false, true)?;
        self.pop();
        Ok(keys)
    }

    /// The symbols alone.
    pub(crate) fn own_symbols(&mut self, object: Ref) -> Result<Ref, Raise> {
        let keys = self.new_array(0)?;
        self.push(Value::object(keys))?;
        self.collect_names(object, keys, false, true)?;
        self.pop();
        Ok(keys)
    }

    fn collect_indexes(
        &mut self,
        object: Ref,
        keys: Ref,
        enumerable_only: bool,
    ) -> Result<(), Raise> {
        let is_text = object.is_cell() && self.class(object) == Class::Text;
        let is_typed = self.is_typed(object);
        let dense = if is_typed {
            self.view_len(object).unwrap_or(0) as u32
        } else if is_text {
            self.view(self.internal_value(object)).map_or(0, |view| view.len() as u32)
        } else if object.is_cell() && self.heap.is_kind(object, Kind::Array) {
            self.array_room(object)
        } else {
            0
        };
        let mut next = 0u32;
        loop {
            // The lowest listed index from `next` on, and the dense ones before it.
            let listed = self.lowest_listed(object, next);
            while next < dense && listed.is_none_or(|(listed, _)| next < listed) {
                self.spend(1)?;
                if is_text || is_typed || self.element(object, next).is_some() {
                    let text = self.number_text(f64::from(next))?;
                    self.push(text)?;
                    self.append(keys, text)?;
                    self.pop();
                }
                next += 1;
            }
            let Some((listed, key)) = listed else { return Ok(()) };
            self.collect(object, keys, key, enumerable_only)?;
            next = listed + 1;
        }
    }

    fn lowest_listed(&self, object: Ref, from: u32) -> Option<(u32, Key)> {
        let holder = self.holder(object);
        let table = self.table_of(holder);
        (0..self.n_properties(table))
            .filter_map(|at| {
                let key = self.listed_key(table, at).0;
                Some((self.array_index(key)?, key))
            })
            .filter(|&(index, _)| index >= from)
            .min_by_key(|&(index, _)| index)
    }

    fn collect(
        &mut self,
        object: Ref,
        keys: Ref,
        key: Key,
        enumerable_only: bool,
    ) -> Result<(), Raise> {
        self.spend(1)?;
        let Some(own) = self.get_own(object, key)? else { return Ok(()) };
        if enumerable_only && !own.is(attributes::ENUMERABLE) {
            return Ok(());
        }
        let text = self.key_text(key)?;
        self.push(text)?;
        self.append(keys, text)?;
        self.pop();
        Ok(())
    }

    /// The keys that are no indexes: symbols, or all but those.
    fn collect_names(
        &mut self,
        object: Ref,
        keys: Ref,
        enumerable_only: bool,
        symbols: bool,
    ) -> Result<(), Raise> {
        let by_nature = self.natural_names(object);
        for &name in by_nature.iter().flatten().filter(|name| name.is_symbol() == symbols) {
            self.collect(object, keys, Key::name(name), enumerable_only)?;
        }
        if let Some(flash) = crate::builtins::Flash::of(object) {
            let mut index = 0;
            while let Some(name) = flash.name_at(index) {
                if name.is_symbol() == symbols {
                    self.collect(object, keys, Key::name(name), enumerable_only)?;
                }
                index += 1;
            }
        }
        if object == crate::builtins::GLOBAL_OBJECT && !symbols {
            self.collect_globals(keys, enumerable_only)?;
        }
        let mut at = 0;
        loop {
            let holder = self.holder(object);
            let table = self.table_of(holder);
            if at >= self.n_properties(table) {
                return Ok(());
            }
            let (key, _) = self.listed_key(table, at);
            at += 1;
            let collected = match key.kind() {
                KeyKind::Name(name) => {
                    by_nature.contains(&Some(name))
                        || crate::builtins::Flash::of(object)
                            .is_some_and(|flash| flash.has_name(name))
                }
                _ => self.array_index(key).is_some(),
            };
            if !collected && self.is_symbol_key(key) == symbols {
                self.collect(object, keys, key, enumerable_only)?;
            }
        }
    }

    /// The names that an object has by nature, wherever its table has them.
    fn natural_names(&self, object: Ref) -> [Option<NameId>; 3] {
        let value = Value::object(object);
        if object.host().is_some() {
            return [Some(names::LENGTH), Some(names::NAME), None];
        }
        if !object.is_cell() {
            return [None; 3];
        }
        match self.class(object) {
            Class::Function if self.heap.is_kind(object, Kind::Closure) => [
                Some(names::LENGTH),
                Some(names::NAME),
                self.is_constructor(value).then_some(names::PROTOTYPE),
            ],
            Class::Array | Class::Text => [Some(names::LENGTH), None, None],
            Class::Arguments => {
                [Some(names::LENGTH), Some(names::CALLEE), Some(names::SYMBOL_ITERATOR)]
            }
            _ => [None; 3],
        }
    }

    fn collect_globals(&mut self, keys: Ref, enumerable_only: bool) -> Result<(), Raise> {
        for image in 0..self.n_images() {
            let Some(declared) = self.image(image) else { continue };
            for at in 0..declared.n_globals() {
                let Some(key) = self.declared_global(image, at) else { continue };
                self.collect(crate::builtins::GLOBAL_OBJECT, keys, key, enumerable_only)?;
            }
        }
        Ok(())
    }
}
