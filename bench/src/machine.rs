//! Running an image in a station: the one place here that makes a machine.
//!
//! It owns the order load, run, timers. It refuses to judge the output.

use std::sync::Arc;

use scruple_bytecode::image::{Image, Position};
use scruple_bytecode::listing;
use scruple_bytecode::operand::{FunctionId, GlobalId, OperandKind};
use scruple_vm::{
    Counter, HeapOptions, Host, Layout, Ledger, LoadError, Narrow, Observer, RunError, StopKind,
    Vm, Wide,
};

use crate::feed::Feed;
use crate::layout::HeapLayout;
use crate::options::Limits;
use crate::report::counted;
use crate::station::{Output, Station};
use crate::timers;

/// How deep built-ins and scripts may call one another. A level through a sort's
/// comparison or a replacement function, the deepest ones, takes less than 2 KiB
/// of this program's stack optimised by `opt-level = 1`, and less than 1.5 KiB
/// released: found by halving the stack until such a script no longer ended in a
/// clean stop. [`STACK_BYTES`](crate::build::STACK_BYTES) is thirty times that.
pub const NESTING_LIMIT: u16 = 1000;

/// What a run is made of.
pub struct Setup<'a, O> {
    /// The image.
    pub image: &'a [u8],
    /// Bytes of the region that heap and stack share: whole slots of it are used.
    pub region: usize,
    /// What the sensors read.
    pub feed: Arc<Feed>,
    /// The limits.
    pub limits: Limits,
    /// Collect after that many bytes of allocation: 0 before every one.
    pub collect_every: usize,
    /// Where output goes.
    pub output: Output,
    /// What looks on.
    pub observer: O,
}

/// A run that is over.
pub struct Run<O> {
    /// How it ended.
    pub end: Result<(), Failure>,
    /// What became of the output.
    pub output: Output,
    /// What looked on.
    pub observer: O,
    /// Instructions carried out.
    pub instructions: u64,
    /// Operations carried out.
    pub operations: u64,
    /// The heap's books.
    pub ledger: Ledger,
}

/// Why a run ended before its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    /// What happened, without the place.
    pub message: String,
    /// Where in the source.
    pub position: Option<Position>,
    /// Where in the image's code, if it ran.
    pub code_offset: Option<usize>,
    /// The stop, if it was one.
    pub stop: Option<StopKind>,
    /// The bytes of the allocation that found no room, if one did.
    pub failed_bytes: Option<usize>,
    /// Why the image was not loaded, if it was not.
    pub load: Option<LoadError>,
}

/// Runs an image and counts, over a heap of a layout that is chosen while running.
/// Whoever measures calls this one, or only runs: a program has one machine a layout
/// for it, and one with an arm for each opcode byte takes long to compile.
pub fn count(layout: HeapLayout, setup: Setup<'_, Counter>) -> Run<Counter> {
    run_over(layout, setup)
}

/// Runs an image over a heap of a layout that is chosen while running.
pub(crate) fn run_over<O: Observer + 'static>(layout: HeapLayout, setup: Setup<'_, O>) -> Run<O> {
    match layout {
        HeapLayout::Narrow => run::<Narrow, O>(setup),
        HeapLayout::Wide => run::<Wide, O>(setup),
    }
}

/// Runs an image: the script, then its timers.
pub(crate) fn run<L: Layout, O: Observer + 'static>(setup: Setup<'_, O>) -> Run<O> {
    let Setup { image, region, feed, limits, collect_every, output, observer } = setup;
    let mut region = vec![L::Slot::default(); region / L::SLOT_BYTES];
    let functions = Station::<O>::functions::<L>();
    // What is alive at most does not hang on how much there may be.
    let limit = if collect_every == usize::MAX { limits.heap } else { usize::MAX };
    let options = scruple_vm::Options {
        heap: HeapOptions { limit, collect_every, ..HeapOptions::default() },
        stack_limit: limits.stack,
        nesting_limit: NESTING_LIMIT,
        budget: limits.budget,
        ..scruple_vm::Options::default()
    };
    let station = Station::new(output, observer, feed);
    let mut vm: Vm<'_, L, Station<O>> = Vm::new(&mut region, station, options);
    vm.set_host_functions(&functions);
    vm.set_instruction_sets(limits.sets);
    let end = match vm.load(image) {
        Ok(()) => match vm.run().and_then(|()| timers::run(&mut vm, limits.until)) {
            Ok(()) => Ok(()),
            Err(error) => Err(failure(&mut vm, error, &limits)),
        },
        Err(error) => Err(not_loaded(error, image, &limits)),
    };
    let (instructions, operations) = (vm.instructions(), vm.operations());
    let ledger = vm.ledger().clone();
    let Station { output, observer, .. } = vm.into_host();
    Run { end, output, observer, instructions, operations, ledger }
}

fn failure<L: Layout, O: Observer + 'static>(
    vm: &mut Vm<'_, L, Station<O>>,
    error: RunError,
    limits: &Limits,
) -> Failure {
    let mut message = error.reason().to_string();
    match error.stop() {
        None => {
            message.push_str(": ");
            let thrown = vm.thrown();
            // A String takes whatever is written.
            let _ = vm.describe(thrown, &mut message);
        }
        Some(StopKind::Budget) => {
            message.push_str(&format!(" ({})", counted(limits.budget, "operation")));
        }
        Some(_) => {}
    }
    Failure {
        message,
        position: error.position(),
        code_offset: Some(error.code_offset()),
        stop: error.stop(),
        failed_bytes: error.failed_bytes(),
        load: None,
    }
}

/// An image tells its globals by number and the machine knows no other name of them; the
/// image knows both.
fn not_loaded(error: LoadError, image: &[u8], limits: &Limits) -> Failure {
    let (mut message, mut position) = (error.to_string(), None);
    if let LoadError::Redeclared(id) = error
        && let Ok(image) = Image::open_with(image, limits.sets)
    {
        message = "global ".to_owned();
        // A String takes whatever is written.
        let _ = listing::write_global_name(&mut message, &image, id);
        message.push_str(" is declared already");
        position = first_mention(&image, id);
    }
    Failure {
        message,
        position,
        code_offset: None,
        stop: None,
        failed_bytes: None,
        load: Some(error),
    }
}

/// Where the source first comes to a global, as far as the line table tells.
fn first_mention(image: &Image<'_>, id: GlobalId) -> Option<Position> {
    let mut found: Vec<Position> = Vec::new();
    for function in (0..image.n_functions()).filter_map(FunctionId::new) {
        let (begin, end) = (image.function(function)?.code as usize, image.code_end(function)?);
        for (at, instruction) in image.walk(begin).take_while(|&(at, _)| at < end as usize) {
            let is_mention = instruction.parts().any(|part| {
                part.op.info().operand == OperandKind::GlobalId
                    && GlobalId::from_operand(part.operand) == id
            });
            found.extend(image.position(at).filter(|_| is_mention));
        }
    }
    found.into_iter().min_by_key(|position| (position.line, position.column))
}

/// Bytes of the machine's own registers, for a program around it that holds
/// nothing: a number of this host, since pointers are in it.
pub const fn machine_bytes() -> usize {
    struct Nothing(());
    impl Host for Nothing {
        type Observer = ();
        fn observer(&mut self) -> &mut () {
            &mut self.0
        }
        fn write(&mut self, _: &str) {}
    }
    size_of::<Vm<'_, Narrow, Nothing>>()
}
