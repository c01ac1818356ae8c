//! The page of `memory`: the heap over time as a picture, the peak by category, site and kind,
//! and every sample.

use super::super::memory::{how, peak_name};
use super::super::{counted, svg};
use super::grid::Grid;
use super::page::Page;
use crate::document::HeapBytes;
use crate::memory::document::{Document, Peak, PeakOf};

pub(in crate::report) fn render(document: &Document) -> String {
    let Document { peak, script, encoding, layout, .. } = document;
    let mut page = Page::report(format!("Where the bytes of {script} are"));
    page.lead(&format!(
        "{encoding}, {}: {} {} bytes at instruction {} of {}, {}.",
        layout.name(),
        peak_name(document),
        peak.heap.total,
        peak.instructions,
        document.instructions,
        peak.place.describe()
    ));
    page.lead(&how(document));
    page.section("Over time");
    page.picture(&svg::render(document));
    page.caution(
        "this is of the inputs of this run only. Exact counts here are no promise about a board: \
         leave headroom.",
    );
    if !document.answer_checked {
        page.caution("? answer not checked: no file of the script's name with .out was there.");
    }
    page.section("At the peak");
    page.table(&categories(peak));
    page.table(&kinds(peak));
    page.table(&sites(peak));
    page.section("Every sample");
    page.paragraph(format!(
        "Within each {} the state with most bytes.",
        counted(document.step_instructions, "instruction")
    ));
    page.table(&samples(document));
    page.section("The run");
    page.table(&run(document));
    page.made_by(document.schema, &document.lab);
    page.render()
}

fn categories(peak: &Peak) -> Grid {
    let mut grid = Grid::new("By category: they add up to the peak");
    grid.words("category").number("bytes");
    for (name, bytes) in peak.heap.by_category() {
        grid.row().words(name).number(bytes);
    }
    grid.foot().words("sum").number(peak.heap.total);
    grid
}

fn kinds(peak: &Peak) -> Grid {
    let mut grid = Grid::new("By kind of block: all but stack and collector");
    grid.words("kind").words("category").numbers(&["blocks", "bytes"]);
    for kind in &peak.kinds {
        grid.row().words(&kind.kind).words(&kind.category).numbers([kind.blocks, kind.bytes]);
    }
    let blocks = peak.kinds.iter().map(|kind| kind.blocks).sum();
    grid.foot().words("sum").words("").numbers([blocks, peak.block_bytes()]);
    grid
}

fn sites(peak: &Peak) -> Grid {
    let mut grid = Grid::new(
        "By site, a source line in a function: a block that grew counts where it was made",
    );
    grid.words("function").numbers(&["line", "blocks", "bytes"]);
    for site in &peak.sites {
        let line = grid.row();
        line.words(site.place.function.as_deref().unwrap_or("outside the script"));
        line.maybe(site.place.line).numbers([site.blocks, site.bytes]);
    }
    for (name, bytes) in [("stack", peak.heap.stack), ("collector", peak.heap.collector)] {
        grid.foot().words(name).maybe(None::<u64>).maybe(None::<u64>).number(bytes);
    }
    let sum = grid.foot().words("sum").maybe(None::<u64>).maybe(None::<u64>);
    sum.number(peak.heap.total);
    grid
}

fn samples(document: &Document) -> Grid {
    let mut grid = Grid::new("The heap over time, in bytes");
    grid.number("up to instruction").number("all of it");
    for (name, _) in HeapBytes::default().by_category() {
        grid.number(name);
    }
    for sample in &document.timeline {
        let line = grid.row().numbers([sample.instructions, sample.heap.total]);
        line.numbers(sample.heap.by_category().map(|(_, bytes)| bytes));
    }
    grid
}

fn run(document: &Document) -> Grid {
    let mut grid = Grid::new("What the run did, and where its peak is");
    grid.words("what").number("number");
    for (what, number) in [
        ("instructions", document.instructions),
        ("blocks allocated", document.allocations),
        ("bytes of those", document.allocated_bytes),
        ("collections", document.collections),
        ("instructions between two samples", document.step_instructions),
        ("instructions until the peak", document.peak.instructions),
    ] {
        grid.row().words(what).number(number);
    }
    grid.row().words("source line of the peak").maybe(document.peak.place.line);
    if let PeakOf::Live { resolution } = document.peak_of {
        grid.row().words("bytes allocated between two collections").number(resolution);
    }
    grid
}
