//! A table for people: a line a script and encoding, the sums below, and with
//! `verbose` the categories of both peaks under each line, and what made the
//! high-water mark if that was measured.

use super::columns::{COLUMNS, LEGEND, peaks};
use super::counted;
use crate::document::{Document, Figures, HeapBytes, Row, Total};

/// The mark of a row whose answer was not compared with anything.
const UNCHECKED: &str = "?";

pub(super) fn render(document: &Document, verbose: bool) -> String {
    let mut figures = document.rows.iter().filter_map(|row| row.figures.as_ref());
    let has_composites = figures.any(|f| f.operations != f.instructions);
    // Two equal columns side by side say less than one.
    let columns: Vec<_> = COLUMNS
        .iter()
        .filter(|column| has_composites || column.key != "operations")
        .filter_map(|column| column.heading.map(|heading| (heading, column.read)))
        .collect();
    let table = Table::new(document, &columns);
    let mut text = table.head(&columns);
    for row in &document.rows {
        text.push_str(&table.line(row, &columns));
        if let Some(figures) = row.figures.as_ref().filter(|_| verbose) {
            for (name, peak) in peaks(figures) {
                text.push_str(&format!("    {}: {}\n", name.replace('_', " "), split(peak)));
            }
            if let Some(sites) = &figures.peak_sites {
                let HeapBytes { total, stack, collector, .. } = figures.heap_high_water;
                text.push_str(&format!(
                    "      {total} = stack {stack} + collector {collector} + {} of these sites, bytes \
                     and blocks:\n{}",
                    sites.total_bytes(),
                    super::memory::sites(sites, "        ")
                ));
            }
        }
    }
    for total in &document.totals {
        text.push_str(&sum(total));
    }
    if document.rows.iter().any(|row| row.error.is_none() && !row.answer_checked) {
        text.push_str(&format!("{UNCHECKED} no file of that name with .out: answer not checked\n"));
    }
    if let Some(checks) = &document.checks {
        text.push_str(&super::checks::render(checks, verbose));
    }
    if verbose {
        text.push_str(&format!("{LEGEND}\n"));
    }
    text
}

type Columns = [(&'static str, fn(&Figures) -> Option<u64>)];

/// Widths that fit every cell.
struct Table {
    script: usize,
    encoding: usize,
    layout: usize,
    numbers: Vec<usize>,
}

impl Table {
    fn new(document: &Document, columns: &Columns) -> Table {
        let widest = |name: fn(&Row) -> &str, least: usize| {
            document.rows.iter().map(|row| name(row).chars().count()).max().unwrap_or(0).max(least)
        };
        let figures = || document.rows.iter().filter_map(|row| row.figures.as_ref());
        let numbers = columns
            .iter()
            .map(|(heading, read)| {
                figures().map(|f| number(read(f)).len()).max().unwrap_or(0).max(heading.len())
            })
            .collect();
        Table {
            script: widest(|row| &row.script, 6),
            encoding: widest(|row| &row.encoding, 8),
            layout: widest(|row| row.layout.name(), 6),
            numbers,
        }
    }

    fn head(&self, columns: &Columns) -> String {
        let mut text = format!(
            "{:w$}  {:e$}  {:l$}  ",
            "script",
            "encoding",
            "layout",
            w = self.script,
            e = self.encoding,
            l = self.layout
        );
        for ((heading, _), width) in columns.iter().zip(&self.numbers) {
            text.push_str(&format!(" {heading:>width$}"));
        }
        text.push('\n');
        text
    }

    fn line(&self, row: &Row, columns: &Columns) -> String {
        let mark = if row.error.is_none() && !row.answer_checked { UNCHECKED } else { " " };
        let mut text = format!(
            "{:w$}  {:e$}  {:l$} {mark}",
            row.script,
            row.encoding,
            row.layout.name(),
            w = self.script,
            e = self.encoding,
            l = self.layout
        );
        match (&row.figures, &row.error) {
            (Some(figures), _) => {
                for ((_, read), width) in columns.iter().zip(&self.numbers) {
                    text.push_str(&format!(" {:>width$}", number(read(figures))));
                }
            }
            (None, Some(error)) => text.push_str(&format!(" error: {}", error.describe())),
            (None, None) => {}
        }
        text.push('\n');
        text
    }
}

fn number(number: Option<u64>) -> String {
    number.map_or_else(|| "-".to_owned(), |number| number.to_string())
}

fn split(peak: &HeapBytes) -> String {
    let parts: Vec<String> = peak
        .by_category()
        .iter()
        .filter(|(_, bytes)| *bytes > 0)
        .map(|(name, bytes)| format!("{name} {bytes}"))
        .collect();
    format!("{} = {}", peak.total, parts.join(" + "))
}

fn sum(total: &Total) -> String {
    let image = &total.image;
    let failed = match total.failed {
        0 => String::new(),
        n => format!(", {n} failed and left out"),
    };
    format!(
        "sum of {} {}: {}{failed}: image {} ({:.1} KiB) = header {} + constants {} + functions {} \
         + instructions {} + padding {} + lines {}; {}, {}, {} fetched\n",
        total.encoding,
        total.layout.name(),
        counted(total.scripts, "script"),
        image.total,
        image.total as f64 / 1024.0,
        image.header,
        image.constants,
        image.functions,
        image.instructions,
        image.padding,
        image.lines,
        counted(total.instructions, "instruction"),
        counted(total.operations, "operation"),
        counted(total.fetched_bytes, "byte"),
    )
}
