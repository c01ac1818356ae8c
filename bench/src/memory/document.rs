//! What `memory` says, as it goes out and comes back in.
//!
//! It owns the wire form (its schema is `schema/memory.json`, with the version
//! below) and its identities: sites, kinds and categories of the peak add up to one
//! sum. It refuses to measure and to lay out.

use serde::{Deserialize, Serialize};

use crate::document::{HeapBytes, Lab};
use crate::layout::HeapLayout;

/// The version of the wire form. It changes when a field changes its meaning or
/// goes; a field that comes does not change it.
pub const SCHEMA: u32 = 1;

/// The memory of one run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// The version of this form.
    pub schema: u32,
    /// What ran the script.
    pub lab: Lab,
    /// The script.
    pub script: String,
    /// The encoding's name.
    pub encoding: String,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// Whether what it printed was compared with what it must print.
    pub answer_checked: bool,
    /// Instructions carried out.
    pub instructions: u64,
    /// Blocks allocated.
    pub allocations: u64,
    /// Bytes of those blocks.
    pub allocated_bytes: u64,
    /// Collections.
    pub collections: u64,
    /// Which peak was looked for, and with it how the run collected.
    pub peak_of: PeakOf,
    /// The state at the peak.
    pub peak: Peak,
    /// Instructions between two samples.
    pub step_instructions: u64,
    /// The samples, the last one at the end of the run.
    pub timeline: Vec<Sample>,
}

/// Which peak was looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PeakOf {
    /// Most bytes at once, garbage included, in a run that collects as usual.
    HighWater,
    /// Most bytes reachable at once.
    Live {
        /// Bytes allocated between two collections; 0: every allocation collected.
        resolution: u64,
    },
}

/// One step of the run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sample {
    /// Instructions carried out at its end.
    pub instructions: u64,
    /// The state within it that had most bytes. Between two allocations or calls
    /// the stack counts as it was at the first of them.
    pub heap: HeapBytes,
}

/// The state at the peak.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Peak {
    /// Instructions carried out until then.
    pub instructions: u64,
    /// Where that is: nothing in it if no instruction ran.
    pub place: Place,
    /// Its bytes by category.
    pub heap: HeapBytes,
    /// The bytes of its blocks by the place that made them, the largest first: all
    /// but stack and collector.
    pub sites: Vec<Site>,
    /// The same bytes by kind of block, the largest first.
    pub kinds: Vec<KindBytes>,
}

/// A place in a script.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Place {
    /// The source line, if the image has a line table.
    pub line: Option<u32>,
    /// The function's name, or `(script)`; nothing where no instruction ran.
    pub function: Option<String>,
}

/// What lies in blocks that one place made. A block that grew where it lies counts
/// where it was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Site {
    /// The place.
    pub place: Place,
    /// How many blocks.
    pub blocks: u64,
    /// Their bytes.
    pub bytes: u64,
}

/// What lies in blocks of one kind.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KindBytes {
    /// The kind's name.
    pub kind: String,
    /// The category it is booked under.
    pub category: String,
    /// How many blocks.
    pub blocks: u64,
    /// Their bytes.
    pub bytes: u64,
}

/// The largest sites of a peak, and the sum of the others.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LargestSites {
    /// The largest ones.
    pub largest: Vec<Site>,
    /// How many others there are.
    pub other_sites: u64,
    /// Their blocks.
    pub other_blocks: u64,
    /// Their bytes.
    pub other_bytes: u64,
}

impl Document {
    /// Whether every split adds up and the samples reach the peak and no more.
    pub fn adds_up(&self) -> bool {
        let heaps = || self.timeline.iter().map(|sample| &sample.heap);
        let ends = || self.timeline.iter().map(|sample| sample.instructions);
        let highest = heaps().map(|heap| heap.total).max().unwrap_or(0);
        self.peak.adds_up()
            && heaps().all(HeapBytes::adds_up)
            && ends().zip(ends().skip(1)).all(|(one, next)| one <= next)
            && ends().next_back() == Some(self.instructions)
            && match self.peak_of {
                PeakOf::HighWater => highest == self.peak.heap.total,
                // Before each collection there is more.
                PeakOf::Live { .. } => highest >= self.peak.heap.total,
            }
    }
}

impl Peak {
    /// Bytes of all blocks: the peak without stack and collector.
    pub fn block_bytes(&self) -> u64 {
        self.heap.total - self.heap.stack - self.heap.collector
    }

    /// Whether categories, sites and kinds add up to the same, and each category to
    /// its kinds.
    pub fn adds_up(&self) -> bool {
        let sites: u64 = self.sites.iter().map(|site| site.bytes).sum();
        let of = |name: &str| -> u64 {
            let own = self.kinds.iter().filter(|kind| kind.category == name);
            own.map(|kind| kind.bytes).sum()
        };
        let mut categories = self.heap.by_category().into_iter();
        self.heap.adds_up()
            && sites == self.block_bytes()
            && categories.all(|(name, bytes)| match name {
                "stack" | "collector" => of(name) == 0,
                _ => of(name) == bytes,
            })
    }

    /// The largest sites, and the sum of the others.
    pub fn largest(&self, n: usize) -> LargestSites {
        let (largest, others) = self.sites.split_at(n.min(self.sites.len()));
        LargestSites {
            largest: largest.to_vec(),
            other_sites: others.len() as u64,
            other_blocks: others.iter().map(|site| site.blocks).sum(),
            other_bytes: others.iter().map(|site| site.bytes).sum(),
        }
    }
}

impl Place {
    /// As text for people.
    pub fn describe(&self) -> String {
        match (self.line, &self.function) {
            (Some(line), Some(function)) => format!("line {line} in {function}"),
            (None, Some(function)) => format!("in {function}"),
            (_, None) => "outside the script".to_owned(),
        }
    }
}

impl LargestSites {
    /// Bytes of all sites.
    pub fn total_bytes(&self) -> u64 {
        self.largest.iter().map(|site| site.bytes).sum::<u64>() + self.other_bytes
    }
}
