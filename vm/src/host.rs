//! What a machine needs of the program around it, and how that program looks on.

use scruple_bytecode::Op;

use crate::error::Raise;
#[cfg(not(debug_assertions))]
use crate::interp::LaidOut;
use crate::interp::{Looking, Pace};
use crate::layout::Layout;
use crate::memory::Booking;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// The program around a machine.
pub trait Host: Sized + 'static {
    /// How it looks on while a script runs. `()` does not, and costs nothing.
    type Observer: Observer;

    /// Whether the machine takes the smaller of two ways where it has two: each
    /// instruction through one table instead of an arm for each opcode byte, and
    /// numbers to text and back by exact arithmetic instead of tables of powers.
    /// The results and the counts are the same, the code is a fraction, and it is
    /// slower. An observer is not told of steps then.
    const COMPACT: bool = false;

    /// Which families of built-ins are there.
    const FAMILIES: Families = Families::ALL;

    /// Whether images run whose encoding has an instruction set: what carries their
    /// instructions out is code of its own. Without it the machine has no set.
    const COMPOSITES: bool = true;

    /// The observer.
    fn observer(&mut self) -> &mut Self::Observer;

    /// Takes text that the script prints. A line comes in pieces; `"\n"` ends it.
    fn write(&mut self, text: &str);

    /// Whether more of it is taken. Where none is, what has printed a line ends the run, as
    /// [`Raise::stop_run`] does.
    fn takes_more(&self) -> bool {
        true
    }

    /// Is told that the script asked for something that the standard has and this
    /// machine leaves out, right before the exception for that. A suite can then
    /// tell a gap that is meant from a fault, whoever catches the exception.
    fn note_unsupported(&mut self, what: &'static str) {
        let _ = what;
    }
}

/// Families of built-ins that a build may leave out: their functions are there by
/// name and throw a TypeError. What remains is Object, Function, Error, Boolean,
/// Number, the global functions and the console; array and object literals, their
/// elements and properties, and operators on strings are the interpreter's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Families {
    /// The functions of `Array` and of arrays.
    pub arrays: bool,
    /// The functions of `String` and of strings.
    pub strings: bool,
    /// The functions of `Math`.
    pub maths: bool,
    /// `JSON`.
    pub json: bool,
    /// `Map`, `Set`, `WeakMap`, `WeakSet`.
    pub collections: bool,
    /// `ArrayBuffer`, the typed arrays, `DataView`.
    pub buffers: bool,
    /// `Reflect`.
    pub reflect: bool,
}

impl Families {
    /// All of them.
    pub const ALL: Families = Families {
        arrays: true,
        strings: true,
        maths: true,
        json: true,
        collections: true,
        buffers: true,
        reflect: true,
    };
}

/// An instruction that is carried out.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// The image's number, in loading order.
    pub image: usize,
    /// The instruction's place in the code section.
    pub at: usize,
    /// The place behind it.
    pub next: usize,
    /// Its operation.
    pub op: Op,
    /// Its operand.
    pub operand: i32,
}

/// What became of an instruction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It did what it does. Where the running function changed, its result is
    /// not on this function's stack: see [`Vm::frame`].
    Done,
    /// It threw an exception, which is [`Vm::thrown`].
    Threw,
    /// It ended the run.
    Stopped,
}

/// Looks on while a script runs.
///
/// The interpreter is made once for each observer, so what an observer does not
/// ask for is not there. Counts go through a tally that the interpreter keeps in
/// a register and hands over when it stops.
pub trait Observer: Sized {
    /// The counts on their way.
    type Tally: Copy + Default;
    /// What it wants to be told of: [`Counts`], [`Steps`] or [`Changes`].
    type Wants: Wanted;

