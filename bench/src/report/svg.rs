//! The heap over time as a picture: stacked areas, a category each.
//!
//! It owns the drawing, and the looks of areas that other pictures take too. Every area has a
//! pattern and a label of its own besides its colour, so that it is read in black and white;
//! title and description say what it shows to whoever does not see it. Dark mode is the
//! reader's own. The same document gives the same bytes: nothing in it tells when it was drawn.

use std::fmt::Write as _;

use super::escape::escaped;
use super::memory::peak_name;
use crate::document::HeapBytes;
use crate::memory::document::{Document, Sample};

const WIDTH: f64 = 960.0;
const HEIGHT: f64 = 520.0;
/// The plot's edges.
const LEFT: f64 = 76.0;
const RIGHT: f64 = 706.0;
const TOP: f64 = 76.0;
const BOTTOM: f64 = 452.0;
/// Where the labels stand, and how far apart they must be.
const LABELS: f64 = 740.0;
const LABEL_STEP: f64 = 24.0;

/// A colour for light, one for dark, and a pattern a category, in the ledger's order. The
/// pattern's lines stand out from either colour.
pub(super) const LOOKS: [(&str, &str, &str); 11] = [
    ("#f2c48d", "#7d5524", "M0 8 L8 0"),
    ("#9fc5e8", "#2f5f8a", "M0 0 L8 8"),
    ("#b6d7a8", "#4a7338", "M0 4 H8"),
    ("#f4a7a3", "#8a403c", "M4 0 V8"),
    ("#d9c7ee", "#63508a", "M3 4 h2 M7 0 h1 M0 0 h1 M7 8 h1 M0 8 h1"),
    ("#ffe699", "#77631a", "M0 0 L8 8 M0 8 L8 0"),
    ("#a2d9d2", "#2c716a", "M0 4 H8 M4 0 V8"),
    ("#e4e4e4", "#5c5c5c", ""),
    ("#bdbdbd", "#474747", "M1 1 h1 M5 1 h1 M3 3 h1 M7 3 h1 M1 5 h1 M5 5 h1 M3 7 h1 M7 7 h1"),
    ("#e6b8d4", "#84506f", "M0 2 L4 6 L8 2"),
    ("#cfd8b0", "#5d6a38", "M0 8 L8 0 M0 4 H8"),
];

/// Draws a document.
pub(super) fn render(document: &Document) -> String {
    let chart = Chart::new(document);
    let mut out = String::new();
    // A String takes whatever is written.
    let _ = chart.write(&mut out);
    out
}

struct Chart<'a> {
    document: &'a Document,
    /// The categories that hold bytes at any time, the lowest area first.
    shown: Vec<usize>,
    /// The value at the upper edge, and between two lines of the grid.
    most: u64,
    grid: u64,
}

