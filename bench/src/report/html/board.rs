//! The page of `board`: what the emulated board adds to the host's rows, flash by part, then
//! those rows.

use super::super::board::suggest;
use super::super::counted;
use super::grid::{Grid, Tone};
use super::page::Page;
use super::{rows, weigh};
use crate::document::Row;
use crate::emulated::document::Document;

pub(in crate::report) fn render(document: &Document) -> String {
    let mut page = Page::report(format!("Scripts on an emulated {}", document.board));
    let n_rows = document.rows.iter().filter(|row| row.board.is_some()).count();
    page.lead(&format!(
        "{} on {}, {} bytes of flash and {} of RAM: their figures are the host's too, to the byte \
         and to the instruction.",
        counted(n_rows as u64, "row"),
        document.board,
        document.flash,
        document.ram
    ));
    page.section("On the board");
    page.table(&instructions(document));
    page.caution(&document.caveat);
    page.table(&ram(document));
    page.paragraph(
        "All RAM is data and, of what follows one another in the same bytes, the larger: stack, \
         timers, region and image while the script runs, or the pool and the stack of compiling. \
         Region: the least that heap and stack of the machine do in.",
    );
    if document.encodings.len() > 1 {
        page.paragraph(suggest(document).unwrap_or_default().trim_end());
    }
    page.table(&encodings(document));
    let mut grid = Grid::new("The board, in bytes");
    grid.words("what").number("bytes");
    grid.row().words("flash").number(document.flash);
    grid.row().words("RAM").number(document.ram);
    page.table(&grid);
    page.section("Flash of the firmware by part");
    page.table(&flash(document));
    let weighed = document.weighed();
    weigh::sums(&mut page, &weighed);
    rows::push(&mut page, &weighed.rows.iter().collect::<Vec<&Row>>());
    page.made_by(document.schema, &document.lab);
    page.render()
}

fn instructions(document: &Document) -> Grid {
    let mut grid = Grid::new("Board instructions");
    grid.words("script").words("encoding");
    grid.numbers(&["load", "run", "an operation", "compiling"]).words("live peak held against it");
    for row in &document.rows {
        let Some(board) = &row.board else { continue };
        let operations = row.weighed.figures.as_ref().map_or(1, |figures| figures.operations);
        let line = grid.row().words(&row.weighed.script).words(&row.weighed.encoding);
        line.numbers([board.load_instructions, board.run_instructions]);
        line.number(format!("{:.1}", board.run_instructions as f64 / operations.max(1) as f64));
        line.maybe(board.compile_instructions);
        match board.live_peak_compared {
            true => line.toned("yes", Tone::Good),
            false => line.words("no: not run there"),
        };
    }
    grid
}

fn ram(document: &Document) -> Grid {
    let mut grid = Grid::new("All RAM, in bytes");
    grid.words("script").words("encoding").numbers(&[
        "data",
        "stack",
        "timers",
        "region",
        "image",
        "compiling: pool",
        "compiling: stack",
        "all RAM",
    ]);
    for row in &document.rows {
        let Some(ram) = row.board.as_ref().and_then(|board| board.ram) else { continue };
        let line = grid.row().words(&row.weighed.script).words(&row.weighed.encoding);
        line.numbers([ram.data, ram.stack, ram.timers, ram.region, ram.image]);
        line.maybe(ram.compiling.map(|(pool, _)| pool));
        line.maybe(ram.compiling.map(|(_, stack)| stack)).number(ram.total());
    }
    grid
}

fn encodings(document: &Document) -> Grid {
    let mut grid = Grid::new("By encoding, over the rows that came to their end");
    grid.words("encoding").numbers(&[
        "scripts",
        "instruction bytes",
        "operations",
        "board instructions",
        "an operation",
    ]);
    for sum in &document.encodings {
        let line = grid.row().words(&sum.encoding);
        line.numbers([sum.scripts, sum.instruction_bytes, sum.operations, sum.board_instructions]);
        line.number(format!("{:.2}", sum.per_operation()));
    }
    grid
}

fn flash(document: &Document) -> Grid {
    let mut grid = Grid::new("Flash by part, in bytes: the parts add up");
    grid.words("part").number("bytes");
    for part in &document.parts.parts {
        grid.row().words(&part.name).number(part.bytes);
    }
    grid.foot().words("in all").number(document.parts.total);
    grid
}
