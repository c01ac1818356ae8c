//! The page of `fit`: the least RAM of each script, and how that lies on a board.

use super::super::counted;
use super::super::fit::{about, describe, witness};
use super::grid::{Grid, Tone};
use super::markup::Markup;
use super::page::Page;
use super::rows;
use crate::board::Place;
use crate::fit::document::{Document, Row, Verdict, Witness};

pub(in crate::report) fn render(document: &Document) -> String {
    let mut page = Page::report("The least RAM".to_owned());
    page.lead(&summary(document));
    let failed = document.rows.iter().filter_map(|row| Some((row, row.error.as_ref()?)));
    rows::errors(
        &mut page,
        failed.map(|(row, error)| (row.script.as_str(), row.encoding.as_str(), row.layout, error)),
    );
    page.section("What each script needs");
    page.table(&needs(&document.rows));
    page.paragraphs(&about(document));
    page.caution(
        "the least and the steady RAM are for these inputs only, and least is where the run only \
         just finishes: leave headroom for others.",
    );
    if document.rows.iter().any(|row| row.error.is_none() && !row.answer_checked) {
        page.caution("? no file of that name with .out: compared with the usual run alone.");
    }
    page.section("Where it fails in less");
    page.table(&witnesses(&document.rows));
    let mut grid = Grid::new("Besides the region");
    grid.words("what").number("bytes");
    let machine = "the machine's registers, on this host: another number on a board";
    grid.row().words(machine).number(document.machine_bytes_here);
    page.table(&grid);
    if document.board.is_some() {
        on_board(&mut page, document);
    }
    page.made_by(document.schema, &document.lab);
    page.render()
}

fn summary(document: &Document) -> String {
    let rows = counted(document.rows.len() as u64, "row");
    let failed = document.rows.iter().filter(|row| row.error.is_some()).count();
    let fits = |row: &&Row| row.verdict.as_ref().is_some_and(|verdict| verdict.fits);
    match document.board {
        Some(_) => {
            let fit = document.rows.iter().filter(fits).count();
            format!("{rows}: {fit} on the board, {failed} without figures.")
        }
        None => format!("{rows}, {failed} of them without figures."),
    }
}

/// The columns that say which row it is.
fn name<'g>(grid: &'g mut Grid, row: &Row) -> &'g mut super::grid::Row {
    grid.row().words(&row.script).words(&row.encoding).words(row.layout.name())
}

fn needs(rows: &[Row]) -> Grid {
    let mut grid = Grid::new("Bytes of RAM for heap and stack, and of flash for the image");
    grid.words("script").words("encoding").words("layout").words("answer").numbers(&[
        "least RAM",
        "steady RAM",
        "image",
        "exact to",
        "sizes tried",
    ]);
    grid.words("every size tried").words("runs in all from least on");
    for row in rows {
        let line = name(&mut grid, row);
        match &row.error {
            Some(_) => line.toned("error", Tone::Bad),
            None if row.answer_checked => line.toned("checked", Tone::Good),
            None => line.words("? not checked"),
        };
        let needs = row.needs.as_ref();
        line.maybe(needs.map(|needs| needs.region_bytes));
        line.maybe(needs.map(|needs| needs.steady_bytes));
        line.maybe(needs.map(|needs| needs.image_bytes)).number(row.cell_bytes);
        line.maybe(needs.map(|needs| needs.n_tries));
        let said = |is_so, no: &'static str| if is_so { "yes" } else { no };
        line.words(needs.map_or("", |needs| said(needs.is_exhaustive, "~ no: near the border")));
        match needs.map(|needs| needs.is_monotonous) {
            Some(true) => line.words("yes"),
            Some(false) => line.toned("no: count on steady", Tone::Bad),
            None => line.words(""),
        };
    }
    grid
}

