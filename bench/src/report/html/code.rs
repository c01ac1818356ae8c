//! Source and listing side by side, for the pages of `listing` and `trace`.
//!
//! It owns the names that links go by: `line-7`, `at-0042`, `at-0042-1` for the first operation
//! of an instruction that has several, `function-3`.

use std::collections::HashMap;

use super::grid::Grid;
use super::markup::Markup;
use super::page::Page;
use crate::listed::{Function, Listed, Operation, Row, Target};

/// The name of a source line.
pub(super) fn line_name(line: u32) -> String {
    format!("line-{line}")
}

/// The name of an instruction.
pub(super) fn place_name(at: usize) -> String {
    format!("at-{at:04x}")
}

/// The name of an operation of an instruction that has several, from 1.
pub(super) fn part_name(at: usize, part: usize) -> String {
    format!("at-{at:04x}-{part}")
}

fn function_name(number: usize) -> String {
    format!("function-{number}")
}

pub(super) fn link(to: &str, content: impl Into<Markup>) -> Markup {
    Markup::element("a", &[("href", &format!("#{to}"))], content)
}

/// Both, side by side where there is room.
pub(super) fn push(page: &mut Page, listed: &Listed) {
    let mut both = Markup::default();
    if !listed.source.is_empty() {
        both.push(pane("source", "Source", source(listed)));
    }
    let functions = listed.functions.iter().map(|one| function(listed, one));
    both.push(pane("listing", "Listing", functions.collect::<Markup>()));
    page.push(Markup::element("div", &[("class", "panes")], both));
}

fn pane(id: &'static str, name: &'static str, content: Markup) -> Markup {
    let heading = format!("{id}-heading");
    let attributes =
        [("class", "pane"), ("id", id), ("aria-labelledby", heading.as_str()), ("tabindex", "0")];
    let mut inside = Markup::element("h3", &[("id", &heading)], name);
    inside.push(content);
    Markup::element("section", &attributes, inside)
}

/// The source; the number of a line that has instructions leads to the first of them.
fn source(listed: &Listed) -> Markup {
    let mut first: HashMap<u32, usize> = HashMap::new();
    for row in listed.functions.iter().flat_map(|function| &function.rows) {
        if let Some(line) = row.line {
            first.entry(line).or_insert(row.at);
        }
    }
    let lines = (1..).zip(&listed.source).map(|(line, text): (u32, &String)| {
        let number = match first.get(&line) {
            Some(at) => link(&place_name(*at), line.to_string()),
            None => line.to_string().into(),
        };
        let mut cells = Markup::element("th", &[("scope", "row"), ("class", "n")], number);
        let code = Markup::element("code", &[], text);
        cells.push(Markup::element("td", &[], code));
        Markup::element("tr", &[("id", &line_name(line))], cells)
    });
    let mut inside = Markup::element("caption", &[], listed.script.as_str());
    inside.push(head(&["line", "text"]));
    inside.push(Markup::element("tbody", &[], lines.collect::<Markup>()));
    Markup::element("table", &[("class", "code")], inside)
}

fn head(names: &[&str]) -> Markup {
    let cells = names.iter().map(|name| Markup::element("th", &[("scope", "col")], *name));
    let row = Markup::element("tr", &[], cells.collect::<Markup>());
    Markup::element("thead", &[], row)
}

/// A function's instructions, under the source lines they are of.
fn function(listed: &Listed, function: &Function) -> Markup {
    let mut caption = Markup::default();
    for (number, line) in function.head.iter().enumerate() {
        if number > 0 {
            caption.push(Markup::void("br", &[]));
        }
        caption.push(line);
    }
    let mut inside = Markup::element("caption", &[], caption);
    inside.push(head(&["place", "bytes", "instruction", "stack effect"]));
    let mut shown = None;
    let mut group = Markup::default();
    for row in &function.rows {
        if row.line != shown {
            shown = row.line;
            if !group.is_empty() {
                inside.push(Markup::element("tbody", &[], std::mem::take(&mut group)));
            }
            group.push(line_heading(listed, shown));
        }
        group.push(instruction(listed, row));
    }
    if !group.is_empty() {
        inside.push(Markup::element("tbody", &[], group));
    }
    let id = function_name(function.number);
    Markup::element("table", &[("class", "code"), ("id", &id)], inside)
}

