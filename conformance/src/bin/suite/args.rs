//! The arguments of `suite`, and what they mean.

use std::path::PathBuf;

use clap::{Parser, ValueEnum};
use scruple_conformance::LayoutName;
use scruple_conformance::suite::document::Grouping;
use scruple_conformance::suite::judge::Status;

/// Runs the official conformance suite from a checkout of it.
#[derive(Debug, Parser)]
#[command(
    name = "suite",
    version,
    after_help = "Examples:\n  suite ../checkout language/expressions --causes failed\n  \
        suite ../checkout --save before.json\n  suite ../checkout --compare before.json\n  \
        suite --from run.json --readme README.md"
)]
pub(crate) struct Arguments {
    /// The checkout: a folder with `test` and `harness` in it
    #[arg(required_unless_present = "from")]
    pub(crate) checkout: Option<PathBuf>,
    /// Folders or files below `test` to run, instead of all
    pub(crate) filters: Vec<String>,
    /// The form of the report
    #[arg(long, value_enum, default_value = "text")]
    pub(crate) format: Format,
    /// Write the run to a file as JSON, to compare with later
    #[arg(long, value_name = "FILE")]
    pub(crate) save: Option<PathBuf>,
    /// Name what changed since a saved run; exit code 3 if something that passed no
    /// longer does
    #[arg(long, value_name = "FILE")]
    pub(crate) compare: Option<PathBuf>,
    /// Report on a saved run, and run nothing
    #[arg(long, value_name = "FILE", conflicts_with_all = ["checkout", "filters", "save", "skips"])]
    pub(crate) from: Option<PathBuf>,
    /// Write the figures of the run, which must be of the whole suite, between the
    /// markers of a README
    #[arg(long, value_name = "FILE")]
    pub(crate) readme: Option<PathBuf>,
    /// The checkout's commit, where it has no `.git` to tell it
    #[arg(long, value_name = "COMMIT")]
    pub(crate) revision: Option<String>,
    /// The day of that commit, as 2026-01-31
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub(crate) date: Option<String>,
    /// A TOML file of tests not to run: lines `"path" = "reason"`
    #[arg(long, value_name = "FILE")]
    pub(crate) skips: Option<PathBuf>,
    /// Name the tests of a status, with the reason of each
    #[arg(long, value_enum, value_name = "STATUS")]
    pub(crate) list: Option<Asked>,
    /// Count the causes of a status, with a sample of each
    #[arg(long, value_enum, value_name = "STATUS")]
    pub(crate) causes: Option<Asked>,
    /// How many causes to name; the others are summed up
    #[arg(long, default_value_t = 20)]
    pub(crate) n_causes: usize,
    /// How many folders deep the table goes
    #[arg(long, default_value_t = 2)]
    pub(crate) depth: usize,
    /// Make the table by the ids of the clauses, not by folders
    #[arg(long, conflicts_with = "depth")]
    pub(crate) by_clause: bool,
    /// Instructions that a test may take, the harness included
    #[arg(long, default_value_t = 500_000_000)]
    pub(crate) budget: u64,
    /// The heap of a test, in slots (4 bytes in the narrow layout, 8 in the wide)
    #[arg(long, default_value_t = 120 * 1024)]
    pub(crate) slots: usize,
    /// Collect after that many bytes of allocation, fold and move all blocks each time
    #[arg(long, value_name = "BYTES", default_value_t = usize::MAX, hide_default_value = true)]
    pub(crate) collect_every: usize,
    /// The heap's layout
    #[arg(long, value_enum, default_value = "narrow")]
    pub(crate) layout: AskedLayout,
    /// How many threads; 0 for one a core
    #[arg(long, default_value_t = 0)]
    pub(crate) jobs: usize,
}

/// A day, as ISO 8601 writes it.
fn day(text: &str) -> Result<String, String> {
    let is_day = text.len() == 10
        && text.char_indices().all(|(at, ch)| match at {
            4 | 7 => ch == '-',
            _ => ch.is_ascii_digit(),
        });
    if is_day { Ok(text.to_owned()) } else { Err("a day is written as 2026-01-31".to_owned()) }
}

impl Arguments {
    pub(crate) fn grouping(&self) -> Grouping {
        if self.by_clause { Grouping::Clause } else { Grouping::Folder(self.depth) }
    }
}

/// The form of the report.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    Text,
    Markdown,
    Json,
}

/// A layout by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum AskedLayout {
    Narrow,
    Wide,
}

impl AskedLayout {
    pub(crate) fn name(self) -> LayoutName {
        match self {
            AskedLayout::Narrow => LayoutName::Narrow,
            AskedLayout::Wide => LayoutName::Wide,
        }
    }

    pub(crate) fn text(self) -> &'static str {
        match self {
            AskedLayout::Narrow => "narrow",
            AskedLayout::Wide => "wide",
        }
    }
}

/// A status by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Asked {
    Passed,
    Failed,
    Unsupported,
    Crashed,
    OverBudget,
}

impl From<Asked> for Status {
    fn from(asked: Asked) -> Status {
        match asked {
            Asked::Passed => Status::Passed,
            Asked::Failed => Status::Failed,
            Asked::Unsupported => Status::Unsupported,
            Asked::Crashed => Status::Crashed,
            Asked::OverBudget => Status::OverBudget,
        }
    }
}
