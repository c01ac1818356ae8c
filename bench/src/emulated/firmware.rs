//! The firmware as a program: built for a board, and run with a parcel behind it.
//!
//! It owns the build command, the emulator's command, what their absence is called,
//! and the place of the parcel in flash, which the program's own symbol tells. It
//! refuses to build anywhere but in a folder of its own beside the host's builds.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicU64, Ordering};

use anyhow::{Context, Result, bail, ensure};
use scruple_bytecode::Encoding;

use super::boards::{self, Board};
use super::parcel::Parcel;
use super::row::BoardRow;

/// The target that the firmware is built for: the compiler's own of that name, as a
/// file beside the firmware's source, but for one line. That keeps a frame pointer in
/// every function, which no flag takes back: it took 12,264 bytes of 310,940, and of
/// the program's stack a word a call.
const TARGET: &str = "thumbv7m-none-eabi";

/// What the compiler is to be told besides the profile.
const FLAGS: &str = "-C link-arg=-Tlink.x -C linker=arm-none-eabi-ld -C linker-flavor=ld \
    -Z location-detail=none -Z fmt-debug=none";

/// What a program is to be built of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Build {
    /// The board.
    pub board: Board,
    /// With the compiler.
    pub compiler: bool,
    /// With the families of built-ins beyond the core ones.
    pub families: bool,
    /// The encodings that it carries out, and no others: what one takes is flash.
    pub encodings: Vec<Encoding>,
}

/// A built program.
#[derive(Clone, Debug)]
pub struct Firmware {
    /// The program.
    pub elf: PathBuf,
    /// The board it is for.
    pub board: Board,
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

/// The packages whose tools are missing here: none if the board can be run.
pub fn missing_packages() -> Vec<&'static str> {
    let answers = |program: &Path, args: &[&str]| {
        let mut command = Command::new(program);
        let output = command.args(args).stdin(Stdio::null()).output().ok()?;
        output.status.success().then(|| String::from_utf8_lossy(&output.stdout).trim().to_owned())
    };
    let version = &["--version"][..];
    let sysroot = answers(&rustc(), &["--print", "sysroot"]);
    let has_sources = sysroot
        .is_some_and(|root| Path::new(&root).join("lib/rustlib/src/rust/library/core").exists());
    let needs = [
        ("rustc-web", answers(&rustc(), version).is_some()),
        ("cargo-web", answers(&cargo(), version).is_some()),
        ("rust-web-src", has_sources),
        ("binutils-arm-none-eabi", answers(Path::new("arm-none-eabi-ld"), version).is_some()),
        ("qemu-system-arm", answers(Path::new("qemu-system-arm"), version).is_some()),
    ];
    needs.into_iter().filter(|(_, is_there)| !is_there).map(|(package, _)| package).collect()
}

// Debian's compiler carries the library's sources; the one that a toolchain
// manager puts first on the path may not, and takes no unstable options.
fn cargo() -> PathBuf {
    env::var_os("BOARD_CARGO").unwrap_or_else(|| "/usr/bin/cargo".into()).into()
}

fn rustc() -> PathBuf {
    env::var_os("BOARD_RUSTC").unwrap_or_else(|| "/usr/bin/rustc".into()).into()
}

impl Firmware {
    /// Builds a program from the firmware's source, which lies beside this crate's.
    pub fn build(build: &Build) -> Result<Firmware> {
        let missing = missing_packages();
        ensure!(
            missing.is_empty(),
            "the board needs tools that are not here: install the Debian packages {}",
            missing.join(", ")
        );
        let bench = Path::new(env!("CARGO_MANIFEST_DIR"));
        let target = bench.join("../target/board");
        fs::create_dir_all(&target).context("no folder to build the firmware in")?;
        // Held until the program has been copied: another build would replace it.
        let lock = fs::File::create(target.join("lock")).context("no lock file")?;
        lock.lock().context("the firmware's folder cannot be locked")?;
        let mut features = Vec::new();
        if build.compiler {
            features.push("compiler");
        }
        if build.families {
            features.push("families");
        }
        features.extend(build.encodings.iter().map(|encoding| encoding.name()));
        let mut command = Command::new(cargo());
        command
            .current_dir(bench.join("board"))
            .args(["build", "--quiet", "--release", "--locked", "-Zbuild-std=core,alloc"])
            .args(["-Zbuild-std-features=optimize_for_size", "--no-default-features"])
            .args(["-Zjson-target-spec", "--target", &format!("{TARGET}.json")])
            .args(["--features", &features.join(",")])
            .env("RUSTC", rustc())
            .env("RUSTC_BOOTSTRAP", "1")
            .env("RUSTFLAGS", FLAGS)
            .env("CARGO_TARGET_DIR", &target)
            .env("BOARD", build.board.name)
            // What calls this may itself be run by a cargo of another version.
            .env_remove("CARGO")
            .env_remove("CARGO_ENCODED_RUSTFLAGS")
            .env_remove("RUSTUP_TOOLCHAIN")
            .env_remove("RUSTC_WRAPPER")
            .stdin(Stdio::null());
        let built = command.output().context("the firmware's build cannot be started")?;
        if !built.status.success() {
            let said = String::from_utf8_lossy(&built.stderr);
            match does_not_fit(&said, &build.board) {
                Some(reason) => bail!(reason),
                None => bail!("the firmware does not build:\n{said}"),
            }
        }
        // Each variant keeps its own copy, so that one build does not replace
        // what another is run from.
        let variant = format!("{}+{}.elf", build.board.name, features.join("+"));
        let elf = target.join(variant);
        let program = target.join(TARGET).join("release/scruple-board");
        fs::copy(&program, &elf).with_context(|| format!("no program at {}", program.display()))?;
        Firmware::open(elf, build.board)
    }

