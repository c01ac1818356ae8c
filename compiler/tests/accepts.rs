//! What the compiler takes: every source in every encoding makes an image that
//! the verifier accepts, and no part of any of them makes it panic.

mod cases;

use std::fs;
use std::path::{Path, PathBuf};

use cases::ACCEPTED;
use scruple_bytecode::image::header;
use scruple_bytecode::{Encoding, Image, verify};
use scruple_compiler::{Compiled, Options, compile};

/// Compiles in one encoding; the image must satisfy the verifier.
fn compile_and_verify(source: &str, encoding: Encoding) -> Compiled {
    let options = Options { encoding, ..Options::default() };
    let compiled = match compile(source, &options) {
        Ok(compiled) => compiled,
        Err(diagnostics) => panic!("refused:\n{diagnostics}\n{source}"),
    };
    let mut scratch = vec![0u16; compiled.image.len()];
    if let Err(error) = verify(&compiled.image, scratch.as_mut_slice()) {
        panic!("{}: {error} at {:?}\n{source}", encoding.name(), error.position());
    }
    compiled
}

fn samples() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../samples");
    let mut folders = vec![root];
    let mut samples = Vec::new();
    while let Some(folder) = folders.pop() {
        let Ok(entries) = fs::read_dir(folder) else { continue };
        for path in entries.map(|entry| entry.unwrap().path()) {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "js") {
                samples.push(path);
            }
        }
    }
    samples.sort();
    samples
}

#[test]
fn every_source_makes_a_verified_image_in_every_encoding() {
    for source in ACCEPTED {
        for &encoding in Encoding::ALL {
            let compiled = compile_and_verify(source, encoding);
            assert_eq!(Image::open(&compiled.image).unwrap().encoding(), encoding);
        }
    }
}

#[test]
fn every_sample_makes_a_verified_image_in_every_encoding() {
    let samples = samples();
    for path in &samples {
        let source = fs::read_to_string(path).unwrap();
        for &encoding in Encoding::ALL {
            compile_and_verify(&source, encoding);
        }
    }
    assert!(samples.len() > 10, "{samples:?}");
}

/// A function that is parsed inside parentheses, a block and a loop has the
/// same chances to go wrong as a whole script.
#[test]
fn every_source_also_compiles_inside_functions_and_blocks() {
    for source in ACCEPTED {
        // What only the script's first line or own level can hold.
        if source.starts_with("#!") {
            continue;
        }
        for (before, behind) in [
            ("function wrap() {\n", "\n}"),
            ("{\n", "\n}"),
            ("(function () { return () => {\n", "\n} })"),
            ("for (const wrap of a) { try {\n", "\n} finally { wrap } }"),
        ] {
            let wrapped = format!("{before}{source}{behind}");
            // In a block, two functions of one name are an early error.
            if compile(&wrapped, &Options::default()).is_err() && before.contains('{') {
                let message = compile(&wrapped, &Options::default()).unwrap_err().to_string();
                let is_redeclared = message.contains("is declared already");
                assert!(is_redeclared, "{message}\n{wrapped}");
                continue;
            }
            for &encoding in Encoding::ALL {
                compile_and_verify(&wrapped, encoding);
            }
        }
    }
}

#[test]
fn no_truncation_of_a_source_panics() {
    for source in ACCEPTED {
        for (end, _) in source.char_indices() {
            let _ = compile(&source[..end], &Options::default());
            let _ = compile(&source[end..], &Options::default());
        }
    }
}

#[test]
fn an_image_is_wide_only_where_narrow_entries_do_not_reach() {
    let is_wide = |source: &str| {
        let image = compile_and_verify(source, Encoding::Implied).image;
        image[header::AT_FLAGS] & header::FLAG_WIDE != 0
    };
    let strings = |n: usize| -> String { (0..n).map(|n| format!("x='text{n:04}';")).collect() };
    assert!(!is_wide(&strings(1500)));
    assert!(is_wide(&strings(2000)));
    // One string that fills what 14 bits reach, with two bytes for its length
    // and two for the name `x`.
    let long = |n: usize| format!("x='{}'", "y".repeat(n));
    assert!(!is_wide(&long((1 << 14) - 4)));
    assert!(is_wide(&long((1 << 14) - 3)));
    let globals: String = (0..9000).map(|n| format!("g{n};")).collect();
    assert!(is_wide(&globals));
}

#[test]
fn the_line_table_can_be_left_out() {
    let bare = Options { lines: false, ..Options::default() };
    let image = compile("f(1);\ng(2)", &bare).unwrap().image;
    assert_eq!(Image::open(&image).unwrap().sizes().lines, 0);
    let image = compile("f(1);\ng(2)", &Options::default()).unwrap().image;
    assert!(Image::open(&image).unwrap().sizes().lines > 0);
}
