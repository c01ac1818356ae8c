//! A comparison as tables: all rows together, then what differs, most per cent first.

use super::counted;
use super::tables::{Align, Table};
use crate::compare::document::{Change, Comparison, Missing, Step, Sum, Verdict};

/// How many figures that differ are shown without `verbose`.
const SHOWN: usize = 20;

pub(super) fn text(comparison: &Comparison, verbose: bool) -> String {
    let mut text = head(comparison);
    for (table, note) in tables(comparison, verbose) {
        text.push_str(&format!("\n{}{note}", table.text()));
    }
    text + &foot(comparison)
}

pub(super) fn markdown(comparison: &Comparison, verbose: bool) -> String {
    let mut text = head(comparison);
    for (table, note) in tables(comparison, verbose) {
        text.push_str(&format!("\n{}", table.markdown()));
        if !note.is_empty() {
            text.push_str(&format!("\n{note}"));
        }
    }
    let foot = foot(comparison);
    if foot.is_empty() { text } else { format!("{text}\n{}", foot.replace('\n', "\n\n")) }
}

/// How many rows and figures there are, and how many differ.
pub(super) fn head(comparison: &Comparison) -> String {
    let Comparison { before, after, rows, figures, changes, .. } = comparison;
    let differ = match changes.len() {
        0 => "none differs".to_owned(),
        1 => "1 differs".to_owned(),
        n => format!("{n} differ"),
    };
    let (rows, figures) = (counted(*rows, "row"), counted(*figures, "figure"));
    format!("{before} before, {after} after: {rows}, {figures}, {differ}\n")
}

fn tables(comparison: &Comparison, verbose: bool) -> Vec<(Table, String)> {
    let mut all = Vec::new();
    let is_shown = |sum: &&Sum| verbose || sum.less + sum.more > 0;
    let sums: Vec<&Sum> = comparison.sums.iter().filter(is_shown).collect();
    if !sums.is_empty() {
        all.push((sum_table(&sums), String::new()));
    }
    let changes = most_first(&comparison.changes);
    let n_shown = if verbose { changes.len() } else { changes.len().min(SHOWN) };
    if n_shown > 0 {
        let note = match changes.len() - n_shown {
            0 => String::new(),
            n => format!("others: {}, different (-v shows all)\n", counted(n as u64, "figure")),
        };
        all.push((change_table(&changes[..n_shown]), note));
    }
    all
}

/// What differs, most per cent first: what rose from nothing before all.
pub(super) fn most_first(changes: &[Change]) -> Vec<&Change> {
    let mut changes: Vec<&Change> = changes.iter().collect();
    changes.sort_by_key(|change| {
        std::cmp::Reverse(change.step.percent_hundredths.map_or(i64::MAX, i64::abs))
    });
    changes
}

pub(super) fn sum_table(sums: &[&Sum]) -> Table {
    let mut table = Table::new(&[
        ("encoding", Align::Left),
        ("layout", Align::Left),
        ("metric", Align::Left),
        ("of rows", Align::Left),
        ("before", Align::Right),
        ("after", Align::Right),
        ("difference", Align::Right),
        ("per cent", Align::Right),
        ("rows", Align::Right),
        ("less", Align::Right),
        ("more", Align::Right),
    ]);
    for sum in sums {
        let mut cells = vec![
            sum.encoding.clone(),
            sum.layout.name().to_owned(),
            sum.metric.clone(),
            if sum.is_largest { "largest" } else { "sum" }.to_owned(),
        ];
        cells.extend(step_cells(&sum.step));
        cells.extend([sum.rows, sum.less, sum.more].map(|count| count.to_string()));
        table.push(cells);
    }
    table
}

pub(super) fn change_table(changes: &[&Change]) -> Table {
    let mut table = Table::new(&[
        ("script", Align::Left),
        ("encoding", Align::Left),
        ("layout", Align::Left),
        ("metric", Align::Left),
        ("before", Align::Right),
        ("after", Align::Right),
        ("difference", Align::Right),
        ("per cent", Align::Right),
        ("", Align::Left),
    ]);
    for change in changes {
        let mut cells = vec![
            change.script.clone(),
            change.encoding.clone(),
            change.layout.name().to_owned(),
            change.metric.clone(),
        ];
        cells.extend(step_cells(&change.step));
        cells.push(if change.is_worse { "worse" } else { "" }.to_owned());
        table.push(cells);
    }
    table
}

fn step_cells(step: &Step) -> [String; 4] {
    let percent = step
        .percent_hundredths
        .map_or_else(|| "-".to_owned(), |hundredths| format!("{:+.2}", hundredths as f64 / 100.0));
    [step.before.to_string(), step.after.to_string(), format!("{:+}", step.difference), percent]
}

fn foot(comparison: &Comparison) -> String {
    let mut text = String::new();
    for Missing { script, encoding, layout, reason, .. } in &comparison.missing {
        text.push_str(&format!(
            "not compared: {script}, {encoding}, {}: {reason}\n",
            layout.name()
        ));
    }
    if let Some(verdict) = &comparison.verdict {
        text.push_str(&format!("{}\n", verdict_line(verdict)));
    }
    text
}

/// A verdict in words.
pub(super) fn verdict_line(verdict: &Verdict) -> String {
    format!(
        "{}: {} worse by more than {} %, {} not measured",
        if verdict.holds { "no worse" } else { "worse" },
        counted(verdict.worse, "figure"),
        verdict.allowed_thousandths as f64 / 1000.0,
        counted(verdict.not_measured, "row")
    )
}
