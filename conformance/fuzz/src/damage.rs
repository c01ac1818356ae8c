//! Damage to images that gets past the checksum and the sections' lengths.
//!
//! Bytes changed at random fail at the checksum, and bytes put in or taken out at
//! the lengths: a fuzzer that does no more than that tries two comparisons ten
//! million times. So the checksum is mended after every change, and most changes
//! are to one section, whose length the header then says. Owns no expectation.

use std::ops::Range;

use scruple_bytecode::encoding::Encoding;
use scruple_bytecode::encoding::echo::Reference;
use scruple_bytecode::image::{FUNCTION_RECORD_LEN, HEADER_LEN, Image, checksum, header, record};
use scruple_bytecode::ops::Op;
use scruple_bytecode::sets::Table;

use crate::sets;

/// Where the header tells how long each section is, in the order they lie.
const LENGTHS: [usize; 8] = [
    header::AT_CONSTANTS,
    header::AT_STRINGS,
    header::AT_TEXT,
    header::AT_GLOBALS,
    header::AT_FUNCTIONS,
    header::AT_LISTS,
    header::AT_CODE,
    header::AT_LINES,
];

/// A generator of numbers (xorshift; Marsaglia 2003, from memory): any would do.
pub struct Dice(u64);

impl Dice {
    /// One that this seed begins.
    pub fn new(seed: u32) -> Dice {
        Dice(u64::from(seed) << 1 | 1)
    }

    /// A number below `sides`.
    pub fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 20) as usize % sides.max(1)
    }
}

/// What changes bytes, given how many they are and may be, and gives how many they are then.
pub type Mutate<'a> = dyn FnMut(&mut [u8], usize, usize) -> usize + 'a;

