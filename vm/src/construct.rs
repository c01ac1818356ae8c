//! Construction: `new`, the objects it makes, and what `new.target` says.
//!
//! Where a constructor is entered, the place of its this value holds what `new` was
//! applied to, be it a function of an image, a bound one or a built-in. Most functions
//! find an object there instead, made before they are entered; one that asks for
//! `new.target` makes its own, and that of a derived class has none before `super`
//! returns.
//!
//! It refuses frames, which are `call`'s.

use crate::Host;
use crate::builtins::{Flash, Intrinsic};
use crate::call::CONSTRUCTS;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::host::Call;
use crate::interp::Next;
use crate::keys::Key;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::image::{Function, record};
use scruple_bytecode::names;

/// Functions with one of these flags are no constructors.
const NEVER_CONSTRUCTS: u8 = record::FLAG_ARROW | record::FLAG_METHOD;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Whether a function of an image is a constructor.
    pub(crate) fn closure_constructs(&self, closure: Ref) -> bool {
        self.closure_function(closure)
            .is_some_and(|function| function.flags & NEVER_CONSTRUCTS == 0)
    }

    /// Whether `new` can be applied.
    pub(crate) fn is_constructor(&self, value: Value<L>) -> bool {
        let Some(mut object) = value.as_object() else { return false };
        while object.is_cell() && self.heap.is_kind(object, Kind::Bound) {
            object = self.heap.child(object, 2);
        }
        if let Some(flash) = Flash::of(object) {
            return flash.constructs();
        }
        if !object.is_cell() {
            return false;
        }
        self.heap.is_kind(object, Kind::Closure) && self.closure_constructs(object)
    }

    /// ECMA-262, [[Construct]] of a function of an image: the this value's place
    /// holds what `new` was applied to.
    pub(crate) fn construct_closure(&mut self, closure: Ref, argc: usize, flags: i32) -> Next {
        let function = match self.closure_function(closure) {
            Some(function) if function.flags & NEVER_CONSTRUCTS == 0 => function,
            _ => return Err(self.throw_type("not a constructor")),
        };
        if function.flags & (record::FLAG_DERIVED | record::FLAG_TARGET) == 0 {
            let target = self.heap.mem_value(self.heap.sp + argc);
            let object = self.make_this(closure, &function, target)?;
            self.heap.set_mem_value(self.heap.sp + argc, object);
        }
        self.enter(closure, argc, flags | CONSTRUCTS)
    }

    /// ECMA-262, OrdinaryCreateFromConstructor and InitializeInstanceElements for a
    /// constructor that makes its object. All are rooted.
    pub(crate) fn make_this(
        &mut self,
        closure: Ref,
        function: &Function<'_>,
        target: Value<L>,
    ) -> Result<Value<L>, Raise> {
        let from = target.as_object().unwrap_or(closure);
        let prototype = self.get(from, Key::name(names::PROTOTYPE))?;
        let prototype = match prototype.as_object() {
            Some(object) => object,
            None => Intrinsic::ObjectPrototype.reference(),
        };
        self.push(Value::object(prototype))?;
        let object = Value::object(self.new_object(prototype, 0)?);
        self.pop();
        if function.has(record::FLAG_LINKED) {
            self.push(object)?;
            self.define_fields(object, closure)?;
            self.pop();
        }
        Ok(object)
    }

    /// ECMA-262, InitializeInstanceElements. Both are rooted.
    pub(crate) fn define_fields(&mut self, object: Value<L>, closure: Ref) -> Result<(), Raise> {
        let fields = self.link(closure);
        if !fields.is_none() {
            self.invoke(Value::object(fields), object, &[])?;
        }
        Ok(())
    }

    /// The reference that a closure has behind its captures, or `Ref::NONE`.
    pub(crate) fn link(&self, closure: Ref) -> Ref {
        self.link_half(closure).map_or(Ref::NONE, |half| self.heap.child(closure, half))
    }

    /// Sets the reference that a closure has behind its captures, if it has one.
    pub(crate) fn set_link(&mut self, closure: Ref, link: Ref) {
        if let Some(half) = self.link_half(closure) {
            self.heap.set_child(closure, half, link);
        }
    }

    fn link_half(&self, closure: Ref) -> Option<usize> {
        let function = self.closure_function(closure)?;
        let half = 3 + function.n_captures();
        (function.has(record::FLAG_LINKED) && half < 4 * self.heap.cells(closure)).then_some(half)
    }

    /// Constructs from Rust.
    pub(crate) fn construct(
        &mut self,
        constructor: Value<L>,
        args: &[Value<L>],
    ) -> Result<Value<L>, Raise> {
        self.construct_for(constructor, args, constructor)
    }

    /// Constructs from Rust, as if `new` had been applied to another constructor.
    pub(crate) fn construct_for(
        &mut self,
        constructor: Value<L>,
        args: &[Value<L>],
        target: Value<L>,
    ) -> Result<Value<L>, Raise> {
        self.push(constructor)?;
        self.push(target)?;
        for &arg in args {
            self.push(arg)?;
        }
        self.nested(args.len(), true)
    }

    /// What `new` was applied to, if it was another function than the built-in that
    /// is called.
    pub(crate) fn foreign_target(&self, call: &Call<L>) -> Option<Ref> {
        let target = call.this.as_object().filter(|_| call.constructs)?;
        (target != call.callee).then_some(target)
    }

    /// ECMA-262, GetPrototypeFromConstructor for a built-in. One that is not the usual
    /// one is pushed.
    pub(crate) fn prototype_for(&mut self, call: &Call<L>, usual: Intrinsic) -> Result<Ref, Raise> {
        let Some(target) = self.foreign_target(call) else { return Ok(usual.reference()) };
        let prototype = self.get(target, Key::name(names::PROTOTYPE))?;
        let Some(object) = prototype.as_object() else { return Ok(usual.reference()) };
        self.push(prototype)?;
        Ok(object)
    }
}
