//! The row that the firmware writes, read back.
//!
//! It owns the names of its fields, and how ticks are turned into instructions. It
//! refuses to add up: the document does.

use crate::document::HeapBytes;
use serde::{Deserialize, Serialize};

/// What a run took on the board: bytes, counts and ticks.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct BoardRow {
    /// The version of the row's form.
    pub schema: u32,
    /// The board.
    pub board: String,
    /// How far it came, if it did not finish.
    pub error_stage: Option<String>,
    /// What went wrong.
    pub error: Option<String>,
    /// The bytes of the allocation that failed.
    pub failed_bytes: Option<u64>,
    /// The source line.
    pub line: Option<u32>,
    /// The column.
    pub column: Option<u32>,
    /// Bytes of the machine's region: the RAM that was left.
    pub region_bytes: u64,
    /// Bytes kept for timers.
    pub timer_bytes: u64,
    /// Most timers waiting at once.
    pub timers_peak: u64,
    /// Bytes of the image, if it lies in RAM.
    pub image_in_ram: u64,
    /// Ticks a second of the board's clock.
    pub clock_hz: u64,
    /// Ticks of verifying the image and making its globals.
    pub load_ticks: u64,
    /// Ticks of the run.
    pub run_ticks: u64,
    /// Bytes of static data.
    pub static_bytes: u64,
    /// Bytes of the machine itself, which are part of the stack below.
    pub vm_bytes: u64,
    /// Most bytes of the program's own stack.
    pub machine_stack_peak: u64,
    /// Instructions carried out.
    pub instructions: u64,
    /// Operations carried out.
    pub operations: u64,
    /// Instruction bytes read.
    pub fetched_bytes: u64,
    /// Most bytes of the machine's stack at once.
    pub stack_peak: u64,
    /// Blocks allocated.
    pub allocations: u64,
    /// Bytes of those blocks.
    pub allocated_bytes: u64,
    /// Collections.
    pub collections: u64,
    /// Whether the heap's books add up: 1 if they do.
    pub adds_up: u32,
    /// Most bytes at once, garbage included.
    pub heap_high_water: HeapBytes,
    /// Most bytes reachable at once.
    pub live_peak: HeapBytes,
    /// Ticks of compiling on the board.
    pub compile_ticks: Option<u64>,
    /// Bytes of the image that was made.
    pub compile_image_bytes: Option<u64>,
    /// Most bytes that the compiler had allocated at once.
    pub compile_peak: Option<u64>,
    /// Bytes from the first address of the pool to the highest it ever used.
    pub compile_reach: Option<u64>,
    /// Most bytes of the program's own stack while it compiled.
    pub compile_machine_stack_peak: Option<u64>,
}

impl BoardRow {
    /// Board instructions of the run: an instruction is a nanosecond of virtual
    /// time. Exact to within one tick's worth.
    pub fn run_instructions(&self) -> u64 {
        self.instructions_of(self.run_ticks)
    }

    /// Board instructions of loading.
    pub fn load_instructions(&self) -> u64 {
        self.instructions_of(self.load_ticks)
    }

    /// Board instructions of compiling, if it compiled.
    pub fn compile_instructions(&self) -> Option<u64> {
        self.compile_ticks.map(|ticks| self.instructions_of(ticks))
    }

    /// How it ended, if not at its end.
    pub fn end(&self) -> Option<String> {
        let stage = self.error_stage.as_ref()?;
        let error = self.error.as_deref().unwrap_or_default();
        Some(match self.failed_bytes {
            Some(bytes) => format!("{stage}: {error} ({bytes} bytes)"),
            None => format!("{stage}: {error}"),
        })
    }

    fn instructions_of(&self, ticks: u64) -> u64 {
        (u128::from(ticks) * 1_000_000_000 / u128::from(self.clock_hz.max(1))) as u64
    }
}
