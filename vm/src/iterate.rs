//! The iteration protocol (ECMA-262, "Operations on Iterator Objects"): iterators
//! over values, steps, and closing.
//!
//! An array or a string that is iterated as the standard's own iterators would is
//! gone through by a block of two cells, and no script sees an iterator: that holds
//! as long as no script has changed `%Symbol.iterator%` of what is iterated or `next`
//! of its iterators, and both show in the built-ins' changes. Any other iterable is
//! asked for an iterator, and the block keeps that with its `next`.
//!
//! Only such a *generic* iterator is ever closed. While a loop or a pattern has one,
//! it stands in a chain with the frame and the place that opened it: so an exception
//! on its way finds what it leaves behind without a guarded range around every loop,
//! which would cost all loops bytes for the sake of a few. A frame that has opened
//! one is flagged in its return place, for which its return takes the longer way.
//!
//! It refuses to know the objects that built-ins iterate with: `builtins/iterators.rs`
//! has them.

use crate::Host;
use crate::builtins::{self, Intrinsic};
use crate::error::{Raise, RaiseKind};
use crate::heap::kinds::Kind;
use crate::keys::Key;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

// Half 1 of an iterator's block.
/// It goes through an array or a string by itself.
const PLAIN: u32 = 0;
/// A generic one that can be stepped and has to be closed.
const OPEN: u32 = 1;
/// A generic one that is exhausted, has thrown, is being stepped or is closed.
const DONE: u32 = 2;