/// Puts the right checksum in.
pub fn seal(image: &mut [u8]) {
    if image.len() >= HEADER_LEN {
        let sum = checksum(&image[header::AT_CHECKSUM + 4..]);
        image[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
    }
}

/// Damages the first `size` bytes of `data`, and gives how many they are then.
/// `mutate` changes bytes as the fuzzer likes.
pub fn damage(data: &mut [u8], size: usize, seed: u32, mutate: &mut Mutate<'_>) -> usize {
    let mut dice = Dice::new(seed);
    let most = data.len();
    let changed = match dice.roll(9) {
        0 => None,
        1..=4 => change_section(data, size, &mut dice, mutate),
        5 => exchange_records(data, size, &mut dice),
        _ => change_instructions(data, size, &mut dice),
    };
    let size = changed.unwrap_or_else(|| mutate(data, size, most));
    seal(&mut data[..size]);
    size
}

/// Changes one section, and the header's word of its length with it.
fn change_section(
    data: &mut [u8],
    size: usize,
    dice: &mut Dice,
    mutate: &mut Mutate<'_>,
) -> Option<usize> {
    let image = Image::open_with(&data[..size], sets::all()).ok()?;
    let n_constants = image.n_constants();
    let wide = data[header::AT_FLAGS] & header::FLAG_WIDE != 0;
    let entry = if wide { 4 } else { 2 };
    let units = [entry, entry, 1, entry, FUNCTION_RECORD_LEN, 1, 1, 1];
    let lengths: Vec<usize> =
        LENGTHS.iter().zip(units).map(|(&at, unit)| word(data, at) as usize * unit).collect();
    debug_assert_eq!(n_constants * entry, lengths[0]);
    let chosen = dice.roll(LENGTHS.len());
    let start = HEADER_LEN + lengths[..chosen].iter().sum::<usize>();
    let end = start + lengths[chosen];
    let behind = data[end..size].to_vec();
    let room = (data.len() - size).min(64);
    let mut section = data[start..end].to_vec();
    section.resize(lengths[chosen] + room, 0);
    if section.is_empty() {
        return None;
    }
    let most = section.len();
    let unit = units[chosen];
    let length = mutate(&mut section, lengths[chosen], most) / unit * unit;
    data[start..start + length].copy_from_slice(&section[..length]);
    data[start + length..start + length + behind.len()].copy_from_slice(&behind);
    let count = (length / unit) as u32;
    data[LENGTHS[chosen]..LENGTHS[chosen] + 4].copy_from_slice(&count.to_le_bytes());
    Some(start + length + behind.len())
}

/// Gives a function the lists, the flags or the slots of another one, which are right there:
/// captures where nothing is captured, one list for many.
fn exchange_records(data: &mut [u8], size: usize, dice: &mut Dice) -> Option<usize> {
    const LISTS: Range<usize> = record::AT_LISTS..record::AT_FLAGS;
    const FREE: Range<usize> = record::AT_FREE..FUNCTION_RECORD_LEN;
    const FLAGS: Range<usize> = record::AT_FLAGS..record::AT_FREE;
    const SLOTS: Range<usize> = record::AT_PARAMS..record::AT_LISTS;
    let image = Image::open_with(&data[..size], sets::all()).ok()?;
    let n_functions = image.n_functions();
    let begins = image.records().as_ptr() as usize - data.as_ptr() as usize;
    // Every function, the script or any.
    let (from, first) = (dice.roll(n_functions), dice.roll(n_functions));
    let to = match dice.roll(3) {
        0 => 0..n_functions,
        1 => n_functions - 1..n_functions,
        _ => first..first + 1,
    };
    let fields: &[Range<usize>] = match dice.roll(4) {
        0 => &[LISTS, FREE, FLAGS, SLOTS],
        1 => &[FLAGS],
        2 => &[SLOTS],
        _ => &[LISTS, FREE],
    };
    let record = |function: usize| begins + FUNCTION_RECORD_LEN * function;
    for (function, field) in to.flat_map(|to| fields.iter().map(move |field| (to, field))) {
        let source = record(from) + field.start..record(from) + field.end;
        data.copy_within(source, record(function) + field.start);
    }
    Some(size)
}

/// Puts other operations and operands in the place of some instructions of the
/// same length: what the verifier then refuses, it refuses for what they do.
fn change_instructions(data: &mut [u8], size: usize, dice: &mut Dice) -> Option<usize> {
    let image = Image::open_with(&data[..size], sets::all()).ok()?;
    let (encoding, code) = (image.encoding(), image.code().to_vec());
    let n_entries = image.set().map_or(0, |set| set.len().max(set.len_of(Table::Then)));
    let begins = size - word(data, header::AT_LINES) as usize - code.len();
    let places: Vec<_> = image.walk(0).map(|(at, instruction)| (at, instruction.first())).collect();
    if places.is_empty() {
        return None;
    }
    for _ in 0..1 + dice.roll(3) {
        let (at, fetched) = places[dice.roll(places.len())];
        // Another entry in the place of what is there, whatever its length.
        if n_entries > 0 && dice.roll(4) == 0 {
            data[begins + at] = Table::BOTH[dice.roll(2)].opcode_byte(dice.roll(n_entries));
            continue;
        }
        let wanted = fetched.next - at;
        // An echo of whatever stands a little before.
        if encoding == Encoding::Echo && dice.roll(3) == 0 {
            let reference = Reference { count: 1 + dice.roll(4), back: 1 + dice.roll(90) as u32 };
            if let Some(bytes) = reference.encode()
                && bytes.as_slice().len() == wanted
            {
                data[begins + at..begins + fetched.next].copy_from_slice(bytes.as_slice());
            }
            continue;
        }
        // Some of the tries have the length; where none has, nothing changes.
        for _ in 0..16 {
            let op = if dice.roll(2) == 0 { Op::ALL[dice.roll(Op::ALL.len())] } else { fetched.op };
            let operand = match dice.roll(4) {
                0 => fetched.operand,
                1 => fetched.operand.wrapping_add(dice.roll(9) as i32 - 4),
                2 => dice.roll(300) as i32 - 20,
                _ => places[dice.roll(places.len())].1.operand,
            };
            if let Some(bytes) = replacement(encoding, op, operand, wanted) {
                data[begins + at..begins + fetched.next].copy_from_slice(&bytes);
                break;
            }
        }
    }
    Some(size)
}

fn replacement(encoding: Encoding, op: Op, operand: i32, wanted: usize) -> Option<Vec<u8>> {
    let encoded = encoding.encode(op, operand)?;
    (encoded.as_slice().len() == wanted).then(|| encoded.as_slice().to_vec())
}

fn word(data: &[u8], at: usize) -> u32 {
    data[at..].first_chunk().map_or(0, |quad| u32::from_le_bytes(*quad))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stands for the fuzzer: changes one byte, and puts another behind.
    fn add_one(bytes: &mut [u8], length: usize, most: usize) -> usize {
        if let Some(byte) = bytes.get_mut(length / 2) {
            *byte ^= 1;
        }
        if length < most {
            bytes[length] = 7;
        }
        (length + 1).min(most)
    }

    // Our own invariant: damage that opening alone refuses finds nothing.
    #[test]
    fn most_damaged_images_still_open() {
        let source = "var a = [1, 'two', 3.5]; function f(x) { return () => x + a[0]; } f(2)();";
        let mut opened = 0;
        for (seed, &encoding) in (0..400).zip(Encoding::ALL.iter().cycle()) {
            let options = scruple_compiler::Options { encoding, ..Default::default() };
            let image = scruple_compiler::compile(source, &options).expect("a script").image;
            let mut data = image.clone();
            data.resize(image.len() + 80, 0);
            let size = damage(&mut data, image.len(), seed, add_one);
            let changed = data[..size] != image[..];
            opened += usize::from(changed && Image::open(&data[..size]).is_ok());
        }
        assert!(opened > 200, "only {opened} of 400");
    }
}
