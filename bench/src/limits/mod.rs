//! Limits: what scripts may take, kept in a file, and whether they keep to it.
//!
//! It owns the verdict. A limit whose measurement is missing is not kept: it fails
//! closed. Counts are exact, so a limit may be what was measured, to the byte. It
//! refuses to compare unlike layouts: a limit is for one, `narrow` unless it says
//! another. What the file looks like is [`mod@file`]'s.

pub mod file;

use scruple_bytecode::Encoding;
use serde::{Deserialize, Serialize};

use crate::document::{Document, Figures, Row};
use crate::layout::HeapLayout;
use crate::report::columns::{COLUMNS, Column};

/// Columns that are no metrics: what the allocator of this machine gave, and how
/// closely a peak was watched.
const NO_METRICS: [&str; 2] = ["compile_peak_reserved_bytes", "live_peak_resolution_bytes"];

/// Metrics that add up over scripts; peaks do not.
const SUMS: [&str; 12] = [
    "image_bytes",
    "header_bytes",
    "constant_bytes",
    "function_table_bytes",
    "instruction_bytes",
    "padding_bytes",
    "line_table_bytes",
    "instructions",
    "operations",
    "fetched_bytes",
    "allocations",
    "allocated_bytes",
];

/// A figure that can be limited.
#[derive(Clone, Copy, Debug)]
pub struct Metric(&'static Column);

impl Metric {
    /// Every one, in the order of a report.
    pub fn all() -> impl Iterator<Item = Metric> {
        COLUMNS.iter().filter(|column| !NO_METRICS.contains(&column.key)).map(Metric)
    }

    /// The one of a name: those of the CSV.
    pub fn from_name(name: &str) -> Option<Metric> {
        Metric::all().find(|metric| metric.name() == name)
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        self.0.key
    }

    /// Whether it adds up over scripts: a peak does not.
    pub fn has_sum(self) -> bool {
        SUMS.contains(&self.name())
    }

    pub(crate) fn read(self, figures: &Figures) -> Option<u64> {
        (self.0.read)(figures)
    }
}

/// Per cent, exact to a thousandth of one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Percent(u64);

impl Percent {
    /// Per cent that a file can say: none below zero, and at most a million.
    pub fn new(percent: f64) -> Option<Percent> {
        let thousandths = (percent * 1000.0).round();
        (0.0..=1e9).contains(&thousandths).then_some(Percent(thousandths as u64))
    }

    /// As a number.
    pub fn get(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// As a number of thousandths.
    pub fn thousandths(self) -> u64 {
        self.0
    }

    /// So many per cent of a number, rounded down.
    pub(crate) fn of(self, number: u64) -> u64 {
        let share = u128::from(number) * u128::from(self.0) / 100_000;
        u64::try_from(share).unwrap_or(u64::MAX)
    }

    /// The least that makes `part` fit in `whole`, in tenths of one per cent.
    fn least(part: u64, whole: u64) -> Option<Percent> {
        let tenths = (u128::from(part) * 1000).div_ceil(u128::from(whole).max(1));
        let is_possible = whole > 0 || part == 0;
        u64::try_from(tenths * 100).ok().filter(|_| is_possible).map(Percent)
    }
}

/// How much may be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// So much.
    Most(u64),
    /// So many per cent more than it was.
    Growth {
        /// What it was.
        was: u64,
        /// How much more.
        percent: Percent,
    },
    /// So many per cent of what the same script takes under another encoding, or over
    /// another layout, in the same run.
    Share {
        /// The other.
        of: Other,
        /// How much of it.
        percent: Percent,
    },
}

/// Another way to measure the same script.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Other {
    /// Under another encoding.
    Encoding(Encoding),
    /// Over another layout.
    Layout(HeapLayout),
}

/// One limit.
#[derive(Clone)]
pub struct Limit {
    /// Which table of the file it is in.
    pub table: usize,
    /// The script.
    pub script: String,
    /// The encoding, or every one that was measured.
    pub encoding: Option<Encoding>,
    /// The layout.
    pub layout: HeapLayout,
    /// The figure.
    pub metric: Metric,
    /// How much of it.
    pub bound: Bound,
    /// Why it was loosened, if it was.
    pub reason: Option<String>,
}

/// A limit held against a measurement.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Check {
    /// The script.
    pub script: String,
    /// The encoding; nothing where none was measured.
    pub encoding: Option<String>,
    /// The layout.
    pub layout: HeapLayout,
    /// The figure.
    pub metric: String,
    /// How much there may be, if that can be told.
    pub most: Option<u64>,
    /// How much there was, if it was measured.
    pub measured: Option<u64>,
    /// Whether it is kept.
    pub holds: bool,
    /// Why it was loosened, if it was.
    pub reason: Option<String>,
}

/// How a limit is to be rewritten.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rewriting {
    /// Down to what was measured.
    pub tighten: bool,
    /// Up to what was measured.
    pub loosen: bool,
}

/// Which way a limit went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Less may be taken.
    Down,
    /// More may be taken.
    Up,
}

/// Holds every limit against a measurement, in the limits' order.
pub fn judge(limits: &[Limit], document: &Document) -> Vec<Check> {
    limits.iter().flat_map(|limit| limit.judge(document)).collect()
}

