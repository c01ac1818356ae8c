//! Showing what went wrong where: `FILE:LINE:COLUMN: message`, the source line,
//! and the place underlined.
//!
//! It owns where a line begins (as ECMA-262 ends them), and how much of a long
//! line is shown. It refuses to print: it returns text, coloured if asked for.

use std::ops::Range;

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use scruple_bytecode::image::Position;
use scruple_compiler::{Diagnostic, Diagnostics};

use crate::machine::Failure;

/// Bytes of a line shown before and behind the place.
const BEFORE: usize = 60;
const BEHIND: usize = 60;

/// A source by the name that people know it by.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The name.
    pub name: &'a str,
    /// The text.
    pub text: &'a str,
}

/// All that the compiler has to say of a source.
pub fn diagnostics(source: Source<'_>, diagnostics: &Diagnostics, colour: bool) -> String {
    diagnostics.iter().map(|diagnostic| diagnostic_text(source, diagnostic, colour)).collect()
}

fn diagnostic_text(source: Source<'_>, diagnostic: &Diagnostic, colour: bool) -> String {
    let note = diagnostic.clause().map(|clause| format!("ECMA-262, {clause}"));
    show(source, diagnostic.message(), diagnostic.position(), diagnostic.span(), note, colour)
}

/// What ended a run. The source of a packed script is not at hand: of that, the
/// place alone is told.
pub fn failure(source: Source<'_>, failure: &Failure, colour: bool) -> String {
    let Failure { message, position, code_offset, .. } = failure;
    let position = match (*position, code_offset) {
        (Some(position), _) if source.text.is_empty() => {
            return format!("{}:{position}: {message}\n", source.name);
        }
        (Some(position), _) => position,
        (None, Some(offset)) => {
            return format!("{}: code offset {offset}: {message}\n", source.name);
        }
        (None, None) => return format!("{}: {message}\n", source.name),
    };
    let at = offset(source.text, position);
    let width = source.text[at..].chars().next().map_or(0, char::len_utf8);
    show(source, message, position, at..at + width, None, colour)
}

fn show(
    source: Source<'_>,
    message: &str,
    position: Position,
    span: Range<usize>,
    note: Option<String>,
    colour: bool,
) -> String {
    let level = Level::ERROR;
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
    let (window, place) = window(source.text, span);
    let snippet = Snippet::source(window)
        .line_start(position.line as usize)
        .fold(false)
        .annotation(AnnotationKind::Primary.span(place));
    let mut group = Group::with_level(level).element(snippet);
    if let Some(note) = note {
        group = group.element(Level::NOTE.message(note));
    }
    let bold = if colour { ("\x1b[1m", "\x1b[0m") } else { ("", "") };
    let head = format!("{}:{position}: {message}", source.name);
    format!("{}{head}{}\n{}\n", bold.0, bold.1, renderer.render(&[group]))
}

/// The line that a span begins in, cut where it is long, and the span in it.
fn window(text: &str, span: Range<usize>) -> (String, Range<usize>) {
    let start = floor(text, span.start);
    let line_start = text[..start]
        .char_indices()
        .rev()
        .find(|&(_, ch)| is_line_end(ch))
        .map_or(0, |(at, ch)| at + ch.len_utf8());
    let line_end = text[start..].find(is_line_end).map_or(text.len(), |length| start + length);
    let from = if start - line_start > BEFORE { floor(text, start - BEFORE) } else { line_start };
    let to = if line_end - start > BEHIND { floor(text, start + BEHIND) } else { line_end };
    let cut = |is_cut: bool| if is_cut { "…" } else { "" };
    let (head, tail) = (cut(from > line_start), cut(to < line_end));
    let window = format!("{head}{}{tail}", &text[from..to]);
    let place_start = head.len() + start - from;
    let place_end = head.len() + floor(text, span.end.clamp(start, to)) - from;
    (window, place_start..place_end)
}

/// Where a position lies in a source, or the source's end.
fn offset(text: &str, position: Position) -> usize {
    let mut line = 1;
    let mut column = 1;
    let mut chars = text.char_indices().peekable();
    while let Some((at, ch)) = chars.next() {
        if (line, column) == (position.line, position.column) {
            return at;
        }
        let ends_line =
            is_line_end(ch) && !(ch == '\r' && chars.peek().is_some_and(|&(_, next)| next == '\n'));
        if ends_line {
            if line == position.line {
                return at;
            }
            line += 1;
            column = 1;
        } else {
            column += 1;
        }
    }
    text.len()
}

/// ECMA-262, LineTerminator.
pub(crate) fn is_line_end(ch: char) -> bool {
    matches!(ch, '\n' | '\r' | '\u{2028}' | '\u{2029}')
}

fn floor(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(line: u32, column: u32) -> Position {
        Position { line, column }
    }

    #[test]
    fn positions_count_code_points_and_every_line_terminator() {
        let text = "ab\r\nc\u{e9}d\u{2028}e\n";
        assert_eq!(offset(text, at(1, 2)), 1);
        assert_eq!(offset(text, at(2, 3)), text.find('d').unwrap());
        assert_eq!(offset(text, at(3, 1)), text.find('e').unwrap());
        assert_eq!(offset(text, at(9, 1)), text.len());
    }

    #[test]
    fn a_long_line_is_cut_around_the_place() {
        let text = format!("{}!{}", "a".repeat(10_000), "b".repeat(10_000));
        let (window, place) = window(&text, 10_000..10_001);
        assert!(window.len() < 200, "{window}");
        assert_eq!(&window[place], "!");
        assert!(window.starts_with('…') && window.ends_with('…'));
    }

    #[test]
    fn a_span_over_several_lines_is_shown_where_it_begins() {
        let (window, place) = window("one\ntwo (\nthree", 8..12);
        assert_eq!((window.as_str(), place), ("two (", 8 - 4..5));
        let (window, place) = super::window("one", 3..3);
        assert_eq!((window.as_str(), place), ("one", 3..3));
    }
}