impl<'a> Chart<'a> {
    fn new(document: &'a Document) -> Chart<'a> {
        let heaps = || document.timeline.iter().map(|sample| &sample.heap);
        let is_used = |index: &usize| heaps().any(|heap| heap.by_category()[*index].1 > 0);
        let shown = (0..LOOKS.len()).filter(is_used).collect();
        let highest = heaps().map(|heap| heap.total).max().unwrap_or(0).max(1);
        let grid = round_up(highest.div_ceil(5));
        Chart { document, shown, most: highest.div_ceil(grid) * grid, grid }
    }

    fn x(&self, instructions: u64) -> f64 {
        let share = instructions as f64 / self.document.instructions.max(1) as f64;
        LEFT + share * (RIGHT - LEFT)
    }

    fn y(&self, bytes: u64) -> f64 {
        BOTTOM - bytes as f64 / self.most as f64 * (BOTTOM - TOP)
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        let title = format!(
            "Heap of {} over time ({}, {})",
            self.document.script,
            self.document.encoding,
            self.document.layout.name()
        );
        writeln!(
            out,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" \
             width=\"{WIDTH}\" height=\"{HEIGHT}\" role=\"img\" aria-labelledby=\"title desc\" \
             font-family=\"sans-serif\" font-size=\"13\">"
        )?;
        writeln!(out, "<title id=\"title\">{}</title>", escaped(&title))?;
        writeln!(out, "<desc id=\"desc\">{}</desc>", escaped(&self.description()))?;
        write_areas(&self.shown, out)?;
        writeln!(out, "<rect class=\"paper\" width=\"{WIDTH}\" height=\"{HEIGHT}\"/>")?;
        writeln!(
            out,
            "<text x=\"{LEFT}\" y=\"28\" font-size=\"17\" font-weight=\"bold\">{}</text>",
            escaped(&title)
        )?;
        self.write_grid(out)?;
        for place in (0..self.shown.len()).rev() {
            self.write_area(out, place)?;
        }
        self.write_peak(out)?;
        self.write_labels(out)?;
        writeln!(out, "</svg>")
    }

    fn description(&self) -> String {
        let Document { peak, instructions, step_instructions, .. } = self.document;
        let parts: Vec<String> = peak
            .heap
            .by_category()
            .iter()
            .filter(|(_, bytes)| *bytes > 0)
            .map(|(name, bytes)| format!("{name} {bytes}"))
            .collect();
        format!(
            "Stacked areas of the bytes in each category, over {instructions} instructions: within \
             each {step_instructions} instructions the state with most bytes. The {} is {} bytes at \
             instruction {}, {}: {}. For the inputs of this run only.",
            peak_name(self.document),
            peak.heap.total,
            peak.instructions,
            peak.place.describe(),
            parts.join(" + ")
        )
    }

    fn write_grid(&self, out: &mut String) -> std::fmt::Result {
        let mut bytes = 0;
        while bytes <= self.most {
            let y = self.y(bytes);
            writeln!(
                out,
                "<path class=\"grid\" d=\"M{LEFT} {y:.1} H{RIGHT}\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{bytes}</text>",
                LEFT - 8.0,
                y + 4.5
            )?;
            bytes += self.grid;
        }
        writeln!(out, "<text x=\"{LEFT}\" y=\"{:.1}\">bytes</text>", TOP - 24.0)?;
        let total = self.document.instructions;
        let step = round_up(total.div_ceil(5).max(1));
        let mut instructions = 0;
        while instructions <= total {
            let x = self.x(instructions);
            writeln!(
                out,
                "<path class=\"axis\" d=\"M{x:.1} {BOTTOM} v5\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{instructions}</text>",
                BOTTOM + 20.0
            )?;
            instructions += step;
        }
        writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">instructions, of {total}</text>",
            (LEFT + RIGHT) / 2.0,
            BOTTOM + 42.0
        )
    }

    /// The sum of the lowest areas up to this one, in a state.
    fn sum(&self, heap: &HeapBytes, place: usize) -> u64 {
        let categories = heap.by_category();
        self.shown[..=place].iter().map(|&index| categories[index].1).sum()
    }

    /// An area from the bottom up to its sum, drawn the highest first: the lower
    /// ones cover what is not its own.
    fn write_area(&self, out: &mut String, place: usize) -> std::fmt::Result {
        write!(out, "<path d=\"M{LEFT} {BOTTOM}")?;
        let mut level = None;
        for (index, sample) in self.document.timeline.iter().enumerate() {
            let sum = self.sum(&sample.heap, place);
            if level == Some(sum) {
                continue;
            }
            level = Some(sum);
            let start = match index.checked_sub(1) {
                Some(before) => self.document.timeline[before].instructions,
                None => 0,
            };
            write!(out, "H{:.1}V{:.1}", self.x(start), self.y(sum))?;
        }
        writeln!(
            out,
            "H{RIGHT}V{BOTTOM}Z\" class=\"edge\" fill=\"url(#p{})\" stroke-width=\"0.6\"/>",
            self.shown[place]
        )
    }

    fn write_peak(&self, out: &mut String) -> std::fmt::Result {
        let peak = &self.document.peak;
        let x = self.x(peak.instructions);
        let (anchor, at) = match x {
            x if x > (LEFT + RIGHT) / 2.0 => ("end", x - 6.0),
            x => ("start", x + 6.0),
        };
        let at = if anchor == "start" { at.max(LEFT + 56.0) } else { at };
        writeln!(
            out,
            "<path class=\"axis\" d=\"M{x:.1} {:.1} V{BOTTOM}\" stroke-width=\"1.5\" \
             stroke-dasharray=\"5 4\"/><text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{}</text>",
            TOP - 30.0,
            TOP - 24.0,
            escaped(&format!(
                "{} {} bytes, at instruction {}, {}",
                peak_name(self.document),
                peak.heap.total,
                peak.instructions,
                peak.place.describe()
            ))
        )
    }

