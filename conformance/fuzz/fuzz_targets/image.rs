//! Any bytes as an image: refused, or run within its bounds, under both layouts.
#![no_main]

use libfuzzer_sys::{fuzz_mutator, fuzz_target, fuzzer_mutate};
use scruple_bytecode::image::Image;
use scruple_fuzz::{damage, list, read_all, run, sets};
use scruple_vm::{Narrow, Wide};

/// Instructions a run may take. Most images that run at all run to this end, and
/// an instruction costs some 50 ns here: with 2,000 of them a process tried 2,000
/// images a second, which says nothing that 300 do not say sooner.
const BUDGET: u64 = 300;

fuzz_target!(|bytes: &[u8]| {
    let Ok(image) = Image::open_with(bytes, sets::all()) else { return };
    read_all(&image);
    let accepted = run::<Narrow>(bytes, BUDGET);
    // The verifier does not know the layout; the machine's paths differ by it.
    if accepted && bytes.len().is_multiple_of(4) {
        run::<Wide>(bytes, BUDGET);
    }
    if accepted && bytes.len().is_multiple_of(16) {
        list(&image);
    }
});

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    debug_assert!(max_size <= data.len());
    damage::damage(data, size, seed, fuzzer_mutate)
});
