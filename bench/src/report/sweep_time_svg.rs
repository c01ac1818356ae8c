//! The chart of bytes against time, below that of bytes against instructions.
//!
//! It owns how noise looks: a mark is the median, a bar reaches from the quickest round to
//! the slowest. Letters, shapes and colours are those of the chart above. Layouts differ in
//! time: the second one has hollow marks.

use std::fmt::Write as _;

use super::counted;
use super::escape::escaped;
use super::sweep::{milliseconds, time_standing};
use super::sweep_svg::{BOTTOM, HEIGHT, LEFT, LEGEND, LOOKS, RIGHT, TOP, axis, letter};
use crate::sweep::time::{TimePoint, Times};

/// Draws the chart, a page below. `place_of` tells the place of an encoding's mark above.
pub(super) fn write(
    times: &Times,
    place_of: &dyn Fn(&str) -> usize,
    out: &mut String,
) -> std::fmt::Result {
    let Times { rounds, scripts, points } = times;
    let (scripts, rounds) = (counted(*scripts, "script"), counted(*rounds, "round"));
    let title = format!("Bytes against time, over {scripts}, {rounds}");
    let (most_bytes, byte_grid) =
        axis(points.iter().map(|point| point.instruction_bytes).max().unwrap_or(0));
    let (most_ns, time_grid) = axis(points.iter().map(|point| point.most_ns).max().unwrap_or(0));
    let x = |bytes: u64| LEFT + bytes as f64 / most_bytes as f64 * (RIGHT - LEFT);
    let y = |ns: u64| BOTTOM - ns as f64 / most_ns as f64 * (BOTTOM - TOP);
    writeln!(
        out,
        "<g transform=\"translate(0 {HEIGHT})\">\
         <text x=\"{LEFT}\" y=\"28\" font-size=\"17\" font-weight=\"bold\">{}</text>",
        escaped(&title)
    )?;
    for ns in (0..=most_ns / time_grid).map(|step| step * time_grid) {
        writeln!(
            out,
            "<path class=\"grid\" d=\"M{LEFT} {:.1} H{RIGHT}\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            y(ns),
            LEFT - 8.0,
            y(ns) + 4.5,
            milliseconds(ns)
        )?;
    }
    for bytes in (0..=most_bytes / byte_grid).map(|step| step * byte_grid) {
        writeln!(
            out,
            "<path class=\"axis\" d=\"M{0:.1} {BOTTOM} v5\"/>\
             <text x=\"{0:.1}\" y=\"{1:.1}\" text-anchor=\"middle\">{bytes}</text>",
            x(bytes),
            BOTTOM + 20.0
        )?;
    }
    writeln!(
        out,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">bytes of instructions</text>\
         <text x=\"8\" y=\"{:.1}\">milliseconds</text>",
        (LEFT + RIGHT) / 2.0,
        BOTTOM + 42.0,
        TOP - 32.0
    )?;
    let first = points.first().map(|point| point.layout);
    for (number, point) in points.iter().enumerate() {
        let place = place_of(&point.name());
        let (_, _, shape) = LOOKS[place % LOOKS.len()];
        let (at_x, at_y) = (x(point.instruction_bytes), y(point.median_ns));
        let is_first = Some(point.layout) == first;
        let look = if is_first { "" } else { " fill-opacity=\"0.3\" stroke-width=\"1\"" };
        writeln!(
            out,
            "<path class=\"axis\" d=\"M{at_x:.1} {:.1} V{:.1}\"/>\
             <path class=\"m{place}\"{look} d=\"{shape}\" transform=\"translate({at_x:.1} {at_y:.1})\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" font-weight=\"bold\">{}{}</text>",
            y(point.least_ns),
            y(point.most_ns),
            at_x + 9.0,
            at_y - 8.0,
            letter(place),
            if is_first { "" } else { "'" }
        )?;
        write_entry(point, number, place, is_first, out)?;
    }
    writeln!(
        out,
        "<text x=\"{LEFT}\" y=\"{:.1}\">Mark: median; bar: quickest to slowest round. Noisy, of one \
         machine in one hour: no promise about a board.</text></g>",
        HEIGHT - 14.0
    )
}

/// A line of the legend.
fn write_entry(
    point: &TimePoint,
    number: usize,
    place: usize,
    is_first: bool,
    out: &mut String,
) -> std::fmt::Result {
    let y = TOP + 27.0 * number as f64;
    writeln!(
        out,
        "<text x=\"{LEGEND}\" y=\"{y:.1}\" font-size=\"12\"><tspan font-weight=\"bold\">{}{} {}</tspan>, {}: \
         {} ms</text>\
         <text x=\"{:.1}\" y=\"{:.1}\" font-size=\"11\">{}</text>",
        letter(place),
        if is_first { "" } else { "'" },
        escaped(&point.encoding),
        point.layout.name(),
        milliseconds(point.median_ns),
        LEGEND + 16.0,
        y + 12.0,
        escaped(&time_standing(point))
    )
}

/// The chart in words, behind those of the chart above.
pub(super) fn description(times: &Times) -> String {
    let mut text = String::from(" Below, time upwards, noisy, of one machine: ");
    for point in &times.points {
        let _ = write!(
            text,
            "{}, {}: {} bytes, median {} ms, {} to {} ms, {}; ",
            point.name(),
            point.layout.name(),
            point.instruction_bytes,
            milliseconds(point.median_ns),
            milliseconds(point.least_ns),
            milliseconds(point.most_ns),
            time_standing(point)
        );
    }
    text.push_str("no promise about a board.");
    text
}
