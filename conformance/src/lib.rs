//! Checks against answers from outside the project: what every suite here needs
//! to run a script and see what it did.
//!
//! It owns no expectation: those lie beside the suites, each with its source.

pub mod commonjs;
pub mod corpus;
pub mod packages;
pub mod programs;
pub mod sets;
pub mod suite;

use scruple_bytecode::Encoding;
use scruple_bytecode::sets::{InstructionSet, SHIPPED};
use scruple_vm::{
    Counter, HeapOptions, Host, Layout, Ledger, Narrow, Observer, Options, Steps, Vm, Wide,
};

/// What a script did.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// What it printed.
    pub printed: String,
    /// How it ended.
    pub end: End,
    /// Instructions carried out.
    pub instructions: u64,
    /// Operations carried out.
    pub operations: u64,
    /// Instruction bytes read.
    pub fetched_bytes: u64,
    /// The heap's books at the end.
    pub ledger: Ledger,
}

/// How a script ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum End {
    /// At its end.
    Finished,
    /// By an exception that it did not catch, as text.
    Threw(String),
    /// The run could not go on.
    Stopped(String),
    /// The compiler refused it.
    Refused(String),
}

/// How values and references become bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LayoutName {
    /// 16-bit references.
    Narrow,
    /// 32-bit references.
    Wide,
}

/// How a script is to be run.
#[derive(Debug, Clone, Copy)]
pub struct Setup {
    /// The layout.
    pub layout: LayoutName,
    /// The encoding.
    pub encoding: Encoding,
    /// The instruction set, of an encoding that has one.
    pub set: &'static InstructionSet<'static>,
    /// The heap's behaviour.
    pub heap: HeapOptions,
    /// The region, in slots.
    pub slots: usize,
    /// Operations that may be carried out.
    pub budget: u64,
    /// Which of the machine's ways an instruction goes.
    pub way: Way,
    /// Whether calls in tail position may outnumber what the stack holds.
    pub tail_calls: bool,
}

/// How an instruction comes to its handler.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// In its quick form where that will do: in a release build by an arm of its own.
    Quick,
    /// By the handler alone, with an observer that looks at every instruction.
    Stepped,
    /// By the smaller of two ways where the machine has two, as on a board.
    Compact,
}

impl Default for Setup {
    fn default() -> Self {
        Setup {
            layout: LayoutName::Narrow,
            encoding: Encoding::Implied,
            set: &SHIPPED,
            heap: HeapOptions::default(),
            slots: 120 * 1024,
            budget: 200_000_000,
            way: Way::Quick,
            tail_calls: false,
        }
    }
}

/// An observer that counts fetched bytes.
pub trait Watch: Observer + Default + 'static {
    /// How many so far.
    fn fetched_bytes(&self) -> u64;
}

impl Watch for Counter {
    fn fetched_bytes(&self) -> u64 {
        Counter::fetched_bytes(self)
    }
}

/// Looks at every instruction, and counts as [`Counter`] does.
#[derive(Default)]
struct Stepper(Counter);

impl Observer for Stepper {
    type Tally = u64;
    type Wants = Steps;

    fn count(tally: &mut u64, bytes: usize) {
        Counter::count(tally, bytes);
    }

    fn absorb(&mut self, tally: u64) {
        self.0.absorb(tally);
    }
}

impl Watch for Stepper {
    fn fetched_bytes(&self) -> u64 {
        self.0.fetched_bytes()
    }
}

/// A host that keeps what scripts print. Tests that put a machine together themselves take
/// this one: then it is compiled once, and not anew in each of them.
pub type Quiet = Listener<Counter, false>;

/// The same, with the machine that a board has ([`Host::COMPACT`]).
pub type QuietCompact = Listener<Counter, true>;

/// What a host has to look on with.
#[derive(Default)]
pub struct Listener<W, const COMPACT: bool> {
    printed: String,
    watch: W,
    /// What the script asked for and the machine or the host does not have.
    lacking: Option<String>,
}

