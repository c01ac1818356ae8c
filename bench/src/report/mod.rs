//! Rendering a document: one file a form, and the columns they share.
//!
//! It owns no figure: every renderer reads the document and returns text.

mod board;
mod columns;
mod csv;
mod fit;
mod json;
mod markdown;
mod text;

use crate::document::Document;
use crate::emulated::document::Document as OnBoard;
use crate::fit::document::Document as Fitted;

/// A form a document can take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// A table for people.
    Text,
    /// One JSON object; its schema is `schema/weigh.json`.
    Json,
    /// One JSON object a row.
    Jsonl,
    /// A table for spreadsheets.
    Csv,
    /// A table for a document.
    Markdown,
}

impl Format {
    /// Every form.
    pub const ALL: &'static [Format] =
        &[Format::Text, Format::Json, Format::Jsonl, Format::Csv, Format::Markdown];

    /// The forms that `fit` offers.
    pub const OF_FIT: &'static [Format] = &[Format::Text, Format::Json];

    /// The name a command line uses.
    pub const fn name(self) -> &'static str {
        match self {
            Format::Text => "text",
            Format::Json => "json",
            Format::Jsonl => "jsonl",
            Format::Csv => "csv",
            Format::Markdown => "markdown",
        }
    }
}

/// Renders a document. `verbose` adds what only the text form leaves out.
pub fn render(
    document: &Document,
    format: Format,
    verbose: bool,
) -> Result<String, serde_json::Error> {
    match format {
        Format::Text => Ok(text::render(document, verbose)),
        Format::Json => json::render(document),
        Format::Jsonl => json::render_lines(document),
        Format::Csv => Ok(csv::render(document)),
        Format::Markdown => Ok(markdown::render(document)),
    }
}

/// Renders what `fit` found. JSON, or else text: see [`Format::OF_FIT`].
pub fn render_fit(document: &Fitted, format: Format) -> Result<String, serde_json::Error> {
    match format {
        Format::Json => json::render(document),
        _ => Ok(fit::render(document)),
    }
}

/// Renders what `board` found. Forms other than [`Format::OF_FIT`] fall back to
/// JSON.
pub fn render_board(
    document: &OnBoard,
    format: Format,
    verbose: bool,
) -> Result<String, serde_json::Error> {
    match format {
        Format::Text => Ok(board::render(document, verbose)),
        _ => json::render(document),
    }
}
