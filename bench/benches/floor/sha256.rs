//! SHA-256 as FIPS 180-4 describes it.
//!
//! It owns the digest of whole messages: no message comes in parts.

use std::hint::black_box;

use super::hex;

/// FIPS 180-4, 4.2.2.
const ROUND_CONSTANTS: [u32; 64] = [
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2,
];

/// FIPS 180-4, 5.3.3.
const INITIAL_STATE: [u32; 8] = [
    0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19,
];

/// The digests of the sample's three messages.
pub(crate) fn run() -> String {
    let long = "a".repeat(1000);
    let two_blocks = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    let mut out = String::new();
    for message in black_box(["abc", two_blocks, &long]) {
        out.push_str(&hex(&digest(message.as_bytes())));
        out.push('\n');
    }
    out
}

fn digest(message: &[u8]) -> [u8; 32] {
    let mut padded = message.to_vec();
    padded.push(0x80);
    while padded.len() % 64 != 56 {
        padded.push(0);
    }
    padded.extend((message.len() as u64 * 8).to_be_bytes());

    let mut state = INITIAL_STATE;
    let (blocks, _) = padded.as_chunks::<64>();
    for block in blocks {
        compress(&mut state, &schedule(block));
    }
    let mut digest = [0; 32];
    let (words, _) = digest.as_chunks_mut::<4>();
    for (bytes, word) in words.iter_mut().zip(state) {
        *bytes = word.to_be_bytes();
    }
    digest
}

fn schedule(block: &[u8; 64]) -> [u32; 64] {
    let mut words = [0u32; 64];
    let (quads, _) = block.as_chunks::<4>();
    for (word, bytes) in words.iter_mut().zip(quads) {
        *word = u32::from_be_bytes(*bytes);
    }
    for t in 16..64 {
        let (x, y) = (words[t - 15], words[t - 2]);
        let sigma0 = x.rotate_right(7) ^ x.rotate_right(18) ^ (x >> 3);
        let sigma1 = y.rotate_right(17) ^ y.rotate_right(19) ^ (y >> 10);
        words[t] =
            words[t - 16].wrapping_add(sigma0).wrapping_add(words[t - 7]).wrapping_add(sigma1);
    }
    words
}

fn compress(state: &mut [u32; 8], words: &[u32; 64]) {
    let [mut a, mut b, mut c, mut d, mut e, mut f, mut g, mut h] = *state;
    for (constant, word) in ROUND_CONSTANTS.iter().zip(words) {
        let sum1 = e.rotate_right(6) ^ e.rotate_right(11) ^ e.rotate_right(25);
        let choice = (e & f) ^ (!e & g);
        let first =
            h.wrapping_add(sum1).wrapping_add(choice).wrapping_add(*constant).wrapping_add(*word);
        let sum0 = a.rotate_right(2) ^ a.rotate_right(13) ^ a.rotate_right(22);
        let majority = (a & b) ^ (a & c) ^ (b & c);
        (h, g, f, e) = (g, f, e, d.wrapping_add(first));
        (d, c, b, a) = (c, b, a, first.wrapping_add(sum0).wrapping_add(majority));
    }
    for (word, worked) in state.iter_mut().zip([a, b, c, d, e, f, g, h]) {
        *word = word.wrapping_add(worked);
    }
}
