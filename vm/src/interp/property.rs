//! Property handlers: fields, elements, literals.

use super::Next;
use crate::Host;
use crate::builtins::{Intrinsic, method_of};
use crate::define::Descriptor;
use crate::elements::Width;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;
use scruple_bytecode::operand::FieldId;

/// What an object literal defines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Value,
    Getter,
    Setter,
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Reads a field of the value at a depth.
    #[inline(always)]
    pub(super) fn field_of(&mut self, depth: usize, field: FieldId) -> Result<Value<L>, Raise> {
        let base = self.peek(depth);
        let key = self.field_key(field)?;
        // An own data property of a plain object: no call, no prototype.
        if let Some(object) = base.as_object()
            && object.is_cell()
            && let Some(table) = self.plain_table(object)
            && let Some(index) = self.find_in_properties(table, key)
        {
            let (_, bits) = Key::from_slot::<L>(self.heap.slot(table, 2 + 2 * index));
            if bits & attributes::ACCESSOR == 0 {
                return Ok(self.heap.value(table, 3 + 2 * index));
            }
        }
        self.get_value(base, key)
    }

    /// The property table of a plain object that is not folded.
    #[inline(always)]
    fn plain_table(&self, object: Ref) -> Option<Ref> {
        if !self.heap.is_kind(object, Kind::Object) {
            return None;
        }
        let table = self.heap.child(object, 2);
        (table == object || !self.is_record(table)).then_some(table)
    }

    /// ECMA-262, GetValue of a property reference. The base is rooted.
    #[inline(never)]
    pub(crate) fn get_value(&mut self, base: Value<L>, key: Key) -> Result<Value<L>, Raise> {
        if let Some(object) = base.as_object() {
            return match self.array_method(base, key) {
                Some(method) => Ok(method),
                None => self.get_from(object, key, base),
            };
        }
        if base.is_nullish() {
            return Err(self.throw_nullish(base, key));
        }
        if let Some(view) = self.view(base) {
            if key.is_name(names::LENGTH) {
                return self.number(view.len() as f64);
            }
            if let Some(index) = key.as_index()
                && (index as usize) < view.len()
            {
                return Ok(Value::unit(self.unit(&view, index as usize)));
            }
        }
        let prototype = self.prototype_of_primitive(base);
        self.get_from(prototype, key, base)
    }

    /// A method of arrays, where no script has changed any built-in and the array
    /// has nothing of its own but elements: it lies in flash, and the way there is
    /// known.
    #[inline]
    fn array_method(&self, base: Value<L>, key: Key) -> Option<Value<L>> {
        self.as_bare_array(base)?;
        let KeyKind::Name(name) = key.kind() else { return None };
        let method = if name == names::PUSH {
            crate::builtins::ARRAY_PUSH?
        } else {
            crate::builtins::find_method(Intrinsic::ArrayPrototype, name)?
        };
        Some(Value::object(method))
    }

    #[cold]
    fn throw_nullish(&mut self, base: Value<L>, key: Key) -> Raise {
        let what = if base.is_null() {
            "is not to be had of null"
        } else {
            "is not to be had of undefined"
        };
        self.throw_error(Intrinsic::TypeErrorPrototype, what, Some(key))
    }

    /// Writes a field: the object lies under the value.
    #[inline(always)]
    pub(super) fn set_field(&mut self, field: FieldId) -> Result<(), Raise> {
        let (base, value) = (self.peek(1), self.peek(0));
        let key = self.field_key(field)?;
        if let Some(object) = base.as_object()
            && object.is_cell()
            && let Some(table) = self.plain_table(object)
            && let Some(index) = self.find_in_properties(table, key)
        {
            let (_, bits) = Key::from_slot::<L>(self.heap.slot(table, 2 + 2 * index));
            if bits & (attributes::ACCESSOR | attributes::WRITABLE) == attributes::WRITABLE {
                self.heap.set_value(table, 3 + 2 * index, value);
                return Ok(());
            }
        }
        self.put_value(base, key, value)
    }

    /// ECMA-262, PutValue of a property reference. All are rooted.
    #[inline(never)]
    pub(crate) fn put_value(
        &mut self,
        base: Value<L>,
        key: Key,
        value: Value<L>,
    ) -> Result<(), Raise> {
        if base.is_nullish() {
            return Err(self.throw_nullish(base, key));
        }
        let (object, receiver) = match base.as_object() {
            Some(object) => (object, base),
            None => (self.prototype_of_primitive(base), base),
        };
        if self.set_with(object, key, value, receiver)? {
            Ok(())
        } else {
            Err(self.throw_read_only(key))
        }
    }

    /// Reads the element at the key on top of the stack.
    #[inline(always)]
    pub(super) fn element_of(&mut self) -> Result<Value<L>, Raise> {
        let (base, key) = (self.peek(1), self.peek(0));
        if let Some(index) = key.as_int()
            && let Some(object) = base.as_object()
            && object.is_cell()
            && self.heap.is_kind(object, Kind::Array)
            && index >= 0
            && let Some(value) = self.element(object, index as u32)
        {
            return Ok(value);
        }
        self.element_of_slow(base, key)
    }

    #[inline(never)]
    fn element_of_slow(&mut self, base: Value<L>, key: Value<L>) -> Result<Value<L>, Raise> {
        if let Some(index) = key.as_int()
            && let Some(view) = self.view(base)
            && (0..view.len() as i64).contains(&i64::from(index))
        {
            return Ok(Value::unit(self.unit(&view, index as usize)));
        }
        if base.is_nullish() {
            let key = self.find_key(key).unwrap_or(Key::name(names::EMPTY));
            return Err(self.throw_nullish(base, key));
        }
        // A string that is nobody's key is not made one by reading.
        let key = match self.find_key(key) {
            Some(key) => key,
            None if key.is_string() => return Ok(Value::undefined()),
            None => self.to_key(key)?,
        };
        self.get_value(base, key)
    }

    /// Writes an element: object, key and value lie on the stack.
    #[inline(always)]
    pub(super) fn set_element_of(&mut self) -> Result<(), Raise> {
        let (base, key, value) = (self.peek(2), self.peek(1), self.peek(0));
        if let Some(index) = key.as_int()
            && let Some(object) = base.as_object()
            && object.is_cell()
            && self.heap.is_kind(object, Kind::Array)
            && index >= 0
            && self.change_element(object, index as u32, value)
        {
            return Ok(());
        }
        self.set_element_of_slow(base, key, value)
    }

    #[inline(never)]
    fn set_element_of_slow(
        &mut self,
        base: Value<L>,
        key: Value<L>,
        value: Value<L>,
    ) -> Result<(), Raise> {
        if base.is_nullish() {
            let key = self.find_key(key).unwrap_or(Key::name(names::EMPTY));
            return Err(self.throw_nullish(base, key));
        }
        let key = self.to_key(key)?;
        if let Some(object) = base.as_object()
            && self.appends_plainly(object, key)
        {
            return self.append(object, value);
        }
        self.put_value(base, key, value)
    }

    /// Whether writing the key only appends to the array: nothing along the
    /// prototype chain can have a say.
    fn appends_plainly(&self, object: Ref, key: Key) -> bool {
        object.is_cell()
            && self.heap.is_kind(object, Kind::Array)
            && self.heap.roots.changes.is_none()
            && self.heap.child(object, 1).is_none()
            && self.class(object) == Class::Array
            && key.as_index() == Some(self.array_len(object))
            && !self.has_flag(
                object,
                crate::holders::flags::NOT_EXTENSIBLE | crate::holders::flags::LENGTH_FIXED,
            )
    }

    /// Deletes a property in strict mode code: a refusal is a TypeError.
    pub(super) fn delete_of(&mut self, base: Value<L>, key: Key) -> Result<(), Raise> {
        if base.is_nullish() {
            return Err(self.throw_nullish(base, key));
        }
        let Some(object) = base.as_object() else {
            let object = self.to_object(base)?;
            self.push(Value::object(object))?;
            let deleted = self.delete(object, key)?;
            self.pop();
            return if deleted { Ok(()) } else { Err(self.throw_not_deletable(key)) };
        };
        if self.delete(object, key)? { Ok(()) } else { Err(self.throw_not_deletable(key)) }
    }

    /// Defines a property of the object literal at a depth; the value is on top.
    pub(super) fn define_literal(
        &mut self,
        depth: usize,
        key: Key,
        part: Part,
    ) -> Result<(), Raise> {
        let (target, value) = (self.peek(depth), self.peek(0));
        let Some(object) = target.as_object() else {
            return Err(Raise::internal("a literal that is no object"));
        };
        if part == Part::Value {
            let table = self.holder(object);
            let fresh = object.is_cell()
                && self.heap.is_kind(object, Kind::Object)
                && self.find_listed(self.table_of(table), key).is_none();
            if fresh {
                return self.add_property(object, key, value, attributes::ALL);
            }
            self.define(object, key, &Descriptor::data(value, attributes::ALL))?;
            return Ok(());
        }
        let Some(function) = value.as_object() else {
            return Err(Raise::internal("an accessor that is no function"));
        };
        let wish = Descriptor {
            getter: (part == Part::Getter).then_some(function),
            setter: (part == Part::Setter).then_some(function),
            enumerable: Some(true),
            configurable: Some(true),
            ..Descriptor::empty()
        };
        self.define(object, key, &wish)?;
        Ok(())
    }

    pub(super) fn define_computed(&mut self, part: Part) -> Next {
        let key = self.to_key(self.peek(1))?;
        self.define_literal(2, key, part)?;
        self.discard(2)
    }

    /// `__proto__: value` in a literal (ECMA-262, PropertyDefinitionEvaluation of a
    /// name and a value). A shorthand, a method and a computed key define a
    /// property instead: the compiler makes all of them computed ones.
    pub(super) fn set_literal_prototype(&mut self) -> Result<(), Raise> {
        let value = self.peek(0);
        let Some(object) = self.peek(1).as_object() else {
            return Err(Raise::internal("a literal that is no object"));
        };
        if value.is_null() {
            self.set_prototype(object, Ref::NONE)?;
        } else if let Some(prototype) = value.as_object() {
            self.set_prototype(object, prototype)?;
        }
        Ok(())
    }

    pub(super) fn array_literal(&mut self, count: usize) -> Next {
        let top = self.heap.sp + count;
        let values = (top - count..top).map(|at| self.heap.mem_value(at));
        let array = self.new_array_of(Class::Array, Width::of_all(values), count)?;
        self.push(Value::object(array))?;
        for index in 0..count {
            let value = self.heap.mem_value(top - 1 - index);
            self.append(array, value)?;
        }
        self.pop();
        if count == 0 {
            return self.put(Value::object(array));
        }
        self.replace(count, Value::object(array))
    }

    /// ECMA-262, InstanceofOperator. Both values are rooted.
    pub(crate) fn is_instance(
        &mut self,
        value: Value<L>,
        constructor: Value<L>,
    ) -> Result<bool, Raise> {
        if constructor.is_object() {
            let usual = method_of(Intrinsic::FunctionPrototype, names::SYMBOL_HAS_INSTANCE);
            let method = self.get_method(constructor, names::SYMBOL_HAS_INSTANCE)?;
            if let Some(method) = method.filter(|&method| method != usual) {
                let result = self.invoke(method, constructor, &[value])?;
                return Ok(self.to_boolean(result));
            }
        }
        if !self.is_callable(constructor) {
            return Err(self.throw_type("the right side of 'instanceof' is not a function"));
        }
        self.has_instance(value, constructor)
    }

    /// ECMA-262, OrdinaryHasInstance.
    pub(crate) fn has_instance(
        &mut self,
        value: Value<L>,
        constructor: Value<L>,
    ) -> Result<bool, Raise> {
        let Some(object) = constructor.as_object().filter(|_| self.is_callable(constructor)) else {
            return Ok(false);
        };
        if object.is_cell() && self.heap.is_kind(object, Kind::Bound) {
            let target = Value::object(self.heap.child(object, 2));
            return self.nest(|vm| vm.is_instance(value, target));
        }
        let Some(mut below) = value.as_object() else { return Ok(false) };
        let prototype = self.get(object, Key::name(names::PROTOTYPE))?;
        let Some(prototype) = prototype.as_object() else {
            return Err(self.throw_type("a constructor's prototype is not an object"));
        };
        loop {
            self.spend(1)?;
            below = self.prototype(below);
            if below.is_none() {
                return Ok(false);
            }
            if below == prototype {
                return Ok(true);
            }
        }
    }

    pub(super) fn key_from(&mut self) -> Next {
        let value = self.peek(0);
        let base = self.peek(1);
        if value.as_int().is_some_and(|int| int >= 0) || value.is_string() {
            return Ok(());
        }
        if base.is_nullish() {
            return Err(self.throw_nullish(base, Key::name(names::EMPTY)));
        }
        let key = self.to_key(value)?;
        let text = self.key_text(key)?;
        self.replace(1, text)
    }
}
