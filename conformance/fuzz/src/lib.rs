//! What the fuzz targets share: a host that keeps nothing, a run with small
//! limits, and damage to images that gets past the checksum.
//!
//! It owns no target. It refuses to judge a result: any end but a panic, or what
//! the sanitizer reports, will do.

pub mod damage;
pub mod sets;

use std::sync::OnceLock;

use scruple_bytecode::image::Image;
use scruple_bytecode::listing;
use scruple_bytecode::operand::{ConstId, FunctionId, GlobalId};
use scruple_bytecode::sets::InstructionSet;
use scruple_vm::{
    Booking, Changes, Counter, HeapOptions, Host, Layout, Narrow, Observer, Options, Outcome,
    Raise, Step, Steps, Vm, Wide,
};

/// A host that listens to nothing, with what looks on.
#[derive(Default)]
struct Silent<O>(O);

impl<O: Observer + 'static> Host for Silent<O> {
    type Observer = O;

    fn observer(&mut self) -> &mut O {
        &mut self.0
    }

    fn write(&mut self, _: &str) {}
}

/// The same for the loop that boards have.
#[derive(Default)]
struct Compact(Counter);

impl Host for Compact {
    type Observer = Counter;
    const COMPACT: bool = true;

    fn observer(&mut self) -> &mut Counter {
        &mut self.0
    }

    fn write(&mut self, _: &str) {}
}

/// Looks at all that an observer of operations may look at.
#[derive(Default)]
struct Looker {
    n_left: u64,
}

impl Observer for Looker {
    type Tally = ();
    type Wants = Steps;

    fn count((): &mut (), _: usize) {}

    fn absorb(&mut self, (): ()) {}

    fn before<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
    ) -> Result<(), Raise> {
        let taken = step.op.info().effect.taken(step.operand) as usize;
        let values: Vec<_> = (0..taken.min(8)).filter_map(|depth| vm.operand(depth)).collect();
        for value in values {
            let _ = vm.describe(value, &mut String::new());
        }
        Ok(())
    }

    fn after<L: Layout, H: Host<Observer = Self>>(vm: &mut Vm<'_, L, H>, _: Step, _: Outcome) {
        vm.host_mut().observer().n_left += 1;
        let _ = (vm.frame(), vm.place(), vm.operand(0));
    }
}

/// Looks at all that an observer of the memory may look at.
#[derive(Default)]
struct Walker {
    n_blocks: usize,
}

impl Observer for Walker {
    type Tally = ();
    type Wants = Changes;

    fn count((): &mut (), _: usize) {}

    fn absorb(&mut self, (): ()) {}

    fn booked<L: Layout, H: Host<Observer = Self>>(vm: &mut Vm<'_, L, H>, _: Booking) {
        let n_blocks = vm.blocks().count();
        let _ = vm.running();
        assert!(vm.ledger().audit(), "the ledger does not add up on the way");
        vm.host_mut().observer().n_blocks += n_blocks;
    }
}

/// Slots of the region a script gets: enough for the verifier and some objects,
/// and little enough that limits are met.
const SLOTS: usize = 4096;

/// Loads an image and runs it within the budget; tells whether it was accepted.
/// The ledger must add up at the end, and the machine must take a further call.
pub fn run<L: Layout>(image: &[u8], budget: u64) -> bool {
    run_with::<L>(image, sets::all(), budget)
}

