//! Where the bytes are: the heap over time, and at its peak by category, by the
//! place that made them and by kind.
//!
//! It owns the order of the passes and the checks between them: looking on changes
//! no figure, and what lies in the heap at the peak is what the ledger says. It
//! refuses to print, and to profile a wrong answer.

pub mod document;
pub mod watch;

use std::collections::BTreeMap;

use scruple_bytecode::image::Image;
use scruple_vm::{Book, Category, Ledger};

use crate::build;
use crate::document::{HeapBytes, Lab, RowError, Stage, Way};
use crate::machine::{self, Run, Setup};
use crate::measure::{BUDGET, check_answer, output_of, refused, resolution};
use crate::options::REGION;
use crate::script::Script;
use crate::station::Output;
use crate::trace::function_name;

use document::{Document, KindBytes, Peak, PeakOf, Place, SCHEMA, Site};
use watch::{Snapshot, Watch, Which};

/// How many samples there are at most, unless asked otherwise.
const MOST_SAMPLES: u64 = 200;

/// How many samples there may be at all.
const MOST_ASKED: u64 = 100_000;

/// Profiles one script, on a thread with stack enough: see
/// [`build::on_large_stack`]. Samples are a round number of instructions apart, or
/// as many as asked for.
pub fn profile(
    script: &Script,
    way: Way,
    which: Which,
    step: Option<u64>,
) -> Result<Document, RowError> {
    let built = build::build(script, way.encoding).map_err(|wrong| refused(&wrong))?;
    profile_image(script, &built.image, way, which, step)
}

/// Profiles an image of a script.
pub fn profile_image(
    script: &Script,
    image: &[u8],
    way: Way,
    which: Which,
    step: Option<u64>,
) -> Result<Document, RowError> {
    let opened = script
        .options
        .open(image)
        .map_err(|error| RowError::new(Stage::Compile, error.to_string()))?;
    let pass = |collect_every, watch| run(script, image, way, collect_every, watch);
    let mut first = pass(usize::MAX, Watch::first(which));
    let printed = output_of(&first)?.to_owned();
    if let Some(expected) = &script.expected {
        check_answer(expected, &printed)?;
    }
    let (mut collect_every, mut peak_of) = (usize::MAX, PeakOf::HighWater);
    if which == Which::Live {
        let resolution = resolution(&first.ledger);
        collect_every = resolution as usize;
        peak_of = PeakOf::Live { resolution };
        first = pass(collect_every, Watch::first(which));
        is_same(&printed, output_of(&first)?)?;
    }
    let step = step.unwrap_or_else(|| round_step(first.instructions));
    if first.instructions / step.max(1) > MOST_ASKED {
        let message = format!("more than {MOST_ASKED} samples: ask for a longer step");
        return Err(RowError::new(Stage::Run, message));
    }
    let second = pass(collect_every, first.observer.second(step));
    is_same(&printed, output_of(&second)?)?;
    let is_alike =
        first.instructions == second.instructions && alike(&first.ledger) == alike(&second.ledger);
    let Run { observer, instructions, ledger, .. } = second;
    let found = observer.finish(instructions).filter(|_| is_alike);
    let Some((timeline, snapshot)) = found else {
        return Err(wrong("two runs that are watched did not do the same"));
    };
    let peak = peak(&opened, &snapshot);
    let book = match which {
        Which::HighWater => ledger.high_water(),
        Which::Live => ledger.live_peak(),
    };
    let document = Document {
        schema: SCHEMA,
        lab: Lab::here(),
        script: script.name.clone(),
        encoding: way.encoding.name().to_owned(),
        layout: way.layout,
        answer_checked: script.expected.is_some(),
        instructions,
        allocations: ledger.allocations(),
        allocated_bytes: ledger.allocated(),
        collections: ledger.collections(),
        peak_of,
        peak,
        step_instructions: step,
        timeline,
    };
    if !ledger.audit() || document.peak.heap != book.into() || !document.adds_up() {
        return Err(wrong("what lies in the heap is not what its books say"));
    }
    Ok(document)
}

fn wrong(message: &str) -> RowError {
    RowError::new(Stage::Agreement, message.to_owned())
}

