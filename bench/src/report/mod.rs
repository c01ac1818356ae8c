//! Rendering a document: one file a form, and the columns they share.
//!
//! It owns no figure: every renderer reads the document and returns text.

mod board;
mod checks;
pub(crate) mod columns;
mod csv;
mod fit;
mod json;
mod markdown;
mod memory;
mod svg;
mod text;

use crate::document::Document;
use crate::emulated::document::Document as OnBoard;
use crate::fit::document::Document as Fitted;
use crate::limits::Check;
use crate::memory::document::Document as Memory;

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
    /// A picture.
    Svg,
}

impl Format {
    /// The forms that `weigh` offers.
    pub const OF_WEIGH: &'static [Format] =
        &[Format::Text, Format::Json, Format::Jsonl, Format::Csv, Format::Markdown];

    /// The forms that `fit` offers.
    pub const OF_FIT: &'static [Format] = &[Format::Text, Format::Json];

    /// The forms that `memory` offers.
    pub const OF_MEMORY: &'static [Format] = &[Format::Text, Format::Json, Format::Svg];

    /// The name a command line uses.
    pub const fn name(self) -> &'static str {
        match self {
            Format::Text => "text",
            Format::Json => "json",
            Format::Jsonl => "jsonl",
            Format::Csv => "csv",
            Format::Markdown => "markdown",
            Format::Svg => "svg",
        }
    }
}

/// Renders a document, see [`Format::OF_WEIGH`]. `verbose` adds what only the text form leaves out.
pub fn render(
    document: &Document,
    format: Format,
    verbose: bool,
) -> Result<String, serde_json::Error> {
    match format {
        Format::Text | Format::Svg => Ok(text::render(document, verbose)),
        Format::Json => json::render(document),
        Format::Jsonl => json::render_lines(document),
        Format::Csv => Ok(csv::render(document)),
        Format::Markdown => Ok(markdown::render(document)),
    }
}

/// Renders where the bytes are. JSON, a picture, or else text: see
/// [`Format::OF_MEMORY`].
pub fn render_memory(document: &Memory, format: Format) -> Result<String, serde_json::Error> {
    match format {
        Format::Json => json::render(document),
        Format::Svg => Ok(svg::render(document)),
        _ => Ok(memory::render(document)),
    }
}

/// Renders limits that are not kept, or with `verbose` all of them, and their number:
/// for whoever does not read them in the document.
pub fn render_checks(checks: &[Check], verbose: bool) -> String {
    checks::render(checks, verbose)
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
