//! CSV (RFC 4180): a row a script and encoding, the categories of both peaks
//! included. A figure that is not there is an empty cell.

use super::columns::{COLUMNS, peaks};
use crate::document::{Document, Figures, HeapBytes, Row, RowError};

pub(super) fn render(document: &Document) -> String {
    let mut text = String::new();
    let mut head: Vec<String> =
        ["script", "encoding", "layout", "answer_checked", "error"].map(str::to_owned).to_vec();
    head.extend(COLUMNS.iter().map(|column| column.key.to_owned()));
    let categories = HeapBytes::default().by_category();
    for peak in ["heap_high_water", "live_peak"] {
        let names = categories.iter().map(|(name, _)| name.replace(' ', "_"));
        head.extend(names.map(|name| format!("{peak}_{name}_bytes")));
    }
    push_line(&mut text, &head);
    for row in &document.rows {
        push_line(&mut text, &cells(row));
    }
    text
}

fn cells(row: &Row) -> Vec<String> {
    let error = row.error.as_ref().map(RowError::describe).unwrap_or_default();
    let mut cells = vec![
        row.script.clone(),
        row.encoding.clone(),
        row.layout.name().to_owned(),
        row.answer_checked.to_string(),
        error,
    ];
    match &row.figures {
        Some(figures) => cells.extend(numbers(figures)),
        None => {
            let n = COLUMNS.len() + 2 * HeapBytes::default().by_category().len();
            cells.extend(std::iter::repeat_n(String::new(), n));
        }
    }
    cells
}

fn numbers(figures: &Figures) -> Vec<String> {
    let mut numbers: Vec<String> = COLUMNS
        .iter()
        .map(|column| (column.read)(figures).map(|number| number.to_string()).unwrap_or_default())
        .collect();
    for (_, peak) in peaks(figures) {
        numbers.extend(peak.by_category().iter().map(|(_, bytes)| bytes.to_string()));
    }
    numbers
}

/// A line of these cells, quoted where they must be.
pub(super) fn push_line(text: &mut String, cells: &[String]) {
    for (index, cell) in cells.iter().enumerate() {
        if index > 0 {
            text.push(',');
        }
        if cell.contains([',', '"', '\n', '\r']) {
            text.push('"');
            text.push_str(&cell.replace('"', "\"\""));
            text.push('"');
        } else {
            text.push_str(cell);
        }
    }
    text.push('\n');
}
