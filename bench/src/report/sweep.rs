//! A sweep as tables: points with the front, how far each encoding is from the bounds,
//! and the bounds stream by stream; for people, for a document, for a spreadsheet.

use super::counted;
use super::csv::push_line;
use super::tables::{Align, Table};
use crate::bounds::{Bounds, StreamBound};
use crate::sweep::document::{Point, Sweep, named};
use crate::sweep::time::{TimePoint, Times};

pub(super) const ABOUT_POINTS: &str = "\
Sums over the scripts that ran every way; peaks have no sum: the largest of any script is told. \
Dominated: another encoding takes no more instruction bytes and no more instructions over that \
layout, and less of one. Counts of these scripts with these inputs, exact on every host; what they \
cost in time is measured apart.";

/// Beside every time.
pub(super) const ABOUT_TIMES: &str = "\
Noisy, of this machine in this hour, and no promise about a board: the median of some rounds of \
all scripts, with the quickest and the slowest. Dominated: another encoding takes no more \
instruction bytes over that layout, and its slowest round was quicker than the quickest of this \
one; where rounds overlap nothing is said.";

pub(super) const ABOUT_BOUNDS: &str = "\
Bytes of instructions the best code for this very corpus would take, its own tables left out: \
order 0 of the whole takes each operation with its operand as one symbol, order 1 of the parts \
knows the opcode before and the operand of that kind before. Over few scripts order 1 is nearly \
learnt by heart: no encoding need reach it. The sum of the parts is that of their bits, rounded up \
to bytes once, and so may be some bytes below the sum of the rows. Branches count in operations. \
Deflate is a yardstick: \
it cannot be executed where it lies.";

pub(super) fn text(sweep: &Sweep) -> String {
    let mut text = points(sweep).text();
    text.push_str(&format!("{ABOUT_POINTS}\n"));
    for out in &sweep.left_out {
        text.push_str(&format!("left out: {}: {}\n", out.script, out.reason));
    }
    if let Some(times) = &sweep.times {
        text.push_str(&format!("\n{}{ABOUT_TIMES}\n", time_table(times).text()));
    }
    if let Some(bounds) = &sweep.bounds {
        text.push('\n');
        text.push_str(&distances(bounds).text());
        text.push('\n');
        text.push_str(&streams(bounds).text());
        text.push_str(&format!("{ABOUT_BOUNDS}\n"));
    }
    text
}

pub(super) fn markdown(sweep: &Sweep) -> String {
    let mut text = points(sweep).markdown();
    text.push_str(&format!("\n{ABOUT_POINTS}\n"));
    for out in &sweep.left_out {
        text.push_str(&format!("\nLeft out: {}: {}\n", out.script, out.reason));
    }
    if let Some(times) = &sweep.times {
        text.push_str(&format!("\n{}\n{ABOUT_TIMES}\n", time_table(times).markdown()));
    }
    if let Some(bounds) = &sweep.bounds {
        text.push('\n');
        text.push_str(&distances(bounds).markdown());
        text.push('\n');
        text.push_str(&streams(bounds).markdown());
        text.push_str(&format!("\n{ABOUT_BOUNDS}\n"));
    }
    text
}

/// The points alone: a file for a spreadsheet has one table.
pub(super) fn csv(sweep: &Sweep) -> String {
    let mut text = String::new();
    let head = [
        "encoding",
        "set",
        "layout",
        "scripts",
        "instruction_bytes",
        "image_bytes",
        "instructions",
        "operations",
        "fetched_bytes",
        "largest_high_water_bytes",
        "largest_high_water_script",
        "largest_live_peak_bytes",
        "dominated_by",
    ];
    push_line(&mut text, &head.map(str::to_owned));
    for point in &sweep.points {
        let cells = [
            point.encoding.clone(),
            point.set.clone().unwrap_or_default(),
            point.layout.name().to_owned(),
            point.scripts.to_string(),
            point.instruction_bytes.to_string(),
            point.image_bytes.to_string(),
            point.instructions.to_string(),
            point.operations.to_string(),
            point.fetched_bytes.to_string(),
            point.largest_high_water_bytes.to_string(),
            point.largest_high_water_script.clone(),
            point.largest_live_peak_bytes.to_string(),
            point.dominated_by.clone().unwrap_or_default(),
        ];
        push_line(&mut text, &cells);
    }
    text
}

fn points(sweep: &Sweep) -> Table {
    let mut table = Table::new(&[
        ("encoding", Align::Left),
        ("layout", Align::Left),
        ("scripts", Align::Right),
        ("instr bytes", Align::Right),
        ("of byte", Align::Right),
        ("image", Align::Right),
        ("instructions", Align::Right),
        ("fetched", Align::Right),
        ("high-water", Align::Right),
        ("live peak", Align::Right),
        ("front", Align::Left),
    ]);
    for point in &sweep.points {
        let is_byte = |other: &&Point| other.encoding == "byte" && other.layout == point.layout;
        let byte = sweep.points.iter().find(is_byte).map(|other| other.instruction_bytes);
        table.push(vec![
            point.name(),
            point.layout.name().to_owned(),
            point.scripts.to_string(),
            point.instruction_bytes.to_string(),
            byte.map_or_else(|| "-".to_owned(), |byte| ratio(point.instruction_bytes, byte)),
            point.image_bytes.to_string(),
            point.instructions.to_string(),
            point.fetched_bytes.to_string(),
            point.largest_high_water_bytes.to_string(),
            point.largest_live_peak_bytes.to_string(),
            standing(point),
        ]);
    }
    table
}

