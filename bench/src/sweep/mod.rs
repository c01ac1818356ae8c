//! The sweep: every encoding over every layout on one corpus, side by side, with the
//! bounds.
//!
//! It owns which scripts are added up: those that have figures every way, so that each
//! point is over the same scripts; the others are named with their reason. It refuses
//! packed scripts, which have one encoding. It measures no time: exact figures and
//! times do not stand in one report.

pub mod document;

use std::collections::HashMap;

use anyhow::{Context, Result, bail, ensure};
use scruple_bytecode::Encoding;

use crate::bounds::{Bounds, Images};
use crate::build;
use crate::document::Row;
use crate::measure::{self, Plan};
use crate::script::Candidate;
use crate::sets::{self, Sets};
use crate::shard::{self, Piece, Slice};
use document::{LeftOut, PackedImage, Point, SCHEMA, Sweep};

/// Weighs a corpus every way of the plan and looks at the instructions. Encodings that have an
/// instruction set are measured with each of these, of which the scripts' options ask for
/// the first. `done` is called after each row.
pub fn sweep(
    candidates: &[Candidate],
    plan: &Plan,
    slice: Option<Slice>,
    sets: &[Sets],
    done: &(dyn Fn() + Sync),
) -> Result<Sweep> {
    for candidate in candidates {
        if candidate.script.as_ref().is_ok_and(|script| script.packed.is_some()) {
            bail!("{}: an image has one encoding, a sweep wants its source", candidate.name);
        }
    }
    let mut rows = measure::weigh(candidates, plan, done).rows;
    let ways = compiled_ways(plan, sets);
    for &own in sets.iter().skip(1) {
        let with_own = with_set(candidates, Some(own));
        let more = Plan { encodings: with_a_set(plan), ..plan.clone() };
        rows.extend(measure::weigh(&with_own, &more, done).rows);
    }
    // By script, as slices are put together.
    let places: HashMap<&str, usize> =
        (0..).zip(candidates).map(|(n, one)| (one.name.as_str(), n)).collect();
    rows.sort_by_key(|row| places.get(row.script.as_str()).copied());
    let mut images = Vec::new();
    for candidate in candidates {
        let Ok(script) = &candidate.script else { continue };
        if rows.iter().any(|row| row.script == candidate.name && row.figures.is_none()) {
            continue;
        }
        let compile = |&(encoding, own): &(Encoding, Option<Sets>)| {
            let set = own.unwrap_or(script.options.sets()).first().context("no instruction set")?;
            let built =
                build::on_large_stack(|| build::compile_with(&script.text, encoding, set, true))
                    .context("no thread to compile on")?;
            let built = built.map_err(|wrong| anyhow::anyhow!(measure::refused(&wrong).message))?;
            Ok((encoding, built.image))
        };
        let own: Result<Images> = ways.iter().map(compile).collect();
        images.push((candidate.name.clone(), own?));
    }
    let mut whole = assemble(rows, &images, sets::all_of(sets))?;
    if slice.is_some() {
        whole.shard = slice;
        whole.images = Some(images.iter().flat_map(|(name, own)| packed(name, own)).collect());
    }
    Ok(whole)
}

/// Puts the documents of slices together: bounds are of the whole corpus, so they are
/// computed anew from the images that slices carry.
pub fn merge(documents: Vec<(String, Sweep)>, sets: Sets) -> Result<Sweep> {
    let mut pieces = Vec::new();
    let mut packed = Vec::new();
    for (name, document) in documents {
        let Sweep { schema, lab, rows, shard, images, .. } = document;
        ensure!(schema == SCHEMA, "{name}: schema {schema}, this program writes {SCHEMA}");
        packed.extend(images.unwrap_or_default());
        pieces.push(Piece { name, lab, slice: shard, rows });
    }
    let rows = shard::merge_rows(pieces)?;
    let mut images: Vec<(String, Images)> = Vec::new();
    for row in &rows {
        if images.last().is_some_and(|(name, _)| *name == row.script) {
            continue;
        }
        let own = packed.iter().filter(|image| image.script == row.script);
        let own = own.map(PackedImage::unpack).collect::<Result<Images>>()?;
        images.push((row.script.clone(), own));
    }
    images.retain(|(_, own)| !own.is_empty());
    assemble(rows, &images, sets)
}

/// The document of these rows: points over the scripts that have an image here.
fn assemble(rows: Vec<Row>, images: &[(String, Images)], sets: Sets) -> Result<Sweep> {
    let is_in = |script: &str| images.iter().any(|(name, _)| name == script);
    let mut left_out: Vec<LeftOut> = Vec::new();
    let mut points: Vec<Point> = Vec::new();
    for row in &rows {
        if let (Some(figures), true) = (&row.figures, is_in(&row.script)) {
            let is_like = |p: &Point| {
                p.encoding == row.encoding && p.set == row.set && p.layout == row.layout
            };
            let index = points.iter().position(is_like).unwrap_or_else(|| {
                points.push(Point::new(row));
                points.len() - 1
            });
            points[index].add(&row.script, figures);
        } else if let Some(error) = &row.error
            && left_out.iter().all(|out| out.script != row.script)
        {
            left_out.push(LeftOut { script: row.script.clone(), reason: error.describe() });
        }
    }
    document::find_dominated(&mut points);
    let own: Vec<Images> = images.iter().map(|(_, own)| own.clone()).collect();
    let bounds = if own.is_empty() { None } else { Some(Bounds::of(&own, sets)?) };
    Ok(Sweep::new(rows, left_out, points, bounds))
}

