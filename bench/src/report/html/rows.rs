//! The rows that `weigh`, `sweep` and `board` share, as tables: what each takes, then split by
//! part, by category, by site; and what went wrong.

use super::grid::{Grid, Tone};
use super::page::Page;
use crate::document::{Figures, HeapBytes, Row, RowError, Stage};
use crate::layout::HeapLayout;
use crate::limits::Check;
use crate::shard::Slice;

/// What stands beside every count of a run.
pub(super) const OF_THESE_RUNS: &str = "these are counts of these scripts with these inputs, exact \
and the same on every host. Other inputs can take more, and a count is no promise about a board: \
leave headroom.";

/// What the headings stand for.
const MEANINGS: &[&str] = &[
    "High-water: most bytes of heap and stack at once, garbage included.",
    "Live peak: most bytes reachable at once, found by collecting before every allocation, or after \
     so many bytes of allocation: the table of live peaks says within how many.",
    "Instructions are those fetched and carried out; operations are their parts, as many unless an \
     instruction has several. Fetched: instruction bytes read.",
];

/// Every table of these rows, a section each.
pub(super) fn push(page: &mut Page, rows: &[&Row]) {
    let failed = rows.iter().filter_map(|row| Some((*row, row.error.as_ref()?)));
    errors(
        page,
        failed.map(|(row, error)| (row.script.as_str(), row.encoding.as_str(), row.layout, error)),
    );
    page.section("By script");
    page.list(MEANINGS.iter().map(|meaning| (*meaning).into()));
    page.table(&takes(rows));
    if rows.iter().any(|row| row.error.is_none() && !row.answer_checked) {
        page.caution(
            "where the answer is not checked, no file of the script's name with .out says what it \
             must print. Whether what was weighed is right, nobody has looked.",
        );
    }
    page.caution(OF_THESE_RUNS);
    page.section("Images by part");
    page.table(&images(rows));
    page.section("Heap and stack by category");
    page.paragraph("Both peaks, in bytes; the categories of a row add up to its total.");
    page.table(&peaks("High-water: most bytes at once, garbage included", rows, false));
    page.table(&peaks("Live peak: most bytes reachable at once", rows, true));
    let sites = sites(rows);
    if !sites.is_empty() {
        page.section("Sites of the high-water mark");
        page.paragraph(
            "Who made the bytes of the high-water mark: the sites, stack and collector of a row add \
             up to it. A block that grew counts where it was made.",
        );
        page.table(&sites);
    }
    page.section("Compiler and allocations");
    page.table(&compiler(rows));
}

/// Limits that figures were held against.
pub(super) fn limits(page: &mut Page, checks: &[Check]) {
    page.section("Limits");
    if let Some(summary) = super::super::checks::render(checks, false).lines().last() {
        page.paragraph(summary);
    }
    let mut grid = Grid::new("Limits and what was measured");
    grid.words("script").words("encoding").words("layout").words("figure");
    grid.numbers(&["measured", "at most", "less than that"]).words("verdict").words("reason");
    for check in checks {
        let row = grid.row();
        row.words(&check.script).words(check.encoding.as_deref().unwrap_or("any"));
        row.words(check.layout.name()).words(&check.metric);
        row.maybe(check.measured).maybe(check.most);
        let spare = check.most.zip(check.measured);
        row.maybe(spare.map(|(most, measured)| i128::from(most) - i128::from(measured)));
        match (check.holds, spare) {
            (true, _) => row.toned("kept", Tone::Good),
            (false, Some(_)) => row.toned("exceeded", Tone::Bad),
            (false, None) => row.toned("not measured", Tone::Bad),
        };
        row.words(check.reason.as_deref().unwrap_or_default());
    }
    page.table(&grid);
}

/// Which part of a measurement a document is.
pub(super) fn slice(page: &mut Page, slice: &Slice) {
    page.section("A slice");
    page.caution("this is one slice of a measurement: sums are over its own scripts alone.");
    let mut grid = Grid::new("Which slice");
    grid.words("what").number("number");
    grid.row().words("slice").number(slice.index);
    grid.row().words("of").number(slice.of);
    page.table(&grid);
    page.paragraph("The scripts of the whole:");
    page.list(slice.scripts.iter().map(Into::into));
}

/// Rows that have no figures, and why: script, encoding, layout, error.
pub(super) fn errors<'r>(
    page: &mut Page,
    rows: impl Iterator<Item = (&'r str, &'r str, HeapLayout, &'r RowError)>,
) {
    let mut grid = Grid::new("Rows without figures");
    grid.words("script").words("encoding").words("layout").words("came to");
    grid.numbers(&["line", "column"]).words("what went wrong");
    for (script, encoding, layout, error) in rows {
        let line = grid.row().words(script).words(encoding).words(layout.name());
        line.words(stage(error));
        line.maybe(error.line).maybe(error.column).toned(error.message.as_str(), Tone::Bad);
    }
    if !grid.is_empty() {
        page.section("What went wrong");
        page.caution("a wrong answer is never weighed: these rows are in no sum.");
        page.table(&grid);
    }
}

/// How far a measurement came.
fn stage(error: &RowError) -> &'static str {
    match error.stage {
        Stage::Read => "reading",
        Stage::Compile => "compiling",
        Stage::Run => "running",
        Stage::Answer => "the answer",
        Stage::Agreement => "agreement of the runs",
    }
}

