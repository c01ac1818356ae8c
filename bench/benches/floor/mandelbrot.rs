//! The Mandelbrot set as a bitmap, as in the Computer Language Benchmarks Game,
//! and the MD5 of the file as RFC 1321 describes it.
//!
//! It owns both, since the sample does: the digest is a small part of the time.

use std::hint::black_box;

use super::hex;

const MOST_STEPS: u32 = 50;

/// Left turns of the four rounds, four each.
const SHIFTS: [[u32; 4]; 4] = [[7, 12, 17, 22], [5, 9, 14, 20], [4, 11, 16, 23], [6, 10, 15, 21]];

/// The digest of the bitmap of 200 by 200.
pub(crate) fn run() -> String {
    format!("{}\n", hex(&md5(draw_file(black_box(200)))))
}

fn is_inside(cr: f64, ci: f64) -> bool {
    let (mut zr, mut zi, mut zr2, mut zi2) = (0.0, 0.0, 0.0, 0.0);
    for _ in 0..MOST_STEPS {
        zi = 2.0 * zr * zi + ci;
        zr = zr2 - zi2 + cr;
        zr2 = zr * zr;
        zi2 = zi * zi;
        if zr2 + zi2 > 4.0 {
            return false;
        }
    }
    true
}

fn draw_file(size: u32) -> Vec<u8> {
    let mut bytes = format!("P4\n{size} {size}\n").into_bytes();
    let scale = f64::from(size);
    for y in 0..size {
        let ci = 2.0 * f64::from(y) / scale - 1.0;
        for x in (0..size).step_by(8) {
            bytes.push((x..x + 8).fold(0, |byte, x| {
                byte << 1 | u8::from(is_inside(2.0 * f64::from(x) / scale - 1.5, ci))
            }));
        }
    }
    bytes
}

fn md5(mut bytes: Vec<u8>) -> [u8; 16] {
    // RFC 1321 defines its table by the sine function; it is made anew in each
    // run, as the sample does.
    let sines: Vec<u32> =
        (1..=64).map(|i| (f64::from(black_box(i)).sin().abs() * 4_294_967_296.0) as u32).collect();
    let bits = bytes.len() as u64 * 8;
    bytes.push(0x80);
    while bytes.len() % 64 != 56 {
        bytes.push(0);
    }
    bytes.extend(bits.to_le_bytes());

    let mut state = [0x6745_2301, 0xefcd_ab89, 0x98ba_dcfe, 0x1032_5476];
    let (blocks, _) = bytes.as_chunks::<64>();
    for block in blocks {
        digest_block(&mut state, block, &sines);
    }
    let mut digest = [0; 16];
    let (words, _) = digest.as_chunks_mut::<4>();
    for (bytes, word) in words.iter_mut().zip(state) {
        *bytes = word.to_le_bytes();
    }
    digest
}

fn digest_block(state: &mut [u32; 4], block: &[u8; 64], sines: &[u32]) {
    let (quads, _) = block.as_chunks::<4>();
    let [mut a, mut b, mut c, mut d] = *state;
    for (i, sine) in sines.iter().enumerate() {
        let (mixed, word) = match i / 16 {
            0 => ((b & c) | (!b & d), i),
            1 => ((b & d) | (c & !d), 5 * i + 1),
            2 => (b ^ c ^ d, 3 * i + 5),
            _ => (c ^ (b | !d), 7 * i),
        };
        let word = u32::from_le_bytes(quads[word % 16]);
        let sum = a.wrapping_add(mixed).wrapping_add(*sine).wrapping_add(word);
        (a, d, c) = (d, c, b);
        b = b.wrapping_add(sum.rotate_left(SHIFTS[i / 16][i % 4]));
    }
    for (word, worked) in state.iter_mut().zip([a, b, c, d]) {
        *word = word.wrapping_add(worked);
    }
}
