//! The machine: a context that scripts run in.
//!
//! It owns the heap's region, the loaded images and the registers between runs.
//! It never sees source text, and allocates nothing outside the region.

use crate::Host;
use crate::error::{Raise, RaiseKind, RunError, StopKind};
use crate::heap::ledger::Ledger;
use crate::heap::{Heap, HeapOptions};
use crate::host::{Call, HostFunction};
use crate::keys::Key;
use crate::layout::{Layout, Tag};
use crate::value::{Ref, Value};
use scruple_bytecode::image::Image;
use scruple_bytecode::operand::{FieldId, FunctionId};
use scruple_bytecode::sets::{InstructionSet, SHIPPED_SETS};

/// The most images a machine holds at once. The feature `one-image` is for boards:
/// an image's register is some 80 bytes of RAM there.
pub const MAX_IMAGES: usize = if cfg!(feature = "one-image") { 1 } else { 4 };

/// The most functions that a host can have.
pub const MAX_HOST_FUNCTIONS: usize = (Ref::FIRST_CELL - Ref::FIRST_HOST) as usize;

/// Units of a string that are gone through in about the time of an operation.
const UNITS_A_STEP: usize = 8;

/// After how many steps up a chain of prototypes the steps are taken from the budget.
const LONG_CHAIN: usize = 64;

/// What a machine may use.
#[derive(Clone, Copy, Debug)]
pub struct Options {
    /// The heap's behaviour.
    pub heap: HeapOptions,
    /// The most bytes of stack, or as far as the region goes.
    pub stack_limit: usize,
    /// How deep built-ins and scripts may call one another: each level takes
    /// some hundreds of bytes of the host program's own stack.
    pub nesting_limit: u16,
    /// Operations that may be carried out, at most 2^63 - 1, so that a run ends at the
    /// same place under every encoding; the steps of the built-ins' own
    /// loops are held to the same number, apart from them.
    pub budget: u64,
    /// Where `Math.random` begins: the same seed gives the same numbers.
    pub seed: u64,
    /// Whether a chain of calls in tail position may be longer than the stack, as the
    /// standard has it: then a function that returns a call of itself without end never
    /// ends, where it would else be told that the stack is full.
    pub tail_calls: bool,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            heap: HeapOptions::default(),
            stack_limit: usize::MAX,
            nesting_limit: 64,
            budget: u64::MAX,
            seed: 0,
            tail_calls: false,
        }
    }
}

/// Where an exception or a stop came from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fault {
    pub(crate) image: usize,
    pub(crate) at: usize,
    /// Whether it is a stop: an inner run's note is not to be replaced.
    pub(crate) stops: bool,
}

