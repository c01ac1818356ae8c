//! The operations of an image as a stream, function by function, with its labels:
//! what bounds are computed from and instruction sets are mined from.
//!
//! It owns what a label is: the first operation of a function, where a branch leads,
//! and where guarded code begins, ends and goes to. Branches lead to operations here,
//! not to bytes, so that the stream is the same under every encoding. It refuses
//! bytes that are no instruction.

use std::collections::HashMap;

use anyhow::{Context, Result, ensure};
use scruple_bytecode::encoding::Fetched;
use scruple_bytecode::image::Image;
use scruple_bytecode::operand::FunctionId;
use scruple_bytecode::ops::{Flow, Op};

/// The operations of one image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stream {
    /// Its functions, in the image's order.
    pub functions: Vec<Vec<Atom>>,
}

/// One operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Atom {
    /// What it does.
    pub op: Op,
    /// Its operand, 0 where it has none; of a branch the number of the operation in
    /// this function that it leads to.
    pub operand: i32,
    /// Whether control can come here from elsewhere, or guarded code begins or ends
    /// before it.
    pub is_label: bool,
    /// The source line an error of it would be told at; 0 where it has none, or the
    /// image has no line table.
    pub line: u32,
}

impl Stream {
    /// The operations of an image.
    pub fn of(image: &Image<'_>) -> Result<Stream> {
        let functions = (0..image.n_functions()).map(|index| function(image, index));
        Ok(Stream { functions: functions.collect::<Result<_>>()? })
    }

    /// Whether these are the same operations with the same labels: of a composite the
    /// line table says less.
    pub fn is_like(&self, other: &Stream) -> bool {
        let bare = |atoms: &[Atom]| -> Vec<Atom> {
            atoms.iter().map(|atom| Atom { line: 0, ..*atom }).collect()
        };
        self.functions.len() == other.functions.len()
            && self.functions.iter().zip(&other.functions).all(|(a, b)| bare(a) == bare(b))
    }

