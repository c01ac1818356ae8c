//! Parity: what the board counts is what the host counts, to the byte and to the
//! instruction.
//!
//! It owns the runs of a script on the board: one with all the RAM there is, one
//! with the collections of the host's live peak, one in the least region. It
//! refuses to give a figure beside a difference.

use std::collections::BTreeSet;

use anyhow::{Context, Result};
use rayon::prelude::*;
use scruple_bytecode::Encoding;
use scruple_vm::Counter;

use super::boards::Board;
use super::document::{Document, OnBoard, Ram, Row};
use super::firmware::{Build, Firmware, Ran};
use super::parcel::Parcel;
use super::parts::Parts;
use super::row::BoardRow;
use crate::build::{self, STACK_BYTES};
use crate::document::{
    Document as Weighed, Figures, HeapBytes, Row as WeighedRow, RowError, Stage,
};
use crate::fit;
use crate::layout::HeapLayout;
use crate::machine::{self, Setup};
use crate::measure::{self, BUDGET, Plan};
use crate::options::REGION;
use crate::script::{Candidate, Script};
use crate::station::Output;

/// Room for timers in the runs that find out how many wait at once.
const MOST_TIMERS: u16 = 64;

/// The most bytes that the collections of a live peak may walk on the board: an
/// emulated instruction takes some nanoseconds, and a cell some ten instructions.
const LIVE_WORK: u64 = 100_000_000;

/// How deep a source may nest when it is compiled on the board.
const MAX_NESTING: u32 = 64;

/// What is to be run, and how.
#[derive(Clone, Debug)]
pub struct Asked {
    /// The board.
    pub board: Board,
    /// With the families of built-ins beyond the core ones.
    pub families: bool,
    /// The encodings.
    pub plan: Plan,
    /// Compile the sources on the board.
    pub compile: bool,
    /// Look for all RAM, in the least region.
    pub ram: bool,
    /// Hold the live peak against the host's too, where that can be paid for.
    pub live_peak: bool,
}

/// Runs every script on host and board and compares. `done` is called after each
/// row, on host and board.
pub fn run_all(
    candidates: &[Candidate],
    asked: &Asked,
    done: &(dyn Fn() + Sync),
) -> Result<Document> {
    let pairs: Vec<(&Candidate, Encoding)> = candidates
        .iter()
        .flat_map(|one| asked.plan.ways_of(one).into_iter().map(move |way| (one, way.encoding)))
        .collect();
    let encodings: BTreeSet<Encoding> = pairs.iter().map(|&(_, encoding)| encoding).collect();
    let build = Build {
        board: asked.board,
        compiler: asked.compile,
        families: asked.families,
        encodings: encodings.into_iter().collect(),
    };
    let firmware = Firmware::build(&build)?;
    let parts = Parts::of(&firmware.elf)?;
    let Weighed { rows, .. } = measure::weigh(candidates, &asked.plan, done);
    let run_all = || {
        // One by one: some scripts take a thousand times as long as others.
        let rows =
            pairs.par_iter().zip(rows).with_max_len(1).map(|(&(candidate, encoding), weighed)| {
                let row = match &candidate.script {
                    Ok(script) => run_one(&firmware, script, encoding, weighed, asked),
                    Err(_) => Row { weighed, board: None },
                };
                done();
                row
            });
        rows.collect()
    };
    // Scripts need more stack than a pool's threads have by default.
    let pool = rayon::ThreadPoolBuilder::new().stack_size(STACK_BYTES).build();
    let rows: Vec<Row> = pool.context("no threads to run on")?.install(run_all);
    Ok(Document::new(asked.board, parts, rows))
}

fn run_one(
    firmware: &Firmware,
    script: &Script,
    encoding: Encoding,
    weighed: WeighedRow,
    asked: &Asked,
) -> Row {
    let Some(figures) = &weighed.figures else { return Row { weighed, board: None } };
    match compare(firmware, script, encoding, figures, asked) {
        Ok(board) => Row { weighed, board: Some(board) },
        Err(error) => {
            let weighed = WeighedRow { error: Some(error), figures: None, ..weighed };
            Row { weighed, board: None }
        }
    }
}

