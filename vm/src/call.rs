//! Calls: frames on the machine's stack, natives, closures. What `new` does is in
//! `construct`.
//!
//! A frame, from the caller's pushes downwards:
//!
//! ```text
//! fp+2   the function
//! fp+1   its this value
//! fp     slot 0: the first parameter
//! …      the other slots
//!        [the arguments object, where the function has one]
//!        link: return place and flags
//!        link: the caller's fp
//! sp     operands…
//! ```
//!
//! A derived constructor, and one that has not begun with `enter_target` yet, has there
//! what `new` was applied to.
//!
//! Both links are small integers, so the collector passes over them.

use crate::Host;
use crate::builtins::Flash;
use crate::elements::Width;
use crate::error::{Raise, RaiseKind, StopKind};
use crate::heap::kinds::Kind;
use crate::heap::raw::Window;
use crate::host::{Call, Wanted, Wants};
use crate::interp::{At, Next};
use crate::keys::Key;
use crate::layout::Layout;
use crate::memory::Change;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::image::{
    CAPTURE_FREE, FREE_GLOBAL, FUNCTION_RECORD_LEN, FrameShape, Function, Guard, MAX_CODE, record,
};
use scruple_bytecode::names;
use scruple_bytecode::operand::{FreeId, FunctionId};

/// Bits of a return place: every place of an image's code, as the verifier has seen.
pub(crate) const PLACE_BITS: u32 = 24;
const _: () = assert!(MAX_CODE < 1 << PLACE_BITS);
/// The frame was made by `new`.
pub(crate) const CONSTRUCTS: i32 = 1 << PLACE_BITS;
/// The frame was made by a native or the host: its return ends the run.
pub(crate) const ENTRY: i32 = 2 << PLACE_BITS;
/// The frame has opened a generic iterator: its return may have one to close.
pub(crate) const CLOSES: i32 = 4 << PLACE_BITS;
pub(crate) const IMAGE_SHIFT: u32 = PLACE_BITS + 3;

/// Entries of a function's lists that are gone through in about the time of an operation.
const LISTED_A_STEP: usize = 8;