    /// A program that was built before.
    fn open(elf: PathBuf, board: Board) -> Result<Firmware> {
        let symbols = output(Command::new("arm-none-eabi-nm").arg(&elf))?;
        let symbols = String::from_utf8_lossy(&symbols.stdout).into_owned();
        let row = symbols.lines().find(|line| line.ends_with(" _parcel"));
        let address = row.and_then(|row| row.split_whitespace().next()).unwrap_or_default();
        let parcel_at = u64::from_str_radix(address, 16)
            .with_context(|| format!("{} has no place for a parcel", elf.display()))?;
        Ok(Firmware { elf, board, parcel_at })
    }

    /// Runs it with a parcel.
    pub fn run(&self, parcel: &Parcel<'_>) -> Result<Ran> {
        let file = Scratch::new();
        fs::write(&file.0, bytes_of(parcel)).context("the parcel cannot be written")?;
        let loader =
            format!("loader,file={},addr={:#x},force-raw=on", file.0.display(), self.parcel_at);
        let mut command = Command::new("qemu-system-arm");
        command
            .args(["-M", self.board.name, "-nographic", "-icount", "shift=0", "-monitor", "none"])
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

/// What the linker says of a program that is too large, for those who asked for the board.
fn does_not_fit(said: &str, board: &Board) -> Option<String> {
    let over = |region: &str| {
        let (_, behind) = said.split_once(&format!("region `{region}' overflowed by "))?;
        behind.split_whitespace().next()?.parse::<u64>().ok()
    };
    let (over, what, own, of): (_, _, _, fn(&Board) -> u64) = match (over("FLASH"), over("RAM")) {
        (Some(over), _) => (over, "flash", board.flash, |board| board.flash),
        (None, Some(over)) => (over, "RAM", board.ram, |board| board.ram),
        (None, None) => return None,
    };
    let more = boards::all().into_iter().filter(|other| of(other) > own);
    let more: Vec<&str> = more.map(|board| board.name).collect();
    let others = match more.is_empty() {
        true => String::new(),
        false => format!(", or take a board with more: {}", more.join(", ")),
    };
    Some(format!(
        "the firmware takes {over} bytes more {what} than the {own} of {}: leave the compiler, \
         families (--core) or encodings out{others}",
        board.name
    ))
}

/// A file that goes when it is done with.
struct Scratch(PathBuf);

impl Scratch {
    fn new() -> Scratch {
        static NUMBER: AtomicU64 = AtomicU64::new(0);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let name = format!("scruple-parcel-{}-{number}", std::process::id());
        Scratch(env::temp_dir().join(name))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // One that is gone already is as good.
        let _ = fs::remove_file(&self.0);
    }
}

fn output(command: &mut Command) -> Result<Output> {
    let program = command.get_program().to_string_lossy().into_owned();
    command.output().with_context(|| format!("{program} cannot be started"))
}

fn bytes_of(parcel: &Parcel<'_>) -> Vec<u8> {
    let mut bytes = parcel.header().to_vec();
    for part in [parcel.script, parcel.feed] {
        bytes.extend_from_slice(part);
        // The loader wants whole words on some boards.
        bytes.resize(bytes.len().next_multiple_of(4), 0);
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    // The words of GNU ld 2.40, of Debian's binutils-arm-none-eabi.
    #[test]
    fn a_program_that_is_too_large_is_said_with_the_boards_that_have_more() {
        let said = "error: linking with `arm-none-eabi-ld` failed\n  = note: arm-none-eabi-ld: \
                    region `FLASH' overflowed by 47668 bytes\n";
        let board = boards::find("lm3s6965evb").unwrap();
        assert_eq!(
            does_not_fit(said, &board).unwrap(),
            "the firmware takes 47668 bytes more flash than the 262144 of lm3s6965evb: leave the \
             compiler, families (--core) or encodings out, or take a board with more: netduino2, \
             mps2-an385"
        );
        assert_eq!(does_not_fit("error[E0425]: cannot find value", &board), None);
        let largest = boards::find("mps2-an385").unwrap();
        let reason = does_not_fit("region `RAM' overflowed by 8 bytes", &largest).unwrap();
        assert!(
            reason.ends_with("leave the compiler, families (--core) or encodings out"),
            "{reason}"
        );
    }
}
