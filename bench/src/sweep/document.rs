//! What a sweep says, as it goes out and comes back in: its schema is
//! `schema/sweep.json`.
//!
//! It owns which points are dominated. Peaks have no sum: a point tells the largest of
//! its scripts, and which script that is.

use anyhow::{Context, Result, ensure};
use scruple_bytecode::Encoding;
use serde::{Deserialize, Serialize};

use crate::bounds::Bounds;
use crate::document::{Figures, Lab, Row};
use crate::layout::HeapLayout;
use crate::shard::Slice;
use crate::sweep::time::Times;

/// The version of this form; see [`crate::document::SCHEMA`].
pub const SCHEMA: u32 = 1;

/// Everything a sweep says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sweep {
    /// The version of this form.
    pub schema: u32,
    /// What ran the scripts.
    pub lab: Lab,
    /// A point an encoding and layout, over the scripts that ran every way.
    pub points: Vec<Point>,
    /// What the instructions could take; nothing where no script ran.
    pub bounds: Option<Bounds>,
    /// Scripts that no point counts.
    pub left_out: Vec<LeftOut>,
    /// A row a script, layout and encoding, as `weigh` has them.
    pub rows: Vec<Row>,
    /// How long the scripts took, if that was asked for: of one machine, and noisy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub times: Option<Times>,
    /// Which part of a sweep this is; a whole one has no such field.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shard: Option<Slice>,
    /// The images of a part, which the bounds of the whole are computed from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub images: Option<Vec<PackedImage>>,
}

/// One encoding over one layout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Point {
    /// The encoding's name.
    pub encoding: String,
    /// The instruction set, by name and hash, of an encoding that has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<String>,
    /// The heap's layout.
    pub layout: HeapLayout,
    /// Scripts that are added up.
    pub scripts: u64,
    /// Bytes of instructions.
    pub instruction_bytes: u64,
    /// Bytes of the images.
    pub image_bytes: u64,
    /// Instructions fetched and carried out.
    pub instructions: u64,
    /// Operations carried out.
    pub operations: u64,
    /// Instruction bytes read.
    pub fetched_bytes: u64,
    /// The largest high-water mark of any script.
    pub largest_high_water_bytes: u64,
    /// The script that has it.
    pub largest_high_water_script: String,
    /// The largest live peak of any script.
    pub largest_live_peak_bytes: u64,
    /// An encoding that takes no more bytes and no more instructions over this layout,
    /// and less of one: then this one is not on the front.
    pub dominated_by: Option<String>,
}

/// A script that no point counts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    /// The script.
    pub script: String,
    /// What went wrong first.
    pub reason: String,
}

/// An image in a document.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackedImage {
    /// The script.
    pub script: String,
    /// The encoding's name.
    pub encoding: String,
    /// Its bytes, two hexadecimal digits each.
    pub hex: String,
}

impl Sweep {
    pub(super) fn new(
        rows: Vec<Row>,
        left_out: Vec<LeftOut>,
        points: Vec<Point>,
        bounds: Option<Bounds>,
    ) -> Sweep {
        let lab = Lab::here();
        Sweep {
            schema: SCHEMA,
            lab,
            points,
            bounds,
            left_out,
            rows,
            times: None,
            shard: None,
            images: None,
        }
    }
}

impl Point {
    pub(super) fn new(row: &Row) -> Point {
        Point {
            encoding: row.encoding.clone(),
            set: row.set.clone(),
            layout: row.layout,
            scripts: 0,
            instruction_bytes: 0,
            image_bytes: 0,
            instructions: 0,
            operations: 0,
            fetched_bytes: 0,
            largest_high_water_bytes: 0,
            largest_high_water_script: String::new(),
            largest_live_peak_bytes: 0,
            dominated_by: None,
        }
    }

    pub(super) fn add(&mut self, script: &str, figures: &Figures) {
        self.scripts += 1;
        self.instruction_bytes += figures.image.instructions;
        self.image_bytes += figures.image.total;
        self.instructions += figures.instructions;
        self.operations += figures.operations;
        self.fetched_bytes += figures.fetched_bytes;
        if figures.heap_high_water.total > self.largest_high_water_bytes {
            self.largest_high_water_bytes = figures.heap_high_water.total;
            script.clone_into(&mut self.largest_high_water_script);
        }
        self.largest_live_peak_bytes = self.largest_live_peak_bytes.max(figures.live_peak.total);
    }

