//! Lays the program out for a board: writes the linker's `memory.x`.
//!
//! It owns what the environment may choose: `BOARD`, one of the names in
//! `boards.txt`. The program's own stack is as large as that says; what it really
//! takes is measured on the board, and an overflow is reported. It refuses a board
//! it does not know.

use std::path::PathBuf;
use std::{env, fs};

type Result<T> = std::result::Result<T, Box<dyn std::error::Error>>;

/// The board of a build that names none.
const BOARD: &str = "lm3s6965evb";

fn main() -> Result<()> {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=boards.txt");
    println!("cargo::rerun-if-env-changed=BOARD");
    let name = env::var("BOARD").unwrap_or_else(|_| BOARD.to_owned());
    let boards = fs::read_to_string("boards.txt")?;
    let rows = boards.lines().filter(|line| !line.starts_with('#'));
    let row = rows.map(|line| line.split_whitespace().collect::<Vec<_>>());
    let row = row.into_iter().find(|row| row.first() == Some(&name.as_str()));
    let Some(&[_, flash, flash_bytes, ram_bytes, clock_hz, stack, _]) = row.as_deref() else {
        return Err(format!("boards.txt has no board {name:?}").into());
    };
    // A multiple of 8 keeps the region, which ends where the stack may, aligned.
    let stack = stack.parse::<u32>()?.next_multiple_of(8);
    let memory = format!(
        "MEMORY\n{{\n  FLASH : ORIGIN = {flash}, LENGTH = {flash_bytes}\n  \
         RAM : ORIGIN = 0x20000000, LENGTH = {ram_bytes}\n}}\n\
         _stack_end = ORIGIN(RAM) + LENGTH(RAM) - {stack};\n\
         _flash_end = ORIGIN(FLASH) + LENGTH(FLASH);\n\
         _parcel = ALIGN(__sidata + SIZEOF(.data), 16);\n"
    );
    let out = PathBuf::from(env::var("OUT_DIR")?);
    fs::write(out.join("memory.x"), memory)?;
    // Asked for beside a table of interrupts of one's own (`main.rs`); it would name handlers.
    fs::write(out.join("device.x"), "")?;
    println!("cargo::rustc-link-search={}", out.display());
    println!("cargo::rustc-env=BOARD_NAME={name}");
    println!("cargo::rustc-env=BOARD_CLOCK_HZ={clock_hz}");
    Ok(())
}
