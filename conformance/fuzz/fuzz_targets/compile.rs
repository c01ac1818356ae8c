//! Any text as a source: diagnostics, or an image that the verifier accepts and
//! the machine runs within its bounds.
#![no_main]

use libfuzzer_sys::fuzz_target;
use scruple_bytecode::{Encoding, verify};
use scruple_fuzz::run;
use scruple_vm::{Narrow, Wide};

const BUDGET: u64 = 20_000;

fuzz_target!(|bytes: &[u8]| {
    let Ok(source) = std::str::from_utf8(bytes) else { return };
    let encoding = Encoding::ALL[bytes.len() % Encoding::ALL.len()];
    let options = scruple_compiler::Options { encoding, ..Default::default() };
    let image = match scruple_compiler::compile(source, &options) {
        Ok(compiled) => compiled.image,
        Err(diagnostics) => {
            assert!(!diagnostics.to_string().is_empty());
            return;
        }
    };
    let mut scratch = vec![0u16; image.len()];
    if let Err(error) = verify(&image, scratch.as_mut_slice()) {
        panic!("the verifier refuses what the compiler emits: {error}");
    }
    if bytes.len().is_multiple_of(3) {
        run::<Wide>(&image, BUDGET);
    } else {
        run::<Narrow>(&image, BUDGET);
    }
});
