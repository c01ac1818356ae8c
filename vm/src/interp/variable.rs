//! Variables past the slots: boxes, free variables, globals, arguments.

use super::Next;
use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::keys::Key;
use crate::layout::Layout;
use crate::value::{ImageConst, Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::image::{Constant, FREE_GLOBAL, GlobalKind, record};
use scruple_bytecode::names;
use scruple_bytecode::operand::{ConstId, FreeId, GlobalId, Slot};

use crate::layout::Tag;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// A constant as a value, which refers to where the constant lies.
    #[inline(always)]
    pub(crate) fn constant_value(&self, image: usize, constant: ConstId) -> Value<L> {
        let payload = ImageConst { image, constant }.payload();
        match self.image(image).and_then(|image| image.constant(constant)) {
            Some(Constant::Name(name)) => Value::name(name),
            Some(Constant::Text(_)) => Value::tagged(Tag::ImageText, payload),
            Some(Constant::Number(number)) => match L::inline_number(number) {
                Some(slot) => Value(slot),
                None => Value::tagged(Tag::ImageNumber, payload),
            },
            None => Value::undefined(),
        }
    }

    pub(super) fn box_value(&mut self, slot: Slot, value: Value<L>) -> Next {
        let boxed = self.allocate(Kind::Box, 1)?;
        self.heap.set_value(boxed, 1, value);
        self.heap.set_mem_value(self.local(slot), Value::object(boxed));
        Ok(())
    }

    #[inline(always)]
    pub(super) fn slot_box(&self, slot: Slot) -> Option<Ref> {
        let value = self.heap.mem_value(self.local(slot));
        value.as_object().filter(|&object| self.is_box(object))
    }

    #[cold]
    pub(super) fn no_box(&mut self) -> Raise {
        Raise::internal("a slot without a box")
    }

    /// A variable is used in its temporal dead zone; the image does not say how
    /// it is called.
    #[cold]
    pub(super) fn uninitialised_variable(&mut self) -> Raise {
        let prototype = crate::builtins::Intrinsic::ReferenceErrorPrototype;
        self.throw_error(prototype, "a variable is used before its initialisation", None)
    }

    #[inline(always)]
    pub(super) fn write_box(&mut self, boxed: Ref) -> Next {
        if self.heap.value(boxed, 1) == Value::uninitialised() {
            return Err(self.uninitialised_variable());
        }
        let value = self.peek(0);
        self.heap.set_value(boxed, 1, value);
        Ok(())
    }

    /// What a free variable of the running function is.
    #[inline]
    fn free_variable(&self, free: FreeId) -> Option<Free> {
        let closure = self.as_closure(self.heap.mem_value(self.fp + 2))?;
        let entry = self.closure_function(closure)?.free(free)?;
        if entry & FREE_GLOBAL != 0 {
            return Some(Free::Global(GlobalId::from_operand(i32::from(entry & !FREE_GLOBAL))));
        }
        let boxed = self.heap.child(closure, 3 + entry as usize);
        if self.is_box(boxed) { Some(Free::Box(boxed)) } else { None }
    }

    #[inline]
    pub(super) fn read_free(&mut self, free: FreeId, soft: bool) -> Next {
        match self.free_variable(free) {
            Some(Free::Box(boxed)) => {
                let value = self.heap.value(boxed, 1);
                if value == Value::uninitialised() {
                    return Err(self.uninitialised_variable());
                }
                self.put(value)
            }
            Some(Free::Global(global)) => {
                let value = self.heap.mem_value(self.global_slot(global));
                if value.is_marker() {
                    return self.load_global_slow(global, soft);
                }
                self.put(value)
            }
            None => Err(self.no_box()),
        }
    }

    #[inline]
    pub(super) fn write_free(&mut self, free: FreeId) -> Next {
        match self.free_variable(free) {
            Some(Free::Box(boxed)) => self.write_box(boxed),
            Some(Free::Global(global)) => {
                let place = self.global_slot(global);
                if self.heap.mem_value(place).is_marker() || self.is_const_global(global) {
                    return self.store_global_slow(global);
                }
                let value = self.peek(0);
                self.heap.set_mem_value(place, value);
                Ok(())
            }
            None => Err(self.no_box()),
        }
    }

    /// The this value of a derived constructor is bound, once, in an arrow function.
    pub(super) fn bind_free_variable(&mut self, free: FreeId) -> Next {
        match self.free_variable(free) {
            Some(Free::Box(boxed)) => self.bind_boxed(boxed),
            _ => Err(self.no_box()),
        }
    }

    pub(super) fn bind_boxed(&mut self, boxed: Ref) -> Next {
        if self.heap.value(boxed, 1) != Value::uninitialised() {
            return Err(self.bound_already());
        }
        let value = self.peek(0);
        self.heap.set_value(boxed, 1, value);
        Ok(())
    }

    #[cold]
    pub(super) fn bound_already(&mut self) -> Raise {
        let prototype = crate::builtins::Intrinsic::ReferenceErrorPrototype;
        self.throw_error(prototype, "'super' was called before", None)
    }

    /// The slot of a global of the current image.
    #[inline(always)]
    pub(super) fn global_slot(&self, global: GlobalId) -> usize {
        self.heap.slot_of(self.heap.roots.globals[self.current]) + 2 + global.index()
    }

    #[inline(always)]
    pub(super) fn is_const_global(&self, global: GlobalId) -> bool {
        matches!(self.current_image().global(global), Some((GlobalKind::Const, _)))
    }

    fn global_key(&self, global: GlobalId) -> Result<Key, Raise> {
        match self.current_image().global(global) {
            Some((_, name)) => self.field_key(name),
            None => Err(Raise::internal("no such global")),
        }
    }

    /// The global's slot says no value: it is uninitialised, or found by name.
    #[cold]
    #[inline(never)]
    pub(super) fn load_global_slow(&mut self, global: GlobalId, soft: bool) -> Next {
        let key = self.global_key(global)?;
        if self.heap.mem_value(self.global_slot(global)) == Value::uninitialised() {
            return Err(self.throw_uninitialised(key));
        }
        if key.is_name(names::UNDEFINED) {
            return self.put(Value::undefined());
        }
        match self.load_global_by_key(key)? {
            Some(value) => self.put(value),
            None if soft => self.put(Value::undefined()),
            None => Err(self.throw_not_defined(key)),
        }
    }

    #[cold]
    #[inline(never)]
    pub(super) fn store_global_slow(&mut self, global: GlobalId) -> Next {
        let key = self.global_key(global)?;
        if self.heap.mem_value(self.global_slot(global)) == Value::uninitialised() {
            return Err(self.throw_uninitialised(key));
        }
        if self.is_const_global(global) {
            return Err(self.throw_constant(key));
        }
        let value = self.peek(0);
        if !self.store_global_by_key(key, value)? {
            return Err(self.throw_not_defined(key));
        }
        Ok(())
    }

    /// A declaration gives its global the first value.
    pub(super) fn initialise_global(&mut self, global: GlobalId) -> Next {
        let place = self.global_slot(global);
        let value = self.peek(0);
        if self.heap.mem_value(place) == Value::elsewhere() {
            let key = self.global_key(global)?;
            if !self.store_global_by_key(key, value)? {
                return Err(Raise::internal("a global without a place"));
            }
        } else {
            self.heap.set_mem_value(place, value);
        }
        self.discard(1)
    }

    /// The arguments object that the call put above the links.
    pub(super) fn push_arguments(&mut self) -> Next {
        let arguments = self.arguments_of()?;
        self.put(Value::object(arguments))
    }

    /// The arguments object that the call has kept.
    pub(super) fn arguments_of(&mut self) -> Result<Ref, Raise> {
        let function = self
            .as_closure(self.heap.mem_value(self.fp + 2))
            .and_then(|closure| self.closure_function(closure));
        let kept = match function {
            Some(function) if function.has(record::FLAG_ARGUMENTS) => {
                self.heap.mem_value(self.fp - function.n_slots as usize).as_object()
            }
            _ => None,
        };
        match kept.filter(|&object| self.class(object) == crate::object::Class::Arguments) {
            Some(arguments) => Ok(arguments),
            None => Err(Raise::internal("no arguments object")),
        }
    }
}

/// What a free variable is.
enum Free {
    Box(Ref),
    Global(GlobalId),
}
