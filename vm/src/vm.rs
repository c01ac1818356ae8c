//! The machine: a context that scripts run in.
//!
//! It owns the heap's region, the loaded images and the registers between runs.
//! It never sees source text, and allocates nothing outside the region.

use core::fmt;

use crate::Host;
use crate::error::{Raise, RaiseKind, RunError, StopKind};
use crate::heap::kinds::Kind;
use crate::heap::ledger::Ledger;
use crate::heap::{Heap, HeapOptions};
use crate::host::{Call, HostFunction};
use crate::keys::Key;
use crate::layout::{Layout, Tag};
use crate::value::{MAX_CONSTANTS, Ref, Value};
use scruple_bytecode::image::{GlobalKind, Image};
use scruple_bytecode::names;
use scruple_bytecode::operand::{FunctionId, GlobalId};
use scruple_bytecode::verify::{Scratch, VerifyError, verify};

/// The most images a machine holds at once.
pub const MAX_IMAGES: usize = 4;

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
    /// Instructions that may be carried out; the steps of the built-ins' own
    /// loops are held to the same number, apart from them.
    pub budget: u64,
    /// Where `Math.random` begins: the same seed gives the same numbers.
    pub seed: u64,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            heap: HeapOptions::default(),
            stack_limit: usize::MAX,
            nesting_limit: 64,
            budget: u64::MAX,
            seed: 0,
        }
    }
}

/// Why an image could not be loaded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LoadError {
    /// The image is not safe to run.
    Verify(VerifyError),
    /// [`MAX_IMAGES`] images are loaded already.
    TooManyImages,
    /// The image's encoding is not that of the first one loaded.
    MixedEncodings,
    /// The image has more constants or functions than the layout can refer to.
    TooLarge,
    /// There is no room for the image's globals.
    NoRoom,
    /// A `let`, `const` or function of the image clashes with a binding that is
    /// there already (ECMA-262, GlobalDeclarationInstantiation).
    Redeclared(GlobalId),
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LoadError::Verify(error) => error.fmt(f),
            LoadError::TooManyImages => write!(f, "more than {MAX_IMAGES} images"),
            LoadError::MixedEncodings => write!(f, "images of different encodings"),
            LoadError::TooLarge => write!(f, "more constants or functions than can be referred to"),
            LoadError::NoRoom => write!(f, "no room for the script's globals"),
            LoadError::Redeclared(id) => write!(f, "global {} is declared already", id.index()),
        }
    }
}

impl core::error::Error for LoadError {}

impl From<VerifyError> for LoadError {
    fn from(error: VerifyError) -> Self {
        LoadError::Verify(error)
    }
}

/// A value the host keeps from the collector.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Retained(u32);

/// Where an exception or a stop came from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fault {
    pub(crate) image: usize,
    pub(crate) at: usize,
    /// Whether it is a stop: an inner run's note is not to be replaced.
    pub(crate) stops: bool,
}