/// Every encoding of a plan, and behind them those that have a set with each set but the
/// first.
fn compiled_ways(plan: &Plan, sets: &[Sets]) -> Vec<(Encoding, Option<Sets>)> {
    let mut ways: Vec<_> = plan.encodings.iter().map(|&encoding| (encoding, None)).collect();
    for &own in sets.iter().skip(1) {
        ways.extend(with_a_set(plan).into_iter().map(|encoding| (encoding, Some(own))));
    }
    ways
}

fn with_a_set(plan: &Plan) -> Vec<Encoding> {
    plan.encodings.iter().copied().filter(|encoding| encoding.has_set()).collect()
}

/// The scripts, compiled against another set; what could not be read is told already.
fn with_set(candidates: &[Candidate], set: Option<Sets>) -> Vec<Candidate> {
    let scripts = candidates.iter().filter_map(|candidate| candidate.script.as_ref().ok());
    let own = scripts.cloned().map(|mut script| {
        script.options.sets = set;
        Candidate::from(script)
    });
    own.collect()
}

fn packed(script: &str, images: &Images) -> Vec<PackedImage> {
    images.iter().map(|(encoding, bytes)| PackedImage::pack(script, *encoding, bytes)).collect()
}

#[cfg(test)]
mod tests {
    use scruple_bytecode::sets::{SHIPPED_SETS, SetBuffer};

    use super::*;
    use crate::layout::HeapLayout;
    use crate::script::Script;
    use crate::shard::Shard;

    fn candidates() -> Vec<Candidate> {
        let texts = [
            "let a = []; for (let i = 0; i < 9; i++) a.push(i * 0.5); console.log(a.length);",
            "null.x;",
            "console.log('a' + 1);",
            "function f(n) { return n < 2 ? n : f(n - 1) + f(n - 2); } console.log(f(9));",
        ];
        let script = |(n, text): (usize, &&str)| Script::from_text(&format!("{n}.js"), text, None);
        texts.iter().enumerate().map(|pair| script(pair).into()).collect()
    }

    fn plan() -> Plan {
        Plan { layouts: HeapLayout::ALL.to_vec(), ..Plan::default() }
    }

    #[test]
    fn points_are_sums_over_the_scripts_that_ran_every_way() {
        let swept = sweep(&candidates(), &plan(), None, &[SHIPPED_SETS], &|| ()).unwrap();
        assert_eq!(swept.points.len(), Encoding::ALL.len() * HeapLayout::ALL.len());
        assert_eq!(swept.left_out.len(), 1);
        assert_eq!(swept.left_out[0].script, "1.js");
        for point in &swept.points {
            let rows = swept
                .rows
                .iter()
                .filter(|row| row.encoding == point.encoding && row.layout == point.layout);
            let figures: Vec<_> = rows.filter_map(|row| row.figures.as_ref()).collect();
            assert_eq!(figures.len(), 3);
            let bytes: u64 = figures.iter().map(|f| f.image.instructions).sum();
            assert_eq!(point.instruction_bytes, bytes);
            let largest = figures.iter().map(|f| f.heap_high_water.total).max();
            assert_eq!(Some(point.largest_high_water_bytes), largest);
        }
        let bounds = swept.bounds.as_ref().unwrap();
        for (entry, point) in bounds.encodings.iter().zip(&swept.points) {
            assert_eq!(entry.instruction_bytes, point.instruction_bytes);
        }
    }

    #[test]
    fn each_set_is_a_point_of_its_own_over_the_same_scripts() {
        let text = "set own\nshort load_slot 0\njoin less, branch_true *\n";
        let own = sets::keep(SetBuffer::parse(text).unwrap());
        let several = [SHIPPED_SETS, own];
        let swept = sweep(&candidates(), &plan(), None, &several, &|| ()).unwrap();
        let names: Vec<String> = swept
            .points
            .iter()
            .filter(|point| point.encoding == "composite" && point.layout == HeapLayout::Narrow)
            .map(Point::name)
            .collect();
        let label = |sets: Sets| format!("composite of {}", sets::label(sets[0]));
        assert_eq!(names, several.map(label));
        for point in &swept.points {
            assert_eq!((point.scripts, point.operations), (3, swept.points[0].operations));
        }
        let bounds = swept.bounds.unwrap();
        let n_with_set = Encoding::ALL.iter().filter(|encoding| encoding.has_set()).count();
        assert_eq!(bounds.encodings.len(), Encoding::ALL.len() + n_with_set);
        let last = bounds.encodings.last().unwrap();
        let is_last = |point: &&Point| point.set == last.set && point.encoding == last.encoding;
        let point = swept.points.iter().find(is_last).unwrap();
        assert_eq!(last.instruction_bytes, point.instruction_bytes);
    }

    #[test]
    fn slices_of_a_sweep_are_the_sweep() {
        let whole = sweep(&candidates(), &plan(), None, &[SHIPPED_SETS], &|| ()).unwrap();
        let slice = |text: &str| {
            let mut taken = candidates();
            let slice = text.parse::<Shard>().unwrap().cut(&mut taken, &plan());
            let document = sweep(&taken, &plan(), Some(slice), &[SHIPPED_SETS], &|| ()).unwrap();
            let json = serde_json::to_string(&document).unwrap();
            (text.to_owned(), serde_json::from_str(&json).unwrap())
        };
        assert_eq!(merge(vec![slice("2/2"), slice("1/2")], SHIPPED_SETS).unwrap(), whole);
        let error = merge(vec![slice("2/2")], SHIPPED_SETS).unwrap_err();
        assert_eq!(error.to_string(), "missing of 2 slices: 1");
    }
}
