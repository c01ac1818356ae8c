//! What `fit` says, as it goes out and comes back in.
//!
//! It owns the wire form: its schema is `schema/fit.json`, with the version below.
//! It refuses to measure and to lay out.

use serde::{Deserialize, Serialize};

use crate::board::{Board, Place};
use crate::document::{Lab, RowError, Way};
use crate::layout::HeapLayout;
use crate::machine;

/// The version of the wire form. It changes when a field changes its meaning or
/// goes; a field that comes does not change it.
pub const SCHEMA: u32 = 1;

/// Everything one call says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// The version of this form.
    pub schema: u32,
    /// What ran the scripts.
    pub lab: Lab,
    /// Bytes of the machine's registers on the host that ran the scripts: not part
    /// of a region, and another number where pointers have another size.
    pub machine_bytes_here: u64,
    /// The board that the scripts were held against.
    pub board: Option<Board>,
    /// A row a script and layout.
    pub rows: Vec<Row>,
}

/// One script over one layout: what it needs, or an error.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Row {
    /// The script.
    pub script: String,
    /// The encoding's name.
    pub encoding: String,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// Bytes of a cell of that layout: how exact a region is.
    pub cell_bytes: u64,
    /// Whether what it printed was compared with what it must print.
    pub answer_checked: bool,
    /// What went wrong, if something did.
    pub error: Option<RowError>,
    /// What it needs, if nothing did.
    pub needs: Option<Needs>,
    /// How that lies on the board, if there is one.
    pub verdict: Option<Verdict>,
}

/// What a script needs to run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Needs {
    /// Bytes of its image: flash.
    pub image_bytes: u64,
    /// Bytes of the smallest region that it runs in.
    pub region_bytes: u64,
    /// In every region tried from here on it ran.
    pub steady_bytes: u64,
    /// Whether these two are one: no larger region tried failed.
    pub is_monotonous: bool,
    /// Whether every region was tried, up to one that was as good as the usual
    /// one; else the halves and the neighbours of the border.
    pub is_exhaustive: bool,
    /// Regions tried.
    pub n_tries: u64,
    /// The largest region that failed.
    pub witness: Option<Witness>,
}

/// A region that was too small.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Witness {
    /// Its bytes.
    pub region_bytes: u64,
    /// What found no room.
    pub limit: Limit,
    /// How many bytes that wanted, where it was an allocation or the verifier.
    pub wanted_bytes: Option<u64>,
    /// Where in the image's code, if it ran.
    pub code_offset: Option<u64>,
    /// The source line, if the image has a line table.
    pub line: Option<u32>,
    /// The column in code points, from 1.
    pub column: Option<u32>,
}

/// What can find no room.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Limit {
    /// An allocation.
    Heap,
    /// A frame, or a value on the stack.
    Stack,
    /// The verifier, before the script ran.
    Verifier,
    /// The script's globals, before it ran.
    Globals,
}

/// How a script lies on a board.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verdict {
    /// Whether it fits in both.
    pub fits: bool,
    /// Its image in flash.
    pub flash: Place,
    /// Its region in RAM: the steady one.
    pub ram: Place,
    /// What takes less of what is missing, each measured. Empty where it fits.
    pub help: Vec<Help>,
}

/// Another image of the same script, or another layout of the heap.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Help {
    /// The encoding's name.
    pub encoding: String,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// Whether it has a line table.
    pub has_lines: bool,
    /// Its image in flash.
    pub flash: Place,
    /// Its region in RAM.
    pub ram: Place,
    /// Whether it fits in both.
    pub fits: bool,
}

impl Document {
    /// A document of these rows.
    pub fn new(board: Option<Board>, rows: Vec<Row>) -> Document {
        Document {
            schema: SCHEMA,
            lab: Lab::here(),
            machine_bytes_here: machine::machine_bytes() as u64,
            board,
            rows,
        }
    }

    /// Whether every script was measured.
    pub fn is_complete(&self) -> bool {
        self.rows.iter().all(|row| row.error.is_none())
    }

    /// Whether every script was measured and fits.
    pub fn all_fit(&self) -> bool {
        self.rows.iter().all(|row| row.verdict.as_ref().is_some_and(|verdict| verdict.fits))
    }
}

impl Row {
    /// A row without figures yet.
    pub(super) fn new(script: &str, way: Way, answer_checked: bool) -> Row {
        Row {
            script: script.to_owned(),
            encoding: way.encoding.name().to_owned(),
            layout: way.layout,
            cell_bytes: way.layout.cell_bytes() as u64,
            answer_checked,
            error: None,
            needs: None,
            verdict: None,
        }
    }

    pub(super) fn failed(self, error: RowError) -> Row {
        Row { error: Some(error), ..self }
    }
}