fn compare(
    firmware: &Firmware,
    script: &Script,
    encoding: Encoding,
    host: &Figures,
    asked: &Asked,
) -> Result<OnBoard, RowError> {
    let built = build::build(script, encoding).map_err(|wrong| measure::refused(&wrong))?;
    let on = OneScript { firmware, script, encoding, image: &built.image, asked };
    let printed = match &script.expected {
        Some(expected) => expected.clone(),
        None => on.printed_by_host()?,
    };
    let free = on.run(&Free::default(), "")?;
    let n_timers = free.timers_peak as u16;
    let mut differences = differences(host, &free);
    let resolution = host.live_peak_resolution;
    let collections = match resolution {
        0 => host.allocations,
        resolution => host.allocated_bytes / resolution,
    };
    let with_live = asked.live_peak && collections * host.heap_high_water.total <= LIVE_WORK;
    on.check(&free.output, &printed)?;
    if with_live {
        let every = u32::try_from(resolution).unwrap_or(u32::MAX);
        let free = Free { collect_every: every, n_timers, ..Free::default() };
        let collected = on.run(&free, "with the collections of the live peak: ")?;
        on.check(&collected.output, &printed)?;
        differences.extend(peaks("live peak", &host.live_peak, &collected.row.live_peak));
    }
    if !differences.is_empty() {
        let list: Vec<String> = differences
            .iter()
            .map(|(name, host, board)| format!("{name} {host} on the host, {board} on the board"))
            .collect();
        return Err(RowError::new(Stage::Agreement, list.join("; ")));
    }
    let ram = if asked.ram {
        // The steady size: a region a little larger than the least may be too
        // small again.
        let region = fit::needs(script, &built.image, HeapLayout::Narrow)?.steady_bytes;
        let region = u32::try_from(region).unwrap_or(u32::MAX);
        let free = Free { region, n_timers, ..Free::default() };
        let least = on.run(&free, "in the least region: ")?;
        on.check(&least.output, &printed)?;
        Some(Ram::new(&least.row))
    } else {
        None
    };
    Ok(OnBoard::new(&free.row, with_live, ram))
}

/// What may be varied between runs.
struct Free {
    region: u32,
    collect_every: u32,
    n_timers: u16,
}

impl Default for Free {
    fn default() -> Self {
        Free { region: REGION as u32, collect_every: u32::MAX, n_timers: MOST_TIMERS }
    }
}

/// A script with all that its runs have in common.
struct OneScript<'a> {
    firmware: &'a Firmware,
    script: &'a Script,
    encoding: Encoding,
    image: &'a [u8],
    asked: &'a Asked,
}

impl OneScript<'_> {
    fn run(&self, free: &Free, when: &str) -> Result<Ran, RowError> {
        let limits = self.script.options.limits(BUDGET);
        let is_source = self.asked.compile && self.script.packed.is_none();
        let feed = self.script.feed.to_csv();
        let parcel = Parcel {
            script: if is_source { self.script.text.as_bytes() } else { self.image },
            is_source,
            feed: feed.as_bytes(),
            region: free.region,
            collect_every: free.collect_every,
            // As on the host: what is alive does not hang on how much there may be.
            heap_limit: match free.collect_every {
                u32::MAX => u32::try_from(limits.heap).unwrap_or(u32::MAX),
                _ => u32::MAX,
            },
            stack_limit: u32::try_from(limits.stack).unwrap_or(u32::MAX),
            nesting_limit: self.asked.board.nesting,
            n_timers: free.n_timers,
            max_nesting: MAX_NESTING,
            encoding: self.encoding as u8,
            lines: true,
            budget: limits.budget,
            until: limits.until,
        };
        let fail = |message| RowError::new(Stage::Run, format!("on the board, {when}{message}"));
        let ran = self.firmware.run(&parcel).map_err(|error| fail(format!("{error:#}")))?;
        match ran.row.end() {
            Some(end) => Err(fail(end)),
            None => Ok(ran),
        }
    }

    fn check(&self, output: &str, printed: &str) -> Result<(), RowError> {
        measure::check_answer(printed, output).map_err(|error| RowError {
            message: format!("on the board, {}", error.message),
            ..error
        })
    }

    fn printed_by_host(&self) -> Result<String, RowError> {
        let setup = Setup {
            image: self.image,
            region: REGION,
            feed: self.script.feed.clone(),
            limits: self.script.options.limits(BUDGET),
            collect_every: usize::MAX,
            output: Output::kept(),
            observer: Counter::default(),
        };
        let run = machine::count(HeapLayout::Narrow, setup);
        measure::output_of(&run).map(str::to_owned)
    }
}

impl std::ops::Deref for Ran {
    type Target = BoardRow;

    fn deref(&self) -> &BoardRow {
        &self.row
    }
}

type Difference = (String, u64, u64);

fn differences(host: &Figures, board: &BoardRow) -> Vec<Difference> {
    let counts = [
        ("instructions", host.instructions, board.instructions),
        ("operations", host.operations, board.operations),
        ("fetched bytes", host.fetched_bytes, board.fetched_bytes),
        ("stack peak", host.stack_peak, board.stack_peak),
        ("allocations", host.allocations, board.allocations),
        ("allocated bytes", host.allocated_bytes, board.allocated_bytes),
        ("books that add up", 1, u64::from(board.adds_up)),
    ];
    let unlike = counts.into_iter().filter(|(_, host, board)| host != board);
    let mut differences: Vec<Difference> =
        unlike.map(|(name, host, board)| (name.to_owned(), host, board)).collect();
    differences.extend(peaks("high-water", &host.heap_high_water, &board.heap_high_water));
    differences
}

fn peaks(of: &str, host: &HeapBytes, board: &HeapBytes) -> Vec<Difference> {
    let total = (of.to_owned(), host.total, board.total);
    let pairs = host.by_category().into_iter().zip(board.by_category());
    let categories = pairs.map(|((name, host), (_, board))| (format!("{of}, {name}"), host, board));
    std::iter::once(total).chain(categories).filter(|(_, host, board)| host != board).collect()
}
