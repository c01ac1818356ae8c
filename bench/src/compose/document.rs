//! What `compose` says, as it goes out: its schema is `schema/compose.json`.

use serde::{Deserialize, Serialize};

use super::model::Model;
use crate::document::Lab;
use crate::sweep::document::LeftOut;

/// The version of this form; see [`crate::document::SCHEMA`].
pub const SCHEMA: u32 = 2;

/// A mined instruction set, and what it is worth.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Composition {
    /// The version of this form.
    pub schema: u32,
    /// What mined it.
    pub lab: Lab,
    /// The encoding that the set is for.
    pub encoding: String,
    /// How much of the goal instruction bytes are, in per cent; the rest is
    /// instructions carried out.
    pub goal_bytes_percent: u32,
    /// How much of its bytes in the shared table an entry had to pay, in per cent.
    pub table_percent: u32,
    /// The fewest scripts that an entry stands in.
    pub least_programs: u64,
    /// What the model counts with.
    pub model: Model,
    /// Candidates that were thought of.
    pub candidates: u64,
    /// Why there are no more entries.
    pub stopped: Stopped,
    /// The entries, in the order of their choice.
    pub entries: Vec<Entry>,
    /// Bytes of the shared table of the set.
    pub table_bytes: u64,
    /// The largest of those of the sets that were mined with a script left out.
    pub held_out_table_bytes: u64,
    /// A row a script.
    pub rows: Vec<Row>,
    /// All scripts together.
    pub sum: Figures,
    /// The same, compiled and run: an entry an encoding that has a set.
    pub sum_trials: Vec<Trials>,
    /// Scripts that were not looked at.
    pub left_out: Vec<LeftOut>,
    /// What the set is worth on a corpus it was not mined from, if one was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub elsewhere: Option<Elsewhere>,
    /// The set as a file.
    pub set_text: String,
    /// The hash that images name it by.
    pub set_hash: u32,
}

/// Why there are no more entries.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stopped {
    /// Whether every opcode byte is taken: else nothing paid any more.
    pub is_full: bool,
    /// What the next one would have gained, in hundredths of a byte of the goal.
    pub next_gain_hundredths: Option<i64>,
    /// What it would have taken in the shared table, in bytes.
    pub next_table_bytes: Option<u64>,
}

/// One entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// As the set file has it.
    pub text: String,
    /// Operations it stands for.
    pub parts: u64,
    /// Bytes it takes in the shared table.
    pub table_bytes: u64,
    /// Instruction bytes it saves behind those before it.
    pub saved_bytes: i64,
    /// Instructions carried out that it saves behind those before it.
    pub saved_instructions: i64,
    /// How often it is in the scripts, all entries chosen.
    pub uses: u64,
    /// How often it was carried out.
    pub carried_out: u64,
    /// In which scripts, the most first.
    pub places: Vec<Place>,
}

/// A script that an entry is in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// The script.
    pub script: String,
    /// How often.
    pub uses: u64,
}

/// One script.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Row {
    /// The script.
    pub script: String,
    /// Whether what it printed was compared with what it must print.
    pub answer_checked: bool,
    /// What it takes.
    pub figures: Figures,
    /// What it takes compiled and run, an entry an encoding that has a set.
    pub trials: Vec<Trials>,
}

/// One encoding, by compiling and running.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trials {
    /// The encoding's name.
    pub encoding: String,
    /// With the set.
    pub in_sample: Trial,
    /// With a set that the script was no part of.
    pub held_out: Trial,
}

/// What was compiled and carried out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trial {
    /// Bytes of instructions.
    pub instruction_bytes: u64,
    /// Bytes of the image.
    pub image_bytes: u64,
    /// Instructions carried out; nothing where scripts are only compiled.
    pub instructions: Option<u64>,
}

/// Scripts that the set was not mined from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Elsewhere {
    /// A row a script.
    pub rows: Vec<Stranger>,
    /// All together: its name is no script's.
    pub sum: Stranger,
    /// Scripts that were not looked at.
    pub left_out: Vec<LeftOut>,
}

/// A script that the set was not mined from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stranger {
    /// The script.
    pub script: String,
    /// Whether what it printed was compared with what it must print.
    pub answer_checked: bool,
    /// Instruction bytes under `byte`.
    pub byte: u64,
    /// Under `implied`.
    pub implied: u64,
    /// Operations carried out: the instructions of `implied`.
    pub operations: u64,
    /// With the set, an entry an encoding that has one.
    pub trials: Vec<Abroad>,
}

/// One encoding with the set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Abroad {
    /// The encoding's name.
    pub encoding: String,
    /// What it takes.
    #[serde(flatten)]
    pub trial: Trial,
}

/// What scripts take as they are, and by the model of `composite` with the set that was
/// mined from all of them, and with one that was mined from all others.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Figures {
    /// Instruction bytes under `byte`.
    pub byte: u64,
    /// Under `leb`.
    pub leb: u64,
    /// Under `implied`.
    pub implied: u64,
    /// Bytes of the image under `byte`.
    pub byte_image: u64,
    /// Under `implied`.
    pub implied_image: u64,
    /// Operations carried out: the instructions of these three.
    pub operations: u64,
    /// Instruction bytes by the model, with the set.
    pub in_sample: u64,
    /// By the model, with a set that this script was no part of.
    pub held_out: u64,
    /// Instructions carried out by the model, with the set.
    pub dispatched_in_sample: u64,
    /// By the model, with a set that this script was no part of.
    pub dispatched_held_out: u64,
}

impl Figures {
    /// Adds another script's.
    pub(super) fn add(&mut self, other: &Figures) {
        self.byte += other.byte;
        self.leb += other.leb;
        self.implied += other.implied;
        self.byte_image += other.byte_image;
        self.implied_image += other.implied_image;
        self.operations += other.operations;
        self.in_sample += other.in_sample;
        self.held_out += other.held_out;
        self.dispatched_in_sample += other.dispatched_in_sample;
        self.dispatched_held_out += other.dispatched_held_out;
    }
}
