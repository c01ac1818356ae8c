//! An observer of the memory: when the peak is, and what lies where then.
//!
//! It owns two passes over the same run. The first finds the event at which the
//! peak rose for the last time; the second, which is the same to the instruction,
//! stops there to go through the heap, and samples it on the way. Keeping every
//! state of the first pass instead would take memory without end. It refuses to
//! name places in the source: it keeps offsets.

use std::collections::HashMap;

use scruple_vm::{Block, Booking, Change, Changes, Host, Kind, Layout, Ledger, Observer, Vm};

use crate::document::HeapBytes;

use super::document::Sample;

/// Which peak is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// Most bytes at once, garbage included.
    HighWater,
    /// Most bytes reachable at once.
    Live,
}

impl Which {
    fn of(self, ledger: &Ledger) -> u32 {
        match self {
            Which::HighWater => ledger.high_water().total(),
            Which::Live => ledger.live_peak().total(),
        }
    }
}

/// Watches the memory of a run.
#[derive(Debug)]
pub struct Watch {
    which: Which,
    /// Events so far.
    n_events: u64,
    /// The highest the peak has been.
    highest: u32,
    /// The event at which it became so.
    found: u64,
    record: Option<Record>,
}

/// What the second pass keeps.
#[derive(Debug)]
struct Record {
    /// The event to stop at.
    wanted: u64,
    /// Where each block was made, by its first cell: an offset in the code, or
    /// nothing where no instruction ran. A cell that begins another block has that
    /// one's place: what is freed need not be forgotten.
    places: HashMap<usize, Option<usize>>,
    /// The cells of all blocks, while they are moved.
    moving: Vec<usize>,
    /// Instructions between two samples.
    step: u64,
    timeline: Vec<Sample>,
    /// The highest state of the present step, and the state after the last event.
    highest: HeapBytes,
    last: HeapBytes,
    snapshot: Option<Snapshot>,
}

/// The heap at the peak.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// Instructions carried out until then.
    pub instructions: u64,
    /// Where the running instruction is in the code, if one runs.
    pub at: Option<usize>,
    /// The bytes by category, as the ledger has them.
    pub heap: HeapBytes,
    /// Every block, and where it was made.
    pub blocks: Vec<(Block, Option<usize>)>,
}

impl Watch {
    /// A first pass.
    pub fn first(which: Which) -> Watch {
        Watch { which, n_events: 0, highest: 0, found: 0, record: None }
    }

    /// The second pass: samples so many instructions apart, at least one.
    pub fn second(&self, step: u64) -> Watch {
        let record = Record {
            wanted: self.found,
            places: HashMap::new(),
            moving: Vec::new(),
            step: step.max(1),
            timeline: Vec::new(),
            highest: HeapBytes::default(),
            last: HeapBytes::default(),
            snapshot: None,
        };
        Watch { record: Some(record), ..Watch::first(self.which) }
    }

    /// What a second pass found: the samples up to the run's last instruction, and
    /// the heap at the peak.
    pub fn finish(self, instructions: u64) -> Option<(Vec<Sample>, Snapshot)> {
        let mut record = self.record?;
        record.go_on_to(instructions);
        match record.timeline.last_mut() {
            // The run ends with a step: what came behind its last instruction is
            // part of that.
            Some(last) if last.instructions == instructions => {
                if record.highest.total > last.heap.total {
                    last.heap = record.highest;
                }
            }
            _ => record.push(instructions),
        }
        Some((record.timeline, record.snapshot?))
    }
}

impl Record {
    /// Closes the steps that end at this instruction or before it.
    fn go_on_to(&mut self, instructions: u64) {
        loop {
            let end = (self.timeline.len() as u64 + 1).saturating_mul(self.step);
            if instructions < end {
                break;
            }
            self.push(end);
        }
    }

    fn push(&mut self, instructions: u64) {
        self.timeline.push(Sample { instructions, heap: self.highest });
        self.highest = self.last;
    }

    fn note(&mut self, instructions: u64, heap: HeapBytes) {
        self.go_on_to(instructions);
        if heap.total > self.highest.total {
            self.highest = heap;
        }
        self.last = heap;
    }
}

impl Observer for Watch {
    type Tally = ();
    type Wants = Changes;

    #[inline(always)]
    fn count((): &mut (), _: usize) {}

    fn absorb(&mut self, (): ()) {}

    fn booked<L: Layout, H: Host<Observer = Self>>(vm: &mut Vm<'_, L, H>, booking: Booking) {
        let (ledger, instructions) = (vm.ledger().clone(), vm.instructions());
        let at = vm.running().map(|(_, at)| at);
        let watch = vm.host_mut().observer();
        watch.n_events += 1;
        let peak = watch.which.of(&ledger);
        if peak > watch.highest {
            watch.highest = peak;
            watch.found = watch.n_events;
        }
        let is_here = watch.record.as_ref().is_some_and(|record| record.wanted == watch.n_events);
        let Some(mut record) = watch.record.take() else { return };
        match booking.change {
            Change::Made(cell) => {
                record.places.insert(cell, at);
            }
            Change::Moving => record.moving = vm.blocks().map(|block| block.cell).collect(),
            Change::Moved => {
                let places = std::mem::take(&mut record.places);
                let cells = std::mem::take(&mut record.moving).into_iter();
                let moved = cells.zip(vm.blocks().map(|block| block.cell));
                let place = |(from, to)| Some((to, *places.get(&from)?));
                record.places = moved.filter_map(place).collect();
            }
            Change::Asked | Change::Grew(_) | Change::Entered => {}
        }
        let heap = HeapBytes::with_stack(ledger.now(), booking.stack_bytes as u64);
        record.note(instructions, heap);
        if is_here {
            // A shape is made by the collector, for no place in the script.
            let place = |block: Block| match block.kind {
                Kind::Shape => (block, None),
                _ => (block, record.places.get(&block.cell).copied().flatten()),
            };
            let blocks = vm.blocks().map(place).collect();
            record.snapshot = Some(Snapshot { instructions, at, heap, blocks });
        }
        vm.host_mut().observer().record = Some(record);
    }
}
