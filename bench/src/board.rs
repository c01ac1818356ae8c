//! A board: how much flash and RAM it has, and what is taken already.
//!
//! It owns the TOML form, which refuses a name it does not know, and the sum that
//! says whether something fits. It refuses to measure.

use std::fmt;
use std::fs;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::files;

/// The most bytes a board may have: past that a number is surely a slip.
const MOST: u64 = 1 << 40;

/// A board, as its file tells it. All bytes, but for the headroom.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Board {
    /// Bytes of flash.
    pub flash: u64,
    /// Bytes of RAM.
    pub ram: u64,
    /// Flash that the program around takes: the machine's code is in it.
    #[serde(default)]
    pub host_flash: u64,
    /// RAM that the program around takes: its stack, its data, the machine's
    /// registers and what its host functions keep.
    #[serde(default)]
    pub host_ram: u64,
    /// Per cent of flash and of RAM that are to stay free.
    #[serde(default)]
    pub headroom: u64,
}

/// How something lies in a board's flash or RAM. All bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// What there is.
    pub size: u64,
    /// What the program around takes.
    pub host: u64,
    /// What is to stay free.
    pub headroom: u64,
    /// What the script takes.
    pub needs: u64,
    /// What is left; below zero, what is missing.
    pub spare: i64,
}

/// Why a file tells of no board.
#[derive(Debug)]
pub struct BoardError(String);

impl fmt::Display for BoardError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for BoardError {}

impl Board {
    /// Reads a board from a file.
    pub fn read(path: &Path) -> Result<Board, BoardError> {
        let name = path.display();
        let text = fs::read_to_string(path)
            .map_err(|error| BoardError(format!("{name}: {}", files::reason(&error))))?;
        Board::parse(&text).map_err(|error| BoardError(format!("{name}: {error}")))
    }

    /// Reads a board from TOML.
    pub fn parse(text: &str) -> Result<Board, BoardError> {
        let board: Board = toml::from_str(text)
            .map_err(|error| BoardError(error.to_string().trim().to_owned()))?;
        let Board { flash, ram, host_flash, host_ram, headroom } = board;
        if [flash, ram, host_flash, host_ram].iter().any(|&bytes| bytes > MOST) {
            return Err(BoardError(format!("more than {MOST} bytes")));
        }
        if headroom > 100 {
            return Err(BoardError(format!("a headroom of {headroom} per cent: 100 is all")));
        }
        Ok(board)
    }

    /// How an image lies in its flash.
    pub fn flash(&self, needs: u64) -> Place {
        Place::new(self.flash, self.host_flash, self.headroom, needs)
    }

    /// How a region lies in its RAM.
    pub fn ram(&self, needs: u64) -> Place {
        Place::new(self.ram, self.host_ram, self.headroom, needs)
    }
}

impl Place {
    /// The headroom is counted from all there is, and rounded up.
    fn new(size: u64, host: u64, per_cent: u64, needs: u64) -> Place {
        let headroom = (size * per_cent).div_ceil(100);
        let spare = size as i64 - host as i64 - headroom as i64 - needs as i64;
        Place { size, host, headroom, needs, spare }
    }

    /// Whether it fits.
    pub fn fits(&self) -> bool {
        self.spare >= 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_is_what_nothing_else_takes() {
        let board = Board::parse("flash = 1000\nram = 333\nhost_ram = 100\nheadroom = 10").unwrap();
        // A tenth of 333 is 33.3: 34 bytes stay free.
        let place = board.ram(199);
        assert_eq!((place.headroom, place.spare, place.fits()), (34, 0, true));
        let place = board.ram(200);
        assert_eq!((place.spare, place.fits()), (-1, false));
        assert_eq!(board.flash(900).spare, 0);
    }

    #[test]
    fn a_file_that_is_no_board_is_refused() {
        let said = |text: &str| Board::parse(text).unwrap_err().to_string();
        assert!(said("flash = 1000").contains("missing field `ram`"));
        assert!(said("flash = 1\nram = 1\nspeed = 3").contains("unknown field `speed`"));
        assert!(said("flash = -1\nram = 1").contains("line 1"));
        assert!(said("flash = 1\nram = 1\nheadroom = 101").contains("101 per cent"));
        assert!(said("flash = 9_000_000_000_000_000_000\nram = 1").contains("more than"));
    }
}
