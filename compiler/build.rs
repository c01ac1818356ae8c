//! Writes which characters past ASCII are letters, as runs: a table of a fifth of the
//! size of the one that is fast to look up.
//!
//! It owns the form, told at the top of `src/letters.rs`. It refuses to know a
//! character: `unicode-id-start` does, which the host asks directly.

use std::path::PathBuf;
use std::{env, fs, io};

use unicode_id_start::{is_id_continue, is_id_start};

fn main() -> io::Result<()> {
    println!("cargo::rerun-if-changed=build.rs");
    let class = |code: u32| match char::from_u32(code) {
        Some(ch) if is_id_start(ch) => 1,
        Some(ch) if is_id_continue(ch) => 2,
        _ => 0,
    };
    let mut runs: Vec<(u8, u32)> = Vec::new();
    for code in 0x80..=u32::from(char::MAX) {
        match runs.last_mut() {
            Some((last, length)) if *last == class(code) => *length += 1,
            _ => runs.push((class(code), 1)),
        }
    }
    // What comes behind the last letter need not be said.
    runs.pop_if(|(class, _)| *class == 0);
    let mut bytes = Vec::new();
    for (class, length) in runs {
        let (mut byte, mut rest) = (class | ((length & 31) as u8) << 2, length >> 5);
        while rest > 0 {
            bytes.push(byte | 128);
            byte = (rest & 127) as u8;
            rest >>= 7;
        }
        bytes.push(byte);
    }
    let out = env::var_os("OUT_DIR").ok_or(io::ErrorKind::NotFound)?;
    fs::write(PathBuf::from(out).join("letters.bin"), bytes)
}
