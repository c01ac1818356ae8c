//! The document as tables, for people: text, and Markdown for the README.
//!
//! It owns what stands in a table. *Of supported* leaves out what is unsupported, and
//! counts a crash or a limit that was reached as not passed; it is cut, not rounded:
//! 100.0 means all.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::document::{Document, Grouping, Sums};
use super::judge::Status;

/// Lines that stand side by side.
struct Table {
    rows: Vec<Vec<String>>,
}

const TITLES: [&str; 8] =
    ["", "tests", "passed", "failed", "unsupported", "crashed", "over budget", "% of supported"];

impl Table {
    fn of(groups: &BTreeMap<String, Sums>, first: &str, total: &Sums) -> Table {
        let mut titles: Vec<String> = TITLES.iter().map(|&title| title.to_owned()).collect();
        titles[0] = first.to_owned();
        let mut rows = vec![titles];
        rows.extend(groups.iter().map(|(name, sums)| line(name, sums)));
        rows.push(line("all tests", total));
        Table { rows }
    }

    fn text(&self) -> String {
        let widths: Vec<usize> = (0..TITLES.len())
            .map(|at| self.rows.iter().map(|row| row[at].chars().count()).max().unwrap_or(0))
            .collect();
        let mut out = String::new();
        for row in &self.rows {
            for (at, (cell, width)) in row.iter().zip(&widths).enumerate() {
                // Writing to a String cannot fail.
                let _ = match at {
                    0 => write!(out, "{cell:<width$}"),
                    _ => write!(out, "  {cell:>width$}"),
                };
            }
            out.push('\n');
        }
        out
    }

    fn markdown(&self) -> String {
        let mut out = String::new();
        for (at, row) in self.rows.iter().enumerate() {
            let _ = writeln!(out, "| {} |", row.join(" | "));
            if at == 0 {
                let _ = writeln!(out, "| --- |{}", " ---: |".repeat(TITLES.len() - 1));
            }
        }
        out
    }
}

/// A share in percent, cut to a tenth; of nothing there is none.
pub(super) fn share(part: usize, whole: usize) -> String {
    match whole {
        0 => "-".to_owned(),
        _ => {
            let tenths = part * 1000 / whole;
            format!("{}.{}", tenths / 10, tenths % 10)
        }
    }
}

fn line(name: &str, sums: &Sums) -> Vec<String> {
    let share = share(sums.passed, sums.tests - sums.unsupported);
    let counts =
        [sums.tests, sums.passed, sums.failed, sums.unsupported, sums.crashed, sums.over_budget];
    let mut cells = vec![name.to_owned()];
    cells.extend(counts.iter().map(usize::to_string));
    cells.push(share);
    cells
}

/// The tables, by the suite's folders (or by clause id) and by feature.
pub fn text(document: &Document, grouping: Grouping) -> String {
    tables(document, grouping).map(|table| table.text()).join("\n")
}

/// The same, as Markdown.
pub fn markdown(document: &Document, grouping: Grouping) -> String {
    tables(document, grouping).map(|table| table.markdown()).join("\n")
}

fn tables(document: &Document, grouping: Grouping) -> [Table; 2] {
    let title = if grouping == Grouping::Clause { "clause" } else { "part" };
    [
        Table::of(&document.grouped(grouping), title, &document.total),
        Table::of(&document.grouped(Grouping::Feature), "feature", &document.total),
    ]
}

/// The tests of one status, each with its reason.
pub fn list(document: &Document, status: Status) -> String {
    let mut out = String::new();
    for row in document.tests.iter().filter(|row| row.status == status) {
        let _ = writeln!(out, "{}: {}", row.path, row.reason);
    }
    out
}

/// The commonest causes of one status: the reasons without what differs from test to
/// test (positions, numbers, what is quoted), with a test as a sample.
pub fn causes(document: &Document, status: Status, n_causes: usize) -> String {
    let mut causes: BTreeMap<String, (usize, &str)> = BTreeMap::new();
    for row in document.tests.iter().filter(|row| row.status == status) {
        causes.entry(cause(&row.reason)).or_insert((0, &row.path)).0 += 1;
    }
    let mut sorted: Vec<_> = causes.into_iter().collect();
    sorted.sort_by(|(a, (n, _)), (b, (m, _))| m.cmp(n).then_with(|| a.cmp(b)));
    let mut out = String::new();
    for (cause, (count, sample)) in sorted.iter().take(n_causes) {
        let _ = writeln!(out, "{count:>6}  {cause}  (e.g. {sample})");
    }
    if let Some(rest) = sorted.get(n_causes..).filter(|rest| !rest.is_empty()) {
        let count: usize = rest.iter().map(|(_, (count, _))| count).sum();
        let _ = writeln!(out, "{count:>6}  {} others", rest.len());
    }
    out
}

fn cause(reason: &str) -> String {
    let mut out = String::new();
    let mut quoted = None;
    for ch in reason.chars() {
        match quoted {
            Some(end) if ch == end => quoted = None,
            Some(_) => continue,
            None => match ch {
                '`' => quoted = Some('`'),
                '«' => quoted = Some('»'),
                '0'..='9' if out.ends_with('#') => continue,
                _ => {}
            },
        }
        out.push(if ch.is_ascii_digit() { '#' } else { ch });
    }
    out.trim_start_matches("#:#: ").to_owned()
}
