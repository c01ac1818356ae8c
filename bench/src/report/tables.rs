//! Tables of text: the same cells lined up for people or written as Markdown.
//!
//! It owns widths and escapes. It refuses to make a number a text.

/// Where a column's cells stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// Cells in rows under headings.
pub(super) struct Table {
    columns: Vec<(String, Align)>,
    rows: Vec<Vec<String>>,
    /// How many of the rows, the last ones, are sums or what the others are held against.
    n_feet: usize,
}

impl Table {
    pub(super) fn new(columns: &[(&str, Align)]) -> Table {
        let columns = columns.iter().map(|(name, align)| ((*name).to_owned(), *align)).collect();
        Table { columns, rows: Vec::new(), n_feet: 0 }
    }

    /// A row below: a cell a column.
    pub(super) fn push(&mut self, cells: Vec<String>) {
        debug_assert_eq!(cells.len(), self.columns.len());
        self.rows.push(cells);
    }

    /// A row below all others: a sum of them, or what they are held against.
    pub(super) fn push_foot(&mut self, cells: Vec<String>) {
        self.push(cells);
        self.n_feet += 1;
    }

    /// The headings, and how the cells under each stand.
    pub(super) fn columns(&self) -> &[(String, Align)] {
        &self.columns
    }

    /// The rows, and those at the foot.
    pub(super) fn parts(&self) -> (&[Vec<String>], &[Vec<String>]) {
        self.rows.split_at(self.rows.len() - self.n_feet)
    }

    /// Lined up, a line a row.
    pub(super) fn text(&self) -> String {
        let widths: Vec<usize> = (0..self.columns.len())
            .map(|index| {
                let cells = self.rows.iter().map(|row| row[index].chars().count());
                cells.max().unwrap_or(0).max(self.columns[index].0.chars().count())
            })
            .collect();
        let headings: Vec<String> = self.columns.iter().map(|(name, _)| name.clone()).collect();
        let mut text = String::new();
        for row in std::iter::once(&headings).chain(&self.rows) {
            let mut line = String::new();
            for (index, cell) in row.iter().enumerate() {
                let width = widths[index];
                if index > 0 {
                    line.push_str("  ");
                }
                match self.columns[index].1 {
                    Align::Left => line.push_str(&format!("{cell:width$}")),
                    Align::Right => line.push_str(&format!("{cell:>width$}")),
                }
            }
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text
    }

    /// As Markdown.
    pub(super) fn markdown(&self) -> String {
        let mut text = String::from("|");
        for (name, _) in &self.columns {
            text.push_str(&format!(" {name} |"));
        }
        text.push_str("\n|");
        for (_, align) in &self.columns {
            text.push_str(if *align == Align::Left { " --- |" } else { " ---: |" });
        }
        text.push('\n');
        for row in &self.rows {
            text.push('|');
            for cell in row {
                text.push_str(&format!(" {} |", markdown_cell(cell)));
            }
            text.push('\n');
        }
        text
    }
}

/// A text as a cell of a Markdown table: what would end the cell or the row is escaped.
pub(super) fn markdown_cell(text: &str) -> String {
    text.replace('|', "\\|").replace(['\n', '\r'], " ")
}
