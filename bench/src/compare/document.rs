//! What a comparison says, as it goes out: its schema is `schema/compare.json`.

use serde::{Deserialize, Serialize};

use crate::layout::HeapLayout;

/// The version of this form; see [`crate::document::SCHEMA`].
pub const SCHEMA: u32 = 1;

/// Everything a comparison says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Comparison {
    /// The version of this form.
    pub schema: u32,
    /// Where the first document came from.
    pub before: String,
    /// Where the second came from.
    pub after: String,
    /// Rows that both have figures for.
    pub rows: u64,
    /// Figures that were compared.
    pub figures: u64,
    /// An entry an encoding, layout and metric: all rows together.
    pub sums: Vec<Sum>,
    /// Every figure that differs, in the order of the rows.
    pub changes: Vec<Change>,
    /// Rows that cannot be compared, with the reason.
    pub missing: Vec<Missing>,
    /// Whether nothing became worse, if that was asked.
    pub verdict: Option<Verdict>,
}

/// A metric over all rows of one encoding and layout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sum {
    /// The encoding's name.
    pub encoding: String,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// The metric: those of the CSV of `weigh`.
    pub metric: String,
    /// Whether the rows are added up, or the largest is told: peaks have no sum.
    pub is_largest: bool,
    /// Before and after.
    pub step: Step,
    /// Rows that were compared.
    pub rows: u64,
    /// Rows that take less than before.
    pub less: u64,
    /// Rows that take more.
    pub more: u64,
}

/// A figure of one row that differs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Change {
    /// The script.
    pub script: String,
    /// The encoding's name.
    pub encoding: String,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// The metric.
    pub metric: String,
    /// Before and after.
    pub step: Step,
    /// Whether this is more than was allowed, if anything was.
    pub is_worse: bool,
}

/// Before, after, and what lies between.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Before.
    pub before: u64,
    /// After.
    pub after: u64,
    /// After less before.
    pub difference: i64,
    /// That in hundredths of one per cent of before; nothing where before is 0.
    pub percent_hundredths: Option<i64>,
}

impl Step {
    /// From one figure to the other.
    pub fn new(before: u64, after: u64) -> Step {
        let difference = i128::from(after) - i128::from(before);
        let narrow = |wide: i128| i64::try_from(wide).unwrap_or(i64::MAX * wide.signum() as i64);
        let percent = (before > 0).then(|| narrow(rounded(difference * 10_000, before.into())));
        Step { before, after, difference: narrow(difference), percent_hundredths: percent }
    }
}

/// A quotient to the next whole number, from the middle away from zero.
fn rounded(part: i128, whole: i128) -> i128 {
    (2 * part + whole * part.signum()) / (2 * whole)
}

/// A row that cannot be compared.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Missing {
    /// The script.
    pub script: String,
    /// The encoding's name.
    pub encoding: String,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// Why.
    pub reason: String,
    /// Whether it has no baseline: a new script is no loss.
    pub is_new: bool,
}

/// Whether nothing became worse.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verdict {
    /// The metrics that count.
    pub metrics: Vec<String>,
    /// How much more is allowed, in thousandths of one per cent.
    pub allowed_thousandths: u64,
    /// Figures that rose by more.
    pub worse: u64,
    /// Rows that had a figure and have none, or had none to compare with.
    pub not_measured: u64,
    /// Whether it holds.
    pub holds: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    // Half away from zero, as figures are commonly rounded.
    #[test]
    fn per_cent_are_rounded_and_not_cut_off() {
        let hundredths = |before, after| Step::new(before, after).percent_hundredths;
        assert_eq!(hundredths(3, 5), Some(66_67));
        assert_eq!(hundredths(3, 1), Some(-66_67));
        assert_eq!(hundredths(3, 4), Some(33_33));
        assert_eq!(hundredths(20_000, 20_001), Some(1), "half a hundredth");
        assert_eq!(hundredths(20_000, 19_999), Some(-1));
        assert_eq!(hundredths(30_000, 30_001), Some(0));
        assert_eq!(hundredths(7, 7), Some(0));
        assert_eq!(hundredths(0, 7), None);
        assert_eq!(hundredths(1, u64::MAX), Some(i64::MAX));
    }
}