/// The same with these instruction sets.
pub fn run_with<L: Layout>(image: &[u8], sets: &[&InstructionSet<'_>], budget: u64) -> bool {
    ran::<L, Silent<Counter>>(&[image], sets, options(budget)).is_some()
}

fn options(budget: u64) -> Options {
    Options { budget, nesting_limit: 16, ..Options::default() }
}

/// How a run went, if the image was accepted: what was carried out until it ended, and
/// whether that was for want of memory, the stack's included.
struct Ran {
    instructions: u64,
    operations: u64,
    wanted_memory: bool,
}

/// Loads images one after the other, of which the last is run, within the budget.
fn ran<L: Layout, H: Host + Default>(
    images: &[&[u8]],
    sets: &[&InstructionSet<'_>],
    options: Options,
) -> Option<Ran> {
    // A block of its own: what is read beside it, the sanitizer sees.
    let mut region = vec![L::Slot::default(); SLOTS].into_boxed_slice();
    let mut vm: Vm<'_, L, H> = Vm::new(&mut region, H::default(), options);
    vm.set_instruction_sets(sets);
    let mut error = None;
    for image in images {
        if vm.load(image).is_err() {
            return None;
        }
        error = vm.run().err();
    }
    let wanted_memory = error.is_some_and(|error| error.is_out_of_memory());
    let (instructions, operations) = (vm.instructions(), vm.operations());
    let image = images.last()?;
    if error.is_some_and(|error| error.is_exception()) {
        let thrown = vm.thrown();
        // How an error describes itself is the script's to say.
        let _ = vm.describe(thrown, &mut String::new());
    }
    // A second copy in the same context: its globals are there already.
    if image.len().is_multiple_of(8) && vm.load(image).is_ok() {
        let _ = vm.run();
    }
    assert!(vm.ledger().audit(), "the ledger does not add up");
    Some(Ran { instructions, operations, wanted_memory })
}

/// No script may see when a collection comes and what it moves: a run with a collection
/// before every allocation, and all blocks moved each time, ends where another ends, unless
/// one of them wants memory.
fn agrees<L: Layout>(image: &[u8]) {
    let heap = HeapOptions { collect_every: 0, thorough: true, ..HeapOptions::default() };
    let moved = Options { heap, ..options(BUDGET) };
    goes_like::<L, Silent<Counter>>(image, moved, "blocks that move change the run");
}

/// A run in another kind of machine ends where the usual one ends.
fn goes_like<L: Layout, H: Host + Default>(image: &[u8], otherwise: Options, what: &str) {
    let usual = ran::<L, Silent<Counter>>(&[image], sets::all(), options(BUDGET));
    let other = ran::<L, H>(&[image], sets::all(), otherwise);
    let (Some(usual), Some(other)) = (usual, other) else {
        panic!("accepted once, and then not");
    };
    if !usual.wanted_memory && !other.wanted_memory {
        assert_eq!(usual.operations, other.operations, "{what}");
        assert_eq!(usual.instructions, other.instructions, "{what}");
    }
}

/// Runs an image in the machines that are not the usual one: with the loop of boards, with
/// frames of tail calls folded, with observers looking on, and behind a second image that
/// goes through what the first one left.
fn run_otherwise<L: Layout>(image: &[u8], which: usize) {
    match which % 5 {
        0 => goes_like::<L, Compact>(image, options(BUDGET), "the loop of boards"),
        1 => {
            let folds = Options { tail_calls: true, ..options(BUDGET) };
            goes_like::<L, Silent<Counter>>(image, folds, "folded frames");
        }
        2 => goes_like::<L, Silent<Looker>>(image, options(BUDGET), "a look at operations"),
        3 => goes_like::<L, Silent<Walker>>(image, options(BUDGET), "a look at the memory"),
        _ => {
            let both = [image, visitor()];
            // The second one may be refused: the first may have its globals.
            let _ = ran::<L, Silent<Counter>>(&both, sets::all(), options(10 * BUDGET));
        }
    }
}

/// An image of our own that calls what it finds in the global object.
fn visitor() -> &'static [u8] {
    static IMAGE: OnceLock<Vec<u8>> = OnceLock::new();
    IMAGE.get_or_init(|| {
        let source = "for (const name in globalThis) {
            const found = globalThis[name];
            if (typeof found !== 'function') continue;
            try { found(name, found); } catch { globalThis[name] = 1; }
            try { new found(found).toString(); } catch {}
        }";
        let options = scruple_compiler::Options::default();
        scruple_compiler::compile(source, &options).expect("a source of ours").image
    })
}

/// Instructions a run may take. Most images that run at all run to this end, and
/// an instruction costs some 50 ns here: with 2,000 of them a process tried 2,000
/// images a second, which says nothing that 300 do not say sooner.
const BUDGET: u64 = 300;

/// Takes any bytes as an image: refused, or run within its bounds, under both layouts.
/// Tells whether it was accepted.
pub fn try_image(bytes: &[u8]) -> bool {
    let Ok(image) = Image::open_with(bytes, sets::all()) else { return false };
    read_all(&image);
    let accepted = run::<Narrow>(bytes, BUDGET);
    // The verifier does not know the layout; the machine's paths differ by it.
    if accepted && bytes.len().is_multiple_of(4) {
        run::<Wide>(bytes, BUDGET);
    }
    if accepted && bytes.len() % 4 == 1 {
        agrees::<Narrow>(bytes);
    } else if accepted && bytes.len() % 8 == 2 {
        agrees::<Wide>(bytes);
    } else if accepted && bytes.len() % 4 == 3 {
        run_otherwise::<Narrow>(bytes, bytes.len() / 4);
    } else if accepted && bytes.len() % 8 == 6 {
        run_otherwise::<Wide>(bytes, bytes.len() / 8);
    }
    if accepted && bytes.len().is_multiple_of(16) {
        list(&image);
    }
    accepted
}

/// Asks an image that was opened, and not verified, for all it has.
pub fn read_all(image: &Image<'_>) {
    for index in 0..image.n_constants() {
        let _ = ConstId::new(index).and_then(|id| image.constant(id));
    }
    for index in 0..image.n_globals() {
        let _ = GlobalId::new(index).and_then(|id| image.global(id));
    }
    // A damaged line table is walked once for each function: few will do.
    for index in 0..image.n_functions().min(8) {
        let Some(function) = FunctionId::new(index).and_then(|id| image.function(id)) else {
            continue;
        };
        for capture in 0..function.n_captures() {
            let _ = function.capture_source(capture);
        }
        let _ = function.details().map(|details| details.guards().count());
        let _ = image.position(function.code as usize);
    }
    assert_eq!(image.sizes().total(), image.bytes().len());
}

/// Writes the listing of an image that was verified.
pub fn list(image: &Image<'_>) {
    let mut text = String::new();
    assert!(listing::write(&mut text, image, None).is_ok() && !text.is_empty());
}