impl<W: Watch, const COMPACT: bool> Host for Listener<W, COMPACT> {
    type Observer = W;
    const COMPACT: bool = COMPACT;

    fn observer(&mut self) -> &mut W {
        &mut self.watch
    }

    fn write(&mut self, text: &str) {
        self.printed.push_str(text);
    }

    fn note_unsupported(&mut self, what: &'static str) {
        self.lacking.get_or_insert_with(|| what.to_owned());
    }
}

/// Compiles scripts and runs them in one fresh context, one after the other.
pub fn run(sources: &[&str], setup: &Setup) -> Outcome {
    match (setup.layout, setup.way) {
        (LayoutName::Narrow, Way::Quick) => run_in::<Narrow, Counter, false>(sources, setup),
        (LayoutName::Narrow, Way::Stepped) => run_in::<Narrow, Stepper, false>(sources, setup),
        (LayoutName::Narrow, Way::Compact) => run_in::<Narrow, Counter, true>(sources, setup),
        (LayoutName::Wide, Way::Quick) => run_in::<Wide, Counter, false>(sources, setup),
        (LayoutName::Wide, Way::Stepped) => run_in::<Wide, Stepper, false>(sources, setup),
        (LayoutName::Wide, Way::Compact) => run_in::<Wide, Counter, true>(sources, setup),
    }
}

fn run_in<L: Layout, W: Watch, const COMPACT: bool>(sources: &[&str], setup: &Setup) -> Outcome {
    let options = scruple_compiler::Options {
        encoding: setup.encoding,
        ..scruple_compiler::Options::default()
    };
    let mut images = Vec::new();
    let mut refused = None;
    for source in sources {
        match scruple_compiler::compile_with(source, &options, setup.set) {
            Ok(compiled) => images.push(compiled.image),
            Err(diagnostics) => {
                refused = Some(diagnostics.to_string());
                break;
            }
        }
    }
    let sets = [setup.set];
    let mut region = vec![L::Slot::default(); setup.slots];
    let options = Options {
        heap: setup.heap,
        budget: setup.budget,
        tail_calls: setup.tail_calls,
        ..Options::default()
    };
    let listener = Listener::<W, COMPACT>::default();
    let mut vm: Vm<'_, L, Listener<W, COMPACT>> = Vm::new(&mut region, listener, options);
    vm.set_instruction_sets(&sets);
    let mut end = End::Finished;
    if refused.is_none() {
        for image in &images {
            if let Err(error) = vm.load(image) {
                end = End::Stopped(error.to_string());
                break;
            }
            if let Err(error) = vm.run() {
                end = if error.is_exception() {
                    let mut text = String::new();
                    let thrown = vm.thrown();
                    // Writing to a String cannot fail.
                    let _ = vm.describe(thrown, &mut text);
                    End::Threw(text)
                } else {
                    End::Stopped(error.to_string())
                };
                break;
            }
        }
    }
    if let Some(text) = refused {
        end = End::Refused(text);
    }
    Outcome {
        end,
        instructions: vm.instructions(),
        operations: vm.operations(),
        fetched_bytes: vm.host().watch.fetched_bytes(),
        ledger: vm.ledger().clone(),
        printed: std::mem::take(&mut vm.host_mut().printed),
    }
}

/// Runs an image that may be damaged, and tells whether the machine took it: it stays
/// within its bounds and its books add up, or this panics.
///
/// # Panics
///
/// If they do not.
pub fn run_image(image: &[u8], set: &'static InstructionSet<'static>, budget: u64) -> bool {
    let sets = [set];
    let mut region = vec![0u32; 8192];
    let options = Options { budget, ..Options::default() };
    let listener = Listener::<Counter, false>::default();
    let mut vm: Vm<'_, Narrow, Listener<Counter, false>> = Vm::new(&mut region, listener, options);
    vm.set_instruction_sets(&sets);
    if vm.load(image).is_err() {
        return false;
    }
    // Any end will do but a panic.
    let _ = vm.run();
    assert!(vm.ledger().audit(), "the ledger does not add up");
    true
}
