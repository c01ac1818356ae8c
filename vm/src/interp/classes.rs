//! Handlers of classes and of `super`.
//!
//! It refuses construction, which is `construct`. All of it is rare and out of line.

use super::Next;
use crate::Host;
use crate::builtins::Intrinsic;
use crate::call::CONSTRUCTS;
use crate::define::Descriptor;
use crate::error::Raise;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::image::record;
use scruple_bytecode::names;
use scruple_bytecode::operand::FunctionId;

/// Bit of a member's kind: it is the constructor's, not the prototype's.
const STATIC: usize = 4;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// ECMA-262, ClassDefinitionEvaluation up to the elements.
    pub(super) fn class_of(&mut self, id: FunctionId) -> Next {
        let derives = self
            .current_image()
            .function(id)
            .is_some_and(|function| function.has(record::FLAG_DERIVED));
        let heritage = self.peek(0);
        let (above, parent) = match derives {
            true => self.heritage(heritage)?,
            false => (Intrinsic::ObjectPrototype.reference(), Ref::NONE),
        };
        // A prototype that a getter gave is nowhere else.
        self.push(if above.is_none() { Value::null() } else { Value::object(above) })?;
        let prototype = self.new_object(above, 1)?;
        self.pop();
        self.push(Value::object(prototype))?;
        let closure = self.make_closure_of(id)?;
        self.push(Value::object(closure))?;
        if !parent.is_none() {
            self.set_prototype(closure, parent)?;
        }
        let (key, value) = (Key::name(names::PROTOTYPE), Value::object(prototype));
        self.add_property(closure, key, value, 0)?;
        let (key, value) = (Key::name(names::CONSTRUCTOR), Value::object(closure));
        self.add_property(prototype, key, value, attributes::HIDDEN)?;
        self.pop();
        self.set_slot(self.heap.sp + 1, Value::object(closure));
        Ok(())
    }

    /// What the prototype of a derived class inherits from, and what its constructor
    /// does, unless that is a function as any.
    fn heritage(&mut self, heritage: Value<L>) -> Result<(Ref, Ref), Raise> {
        if heritage.is_null() {
            return Ok((Ref::NONE, Ref::NONE));
        }
        let parent = match heritage.as_object() {
            Some(parent) if self.is_constructor(heritage) => parent,
            _ => return Err(self.throw_type("a class extends a constructor or null")),
        };
        let above = self.get(parent, Key::name(names::PROTOTYPE))?;
        match above.as_object() {
            Some(above) => Ok((above, parent)),
            None if above.is_null() => Ok((Ref::NONE, parent)),
            None => Err(self.throw_type("a constructor's prototype is neither an object nor null")),
        }
    }

    /// ECMA-262, DefineMethod and DefineMethodProperty for an element of a class.
    pub(super) fn define_class_member(&mut self, kind: usize) -> Next {
        let target = self.peek(if kind & STATIC != 0 { 3 } else { 2 });
        let value = self.peek(0);
        let (Some(object), Some(function)) = (target.as_object(), self.as_closure(value)) else {
            return Err(Raise::internal("a member of no class"));
        };
        self.set_link(function, object);
        let key = self.to_key(self.peek(1))?;
        let wish = match kind & !STATIC {
            0 => Descriptor::data(value, attributes::HIDDEN),
            part => Descriptor {
                getter: (part == 1).then_some(function),
                setter: (part != 1).then_some(function),
                enumerable: Some(false),
                configurable: Some(true),
                ..Descriptor::empty()
            },
        };
        if !self.define(object, key, &wish)? {
            return Err(self.throw_not_definable(key));
        }
        self.discard(2)
    }

    pub(super) fn set_class_fields(&mut self) -> Next {
        let values = [2, 1, 0].map(|depth| self.peek(depth).as_object());
        let (Some(closure), Some(prototype), Some(fields)) = (values[0], values[1], values[2])
        else {
            return Err(Raise::internal("fields of no class"));
        };
        for (closure, link) in [(closure, fields), (fields, prototype)] {
            if self.as_closure(Value::object(closure)).is_some() {
                self.set_link(closure, link);
            }
        }
        self.discard(1)
    }

    /// ECMA-262, DefineField: CreateDataPropertyOrThrow.
    pub(super) fn define_own_field(&mut self) -> Next {
        let value = self.peek(0);
        let Some(object) = self.peek(2).as_object() else {
            return Err(Raise::internal("a field of no object"));
        };
        let key = self.to_key(self.peek(1))?;
        if !self.define(object, key, &Descriptor::data(value, attributes::ALL))? {
            return Err(self.throw_not_definable(key));
        }
        self.discard(2)
    }

    pub(super) fn push_home(&mut self) -> Next {
        let home = match self.as_closure(self.heap.mem_value(self.fp + 2)) {
            Some(closure) => self.link(closure),
            None => Ref::NONE,
        };
        if home.is_none() {
            return Err(Raise::internal("a method without a home"));
        }
        self.put(Value::object(home))
    }

    /// What `new` was applied to: the frame has it where its this value will be.
    pub(super) fn push_target(&mut self) -> Next {
        let found = self
            .as_closure(self.heap.mem_value(self.fp + 2))
            .and_then(|closure| Some((closure, self.closure_function(closure)?)))
            .filter(|(_, function)| function.has(record::FLAG_TARGET));
        let Some((closure, function)) = found else {
            return Err(Raise::internal("a function that has no target"));
        };
        let keeps = usize::from(function.has(record::FLAG_ARGUMENTS));
        let link = self.fp - function.n_slots as usize - 1 - keeps;
        let place = self.slot(link + 1).as_int().unwrap_or(0);
        if place & CONSTRUCTS == 0 {
            return self.put(Value::undefined());
        }
        let target = self.slot(self.fp + 1);
        let this = self.make_this(closure, &function, target)?;
        self.put(target)?;
        self.set_slot(self.fp + 1, this);
        Ok(())
    }

    /// A reference is read before it is written: its key is converted once.
    pub(super) fn copy_super_reference(&mut self) -> Next {
        let (this, base) = (self.peek(2), self.peek(0));
        let key = self.to_key(self.peek(1))?;
        let text = self.key_text(key)?;
        self.set_slot(self.heap.sp + 1, text);
        [this, text, base].into_iter().try_for_each(|value| self.put(value))
    }

    /// ECMA-262, GetValue of a super reference.
    pub(super) fn property_of_super(&mut self) -> Result<Value<L>, Raise> {
        let (base, this) = (self.super_base(self.peek(0))?, self.peek(2));
        let key = self.to_key(self.peek(1))?;
        self.get_from(base, key, this)
    }

    /// ECMA-262, PutValue of a super reference.
    pub(super) fn set_property_of_super(&mut self) -> Next {
        let (base, this) = (self.super_base(self.peek(1))?, self.peek(3));
        let value = self.peek(0);
        let key = self.to_key(self.peek(2))?;
        if !self.set_with(base, key, value, this)? {
            return Err(self.throw_read_only(key));
        }
        self.replace(4, value)
    }

    fn super_base(&mut self, base: Value<L>) -> Result<Ref, Raise> {
        match base.as_object() {
            Some(base) => Ok(base),
            None => Err(self.throw_type("what 'super' stands for is null")),
        }
    }
}