    /// A label a category in the order of the areas, with a line to where its area
    /// ends at the right.
    fn write_labels(&self, out: &mut String) -> std::fmt::Result {
        let Some(last) = self.last_seen() else { return Ok(()) };
        let at_peak = self.document.peak.heap.by_category();
        writeln!(out, "<text x=\"{LABELS}\" y=\"{:.1}\">at the peak, in bytes</text>", TOP - 24.0)?;
        let mut below = f64::INFINITY;
        // The lowest area's label comes lowest; each one above gives way upwards.
        let mut spots = Vec::new();
        for (place, &index) in self.shown.iter().enumerate() {
            let high = self.sum(&last.heap, place);
            let low = high - last.heap.by_category()[index].1;
            let wanted = (self.y(high) + self.y(low)) / 2.0;
            let y = wanted.min(below - LABEL_STEP).min(BOTTOM - 8.0);
            spots.push((index, wanted, y, high > low));
            below = y;
        }
        // That can push the highest labels out at the top: from there they give way
        // downwards. There is room for all.
        let mut least = TOP + 4.0;
        for (_, _, y, _) in spots.iter_mut().rev() {
            *y = y.max(least);
            least = *y + LABEL_STEP;
        }
        for (index, wanted, y, is_there) in spots {
            let (name, bytes) = at_peak[index];
            if is_there {
                writeln!(
                    out,
                    "<path class=\"leader\" d=\"M{RIGHT} {wanted:.1} L{:.1} {y:.1} H{:.1}\" \
                     stroke-width=\"0.8\"/>",
                    RIGHT + 18.0,
                    LABELS - 4.0
                )?;
            }
            writeln!(
                out,
                "<rect class=\"edge\" x=\"{LABELS}\" y=\"{:.1}\" width=\"26\" height=\"16\" \
                 fill=\"url(#p{index})\" stroke-width=\"0.8\"/><text x=\"{:.1}\" y=\"{:.1}\">{name}</text>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{bytes}</text>",
                y - 8.0,
                LABELS + 34.0,
                y + 4.5,
                WIDTH - 24.0,
                y + 4.5
            )?;
        }
        writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\">sum</text>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            LABELS + 34.0,
            BOTTOM + 20.0,
            WIDTH - 24.0,
            BOTTOM + 20.0,
            self.document.peak.heap.total
        )
    }

    /// The last sample that is wide enough to be seen: the run's end can cut a step to
    /// nearly nothing.
    fn last_seen(&self) -> Option<&Sample> {
        let timeline = &self.document.timeline;
        let start = |index: usize| match index.checked_sub(1) {
            Some(before) => timeline[before].instructions,
            None => 0,
        };
        let is_seen = |(index, sample): &(usize, &Sample)| {
            self.x(sample.instructions) - self.x(start(*index)) >= 2.0
        };
        let mut samples = timeline.iter().enumerate().rev();
        samples.find(is_seen).map(|(_, sample)| sample).or(timeline.last())
    }
}

/// The style of a picture with these areas, and their patterns: `p` and the number of a look.
pub(super) fn write_areas(shown: &[usize], out: &mut String) -> std::fmt::Result {
    let mut light = String::from(
        "text{fill:#111}.paper{fill:#fff}.grid{stroke:#ccc}.axis{stroke:#111}.edge{stroke:#222}\
         .leader{stroke:#555;fill:none}.hatch{stroke:#333;fill:none}",
    );
    let mut dark = String::from(
        "text{fill:#eee}.paper{fill:#16181c}.grid{stroke:#3a3e46}.axis{stroke:#eee}\
         .edge{stroke:#ddd}.leader{stroke:#aaa}.hatch{stroke:#ccc}",
    );
    for &index in shown {
        let (on_light, on_dark, _) = LOOKS[index];
        write!(light, ".a{index}{{fill:{on_light}}}")?;
        write!(dark, ".a{index}{{fill:{on_dark}}}")?;
    }
    writeln!(out, "<style>{light}@media (prefers-color-scheme:dark){{{dark}}}</style>\n<defs>")?;
    for &index in shown {
        let (_, _, lines) = LOOKS[index];
        write!(
            out,
            "<pattern id=\"p{index}\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">\
             <rect class=\"a{index}\" width=\"8\" height=\"8\"/>"
        )?;
        if !lines.is_empty() {
            write!(out, "<path class=\"hatch\" d=\"{lines}\" stroke-width=\"0.8\"/>")?;
        }
        writeln!(out, "</pattern>")?;
    }
    writeln!(out, "</defs>")
}

/// The next of 1, 2 or 5 times a power of ten.
pub(super) fn round_up(number: u64) -> u64 {
    let mut power = 1;
    loop {
        for digit in [1, 2, 5] {
            if digit * power >= number {
                return digit * power;
            }
        }
        power *= 10;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grids_are_round() {
        let round: Vec<u64> = [1, 2, 3, 6, 11, 51, 2001].into_iter().map(round_up).collect();
        assert_eq!(round, [1, 2, 5, 10, 20, 100, 5000]);
    }
}
