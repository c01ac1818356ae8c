//! Rendering a document: one file a form, and the columns they share.
//!
//! It owns no figure: every renderer reads the document and returns text.

mod board;
mod checks;
pub(crate) mod columns;
mod compare;
mod compose;
mod csv;
mod escape;
mod fit;
mod html;
mod json;
mod markdown;
mod memory;
mod operations;
mod splice;
mod svg;
mod sweep;
mod sweep_svg;
mod sweep_time_svg;
mod tables;
mod text;

use scruple_bytecode::image::Image;

use crate::compare::document::Comparison;
use crate::compose::document::Composition;
use crate::document::Document;
use crate::emulated::document::Document as OnBoard;
use crate::fit::document::Document as Fitted;
use crate::limits::Check;
use crate::listed::Listed;
use crate::memory::document::Document as Memory;
use crate::operations::document::Document as Operations;
use crate::sweep::document::Sweep;
use crate::trace::Line;

pub use escape::visible;
pub use splice::{NoPlace, spliced};

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
    /// A page for a browser, with every figure of the document: one file, no network.
    Html,
}

impl Format {
    /// The forms that `weigh` offers.
    pub const OF_WEIGH: &'static [Format] =
        &[Format::Text, Format::Json, Format::Jsonl, Format::Csv, Format::Markdown, Format::Html];

    /// The forms that `fit` and `board` offer.
    pub const OF_FIT: &'static [Format] = &[Format::Text, Format::Json, Format::Html];

    /// The forms that `sweep` offers.
    pub const OF_SWEEP: &'static [Format] =
        &[Format::Text, Format::Json, Format::Csv, Format::Markdown, Format::Svg, Format::Html];

    /// The forms that `operations` offers.
    pub const OF_OPERATIONS: &'static [Format] =
        &[Format::Text, Format::Json, Format::Csv, Format::Markdown, Format::Html];

    /// The forms that `compare` and `compose` offer.
    pub const OF_COMPARE: &'static [Format] =
        &[Format::Text, Format::Json, Format::Markdown, Format::Html];

    /// The forms that `memory` offers.
    pub const OF_MEMORY: &'static [Format] =
        &[Format::Text, Format::Json, Format::Svg, Format::Html];

    /// The forms that `listing` and `trace` offer.
    pub const OF_LISTING: &'static [Format] = &[Format::Text, Format::Html];

    /// The name a command line uses.
    pub const fn name(self) -> &'static str {
        match self {
            Format::Text => "text",
            Format::Json => "json",
            Format::Jsonl => "jsonl",
            Format::Csv => "csv",
            Format::Markdown => "markdown",
            Format::Svg => "svg",
            Format::Html => "html",
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
        Format::Html => Ok(html::weigh::render(document)),
    }
}

/// Renders where the bytes are. JSON, a picture, a page, or else text: see
/// [`Format::OF_MEMORY`].
pub fn render_memory(document: &Memory, format: Format) -> Result<String, serde_json::Error> {
    match format {
        Format::Json => json::render(document),
        Format::Svg => Ok(svg::render(document)),
        Format::Html => Ok(html::memory::render(document)),
        _ => Ok(memory::render(document)),
    }
}

/// Renders limits that are not kept, or with `verbose` all of them, and their number:
/// for whoever does not read them in the document.
pub fn render_checks(checks: &[Check], verbose: bool) -> String {
    checks::render(checks, verbose)
}

/// Renders what `fit` found. JSON, a page, or else text: see [`Format::OF_FIT`].
pub fn render_fit(document: &Fitted, format: Format) -> Result<String, serde_json::Error> {
    match format {
        Format::Json => json::render(document),
        Format::Html => Ok(html::fit::render(document)),
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
        Format::Html => Ok(html::board::render(document)),
        _ => json::render(document),
    }
}

/// Renders a sweep, see [`Format::OF_SWEEP`].
pub fn render_sweep(document: &Sweep, format: Format) -> Result<String, serde_json::Error> {
    match format {
        Format::Text | Format::Jsonl => Ok(sweep::text(document)),
        Format::Json => json::render(document),
        Format::Csv => Ok(sweep::csv(document)),
        Format::Markdown => Ok(sweep::markdown(document)),
        Format::Svg => Ok(sweep_svg::render(document)),
        Format::Html => Ok(html::sweep::render(document)),
    }
}

/// Renders the table of operations, see [`Format::OF_OPERATIONS`]. `verbose` adds what only
/// the text form leaves out.
pub fn render_operations(
    document: &Operations,
    format: Format,
    verbose: bool,
) -> Result<String, serde_json::Error> {
    match format {
        Format::Json => json::render(document),
        Format::Csv => Ok(operations::csv(document)),
        Format::Markdown => Ok(operations::markdown(document)),
        Format::Html => Ok(html::operations::render(document)),
        _ => Ok(operations::text(document, verbose)),
    }
}

/// Renders a comparison: JSON, Markdown, a page, or else text. `verbose` shows every row that
/// differs; a page shows them anyway.
pub fn render_comparison(
    document: &Comparison,
    format: Format,
    verbose: bool,
) -> Result<String, serde_json::Error> {
    match format {
        Format::Json => json::render(document),
        Format::Markdown => Ok(compare::markdown(document, verbose)),
        Format::Html => Ok(html::compare::render(document)),
        _ => Ok(compare::text(document, verbose)),
    }
}

/// Renders a mined instruction set: JSON, Markdown, a page, or else text. `verbose` shows every
/// place of an entry; a page shows them anyway.
pub fn render_composition(
    document: &Composition,
    format: Format,
    verbose: bool,
) -> Result<String, serde_json::Error> {
    match format {
        Format::Json => json::render(document),
        Format::Markdown => Ok(compose::markdown(document, verbose)),
        Format::Html => Ok(html::compose::render(document)),
        _ => Ok(compose::text(document, verbose)),
    }
}

/// Renders a listing as a page: the source beside the bytes.
pub fn render_listing(listed: &Listed) -> String {
    html::listing::render(listed)
}

/// Renders what a tracer saw of a run of that image as a page, beside the functions it saw.
/// `ended` is why the run ended early, if it did.
pub fn render_trace(
    listed: &Listed,
    image: &Image<'_>,
    lines: &[Line],
    ended: Option<&str>,
) -> String {
    html::trace::render(listed, image, lines, ended)
}

/// So many of a thing, in words: `1 script`, `2 scripts`, `0 entries`.
pub fn counted(number: u64, thing: &str) -> String {
    match (number, thing.strip_suffix('y')) {
        (1, _) => format!("1 {thing}"),
        (_, Some(stem)) => format!("{number} {stem}ies"),
        _ => format!("{number} {thing}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_of_a_thing_is_no_plural() {
        assert_eq!(counted(1, "script"), "1 script");
        assert_eq!(counted(0, "script"), "0 scripts");
        assert_eq!(counted(1, "entry"), "1 entry");
        assert_eq!(counted(21, "entry"), "21 entries");
    }
}