fn witnesses(rows: &[Row]) -> Grid {
    let mut grid = Grid::new("The largest region that failed, and what found no room in it");
    grid.words("script").words("encoding").words("layout");
    grid.numbers(&["region bytes", "wanted bytes", "code offset", "line", "column"]).words("what");
    for row in rows {
        let Some(failed) = row.needs.as_ref().and_then(|needs| needs.witness.as_ref()) else {
            continue;
        };
        let Witness { region_bytes, wanted_bytes, code_offset, line, column, .. } = *failed;
        let cells = name(&mut grid, row).number(region_bytes);
        cells.maybe(wanted_bytes).maybe(code_offset).maybe(line).maybe(column);
        cells.words(witness(failed));
    }
    grid
}

fn on_board(page: &mut Page, document: &Document) {
    page.section("On the board");
    let mut grid = Grid::new("The board, as its file tells it");
    grid.words("what").number("number");
    if let Some(board) = document.board {
        for (what, number) in [
            ("flash, bytes", board.flash),
            ("RAM, bytes", board.ram),
            ("flash of the program around, bytes", board.host_flash),
            ("RAM of the program around, bytes", board.host_ram),
            ("to stay free, per cent", board.headroom),
        ] {
            grid.row().words(what).number(number);
        }
    }
    page.table(&grid);
    let mut grid =
        Grid::new("Size less what is taken is what is left; below zero, what is missing");
    grid.words("script").words("encoding").words("layout").words("verdict").words("of");
    grid.numbers(&["size", "host", "headroom", "script", "left"]);
    let mut help = Vec::new();
    for row in &document.rows {
        let Some(verdict) = &row.verdict else { continue };
        for (what, place) in [("flash", &verdict.flash), ("RAM", &verdict.ram)] {
            let line = name(&mut grid, row);
            match verdict.fits {
                true => line.toned("fits", Tone::Good),
                false => line.toned("does not fit", Tone::Bad),
            };
            push_place(line.words(what), place);
        }
        help.extend(advice(row, verdict));
    }
    page.table(&grid);
    page.list(help);
    page.table(&others(&document.rows));
}

fn push_place(line: &mut super::grid::Row, place: &Place) {
    line.numbers([place.size, place.host, place.headroom, place.needs]).number(place.spare);
}

/// What the text form says below a script that does not fit.
fn advice(row: &Row, verdict: &Verdict) -> Vec<Markup> {
    let mut said = Vec::new();
    for help in &verdict.help {
        let how_far = if help.fits { "would do" } else { "at best" };
        said.push(format!("{}: {how_far}: {}", row.script, describe(help, verdict, row)).into());
    }
    if !verdict.fits && verdict.help.is_empty() {
        let none = "no other image of this script takes less of what is short";
        said.push(format!("{}: {none}", row.script).into());
    }
    let line = row.needs.as_ref().and_then(|needs| needs.witness.as_ref()?.line);
    if let Some(line) = line.filter(|_| !verdict.ram.fits()) {
        said.push(format!("{}: RAM runs out in line {line} first: see there", row.script).into());
    }
    said
}

/// Other images and layouts of the scripts that do not fit, each measured.
fn others(rows: &[Row]) -> Grid {
    let mut grid = Grid::new("Other ways that were measured for what does not fit");
    grid.words("script").words("encoding").words("layout").words("line table").words("verdict");
    grid.words("of").numbers(&["size", "host", "headroom", "script", "left"]);
    for row in rows {
        for help in row.verdict.iter().flat_map(|verdict| &verdict.help) {
            for (what, place) in [("flash", &help.flash), ("RAM", &help.ram)] {
                let line = grid.row().words(&row.script).words(&help.encoding);
                line.words(help.layout.name()).words(if help.has_lines { "yes" } else { "no" });
                match help.fits {
                    true => line.toned("fits", Tone::Good),
                    false => line.toned("does not fit", Tone::Bad),
                };
                push_place(line.words(what), place);
            }
        }
    }
    grid
}
