//! The emulated board: what it counts is what the host counts, and what it needs of
//! RAM stays within the limits.
//!
//! The runs need the cross compiler and the emulator, and some minutes: they are
//! marked so, and `.ci/run` includes them. There they fail if the tools are missing.

mod common;

use std::process::{Command, Stdio};

use common::{folder, root, scruple, spliced};
use serde_json::Value;

/// Runs `board` and gives its document. A row that differs makes it fail.
fn board(args: &[&str]) -> Value {
    let outcome = scruple(&[&["board", "--format", "json"], args].concat());
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    serde_json::from_str(&outcome.out).expect("JSON")
}

fn rows(document: &Value) -> &[Value] {
    document["rows"].as_array().expect("rows")
}

/// All RAM of the row that takes most of it, from its parts.
fn most_ram(document: &Value) -> u64 {
    let part = |ram: &Value, name: &str| ram[name].as_u64().expect("bytes");
    let total = |row: &Value| {
        let ram = &row["board"]["ram"];
        let running: u64 =
            ["stack", "timers", "region", "image"].iter().map(|name| part(ram, name)).sum();
        let compiling = ram["compiling"]
            .as_array()
            .map_or(0, |parts| parts.iter().map(|bytes| bytes.as_u64().expect("bytes")).sum());
        part(ram, "data") + running.max(compiling)
    };
    rows(document).iter().map(total).max().expect("a row")
}

#[test]
fn without_the_tools_the_command_names_the_packages() {
    let output = Command::new(env!("CARGO_BIN_EXE_scruple"))
        .args(["board", "samples/marrow-brook/tide_marks.js"])
        .current_dir(root())
        .env("PATH", "")
        .env("BOARD_CARGO", "/nowhere/cargo")
        .env("BOARD_RUSTC", "/nowhere/rustc")
        .stdin(Stdio::null())
        .output()
        .expect("the command line starts");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    for package in
        ["rustc-web", "cargo-web", "rust-web-src", "binutils-arm-none-eabi", "qemu-system-arm"]
    {
        assert!(said.contains(package), "{said}");
    }
}

// The board with the most RAM has the host's region, so even the collections come
// at the same places. A difference in instructions, fetched bytes, stack peak,
// allocations, any category of the high-water mark or the output is an error of
// that row. Each encoding has a firmware of its own, as it would on a device.
#[test]
#[ignore = "needs the cross compiler and the emulator, and seven minutes in a release build: by hand; .ci/run holds the control scripts against each other"]
fn board_and_host_agree_to_the_byte_and_to_the_instruction() {
    let mut table = String::from(
        "\n| encoding | flash | instruction bytes | operations | board instructions | an operation |\n\
         | --- | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for encoding in scruple_bytecode::Encoding::ALL {
        let args = ["samples", "--board", "mps2-an385", "--no-ram", "--encoding", encoding.name()];
        let document = board(&args);
        let n_scripts = rows(&document).len();
        assert!(n_scripts >= 31, "{encoding:?}: {n_scripts} rows");
        let with_live = |row: &&Value| row["board"]["live_peak_compared"] == true;
        let compared = rows(&document).iter().filter(with_live).count();
        assert!(compared >= 11, "{encoding:?}: {compared} live peaks");
        let (parts, total) = (&document["parts"]["parts"], &document["parts"]["total"]);
        let sum: u64 =
            parts.as_array().expect("parts").iter().filter_map(|p| p["bytes"].as_u64()).sum();
        assert_eq!(Some(sum), total.as_u64());
        let [sums] = &document["encodings"].as_array().expect("encodings")[..] else {
            panic!("one encoding");
        };
        table.push_str(&encoding_row(sums, sum));
    }
    if std::env::var_os("UPDATE_README").is_some() {
        let path = root().join("README.md");
        let text = std::fs::read_to_string(&path).expect("the README");
        std::fs::write(&path, spliced(&text, "board", &table)).expect("writing it");
    }
}

// It is written and not checked: board instructions are those of one version of
// the cross compiler.
fn encoding_row(sums: &Value, flash: u64) -> String {
    let number = |name: &str| sums[name].as_u64().expect("a number");
    let (operations, instructions) = (number("operations"), number("board_instructions"));
    let per_operation = instructions as f64 / operations as f64;
    let name = sums["encoding"].as_str().expect("a name");
    let bytes = number("instruction_bytes");
    format!(
        "| `{name}` | {flash} | {bytes} | {operations} | {instructions} | {per_operation:.2} |\n"
    )
}

/// The smallest build for the smallest board.
const SMALLEST: &[&str] = &["--board", "stm32vldiscovery", "--core", "--encoding", "implied"];

// Source of the limit: the project's target for a board of 8 KiB.
#[test]
#[ignore = "needs the cross compiler and the emulator: .ci/run includes it"]
fn hello_takes_at_most_2_kib_of_all_ram() {
    let folder = folder(
        "board-hello",
        &[("hello.js", b"console.log('hello');\n"), ("hello.out", b"hello\n")],
    );
    let script = folder.join("hello.js").display().to_string();
    let document = board(&[&[script.as_str()], SMALLEST].concat());
    assert_eq!(rows(&document).len(), 1);
    assert!(most_ram(&document) <= 2048, "{}", most_ram(&document));
}

// Source: the project's target that a program which uses none of a family pays no RAM
// for it. Neither build has the compiler.
#[test]
#[ignore = "needs the cross compiler and the emulator: .ci/run includes it"]
fn what_hello_does_not_use_takes_no_ram() {
    let folder = folder(
        "board-families",
        &[("hello.js", b"console.log('hello');\n"), ("hello.out", b"hello\n")],
    );
    let script = folder.join("hello.js").display().to_string();
    let ram = |build: &[&str]| {
        let document = board(&[&[script.as_str()], build].concat());
        (rows(&document)[0]["board"]["ram"]["region"].as_u64(), most_ram(&document))
    };
    let ((all_region, all), (core_region, core)) = (ram(&["--encoding", "implied"]), ram(SMALLEST));
    assert!(core_region > Some(0));
    assert_eq!(all_region, core_region);
    // Static data is rounded up to the order that the linker has put it in.
    assert!(all <= core + 8, "{all} and {core}");
}

// Source of the limits: the project's targets for a control script.
#[test]
#[ignore = "needs the cross compiler and the emulator: .ci/run includes it"]
fn a_control_script_takes_at_most_16_kib_of_ram_and_32_compiled_on_the_board() {
    let scripts = "samples/marrow-brook";
    let document = board(&[scripts, "--encoding", "implied"]);
    assert!(most_ram(&document) <= 16 * 1024, "{}", most_ram(&document));
    let document = board(&[scripts, "--encoding", "implied", "--board", "netduino2", "--compile"]);
    assert!(most_ram(&document) <= 32 * 1024, "{}", most_ram(&document));
}
