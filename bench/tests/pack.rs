//! `pack`: an image is the script, in another form, and nothing less than a whole
//! image is taken for one.

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::{folder, root, scruple, scruple_in};
use scruple_bench::document::Document;
use scruple_bytecode::Encoding;
use scruple_bytecode::image::{HEADER_LEN, header};

/// Samples, and the options that their headers ask for: an image has no header.
const SAMPLES: &[(&str, &[&str])] = &[
    ("samples/kernels/fib.js", &[]),
    ("samples/kernels/md5.js", &[]),
    ("samples/kernels/closures.js", &[]),
    ("samples/marrow-brook/packet_framing.js", &[]),
    (
        "samples/marrow-brook/night_watch.js",
        &["--until", "43190000", "--feed", "samples/marrow-brook/night.csv"],
    ),
];

/// Packs a script into a fresh folder, beside what it must print.
fn pack(test: &str, script: &str, args: &[&str]) -> PathBuf {
    let folder = folder(test, &[]);
    let image = folder.join("packed.img");
    let path = image.to_str().expect("a path in UTF-8");
    let outcome = scruple(&[&["pack", script, "-o", path], args].concat());
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    let expected = root().join(script).with_extension("out");
    fs::copy(expected, image.with_extension("out")).expect("the expected output");
    image
}

fn weighed(path: &str, options: &[&str]) -> Document {
    let outcome = scruple(&[&["weigh", path, "--format", "json"], options].concat());
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    serde_json::from_str(&outcome.out).expect("a document")
}

/// The lines of a listing or a trace that are no source lines.
fn without_source(text: &str) -> Vec<&str> {
    text.lines().filter(|line| !line.starts_with("; ")).collect()
}

#[test]
fn an_image_runs_weighs_lists_and_traces_as_its_script_does() {
    for (script, options) in SAMPLES {
        for encoding in Encoding::ALL {
            let name = encoding.name();
            let image = pack("pack-same", script, &["--encoding", name]);
            let image = image.to_str().expect("a path in UTF-8");
            let expected = fs::read_to_string(root().join(script).with_extension("out")).unwrap();

            let run = scruple(&[&["run", image], *options].concat());
            assert_eq!((run.code, run.out.as_str()), (0, expected.as_str()), "{script} {name}");

            let of_script = weighed(script, &["--encoding", name]);
            let of_image = weighed(image, options);
            assert_eq!(of_image.rows.len(), 1, "{script}: its own encoding and no other");
            let (one, other) = (&of_script.rows[0], &of_image.rows[0]);
            assert_eq!((other.encoding.as_str(), other.answer_checked), (name, true));
            let mut figures = one.figures.clone().expect("figures");
            let packed = other.figures.clone().expect("figures");
            // Nothing was compiled: all else is the same to the byte.
            assert_eq!((packed.compile_peak.asked, packed.compile_peak.reserved), (None, None));
            figures.compile_peak = packed.compile_peak;
            assert_eq!(figures, packed, "{script} {name}");

            let list = |path| scruple(&["listing", path, "--encoding", name]).out;
            let (one, other) = (list(script), list(image));
            assert!(without_source(&one).len() > 20, "{one}");
            assert_eq!(without_source(&one), without_source(&other), "{script} {name}");

            let window = ["--encoding", name, "--from", "50", "--count", "40"];
            let trace = |path| scruple(&[&["trace", path], &window[..], options].concat()).out;
            assert!(trace(script).lines().count() > 40);
            assert_eq!(trace(script), trace(image), "{script} {name}");
        }
    }
}

#[test]
fn stripping_takes_the_line_table_and_nothing_else() {
    for (script, options) in SAMPLES {
        let read = |path: &Path| fs::read(path).expect("the image");
        let whole = read(&pack("pack-whole", script, &[]));
        let path = pack("pack-stripped", script, &["--strip"]);
        let stripped = read(&path);
        let figures = weighed(script, &["--encoding", "implied"]).rows[0].figures.clone().unwrap();
        assert!(figures.image.lines > 0, "{script}");
        assert_eq!(whole.len() as u64, figures.image.total);
        assert_eq!(stripped.len() as u64, figures.image.total - figures.image.lines, "{script}");
        // The header differs in the checksum and in the length of the table.
        assert_eq!(whole[HEADER_LEN..stripped.len()], stripped[HEADER_LEN..], "{script}");
        assert_eq!(whole[..header::AT_CHECKSUM], stripped[..header::AT_CHECKSUM], "{script}");
        let lengths = header::AT_CHECKSUM + 4..header::AT_LINES;
        assert_eq!(whole[lengths.clone()], stripped[lengths], "{script}");
        // It does the same, in the same memory.
        let packed = weighed(path.to_str().unwrap(), options).rows[0].figures.clone().unwrap();
        assert_eq!(packed.instructions, figures.instructions, "{script}");
        assert_eq!(packed.heap_high_water, figures.heap_high_water, "{script}");
    }
}

