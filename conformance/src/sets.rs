//! Instruction sets made at random, for suites that any set must pass.
//!
//! Entries are taken from what a script holds, so that many of them are used; operands
//! are free or fixed as the dice fall. Owns no expectation.

use scruple_bytecode::image::Image;
use scruple_bytecode::sets::{InstructionSet, MAX_PARTS, Part, SetBuffer, Table};
use scruple_bytecode::{Encoding, Op};

/// A generator of numbers (xorshift; Marsaglia 2003, from memory): any would do.
#[derive(Debug)]
pub struct Dice(u64);

impl Dice {
    /// One that this seed begins.
    pub fn new(seed: u64) -> Dice {
        Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    /// A number below `sides`.
    pub fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 20) as usize % sides.max(1)
    }
}

/// The operations of a source, in the order of its code.
///
/// # Panics
///
/// If it does not compile.
pub fn operations(source: &str) -> Vec<(Op, i32)> {
    let options = scruple_compiler::Options {
        encoding: Encoding::Word,
        ..scruple_compiler::Options::default()
    };
    let image = match scruple_compiler::compile(source, &options) {
        Ok(compiled) => compiled.image,
        Err(diagnostics) => panic!("{diagnostics}"),
    };
    let Ok(image) = Image::open(&image) else { panic!("the compiler's image") };
    let mut operations = Vec::new();
    let mut at = 0;
    while let Some(fetched) = image.encoding().decode(image.code(), at)
        && fetched.op != Op::Trap
    {
        operations.push((fetched.op, fetched.operand));
        at = fetched.next;
    }
    operations
}

/// A set of entries that are found among these operations, in both tables, as far as the
/// rules of sets let them be.
pub fn random(operations: &[(Op, i32)], seed: u64) -> SetBuffer {
    let mut dice = Dice::new(seed);
    let Some(mut buffer) = SetBuffer::new("random") else { unreachable!("a name") };
    let (first, then) = (1 + dice.roll(400), dice.roll(400));
    for number in 0..first + then {
        let table = if number < first { Table::First } else { Table::Then };
        let start = dice.roll(operations.len());
        let length = 1 + dice.roll(MAX_PARTS);
        let parts: Vec<Part> = operations[start..]
            .iter()
            .take(length)
            .map(|&(op, operand)| {
                let has_operand = Part::free(op).has_operand();
                let fixed = !has_operand || (!op.is_branch() && dice.roll(2) == 0);
                if fixed { Part::fixed(op, operand) } else { Part::free(op) }
            })
            .collect();
        // What the rules refuse is left out: the dice know none.
        let _ = buffer.push_to(table, &parts);
    }
    buffer
}

/// The shipped set, and every third of its entries in a second table as well: it is worth
/// nothing, and has all that the shipped one has carried out in both.
///
/// # Panics
///
/// Never: every entry is one already.
pub fn two_tables() -> SetBuffer {
    let shipped = scruple_bytecode::sets::SHIPPED;
    let mut buffer = match SetBuffer::parse(&shipped.to_string()) {
        Ok(buffer) => buffer,
        Err(error) => panic!("{error}"),
    };
    for entry in shipped.entries().step_by(3) {
        let parts: Vec<Part> = entry.parts().collect();
        if let Err(error) = buffer.push_to(Table::Then, &parts) {
            panic!("{error}");
        }
    }
    buffer
}

/// A set for as long as the program runs: suites keep few.
pub fn keep(buffer: &SetBuffer) -> &'static InstructionSet<'static> {
    let buffer: &'static SetBuffer = Box::leak(Box::new(buffer.clone()));
    Box::leak(Box::new(buffer.set()))
}