/// A context that scripts run in.
pub struct Vm<'m, L: Layout, H: Host> {
    pub(crate) heap: Heap<'m, L>,
    images: [Option<Image<'m>>; MAX_IMAGES],
    /// Number of the first function of each image.
    bases: [u16; MAX_IMAGES],
    n_images: u8,
    /// The image whose code runs.
    pub(crate) current: usize,
    /// Its function records, and the number of its first function: calls within
    /// an image, which are nearly all, need not look for the image.
    pub(crate) records: &'m [u8],
    pub(crate) first: usize,
    /// Slot of the running function's first parameter.
    pub(crate) fp: usize,
    /// Place behind the running instruction.
    pub(crate) pc: usize,
    /// Instructions that may still be carried out.
    pub(crate) fuel: u64,
    /// Steps that the loops of built-ins may still take.
    work: u64,
    /// The state of `Math.random`.
    pub(crate) random: u64,
    pub(crate) options: Options,
    pub(crate) nesting: u16,
    pub(crate) fault: Option<Fault>,
    /// The slot that the stack limit keeps frames above.
    pub(crate) stack_end_limit: usize,
    pub(crate) host_functions: &'m [HostFunction<L, H>],
    host: H,
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// A fresh context in a region of memory: the built-ins take none of it.
    pub fn new(region: &'m mut [L::Slot], host: H, options: Options) -> Self {
        let heap = Heap::new(region, options.heap);
        let end = heap.stack_end();
        Vm {
            heap,
            images: [None; MAX_IMAGES],
            bases: [0; MAX_IMAGES],
            n_images: 0,
            current: 0,
            records: &[],
            first: 0,
            fp: end,
            pc: 0,
            fuel: options.budget,
            work: options.budget,
            random: options.seed,
            options,
            nesting: 0,
            fault: None,
            stack_end_limit: end.saturating_sub(options.stack_limit / L::SLOT_BYTES),
            host_functions: &[],
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

    /// Makes functions of the host callable, each as a global of its name. They
    /// take no heap. A later call replaces the earlier list.
    pub fn set_host_functions(&mut self, functions: &'m [HostFunction<L, H>]) {
        const MOST: usize = (Ref::FIRST_CELL - Ref::FIRST_HOST) as usize;
        self.host_functions = &functions[..functions.len().min(MOST)];
    }

    /// The heap's books.
    pub fn ledger(&self) -> &Ledger {
        &self.heap.ledger
    }

    /// Instructions carried out since the start.
    pub fn instructions(&self) -> u64 {
        self.options.budget - self.fuel
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

    /// Verifies an image and makes its globals. The image is used where it lies.
    pub fn load(&mut self, bytes: &'m [u8]) -> Result<(), LoadError> {
        let index = self.n_images as usize;
        if index == MAX_IMAGES {
            return Err(LoadError::TooManyImages);
        }
        let image = {
            // Between the cells in use and the stack lies memory that nothing
            // uses now: enough to verify with.
            let (floor, top) = (self.heap.stack_floor(), self.heap.sp);
            let free = self.heap.mem.get_mut(floor..top).unwrap_or_default();
            verify(bytes, &mut FreeSlots::<L>(free))?
        };
        if self.image(0).is_some_and(|first| first.encoding() != image.encoding()) {
            return Err(LoadError::MixedEncodings);
        }
        let base = match index.checked_sub(1).and_then(|last| Some((last, self.image(last)?))) {
            Some((last, before)) => self.bases[last] as usize + before.n_functions(),
            None => 0,
        };
        let functions_fit = base + image.n_functions() <= 1 << L::HALF_BITS.min(16);
        if !functions_fit || image.n_constants() > MAX_CONSTANTS {
            return Err(LoadError::TooLarge);
        }
        let deepest = (0..image.n_functions())
            .filter_map(|i| image.function(FunctionId::new(i)?))
            .map(|function| function.depth as usize)
            .max();
        self.heap.reserve = self.heap.reserve.max(deepest.unwrap_or(0) + RESERVE);
        self.images[index] = Some(image);
        self.bases[index] = base as u16;
        self.n_images += 1;
        let loaded = self.instantiate_globals(index, &image);
        if loaded.is_err() {
            self.heap.roots.globals[index] = Ref::NONE;
            self.images[index] = None;
            self.n_images -= 1;
        }
        loaded
    }

    /// ECMA-262, GlobalDeclarationInstantiation: `let`, `const` and functions are
    /// uninitialised until the script runs; names it only uses stand for what is
    /// there, or for a look-up by name.
    fn instantiate_globals(&mut self, index: usize, image: &Image<'m>) -> Result<(), LoadError> {
        let n_globals = image.n_globals();
        let before = self.current;
        self.set_current(index);
        let result = self.make_globals(index, image, n_globals);
        self.set_current(before);
        result
    }

    fn make_globals(
        &mut self,
        index: usize,
        image: &Image<'m>,
        n_globals: usize,
    ) -> Result<(), LoadError> {
        let no_room = |_| LoadError::NoRoom;
        let cells = 1 + n_globals.div_ceil(2);
        let globals = self.heap.allocate(Kind::Globals, cells).map_err(no_room)?;
        self.heap.set_slot(globals, 1, L::from_bits(n_globals as u64));
        for at in 0..n_globals {
            self.heap.set_value(globals, 2 + at, Value::elsewhere());
        }
        // What follows may allocate: the block is a root from here on.
        self.heap.roots.globals[index] = globals;
        for at in 0..n_globals {
            let Some(id) = GlobalId::new(at) else { return Err(LoadError::TooLarge) };
            let Some((kind, name)) = image.global(id) else { continue };
            let key = self.field_key(name).map_err(|_| LoadError::TooLarge)?;
            let there = self.find_global(key);
            let value = match kind {
                GlobalKind::Undeclared if there.is_some() => Value::elsewhere(),
                GlobalKind::Undeclared => self.flash_global(key).unwrap_or(Value::elsewhere()),
                GlobalKind::Var if there.is_some() || self.has_own_global(key) => {
                    Value::elsewhere()
                }
                GlobalKind::Var => Value::undefined(),
                GlobalKind::Function if there.is_some() => Value::elsewhere(),
                GlobalKind::Function => Value::undefined(),
                GlobalKind::Let | GlobalKind::Const => {
                    if there.is_some_and(|(_, kind)| kind != GlobalKind::Undeclared) {
                        return Err(LoadError::Redeclared(id));
                    }
                    Value::uninitialised()
                }
            };
            self.heap.set_value(globals, 2 + at, value);
        }
        Ok(())
    }

    /// Runs the script of the image loaded last.
    pub fn run(&mut self) -> Result<(), RunError> {
        let Some(index) = (self.n_images as usize).checked_sub(1) else { return Ok(()) };
        let result = self.run_script(index).map(drop);
        self.conclude(result)
    }

    fn run_script(&mut self, index: usize) -> Result<Value<L>, Raise> {
        let Some(image) = self.image(index) else { return Ok(Value::undefined()) };
        let number = self.bases[index] as usize + image.script().index();
        let closure = self.allocate(Kind::Closure, 1)?;
        self.heap.set_half(closure, 1, number as u32);
        self.heap.set_child(closure, 2, Ref::NONE);
        self.heap.set_child(closure, 3, Ref::NONE);
        self.push(Value::object(closure))?;
        self.push(Value::object(crate::builtins::GLOBAL_OBJECT))?;
        self.call_pushed(0)
    }

    /// Calls a function from the host.
    pub fn call(
        &mut self,
        function: Value<L>,
        this: Value<L>,
        args: &[Value<L>],
    ) -> Result<Value<L>, RunError> {
        let result = self.invoke(function, this, args);
        self.conclude(result)
    }

    /// Lets the host make and convert values outside a host function, with what
    /// gives a [`Raise`]: `vm.attempt(|vm| vm.number(0.5))`.
    pub fn attempt<T>(
        &mut self,
        work: impl FnOnce(&mut Self) -> Result<T, Raise>,
    ) -> Result<T, RunError> {
        let result = work(self);
        self.conclude(result)
    }

    /// Reads a global, whichever way it was declared.
    pub fn global(&mut self, name: &str) -> Result<Value<L>, RunError> {
        let result = self.key_of_str(name).and_then(|key| self.load_global_by_key(key));
        self.conclude(result.map(|value| value.unwrap_or(Value::undefined())))
    }

    /// Sets a global: a binding of a script, or else a property of the global
    /// object.
    pub fn set_global(&mut self, name: &str, value: Value<L>) -> Result<(), RunError> {
        let result = self.store_global_from_host(name, value);
        self.conclude(result)
    }

    fn store_global_from_host(&mut self, name: &str, value: Value<L>) -> Result<(), Raise> {
        self.push(value)?;
        let key = self.key_of_str(name)?;
        let stored = self.store_global_by_key(key, value)?;
        if !stored {
            self.set(crate::builtins::GLOBAL_OBJECT, key, value)?;
        }
        self.pop();
        Ok(())
    }

    /// Keeps a value from the collector until it is released.
    pub fn retain(&mut self, value: Value<L>) -> Result<Retained, RunError> {
        let result = self.retain_value(value);
        self.conclude(result)
    }

    pub(crate) fn retain_value(&mut self, value: Value<L>) -> Result<Retained, Raise> {
        self.push(value)?;
        let mut list = self.heap.roots.retained;
        let cells = list.cell().map_or(0, |cell| self.heap.block_cells(cell));
        let slots = if cells == 0 { 0 } else { 2 * cells - 2 };
        let free = (0..slots).find(|&at| self.heap.value(list, 2 + at) == Value::hole());
        let place = match free {
            Some(place) => place,
            None => {
                if cells == 0 || !self.heap.extend(list, cells, cells + 1) {
                    let grown = self.allocate(Kind::Elements, cells.max(1) + 1)?;
                    for at in 0..slots {
                        let kept = self.heap.value(list, 2 + at);
                        self.heap.set_value(grown, 2 + at, kept);
                    }
                    list = grown;
                    self.heap.roots.retained = list;
                }
                let end = list.cell().map_or(0, |cell| 2 * self.heap.block_cells(cell) - 2);
                for at in slots..end {
                    self.heap.set_value(list, 2 + at, Value::hole());
                }
                slots
            }
        };
        self.heap.set_value(list, 2 + place, value);
        self.pop();
        Ok(Retained(place as u32))
    }

    /// A value that the host keeps.
    pub fn retained(&self, handle: Retained) -> Value<L> {
        let list = self.heap.roots.retained;
        match list.cell() {
            Some(cell) if (handle.0 as usize) < 2 * self.heap.block_cells(cell) - 2 => {
                self.heap.value(list, 2 + handle.0 as usize)
            }
            _ => Value::undefined(),
        }
    }

    /// Lets the collector have a kept value again.
    pub fn release(&mut self, handle: Retained) {
        if !self.retained(handle).is_undefined() || self.heap.roots.retained.is_cell() {
            let list = self.heap.roots.retained;
            self.heap.set_value(list, 2 + handle.0 as usize, Value::hole());
        }
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

    /// Carries out a step that calls itself: the nesting limit bounds how deep.
    pub(crate) fn nest<T>(
        &mut self,
        step: impl FnOnce(&mut Self) -> Result<T, Raise>,
    ) -> Result<T, Raise> {
        if self.nesting >= self.options.nesting_limit {
            return Err(self.note_stop(StopKind::Nesting));
        }
        self.nesting += 1;
        let result = step(self);
        self.nesting -= 1;
        result
    }

    /// An argument of a native call, undefined where there is none.
    #[inline]
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

    /// The key of a global that an image declares as a property.
    pub(crate) fn declared_global(&self, image: usize, at: usize) -> Option<Key> {
        let (kind, name) = self.image(image)?.global(GlobalId::new(at)?)?;
        let declared = matches!(kind, GlobalKind::Var | GlobalKind::Function);
        if declared { self.field_key_in(image, name) } else { None }
    }

    /// Ends a run: the stack is unwound, and an error gets its position.
    pub(crate) fn conclude<T>(&mut self, result: Result<T, Raise>) -> Result<T, RunError> {
        let error = match result {
            Ok(value) => {
                if self.nesting == 0 {
                    self.reset_stack();
                }
                return Ok(value);
            }
            Err(raise) => raise,
        };
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
        Err(RunError { stop, position, code_offset: at, failed_bytes })
    }

    fn reset_stack(&mut self) {
        self.heap.sp = self.heap.stack_end();
        self.fp = self.heap.sp;
        self.pc = 0;
    }

    /// Makes an image the one whose code runs.
    pub(crate) fn set_current(&mut self, image: usize) {
        self.current = image;
        self.records = self.images[image].as_ref().map_or(&[], |image| image.records());
        self.first = self.base(image);
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

    /// Allocates a block. What the caller still needs lies in roots.
    pub(crate) fn allocate(&mut self, kind: Kind, cells: usize) -> Result<Ref, Raise> {
        self.heap.allocate(kind, cells).map_err(|_| Raise::stop(StopKind::Heap))
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
        let block = self.heap.allocate_number(number).map_err(|_| Raise::stop(StopKind::Heap))?;
        Ok(Value::tagged(Tag::HeapNumber, block.0))
    }

    pub(crate) fn has_own_global(&mut self, key: Key) -> bool {
        matches!(self.get_own(crate::builtins::GLOBAL_OBJECT, key), Ok(Some(_)))
            && !key.is_name(names::UNDEFINED)
    }
}

/// Slots kept free between the heap and the stack besides what frames need: what
/// natives push without asking.
const RESERVE: usize = 4;

struct FreeSlots<'a, L: Layout>(&'a mut [L::Slot]);

impl<L: Layout> Scratch for FreeSlots<'_, L> {
    fn capacity(&self) -> usize {
        self.0.len() * (L::SLOT_BYTES / 2)
    }

    fn get(&self, index: usize) -> u16 {
        let per = L::SLOT_BYTES / 2;
        (L::bits(self.0[index / per]) >> (16 * (index % per))) as u16
    }

    fn set(&mut self, index: usize, value: u16) {
        let per = L::SLOT_BYTES / 2;
        let shift = 16 * (index % per);
        let slot = &mut self.0[index / per];
        *slot = L::from_bits(L::bits(*slot) & !(0xffffu64 << shift) | u64::from(value) << shift);
    }
}
