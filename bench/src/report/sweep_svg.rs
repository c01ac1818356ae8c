//! A sweep as a picture: bytes of instructions against instructions carried out, with
//! the front and the bounds; and below, if times were taken, bytes against time.
//!
//! It owns the drawing of the former and what both share; [`super::sweep_time_svg`] draws the
//! latter. Each encoding has a letter and a shape of its own besides its
//! colour, and the legend says all of it in words. Dark mode is the reader's own. The
//! same document gives the same bytes.

use std::fmt::Write as _;

use super::counted;
use super::escape::escaped;
use super::svg::round_up;
use super::sweep::{bound_bytes, standing};
use super::sweep_time_svg;
use crate::sweep::document::{Point, Sweep};

pub(super) const WIDTH: f64 = 980.0;
pub(super) const HEIGHT: f64 = 520.0;
pub(super) const LEFT: f64 = 104.0;
pub(super) const RIGHT: f64 = 610.0;
pub(super) const TOP: f64 = 84.0;
pub(super) const BOTTOM: f64 = 440.0;
pub(super) const LEGEND: f64 = 640.0;

/// A colour for light, one for dark, and a shape around (0, 0).
pub(super) const LOOKS: [(&str, &str, &str); 8] = [
    ("#1b6ca8", "#7cc0f0", "M-6 -6 H6 V6 H-6 Z"),
    ("#a8431b", "#f0a57c", "M0 -7 L7 6 H-7 Z"),
    ("#3d7d2a", "#9fdc8c", "M0 -8 L8 0 L0 8 L-8 0 Z"),
    ("#7a3aa0", "#d0a0ee", "M-7 -6 H7 L0 7 Z"),
    ("#9a6a00", "#ecc25a", "M-4 -7 H4 L7 0 L4 7 H-4 L-7 0 Z"),
    ("#00767a", "#6ad9dd", "M-7 -3 H-3 V-7 H3 V-3 H7 V3 H3 V7 H-3 V3 H-7 Z"),
    ("#b0246a", "#f290c0", "M-7 0 A7 7 0 1 0 7 0 A7 7 0 1 0 -7 0 Z"),
    ("#4a4a4a", "#c4c4c4", "M-7 -7 L0 -3 L7 -7 L3 0 L7 7 L0 3 L-7 7 L-3 0 Z"),
];

/// Draws a sweep.
pub(super) fn render(sweep: &Sweep) -> String {
    let mut out = String::new();
    // A String takes whatever is written.
    let _ = Chart::new(sweep).write(&mut out);
    out
}

struct Chart<'a> {
    sweep: &'a Sweep,
    /// A point an encoding: layouts share both figures.
    shown: Vec<&'a Point>,
    most_bytes: u64,
    byte_grid: u64,
    most_instructions: u64,
    instruction_grid: u64,
}

