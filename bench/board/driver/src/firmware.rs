//! The firmware as a program: built for a board, and run with a parcel behind it.
//!
//! It owns the build command, the emulator's command and the place of the parcel
//! in flash, which the program's own symbol tells.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use anyhow::{Context, Result, bail, ensure};

pub use crate::parcel::Parcel;
use crate::row::BoardRow;

/// The target that the firmware is built for.
const TARGET: &str = "thumbv7m-none-eabi";

/// What a program is to be built of.
#[derive(Clone, Debug)]
pub struct Build {
    /// The board, a row of `boards.txt`.
    pub board: String,
    /// Bytes of RAM kept for the program's own stack.
    pub stack: u32,
    /// Features of the firmware, separated by commas.
    pub features: String,
}

/// A built program.
#[derive(Clone, Debug)]
pub struct Firmware {
    /// The program.
    pub elf: PathBuf,
    /// The board it is for.
    pub board: String,
    /// Where in flash the parcel is to lie.
    parcel_at: u64,
}

/// What came of a run.
#[derive(Clone, Debug)]
pub struct Ran {
    /// What the script printed.
    pub output: String,
    /// What it took.
    pub row: BoardRow,
}

impl Firmware {
    /// Builds the program of a folder.
    pub fn build(folder: &Path, build: &Build) -> Result<Firmware> {
        // Debian's compiler carries the library's sources; the one that a
        // toolchain manager puts first on the path may not.
        let cargo = env::var_os("BOARD_CARGO").unwrap_or_else(|| "/usr/bin/cargo".into());
        let rustc = env::var_os("BOARD_RUSTC").unwrap_or_else(|| "/usr/bin/rustc".into());
        let mut command = Command::new(cargo);
        command
            .current_dir(folder)
            .args(["build", "--release", "-Zbuild-std=core,alloc"])
            .args(["-Zbuild-std-features=optimize_for_size"])
            .args(["--target", TARGET, "--features", &build.features])
            .env("RUSTC", rustc)
            .env("RUSTC_BOOTSTRAP", "1")
            .env("RUSTFLAGS", FLAGS)
            .env("BOARD", &build.board)
            .env("BOARD_STACK", build.stack.to_string());
        let status = command.status().context(MISSING)?;
        ensure!(status.success(), "the firmware does not build");
        let target = match env::var_os("CARGO_TARGET_DIR") {
            Some(target) => PathBuf::from(target),
            None => folder.join("target"),
        };
        let built = target.join(TARGET).join("release/scruple-board");
        // Each variant keeps its own copy, so that one build does not replace
        // what another is run from.
        let variant = format!("{}-{}-{}.elf", build.board, build.stack, build.features);
        let elf = target.join(variant.replace(',', "+"));
        fs::copy(&built, &elf).with_context(|| format!("no program at {}", built.display()))?;
        Firmware::open(elf, &build.board)
    }

    /// A program that was built before.
    pub fn open(elf: PathBuf, board: &str) -> Result<Firmware> {
        let symbols = output(Command::new("arm-none-eabi-nm").arg(&elf))?;
        let symbols = String::from_utf8_lossy(&symbols.stdout).into_owned();
        let row = symbols.lines().find(|line| line.ends_with(" _parcel"));
        let address = row.and_then(|row| row.split_whitespace().next()).unwrap_or_default();
        let parcel_at = u64::from_str_radix(address, 16)
            .with_context(|| format!("{} has no place for a parcel", elf.display()))?;
        Ok(Firmware { elf, board: board.to_owned(), parcel_at })
    }

    /// Runs it with a parcel, which lies in a file of the scratch folder.
    pub fn run(&self, parcel: &Parcel<'_>, scratch: &Path) -> Result<Ran> {
        fs::write(scratch, bytes_of(parcel))?;
        let loader =
            format!("loader,file={},addr={:#x},force-raw=on", scratch.display(), self.parcel_at);
        let mut command = Command::new("qemu-system-arm");
        command
            .args(["-M", &self.board, "-nographic", "-icount", "shift=0", "-monitor", "none"])
            .args(["-serial", "none", "-semihosting-config", "enable=on,target=native"])
            .arg("-kernel")
            .arg(&self.elf)
            .args(["-device", &loader])
            .stdin(Stdio::null());
        let ran = output(&mut command)?;
        let errors = String::from_utf8_lossy(&ran.stderr).into_owned();
        let Some(row) = errors.lines().rev().find(|line| line.starts_with('{')) else {
            bail!("the board has written no row: {errors}");
        };
        let row = serde_json::from_str(row).with_context(|| format!("no row: {row}"))?;
        Ok(Ran { output: String::from_utf8_lossy(&ran.stdout).into_owned(), row })
    }
}

/// What the compiler is to be told besides the profile.
const FLAGS: &str = "-C link-arg=-Tlink.x -C linker=arm-none-eabi-ld -C linker-flavor=ld \
    -Z location-detail=none -Z fmt-debug=none";

const MISSING: &str = "a tool is missing: the board needs the Debian packages rustc-web, \
    cargo-web, rust-web-src, binutils-arm-none-eabi and qemu-system-arm";

fn output(command: &mut Command) -> Result<Output> {
    command.output().context(MISSING)
}

fn bytes_of(parcel: &Parcel<'_>) -> Vec<u8> {
    let mut bytes = parcel.header().to_vec();
    bytes.extend_from_slice(parcel.script);
    bytes.resize(bytes.len().next_multiple_of(4), 0);
    bytes.extend_from_slice(parcel.feed);
    // The loader wants whole words on some boards.
    bytes.resize(bytes.len().next_multiple_of(4), 0);
    bytes
}