/// A context that scripts run in.
///
/// In this order for flash: a reference to it is one to the heap as well, and what the
/// interpreter uses most comes next.
#[repr(C)]
pub struct Vm<'m, L: Layout, H: Host> {
    pub(crate) heap: Heap<'m, L>,
    /// Place behind the running instruction.
    pub(crate) pc: usize,
    /// Slot of the running function's first parameter.
    pub(crate) fp: usize,
    /// Operations that may still be carried out.
    pub(crate) fuel: u64,
    /// The image whose code runs.
    pub(crate) current: usize,
    /// Its function records, and the number of its first function: calls within
    /// an image, which are nearly all, need not look for the image.
    pub(crate) records: &'m [u8],
    pub(crate) first: usize,
    /// Operations carried out as part of a composite, but for the first of each.
    pub(crate) joined: u64,
    /// Steps that the loops of built-ins may still take.
    work: u64,
    /// The state of `Math.random`.
    pub(crate) random: u64,
    /// Operations that may be carried out in all.
    budget: u64,
    pub(crate) images: [Option<Image<'m>>; MAX_IMAGES],
    /// Number of the first function of each image.
    pub(crate) bases: [u16; MAX_IMAGES],
    /// The constant of each image that is the name `push`, and the running one's:
    /// see `quick_method_field`.
    pub(crate) pushes: [Option<FieldId>; MAX_IMAGES],
    pub(crate) push: Option<FieldId>,
    pub(crate) n_images: u8,
    pub(crate) tail_calls: bool,
    pub(crate) nesting_limit: u16,
    pub(crate) nesting: u16,
    pub(crate) fault: Option<Fault>,
    /// The slot that the stack limit keeps frames above.
    pub(crate) stack_end_limit: usize,
    pub(crate) host_functions: &'m [HostFunction<L, H>],
    pub(crate) sets: &'m [&'m InstructionSet<'m>],
    host: H,
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// A fresh context in a region of memory: the built-ins take none of it.
    ///
    /// A region may be as small as one likes: then [`Vm::load`] finds no room, or the run
    /// ends out of memory. Of a large one the heap uses what its references reach, in
    /// `Narrow` 504 KiB of cells, in `Wide` 1 GiB; the stack may use the rest up to 2 GiB in
    /// all, past which nothing is used.
    // Out of line, so that what it is put together from is off the caller's stack
    // when the machine runs: 700 bytes of the 2,760 that hello took on the board.
    #[inline(never)]
    pub fn new(region: &'m mut [L::Slot], host: H, options: Options) -> Self {
        let budget = options.budget.min(crate::interp::MOST_FUEL);
        let mut heap = Heap::new(region, options.heap);
        let end = heap.stack_end();
        let stack_end_limit = end.saturating_sub(options.stack_limit / L::SLOT_BYTES);
        heap.frame_limit = stack_end_limit;
        Vm {
            heap,
            images: [None; MAX_IMAGES],
            bases: [0; MAX_IMAGES],
            n_images: 0,
            current: 0,
            records: &[],
            first: 0,
            pushes: [None; MAX_IMAGES],
            push: None,
            fp: end,
            pc: 0,
            fuel: budget,
            joined: 0,
            work: budget,
            random: options.seed,
            budget,
            nesting_limit: options.nesting_limit,
            tail_calls: options.tail_calls,
            nesting: 0,
            fault: None,
            stack_end_limit,
            host_functions: &[],
            sets: if H::COMPOSITES { SHIPPED_SETS } else { &[] },
            host,
        }
    }

    /// The program around the machine.
    pub fn host(&self) -> &H {
        &self.host
    }

    /// The program around the machine.
    pub fn host_mut(&mut self) -> &mut H {
        &mut self.host
    }

    /// The place in the code section where the machine goes on: behind the running
    /// instruction, or where that has branched to.
    pub fn place(&self) -> usize {
        self.pc
    }

    /// Gives the program around the machine back, when the machine is done.
    pub fn into_host(self) -> H {
        self.host
    }

    /// Makes functions of the host callable, each as a global of its name, at most
    /// [`MAX_HOST_FUNCTIONS`]: there are no more numbers for them, and what is behind those
    /// is not there. They take no heap. A later call replaces the earlier list; a script
    /// that has a function of it has the one in its place then.
    pub fn set_host_functions(&mut self, functions: &'m [HostFunction<L, H>]) {
        debug_assert!(functions.len() <= MAX_HOST_FUNCTIONS, "more functions than numbers");
        self.host_functions = &functions[..functions.len().min(MAX_HOST_FUNCTIONS)];
    }

    /// Gives the machine the instruction sets that images may name, in the place of the
    /// shipped one. They are read where they lie; images that are loaded keep theirs.
    pub fn set_instruction_sets(&mut self, sets: &'m [&'m InstructionSet<'m>]) {
        self.sets = sets;
    }

    /// The heap's books.
    pub fn ledger(&self) -> &Ledger {
        &self.heap.ledger
    }

    /// Instructions fetched and carried out since the start: a composite is one.
    pub fn instructions(&self) -> u64 {
        self.operations() - self.joined
    }

    /// Operations carried out since the start: a composite is as many as it is made of.
    /// A script has the same number under every encoding.
    pub fn operations(&self) -> u64 {
        self.budget - self.fuel
    }

    /// The exception that ended the last run, or undefined.
    pub fn thrown(&self) -> Value<L> {
        self.heap.roots.thrown
    }

    /// A value on the running function's stack by its depth, 0 being the top: what
    /// an [`Observer`](crate::Observer) may look at. It does not know where the
    /// function's own values end: the instruction's row tells how many there are.
    pub fn operand(&self, depth: usize) -> Option<Value<L>> {
        self.heap.mem.get(self.heap.sp.checked_add(depth)?).map(|&slot| Value(slot))
    }

    /// Which call runs, as a number that no other open call has; calls made
    /// within it have smaller ones.
    pub fn frame(&self) -> usize {
        self.fp
    }

    /// Takes steps of a built-in's loop from the budget: without it, a short
    /// script could keep a built-in busy for hours with a length it made up.
    #[inline]
    pub(crate) fn spend(&mut self, steps: usize) -> Result<(), Raise> {
        match self.work.checked_sub(steps as u64) {
            Some(work) => {
                self.work = work;
                Ok(())
            }
            None => Err(self.note_stop(StopKind::Budget)),
        }
    }

    /// Takes from the budget what it is to go through units of a string, whatever is done
    /// with each. Of a few that is nothing: the operation itself counts.
    #[cfg_attr(feature = "small", inline(never))]
    pub(crate) fn spend_on_units(&mut self, n_units: usize) -> Result<(), Raise> {
        self.spend(n_units / UNITS_A_STEP)
    }

    /// A step up a chain of prototypes by an operation that counts itself: chains of more
    /// steps than scripts have count besides.
    #[inline(always)]
    pub(crate) fn climb(&mut self, n_steps: &mut usize) -> Result<(), Raise> {
        *n_steps += 1;
        if n_steps.is_multiple_of(LONG_CHAIN) { self.spend(LONG_CHAIN) } else { Ok(()) }
    }

    /// Carries out a step that calls itself: the nesting limit bounds how deep.
    pub(crate) fn nest<T>(
        &mut self,
        step: impl FnOnce(&mut Self) -> Result<T, Raise>,
    ) -> Result<T, Raise> {
        if self.nesting >= self.nesting_limit {
            return Err(self.note_stop(StopKind::Nesting));
        }
        self.nesting += 1;
        let result = step(self);
        self.nesting -= 1;
        result
    }

    /// An argument of a native call, undefined where there is none.
    #[cfg_attr(feature = "small", inline(never))]
    #[cfg_attr(not(feature = "small"), inline)]
    pub fn arg(&self, call: &Call<L>, index: usize) -> Value<L> {
        if index < call.argc {
            Value(self.heap.mem[call.first - index])
        } else {
            Value::undefined()
        }
    }

    /// Replaces an argument of a native call: it is rooted where it lies.
    pub(crate) fn set_arg(&mut self, call: &Call<L>, index: usize, value: Value<L>) {
        if index < call.argc {
            self.heap.mem[call.first - index] = value.0;
        }
    }

    /// The element of an array-like at any whole number.
    pub(crate) fn get_index(&mut self, object: Ref, index: f64) -> Result<Value<L>, Raise> {
        let key = self.index_key(index)?;
        self.get(object, key)
    }

    /// The key of a whole number.
    pub(crate) fn index_key(&mut self, index: f64) -> Result<Key, Raise> {
        match Key::index(index as u32).filter(|_| f64::from(index as u32) == index) {
            Some(key) => Ok(key),
            None => {
                let value = self.number(index)?;
                self.to_key(value)
            }
        }
    }

    /// Ends a run: the stack is unwound, and an error gets its position.
    pub(crate) fn conclude<T>(&mut self, result: Result<T, Raise>) -> Result<T, RunError> {
        match result {
            Ok(value) => {
                if self.nesting == 0 {
                    self.reset_stack();
                }
                Ok(value)
            }
            Err(raise) => Err(self.conclude_error(raise)),
        }
    }

    #[cold]
    #[inline(never)]
    fn conclude_error(&mut self, error: Raise) -> RunError {
        // A host function that passes the error on leaves the note to the outer run.
        let noted = if self.nesting == 0 { self.fault.take() } else { self.fault };
        let noted = noted.map(|fault| (fault.image, fault.at));
        let origin = match error.0 {
            RaiseKind::Thrown => self.error_origin(self.heap.roots.thrown),
            _ => None,
        };
        let (image, at) = origin.or(noted).unwrap_or((self.current, self.pc.saturating_sub(1)));
        let (stop, failed_bytes) = match error.0 {
            RaiseKind::Stopped(kind) => {
                let bytes = if kind == StopKind::Heap { self.heap.failed_bytes } else { 0 };
                (Some(kind), bytes)
            }
            RaiseKind::Thrown => (None, 0),
            RaiseKind::Switch | RaiseKind::Finished => (Some(StopKind::Defect), 0),
        };
        let position = self.image(image).and_then(|image| image.position(at));
        if self.nesting == 0 {
            self.reset_stack();
        }
        RunError { stop, position, code_offset: at, failed_bytes }
    }

    fn reset_stack(&mut self) {
        self.heap.roots.open = Ref::NONE;
        self.heap.sp = self.heap.stack_end();
        self.fp = self.heap.sp;
        self.pc = 0;
    }

    /// Makes an image the one whose code runs.
    pub(crate) fn set_current(&mut self, image: usize) {
        self.current = image;
        self.records = self.images[image].as_ref().map_or(&[], |image| image.records());
        self.first = self.base(image);
        self.push = self.pushes[image];
    }

    #[inline(always)]
    pub(crate) fn image(&self, index: usize) -> Option<Image<'m>> {
        self.images.get(index).copied().flatten()
    }

    #[inline(always)]
    pub(crate) fn current_image(&self) -> &Image<'m> {
        match &self.images[self.current] {
            Some(image) => image,
            // Code runs only from a loaded image.
            None => unreachable!("no image is loaded"),
        }
    }

    pub(crate) fn n_images(&self) -> usize {
        self.n_images as usize
    }

    #[inline(always)]
    pub(crate) fn base(&self, image: usize) -> usize {
        self.bases[image] as usize
    }

    /// The image of a function number, and the function's number in it.
    #[inline(always)]
    pub(crate) fn locate(&self, number: usize) -> (usize, FunctionId) {
        let mut image = self.n_images() - 1;
        while image > 0 && number < self.base(image) {
            image -= 1;
        }
        (image, FunctionId::from_operand((number - self.base(image)) as i32))
    }

    /// Puts a value on the machine's stack, where the collector sees it, and
    /// gives its slot. A native's pushes go when the native returns.
    pub(crate) fn push(&mut self, value: Value<L>) -> Result<usize, Raise> {
        let sp = self.heap.sp;
        if sp <= self.heap.stack_floor() + 1 || sp <= self.stack_end_limit {
            return Err(Raise::stop(StopKind::Stack));
        }
        self.heap.sp = sp - 1;
        self.heap.mem[sp - 1] = value.0;
        Ok(sp - 1)
    }

    /// Takes the top of the machine's stack.
    pub(crate) fn pop(&mut self) -> Value<L> {
        let sp = self.heap.sp;
        self.heap.sp = sp + 1;
        Value(self.heap.mem[sp])
    }

    /// A number as a value.
    pub fn number(&mut self, number: f64) -> Result<Value<L>, Raise> {
        let int = number as i32;
        if f64::from(int).to_bits() == number.to_bits()
            && let Some(value) = Value::int(int)
        {
            return Ok(value);
        }
        // One NaN: a header must never look like a number.
        let number = if number.is_nan() { f64::NAN } else { number };
        if let Some(slot) = L::inline_number(number) {
            return Ok(Value(slot));
        }
        let block = self.allocate_number(number)?;
        Ok(Value::tagged(Tag::HeapNumber, block.0))
    }
}
