//! Looking at the calls that are open: their functions, slots and operands.
//!
//! It owns what a host or an [`Observer`](crate::Observer) may read of the machine's stack
//! without a change to it; a machine whose host does not ask has none of this. Every access
//! is bounded: outside an instruction there is no call, and of a stack that is no stack
//! less is told. It refuses to name anything: the image has the names.

use crate::Host;
use crate::call::{CONSTRUCTS, ENTRY, PLACE_BITS};
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::image::{FREE_GLOBAL, Function, record};
use scruple_bytecode::operand::{FreeId, FunctionId, GlobalId};

/// A call that is open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Which call it is: see [`Vm::frame`].
    pub number: usize,
    /// The image of the function that was called.
    pub image: usize,
    /// The function.
    pub function: FunctionId,
    /// Where it goes on in that image: behind the instruction that is under way.
    pub place: usize,
    /// Whether the host or a built-in called it, and not an instruction.
    pub is_entry: bool,
    /// Whether `new` called it.
    pub constructs: bool,
    /// Where its links lie.
    link: usize,
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The open calls, the running one first. There is none while no instruction runs.
    pub fn frames(&self) -> impl Iterator<Item = Frame> {
        let mut at = Some((self.fp, self.pc));
        core::iter::from_fn(move || {
            let (fp, place) = at.take()?;
            let frame = self.frame_at(fp, place)?;
            let caller = self.stack_value(frame.link)?.as_int()?;
            // Frames lie above one another: what does not is none, and ends the list.
            let caller = usize::try_from(caller).ok().filter(|&caller| caller > fp);
            let back = self.stack_value(frame.link + 1)?.as_int()?;
            at = caller.map(|caller| (caller, (back & ((1 << PLACE_BITS) - 1)) as usize));
            Some(frame)
        })
    }

    fn frame_at(&self, fp: usize, place: usize) -> Option<Frame> {
        let closure = self.as_closure(self.stack_value(fp.checked_add(2)?)?)?;
        let (image, function) = self.locate(self.heap.half(closure, 1) as usize);
        let shape = self.image(image)?.function(function)?;
        let keeps = usize::from(shape.has(record::FLAG_ARGUMENTS));
        let link = fp.checked_sub(keeps + usize::from(shape.n_slots) + 1)?;
        let back = self.stack_value(link + 1)?.as_int()?;
        Some(Frame {
            number: fp,
            image,
            function,
            place,
            is_entry: back & ENTRY != 0,
            constructs: back & CONSTRUCTS != 0,
            link,
        })
    }

    /// The values in a call's slots, parameters first: of a captured variable what is in it.
    pub fn slots(&self, frame: &Frame) -> impl Iterator<Item = Value<L>> {
        let (number, n_slots) = (frame.number, self.shape_of(frame).map_or(0, |f| f.n_slots));
        (0..usize::from(n_slots)).map_while(move |slot| {
            let value = self.stack_value(number.checked_sub(slot)?)?;
            Some(self.unboxed(value))
        })
    }

    /// The values of the variables that a call's function has captured, in the order of its
    /// captures.
    pub fn captures(&self, frame: &Frame) -> impl Iterator<Item = Value<L>> {
        let closure = self.stack_value(frame.number + 2).and_then(|value| self.as_closure(value));
        let function = self.shape_of(frame);
        let n_free = function.map_or(0, |function| usize::from(function.n_free));
        (0..n_free).filter_map(move |free| {
            let entry = function?.free(FreeId::new(free)?)?;
            if entry & FREE_GLOBAL != 0 {
                return None;
            }
            let child = self.heap.child(closure?, 3 + usize::from(entry));
            let boxed = Some(child).filter(|&child| self.is_box(child))?;
            Some(self.heap.value(boxed, 1))
        })
    }

    /// A call's this value, where its function has one: before it has called `super`, a
    /// derived constructor has none, and who asks for `new.target` holds that in its place.
    pub fn this_of(&self, frame: &Frame) -> Option<Value<L>> {
        let none = record::FLAG_ARROW | record::FLAG_DERIVED | record::FLAG_TARGET;
        if self.shape_of(frame)?.flags & none != 0 {
            return None;
        }
        self.stack_value(frame.number + 1)
    }

    /// How many operands the running call has on the stack, whatever pushed them there;
    /// [`Vm::operand`] tells them.
    pub fn n_operands(&self) -> usize {
        let running = self.frames().next();
        running.map_or(0, |frame| frame.link.saturating_sub(self.heap.sp))
    }

    /// The value of a global that an image declares, nothing where it lies elsewhere.
    pub fn global_of(&self, image: usize, global: GlobalId) -> Option<Value<L>> {
        let declared = self.image(image)?.n_globals();
        let globals = *self.heap.roots.globals.get(image)?;
        if globals.is_none() || global.index() >= declared {
            return None;
        }
        let value = self.heap.value(globals, 2 + global.index());
        (value != Value::elsewhere()).then_some(value)
    }

    /// Bytes of stack in use.
    pub fn stack_bytes(&self) -> usize {
        self.heap.stack_end().saturating_sub(self.heap.sp) * L::SLOT_BYTES
    }

    fn shape_of(&self, frame: &Frame) -> Option<Function<'m>> {
        self.image(frame.image)?.function(frame.function)
    }

    fn stack_value(&self, at: usize) -> Option<Value<L>> {
        self.heap.mem.get(at).map(|&slot| Value(slot))
    }

    /// What is in a captured variable's box; any other value is itself.
    fn unboxed(&self, value: Value<L>) -> Value<L> {
        match value.as_object().filter(|&object| self.is_box(object)) {
            Some(boxed) => self.heap.value(boxed, 1),
            None => value,
        }
    }
}
