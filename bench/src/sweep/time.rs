//! How long a sweep's scripts take, apart from all exact figures.
//!
//! It owns the clock of a sweep: every way of a script runs once a round, one after the
//! other on one thread, so that a busy minute of the machine hits all of them. Of some
//! rounds the median counts, and beside it stand the least and the most. A time is that of
//! a run as a board makes it after a reset: making the machine and verifying the image are
//! part of it, compiling is not. It refuses to call one way slower than another where their
//! rounds overlap, and to say anything of another machine.

use std::time::Instant;

use anyhow::{Context, Result, ensure};
use scruple_bytecode::Encoding;
use scruple_vm::Counter;
use serde::{Deserialize, Serialize};

use super::document::{Point, named};
use crate::build;
use crate::layout::HeapLayout;
use crate::machine::{self, Setup};
use crate::measure::{BUDGET, output_of, refused};
use crate::options::{Limits, REGION};
use crate::script::{Candidate, Script};
use crate::sets::{self, Sets};
use crate::station::Output;

/// Times of a sweep. They are of one machine in one hour.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Times {
    /// Rounds.
    pub rounds: u64,
    /// Scripts that are added up: those of the points.
    pub scripts: u64,
    /// An entry a point, in the points' order.
    pub points: Vec<TimePoint>,
}

/// One encoding over one layout: all scripts run once, in nanoseconds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimePoint {
    /// The encoding's name.
    pub encoding: String,
    /// The instruction set, by name and hash, of an encoding that has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<String>,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// Bytes of instructions, as the point has them.
    pub instruction_bytes: u64,
    /// The median of the rounds.
    pub median_ns: u64,
    /// The quickest round.
    pub least_ns: u64,
    /// The slowest round.
    pub most_ns: u64,
    /// An encoding that takes no more bytes over this layout, and whose slowest round was
    /// quicker than this one's quickest.
    pub dominated_by: Option<String>,
}

impl TimePoint {
    /// Its encoding, and its set if it has one.
    pub fn name(&self) -> String {
        named(&self.encoding, self.set.as_deref())
    }

    fn dominates(&self, other: &TimePoint) -> bool {
        self.layout == other.layout
            && self.instruction_bytes <= other.instruction_bytes
            && self.most_ns < other.least_ns
    }
}

/// A script's image for one way.
struct Entry<'a> {
    script: &'a Script,
    point: usize,
    layout: HeapLayout,
    sets: Sets,
    image: Vec<u8>,
}

/// Runs the scripts of these points some rounds. Their answers have been checked: what is
/// looked at here is that a run ends as it did.
pub fn measure(
    scripts: &[Candidate],
    points: &[Point],
    sets: &[Sets],
    is_in: &dyn Fn(&str) -> bool,
    rounds: u32,
    done: &(dyn Fn() + Sync),
) -> Result<Times> {
    ensure!(rounds > 0, "no round to take a time of");
    let mut entries = Vec::new();
    let scripts: Vec<&Script> = scripts
        .iter()
        .filter(|candidate| is_in(&candidate.name))
        .filter_map(|candidate| candidate.script.as_ref().ok())
        .collect();
    for &script in &scripts {
        for (number, point) in points.iter().enumerate() {
            entries.push(entry(script, number, point, sets)?);
        }
    }
    let mut sums = vec![Vec::new(); points.len()];
    for _ in 0..rounds {
        let mut round = vec![0u64; points.len()];
        for entry in &entries {
            round[entry.point] += run(entry)?;
        }
        for (sum, own) in sums.iter_mut().zip(round) {
            sum.push(own);
        }
        done();
    }
    let mut timed: Vec<TimePoint> =
        points.iter().zip(&mut sums).map(|(point, rounds)| of_rounds(point, rounds)).collect();
    find_dominated(&mut timed);
    Ok(Times { rounds: u64::from(rounds), scripts: scripts.len() as u64, points: timed })
}