impl<'a> Chart<'a> {
    fn new(sweep: &'a Sweep) -> Chart<'a> {
        let mut shown: Vec<&Point> = Vec::new();
        for point in &sweep.points {
            let is_same = |other: &&Point| {
                other.name() == point.name() && other.instructions == point.instructions
            };
            if !shown.iter().any(is_same) {
                shown.push(point);
            }
        }
        let (most_bytes, byte_grid) =
            axis(shown.iter().map(|point| point.instruction_bytes).max().unwrap_or(0));
        let (most_instructions, instruction_grid) =
            axis(shown.iter().map(|point| point.instructions).max().unwrap_or(0));
        Chart { sweep, shown, most_bytes, byte_grid, most_instructions, instruction_grid }
    }

    fn x(&self, bytes: u64) -> f64 {
        LEFT + bytes as f64 / self.most_bytes as f64 * (RIGHT - LEFT)
    }

    fn y(&self, instructions: u64) -> f64 {
        BOTTOM - instructions as f64 / self.most_instructions as f64 * (BOTTOM - TOP)
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        let n_scripts = self.shown.first().map_or(0, |point| point.scripts);
        let scripts = counted(n_scripts, "script");
        let title = format!("Bytes against instructions, over {scripts}");
        let times = self.sweep.times.as_ref();
        let height = if times.is_some() { 2.0 * HEIGHT } else { HEIGHT };
        writeln!(
            out,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" \
             width=\"{WIDTH}\" height=\"{height}\" role=\"img\" aria-labelledby=\"title desc\" \
             font-family=\"sans-serif\" font-size=\"13\">"
        )?;
        writeln!(out, "<title id=\"title\">{}</title>", escaped(&title))?;
        writeln!(out, "<desc id=\"desc\">{}</desc>", escaped(&self.description()))?;
        self.write_style(out)?;
        writeln!(out, "<rect class=\"paper\" width=\"{WIDTH}\" height=\"{height}\"/>")?;
        writeln!(
            out,
            "<text x=\"{LEFT}\" y=\"28\" font-size=\"17\" font-weight=\"bold\">{}</text>",
            escaped(&title)
        )?;
        self.write_grid(out)?;
        self.write_bounds(out)?;
        self.write_front(out)?;
        for place in 0..self.shown.len() {
            self.write_mark(out, place)?;
        }
        self.write_legend(out)?;
        if let Some(times) = times {
            sweep_time_svg::write(times, &|encoding| self.place_of(encoding), out)?;
        }
        writeln!(out, "</svg>")
    }

    /// The place of the mark of an encoding, by its name: one in both charts.
    fn place_of(&self, name: &str) -> usize {
        self.shown.iter().position(|point| point.name() == name).unwrap_or(0)
    }

    fn description(&self) -> String {
        let mut text = String::from("Instruction bytes to the right, instructions upwards; ");
        for (place, point) in self.shown.iter().enumerate() {
            let _ = write!(
                text,
                "{}, {}: {} bytes, {} instructions, {}; ",
                letter(place),
                point.name(),
                point.instruction_bytes,
                point.instructions,
                standing(point)
            );
        }
        if let Some(bounds) = &self.sweep.bounds {
            for (name, bytes) in bound_bytes(bounds) {
                let _ = write!(text, "{name}: {bytes} bytes; ");
            }
        }
        text.push_str("for these scripts with these inputs only.");
        if let Some(times) = &self.sweep.times {
            text.push_str(&sweep_time_svg::description(times));
        }
        text
    }

    fn write_style(&self, out: &mut String) -> std::fmt::Result {
        let mut light = String::from(
            "text{fill:#111}.paper{fill:#fff}.grid{stroke:#ccc}.axis{stroke:#111}\
             .front{stroke:#111;fill:none}.bound{stroke:#555}",
        );
        let mut dark = String::from(
            "text{fill:#eee}.paper{fill:#16181c}.grid{stroke:#3a3e46}.axis{stroke:#eee}\
             .front{stroke:#eee}.bound{stroke:#aaa}",
        );
        for place in 0..self.shown.len() {
            let (on_light, on_dark, _) = LOOKS[place % LOOKS.len()];
            write!(light, ".m{place}{{fill:{on_light}}}")?;
            write!(dark, ".m{place}{{fill:{on_dark}}}")?;
        }
        writeln!(out, "<style>{light}@media (prefers-color-scheme:dark){{{dark}}}</style>")
    }

    fn write_grid(&self, out: &mut String) -> std::fmt::Result {
        for step in 0..=self.most_instructions / self.instruction_grid {
            let instructions = step * self.instruction_grid;
            let y = self.y(instructions);
            writeln!(
                out,
                "<path class=\"grid\" d=\"M{LEFT} {y:.1} H{RIGHT}\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{instructions}</text>",
                LEFT - 8.0,
                y + 4.5
            )?;
        }
        for step in 0..=self.most_bytes / self.byte_grid {
            let bytes = step * self.byte_grid;
            let x = self.x(bytes);
            writeln!(
                out,
                "<path class=\"axis\" d=\"M{x:.1} {BOTTOM} v5\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{bytes}</text>",
                BOTTOM + 20.0
            )?;
        }
        writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">bytes of instructions</text>\
             <text x=\"8\" y=\"{:.1}\">instructions carried out</text>",
            (LEFT + RIGHT) / 2.0,
            BOTTOM + 42.0,
            TOP - 32.0
        )
    }