// Slots of a generic one.
const NEXT: usize = 1;
const OBJECT: usize = 2;
/// The frame that opened it, unless a built-in did.
const FRAME: usize = 3;
/// The place of the instruction that opened it.
const PLACE: usize = 4;
/// The one that was opened before.
const BEFORE: usize = 5;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// An iterator over the values of an iterable, which the caller has rooted
    /// (ECMA-262, GetIterator).
    pub(crate) fn values_of(&mut self, value: Value<L>) -> Result<Ref, Raise> {
        match self.plainly_iterable(value) {
            Some(value) => self.plain_values(value),
            None => self.generic_values(value),
        }
    }

    fn plain_values(&mut self, value: Value<L>) -> Result<Ref, Raise> {
        self.push(value)?;
        let iterator = self.allocate(Kind::ValueIterator, 2)?;
        self.pop();
        self.heap.set_value(iterator, 1, Value::small(0));
        self.heap.set_value(iterator, 2, value);
        Ok(iterator)
    }

    /// What is gone through by itself, if the value is iterated as the standard's
    /// own iterators would: the array, or the string.
    pub(crate) fn plainly_iterable(&self, value: Value<L>) -> Option<Value<L>> {
        if value.is_string() {
            return self.texts_iterate_plainly().then_some(value);
        }
        let object = value.as_object().filter(|object| object.is_cell())?;
        let holder = self.holder(object);
        if self.is_listed(holder, names::SYMBOL_ITERATOR) {
            return None;
        }
        let (as_usual, plain) = match self.class(object) {
            Class::Arguments => (self.is_unchanged(Intrinsic::ArrayIteratorPrototype), value),
            Class::Array => {
                let prototype = Intrinsic::ArrayPrototype.reference();
                let inherits = holder.is_none() || self.heap.child(holder, 1) == prototype;
                (inherits && self.arrays_iterate_plainly(), value)
            }
            Class::Text => {
                let inherits = self.prototype(object) == Intrinsic::StringPrototype.reference();
                let text = self.internal_value(object);
                (inherits && self.texts_iterate_plainly(), text)
            }
            _ => return None,
        };
        as_usual.then_some(plain)
    }

    fn arrays_iterate_plainly(&self) -> bool {
        self.is_unchanged(Intrinsic::ArrayPrototype)
            && self.is_unchanged(Intrinsic::ArrayIteratorPrototype)
    }

    fn texts_iterate_plainly(&self) -> bool {
        self.is_unchanged(Intrinsic::StringPrototype)
            && self.is_unchanged(Intrinsic::StringIteratorPrototype)
    }

    /// Whether no script has changed what iterating asks a prototype for.
    fn is_unchanged(&self, prototype: Intrinsic) -> bool {
        if self.heap.roots.changes.is_none() {
            return true;
        }
        let holder = self.holder(prototype.reference());
        !self.is_listed(holder, names::SYMBOL_ITERATOR) && !self.is_listed(holder, names::NEXT)
    }

    fn is_listed(&self, holder: Ref, name: scruple_bytecode::NameId) -> bool {
        self.listed(holder, Key::name(name)).is_some()
    }

    #[cold]
    fn generic_values(&mut self, value: Value<L>) -> Result<Ref, Raise> {
        if !value.is_nullish() {
            let method = self.get_value(value, Key::name(names::SYMBOL_ITERATOR))?;
            if self.is_callable(method) {
                return self.values_by(value, method);
            }
        }
        Err(self.throw_type("the value is not iterable"))
    }

    /// The same by the method that gives the iterator (ECMA-262,
    /// GetIteratorFromMethod). The value is rooted.
    pub(crate) fn values_by(&mut self, value: Value<L>, method: Value<L>) -> Result<Ref, Raise> {
        // An array that only finds the usual method by a longer way, as one of a
        // class of its own does.
        let usual = builtins::method_of(Intrinsic::ArrayPrototype, names::VALUES);
        if method == usual
            && self.is_array(value)
            && self.is_unchanged(Intrinsic::ArrayIteratorPrototype)
        {
            return self.plain_values(value);
        }
        let mark = self.heap.sp;
        let object = self.invoke(method, value, &[])?;
        let Some(iterator) = object.as_object() else {
            return Err(self.throw_type("an iterator is not an object"));
        };
        self.push(object)?;
        let next = self.get(iterator, Key::name(names::NEXT))?;
        self.push(next)?;
        let block = self.allocate(Kind::ValueIterator, 3)?;
        self.heap.set_half(block, 1, OPEN);
        self.heap.set_value(block, NEXT, next);
        self.heap.set_value(block, OBJECT, object);
        self.heap.sp = mark;
        Ok(block)
    }

    /// The next value of an iterator, which is rooted: an element, or the text of a
    /// code point, or what a generic one gives.
    pub(crate) fn advance(&mut self, iterator: Ref) -> Result<Option<Value<L>>, Raise> {
        if self.heap.half(iterator, 1) != PLAIN {
            return self.advance_generic(iterator, true);
        }
        let value = self.heap.value(iterator, 2);
        let index = self.heap.value(iterator, 1).as_int().unwrap_or(0);
        let (step, result) = match value.as_object() {
            Some(object) => {
                if f64::from(index) >= self.length_of(object)? {
                    return self.exhaust(iterator);
                }
                let Some(key) = Key::index(index as u32) else { return self.exhaust(iterator) };
                self.heap.set_value(iterator, 1, Value::small(index + 1));
                return self.get(object, key).map(Some);
            }
            None => {
                let Some(view) = self.view(value) else { return Ok(None) };
                let start = index as usize;
                if start >= view.len() {
                    return self.exhaust(iterator);
                }
                let (_, units) = self.code_point(&view, start);
                (units, self.slice_text(value, start, start + units)?)
            }
        };
        self.heap.set_value(iterator, 1, Value::small(index + step as i32));
        Ok(Some(result))
    }

    /// ECMA-262, IteratorStep: past the next value, which a generic iterator's result
    /// is not asked for.
    pub(crate) fn skip(&mut self, iterator: Ref) -> Result<(), Raise> {
        if self.heap.half(iterator, 1) != PLAIN {
            return self.advance_generic(iterator, false).map(drop);
        }
        self.advance(iterator).map(drop)
    }

    /// An exhausted iterator stays so, whatever is appended later.
    fn exhaust(&mut self, iterator: Ref) -> Result<Option<Value<L>>, Raise> {
        self.heap.set_value(iterator, 2, Value::name(names::EMPTY));
        Ok(None)
    }

    /// ECMA-262, IteratorStepValue, or IteratorStep if the value is not wanted. What throws in it is not closed: it is done
    /// before anything is asked.
    #[cold]
    fn advance_generic(&mut self, iterator: Ref, wanted: bool) -> Result<Option<Value<L>>, Raise> {
        if self.heap.half(iterator, 1) != OPEN {
            return Ok(None);
        }
        self.heap.set_half(iterator, 1, DONE);
        let next = self.heap.value(iterator, NEXT);
        let object = self.heap.value(iterator, OBJECT);
        let value = match self.step_built_in(object, next) {
            Some(value) => value?,
            None => self.step_by(object, next, wanted)?,
        };
        match value {
            Some(_) => self.heap.set_half(iterator, 1, OPEN),
            None => self.forget(iterator),
        }
        Ok(value)
    }

    fn step_by(
        &mut self,
        object: Value<L>,
        next: Value<L>,
        wanted: bool,
    ) -> Result<Option<Value<L>>, Raise> {
        let result = self.invoke(next, object, &[])?;
        let Some(given) = result.as_object() else {
            return Err(self.throw_type("what an iterator gave is not an object"));
        };
        self.push(result)?;
        let done = self.get(given, Key::name(names::DONE))?;
        let value = match self.to_boolean(done) {
            true => None,
            false if wanted => Some(self.get(given, Key::name(names::VALUE))?),
            false => Some(Value::undefined()),
        };
        self.pop();
        Ok(value)
    }

    /// Puts a generic iterator into the chain of the open ones, for the running
    /// frame; its links lie at `link`.
    #[cold]
    pub(crate) fn note_open(&mut self, iterator: Ref) -> Result<(), Raise> {
        let before = self.heap.roots.open;
        self.heap.set_value(iterator, FRAME, Value::small(self.fp as i32));
        self.heap.set_value(iterator, PLACE, Value::small(self.pc as i32 - 1));
        if !before.is_none() {
            self.heap.set_value(iterator, BEFORE, Value::object(before));
        }
        self.heap.roots.open = iterator;
        self.flag_frame()
    }

    /// Whether an iterator is a generic one.
    #[inline]
    pub(crate) fn is_generic(&self, iterator: Ref) -> bool {
        self.heap.half(iterator, 1) != PLAIN
    }

    fn opened_before(&self, iterator: Ref) -> Ref {
        self.heap.value(iterator, BEFORE).as_object().unwrap_or(Ref::NONE)
    }

    /// The frame and the place that opened an iterator of the chain.
    fn opened_at(&self, iterator: Ref) -> (usize, usize) {
        let number = |slot| self.heap.value(iterator, slot).as_int().unwrap_or(0) as usize;
        (number(FRAME), number(PLACE))
    }

    /// Takes an iterator out of the chain: nearly always it is the last.
    fn forget(&mut self, iterator: Ref) {
        let before = self.opened_before(iterator);
        let mut later = self.heap.roots.open;
        if later == iterator {
            self.heap.roots.open = before;
            return;
        }
        while !later.is_none() {
            let next = self.opened_before(later);
            if next == iterator {
                let link =
                    if before.is_none() { Value::undefined() } else { Value::object(before) };
                self.heap.set_value(later, BEFORE, link);
                return;
            }
            later = next;
        }
    }

    /// ECMA-262, IteratorClose of a normal completion: what throws is thrown. An
    /// iterator that is not open has nothing to close.
    pub(crate) fn close_iterator(&mut self, iterator: Ref) -> Result<(), Raise> {
        if self.heap.half(iterator, 1) != OPEN {
            return Ok(());
        }
        self.heap.set_half(iterator, 1, DONE);
        let (_, place) = self.opened_at(iterator);
        self.forget(iterator);
        let closed = self.call_return(iterator);
        if closed == Err(Raise::THROWN) && !self.heap.value(iterator, FRAME).is_undefined() {
            // The statement that opened it throws, not what is within it: a handler
            // around the place where it is left may lie within the loop.
            self.pc = place + 1;
        }
        closed
    }

    fn call_return(&mut self, iterator: Ref) -> Result<(), Raise> {
        let object = self.heap.value(iterator, OBJECT);
        let Some(method) = self.get_method(object, names::RETURN)? else { return Ok(()) };
        let result = self.invoke(method, object, &[])?;
        if result.is_object() {
            return Ok(());
        }
        Err(self.throw_type("what an iterator's `return` gave is not an object"))
    }

    /// ECMA-262, IteratorClose of a throw completion: the exception on its way wins,
    /// unless the run cannot go on.
    fn close_throwing(&mut self, iterator: Ref) -> Result<(), Raise> {
        if self.heap.half(iterator, 1) != OPEN {
            return Ok(());
        }
        self.heap.set_half(iterator, 1, DONE);
        let mark = self.heap.sp;
        let (pc, fault) = (self.pc, self.fault);
        self.push(self.heap.roots.thrown)?;
        self.push(Value::object(iterator))?;
        let object = self.heap.value(iterator, OBJECT);
        let closed = match self.get_method(object, names::RETURN) {
            Ok(Some(method)) => self.invoke(method, object, &[]).map(drop),
            Ok(None) => Ok(()),
            Err(raise) => Err(raise),
        };
        match closed {
            Ok(()) | Err(Raise(RaiseKind::Thrown)) => {}
            Err(raise) => return Err(raise),
        }
        self.heap.roots.thrown = self.heap.mem_value(mark - 1);
        self.heap.sp = mark;
        (self.pc, self.fault) = (pc, fault);
        Ok(())
    }

    /// What a built-in does with each value of its iterator: where it throws, the
    /// iterator is closed (ECMA-262, IfAbruptCloseIterator). The iterator is rooted.
    pub(crate) fn or_close<T>(
        &mut self,
        iterator: Ref,
        result: Result<T, Raise>,
    ) -> Result<T, Raise> {
        if matches!(result, Err(Raise(RaiseKind::Thrown))) {
            self.close_throwing(iterator)?;
        }
        result
    }

    /// Closes what the running frame has open, for an exception: all of it, or what
    /// was opened within a range of code.
    #[cold]
    #[inline(never)]
    pub(crate) fn close_unwound(&mut self, within: Option<(usize, usize)>) -> Result<(), Raise> {
        loop {
            let iterator = self.heap.roots.open;
            if iterator.is_none() {
                return Ok(());
            }
            let (frame, place) = self.opened_at(iterator);
            let stays = frame > self.fp
                || frame == self.fp
                    && within.is_some_and(|(start, end)| place < start || end <= place);
            if stays {
                return Ok(());
            }
            self.heap.roots.open = self.opened_before(iterator);
            if frame == self.fp {
                self.close_throwing(iterator)?;
            }
        }
    }

    /// Closes what the running frame has open, for its return.
    pub(crate) fn close_returned(&mut self) -> Result<(), Raise> {
        loop {
            let iterator = self.heap.roots.open;
            if iterator.is_none() || self.opened_at(iterator).0 != self.fp {
                return Ok(());
            }
            match self.heap.half(iterator, 1) {
                OPEN => self.close_iterator(iterator)?,
                _ => self.forget(iterator),
            }
        }
    }

    /// Forgets what frames below a slot have open: a stop has ended them, and runs
    /// no script code.
    pub(crate) fn drop_open_below(&mut self, slot: usize) {
        while !self.heap.roots.open.is_none() && self.opened_at(self.heap.roots.open).0 < slot {
            self.heap.roots.open = self.opened_before(self.heap.roots.open);
        }
    }
}
