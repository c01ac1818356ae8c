//! The document of `board`: what scripts took on an emulated board, beside what
//! they took on the host.
//!
//! It owns the wire form and the sums: all RAM from its parts, flash from its
//! parts. It refuses to measure and to lay out.

use serde::{Deserialize, Serialize};

use super::boards::Board;
use super::parts::Parts;
use super::row::BoardRow;
use crate::document::{Document as Weighed, Lab, Row as WeighedRow};

/// The version of the wire form.
pub const SCHEMA: u32 = 1;

/// Everything one run of `board` says.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Document {
    /// The version of this form.
    pub schema: u32,
    /// What ran the scripts.
    pub lab: Lab,
    /// What is to stand beside the figures.
    pub caveat: String,
    /// The emulated board.
    pub board: String,
    /// Its bytes of flash.
    pub flash: u64,
    /// Its bytes of RAM.
    pub ram: u64,
    /// Where the firmware's flash goes.
    pub parts: Parts,
    /// A row a script and encoding.
    pub rows: Vec<Row>,
    /// Sums, an entry an encoding.
    pub encodings: Vec<EncodingSum>,
}

/// One script under one encoding.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Row {
    /// The host's row. The board's figures are the same, or there is an error.
    #[serde(flatten)]
    pub weighed: WeighedRow,
    /// What the board adds.
    pub board: Option<OnBoard>,
}

/// What a script took on the board beyond what the host counts too.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OnBoard {
    /// Board instructions of verifying the image and making its globals.
    pub load_instructions: u64,
    /// Board instructions of the run.
    pub run_instructions: u64,
    /// Board instructions of compiling, if it compiled.
    pub compile_instructions: Option<u64>,
    /// Whether the live peak was held against the host's too.
    pub live_peak_compared: bool,
    /// All RAM, if the least region was looked for.
    pub ram: Option<Ram>,
}

/// All RAM that a script takes on the board. All bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ram {
    /// Static data.
    pub data: u64,
    /// The program's own stack, found by painting, the machine's registers in it.
    pub stack: u64,
    /// Timers waiting at once.
    pub timers: u64,
    /// The region of heap and machine's stack.
    pub region: u64,
    /// The image, if it was made on the board.
    pub image: u64,
    /// What compiling took of the pool and of the program's own stack, if it
    /// compiled: that comes first, so the larger counts and not the sum.
    pub compiling: Option<(u64, u64)>,
}

/// Sums over the rows of one encoding that came to their end.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct EncodingSum {
    /// The encoding's name.
    pub encoding: String,
    /// Rows summed.
    pub scripts: u64,
    /// Instruction bytes of the images.
    pub instruction_bytes: u64,
    /// Operations carried out.
    pub operations: u64,
    /// Board instructions of the runs.
    pub board_instructions: u64,
}

impl Document {
    /// A document of these rows, with its sums.
    pub fn new(board: Board, parts: Parts, rows: Vec<Row>) -> Document {
        let mut encodings: Vec<EncodingSum> = Vec::new();
        for row in &rows {
            let (Some(figures), Some(board)) = (&row.weighed.figures, &row.board) else { continue };
            let name = &row.weighed.encoding;
            let index = encodings.iter().position(|sum| sum.encoding == *name);
            let index = index.unwrap_or_else(|| {
                encodings.push(EncodingSum::new(name));
                encodings.len() - 1
            });
            let sum = &mut encodings[index];
            sum.scripts += 1;
            sum.instruction_bytes += figures.image.instructions;
            sum.operations += figures.operations;
            sum.board_instructions += board.run_instructions;
        }
        Document {
            schema: SCHEMA,
            lab: Lab::here(),
            caveat: super::CAVEAT.to_owned(),
            board: board.name.to_owned(),
            flash: board.flash,
            ram: board.ram,
            parts,
            rows,
            encodings,
        }
    }

    /// The host's document of the same rows.
    pub fn weighed(&self) -> Weighed {
        Weighed::new(self.rows.iter().map(|row| row.weighed.clone()).collect())
    }

    /// Whether every row came to its end and agrees.
    pub fn is_complete(&self) -> bool {
        self.rows.iter().all(|row| row.weighed.error.is_none())
    }
}

impl OnBoard {
    /// What a run on the board tells.
    pub fn new(row: &BoardRow, live_peak_compared: bool, ram: Option<Ram>) -> OnBoard {
        OnBoard {
            load_instructions: row.load_instructions(),
            run_instructions: row.run_instructions(),
            compile_instructions: row.compile_instructions(),
            live_peak_compared,
            ram,
        }
    }
}

impl Ram {
    /// What a run in the least region took.
    pub fn new(row: &BoardRow) -> Ram {
        Ram {
            data: row.static_bytes,
            stack: row.machine_stack_peak,
            timers: row.timer_bytes,
            region: row.region_bytes,
            image: row.image_in_ram,
            compiling: row.compile_reach.zip(row.compile_machine_stack_peak),
        }
    }

    /// All of it.
    pub fn total(&self) -> u64 {
        let running = self.stack + self.timers + self.region + self.image;
        let compiling = self.compiling.map_or(0, |(pool, stack)| pool + stack);
        self.data + running.max(compiling)
    }
}

impl EncodingSum {
    fn new(encoding: &str) -> EncodingSum {
        EncodingSum {
            encoding: encoding.to_owned(),
            scripts: 0,
            instruction_bytes: 0,
            operations: 0,
            board_instructions: 0,
        }
    }

    /// Board instructions an operation.
    pub fn per_operation(&self) -> f64 {
        self.board_instructions as f64 / self.operations.max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn compiling_and_running_follow_one_another_in_the_same_ram() {
        let ram = Ram { data: 8, stack: 100, timers: 10, region: 50, image: 20, compiling: None };
        assert_eq!(ram.total(), 188);
        assert_eq!(Ram { compiling: Some((100, 70)), ..ram }.total(), 188);
        assert_eq!(Ram { compiling: Some((200, 70)), ..ram }.total(), 278);
    }
}
