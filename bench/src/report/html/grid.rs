//! A table of a page: caption, headings, rows, and sums at its foot.
//!
//! It owns what a table says to whoever does not see it: every table has a caption, every
//! column a heading, every row a name. Numbers stand to the right, as they are: bytes and
//! counts, never text made of them. Where a colour says something, a word or a mark says it
//! too.

use super::super::tables::{Align, Table};
use super::markup::Markup;

/// Rows from which on a table can be filtered.
const MANY: usize = 13;

/// A table.
pub(super) struct Grid {
    caption: String,
    columns: Vec<(String, Align)>,
    rows: Vec<Row>,
    feet: Vec<Row>,
}

/// A row that is being made: a cell a column.
#[derive(Default)]
pub(super) struct Row {
    cells: Vec<Cell>,
}

struct Cell {
    content: Markup,
    tone: Tone,
}

/// How a cell looks, besides what it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tone {
    /// As any other.
    Plain,
    /// As what is as it should be.
    Good,
    /// As what is not.
    Bad,
    /// As what is not there.
    Faint,
}

impl Grid {
    /// A table without columns yet.
    pub(super) fn new(caption: impl Into<String>) -> Grid {
        Grid { caption: caption.into(), columns: Vec::new(), rows: Vec::new(), feet: Vec::new() }
    }

    /// A table of another form of the report, with what it is of.
    pub(super) fn of(caption: impl Into<String>, table: &Table) -> Grid {
        let (rows, feet) = table.parts();
        let columns = table.columns();
        let made = |row: &Vec<String>| {
            let cell = |(text, (_, align)): (&String, &(String, Align))| match align {
                Align::Left => Cell { content: text.into(), tone: tone_of(text) },
                Align::Right => number_cell(text),
            };
            Row { cells: row.iter().zip(columns).map(cell).collect() }
        };
        Grid {
            caption: caption.into(),
            columns: columns.to_vec(),
            rows: rows.iter().map(made).collect(),
            feet: feet.iter().map(made).collect(),
        }
    }

    /// A column of words.
    pub(super) fn words(&mut self, heading: &str) -> &mut Grid {
        self.columns.push((heading.to_owned(), Align::Left));
        self
    }

    /// A column of numbers.
    pub(super) fn number(&mut self, heading: &str) -> &mut Grid {
        self.columns.push((heading.to_owned(), Align::Right));
        self
    }

    /// Columns of numbers.
    pub(super) fn numbers(&mut self, headings: &[&str]) -> &mut Grid {
        for heading in headings {
            self.number(heading);
        }
        self
    }

    /// The next row.
    pub(super) fn row(&mut self) -> &mut Row {
        self.rows.push(Row::default());
        let last = self.rows.len() - 1;
        &mut self.rows[last]
    }

    /// The next row at the foot: a sum, or what the others are held against.
    pub(super) fn foot(&mut self) -> &mut Row {
        self.feet.push(Row::default());
        let last = self.feet.len() - 1;
        &mut self.feet[last]
    }

    /// Whether there is nothing to show.
    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty() && self.feet.is_empty()
    }

    /// As HTML; its caption has this id.
    pub(super) fn markup(&self, id: &str) -> Markup {
        let head = self.columns.iter().map(|(name, align)| {
            let name = if name.is_empty() { "remark" } else { name };
            Markup::element("th", &[("scope", "col"), ("class", class_of(*align))], name)
        });
        let head = Markup::element("tr", &[], head.collect::<Markup>());
        let mut inside = Markup::element("caption", &[("id", id)], self.caption.as_str());
        inside.push(Markup::element("thead", &[], head));
        let rows = |rows: &[Row]| rows.iter().map(|row| self.row_markup(row)).collect::<Markup>();
        inside.push(Markup::element("tbody", &[], rows(&self.rows)));
        if !self.feet.is_empty() {
            inside.push(Markup::element("tfoot", &[], rows(&self.feet)));
        }
        let class = if self.rows.len() < MANY { "sortable" } else { "sortable filterable" };
        let table = Markup::element("table", &[("class", class)], inside);
        // It may be wider than the window: the keyboard scrolls what it can get to.
        let around = [("class", "scroll"), ("aria-labelledby", id), ("tabindex", "0")];
        Markup::element("section", &around, table)
    }

    fn row_markup(&self, row: &Row) -> Markup {
        debug_assert_eq!(row.cells.len(), self.columns.len(), "{}", self.caption);
        let cells = row.cells.iter().zip(&self.columns).enumerate();
        let cells = cells.map(|(index, (cell, (_, align)))| {
            let class = match (cell.tone, align) {
                (Tone::Plain, align) => class_of(*align),
                (Tone::Good, _) => "good",
                (Tone::Bad, _) => "bad",
                (Tone::Faint, Align::Left) => "faint",
                (Tone::Faint, Align::Right) => "n faint",
            };
            let content = cell.content.clone();
            if index == 0 {
                Markup::element("th", &[("scope", "row"), ("class", class)], content)
            } else {
                Markup::element("td", &[("class", class)], content)
            }
        });
        Markup::element("tr", &[], cells.collect::<Markup>())
    }
}

impl Row {
    /// A cell of words.
    pub(super) fn words(&mut self, text: impl Into<Markup>) -> &mut Row {
        self.toned(text, Tone::Plain)
    }

    /// A cell of words that say how something stands.
    pub(super) fn toned(&mut self, text: impl Into<Markup>, tone: Tone) -> &mut Row {
        self.cells.push(Cell { content: text.into(), tone });
        self
    }

    /// A cell with a number.
    pub(super) fn number(&mut self, number: impl ToString) -> &mut Row {
        self.cells.push(number_cell(&number.to_string()));
        self
    }

    /// A cell with a number that may not be there.
    pub(super) fn maybe(&mut self, number: Option<impl ToString>) -> &mut Row {
        match number {
            Some(number) => self.number(number),
            None => self.number(""),
        }
    }

    /// Cells with numbers.
    pub(super) fn numbers(&mut self, numbers: impl IntoIterator<Item = u64>) -> &mut Row {
        for number in numbers {
            self.number(number);
        }
        self
    }
}

/// What is not there is a dash.
fn number_cell(text: &str) -> Cell {
    match text {
        "" | "-" => Cell { content: "\u{2013}".into(), tone: Tone::Faint },
        _ => Cell { content: text.into(), tone: Tone::Plain },
    }
}

/// The words of other forms that say how something stands.
fn tone_of(text: &str) -> Tone {
    match text {
        "worse" => Tone::Bad,
        "on the front" => Tone::Good,
        _ => Tone::Plain,
    }
}

fn class_of(align: Align) -> &'static str {
    match align {
        Align::Left => "w",
        Align::Right => "n",
    }
}
