//! Instruction sets from whatever the fuzzer has. Owns no expectation.

use std::sync::LazyLock;

use scruple_bytecode::sets::{InstructionSet, Part, SHIPPED, SetBuffer, Table};
use scruple_bytecode::{Encoding, Op};

/// The sets that images of the fuzzer are of: the shipped one, and it with every third of
/// its entries in a second table as well, which the seeds in `context` have.
///
/// # Panics
///
/// Never: every entry is one already.
pub fn all() -> &'static [&'static InstructionSet<'static>] {
    static ALL: LazyLock<Vec<&InstructionSet<'static>>> = LazyLock::new(|| {
        let mut buffer = SetBuffer::parse(&SHIPPED.to_string()).expect("the shipped set");
        for entry in SHIPPED.entries().step_by(3) {
            let parts: Vec<Part> = entry.parts().collect();
            buffer.push_to(Table::Then, &parts).expect("an entry");
        }
        let buffer: &'static SetBuffer = Box::leak(Box::new(buffer));
        vec![&SHIPPED, Box::leak(Box::new(buffer.set()))]
    });
    &ALL
}

/// The one of them that seeds in an encoding have.
pub fn of_seeds(encoding: Encoding) -> &'static InstructionSet<'static> {
    all()[usize::from(encoding.has_tables())]
}

/// A set of these entries, as far as the rules of sets let them be: an operation's
/// number, an operand, whether that is free.
///
/// # Panics
///
/// Never: the name is one.
pub fn of(entries: &[Vec<(u8, i32, bool)>]) -> SetBuffer {
    let mut buffer = SetBuffer::new("fuzz").expect("a name");
    for (number, entry) in entries.iter().enumerate() {
        let parts: Vec<Part> = entry
            .iter()
            .map(|&(number, operand, free)| {
                let op = Op::ALL[number as usize % Op::COUNT];
                if free { Part::free(op) } else { Part::fixed(op, operand) }
            })
            .collect();
        // One after the other, so that both tables get some.
        let _ = buffer.push_to(Table::BOTH[number % 2], &parts);
    }
    buffer
}

/// A set of what an image in `word` holds, chosen by the numbers that the dice give.
pub fn mined(operations: &[(Op, i32)], roll: &mut dyn FnMut(usize) -> usize) -> SetBuffer {
    let mut buffer = SetBuffer::new("mined").expect("a name");
    for _ in 0..roll(200) {
        let start = roll(operations.len());
        let length = 1 + roll(8);
        let parts: Vec<Part> = operations[start..]
            .iter()
            .take(length)
            .map(|&(op, operand)| {
                let has_operand = Part::free(op).has_operand();
                let free = has_operand && (op.is_branch() || roll(2) == 0);
                if free { Part::free(op) } else { Part::fixed(op, operand) }
            })
            .collect();
        let _ = buffer.push_to(Table::BOTH[roll(2)], &parts);
    }
    buffer
}
