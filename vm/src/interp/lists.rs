//! Handlers of lists whose length shows only at run time: spread, rest, and the
//! calls with them; and copies of an object's properties.
//!
//! It refuses to iterate, which is `flow`.

use core::ops::Range;

use super::Next;
use crate::Host;
use crate::builtins::Intrinsic;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// ECMA-262, IteratorBindingInitialization of a rest parameter.
    pub(super) fn push_rest(&mut self, first: usize) -> Next {
        let arguments = self.arguments_of()?;
        let rest = self.new_array(0)?;
        self.push(Value::object(rest))?;
        for index in first as u32..self.array_len(arguments) {
            self.spend(1)?;
            let value = self.element(arguments, index).unwrap_or(Value::undefined());
            self.append(rest, value)?;
        }
        self.pop();
        self.put(Value::object(rest))
    }

    /// ECMA-262, ArrayAccumulation of a spread element.
    pub(super) fn extend_array(&mut self) -> Next {
        let array = self.literal_array(self.peek(1))?;
        let iterator = self.values_of(self.peek(0))?;
        self.push(Value::object(iterator))?;
        self.append_rest(array, iterator)?;
        self.pop();
        self.discard(1)
    }

    /// The values an iterator has left, as an array.
    pub(super) fn remaining_values(&mut self) -> Next {
        let iterator = self.iterator(Kind::ValueIterator)?;
        let array = self.new_array(0)?;
        self.push(Value::object(array))?;
        self.append_rest(array, iterator)?;
        self.pop();
        self.replace(1, Value::object(array))
    }

    fn append_rest(&mut self, array: Ref, iterator: Ref) -> Next {
        while let Some(value) = self.advance(iterator)? {
            self.spend(1)?;
            self.push(value)?;
            self.append(array, value)?;
            self.pop();
        }
        Ok(())
    }

    fn literal_array(&self, value: Value<L>) -> Result<Ref, Raise> {
        value
            .as_object()
            .filter(|_| self.is_array(value))
            .ok_or(Raise::internal("a list that is no array"))
    }

    /// Puts an array's elements on the stack in its place, as arguments. Nothing
    /// is allocated between: the array needs no root.
    fn spill(&mut self, array: Ref, sp: usize) -> Result<usize, Raise> {
        let argc = self.array_len(array);
        self.spend(argc as usize)?;
        self.heap.sp = sp;
        for index in 0..argc {
            let value = self.element(array, index).unwrap_or(Value::undefined());
            self.push(value)?;
        }
        Ok(argc as usize)
    }

    pub(super) fn call_with_list(&mut self) -> Next {
        let array = self.literal_array(self.peek(0))?;
        let callee = self.peek(2);
        let argc = self.spill(array, self.heap.sp + 1)?;
        match self.as_closure(callee) {
            Some(closure) => self.enter(closure, argc, 0),
            None => self.call_other(callee, argc, 0),
        }
    }

    pub(super) fn construct_with_list(&mut self) -> Next {
        let array = self.literal_array(self.peek(0))?;
        let constructor = self.peek(1);
        // The place of what `new` is applied to is that of the array.
        let argc = self.spill(array, self.heap.sp)?;
        self.set_slot(self.heap.sp + argc, constructor);
        self.construct_pushed(argc)
    }

    pub(super) fn super_call_with_list(&mut self) -> Next {
        let array = self.literal_array(self.peek(0))?;
        let argc = self.spill(array, self.heap.sp + 1)?;
        self.construct_pushed(argc)
    }

    pub(super) fn copy_into_literal(&mut self) -> Next {
        let Some(target) = self.peek(1).as_object() else {
            return Err(Raise::internal("a literal that is no object"));
        };
        self.copy_own(target, self.peek(0), 0..0)?;
        self.discard(1)
    }

    pub(super) fn copy_all_but(&mut self, n_keys: usize) -> Next {
        let (source, keys) = (self.peek(n_keys), self.heap.sp..self.heap.sp + n_keys);
        let target = self.new_object(Intrinsic::ObjectPrototype.reference(), 0)?;
        self.push(Value::object(target))?;
        self.copy_own(target, source, keys)?;
        self.pop();
        self.replace(n_keys + 1, Value::object(target))
    }

    /// ECMA-262, CopyDataProperties. The excluded keys lie in these slots.
    fn copy_own(
        &mut self,
        target: Ref,
        source: Value<L>,
        excluded: Range<usize>,
    ) -> Result<(), Raise> {
        if source.is_nullish() {
            return Ok(());
        }
        let source = self.to_object(source)?;
        self.push(Value::object(source))?;
        let keys = self.own_keys_and_symbols(source)?;
        self.push(Value::object(keys))?;
        for index in 0..self.array_len(keys) {
            let Some(text) = self.element(keys, index) else { continue };
            let key = self.to_key(text)?;
            if excluded.clone().any(|slot| self.find_key(self.slot(slot)) == Some(key)) {
                continue;
            }
            let own = self.get_own(source, key)?;
            if !own.is_some_and(|own| own.is(attributes::ENUMERABLE)) {
                continue;
            }
            let value = self.get(source, key)?;
            self.push(value)?;
            self.define(target, key, &Descriptor::data(value, attributes::ALL))?;
            self.pop();
        }
        self.pop();
        self.pop();
        Ok(())
    }

    /// ECMA-262, SetFunctionName, for a key known at run time only.
    pub(super) fn name_by_key(&mut self, prefix: usize) -> Next {
        let Some(function) = self.peek(0).as_object() else {
            return Err(Raise::internal("a name for no function"));
        };
        // A class has its own `name` by now if one is static in it.
        if self.listed(self.holder(function), Key::name(names::NAME)).is_some() {
            return Ok(());
        }
        let (key, sp) = (self.peek(1), self.heap.sp);
        let mut name = if key.is_symbol() { self.symbol_name(key)? } else { self.to_text(key)? };
        self.push(name)?;
        if prefix > 0 {
            let kind = self.text_from_str(if prefix == 1 { "get " } else { "set " })?;
            self.push(kind)?;
            name = self.concat(kind, name)?;
            self.pop();
            self.push(name)?;
        }
        self.add_property(function, Key::name(names::NAME), name, attributes::CONFIGURABLE)?;
        self.heap.sp = sp;
        Ok(())
    }
}