/// A table whose rows begin with which run they are of.
fn named(caption: &str, rows: &[&Row]) -> Grid {
    let mut grid = Grid::new(caption);
    grid.words("script").words("encoding");
    if has_sets(rows) {
        grid.words("instruction set");
    }
    grid.words("layout");
    grid
}

fn has_sets(rows: &[&Row]) -> bool {
    rows.iter().any(|row| row.set.is_some())
}

fn name<'g>(grid: &'g mut Grid, row: &Row, has_sets: bool) -> &'g mut super::grid::Row {
    let line = grid.row().words(&row.script).words(&row.encoding);
    if has_sets {
        line.words(row.set.as_deref().unwrap_or_default());
    }
    line.words(row.layout.name())
}

/// A table with a row for each that has figures.
fn table_of(
    caption: &str,
    headings: &[&str],
    rows: &[&Row],
    read: impl Fn(&Figures) -> Vec<Option<u64>>,
) -> Grid {
    let has_sets = has_sets(rows);
    let mut grid = named(caption, rows);
    grid.numbers(headings);
    for row in rows {
        let Some(figures) = &row.figures else { continue };
        let line = name(&mut grid, row, has_sets);
        for number in read(figures) {
            line.maybe(number);
        }
    }
    grid
}

fn takes(rows: &[&Row]) -> Grid {
    const HEADINGS: [&str; 8] = [
        "image bytes",
        "instruction bytes",
        "high-water bytes",
        "live peak bytes",
        "stack peak bytes",
        "instructions",
        "operations",
        "fetched bytes",
    ];
    let has_sets = has_sets(rows);
    let mut grid = named("What each script takes, and whether its answer is right", rows);
    grid.words("answer").numbers(&HEADINGS);
    for row in rows {
        let line = name(&mut grid, row, has_sets);
        match &row.error {
            Some(error) => line.toned(format!("error: {}", stage(error)), Tone::Bad),
            None if row.answer_checked => line.toned("checked", Tone::Good),
            None => line.words("? not checked"),
        };
        match &row.figures {
            Some(figures) => line.numbers([
                figures.image.total,
                figures.image.instructions,
                figures.heap_high_water.total,
                figures.live_peak.total,
                figures.stack_peak,
                figures.instructions,
                figures.operations,
                figures.fetched_bytes,
            ]),
            None => {
                for _ in HEADINGS {
                    line.maybe(None::<u64>);
                }
                line
            }
        };
    }
    grid
}

fn images(rows: &[&Row]) -> Grid {
    let headings =
        ["header", "constants", "functions", "instructions", "padding", "lines", "all of it"];
    table_of("Image bytes by part: they add up to the whole", &headings, rows, |figures| {
        let image = &figures.image;
        let parts = [image.header, image.constants, image.functions, image.instructions];
        let parts = parts.into_iter().chain([image.padding, image.lines, image.total]);
        parts.map(Some).collect()
    })
}

fn peaks(caption: &str, rows: &[&Row], is_live: bool) -> Grid {
    let categories = HeapBytes::default().by_category();
    let mut headings: Vec<&str> = categories.iter().map(|(name, _)| *name).collect();
    headings.push("all of it");
    if is_live {
        headings.push("found within");
    }
    table_of(caption, &headings, rows, |figures| {
        let heap = if is_live { &figures.live_peak } else { &figures.heap_high_water };
        let mut numbers: Vec<Option<u64>> =
            heap.by_category().iter().map(|(_, bytes)| Some(*bytes)).collect();
        numbers.push(Some(heap.total));
        numbers.extend(is_live.then_some(Some(figures.live_peak_resolution)));
        numbers
    })
}

fn compiler(rows: &[&Row]) -> Grid {
    let headings = [
        "compile peak, asked for",
        "compile peak, had from the allocator",
        "blocks allocated by the run",
        "bytes of those",
    ];
    let caption = "What the compiler held at most, and what the run allocated, in bytes and blocks";
    table_of(caption, &headings, rows, |figures| {
        vec![
            figures.compile_peak.asked,
            figures.compile_peak.reserved,
            Some(figures.allocations),
            Some(figures.allocated_bytes),
        ]
    })
}

fn sites(rows: &[&Row]) -> Grid {
    let has_sets = has_sets(rows);
    let mut grid = named("The largest sites, and what is left", rows);
    grid.words("where").numbers(&["line", "sites", "blocks", "bytes"]);
    for row in rows {
        let Some(figures) = &row.figures else { continue };
        let Some(sites) = &figures.peak_sites else { continue };
        for site in &sites.largest {
            let line = name(&mut grid, row, has_sets);
            line.words(site.place.function.as_deref().unwrap_or("outside the script"));
            line.maybe(site.place.line).number(1).numbers([site.blocks, site.bytes]);
        }
        let line = name(&mut grid, row, has_sets).words("others").maybe(None::<u64>);
        line.numbers([sites.other_sites, sites.other_blocks, sites.other_bytes]);
        let HeapBytes { stack, collector, .. } = figures.heap_high_water;
        for (what, bytes) in [("stack", stack), ("collector", collector)] {
            let line = name(&mut grid, row, has_sets).words(what);
            line.maybe(None::<u64>).maybe(None::<u64>).maybe(None::<u64>).number(bytes);
        }
    }
    grid
}
