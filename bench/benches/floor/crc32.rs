//! CRC-32 with the reflected polynomial, by table and bit by bit.
//!
//! It owns both ways, as the sample does, and the sample's two messages.

use std::hint::black_box;

/// The polynomial, lowest power in the highest bit.
const POLYNOMIAL: u32 = 0xedb8_8320;

/// Both checksums of the sample's two messages.
pub(crate) fn run() -> String {
    let table = make_table();
    let length: u32 = black_box(4096);
    let pattern: Vec<u8> = (0..length).map(|i| (i * 7 + (i >> 8) * 31 + 3) as u8).collect();
    let messages = [("check", black_box("123456789").as_bytes()), ("pattern", &pattern)];
    let mut out = String::new();
    for (name, bytes) in messages {
        out.push_str(&format!("{name} {:08x} {:08x}\n", by_table(&table, bytes), by_bit(bytes)));
    }
    out
}

fn shift_byte(mut value: u32) -> u32 {
    for _ in 0..8 {
        value = if value & 1 == 1 { (value >> 1) ^ POLYNOMIAL } else { value >> 1 };
    }
    value
}

/// Made anew in each run, as the sample does.
fn make_table() -> [u32; 256] {
    let mut table = [0; 256];
    for (byte, entry) in (0..).zip(&mut table) {
        *entry = shift_byte(black_box(byte));
    }
    table
}

fn by_table(table: &[u32; 256], bytes: &[u8]) -> u32 {
    let step = |crc: u32, byte: &u8| table[usize::from(crc as u8 ^ byte)] ^ (crc >> 8);
    !bytes.iter().fold(!0, step)
}

fn by_bit(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0, |crc, &byte| shift_byte(crc ^ u32::from(byte)))
}
