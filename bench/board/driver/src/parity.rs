//! Parity: what the board counts is what the host counts, to the byte and to the
//! instruction.
//!
//! It owns the two runs of a script on the board, as the host has two, and the
//! comparison. A script that the board has no room for is no difference: it says
//! so itself, and is told apart.

use std::path::Path;

use anyhow::{Result, anyhow};
use scruple_bench::build::{self, Built};
use scruple_bench::document::Figures;
use scruple_bench::measure::{self, BUDGET};
use scruple_bench::script::Script;
use scruple_bytecode::Encoding;

use crate::firmware::{Firmware, Parcel, Ran};
use crate::row::BoardRow;

/// What a script needs besides itself.
#[derive(Clone, Copy, Debug)]
pub struct Means<'a> {
    /// Its sensor readings, as text.
    pub feed: &'a str,
    /// Timers to keep room for.
    pub n_timers: u16,
    /// How deep built-ins and scripts may call one another on this board.
    pub nesting_limit: u16,
    /// How deep a source may nest for the compiler on this board.
    pub max_nesting: u32,
    /// Compile on the board.
    pub on_board: bool,
    /// Skip the run for the live peak if it would collect more often than this.
    pub most_collections: u64,
}

/// How a script fared.
#[derive(Clone, Debug)]
pub enum Verdict {
    /// Every figure is the host's.
    Agrees,
    /// Every figure but the live peak, which was not asked for.
    AgreesWithoutLive,
    /// These differ: name, host, board.
    Differs(Vec<(&'static str, u64, u64)>),
    /// The output does.
    Printed,
    /// The board has no room, or some other end.
    Ended(String),
}

/// What came of a script.
#[derive(Debug)]
pub struct Compared {
    /// The host's figures.
    pub host: Figures,
    /// The board's row of the first run.
    pub board: BoardRow,
    /// How it fared.
    pub verdict: Verdict,
}

/// Runs a script on host and board and compares.
pub fn compare(
    firmware: &Firmware,
    script: &Script,
    encoding: Encoding,
    means: Means<'_>,
    scratch: &Path,
) -> Result<Compared> {
    let host = measure::measure(script, encoding).map_err(|error| anyhow!(error.describe()))?;
    let built = build::build(script, encoding).map_err(|_| anyhow!("does not compile"))?;
    let first = run(firmware, script, &built, encoding, means, u32::MAX, scratch)?;
    if let Some(end) = end(&first.row) {
        return Ok(Compared { host, board: first.row, verdict: Verdict::Ended(end) });
    }
    let wrong = script.expected.as_ref().is_some_and(|expected| *expected != first.output);
    if wrong {
        return Ok(Compared { host, board: first.row, verdict: Verdict::Printed });
    }
    let mut differences = differences(&host, &first.row);
    let resolution = host.live_peak_resolution;
    let collections = match resolution {
        0 => host.allocations,
        resolution => host.allocated_bytes / resolution,
    };
    let with_live = collections <= means.most_collections;
    if with_live {
        let every = u32::try_from(resolution).unwrap_or(u32::MAX);
        let second = run(firmware, script, &built, encoding, means, every, scratch)?;
        match end(&second.row) {
            Some(end) => {
                let verdict = Verdict::Ended(format!("{end}, with all collections"));
                return Ok(Compared { host, board: first.row, verdict });
            }
            None => differences.extend(pairs(
                "live peak",
                &host.live_peak.list(),
                &second.row.live_peak.list(),
            )),
        }
    }
    let verdict = match (differences.is_empty(), with_live) {
        (true, true) => Verdict::Agrees,
        (true, false) => Verdict::AgreesWithoutLive,
        (false, _) => Verdict::Differs(differences),
    };
    Ok(Compared { host, board: first.row, verdict })
}

/// Runs a script on the board.
pub fn run(
    firmware: &Firmware,
    script: &Script,
    built: &Built,
    encoding: Encoding,
    means: Means<'_>,
    collect_every: u32,
    scratch: &Path,
) -> Result<Ran> {
    let limits = script.options.limits(BUDGET);
    let parcel = Parcel {
        script: if means.on_board { script.text.as_bytes() } else { &built.image },
        is_source: means.on_board,
        feed: means.feed.as_bytes(),
        collect_every,
        heap_limit: u32::try_from(limits.heap).unwrap_or(u32::MAX),
        stack_limit: u32::try_from(limits.stack).unwrap_or(u32::MAX),
        nesting_limit: means.nesting_limit,
        n_timers: means.n_timers,
        max_nesting: means.max_nesting,
        encoding: encoding as u8,
        lines: true,
        budget: limits.budget,
        until: limits.until,
    };
    firmware.run(&parcel, scratch)
}

fn end(row: &BoardRow) -> Option<String> {
    let stage = row.error_stage.as_ref()?;
    let error = row.error.as_deref().unwrap_or_default();
    Some(match row.failed_bytes {
        Some(bytes) => format!("{stage}: {error} ({bytes} bytes)"),
        None => format!("{stage}: {error}"),
    })
}

type Named = [(&'static str, u64); 12];

fn differences(host: &Figures, board: &BoardRow) -> Vec<(&'static str, u64, u64)> {
    let counts = [
        ("instructions", host.instructions, board.instructions),
        ("fetched bytes", host.fetched_bytes, board.fetched_bytes),
        ("stack peak", host.stack_peak, board.stack_peak),
        ("allocations", host.allocations, board.allocations),
        ("allocated bytes", host.allocated_bytes, board.allocated_bytes),
        ("books that add up", 1, u64::from(board.adds_up)),
    ];
    let mut differences: Vec<_> = counts.into_iter().filter(|(_, a, b)| a != b).collect();
    differences.extend(pairs(
        "heap high-water",
        &host.heap_high_water.list(),
        &board.heap_high_water.list(),
    ));
    differences
}

fn pairs(of: &'static str, host: &Named, board: &Named) -> Vec<(&'static str, u64, u64)> {
    let both = host.iter().zip(board);
    let unlike = both.filter(|(host, board)| host != board);
    unlike.map(|((name, host), (_, board))| (if *name == "total" { of } else { name }, *host, *board)).collect()
}

/// The books as a list, to be compared one by one.
trait Listed {
    fn list(&self) -> Named;
}

impl Listed for scruple_bench::document::HeapBytes {
    fn list(&self) -> Named {
        [
            ("total", self.total),
            ("objects", self.objects),
            ("properties", self.properties),
            ("arrays", self.arrays),
            ("strings", self.strings),
            ("boxed numbers", self.boxed_numbers),
            ("functions", self.functions),
            ("scopes", self.scopes),
            ("stack", self.stack),
            ("collector", self.collector),
            ("caches", self.caches),
            ("image", self.image),
        ]
    }
}
