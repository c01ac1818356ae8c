//! Any bytes as an image: refused, or run within its bounds, under both layouts.
#![no_main]

use libfuzzer_sys::{fuzz_mutator, fuzz_target, fuzzer_mutate};
use scruple_fuzz::{damage, try_image};

fuzz_target!(|bytes: &[u8]| {
    try_image(bytes);
});

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    debug_assert!(max_size <= data.len());
    damage::damage(data, size, seed, &mut fuzzer_mutate)
});
