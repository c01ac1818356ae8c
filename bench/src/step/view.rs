//! What a pause shows: plain data, and nothing that leads back to the machine.
//!
//! It owns reading the machine for that. Two views of one instruction of one run are equal,
//! whichever way it was come to. It refuses to lay anything out.

use scruple_bytecode::image::Position;
use scruple_vm::{Frame, Host, Layout, Ledger, Value, Vm};

use crate::document::HeapBytes;
use crate::machine::Failure;
use crate::trace::text_of;

use super::code::Code;
use super::watcher::Line;

/// The most operands, slots, captures and globals that are told, each: those of a script
/// that makes an array of thousands are on no screen.
pub const MOST_VALUES: usize = 256;

/// The most calls that are told: the innermost.
pub const MOST_CALLS: usize = 256;

/// Why a run pauses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// It has come to where it was to go.
    There,
    /// It has come to a breakpoint.
    Breakpoint(String),
    /// Somebody asked it to.
    Asked,
    /// It is over.
    Ended,
    /// It is over, and not as it should be.
    Failed(Box<Failure>),
}

/// A run at one of its instructions, which is not carried out yet; or behind the last one.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The number of the instruction, from 1; behind the last one the number that none has.
    pub number: u64,
    /// The last number given: another than the instruction's where its operations go on
    /// behind what a built-in called back.
    pub begun: u64,
    /// Which operation of the instruction it is, from 0.
    pub part: usize,
    /// Its place in the code, unless the run is over and that is not known.
    pub at: Option<usize>,
    /// Whether the run is over.
    pub is_over: bool,
    /// The operations of the instruction that began last; behind them those of others that
    /// were under way before it and have been done since.
    pub last: Vec<Line>,
    /// The open calls, the running one first.
    pub calls: Vec<Call>,
    /// How many more there are.
    pub more_calls: usize,
    /// The running call's operands, the top of the stack last.
    pub operands: Vec<String>,
    /// How many more lie below these.
    pub more_operands: usize,
    /// The this value of the running call, where it has one.
    pub this: Option<String>,
    /// What its slots hold.
    pub slots: Vec<String>,
    /// What the variables hold that its function has captured.
    pub captures: Vec<String>,
    /// The globals that the script declares, by name.
    pub globals: Vec<(String, String)>,
    /// The last part of what the script has printed.
    pub output: String,
    /// Bytes that it has printed in all.
    pub output_bytes: u64,
    /// Bytes of the memory.
    pub memory: Memory,
    /// Counts so far.
    pub counts: Counts,
}

/// An open call.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Call {
    /// The function's number.
    pub function: usize,
    /// Its name, or what it is.
    pub name: String,
    /// The instruction that is under way there.
    pub at: usize,
    /// Where that is in the source.
    pub position: Option<Position>,
    /// Whether a built-in called it.
    pub is_called_back: bool,
    /// Whether a timer did.
    pub is_of_timer: bool,
    /// Whether `new` called it.
    pub constructs: bool,
}

/// Bytes of the memory.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Memory {
    /// Now, garbage included, by category.
    pub now: HeapBytes,
    /// At the moment of most so far.
    pub high_water: HeapBytes,
    /// Most bytes of stack so far.
    pub stack_peak: u64,
    /// Blocks made so far.
    pub allocations: u64,
    /// Bytes of those.
    pub allocated_bytes: u64,
    /// Collections so far.
    pub collections: u64,
}

impl Memory {
    pub(super) fn new(ledger: &Ledger, stack_bytes: u64) -> Memory {
        Memory {
            now: HeapBytes::with_stack(ledger.now(), stack_bytes),
            high_water: HeapBytes::from(ledger.high_water()),
            stack_peak: u64::from(ledger.stack_peak()),
            allocations: ledger.allocations(),
            allocated_bytes: ledger.allocated(),
            collections: ledger.collections(),
        }
    }
}

/// Counts so far, without the operation at hand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Instructions fetched.
    pub instructions: u64,
    /// Operations carried out.
    pub operations: u64,
    /// Bytes of instructions read.
    pub fetched_bytes: u64,
}

impl View {
    /// Where in the source it is.
    pub fn position(&self, code: &Code) -> Option<Position> {
        code.around(self.at?)?.position
    }

    /// The number that is one instruction back.
    pub fn before(&self) -> u64 {
        // Of an instruction that has begun, the beginning is what comes before.
        if self.part > 0 { self.begun } else { self.begun.saturating_sub(1) }
    }
}

/// What of a view the machine alone knows: of one that is over the memory, and nothing else.
#[derive(Default)]
pub(super) struct Read {
    pub(super) calls: Vec<Call>,
    pub(super) more_calls: usize,
    pub(super) operands: Vec<String>,
    pub(super) more_operands: usize,
    pub(super) this: Option<String>,
    pub(super) slots: Vec<String>,
    pub(super) captures: Vec<String>,
    pub(super) globals: Vec<(String, String)>,
    pub(super) memory: Memory,
}

/// Reads a machine that is at an instruction.
pub(super) fn read<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, code: &Code, at: usize) -> Read {
    let n_calls = vm.frames().count();
    let frames: Vec<Frame> = vm.frames().take(MOST_CALLS).collect();
    let calls = frames.iter().enumerate().map(|(depth, frame)| {
        let at = match depth {
            0 => at,
            _ => code.around(frame.place.saturating_sub(1)).map_or(0, |under_way| under_way.at),
        };
        Call {
            function: frame.function.index(),
            name: code.name(frame.function.index()).to_owned(),
            at,
            position: code.at(at).and_then(|instruction| instruction.position),
            is_called_back: frame.is_entry && depth + 1 < n_calls,
            is_of_timer: depth + 1 == n_calls && !code.is_script(frame.function.index()),
            constructs: frame.constructs,
        }
    });
    let calls = calls.collect();
    let n_operands = vm.n_operands();
    let shown = n_operands.min(MOST_VALUES);
    let operands = (0..shown).rev().filter_map(|depth| vm.operand(depth)).collect();
    let running = frames.first();
    let slots = running.map(|frame| vm.slots(frame).take(MOST_VALUES).collect());
    let captures = running.map(|frame| vm.captures(frame).take(MOST_VALUES).collect());
    let this = running.and_then(|frame| vm.this_of(frame));
    let image = running.map_or(0, |frame| frame.image);
    let globals: Vec<(String, Value<L>)> = code
        .globals()
        .iter()
        .take(MOST_VALUES)
        .filter_map(|(id, name)| Some((name.clone(), vm.global_of(image, *id)?)))
        .collect();
    Read {
        calls,
        more_calls: n_calls - frames.len(),
        operands: texts(vm, operands),
        more_operands: n_operands - shown,
        this: this.map(|value| text_of(vm, value)),
        slots: texts(vm, slots.unwrap_or_default()),
        captures: texts(vm, captures.unwrap_or_default()),
        globals: globals.into_iter().map(|(name, value)| (name, text_of(vm, value))).collect(),
        memory: Memory::new(vm.ledger(), vm.stack_bytes() as u64),
    }
}

fn texts<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, values: Vec<Value<L>>) -> Vec<String> {
    values.into_iter().map(|value| text_of(vm, value)).collect()
}