    /// Its encoding, and its set if it has one.
    pub fn name(&self) -> String {
        named(&self.encoding, self.set.as_deref())
    }

    /// Whether it is as good in both figures and better in one.
    fn dominates(&self, other: &Point) -> bool {
        let own = (self.instruction_bytes, self.instructions);
        let others = (other.instruction_bytes, other.instructions);
        self.layout == other.layout && own.0 <= others.0 && own.1 <= others.1 && own != others
    }
}

/// Marks the points that another one dominates, by the one that has fewest bytes.
pub(super) fn find_dominated(points: &mut [Point]) {
    for index in 0..points.len() {
        let better = points.iter().filter(|point| point.dominates(&points[index]));
        let best = better.min_by_key(|point| (point.instruction_bytes, point.instructions));
        points[index].dominated_by = best.map(Point::name);
    }
}

/// An encoding with its set, as a report names them.
pub(crate) fn named(encoding: &str, set: Option<&str>) -> String {
    set.map_or_else(|| encoding.to_owned(), |set| format!("{encoding} of {set}"))
}

impl PackedImage {
    pub(super) fn pack(script: &str, encoding: Encoding, bytes: &[u8]) -> PackedImage {
        PackedImage {
            script: script.to_owned(),
            encoding: encoding.name().to_owned(),
            hex: bytes.iter().map(|byte| format!("{byte:02x}")).collect(),
        }
    }

    pub(super) fn unpack(&self) -> Result<(Encoding, Vec<u8>)> {
        let wrong = || format!("{}: its image is damaged", self.script);
        let encoding = Encoding::from_name(&self.encoding).with_context(wrong)?;
        ensure!(self.hex.len().is_multiple_of(2) && self.hex.is_ascii(), wrong());
        let byte = |at| u8::from_str_radix(&self.hex[at..at + 2], 16);
        let bytes: Result<Vec<u8>, _> = (0..self.hex.len()).step_by(2).map(byte).collect();
        Ok((encoding, bytes.with_context(wrong)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    impl Point {
        /// A point of one script without figures.
        pub(in crate::sweep) fn sample(encoding: &str, layout: HeapLayout) -> Point {
            Point {
                encoding: encoding.to_owned(),
                set: None,
                layout,
                scripts: 1,
                instruction_bytes: 0,
                image_bytes: 0,
                instructions: 0,
                operations: 0,
                fetched_bytes: 0,
                largest_high_water_bytes: 0,
                largest_high_water_script: String::new(),
                largest_live_peak_bytes: 0,
                dominated_by: None,
            }
        }
    }

    fn point(encoding: &str, layout: HeapLayout, bytes: u64, instructions: u64) -> Point {
        let instruction_bytes = bytes;
        Point { instruction_bytes, instructions, ..Point::sample(encoding, layout) }
    }

    // The definition of Pareto dominance, common practice: no worse in any figure and
    // better in at least one.
    #[test]
    fn a_point_is_dominated_if_another_is_no_worse_in_both_and_better_in_one() {
        let (narrow, wide) = (HeapLayout::Narrow, HeapLayout::Wide);
        let mut points = [
            point("a", narrow, 100, 10),
            point("b", narrow, 90, 12),
            point("c", narrow, 100, 12),
            point("d", narrow, 100, 10),
            point("e", narrow, 95, 12),
            point("f", wide, 200, 20),
        ];
        find_dominated(&mut points);
        let by: Vec<_> = points.iter().map(|point| point.dominated_by.as_deref()).collect();
        assert_eq!(by, [None, None, Some("b"), None, Some("b"), None]);
    }

    #[test]
    fn an_image_comes_back_from_its_digits() {
        let image = PackedImage::pack("a.js", Encoding::Leb, &[0, 255, 16]);
        assert_eq!(image.hex, "00ff10");
        assert_eq!(image.unpack().unwrap(), (Encoding::Leb, vec![0, 255, 16]));
        for wrong in ["0", "0g", "é"] {
            assert!(PackedImage { hex: wrong.to_owned(), ..image.clone() }.unpack().is_err());
        }
    }
}
