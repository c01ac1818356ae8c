//! Millions of damaged images, without a fuzzer's guidance: each is one of those in the
//! folders given, damaged some times over by what its number says. A fuzzer spends most
//! of its time looking at what an image covered; its corpus is the best folder to give.
//!
//! Build it with a sanitizer, or reads out of bounds go unseen. It says which number it is
//! at whenever a thousandth is done and, when something panics, at which it was.
//!
//!     RUSTFLAGS=-Zsanitizer=address cargo +nightly run --release --target HOST --bin storm -- FROM COUNT FOLDER…

#![feature(cfg_sanitize)]

use std::cell::Cell;
use std::path::Path;
use std::{env, fs, panic};

use scruple_fuzz::damage::{Dice, damage};
use scruple_fuzz::try_image;

/// Longest image, as for the fuzzer.
const MOST_BYTES: usize = 1536;

thread_local! {
    static NUMBER: Cell<u64> = const { Cell::new(0) };
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = env::args().skip(1).collect();
    let [from, count, folders @ ..] = &arguments[..] else {
        return Err("storm FROM COUNT FOLDER…".into());
    };
    let (from, count): (u64, u64) = (from.parse()?, count.parse()?);
    let bases = bases(folders)?;
    if bases.is_empty() {
        return Err("no image in these folders".into());
    }
    let usual = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        eprintln!("image {}:", NUMBER.get());
        usual(info);
    }));
    println!("{} images to begin with, sanitizer {}", bases.len(), sanitizer());
    let (mut accepted, mut bytes) = (0u64, 0u64);
    for number in from..from + count {
        NUMBER.set(number);
        let image = image(&bases, number);
        bytes += image.len() as u64;
        accepted += u64::from(try_image(&image));
        let done = number - from + 1;
        if done % (count / 1000).max(1) == 0 || done == count {
            println!("{done} done up to number {number}, {accepted} accepted, {bytes} bytes");
        }
    }
    Ok(())
}

/// Whether this was built with one.
fn sanitizer() -> &'static str {
    if cfg!(sanitize = "address") { "address" } else { "none" }
}

/// The images of the folders, in the order of their bytes: with the same folders, numbers mean the same anywhere.
fn bases(folders: &[String]) -> std::io::Result<Vec<Vec<u8>>> {
    let mut bases = Vec::new();
    for folder in folders {
        for entry in fs::read_dir(Path::new(folder))? {
            let image = fs::read(entry?.path())?;
            if image.len() <= MOST_BYTES {
                bases.push(image);
            }
        }
    }
    bases.sort();
    bases.dedup();
    Ok(bases)
}

/// The damaged image with that number.
fn image(bases: &[Vec<u8>], number: u64) -> Vec<u8> {
    // A generator begun by neighbours begins alike: a multiplier takes them apart
    // (Steele and Vigna 2021, from memory).
    let seed = (number.wrapping_mul(0xd134_2543_de82_ef95) >> 32) as u32;
    let mut dice = Dice::new(seed);
    let mut image = vec![0; MOST_BYTES];
    let base = &bases[dice.roll(bases.len())];
    image[..base.len()].copy_from_slice(base);
    let mut size = base.len();
    for _ in 0..1 + dice.roll(4) {
        let seed = dice.roll(1 << 30) as u32;
        size = damage(&mut image, size, seed, &mut |data, size, most| {
            change_bytes(&mut dice, data, size, most)
        });
    }
    image.truncate(size);
    image
}

/// Changes some bytes, takes some out or puts some in.
fn change_bytes(dice: &mut Dice, data: &mut [u8], size: usize, most: usize) -> usize {
    let mut size = size;
    for _ in 0..1 + dice.roll(3) {
        let (at, length) = (dice.roll(size), 1 + dice.roll(4));
        match dice.roll(6) {
            0 if at + length < size => {
                data.copy_within(at + length..size, at);
                size -= length;
            }
            1 if size + length <= most && at <= size => {
                data.copy_within(at..size, at + length);
                size += length;
            }
            2 if at < size => data[at] ^= 1 << dice.roll(8),
            3 if at < size => data[at] = [0, 1, 0x7f, 0x80, 0xfe, 0xff][dice.roll(6)],
            4 if at < size => data[at] = data[dice.roll(size)],
            _ if at < size => data[at] = dice.roll(256) as u8,
            _ => {}
        }
    }
    size
}
