//! Making and throwing the errors that the machine itself raises.

use crate::Host;
use crate::builtins::Intrinsic;
use crate::error::{Raise, StopKind};
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::{Fault, Vm};
use scruple_bytecode::names;

/// Bits of a code offset in an error object's note of where it was made.
const OFFSET_BITS: u32 = 24;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Throws a value. A host function returns what this gives.
    pub fn throw(&mut self, value: Value<L>) -> Raise {
        self.heap.roots.thrown = value;
        self.fault =
            Some(Fault { image: self.current, at: self.pc.saturating_sub(1), stops: false });
        Raise::THROWN
    }

    /// Throws a new TypeError.
    pub fn throw_type(&mut self, message: &str) -> Raise {
        self.throw_error(Intrinsic::TypeErrorPrototype, message, None)
    }

    /// Throws a new RangeError.
    pub fn throw_range(&mut self, message: &str) -> Raise {
        self.throw_error(Intrinsic::RangeErrorPrototype, message, None)
    }

    pub(crate) fn throw_syntax(&mut self, message: &str) -> Raise {
        self.throw_error(Intrinsic::SyntaxErrorPrototype, message, None)
    }

    pub(crate) fn throw_uninitialised(&mut self, key: Key) -> Raise {
        let what = "is used before its initialisation";
        self.throw_error(Intrinsic::ReferenceErrorPrototype, what, Some(key))
    }

    pub(crate) fn throw_not_defined(&mut self, key: Key) -> Raise {
        self.throw_error(Intrinsic::ReferenceErrorPrototype, "is not defined", Some(key))
    }

    pub(crate) fn throw_constant(&mut self, key: Key) -> Raise {
        let what = "is a constant and cannot be assigned to";
        self.throw_error(Intrinsic::TypeErrorPrototype, what, Some(key))
    }

    pub(crate) fn throw_read_only(&mut self, key: Key) -> Raise {
        let what = "is a property that cannot be set here";
        self.throw_error(Intrinsic::TypeErrorPrototype, what, Some(key))
    }

    pub(crate) fn throw_not_deletable(&mut self, key: Key) -> Raise {
        let what = "is a property that cannot be deleted";
        self.throw_error(Intrinsic::TypeErrorPrototype, what, Some(key))
    }

    pub(crate) fn throw_not_definable(&mut self, key: Key) -> Raise {
        let what = "is a property that cannot be defined so";
        self.throw_error(Intrinsic::TypeErrorPrototype, what, Some(key))
    }

    /// An error whose message is a text, behind the name of a key if one is given.
    pub(crate) fn throw_error(
        &mut self,
        prototype: Intrinsic,
        text: &str,
        key: Option<Key>,
    ) -> Raise {
        match self.make_error(prototype, text, key) {
            Ok(error) => self.throw(error),
            Err(raise) => raise,
        }
    }

    fn make_error(
        &mut self,
        prototype: Intrinsic,
        text: &str,
        key: Option<Key>,
    ) -> Result<Value<L>, Raise> {
        let before = self.heap.sp;
        let message = match key {
            None => self.text_from_str(text)?,
            Some(key) => {
                let name = self.key_text(key)?;
                let name = if name.is_symbol() { self.symbol_text(name)? } else { name };
                self.push(name)?;
                let mut builder = self.text_builder()?;
                builder.push_value(self, name)?;
                builder.push_str(self, " ")?;
                builder.push_str(self, text)?;
                builder.finish(self)?
            }
        };
        self.push(message)?;
        let error = self.new_error(prototype.reference())?;
        self.push(Value::object(error))?;
        self.add_property(error, Key::name(names::MESSAGE), message, attributes::HIDDEN)?;
        self.heap.sp = before;
        Ok(Value::object(error))
    }

    /// Makes an error object that remembers where it was made. The prototype is
    /// rooted by the caller.
    pub(crate) fn new_error(&mut self, prototype: Ref) -> Result<Ref, Raise> {
        let at = self.pc.saturating_sub(1).min((1 << OFFSET_BITS) - 1);
        let note = Value::small((at | self.current << OFFSET_BITS) as i32);
        self.new_wrapper(Class::Error, prototype, note)
    }

    /// Where an error object was made: image and code offset.
    pub(crate) fn error_origin(&self, value: Value<L>) -> Option<(usize, usize)> {
        let object = value.as_object().filter(|object| self.class(*object) == Class::Error)?;
        let note = self.internal_value(object).as_int()? as usize;
        Some((note >> OFFSET_BITS, note & ((1 << OFFSET_BITS) - 1)))
    }

    /// Notes where a stop happened, unless an inner run has.
    pub(crate) fn note_stop(&mut self, kind: StopKind) -> Raise {
        if !self.fault.is_some_and(|fault| fault.stops) {
            self.fault =
                Some(Fault { image: self.current, at: self.pc.saturating_sub(1), stops: true });
        }
        Raise::stop(kind)
    }
}