    /// How many operations there are.
    pub fn len(&self) -> usize {
        self.functions.iter().map(Vec::len).sum()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// Where each operation of an image lies in its code section, function by function
/// in the order of [`Stream`].
pub fn places(image: &Image<'_>) -> Result<Vec<Vec<usize>>> {
    (0..image.n_functions()).map(|index| Ok(decoded(image, index)?.places)).collect()
}

struct Decoded {
    begin: usize,
    end: usize,
    atoms: Vec<Atom>,
    places: Vec<usize>,
    /// Behind each operation: what a branch's distance counts from.
    behind: Vec<usize>,
}

fn decoded(image: &Image<'_>, index: usize) -> Result<Decoded> {
    let id = FunctionId::new(index).context("a function too many")?;
    let function = image.function(id).context("a function without a record")?;
    let end = image.code_end(id).context("a function without an end")? as usize;
    let begin = function.code as usize;
    let mut all = Decoded { begin, end, atoms: Vec::new(), places: Vec::new(), behind: Vec::new() };
    let mut behind = begin;
    for (at, instruction) in image.walk(begin).take_while(|&(at, _)| at < end) {
        for part in instruction.parts() {
            let Fetched { op, operand, next } = part;
            all.atoms.push(Atom { op, operand, is_label: false, line: 0 });
            all.places.push(at);
            all.behind.push(next);
        }
        behind = instruction.next;
    }
    ensure!(behind == end, "no instruction at offset {behind}");
    Ok(all)
}

fn function(image: &Image<'_>, index: usize) -> Result<Vec<Atom>> {
    let Decoded { begin, end, mut atoms, places, behind } = decoded(image, index)?;
    // The operations of a composite share its place: the first one is what can be led to.
    let first_ones = places.iter().enumerate().rev();
    let numbers: HashMap<usize, usize> =
        first_ones.map(|(number, &place)| (place, number)).collect();
    let number_at = |place: i64| {
        let number = usize::try_from(place).ok().and_then(|place| numbers.get(&place));
        number.copied().with_context(|| format!("no instruction begins at offset {place}"))
    };
    let mut labels = Vec::new();
    for (atom, &behind) in atoms.iter_mut().zip(&behind) {
        if leads_elsewhere(atom.op) {
            let number = number_at(behind as i64 + i64::from(atom.operand))?;
            atom.operand = i32::try_from(number)?;
            labels.push(number);
        }
    }
    note_lines(image, begin, end, &mut atoms, &places);
    let details = FunctionId::new(index)
        .and_then(|id| image.function(id)?.details())
        .context("a function without its lists")?;
    for guard in details.guards() {
        for place in [guard.start, guard.end, guard.target] {
            let place = begin + place as usize;
            // Guarded code may end with the function.
            if place < end {
                labels.push(number_at(place as i64)?);
            }
        }
    }
    if let Some(first) = atoms.first_mut() {
        first.is_label = true;
    }
    for number in labels {
        atoms[number].is_label = true;
    }
    Ok(atoms)
}

/// The line table has entries for what may fail alone, so an entry holds up to the next
/// one for those operations only.
fn note_lines(image: &Image<'_>, begin: usize, end: usize, atoms: &mut [Atom], places: &[usize]) {
    let mut entries =
        image.positions().filter(|(start, _)| (begin..end).contains(&(*start as usize))).peekable();
    let mut line = 0;
    for (atom, &place) in atoms.iter_mut().zip(places) {
        while let Some((_, position)) = entries.next_if(|(start, _)| *start as usize <= place) {
            line = position.line;
        }
        if !scruple_compiler::is_silent(atom.op) {
            atom.line = line;
        }
    }
}

/// Whether an operation's operand is a label.
pub fn leads_elsewhere(op: Op) -> bool {
    matches!(op.info().flow, Flow::Jump | Flow::Branch(_))
}

#[cfg(test)]
mod tests {
    use scruple_bytecode::Encoding;

    use super::*;
    use crate::build;

    const SOURCE: &str = "
        let sum = 0;
        for (let i = 0; i < 1000; i++) { if (i % 3 === 0) sum += i; }
        function guarded(f) { try { return f(); } catch (e) { return e; } finally { sum++; } }
        console.log(sum, guarded(() => { throw 5; }));";

    fn stream(encoding: Encoding) -> Stream {
        let built = build::compile(SOURCE, encoding, true).unwrap();
        Stream::of(&Image::open(&built.image).unwrap()).unwrap()
    }

    // Our own invariant: encodings are bytes and nothing else.
    #[test]
    fn the_stream_is_the_same_under_every_encoding() {
        let word = stream(Encoding::Word);
        assert_eq!(word.functions.len(), 3);
        for &encoding in Encoding::ALL {
            assert!(stream(encoding).is_like(&word), "{}", encoding.name());
            if !encoding.has_set() {
                assert_eq!(stream(encoding), word, "{}: with its lines", encoding.name());
            }
        }
    }

    #[test]
    fn labels_are_where_branches_lead_and_where_guards_begin_end_and_go() {
        let stream = stream(Encoding::Leb);
        for atoms in &stream.functions {
            assert!(atoms[0].is_label);
            for atom in atoms.iter().filter(|atom| leads_elsewhere(atom.op)) {
                assert!(atoms[atom.operand as usize].is_label);
            }
        }
        // The function with the handlers has labels that no branch leads to.
        let led_to = |atoms: &[Atom]| {
            let branches = atoms.iter().filter(|atom| leads_elsewhere(atom.op));
            let mut targets: Vec<i32> = branches.map(|atom| atom.operand).collect();
            targets.sort_unstable();
            targets.dedup();
            targets.len()
        };
        let labels = |atoms: &[Atom]| atoms.iter().filter(|atom| atom.is_label).count();
        let has_more = |atoms: &Vec<Atom>| labels(atoms) > led_to(atoms) + 1;
        assert_eq!(stream.functions.iter().filter(|atoms| has_more(atoms)).count(), 1);
    }
}
