//! The page of `weigh`: sums with a picture, limits, then every row.

use super::super::counted;
use super::bars;
use super::grid::Grid;
use super::page::Page;
use super::rows;
use crate::document::{Document, Row, Total};

pub(in crate::report) fn render(document: &Document) -> String {
    let mut page = Page::report("What the scripts weigh".to_owned());
    page.lead(&summary(document));
    sums(&mut page, document);
    if let Some(checks) = &document.checks {
        rows::limits(&mut page, checks);
    }
    if let Some(slice) = &document.shard {
        rows::slice(&mut page, slice);
    }
    rows::push(&mut page, &document.rows.iter().collect::<Vec<&Row>>());
    page.made_by(document.schema, &document.lab);
    page.render()
}

fn summary(document: &Document) -> String {
    let rows = counted(document.rows.len() as u64, "row");
    let failed: u64 = document.totals.iter().map(|total| total.failed).sum();
    let failed = match failed {
        0 => "every one has figures".to_owned(),
        n => format!("{n} of them without figures"),
    };
    format!("{rows}, each a script under one encoding over one layout of the heap; {failed}.")
}

/// Sums by encoding and layout: unlike layouts are never added up.
pub(super) fn sums(page: &mut Page, document: &Document) {
    page.section("Sums");
    page.picture(&bars::render(&document.totals));
    page.table(&parts(&document.totals));
    page.table(&work(&document.totals));
    page.caution("peaks have no sum, and rows without figures are in none of these.");
}

fn parts(totals: &[Total]) -> Grid {
    let mut grid = Grid::new("Bytes of all images by part: they add up to the whole");
    grid.words("encoding").words("layout").numbers(&[
        "scripts",
        "failed, left out",
        "header",
        "constants",
        "functions",
        "instructions",
        "padding",
        "lines",
        "all of it",
    ]);
    for total in totals {
        let line = grid.row().words(&total.encoding).words(total.layout.name());
        line.numbers([total.scripts, total.failed]);
        line.numbers(bars::parts(total).map(|(_, bytes)| bytes)).number(total.image.total);
    }
    grid
}

fn work(totals: &[Total]) -> Grid {
    let mut grid = Grid::new("What all runs carried out");
    grid.words("encoding").words("layout");
    grid.numbers(&["instructions", "operations", "fetched bytes"]);
    for total in totals {
        let line = grid.row().words(&total.encoding).words(total.layout.name());
        line.numbers([total.instructions, total.operations, total.fetched_bytes]);
    }
    grid
}
