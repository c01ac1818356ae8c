//! The columns of a table: what they are called and where their numbers are.
//!
//! It owns the order of the figures in every tabular form. It refuses to lay
//! them out.

use crate::document::{Figures, HeapBytes};

/// A column of numbers.
#[derive(Debug)]
pub(crate) struct Column {
    /// The name in a file for programs.
    pub(crate) key: &'static str,
    /// The heading for people, or nothing where only programs see it.
    pub(crate) heading: Option<&'static str>,
    /// The number; nothing where it was not counted.
    pub(crate) read: fn(&Figures) -> Option<u64>,
}

macro_rules! columns {
    ($($key:literal $heading:expr, $figures:ident => $number:expr;)*) => {
        &[$(Column { key: $key, heading: $heading, read: |$figures| $number }),*]
    };
}

/// Every column but the categories, in order.
pub(crate) const COLUMNS: &[Column] = columns! {
    "image_bytes" Some("image"), f => Some(f.image.total);
    "header_bytes" Some("header"), f => Some(f.image.header);
    "constant_bytes" Some("const"), f => Some(f.image.constants);
    "function_table_bytes" Some("func"), f => Some(f.image.functions);
    "instruction_bytes" Some("instr"), f => Some(f.image.instructions);
    "padding_bytes" Some("pad"), f => Some(f.image.padding);
    "line_table_bytes" Some("lines"), f => Some(f.image.lines);
    "heap_high_water_bytes" Some("high-water"), f => Some(f.heap_high_water.total);
    "live_peak_bytes" Some("live peak"), f => Some(f.live_peak.total);
    "live_peak_resolution_bytes" Some("within"), f => Some(f.live_peak_resolution);
    "stack_peak_bytes" Some("stack"), f => Some(f.stack_peak);
    "compile_peak_asked_bytes" Some("comp asked"), f => f.compile_peak.asked;
    "compile_peak_reserved_bytes" Some("reserved"), f => f.compile_peak.reserved;
    "instructions" Some("instructions"), f => Some(f.instructions);
    "operations" Some("operations"), f => Some(f.operations);
    "fetched_bytes" Some("fetched"), f => Some(f.fetched_bytes);
    "allocations" None, f => Some(f.allocations);
    "allocated_bytes" None, f => Some(f.allocated_bytes);
};

/// What the headings stand for.
pub(super) const LEGEND: &str = "\
All numbers are bytes or counts. image = header + const(ants) + func(tion table) + instr(uctions) \
+ pad(ding) + lines. high-water: most bytes of heap and stack at once, garbage included. live \
peak: most bytes reachable at once, found by collecting before every allocation (within 0) or \
after so many bytes of allocation. comp asked, reserved: most bytes the compiler asked for, and \
had from the allocator, the image included; none of a packed script. instructions: fetched and carried out; operations: \
their parts, shown where an instruction has several. fetched: instruction bytes read.";

/// The splits of the two peaks by category, with the names a program sees.
pub(super) fn peaks(figures: &Figures) -> [(&'static str, &HeapBytes); 2] {
    [("heap_high_water", &figures.heap_high_water), ("live_peak", &figures.live_peak)]
}
