//! The page of `trace`: what each instruction of a window took and left, beside source and
//! listing.
//!
//! It owns which row of the listing a step is at. With its script one goes from step to step;
//! without it every step stands there all the same, and its place is a link.

use std::collections::HashMap;

use scruple_bytecode::image::Image;

use super::super::counted;
use super::code::{self, line_name, link, part_name, place_name};
use super::markup::Markup;
use super::page::Page;
use crate::listed::{Listed, Row};
use crate::trace::{Done, Line};

/// Buttons of the stepper: an id, what it says, the key that does the same.
const BUTTONS: [(&str, &str, &str); 6] = [
    ("first", "First", "Home"),
    ("line-back", "Line back", "Shift and left arrow"),
    ("back", "Back", "left arrow"),
    ("forward", "Forward", "right arrow"),
    ("line-forward", "Line forward", "Shift and right arrow"),
    ("last", "Last", "End"),
];

/// Renders the steps of a run of that image; `ended` is why it ended early, if it did.
pub(in crate::report) fn render(
    listed: &Listed,
    image: &Image<'_>,
    lines: &[Line],
    ended: Option<&str>,
) -> String {
    let mut page = Page::steps(format!("Steps of {}", listed.script)).wide();
    page.lead(&summary(listed, lines));
    // One section: what goes from step to step stays in sight over all of it.
    page.section("Steps");
    page.push(stepper());
    code::push(&mut page, listed);
    page.paragraph(
        "Taken are the operands before an operation, left what it put in their place, the top of the \
         stack last. A + in the place of a number: a further operation of the instruction above.",
    );
    page.push(steps(listed, image, lines));
    if let Some(ended) = ended {
        page.section("How the run ended");
        page.push(Markup::element("pre", &[("class", "bad"), ("tabindex", "0")], ended));
    }
    page.section("Bytes");
    code::image(&mut page, listed);
    page.caution(
        "a step is an instruction of this machine, counted as weigh and memory count; how long one \
         takes on a board, it does not say.",
    );
    page.render()
}

fn summary(listed: &Listed, lines: &[Line]) -> String {
    let n_instructions = lines.iter().filter(|line| !line.is_part).count() as u64;
    let from = lines.first().map_or(0, |line| line.number);
    format!(
        "{} under {}, from number {from} of the run on; {} seen.",
        counted(n_instructions, "instruction"),
        listed.encoding,
        counted(listed.functions.len() as u64, "function")
    )
}

/// What the script fills and shows.
fn stepper() -> Markup {
    let buttons = BUTTONS.iter().map(|(id, text, key)| {
        let attributes = [("type", "button"), ("id", *id), ("title", *key)];
        Markup::element("button", &attributes, *text)
    });
    let mut inside = Markup::element("div", &[("class", "buttons")], buttons.collect::<Markup>());
    // Filled by the script; a reader that speaks reads it out at each step.
    inside.push(Markup::element("p", &[("id", "now"), ("role", "status")], ""));
    let keys: Vec<String> =
        BUTTONS.iter().map(|(_, text, key)| format!("{}: {key}", text.to_lowercase())).collect();
    inside.push(Markup::element("p", &[("class", "keys")], format!("Keys: {}.", keys.join(", "))));
    let attributes =
        [("id", "stepper"), ("role", "group"), ("aria-label", "Steps"), ("hidden", "")];
    Markup::element("div", &attributes, inside)
}

fn steps(listed: &Listed, image: &Image<'_>, lines: &[Line]) -> Markup {
    let names: HashMap<usize, &str> =
        listed.functions.iter().map(|one| (one.number, one.name.as_str())).collect();
    // How many operations of an instruction were carried out before.
    let mut n_before: HashMap<u64, usize> = HashMap::new();
    let rows = (1..).zip(lines).map(|(step, line)| {
        let part = n_before.entry(line.number).or_default();
        *part += 1;
        let row = row_of(listed, line.step.at);
        let place = match row {
            Some(row) if row.joined.is_some() => part_name(row.at, *part),
            _ => place_name(line.step.at),
        };
        let function = image.function_at(line.step.at).map(|id| id.index());
        let function = function.and_then(|number| names.get(&number)).copied();
        let of = row.and_then(|row| row.line);
        let number = if line.is_part { "+".to_owned() } else { line.number.to_string() };
        let id = format!("step-{step}");
        let mut cells =
            Markup::element("th", &[("scope", "row"), ("class", "n")], link(&id, number));
        cells.push(Markup::element("td", &[], function.unwrap_or_default()));
        let number = match of {
            Some(of) if of as usize <= listed.source.len() => link(&line_name(of), of.to_string()),
            Some(of) => of.to_string().into(),
            None => Markup::default(),
        };
        cells.push(Markup::element("td", &[("class", "n")], number));
        let at = format!("{:04x}", line.step.at);
        let at = if row.is_some() { link(&place, at) } else { at.into() };
        cells.push(Markup::element("td", &[], at));
        cells.push(Markup::element("td", &[("class", "op")], line.operation(image)));
        cells.push(Markup::element("td", &[("class", "value")], line.taken.join(" ")));
        let class = match line.done {
            Done::Threw(_) => "value bad",
            _ => "value",
        };
        cells.push(Markup::element("td", &[("class", class)], line.done.describe()));
        let of = of.map(line_name).unwrap_or_default();
        let attributes = [("id", id.as_str()), ("data-place", &place), ("data-line", &of)];
        Markup::element("tr", &attributes, cells)
    });
    let rows = rows.collect::<Markup>();
    let headings = ["number", "function", "line", "place", "operation", "taken", "left"];
    let headings = headings.map(|name| {
        let class = if matches!(name, "number" | "line") { "n" } else { "w" };
        Markup::element("th", &[("scope", "col"), ("class", class)], name)
    });
    let headings = Markup::element("tr", &[], headings.into_iter().collect::<Markup>());
    let mut inside = Markup::element("caption", &[("id", "steps-caption")], "Every step");
    inside.push(Markup::element("thead", &[], headings));
    inside.push(Markup::element("tbody", &[], rows));
    let table = Markup::element("table", &[("id", "steps")], inside);
    let around = [("class", "scroll"), ("aria-labelledby", "steps-caption"), ("tabindex", "0")];
    Markup::element("section", &around, table)
}

/// The row of the listing that a place is in.
fn row_of(listed: &Listed, at: usize) -> Option<&Row> {
    let function = listed.functions.iter().find(|function| function.code.contains(&at))?;
    let behind = function.rows.partition_point(|row| row.at <= at);
    function.rows.get(behind.checked_sub(1)?)
}
