//! Slices of a measurement: one a machine of a CI matrix, put together again.
//!
//! It owns which scripts a slice takes and what must agree before slices are one
//! document: the same program, the same scripts, encodings and layouts, each slice
//! once. It refuses what does not, and says which. What is put together is the document
//! that one run would have written.

use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::str::FromStr;

use anyhow::{Context, Result, bail, ensure};
use serde::{Deserialize, Serialize};

use crate::document::{Document, Lab, Row, SCHEMA};
use crate::layout::HeapLayout;
use crate::measure::Plan;
use crate::script::Candidate;

/// The most slices: more are a mistake.
const MOST: u32 = 10_000;

/// One slice of so many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    index: u32,
    of: u32,
}

impl Shard {
    /// Whether it takes the script of this number: each takes every n-th, so that slow
    /// neighbours are shared out.
    fn takes(self, number: usize) -> bool {
        number % self.of as usize == self.index as usize - 1
    }

    /// Leaves in a list what this slice takes, and says what the whole was.
    pub fn cut(self, candidates: &mut Vec<Candidate>, plan: &Plan) -> Slice {
        let scripts = candidates.iter().map(|candidate| candidate.name.clone()).collect();
        let mut number = 0;
        candidates.retain(|_| {
            number += 1;
            self.takes(number - 1)
        });
        Slice {
            index: self.index,
            of: self.of,
            scripts,
            encodings: plan.encodings.iter().map(|encoding| encoding.name().to_owned()).collect(),
            layouts: plan.layouts.clone(),
        }
    }
}

impl FromStr for Shard {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Shard, &'static str> {
        const FORM: &str = "a slice is I/N, as 2/4: I from 1 to N";
        let (index, of) = text.split_once('/').ok_or(FORM)?;
        let number = |text: &str| text.parse::<u32>().map_err(|_| FORM);
        let (index, of) = (number(index)?, number(of)?);
        let is_slice = (1..=MOST).contains(&of) && (1..=of).contains(&index);
        if is_slice { Ok(Shard { index, of }) } else { Err(FORM) }
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.index, self.of)
    }
}

/// What a document of a slice says of the whole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Slice {
    /// Which slice, from 1.
    pub index: u32,
    /// Of how many.
    pub of: u32,
    /// Every script of the whole, in its order.
    pub scripts: Vec<String>,
    /// The encodings that were asked for.
    pub encodings: Vec<String>,
    /// The layouts that were asked for.
    pub layouts: Vec<HeapLayout>,
}

/// A slice on its way into the whole: where it came from, and its rows.
#[derive(Debug)]
pub struct Piece {
    /// The file, for whoever reads a refusal.
    pub name: String,
    /// What ran it.
    pub lab: Lab,
    /// What it says of the whole.
    pub slice: Option<Slice>,
    /// Its rows.
    pub rows: Vec<Row>,
}

/// Puts documents of `weigh` together.
pub fn merge(documents: Vec<(String, Document)>) -> Result<Document> {
    let mut pieces = Vec::new();
    for (name, document) in documents {
        let Document { schema, lab, rows, checks, shard, .. } = document;
        ensure!(schema == SCHEMA, "{name}: schema {schema}, this program writes {SCHEMA}");
        ensure!(checks.is_none(), "{name}: held against limits, which are for the whole");
        pieces.push(Piece { name, lab, slice: shard, rows });
    }
    Ok(Document::new(merge_rows(pieces)?))
}

