//! What `fit` found, for people: a line a script, and under it how that lies on a
//! board.

use crate::board::Place;
use crate::fit::document::{Document, Help, Limit, Row, Verdict, Witness};
use crate::fit::search::NEIGHBOURS;
use crate::layout::HeapLayout;

pub(super) fn render(document: &Document) -> String {
    let name_width = document.rows.iter().map(|row| row.script.chars().count()).max();
    let name_width = name_width.unwrap_or(0).max("script".len());
    let mut text = format!(
        "{:name_width$}  encoding  layout      least   steady    image  fails in\n",
        "script"
    );
    for row in &document.rows {
        let mark = if row.error.is_none() && !row.answer_checked { "?" } else { " " };
        let (encoding, layout) = (&row.encoding, row.layout.name());
        text.push_str(&format!("{:name_width$}  {encoding:8}  {layout:6} {mark} ", row.script));
        text.push_str(&figures(row));
        if let Some(needs) = row.needs.as_ref().filter(|needs| !needs.is_monotonous) {
            text.push_str(&format!(
                "    runs in {}, fails in some larger sizes: count on {}\n",
                needs.region_bytes, needs.steady_bytes
            ));
        }
        if let Some(verdict) = &row.verdict {
            text.push_str(&judgement(verdict, row));
        }
    }
    text.push_str(&about(document));
    if document.rows.iter().any(|row| row.error.is_none() && !row.answer_checked) {
        text.push_str("? no file of that name with .out: compared with the usual run alone\n");
    }
    text
}

/// What least and steady are, and what is not in them.
pub(super) fn about(document: &Document) -> String {
    format!(
        "least: bytes of RAM for heap and stack that suffice, exact to a cell ({}); steady: in \
         every size tried from there on it ran.\n\
         Both for these inputs only: leave headroom. ~: not every size was tried, but the border and {} \
         sizes on each side.\n\
         Besides it: the machine's registers ({} bytes on this host, another number on a board), the \
         stack of the program around, and what its host functions keep.\n",
        cells(document),
        NEIGHBOURS,
        document.machine_bytes_here
    )
}

/// Bytes of a cell of each layout that has a row.
fn cells(document: &Document) -> String {
    let mut cells: Vec<(HeapLayout, u64)> =
        document.rows.iter().map(|row| (row.layout, row.cell_bytes)).collect();
    cells.sort_unstable();
    cells.dedup();
    let of = |&(layout, bytes): &(HeapLayout, u64)| format!("{}: {bytes} bytes", layout.name());
    cells.iter().map(of).collect::<Vec<_>>().join(", ")
}

fn figures(row: &Row) -> String {
    match (&row.needs, &row.error) {
        (Some(needs), _) => {
            let why = needs.witness.as_ref().map(witness).unwrap_or_default();
            let mark = if needs.is_exhaustive { "" } else { "~" };
            let least = format!("{mark}{}", needs.region_bytes);
            format!("{least:>8} {:>8} {:>8}  {why}\n", needs.steady_bytes, needs.image_bytes)
        }
        (None, Some(error)) => format!("error: {}\n", error.describe()),
        (None, None) => "\n".to_owned(),
    }
}

pub(super) fn witness(witness: &Witness) -> String {
    let place = match (witness.line, witness.column, witness.code_offset) {
        (Some(line), Some(column), _) => format!(", at {line}:{column}"),
        (_, _, Some(offset)) => format!(", at code offset {offset}"),
        _ => String::new(),
    };
    let bytes = witness.wanted_bytes.map(|bytes| format!(" for {bytes} bytes"));
    let bytes = bytes.unwrap_or_default();
    let what = match witness.limit {
        Limit::Heap => "the heap has no room",
        Limit::Stack => "the stack has no room",
        Limit::Verifier => "the verifier has no room",
        Limit::Globals => "the globals have no room",
    };
    format!("{}: {what}{bytes}{place}", witness.region_bytes)
}

fn judgement(verdict: &Verdict, row: &Row) -> String {
    let answer = if verdict.fits { "fits" } else { "does not fit" };
    let mut text = format!("    {answer}\n");
    for (name, place) in [("flash", &verdict.flash), ("RAM", &verdict.ram)] {
        text.push_str(&format!("      {name:5} {}\n", sum(place)));
    }
    // Those that fit come first; where none does, the smallest image alone is told.
    let n_shown = verdict.help.iter().filter(|help| help.fits).count().max(1);
    for help in verdict.help.iter().take(n_shown) {
        let how_far = if help.fits { "would do" } else { "at best" };
        text.push_str(&format!("      {how_far}: {}\n", describe(help, verdict, row)));
    }
    if !verdict.fits && verdict.help.is_empty() {
        text.push_str("      no other image of this script takes less of what is short\n");
    }
    if !verdict.ram.fits()
        && let Some(line) = row.needs.as_ref().and_then(|needs| needs.witness.as_ref()?.line)
    {
        text.push_str(&format!("      RAM runs out in line {line} first: see there\n"));
    }
    text
}

fn sum(place: &Place) -> String {
    let Place { size, host, headroom, needs, spare } = place;
    let rest = match spare {
        0.. => format!("{spare} left"),
        _ => format!("{} missing", spare.unsigned_abs()),
    };
    format!("{size} - host {host} - headroom {headroom} - script {needs}: {rest}")
}

pub(super) fn describe(help: &Help, verdict: &Verdict, row: &Row) -> String {
    let mut how = Vec::new();
    if help.encoding != row.encoding {
        how.push(format!("encoding {}", help.encoding));
    }
    if help.layout != row.layout {
        how.push(format!("layout {}", help.layout.name()));
    }
    if !help.has_lines {
        how.push("no line table".to_owned());
    }
    let mut saved = Vec::new();
    for (name, there, here) in
        [("flash", &help.flash, &verdict.flash), ("RAM", &help.ram, &verdict.ram)]
    {
        let change = here.needs as i64 - there.needs as i64;
        match change {
            0 => {}
            1.. => saved.push(format!("{change} bytes of {name} less")),
            _ => saved.push(format!("{} bytes of {name} more", change.unsigned_abs())),
        }
    }
    let verdict = if help.fits { "fits" } else { "still does not fit" };
    format!("{}: {}: {verdict}", how.join(", "), saved.join(", "))
}
