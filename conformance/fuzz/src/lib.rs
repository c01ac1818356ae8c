//! What the fuzz targets share: a host that keeps nothing, a run with small
//! limits, and damage to images that gets past the checksum.
//!
//! It owns no target. It refuses to judge a result: any end but a panic, or what
//! the sanitizer reports, will do.

pub mod damage;
pub mod sets;

use scruple_bytecode::image::Image;
use scruple_bytecode::listing;
use scruple_bytecode::operand::{ConstId, FunctionId, GlobalId};
use scruple_bytecode::sets::InstructionSet;
use scruple_vm::{Counter, HeapOptions, Host, Layout, Narrow, Options, Vm, Wide};

/// A host that listens to nothing.
#[derive(Default)]
struct Silent(Counter);

impl Host for Silent {
    type Observer = Counter;

    fn observer(&mut self) -> &mut Counter {
        &mut self.0
    }

    fn write(&mut self, _: &str) {}
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
    ran::<L>(image, sets, budget, HeapOptions::default()).is_some()
}

/// How a run went, if the image was accepted: operations until it ended, and whether that
/// was for want of memory.
struct Ran {
    operations: u64,
    wanted_memory: bool,
}

fn ran<L: Layout>(
    image: &[u8],
    sets: &[&InstructionSet<'_>],
    budget: u64,
    heap: HeapOptions,
) -> Option<Ran> {
    // A block of its own: what is read beside it, the sanitizer sees.
    let mut region = vec![L::Slot::default(); SLOTS].into_boxed_slice();
    let options = Options { budget, nesting_limit: 16, heap, ..Options::default() };
    let mut vm: Vm<'_, L, Silent> = Vm::new(&mut region, Silent::default(), options);
    vm.set_instruction_sets(sets);
    if vm.load(image).is_err() {
        return None;
    }
    let error = vm.run().err();
    let wanted_memory = error.is_some_and(|error| error.is_out_of_memory());
    let operations = vm.operations();
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
    Some(Ran { operations, wanted_memory })
}

/// No script may see when a collection comes and what it moves: a run with a collection
/// before every allocation, and all blocks moved each time, ends where another ends, unless
/// one of them wants memory.
fn agrees<L: Layout>(image: &[u8]) {
    let thorough = HeapOptions { collect_every: 0, thorough: true, ..HeapOptions::default() };
    let usual = ran::<L>(image, sets::all(), BUDGET, HeapOptions::default());
    let moved = ran::<L>(image, sets::all(), BUDGET, thorough);
    let (Some(usual), Some(moved)) = (usual, moved) else {
        panic!("accepted once, and then not");
    };
    if !usual.wanted_memory && !moved.wanted_memory {
        assert_eq!(usual.operations, moved.operations, "blocks that move change the run");
    }
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