impl Limit {
    fn rows<'a>(&self, document: &'a Document) -> impl Iterator<Item = &'a Row> {
        let (script, layout) = (self.script.clone(), self.layout);
        let encoding = self.encoding.map(Encoding::name);
        document.rows.iter().filter(move |row| {
            row.script == script
                && row.layout == layout
                && encoding.is_none_or(|encoding| row.encoding == encoding)
        })
    }

    fn judge(&self, document: &Document) -> Vec<Check> {
        let check = |row: Option<&Row>| {
            let measured = row.and_then(|row| self.metric.read(row.figures.as_ref()?));
            let most = row.and_then(|row| self.most(row, document));
            let encoding = row.map(|row| row.encoding.clone());
            Check {
                script: self.script.clone(),
                encoding: encoding.or(self.encoding.map(|encoding| encoding.name().to_owned())),
                layout: self.layout,
                metric: self.metric.name().to_owned(),
                most,
                measured,
                holds: measured.zip(most).is_some_and(|(measured, most)| measured <= most),
                reason: self.reason.clone(),
            }
        };
        let checks: Vec<Check> = self.rows(document).map(|row| check(Some(row))).collect();
        if checks.is_empty() { vec![check(None)] } else { checks }
    }

    /// How much a row may have.
    fn most(&self, row: &Row, document: &Document) -> Option<u64> {
        match self.bound {
            Bound::Most(most) => Some(most),
            Bound::Growth { was, percent } => Some(was.saturating_add(percent.of(was))),
            Bound::Share { of, percent } => Some(percent.of(self.other(row, of, document)?)),
        }
    }

    /// The figure of the same script, measured another way.
    fn other(&self, row: &Row, of: Other, document: &Document) -> Option<u64> {
        let (encoding, layout) = match of {
            Other::Encoding(encoding) => (encoding.name(), row.layout),
            Other::Layout(layout) => (row.encoding.as_str(), layout),
        };
        let mut rows = document.rows.iter();
        let other = rows.find(|other| {
            other.script == row.script && other.encoding == encoding && other.layout == layout
        });
        self.metric.read(other?.figures.as_ref()?)
    }

    /// The bound that is just kept, if everything it needs was measured, and which way
    /// it goes from here. Nothing where it stays, or may not go that way.
    pub fn rewritten(&self, document: &Document, how: Rewriting) -> Option<(Bound, Direction)> {
        let checks = self.judge(document);
        let measured: Option<Vec<u64>> = checks.iter().map(|check| check.measured).collect();
        let highest = measured?.into_iter().max()?;
        let new = match self.bound {
            Bound::Most(_) => Bound::Most(highest),
            Bound::Growth { percent, .. } => Bound::Growth { was: highest, percent },
            Bound::Share { of, .. } => {
                let least = |row: &Row| {
                    let measured = self.metric.read(row.figures.as_ref()?)?;
                    Percent::least(measured, self.other(row, of, document)?)
                };
                let all: Option<Vec<Percent>> = self.rows(document).map(least).collect();
                Bound::Share { of, percent: all?.into_iter().max()? }
            }
        };
        let is_lower = match (new, self.bound) {
            (Bound::Most(new), Bound::Most(old)) => new < old,
            (Bound::Growth { was: new, .. }, Bound::Growth { was: old, .. }) => new < old,
            (Bound::Share { percent: new, .. }, Bound::Share { percent: old, .. }) => new < old,
            _ => false,
        };
        let is_kept = checks.iter().all(|check| check.holds);
        match (is_kept, is_lower) {
            (true, true) if how.tighten => Some((new, Direction::Down)),
            (false, false) if how.loosen => Some((new, Direction::Up)),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn per_cent_are_exact_and_never_allow_more() {
        let percent = |number| Percent::new(number).unwrap();
        assert_eq!(percent(60.0).of(1001), 600);
        assert_eq!(percent(0.1).of(1000), 1);
        assert_eq!(percent(100.0).of(u64::MAX), u64::MAX);
        // 112 of 186 is 60.215…: rounded up to a tenth, it holds.
        assert_eq!(Percent::least(112, 186), Some(percent(60.3)));
        assert!(percent(60.3).of(186) >= 112);
        assert_eq!(Percent::least(0, 0), Some(percent(0.0)));
        assert_eq!(Percent::least(1, 0), None);
        for wrong in [-1.0, f64::NAN, f64::INFINITY, 1e7] {
            assert_eq!(Percent::new(wrong), None);
        }
    }

    #[test]
    fn a_metric_is_what_every_host_measures_alike() {
        assert!(Metric::from_name("heap_high_water_bytes").is_some());
        assert!(Metric::from_name("compile_peak_reserved_bytes").is_none());
        assert!(Metric::from_name("speed").is_none());
    }

    #[test]
    fn what_adds_up_is_a_metric_and_no_peak_does() {
        assert!(SUMS.iter().all(|name| Metric::from_name(name).is_some_and(Metric::has_sum)));
        let peaks = Metric::all().filter(|metric| !metric.has_sum());
        assert!(peaks.map(Metric::name).all(|name| name.contains("peak") || name.contains("high")));
    }
}
