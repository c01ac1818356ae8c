//! The page of `compare`: the verdict, all rows together, then every figure that differs.

use super::super::compare::{change_table, head, most_first, sum_table, verdict_line};
use super::super::counted;
use super::grid::{Grid, Tone};
use super::page::Page;
use crate::compare::document::{Change, Comparison, Sum};

pub(in crate::report) fn render(comparison: &Comparison) -> String {
    let mut page = Page::report("Before and after".to_owned());
    page.lead(head(comparison).trim_end());
    page.section("Verdict");
    match &comparison.verdict {
        Some(verdict) => {
            let mut grid = Grid::new("Whether nothing became worse, that is larger");
            grid.words("verdict").numbers(&["allowed, per cent", "figures worse", "not measured"]);
            let line = grid.row();
            match verdict.holds {
                true => line.toned("no worse", Tone::Good),
                false => line.toned("worse", Tone::Bad),
            };
            line.number(verdict.allowed_thousandths as f64 / 1000.0);
            line.numbers([verdict.worse, verdict.not_measured]);
            page.table(&grid);
            page.paragraph(format!("{}.", verdict_line(verdict)));
            page.paragraph(format!("Metrics that count: {}.", verdict.metrics.join(", ")));
        }
        None => page.paragraph("None was asked for (--fail-on-worse)."),
    }
    let mut grid = Grid::new("What was compared");
    grid.words("what").number("number");
    grid.row().words("rows").number(comparison.rows);
    grid.row().words("figures").number(comparison.figures);
    grid.row().words("figures that differ").number(comparison.changes.len());
    page.table(&grid);
    page.caution(
        "counts of these scripts with these inputs, and exact: a difference is one of the programs, \
         not of the day. What it is worth on a board is measured there.",
    );
    page.section("All rows together");
    page.paragraph("Peaks have no sum: of them the largest of any row is told.");
    let sums: Vec<&Sum> = comparison.sums.iter().collect();
    page.table(&Grid::of("Sums by encoding, layout and metric", &sum_table(&sums)));
    page.section("What differs");
    let changes: Vec<&Change> = most_first(&comparison.changes);
    match changes.len() {
        0 => page.paragraph("Nothing."),
        n => page.paragraph(format!("{}, most per cent first.", counted(n as u64, "figure"))),
    }
    page.table(&Grid::of("Every figure that differs", &change_table(&changes)));
    missing(&mut page, comparison);
    page.section("What made this");
    let mut grid = Grid::new("Versions");
    grid.words("what").number("version");
    grid.row().words("form of the document").number(comparison.schema);
    page.table(&grid);
    page.render()
}

fn missing(page: &mut Page, comparison: &Comparison) {
    let mut grid = Grid::new("Rows that cannot be compared");
    grid.words("script").words("encoding").words("layout").words("why").words("a loss");
    for missing in &comparison.missing {
        let line = grid.row().words(&missing.script).words(&missing.encoding);
        line.words(missing.layout.name()).words(&missing.reason);
        match missing.is_new {
            true => line.words("no: it is new"),
            false => line.toned("yes", Tone::Bad),
        };
    }
    if !grid.is_empty() {
        page.section("Not compared");
        page.table(&grid);
    }
}