    fn write_bounds(&self, out: &mut String) -> std::fmt::Result {
        let Some(bounds) = &self.sweep.bounds else { return Ok(()) };
        for (index, (name, bytes)) in bound_bytes(bounds).into_iter().enumerate() {
            let (x, y) = (self.x(bytes), TOP + 160.0 + 34.0 * index as f64);
            writeln!(
                out,
                "<path class=\"bound\" d=\"M{x:.1} {TOP} V{BOTTOM}\" stroke-dasharray=\"2 4\"/>\
                 <text x=\"{:.1}\" y=\"{y:.1}\">{name}: {bytes}</text>",
                x + 5.0
            )?;
        }
        Ok(())
    }

    /// Steps between the points that none dominates.
    fn write_front(&self, out: &mut String) -> std::fmt::Result {
        let mut front: Vec<&&Point> =
            self.shown.iter().filter(|point| point.dominated_by.is_none()).collect();
        front.sort_by_key(|point| (point.instruction_bytes, point.instructions));
        let Some(first) = front.first() else { return Ok(()) };
        write!(out, "<path class=\"front\" stroke-dasharray=\"7 4\" d=\"M{:.1} {TOP}", {
            self.x(first.instruction_bytes)
        })?;
        for point in &front {
            let (x, y) = (self.x(point.instruction_bytes), self.y(point.instructions));
            write!(out, "H{x:.1}V{y:.1}")?;
        }
        writeln!(out, "H{RIGHT}\"/>")
    }

    fn write_mark(&self, out: &mut String, place: usize) -> std::fmt::Result {
        let point = self.shown[place];
        let (x, y) = (self.x(point.instruction_bytes), self.y(point.instructions));
        let (_, _, shape) = LOOKS[place % LOOKS.len()];
        writeln!(
            out,
            "<path class=\"m{place}\" d=\"{shape}\" transform=\"translate({x:.1} {y:.1})\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" font-weight=\"bold\">{}</text>",
            x + 9.0,
            y - 8.0,
            letter(place)
        )
    }

    fn write_legend(&self, out: &mut String) -> std::fmt::Result {
        for (place, point) in self.shown.iter().enumerate() {
            // Three lines: the name of a set makes one too long for a page.
            let y = TOP + 52.0 * place as f64;
            let (_, _, shape) = LOOKS[place % LOOKS.len()];
            let x = LEGEND + 26.0;
            writeln!(
                out,
                "<path class=\"m{place}\" d=\"{shape}\" transform=\"translate({:.1} {:.1})\"/>\
                 <text x=\"{x:.1}\" y=\"{y:.1}\" font-weight=\"bold\">{} {}</text>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" font-size=\"12\">{} bytes, {} instructions</text>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" font-size=\"12\">{}</text>",
                LEGEND + 8.0,
                y - 4.5,
                letter(place),
                escaped(&point.name()),
                y + 16.0,
                point.instruction_bytes,
                point.instructions,
                y + 31.0,
                escaped(&standing(point))
            )?;
        }
        writeln!(
            out,
            "<text x=\"{LEFT}\" y=\"{:.1}\">Broken line: the front. Dotted: bounds of this corpus, \
             tables left out. Exact counts of these runs; time is measured apart.</text>",
            HEIGHT - 14.0
        )
    }
}

/// The end of an axis that has room for the most, and the distance of its lines.
pub(super) fn axis(most: u64) -> (u64, u64) {
    let grid = round_up(most.max(1).div_ceil(5));
    (most.max(1).div_ceil(grid) * grid, grid)
}

/// The letter of a mark.
pub(super) fn letter(place: usize) -> char {
    char::from(b'A' + (place % 26) as u8)
}