#[test]
fn an_error_has_its_place_in_the_source_unless_the_line_table_is_stripped() {
    let folder = folder("pack-places", &[("a.js", b"let a = 1;\nnull.x;\n")]);
    for (args, place) in [(&[][..], "a.img:2:6: "), (&["--strip"][..], "a.img: ")] {
        let packed = scruple_in(&folder, &[&["pack", "a.js", "-o", "a.img"], args].concat());
        assert_eq!(packed.code, 0, "{}", packed.err);
        let run = scruple_in(&folder, &["run", "a.img"]);
        assert_eq!(run.code, 1);
        assert!(run.err.starts_with(place), "{}", run.err);
        assert!(run.err.contains("TypeError"), "{}", run.err);
    }
}

#[test]
fn a_damaged_image_is_refused_with_an_offset() {
    let path = pack("pack-damaged", "samples/kernels/fib.js", &[]);
    let bytes = fs::read(&path).expect("the image");
    let refused = |bytes: &[u8], place: &str| {
        fs::write(&path, bytes).expect("writing the image");
        let path = path.to_str().unwrap();
        for command in ["run", "listing", "trace"] {
            let outcome = scruple(&[command, path]);
            assert_eq!((outcome.code, outcome.out.as_str()), (1, ""), "{command} {place}");
            assert!(outcome.err.contains(place), "{command}: {} not {place}", outcome.err);
        }
        for command in ["weigh", "fit"] {
            let outcome = scruple(&[command, path]);
            assert_eq!(outcome.code, 1, "{command} {place}");
            assert!(outcome.out.contains(place), "{command}: {} not {place}", outcome.out);
        }
    };
    // One byte of each section but the first four, which make it an image.
    for at in (4..bytes.len()).step_by(61) {
        let mut damaged = bytes.clone();
        damaged[at] ^= 0x20;
        refused(&damaged, "image offset ");
    }
    for length in [4, HEADER_LEN - 1] {
        refused(&bytes[..length], "image offset 0: shorter than a header");
    }
    refused(&bytes[..bytes.len() - 1], &format!("image offset {}: ", header::AT_CHECKSUM));
    // Damage that the checksum vouches for is the verifier's to find.
    let mut forged = bytes.clone();
    let code = bytes.len() - 108 - 4 - 1;
    forged[code] = 0xff;
    let sum = scruple_bytecode::image::checksum(&forged[header::AT_CHECKSUM + 4..]);
    forged[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
    refused(&forged, "offset ");
}

#[test]
fn pack_refuses_to_write_over_its_script_and_to_pack_an_image() {
    let folder = folder("pack-refuses", &[("a.js", b"console.log(1);\n"), ("b.js", b"let = 1;\n")]);
    let over = scruple_in(&folder, &["pack", "a.js", "-o", "./a.js"]);
    assert_eq!(over.code, 1);
    assert!(over.err.contains("it would take the place of a.js"), "{}", over.err);
    assert_eq!(fs::read(folder.join("a.js")).unwrap(), b"console.log(1);\n");
    assert_eq!(scruple_in(&folder, &["pack", "a.js", "-o", "a.img"]).code, 0);
    let again = scruple_in(&folder, &["pack", "a.img", "-o", "b.img"]);
    assert_eq!((again.code, again.err.as_str()), (1, "scruple: a.img: an image already\n"));
    let wrong = scruple_in(&folder, &["pack", "b.js", "-o", "b.img"]);
    assert_eq!(wrong.code, 1);
    assert!(wrong.err.starts_with("b.js:1:"), "{}", wrong.err);
    assert!(!folder.join("b.img").exists());
    assert_eq!(scruple_in(&folder, &["pack", "a.js"]).code, 2);
}

#[test]
fn an_image_goes_to_standard_output_and_the_report_does_not() {
    let folder = folder("pack-stream", &[("a.js", b"console.log(1);\n")]);
    assert_eq!(scruple_in(&folder, &["pack", "a.js", "-o", "a.img"]).code, 0);
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_scruple"));
    let output = command.current_dir(&folder).args(["pack", "a.js", "-o", "-"]).output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(output.stdout, fs::read(folder.join("a.img")).unwrap());
    assert!(output.stderr.starts_with(b"-: implied, "), "{:?}", output.stderr);
    assert!(!folder.join("-").exists());
}