fn line_heading(listed: &Listed, line: Option<u32>) -> Markup {
    let Some(line) = line else { return Markup::default() };
    let text = (line as usize).checked_sub(1).and_then(|index| listed.source.get(index));
    let content = match text {
        Some(text) => {
            let mut content = link(&line_name(line), line.to_string());
            content.push(": ");
            content.push(Markup::element("code", &[], text.trim()));
            content
        }
        None => format!("line {line}").into(),
    };
    let cell =
        Markup::element("th", &[("scope", "rowgroup"), ("colspan", "4"), ("class", "of")], content);
    Markup::element("tr", &[], cell)
}

fn instruction(listed: &Listed, row: &Row) -> Markup {
    let bytes: Vec<String> = row.bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    let mark = if row.is_label { ":" } else { "" };
    let mut cells = Markup::element("th", &[("scope", "row")], format!("{:04x}{mark}", row.at));
    cells.push(Markup::element("td", &[("class", "bytes")], bytes.join(" ")));
    let id = place_name(row.at);
    match (&row.joined, row.operations.first()) {
        (Some((text, back)), _) => {
            let text = match back {
                Some(at) if is_listed(listed, *at) => link(&place_name(*at), text),
                _ => text.into(),
            };
            cells.push(Markup::element("td", &[("colspan", "2"), ("class", "op")], text));
            let mut rows = Markup::element("tr", &[("id", &id)], cells);
            for (number, operation) in row.operations.iter().enumerate() {
                let mut cells = Markup::element("td", &[("colspan", "2")], "");
                cells.push(operation_cells(listed, operation, true));
                let id = part_name(row.at, number + 1);
                rows.push(Markup::element("tr", &[("id", &id)], cells));
            }
            rows
        }
        (None, Some(operation)) => {
            cells.push(operation_cells(listed, operation, false));
            Markup::element("tr", &[("id", &id)], cells)
        }
        (None, None) => Markup::element("tr", &[("id", &id)], cells),
    }
}

fn operation_cells(listed: &Listed, operation: &Operation, is_part: bool) -> Markup {
    let (name, operand) = operation.text.split_once(' ').unwrap_or((&operation.text, ""));
    let to = match operation.target {
        Some(Target::Place(at)) if is_listed(listed, at) => Some(place_name(at)),
        Some(Target::Function(number)) => {
            let mut functions = listed.functions.iter();
            functions.any(|function| function.number == number).then(|| function_name(number))
        }
        _ => None,
    };
    let mut content = Markup::text(name);
    if !operand.is_empty() {
        content.push(" ");
        match to {
            Some(to) => content.push(link(&to, operand)),
            None => content.push(operand),
        }
    }
    let class = if is_part { "part" } else { "op" };
    let mut cells = Markup::element("td", &[("class", class)], content);
    cells.push(Markup::element("td", &[("class", "effect")], operation.picture));
    cells
}

/// Whether a place is one of an instruction on the page.
fn is_listed(listed: &Listed, at: usize) -> bool {
    let mut functions = listed.functions.iter().filter(|function| function.code.contains(&at));
    functions.any(|function| function.rows.binary_search_by_key(&at, |row| row.at).is_ok())
}

/// The bytes of the whole image.
pub(super) fn image(page: &mut Page, listed: &Listed) {
    let mut grid = Grid::new("Bytes of the whole image: the parts add up");
    grid.words("part").number("bytes");
    let image = &listed.image;
    for (part, bytes) in [
        ("header", image.header),
        ("constants", image.constants),
        ("functions", image.functions),
        ("instructions", image.instructions),
        ("padding", image.padding),
        ("lines", image.lines),
    ] {
        grid.row().words(part).number(bytes);
    }
    grid.foot().words("all of it").number(image.total);
    page.table(&grid);
}