/// Puts the rows of slices into the order of one run.
pub fn merge_rows(pieces: Vec<Piece>) -> Result<Vec<Row>> {
    let first = pieces.first().context("no slice to put together")?;
    let whole = slice_of(first)?.clone();
    let (first_name, here) = (first.name.clone(), Lab::here());
    let mut by_index: BTreeMap<u32, String> = BTreeMap::new();
    let mut rows: HashMap<String, Vec<Row>> = HashMap::new();
    for piece in pieces {
        let slice = slice_of(&piece)?;
        let (index, name) = (slice.index, &piece.name);
        ensure!(piece.lab == here, "{name}: of another version of this program");
        let unlike = [
            (slice.of != whole.of, "the number of slices"),
            (slice.scripts != whole.scripts, "the scripts"),
            (slice.encodings != whole.encodings, "the encodings"),
            (slice.layouts != whole.layouts, "the layouts"),
        ];
        if let Some((_, what)) = unlike.iter().find(|(is_unlike, _)| *is_unlike) {
            bail!("{name} and {first_name} are not of one run: {what} differ");
        }
        if let Some(other) = by_index.insert(index, name.clone()) {
            bail!("{name}: slice {index} of {} is in {other} already", whole.of);
        }
        let shard = Shard { index, of: whole.of };
        for row in piece.rows {
            let number = whole.scripts.iter().position(|script| *script == row.script);
            let is_own = number.is_some_and(|number| shard.takes(number));
            ensure!(is_own, "{name}: a row of {}, which slice {shard} does not take", row.script);
            rows.entry(row.script.clone()).or_default().push(row);
        }
    }
    let missing: Vec<String> = (1..=whole.of)
        .filter(|index| !by_index.contains_key(index))
        .map(|index| index.to_string())
        .collect();
    ensure!(missing.is_empty(), "missing of {} slices: {}", whole.of, missing.join(", "));
    let mut all = Vec::new();
    for script in &whole.scripts {
        all.append(&mut rows.remove(script).with_context(|| format!("no row of {script}"))?);
    }
    Ok(all)
}

fn slice_of(piece: &Piece) -> Result<&Slice> {
    let name = &piece.name;
    let slice = piece.slice.as_ref();
    let slice = slice.with_context(|| format!("{name}: no slice, it was made without --shard"))?;
    let is_slice = (1..=MOST).contains(&slice.of) && (1..=slice.of).contains(&slice.index);
    ensure!(is_slice, "{name}: slice {} of {} is none", slice.index, slice.of);
    Ok(slice)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::weigh;
    use crate::script::Script;

    fn candidates() -> Vec<Candidate> {
        let script = |n: usize| {
            Script::from_text(&format!("{n}.js"), &format!("console.log({n} + {n});"), None)
        };
        (0..5).map(|n| script(n).into()).collect()
    }

    fn slice(text: &str) -> (String, Document) {
        let (plan, mut taken) = (Plan::default(), candidates());
        let slice = text.parse::<Shard>().unwrap().cut(&mut taken, &plan);
        let document = weigh(&taken, &plan, &|| ());
        (text.to_owned(), Document { shard: Some(slice), ..document })
    }

    fn refusal(documents: Vec<(String, Document)>) -> String {
        merge(documents).unwrap_err().to_string()
    }

    #[test]
    fn slices_in_any_order_are_the_document_of_one_run() {
        let whole = weigh(&candidates(), &Plan::default(), &|| ());
        assert_eq!(merge(vec![slice("2/3"), slice("1/3"), slice("3/3")]).unwrap(), whole);
        // More slices than scripts: some are empty.
        let many = (1..=7).map(|index| slice(&format!("{index}/7")));
        assert_eq!(merge(many.collect()).unwrap(), whole);
    }

    #[test]
    fn missing_and_doubled_slices_are_refused() {
        assert_eq!(refusal(vec![slice("1/4"), slice("3/4")]), "missing of 4 slices: 2, 4");
        let twice = refusal(vec![slice("1/2"), slice("1/2")]);
        assert_eq!(twice, "1/2: slice 1 of 2 is in 1/2 already");
        assert_eq!(refusal(Vec::new()), "no slice to put together");
    }

    #[test]
    fn what_is_not_of_one_run_is_refused() {
        let unlike = refusal(vec![slice("1/2"), slice("2/3")]);
        assert_eq!(unlike, "2/3 and 1/2 are not of one run: the number of slices differ");
        let whole = ("all".to_owned(), weigh(&candidates(), &Plan::default(), &|| ()));
        assert!(refusal(vec![whole]).contains("without --shard"));
        let (name, mut fewer) = slice("2/2");
        fewer.rows.pop();
        fewer.rows.retain(|row| row.script != "3.js");
        assert_eq!(refusal(vec![slice("1/2"), (name, fewer)]), "no row of 3.js");
        let (name, mut alien) = slice("2/2");
        alien.rows[0].script = "0.js".to_owned();
        assert!(refusal(vec![slice("1/2"), (name, alien)]).contains("does not take"));
    }

    #[test]
    fn a_slice_is_told_by_two_numbers() {
        for wrong in ["", "1", "0/2", "3/2", "1/0", "a/b", "1/2/3", "-1/2", "1/99999"] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
        assert_eq!("2/4".parse::<Shard>().unwrap().to_string(), "2/4");
    }
}