    /// Counts an instruction of that many bytes.
    fn count(tally: &mut Self::Tally, bytes: usize);
    /// Takes counts over, besides those it has.
    fn absorb(&mut self, tally: Self::Tally);
    /// Called before an instruction if it wants [`Steps`]. The observer itself is
    /// `vm.host_mut().observer()`; what the instruction will take is
    /// [`Vm::operand`]. [`Raise::stop_run`] ends the run before it.
    fn before<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
    ) -> Result<(), Raise> {
        let _ = (vm, step);
        Ok(())
    }
    /// Called behind an instruction if it wants [`Steps`].
    fn after<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
        outcome: Outcome,
    ) {
        let _ = (vm, step, outcome);
    }
    /// Called where the memory changes if it wants [`Changes`]: whenever the ledger's peaks can
    /// have risen, and before they fall. [`Vm::ledger`], [`Vm::blocks`] and
    /// [`Vm::running`] tell the rest.
    fn booked<L: Layout, H: Host<Observer = Self>>(vm: &mut Vm<'_, L, H>, booking: Booking) {
        let _ = (vm, booking);
    }
}

/// What an observer wants to be told of.
pub trait Wanted: sealed::Sealed {
    /// Whether [`Observer::before`] and [`Observer::after`] are to be called.
    const STEPS: bool = false;
    /// Whether [`Observer::booked`] is to be called.
    const MEMORY: bool = false;
    #[doc(hidden)]
    type Pace: Pace;
}

/// What the observer of a host wants.
pub(crate) type Wants<H> = <<H as Host>::Observer as Observer>::Wants;

/// The bytes of each instruction, and nothing else: the quickest.
pub enum Counts {}

/// Each operation, before it and behind it.
pub enum Steps {}

/// Each change of the memory.
pub enum Changes {}

impl Wanted for Counts {
    #[cfg(not(debug_assertions))]
    type Pace = LaidOut;
    #[cfg(debug_assertions)]
    type Pace = Looking;
}

impl Wanted for Steps {
    const STEPS: bool = true;
    type Pace = Looking;
}

/// An observer of the memory runs the short loop too: two loops more with a quick form in
/// every arm would double the time that the bench takes to build.
impl Wanted for Changes {
    const MEMORY: bool = true;
    type Pace = Looking;
}

mod sealed {
    pub trait Sealed {}
    impl Sealed for super::Counts {}
    impl Sealed for super::Steps {}
    impl Sealed for super::Changes {}
}

/// Looks at nothing.
impl Observer for () {
    type Tally = ();
    type Wants = Counts;

    #[inline(always)]
    fn count((): &mut (), _: usize) {}

    fn absorb(&mut self, (): ()) {}
}

/// Counts fetched bytes. Instructions the machine counts itself, against the
/// budget.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counter {
    fetched_bytes: u64,
}

impl Counter {
    /// Instruction bytes read so far.
    pub fn fetched_bytes(&self) -> u64 {
        self.fetched_bytes
    }
}

impl Observer for Counter {
    type Tally = u64;
    type Wants = Counts;

    #[inline(always)]
    fn count(tally: &mut u64, bytes: usize) {
        *tally += bytes as u64;
    }

    fn absorb(&mut self, tally: u64) {
        self.fetched_bytes += tally;
    }
}

/// What a function of the host or a built-in does with a call.
pub type NativeFn<L, H> = for<'v, 'm> fn(&'v mut Vm<'m, L, H>, Call<L>) -> Result<Value<L>, Raise>;

/// A function of the host that scripts can call by name.
pub struct HostFunction<L: Layout, H: Host> {
    /// The global that holds it.
    pub name: &'static str,
    /// Its `length`.
    pub length: u8,
    /// What it does.
    pub call: NativeFn<L, H>,
}

/// A call of a native or host function: where its arguments lie.
#[derive(Clone, Copy, Debug)]
pub struct Call<L: Layout> {
    /// The slot of the first argument; the others lie below it.
    pub(crate) first: usize,
    /// Number of arguments.
    pub(crate) argc: usize,
    /// The this value.
    pub(crate) this: Value<L>,
    /// The function that is called.
    pub(crate) callee: Ref,
    /// Whether it was called by `new`.
    pub(crate) constructs: bool,
}

impl<L: Layout> Call<L> {
    /// How many arguments there are.
    pub fn argc(&self) -> usize {
        self.argc
    }

    /// The this value.
    pub fn this(&self) -> Value<L> {
        self.this
    }
}
