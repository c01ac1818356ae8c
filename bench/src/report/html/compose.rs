//! The page of `compose`: the entries, what the set is worth in sample and held out, and the
//! set as a file.

use super::super::compose::{
    ABOUT, elsewhere_table, entry_table, goal, head, row_table, stopped, sum_table,
};
use super::grid::{Grid, Tone};
use super::markup::Markup;
use super::page::Page;
use crate::compose::document::{Composition, Entry, Figures, Stranger, Trial};
use crate::sweep::document::LeftOut;

pub(in crate::report) fn render(composition: &Composition) -> String {
    let mut page = Page::report("A mined instruction set".to_owned());
    page.lead(&format!("For {}, to save {}.", composition.encoding, goal(composition)));
    for line in head(composition).lines() {
        page.lead(line);
    }
    page.section("What it is worth");
    page.table(&Grid::of("Over all scripts", &sum_table(composition)));
    page.caution(
        "what a set saves on the scripts it was mined from is no promise; what it saves held out \
         says more, and no more than of scripts like these. A shared table is flash that every \
         build carries. Leave headroom before flash is ordered by such a figure.",
    );
    page.paragraph(ABOUT);
    page.section("The entries");
    page.table(&Grid::of(
        "Entries, in the order of their choice",
        &entry_table(composition, false),
    ));
    page.paragraphs(&stopped(composition));
    page.table(&entries(&composition.entries));
    page.table(&places(&composition.entries));
    page.section("Script by script");
    for (number, trials) in composition.sum_trials.iter().enumerate() {
        let table = row_table(composition, number, "script");
        page.table(&Grid::of(format!("Under {}", trials.encoding), &table));
    }
    page.table(&images(composition));
    page.table(&figures(composition));
    if let Some(elsewhere) = &composition.elsewhere {
        page.section("Elsewhere");
        page.paragraph("Scripts of another origin, which the set was not mined from.");
        page.table(&Grid::of("With the set", &elsewhere_table(elsewhere)));
        page.table(&strangers(elsewhere.rows.iter().chain([&elsewhere.sum])));
    }
    left_out(&mut page, composition);
    page.section("The set as a file");
    page.push(Markup::element("pre", &[("tabindex", "0")], &composition.set_text));
    page.section("What it was mined with");
    page.table(&asked(composition));
    page.made_by(composition.schema, &composition.lab);
    page.render()
}

/// What the table of entries leaves out.
fn entries(entries: &[Entry]) -> Grid {
    let mut grid = Grid::new("Operations of each entry, and how often it was carried out");
    grid.words("entry").numbers(&["operations", "times carried out"]);
    for entry in entries {
        grid.row().words(&entry.text).numbers([entry.parts, entry.carried_out]);
    }
    grid
}

fn places(entries: &[Entry]) -> Grid {
    let mut grid = Grid::new("Where each entry is used");
    grid.words("entry").words("script").number("uses");
    for entry in entries {
        for place in &entry.places {
            grid.row().words(&entry.text).words(&place.script).number(place.uses);
        }
    }
    grid
}

fn images(composition: &Composition) -> Grid {
    let mut grid = Grid::new("Image bytes");
    grid.words("script").words("encoding").numbers(&["in sample", "held out"]);
    let rows = composition.rows.iter().map(|row| (row.script.as_str(), &row.trials, false));
    for (script, trials, is_sum) in rows.chain([("sum", &composition.sum_trials, true)]) {
        for trials in trials {
            let line = if is_sum { grid.foot() } else { grid.row() };
            line.words(script).words(&trials.encoding);
            line.numbers([trials.in_sample.image_bytes, trials.held_out.image_bytes]);
        }
    }
    grid
}

fn figures(composition: &Composition) -> Grid {
    let mut grid = Grid::new("Without a set, and by the model that chose the entries");
    grid.words("script").words("answer").numbers(&[
        "byte",
        "leb",
        "implied",
        "byte, image",
        "implied, image",
        "operations",
        "model, in sample",
        "model, held out",
        "instructions, in sample",
        "instructions, held out",
    ]);
    for row in &composition.rows {
        let line = grid.row().words(&row.script);
        match row.answer_checked {
            true => line.toned("checked", Tone::Good),
            false => line.words("? not checked"),
        };
        line.numbers(numbers(&row.figures));
    }
    grid.foot().words("sum").words("").numbers(numbers(&composition.sum));
    grid
}

fn numbers(figures: &Figures) -> [u64; 10] {
    [
        figures.byte,
        figures.leb,
        figures.implied,
        figures.byte_image,
        figures.implied_image,
        figures.operations,
        figures.in_sample,
        figures.held_out,
        figures.dispatched_in_sample,
        figures.dispatched_held_out,
    ]
}

fn strangers<'s>(rows: impl Iterator<Item = &'s Stranger>) -> Grid {
    let mut grid = Grid::new("Image bytes there, and what was carried out");
    grid.words("script").words("encoding");
    grid.numbers(&["image bytes", "operations", "instructions"]);
    for row in rows {
        for abroad in &row.trials {
            let Trial { image_bytes, instructions, .. } = abroad.trial;
            let line = grid.row().words(&row.script).words(&abroad.encoding);
            line.numbers([image_bytes, row.operations]).maybe(instructions);
        }
    }
    grid
}

fn left_out(page: &mut Page, composition: &Composition) {
    let elsewhere = composition.elsewhere.iter().flat_map(|elsewhere| &elsewhere.left_out);
    let mut grid = Grid::new("Scripts that were not looked at");
    grid.words("script").words("what went wrong first");
    for LeftOut { script, reason } in composition.left_out.iter().chain(elsewhere) {
        grid.row().words(script).toned(reason, Tone::Bad);
    }
    if !grid.is_empty() {
        page.section("Left out");
        page.table(&grid);
    }
}

fn asked(composition: &Composition) -> Grid {
    let Composition { model, stopped, .. } = composition;
    let mut grid = Grid::new("What was asked for, what the model counts with, and where it ended");
    grid.words("what").number("number");
    let whole: [(&str, u64); 11] = [
        ("instruction bytes in the goal, per cent", composition.goal_bytes_percent.into()),
        ("of its bytes in the shared table an entry must pay, per cent", {
            composition.table_percent.into()
        }),
        ("fewest scripts an entry stands in", composition.least_programs),
        ("candidates", composition.candidates),
        ("operations with an opcode byte of their own", model.direct_operations.into()),
        ("opcode bytes that entries can have", model.entries.into()),
        ("bytes of the shared table an entry", model.table_bytes_an_entry.into()),
        ("bytes of the shared table an operation", model.table_bytes_a_part.into()),
        ("bytes of the shared table of the set", composition.table_bytes),
        ("the largest such of the sets held out", composition.held_out_table_bytes),
        ("entries", composition.entries.len() as u64),
    ];
    for (what, number) in whole {
        grid.row().words(what).number(number);
    }
    let gain = stopped.next_gain_hundredths.map(|gain| format!("{:.2}", gain as f64 / 100.0));
    grid.row().words("bytes of the goal that the next entry would gain").maybe(gain);
    grid.row().words("bytes of the table it would take").maybe(stopped.next_table_bytes);
    grid.row().words("hash of the set").number(format!("{:08x}", composition.set_hash));
    grid
}