fn entry<'a>(
    script: &'a Script,
    number: usize,
    point: &Point,
    several: &[Sets],
) -> Result<Entry<'a>> {
    let encoding = Encoding::from_name(&point.encoding).context("an encoding")?;
    let is_own = |sets: &&Sets| sets.first().map(|set| sets::label(set)) == point.set;
    let sets = several.iter().find(is_own).copied().unwrap_or(script.options.sets());
    let set = sets.first().context("no instruction set")?;
    let built = build::on_large_stack(|| build::compile_with(&script.text, encoding, set, true));
    let built = built.context("no thread to compile on")?;
    let built = built.map_err(|wrong| anyhow::anyhow!("{}", refused(&wrong).describe()))?;
    Ok(Entry { script, point: number, layout: point.layout, sets, image: built.image })
}

/// Nanoseconds of one run.
fn run(entry: &Entry<'_>) -> Result<u64> {
    let script = entry.script;
    let run = || {
        let setup = Setup {
            image: &entry.image,
            region: REGION,
            feed: script.feed.clone(),
            limits: Limits { sets: entry.sets, ..script.options.limits(BUDGET) },
            collect_every: usize::MAX,
            output: Output::kept(),
            observer: Counter::default(),
        };
        let start = Instant::now();
        let run = machine::count(entry.layout, setup);
        let elapsed = start.elapsed();
        output_of(&run).map_err(|error| anyhow::anyhow!("{}", error.describe()))?;
        Ok(elapsed.as_nanos() as u64)
    };
    let time: Result<u64> = build::on_large_stack(run).context("no thread to run on")?;
    time.with_context(|| script.name.clone())
}

/// The median of an even number of rounds is the lower of the two in the middle: one that
/// was measured.
fn of_rounds(point: &Point, rounds: &mut [u64]) -> TimePoint {
    rounds.sort_unstable();
    let at = |index: usize| rounds.get(index).copied().unwrap_or(0);
    TimePoint {
        encoding: point.encoding.clone(),
        set: point.set.clone(),
        layout: point.layout,
        instruction_bytes: point.instruction_bytes,
        median_ns: at(rounds.len().saturating_sub(1) / 2),
        least_ns: at(0),
        most_ns: at(rounds.len().saturating_sub(1)),
        dominated_by: None,
    }
}

/// Marks the points that another one dominates clearly, by the quickest that does.
fn find_dominated(points: &mut [TimePoint]) {
    for index in 0..points.len() {
        let better = points.iter().filter(|point| point.dominates(&points[index]));
        let best = better.min_by_key(|point| (point.median_ns, point.instruction_bytes));
        points[index].dominated_by = best.map(TimePoint::name);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(encoding: &str, bytes: u64, (least, median, most): (u64, u64, u64)) -> TimePoint {
        TimePoint {
            encoding: encoding.to_owned(),
            set: None,
            layout: HeapLayout::Narrow,
            instruction_bytes: bytes,
            median_ns: median,
            least_ns: least,
            most_ns: most,
            dominated_by: None,
        }
    }

    #[test]
    fn rounds_that_overlap_dominate_nothing() {
        let mut points = [
            point("a", 100, (10, 11, 12)),
            point("b", 100, (12, 13, 14)),
            point("c", 100, (13, 14, 15)),
            point("d", 90, (20, 30, 40)),
            point("e", 95, (41, 42, 43)),
        ];
        find_dominated(&mut points);
        let by: Vec<_> = points.iter().map(|point| point.dominated_by.as_deref()).collect();
        assert_eq!(by, [None, None, Some("a"), None, Some("d")]);
    }

    #[test]
    fn the_median_is_a_round_that_was_measured() {
        let point = Point::sample("leb", HeapLayout::Narrow);
        let of = |rounds: &[u64]| of_rounds(&point, &mut rounds.to_vec());
        let three = of(&[30, 10, 20]);
        assert_eq!((three.least_ns, three.median_ns, three.most_ns), (10, 20, 30));
        assert_eq!(of(&[40, 10, 20, 30]).median_ns, 20);
        assert_eq!(of(&[7]).median_ns, 7);
    }
}