fn is_same(one: &str, other: &str) -> Result<(), RowError> {
    if one == other { Ok(()) } else { Err(wrong("two runs did not print the same")) }
}

/// What two runs must have alike.
fn alike(ledger: &Ledger) -> (Book, Book, u64, u64) {
    (*ledger.high_water(), *ledger.live_peak(), ledger.allocations(), ledger.collections())
}

fn run(
    script: &Script,
    image: &[u8],
    way: Way,
    collect_every: usize,
    observer: Watch,
) -> Run<Watch> {
    let setup = Setup {
        image,
        region: REGION,
        feed: script.feed.clone(),
        limits: script.options.limits(BUDGET),
        collect_every,
        output: Output::kept(),
        observer,
    };
    machine::run_over(way.layout, setup)
}

/// A number of instructions that is 1, 2 or 5 times a power of ten, and gives at
/// most [`MOST_SAMPLES`].
fn round_step(instructions: u64) -> u64 {
    let mut power = 1;
    loop {
        for digit in [1, 2, 5] {
            let step = digit * power;
            if instructions.div_ceil(step) <= MOST_SAMPLES {
                return step;
            }
        }
        power *= 10;
    }
}

/// Sums the blocks up by place and by kind.
fn peak(image: &Image<'_>, snapshot: &Snapshot) -> Peak {
    let mut by_offset: BTreeMap<Option<usize>, (u64, u64)> = BTreeMap::new();
    let mut by_kind: BTreeMap<&str, (Category, u64, u64)> = BTreeMap::new();
    for &(block, at) in &snapshot.blocks {
        let bytes = block.bytes as u64;
        let sum = by_offset.entry(at).or_default();
        *sum = (sum.0 + 1, sum.1 + bytes);
        let sum = by_kind.entry(block.kind.name()).or_insert((block.kind.category(), 0, 0));
        *sum = (sum.0, sum.1 + 1, sum.2 + bytes);
    }
    let mut by_place: BTreeMap<Place, (u64, u64)> = BTreeMap::new();
    for (at, (blocks, bytes)) in by_offset {
        let sum = by_place.entry(place(image, at)).or_default();
        *sum = (sum.0 + blocks, sum.1 + bytes);
    }
    let site = |(place, (blocks, bytes))| Site { place, blocks, bytes };
    let mut sites: Vec<Site> = by_place.into_iter().map(site).collect();
    let kind = |(kind, (category, blocks, bytes)): (&str, (Category, u64, u64))| KindBytes {
        kind: kind.to_owned(),
        category: category.name().to_owned(),
        blocks,
        bytes,
    };
    let mut kinds: Vec<KindBytes> = by_kind.into_iter().map(kind).collect();
    // Both sorts are stable: what is equal stays in the order of its name.
    sites.sort_by_key(|site| std::cmp::Reverse(site.bytes));
    kinds.sort_by_key(|kind| std::cmp::Reverse(kind.bytes));
    Peak {
        instructions: snapshot.instructions,
        place: place(image, snapshot.at),
        heap: snapshot.heap,
        sites,
        kinds,
    }
}

fn place(image: &Image<'_>, at: Option<usize>) -> Place {
    let Some(at) = at else { return Place::default() };
    Place {
        line: image.position(at).map(|position| position.line),
        function: image.function_at(at).map(|id| function_name(image, id)),
    }
}

impl HeapBytes {
    /// A book that leaves the stack out, with these bytes of stack.
    pub(crate) fn with_stack(book: &Book, stack: u64) -> HeapBytes {
        let without = HeapBytes::from(book);
        HeapBytes { total: without.total + stack, stack: without.stack + stack, ..without }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_give_few_samples() {
        assert_eq!(round_step(0), 1);
        assert_eq!(round_step(200), 1);
        assert_eq!(round_step(201), 2);
        assert_eq!(round_step(2000), 10);
        assert_eq!(round_step(36_455_723), 200_000);
        for instructions in [1, 999, 12_345, 1 << 40] {
            let step = round_step(instructions);
            assert!(instructions.div_ceil(step) <= MOST_SAMPLES);
        }
    }
}
