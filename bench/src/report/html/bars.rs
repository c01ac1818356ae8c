//! Sums of image bytes as a picture: a bar an encoding, a part of the image each piece.
//!
//! It owns the drawing. Looks are those of the picture of the heap: a pattern besides the
//! colour; title and description say all of it in words. The same document gives the same
//! bytes.

use std::fmt::Write as _;

use super::super::escape::escaped;
use super::super::svg::write_areas;
use super::super::sweep_svg::axis;
use crate::document::Total;

const WIDTH: f64 = 960.0;
const LEFT: f64 = 170.0;
const RIGHT: f64 = 850.0;
const TOP: f64 = 96.0;
const STEP: f64 = 30.0;
const THICK: f64 = 20.0;
/// Room for an entry of the legend.
const ENTRY: f64 = 130.0;

/// The parts of the images, in their order there.
pub(super) fn parts(total: &Total) -> [(&'static str, u64); 6] {
    let image = &total.image;
    [
        ("header", image.header),
        ("constants", image.constants),
        ("functions", image.functions),
        ("instructions", image.instructions),
        ("padding", image.padding),
        ("lines", image.lines),
    ]
}

/// Draws these sums.
pub(super) fn render(totals: &[Total]) -> String {
    let mut out = String::new();
    // A String takes whatever is written.
    let _ = write(totals, &mut out);
    out
}

fn write(totals: &[Total], out: &mut String) -> std::fmt::Result {
    let (most, grid) = axis(totals.iter().map(|total| total.image.total).max().unwrap_or(0));
    let x = |bytes: u64| LEFT + bytes as f64 / most as f64 * (RIGHT - LEFT);
    let bottom = TOP + STEP * totals.len() as f64;
    let height = bottom + 50.0;
    writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" \
         width=\"{WIDTH}\" height=\"{height}\" role=\"img\" aria-labelledby=\"title desc\" \
         font-family=\"sans-serif\" font-size=\"13\">"
    )?;
    writeln!(out, "<title id=\"title\">Bytes of all images by part</title>")?;
    writeln!(out, "<desc id=\"desc\">{}</desc>", escaped(&description(totals)))?;
    write_areas(&[0, 1, 2, 3, 4, 5], out)?;
    writeln!(
        out,
        "<rect class=\"paper\" width=\"{WIDTH}\" height=\"{height}\"/>\
         <text x=\"{LEFT}\" y=\"28\" font-size=\"17\" font-weight=\"bold\">Bytes of all images by \
         part</text>"
    )?;
    for step in 0..=most / grid {
        let (bytes, x) = (step * grid, x(step * grid));
        writeln!(
            out,
            "<path class=\"grid\" d=\"M{x:.1} {:.1} V{bottom:.1}\"/>\
             <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{bytes}</text>",
            TOP - 8.0,
            bottom + 20.0
        )?;
    }
    for (number, total) in totals.iter().enumerate() {
        let y = TOP + STEP * number as f64;
        let name = format!("{}, {}", total.encoding, total.layout.name());
        writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            LEFT - 10.0,
            y + 15.0,
            escaped(&name)
        )?;
        let mut before = 0;
        for (look, (_, bytes)) in parts(total).into_iter().enumerate() {
            if bytes > 0 {
                writeln!(
                    out,
                    "<rect class=\"edge\" x=\"{:.1}\" y=\"{y:.1}\" width=\"{:.1}\" height=\"{THICK}\" \
                     fill=\"url(#p{look})\" stroke-width=\"0.6\"/>",
                    x(before),
                    x(before + bytes) - x(before)
                )?;
            }
            before += bytes;
        }
        writeln!(out, "<text x=\"{:.1}\" y=\"{:.1}\">{before}</text>", x(before) + 8.0, y + 15.0)?;
    }
    let Some(first) = totals.first() else { return writeln!(out, "</svg>") };
    for (look, (name, _)) in parts(first).into_iter().enumerate() {
        let x = LEFT + ENTRY * look as f64;
        writeln!(
            out,
            "<rect class=\"edge\" x=\"{x:.1}\" y=\"48\" width=\"26\" height=\"16\" \
             fill=\"url(#p{look})\" stroke-width=\"0.8\"/><text x=\"{:.1}\" y=\"61\">{name}</text>",
            x + 34.0
        )?;
    }
    writeln!(out, "</svg>")
}

fn description(totals: &[Total]) -> String {
    let mut text = String::from("A bar a sum, a piece a part of the image, in bytes. ");
    for total in totals {
        let parts: Vec<String> = parts(total)
            .iter()
            .filter(|(_, bytes)| *bytes > 0)
            .map(|(name, bytes)| format!("{name} {bytes}"))
            .collect();
        let _ = write!(
            text,
            "{}, {}: {} = {}. ",
            total.encoding,
            total.layout.name(),
            total.image.total,
            parts.join(" + ")
        );
    }
    text + "The table below has the same figures."
}