pub(super) fn time_table(times: &Times) -> Table {
    let Times { rounds, scripts, points } = times;
    let (scripts, rounds) = (counted(*scripts, "script"), counted(*rounds, "round"));
    let heading = format!("time, {scripts}, {rounds}");
    let mut table = Table::new(&[
        (&heading, Align::Left),
        ("layout", Align::Left),
        ("instr bytes", Align::Right),
        ("median ms", Align::Right),
        ("of word", Align::Right),
        ("least ms", Align::Right),
        ("most ms", Align::Right),
        ("front", Align::Left),
    ]);
    for point in points {
        let is_word = |other: &&TimePoint| other.encoding == "word" && other.layout == point.layout;
        let word = points.iter().find(is_word).map(|other| other.median_ns);
        table.push(vec![
            point.name(),
            point.layout.name().to_owned(),
            point.instruction_bytes.to_string(),
            milliseconds(point.median_ns),
            word.map_or_else(|| "-".to_owned(), |word| ratio(point.median_ns, word)),
            milliseconds(point.least_ns),
            milliseconds(point.most_ns),
            time_standing(point),
        ]);
    }
    table
}

/// Nanoseconds as milliseconds, to three places.
pub(super) fn milliseconds(ns: u64) -> String {
    format!("{:.3}", ns as f64 / 1e6)
}

/// Whether a point is on the front of times, in words.
pub(super) fn time_standing(point: &TimePoint) -> String {
    match &point.dominated_by {
        None => "on the front".to_owned(),
        Some(other) => format!("dominated by {other}"),
    }
}

/// Whether a point is on the front, in words.
pub(super) fn standing(point: &Point) -> String {
    match &point.dominated_by {
        None => "on the front".to_owned(),
        Some(other) => format!("dominated by {other}"),
    }
}

/// The bounds in bytes, with what they are called.
pub(super) fn bound_bytes(bounds: &Bounds) -> [(&'static str, u64); 2] {
    let (_, order_1) = bounds.sum_bits();
    [
        ("order 0 of the whole", bounds.whole.order_0_bits.div_ceil(8)),
        ("order 1 of the parts", order_1.div_ceil(8)),
    ]
}

fn distances(bounds: &Bounds) -> Table {
    let [(name_0, order_0), (name_1, order_1)] = bound_bytes(bounds);
    let mut table = Table::new(&[
        ("encoding", Align::Left),
        ("instr bytes", Align::Right),
        ("over order 0", Align::Right),
        ("over order 1", Align::Right),
        ("deflated", Align::Right),
        ("in one go", Align::Right),
        ("image", Align::Right),
        ("deflated", Align::Right),
    ]);
    for entry in &bounds.encodings {
        table.push(vec![
            named(&entry.encoding, entry.set.as_deref()),
            entry.instruction_bytes.to_string(),
            ratio(entry.instruction_bytes, order_0),
            ratio(entry.instruction_bytes, order_1),
            entry.deflated_instruction_bytes.to_string(),
            entry.deflated_together_bytes.to_string(),
            entry.image_bytes.to_string(),
            entry.deflated_image_bytes.to_string(),
        ]);
    }
    for (name, bytes) in [(name_0, order_0), (name_1, order_1)] {
        let mut cells = vec![name.to_owned(), bytes.to_string()];
        cells.resize(8, String::new());
        table.push_foot(cells);
    }
    table
}

fn streams(bounds: &Bounds) -> Table {
    let mut table = Table::new(&[
        ("stream", Align::Left),
        ("symbols", Align::Right),
        ("different", Align::Right),
        ("order 0 bytes", Align::Right),
        ("bits each", Align::Right),
        ("order 1 bytes", Align::Right),
        ("bits each", Align::Right),
    ]);
    let sum = sum_of_streams(bounds);
    let streams = bounds.streams.iter().map(|stream| (stream, false));
    for (stream, is_foot) in streams.chain([(&sum, true), (&bounds.whole, true)]) {
        let cells = vec![
            stream.stream.clone(),
            stream.symbols.to_string(),
            stream.distinct.to_string(),
            stream.order_0_bits.div_ceil(8).to_string(),
            each(stream.order_0_bits, stream.symbols),
            stream.order_1_bits.div_ceil(8).to_string(),
            each(stream.order_1_bits, stream.symbols),
        ];
        if is_foot { table.push_foot(cells) } else { table.push(cells) }
    }
    table
}

/// All streams as one.
pub(super) fn sum_of_streams(bounds: &Bounds) -> StreamBound {
    let (order_0_bits, order_1_bits) = bounds.sum_bits();
    StreamBound {
        stream: "sum of the parts".to_owned(),
        symbols: bounds.streams.iter().map(|stream| stream.symbols).sum(),
        distinct: bounds.streams.iter().map(|stream| stream.distinct).sum(),
        order_0_bits,
        order_1_bits,
    }
}

/// Bits a symbol.
pub(super) fn each(bits: u64, symbols: u64) -> String {
    format!("{:.2}", bits as f64 / symbols.max(1) as f64)
}

/// A quotient to three places.
pub(super) fn ratio(part: u64, whole: u64) -> String {
    if whole == 0 { "-".to_owned() } else { format!("{:.3}", part as f64 / whole as f64) }
}
