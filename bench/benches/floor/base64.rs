//! Base64 as RFC 4648 describes it, encoding and decoding.
//!
//! It owns the sample's vectors and its pattern. It refuses what the sample
//! refuses: a character outside the alphabet.

use std::hint::black_box;

const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// Marks a byte that is not in the alphabet.
const NONE: u8 = 0xff;

/// What the sample prints: the vectors, the pattern and the refusal.
pub(crate) fn run() -> String {
    let reverse = make_reverse();
    let mut out = String::new();
    for vector in black_box(["", "f", "fo", "foo", "foob", "fooba", "foobar"]) {
        let encoded = encode(vector.as_bytes());
        let decoded = told(decode(&reverse, &encoded).map(|bytes| latin(&bytes)));
        out.push_str(&format!("\"{vector}\" \"{encoded}\" \"{decoded}\"\n"));
    }
    let length: u32 = black_box(1024);
    let bytes: Vec<u8> = (0..length).map(|i| (i * 89 + 17) as u8).collect();
    let encoded = encode(&bytes);
    let is_same = decode(&reverse, &encoded) == Ok(bytes);
    let (start, end) = (&encoded[..24], &encoded[encoded.len() - 24..]);
    out.push_str(&format!("{} {start} {end} {is_same}\n", encoded.len()));
    let refused = told(decode(&reverse, black_box("Zm9v!mFy")).map(|bytes| latin(&bytes)));
    out.push_str(&format!("{refused}\n"));
    out
}

/// The text of a result, whichever it is.
fn told(result: Result<String, char>) -> String {
    result.unwrap_or_else(|character| format!("not a base64 character: {character}"))
}

/// One character a byte.
fn latin(bytes: &[u8]) -> String {
    bytes.iter().map(|&byte| char::from(byte)).collect()
}

fn encode(bytes: &[u8]) -> String {
    let digit = |bits: u32| char::from(ALPHABET[(bits & 63) as usize]);
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let byte = |at: usize| u32::from(chunk.get(at).copied().unwrap_or(0));
        let group = byte(0) << 16 | byte(1) << 8 | byte(2);
        text.push(digit(group >> 18));
        text.push(digit(group >> 12));
        text.push(if chunk.len() > 1 { digit(group >> 6) } else { '=' });
        text.push(if chunk.len() > 2 { digit(group) } else { '=' });
    }
    text
}

fn make_reverse() -> [u8; 256] {
    let mut reverse = [NONE; 256];
    for (value, &character) in (0..).zip(ALPHABET) {
        reverse[usize::from(character)] = value;
    }
    reverse
}

fn decode(reverse: &[u8; 256], text: &str) -> Result<Vec<u8>, char> {
    let mut bytes = Vec::with_capacity(text.len() / 4 * 3);
    let (mut bits, mut held) = (0u32, 0);
    for character in text.chars().take_while(|&character| character != '=') {
        let value = u8::try_from(character).map_or(NONE, |byte| reverse[usize::from(byte)]);
        if value == NONE {
            return Err(character);
        }
        bits = (bits << 6 | u32::from(value)) & 0xffff;
        held += 6;
        if held >= 8 {
            held -= 8;
            bytes.push((bits >> held) as u8);
        }
    }
    Ok(bytes)
}