/// Makes the slots of a frame that no argument fills undefined. Apart, because the
/// compiler makes of it a loop for hundreds of slots, where there are a few.
#[inline(never)]
fn clear_slots<L: Layout>(mem: Window<L::Slot>, fp: usize, given: usize, n_slots: usize) {
    for slot in given..n_slots {
        mem.set(fp - slot, Value::<L>::undefined().0);
    }
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The record of a closure's function.
    #[inline]
    pub(crate) fn closure_function(&self, closure: Ref) -> Option<Function<'m>> {
        let (image, id) = self.locate(self.heap.half(closure, 1) as usize);
        self.image(image)?.function(id)
    }

    /// The object of a callable value, if it is a closure.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn as_closure(&self, value: Value<L>) -> Option<Ref> {
        let object = value.as_object()?;
        if object.is_cell() && self.heap.is_kind(object, Kind::Closure) {
            Some(object)
        } else {
            None
        }
    }

    /// Enters a closure: function, this value and arguments lie on the stack.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn enter(&mut self, closure: Ref, argc: usize, flags: i32) -> Next {
        let number = self.heap.half(closure, 1) as usize;
        let (image, function) = match self.own_frame(number) {
            Some(function) => (self.current, function),
            None => match self.other_frame(number) {
                Some(found) => found,
                None => return Err(Raise::internal("no such function")),
            },
        };
        let n_slots = function.n_slots as usize;
        let keeps = function.flags & record::FLAG_ARGUMENTS != 0;
        if function.flags & record::FLAG_CLASS != 0 && flags & CONSTRUCTS == 0 {
            return Err(self.throw_type("a class's constructor needs 'new'"));
        }
        // At least one: slot 0 lies above `sp` even where there is no argument.
        let mut fp = self.heap.sp + argc - 1;
        let size = n_slots + 1 + usize::from(keeps);
        if fp < size + self.lowest_frame() {
            fp += self.make_room(fp, size, flags)?;
        }
        let low = fp - size;
        if keeps {
            self.keep_arguments(fp, argc, n_slots)?;
        }
        let given = argc.min(function.n_params as usize);
        if given < n_slots {
            clear_slots::<L>(self.heap.mem.window(), fp, given, n_slots);
        }
        let place = self.pc as i32 | flags | (self.current as i32) << IMAGE_SHIFT;
        self.set_slot(low + 1, Value::small(place));
        self.set_slot(low, Value::small(self.fp as i32));
        self.heap.settle(low - function.depth as usize);
        if Wants::<H>::MEMORY {
            self.book(Change::Entered, low - function.depth as usize);
        }
        (self.pc, self.heap.sp, self.fp) = (function.code as usize, low, fp);
        if image != self.current {
            self.set_current(image);
            return Err(Raise::SWITCH);
        }
        Ok(())
    }

    /// What a call from `at` needs of a closure of the running image, if that is
    /// nothing but a frame and there is room for it.
    #[inline(always)]
    pub(crate) fn quick_frame(&self, at: At<L>, closure: Ref, argc: usize) -> Option<FrameShape> {
        let function = self.own_frame(self.heap.half(closure, 1) as usize)?;
        let fp = at.sp + argc - 1;
        let size = function.n_slots as usize + 1;
        let is_plain = function.flags & (record::FLAG_ARGUMENTS | record::FLAG_CLASS) == 0;
        (is_plain && fp >= size + self.lowest_frame()).then_some(function)
    }

    /// Enters a frame that there is room for.
    #[inline(always)]
    pub(crate) fn quick_enter(&mut self, at: At<L>, function: FrameShape, argc: usize) -> At<L> {
        let n_slots = function.n_slots as usize;
        let fp = at.sp + argc - 1;
        let low = fp - n_slots - 1;
        let given = argc.min(function.n_params as usize);
        if given < n_slots {
            clear_slots::<L>(at.mem, fp, given, n_slots);
        }
        let place = at.pc as i32 | (self.current as i32) << IMAGE_SHIFT;
        at.set(low + 1, Value(L::int_in_range(place)));
        at.set(low, Value(L::int_in_range(at.fp as i32)));
        self.heap.settle(low - function.depth as usize);
        At { pc: function.code as usize, sp: low, fp, ..at }
    }

    /// Leaves a frame for another of the same image, with nothing to see to.
    #[inline(always)]
    pub(crate) fn quick_leave(&mut self, at: At<L>, link: usize, value: Value<L>) -> Option<At<L>> {
        let place = at.get(link + 1).as_int()?;
        let fp = at.get(link).as_int()? as usize;
        if place >> PLACE_BITS != (self.current as i32) << (IMAGE_SHIFT - PLACE_BITS) {
            return None;
        }
        let sp = at.fp + 2;
        at.set(sp, value);
        Some(At { pc: (place & ((1 << PLACE_BITS) - 1)) as usize, sp, fp, ..at })
    }

    /// What a call needs of a function of the current image.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    fn own_frame(&self, number: usize) -> Option<FrameShape> {
        let at = number.checked_sub(self.first)?.checked_mul(FUNCTION_RECORD_LEN)?;
        self.records.get(at..)?.first_chunk().map(FrameShape::read)
    }

    #[cold]
    fn other_frame(&self, number: usize) -> Option<(usize, FrameShape)> {
        let (image, id) = self.locate(number);
        let records = self.image(image)?.records();
        let record = records.get(id.index() * FUNCTION_RECORD_LEN..)?.first_chunk()?;
        Some((image, FrameShape::read(record)))
    }

    /// The slot below which no frame may begin.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    fn lowest_frame(&self) -> usize {
        (self.heap.stack_floor() + self.heap.reserve).max(self.heap.frame_limit)
    }

    /// Collects in the hope that the heap gives the stack some room, moves the blocks
    /// together if it may, and then folds the frames of tail calls. Tells by how many slots
    /// the running frame has moved, and moves the registers with it.
    #[cold]
    fn make_room(&mut self, fp: usize, size: usize, flags: i32) -> Result<usize, Raise> {
        if self.can_compact() {
            self.compact_now();
        } else {
            // There may be room, and what is in the way is but the heap's wish.
            self.decline_compaction();
            if fp < size + self.lowest_frame() {
                self.collect_now();
                self.decline_compaction();
            }
        }
        if fp >= size + self.lowest_frame() {
            return Ok(0);
        }
        // What Rust calls from holds its place on the stack.
        let shift = if flags & ENTRY == 0 { self.fold_frames() } else { 0 };
        self.heap.sp += shift;
        self.fp += shift;
        if fp + shift < size + self.lowest_frame() {
            return Err(Raise::stop(StopKind::Stack));
        }
        Ok(shift)
    }

    /// Makes the arguments object where the callee's frame will have it.
    #[cold]
    fn keep_arguments(&mut self, fp: usize, argc: usize, n_slots: usize) -> Next {
        // There is room for the frame, and the heap is not to grow into it meanwhile: the
        // frame's slots, the object and the links are the stack's from here on.
        let (sp, size) = (self.heap.sp, n_slots + 2);
        if fp - size < sp {
            clear_slots::<L>(self.heap.mem.window(), fp, argc, size + 1);
            self.heap.sp = fp - size;
        }
        let array = self.new_array_of(Class::Arguments, Width::SLOT, argc.max(1))?;
        let object = Value::object(array);
        self.push(object)?;
        for index in 0..argc {
            let value = self.heap.mem_value(fp - index);
            self.append(array, value)?;
        }
        // The object's `length` is a property of its own, hidden and writable.
        self.add_property(
            array,
            Key::name(names::LENGTH),
            Value::small(argc as i32),
            crate::keys::attributes::HIDDEN,
        )?;
        self.heap.sp = sp;
        // Arguments past the slots would lie where the object goes.
        self.heap.set_mem_value(fp - n_slots, object);
        Ok(())
    }

    /// Leaves a frame whose links lie at `link`, with a value for the caller.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline(always))]
    pub(crate) fn leave(&mut self, link: usize, value: Value<L>) -> Next {
        let place = self.slot(link + 1).as_int().unwrap_or(0);
        if place & CLOSES != 0 {
            return self.leave_closing(link, value);
        }
        let mut value = value;
        if place & CONSTRUCTS != 0 && !value.is_object() {
            value = self.slot(self.fp + 1);
        }
        self.heap.sp = self.fp + 2;
        self.set_slot(self.heap.sp, value);
        self.fp = self.slot(link).as_int().unwrap_or(0) as usize;
        self.pc = (place & ((1 << PLACE_BITS) - 1)) as usize;
        let image = (place >> IMAGE_SHIFT) as usize;
        let raise = if place & ENTRY != 0 {
            Raise::FINISHED
        } else if image != self.current {
            Raise::SWITCH
        } else {
            return Ok(());
        };
        self.set_current(image);
        Err(raise)
    }

    /// The same for a frame that may have iterators open: they are closed first.
    #[cold]
    #[inline(never)]
    fn leave_closing(&mut self, link: usize, value: Value<L>) -> Next {
        let place = self.slot(link + 1).as_int().unwrap_or(0);
        self.set_slot(link + 1, Value::small(place & !CLOSES));
        self.push(value)?;
        self.close_returned()?;
        self.pop();
        self.leave(link, value)
    }

    /// Flags the running frame: it has opened a generic iterator.
    pub(crate) fn flag_frame(&mut self) -> Result<(), Raise> {
        let closure = self.as_closure(self.slot(self.fp + 2));
        let Some(function) = closure.and_then(|closure| self.closure_function(closure)) else {
            return Err(Raise::internal("a frame without a function"));
        };
        let keeps = usize::from(function.has(record::FLAG_ARGUMENTS));
        let place = self.fp - function.n_slots as usize - keeps;
        let flagged = self.slot(place).as_int().unwrap_or(0) | CLOSES;
        self.set_slot(place, Value::small(flagged));
        Ok(())
    }

    /// Looks for a handler of the exception on its way, frame by frame. `Ok` has
    /// set the registers to it; `Err` has left the run's first frame.
    pub(crate) fn unwind(&mut self) -> Result<(), Raise> {
        loop {
            let Some(closure) = self.as_closure(self.heap.mem_value(self.fp + 2)) else {
                return Err(Raise::internal("a frame without a function"));
            };
            let Some(function) = self.closure_function(closure) else {
                return Err(Raise::internal("a frame without a function"));
            };
            let keeps = usize::from(function.has(record::FLAG_ARGUMENTS));
            let link = self.fp - function.n_slots as usize - 1 - keeps;
            // The place is behind the instruction that threw.
            let inside = (self.pc - 1).wrapping_sub(function.code as usize) as u32;
            let details = function.details();
            self.spend(details.map_or(0, |d| d.n_guards as usize) / LISTED_A_STEP)?;
            let guard =
                details.and_then(|d| d.guards().find(|g| g.start <= inside && inside < g.end));
            if !self.heap.roots.open.is_none() {
                let code = function.code as usize;
                let bounds =
                    |guard: Guard| (code + guard.start as usize, code + guard.end as usize);
                self.close_unwound(guard.map(bounds))?;
            }
            if let Some(guard) = guard {
                self.heap.sp = link - 1;
                let thrown = self.heap.roots.thrown;
                self.heap.set_mem_value(link - 1, thrown);
                self.heap.roots.thrown = Value::undefined();
                self.pc = (function.code + guard.target) as usize;
                return Ok(());
            }
            let place = self.heap.mem_value(link + 1).as_int().unwrap_or(0);
            let caller = self.heap.mem_value(link).as_int().unwrap_or(0) as usize;
            self.heap.sp = self.fp + 2;
            self.fp = caller;
            self.pc = (place & ((1 << PLACE_BITS) - 1)) as usize;
            self.set_current((place >> IMAGE_SHIFT) as usize);
            if place & ENTRY != 0 {
                return Err(Raise::THROWN);
            }
        }
    }

    /// Calls a function from Rust: nested, on the same machine's stack.
    pub(crate) fn invoke(
        &mut self,
        function: Value<L>,
        this: Value<L>,
        args: &[Value<L>],
    ) -> Result<Value<L>, Raise> {
        self.push(function)?;
        self.push(this)?;
        for &arg in args {
            self.push(arg)?;
        }
        self.call_pushed(args.len())
    }

    /// Calls what lies on the stack (function, this value, arguments) and takes
    /// it all away.
    pub(crate) fn call_pushed(&mut self, argc: usize) -> Result<Value<L>, Raise> {
        self.nested(argc, false)
    }

    pub(crate) fn nested(&mut self, argc: usize, constructs: bool) -> Result<Value<L>, Raise> {
        if self.nesting >= self.nesting_limit {
            return Err(self.note_stop(StopKind::Nesting));
        }
        let bottom = self.heap.sp + argc + 2;
        let (fp, pc, current) = (self.fp, self.pc, self.current);
        self.nesting += 1;
        let result = self.nested_run(argc, constructs);
        self.nesting -= 1;
        if let Err(Raise(RaiseKind::Stopped(_))) = result {
            self.drop_open_below(bottom);
        }
        (self.fp, self.pc) = (fp, pc);
        self.set_current(current);
        self.heap.sp = bottom;
        result
    }

    fn nested_run(&mut self, argc: usize, constructs: bool) -> Result<Value<L>, Raise> {
        let callee = self.heap.mem_value(self.heap.sp + argc + 1);
        let flags = if constructs { ENTRY | CONSTRUCTS } else { ENTRY };
        let Some(closure) = self.as_closure(callee) else {
            let fp = self.fp;
            return match self.call_other(callee, argc, flags) {
                // A bound closure has been entered; anything else has returned.
                Ok(()) if self.fp == fp => Ok(self.heap.mem_value(self.heap.sp)),
                Ok(()) | Err(Raise(RaiseKind::Switch)) => self.run_loop(),
                Err(raise) => Err(raise),
            };
        };
        let entered = if constructs {
            self.construct_closure(closure, argc, ENTRY)
        } else {
            self.enter(closure, argc, flags)
        };
        match entered {
            Ok(()) | Err(Raise(RaiseKind::Switch)) => self.run_loop(),
            Err(raise) => Err(raise),
        }
    }

    /// Calls what is no closure: a native, a host function, a bound function; or
    /// throws the TypeError.
    #[inline(never)]
    pub(crate) fn call_other(&mut self, callee: Value<L>, argc: usize, flags: i32) -> Next {
        let mut callee = callee;
        if self.heap.crowds_stack() {
            self.heap.want_compaction();
        }
        if self.heap.wants_compaction() {
            self.compact_if_wanted();
            callee = self.heap.mem_value(self.heap.sp + argc + 1);
        }
        let Some(object) = callee.as_object().filter(|_| self.is_callable(callee)) else {
            let what = if flags & CONSTRUCTS != 0 { "not a constructor" } else { "not a function" };
            return Err(self.throw_type(what));
        };
        if object.is_cell() {
            return self.call_bound(object, argc, flags);
        }
        let call = Call {
            first: self.heap.sp + argc - 1,
            argc,
            this: self.heap.mem_value(self.heap.sp + argc),
            callee: object,
            constructs: flags & CONSTRUCTS != 0,
        };
        // What is left on the stack above that goes.
        let sp = self.heap.sp + argc + 1;
        let result = match (object.host(), Flash::of(object)) {
            (Some(number), _) => match self.host_functions.get(number) {
                Some(function) if !call.constructs => (function.call)(self, call),
                _ => Err(self.throw_type("not a constructor")),
            },
            (_, Some(flash)) => flash.call(self, call),
            _ => Err(self.throw_type("not a function")),
        }?;
        self.heap.sp = sp;
        self.heap.set_mem_value(sp, result);
        Ok(())
    }

    /// Puts the bound arguments before the given ones and calls the target.
    fn call_bound(&mut self, bound: Ref, argc: usize, flags: i32) -> Next {
        let target = Value::object(self.heap.child(bound, 2));
        let list = self.heap.child(bound, 3);
        let n_bound = L::bits(self.heap.slot(list, 1)) as usize - 1;
        for _ in 0..n_bound {
            self.push(Value::undefined())?;
        }
        let sp = self.heap.sp;
        // Arguments move down, so from the lowest upwards.
        for index in 0..argc {
            let value = self.heap.mem_value(sp + n_bound + index);
            self.heap.set_mem_value(sp + index, value);
        }
        for index in 0..n_bound {
            let value = self.heap.value(list, 3 + index);
            self.heap.set_mem_value(sp + argc + n_bound - 1 - index, value);
        }
        let argc = argc + n_bound;
        self.heap.set_mem_value(sp + argc + 1, target);
        if flags & CONSTRUCTS == 0 {
            let this = self.heap.value(list, 2);
            self.heap.set_mem_value(sp + argc, this);
        } else if self.heap.mem_value(sp + argc) == Value::object(bound) {
            self.heap.set_mem_value(sp + argc, target);
        }
        match self.as_closure(target) {
            Some(closure) if flags & CONSTRUCTS != 0 => {
                self.construct_closure(closure, argc, flags)
            }
            Some(closure) => self.enter(closure, argc, flags),
            // Bound once more, or a built-in: the first goes on like this.
            None => self.nest(|vm| vm.call_other(target, argc, flags)),
        }
    }

    /// Makes a closure of a function of the current image.
    pub(crate) fn make_closure_of(&mut self, id: FunctionId) -> Result<Ref, Raise> {
        let Some(function) = self.current_image().function(id) else {
            return Err(Raise::internal("no such function"));
        };
        let n_captures = if function.n_free == 0 { 0 } else { function.n_captures() };
        self.spend(usize::from(function.n_free) / LISTED_A_STEP)?;
        let n_links = n_captures + usize::from(function.has(record::FLAG_LINKED));
        let cells = 1 + n_links.saturating_sub(1).div_ceil(4);
        let closure = self.allocate(Kind::Closure, cells)?;
        self.heap.set_half(closure, 1, (self.base(self.current) + id.index()) as u32);
        self.heap.set_child(closure, 2, Ref::NONE);
        for half in 3..4 * cells {
            self.heap.set_child(closure, half, Ref::NONE);
        }
        let maker = self.as_closure(self.heap.mem_value(self.fp + 2));
        for capture in 0..n_captures {
            let Some(source) = function.capture_source(capture) else { continue };
            let boxed = if source & CAPTURE_FREE != 0 {
                self.captured(maker, FreeId::from_operand(i32::from(source & !CAPTURE_FREE)))
            } else {
                let value = self.heap.mem_value(self.fp - source as usize);
                value.as_object().filter(|&object| self.is_box(object))
            };
            match boxed {
                Some(boxed) => self.heap.set_child(closure, 3 + capture, boxed),
                None => return Err(Raise::internal("a captured variable has no box")),
            }
        }
        Ok(closure)
    }

    pub(crate) fn is_box(&self, object: Ref) -> bool {
        object.is_cell() && self.heap.is_kind(object, Kind::Box)
    }

    /// The box of a captured free variable of a running function.
    fn captured(&self, closure: Option<Ref>, free: FreeId) -> Option<Ref> {
        let closure = closure?;
        let entry = self.closure_function(closure)?.free(free)?;
        if entry & FREE_GLOBAL != 0 {
            return None;
        }
        Some(self.heap.child(closure, 3 + entry as usize)).filter(|&object| self.is_box(object))
    }

    /// A function's `length`.
    pub(crate) fn function_length(&mut self, object: Ref) -> f64 {
        if let Some(number) = object.host() {
            return self.host_functions.get(number).map_or(0.0, |f| f64::from(f.length));
        }
        if !object.is_cell() {
            return 0.0;
        }
        match self.heap.kind(object) {
            Kind::Closure => {
                let details = self.closure_function(object).and_then(|f| f.details());
                details.map_or(0.0, |details| f64::from(details.length))
            }
            _ => 0.0,
        }
    }

    /// A function's `name`.
    pub(crate) fn function_name(&mut self, object: Ref) -> Result<Value<L>, Raise> {
        if let Some(number) = object.host() {
            let name = self.host_functions.get(number).map_or("", |function| function.name);
            return self.text_from_str(name);
        }
        if object.is_cell() && self.heap.is_kind(object, Kind::Closure) {
            let (image, id) = self.locate(self.heap.half(object, 1) as usize);
            let name = self
                .image(image)
                .and_then(|image| image.function(id))
                .and_then(|function| function.details())
                .and_then(|details| details.name);
            if let Some(name) = name {
                return Ok(self.constant_value(image, name.into()));
            }
        }
        Ok(Value::name(names::EMPTY))
    }
}
