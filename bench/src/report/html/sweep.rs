//! The page of `sweep`: the chart, the points, times if there are any, the bounds, then every
//! row as `weigh` has it.

use super::super::sweep::{
    ABOUT_BOUNDS, ABOUT_POINTS, ABOUT_TIMES, bound_bytes, each, ratio, standing, sum_of_streams,
    time_table,
};
use super::super::{counted, sweep_svg};
use super::grid::{Grid, Tone};
use super::page::Page;
use super::rows;
use crate::bounds::Bounds;
use crate::document::Row;
use crate::sweep::document::{Point, Sweep, named};

pub(in crate::report) fn render(sweep: &Sweep) -> String {
    let mut page = Page::report("Encodings and layouts side by side".to_owned());
    let n_scripts = sweep.points.first().map_or(0, |point| point.scripts);
    page.lead(&format!(
        "{}, each an encoding over a layout, over {} that ran every way; {} left out.",
        counted(sweep.points.len() as u64, "point"),
        counted(n_scripts, "script"),
        counted(sweep.left_out.len() as u64, "script")
    ));
    page.section("The front");
    if !sweep.points.is_empty() {
        page.picture(&sweep_svg::render(sweep));
    }
    page.table(&points(sweep));
    page.paragraph(ABOUT_POINTS);
    page.caution(rows::OF_THESE_RUNS);
    left_out(&mut page, sweep);
    if let Some(times) = &sweep.times {
        page.section("Times");
        page.table(&Grid::of("Times of all scripts, in milliseconds", &time_table(times)));
        let mut grid = Grid::new("What the times are of");
        grid.words("what").number("number");
        grid.row().words("rounds").number(times.rounds);
        grid.row().words("scripts").number(times.scripts);
        page.table(&grid);
        page.caution(ABOUT_TIMES);
    }
    if let Some(bounds) = &sweep.bounds {
        push_bounds(&mut page, bounds);
    }
    if let Some(slice) = &sweep.shard {
        rows::slice(&mut page, slice);
    }
    rows::push(&mut page, &sweep.rows.iter().collect::<Vec<&Row>>());
    page.made_by(sweep.schema, &sweep.lab);
    page.render()
}

fn left_out(page: &mut Page, sweep: &Sweep) {
    let mut grid = Grid::new("Scripts that no point counts");
    grid.words("script").words("what went wrong first");
    for out in &sweep.left_out {
        grid.row().words(&out.script).toned(&out.reason, Tone::Bad);
    }
    page.table(&grid);
}

fn points(sweep: &Sweep) -> Grid {
    let mut grid = Grid::new("Sums of the scripts that ran every way, and the largest peak of any");
    grid.words("encoding").words("layout").words("front").numbers(&[
        "scripts",
        "instruction bytes",
        "of byte",
        "image bytes",
        "instructions",
        "operations",
        "fetched bytes",
        "largest high-water",
    ]);
    grid.words("of script").number("largest live peak");
    for point in &sweep.points {
        let is_byte = |other: &&Point| other.encoding == "byte" && other.layout == point.layout;
        let byte = sweep.points.iter().find(is_byte).map(|other| other.instruction_bytes);
        let tone = if point.dominated_by.is_none() { Tone::Good } else { Tone::Plain };
        let line = grid.row().words(point.name()).words(point.layout.name());
        line.toned(standing(point), tone).number(point.scripts).number(point.instruction_bytes);
        line.maybe(byte.map(|byte| ratio(point.instruction_bytes, byte)));
        line.numbers([
            point.image_bytes,
            point.instructions,
            point.operations,
            point.fetched_bytes,
            point.largest_high_water_bytes,
        ]);
        line.words(&point.largest_high_water_script).number(point.largest_live_peak_bytes);
    }
    grid
}

fn push_bounds(page: &mut Page, bounds: &Bounds) {
    page.section("Bounds");
    page.paragraph(ABOUT_BOUNDS);
    let [(name_0, order_0), (name_1, order_1)] = bound_bytes(bounds);
    let mut grid = Grid::new("What each encoding takes, and how far that is from the bounds");
    grid.words("encoding").numbers(&[
        "instruction bytes",
        "over order 0",
        "over order 1",
        "deflated",
        "deflated in one go",
        "image bytes",
        "image deflated",
    ]);
    for entry in &bounds.encodings {
        let line = grid.row().words(named(&entry.encoding, entry.set.as_deref()));
        line.number(entry.instruction_bytes);
        line.number(ratio(entry.instruction_bytes, order_0));
        line.number(ratio(entry.instruction_bytes, order_1));
        line.numbers([
            entry.deflated_instruction_bytes,
            entry.deflated_together_bytes,
            entry.image_bytes,
            entry.deflated_image_bytes,
        ]);
    }
    for (name, bytes) in [(name_0, order_0), (name_1, order_1)] {
        let line = grid.foot().words(format!("bound: {name}")).number(bytes);
        for _ in 0..6 {
            line.maybe(None::<u64>);
        }
    }
    page.table(&grid);

    let mut grid = Grid::new("The bounds stream by stream");
    grid.words("stream").numbers(&[
        "symbols",
        "different",
        "order 0 bits",
        "bytes",
        "bits each",
        "order 1 bits",
        "bytes",
        "bits each",
    ]);
    let sum = sum_of_streams(bounds);
    let streams = bounds.streams.iter().map(|stream| (stream, false));
    for (stream, is_foot) in streams.chain([(&sum, true), (&bounds.whole, true)]) {
        let line = if is_foot { grid.foot() } else { grid.row() };
        line.words(&stream.stream).numbers([stream.symbols, stream.distinct]);
        for bits in [stream.order_0_bits, stream.order_1_bits] {
            line.numbers([bits, bits.div_ceil(8)]).number(each(bits, stream.symbols));
        }
    }
    page.table(&grid);

    let mut grid = Grid::new("What the bounds are of");
    grid.words("what").number("number");
    grid.row().words("scripts").number(bounds.scripts);
    grid.row().words("operations").number(bounds.operations);
    page.table(&grid);
}
