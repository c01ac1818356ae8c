//! Any text as a source: diagnostics, or an image that the verifier accepts and
//! the machine runs within its bounds. Under the encoding that has an instruction set,
//! the set is made of what the source holds, at random.
#![no_main]

use libfuzzer_sys::fuzz_target;
use scruple_bytecode::sets::SetBuffer;
use scruple_bytecode::{Encoding, Op, image::Image, sets::SHIPPED, verify_with};
use scruple_fuzz::damage::Dice;
use scruple_fuzz::{run_with, sets};
use scruple_vm::{Narrow, Wide};

const BUDGET: u64 = 20_000;

fuzz_target!(|bytes: &[u8]| {
    let Ok(source) = std::str::from_utf8(bytes) else { return };
    let encoding = Encoding::ALL[bytes.len() % Encoding::ALL.len()];
    let options = scruple_compiler::Options { encoding, ..Default::default() };
    let buffer = encoding.has_set().then(|| mined(source)).flatten();
    let set = buffer.as_ref().map_or(SHIPPED, |buffer| buffer.set());
    let image = match scruple_compiler::compile_with(source, &options, &set) {
        Ok(compiled) => compiled.image,
        Err(diagnostics) => {
            assert!(!diagnostics.to_string().is_empty());
            return;
        }
    };
    let sets = [&set];
    let mut scratch = vec![0u16; image.len()];
    if let Err(error) = verify_with(&image, &sets, scratch.as_mut_slice()) {
        panic!("the verifier refuses what the compiler emits: {error}");
    }
    if bytes.len().is_multiple_of(3) {
        run_with::<Wide>(&image, &sets, BUDGET);
    } else {
        run_with::<Narrow>(&image, &sets, BUDGET);
    }
});

/// A set of what the source holds, if it compiles.
fn mined(source: &str) -> Option<SetBuffer> {
    let options = scruple_compiler::Options { encoding: Encoding::Word, ..Default::default() };
    let bytes = scruple_compiler::compile(source, &options).ok()?.image;
    let image = Image::open(&bytes).ok()?;
    let mut operations = Vec::new();
    let mut at = 0;
    while let Some(fetched) = image.decode(at).map(|it| it.first())
        && fetched.op != Op::Trap
    {
        operations.push((fetched.op, fetched.operand));
        at = fetched.next;
    }
    let mut dice = Dice::new(source.len() as u32 ^ source.bytes().map(u32::from).sum::<u32>());
    Some(sets::mined(&operations, &mut |sides| dice.roll(sides)))
}
