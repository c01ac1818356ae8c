//! The candidates: sequences of operations, operands free or fixed, that occur often
//! enough to be thought of.
//!
//! It owns the enumeration. A pattern grows an operation at a time, and only one that
//! occurs often enough grows on: what occurs seldom is seldomer when longer. Where an
//! operand is the same at every occurrence, the pattern with it free is not looked at:
//! it saves less in the same places. It refuses to judge which are worth their bytes.

use std::collections::BTreeMap;

use scruple_bytecode::operand::OperandKind;
use scruple_bytecode::ops::Op;
use scruple_bytecode::sets::{MAX_PARTS, Part};

use super::model::Corpus;

/// A pattern, and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    pub(super) parts: Vec<Part>,
    /// Bytes it saves at each place.
    pub(super) saved: u32,
    /// The places of its first operation, in order.
    pub(super) places: Vec<u32>,
}

/// The least a pattern must occur.
#[derive(Clone, Copy, Debug)]
pub(super) struct Least {
    /// How often.
    pub(super) places: usize,
    /// In how many scripts.
    pub(super) programs: usize,
}

/// Every pattern of a corpus that saves anything and occurs often enough, in the scripts
/// that are not left out.
pub(super) fn find(corpus: &Corpus, left_out: Option<usize>, least: Least) -> Vec<Candidate> {
    let places: Vec<u32> = corpus
        .programs
        .iter()
        .enumerate()
        .filter(|(number, _)| Some(*number) != left_out)
        .flat_map(|(_, program)| program.range.clone().map(|at| at as u32))
        .collect();
    let owners: Vec<u32> = (0..)
        .zip(&corpus.programs)
        .flat_map(|(number, program)| std::iter::repeat_n(number, program.range.len()))
        .collect();
    let mut search = Search { corpus, owners, least, found: Vec::new() };
    search.grow(&mut Vec::new(), &places);
    search.found
}

/// A pattern as a candidate, wherever it stands.
pub(super) fn of_parts(corpus: &Corpus, parts: &[Part], left_out: Option<usize>) -> Candidate {
    let programs = corpus.programs.iter().enumerate();
    let places = programs
        .filter(|(number, _)| Some(*number) != left_out)
        .flat_map(|(_, program)| program.range.clone())
        .filter(|&at| corpus.takes(parts, at))
        .map(|at| at as u32);
    Candidate { parts: parts.to_vec(), saved: corpus.saved_bytes(parts), places: places.collect() }
}

struct Search<'c> {
    corpus: &'c Corpus,
    /// The script of each operation.
    owners: Vec<u32>,
    least: Least,
    found: Vec<Candidate>,
}

impl Search<'_> {
    fn grow(&mut self, parts: &mut Vec<Part>, places: &[u32]) {
        let depth = parts.len();
        let mut next: BTreeMap<(u8, Option<i32>), Vec<u32>> = BTreeMap::new();
        for &place in places {
            if depth >= self.corpus.reach[place as usize] as usize {
                continue;
            }
            let atom = self.corpus.atoms[place as usize + depth];
            let kind = atom.op.info().operand;
            if kind != OperandKind::None {
                next.entry((atom.op as u8, None)).or_default().push(place);
            }
            if kind != OperandKind::Displacement {
                next.entry((atom.op as u8, Some(atom.operand))).or_default().push(place);
            }
        }
        // The free one comes before the fixed ones of its operation.
        let same: Vec<(u8, Option<i32>)> = next
            .keys()
            .filter(|(opcode, operand)| {
                let mut of_op = next.range((*opcode, None)..=(*opcode, Some(i32::MAX)));
                operand.is_none()
                    && of_op.any(|((_, fixed), places)| {
                        fixed.is_some() && places.len() == next[&(*opcode, None)].len()
                    })
            })
            .copied()
            .collect();
        for key in same {
            next.remove(&key);
        }
        for ((opcode, operand), places) in next {
            if places.len() < self.least.places || self.n_programs(&places) < self.least.programs {
                continue;
            }
            let Some(op) = Op::from_opcode(opcode) else { continue };
            parts.push(Part { op, operand });
            let saved = self.corpus.saved_bytes(parts);
            // A short form of a single operation must save something by itself.
            let is_entry = if parts.len() == 1 { saved > 0 } else { true };
            if is_entry {
                self.found.push(Candidate { parts: parts.clone(), saved, places: places.clone() });
            }
            if parts.len() < MAX_PARTS {
                self.grow(parts, &places);
            }
            parts.pop();
        }
    }

    /// In how many scripts these places are, as far as it matters.
    fn n_programs(&self, places: &[u32]) -> usize {
        let (mut n, mut last) = (0, None);
        for &place in places {
            let owner = self.owners[place as usize];
            if last != Some(owner) {
                n += 1;
                last = Some(owner);
                if n >= self.least.programs {
                    break;
                }
            }
        }
        n
    }
}
