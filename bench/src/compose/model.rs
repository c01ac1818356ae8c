//! What an instruction set costs and saves: the model that sets are mined by.
//!
//! It is that of the encodings `composite` and, with a second table, `context`: an opcode byte, then the free operands in
//! LEB128 (signed ones zigzag); operations past those that have an opcode byte of their
//! own stand behind a prefix; what entries leave goes as single operations. Runs end
//! where control can come from elsewhere, at the border of a guard, and behind what goes
//! elsewhere; operations whose errors are told at different lines are not joined. A run
//! is split so that it takes fewest bytes, and of equals fewest instructions; with a second
//! table over places and tables, and so that the first counts where it ends. Branches
//! have the shortest digits that their distance allows, found as the compiler finds
//! them: from the shortest on, growing only.
//!
//! One rule of the compiler is not here: it sweeps the statements of the script itself one
//! by one and joins nothing over their borders, which an image does not tell. So the model
//! says too little of sets that join there: some three per cent for one mined from the
//! samples. `weigh --encoding composite --set FILE` tells what is compiled.
//!
//! It owns these rules and the split. It refuses to choose entries.

use std::ops::Range;

use anyhow::{Result, ensure};
use scruple_bytecode::leb128;
use scruple_bytecode::operand::OperandKind;
use scruple_bytecode::ops::Op;
use scruple_bytecode::sets::{FIRST_ENTRY, InstructionSet, MAX_ENTRIES, MAX_PARTS, Part, Table};
use scruple_bytecode::sets::{leaves_and_goes_on, may_stand_inside};
use serde::{Deserialize, Serialize};

use crate::streams::{Atom, Stream, leads_elsewhere};

/// What the model counts with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Model {
    /// Operations with an opcode byte of their own: the others stand behind a prefix.
    pub direct_operations: u32,
    /// Opcode bytes that entries can have.
    pub entries: u32,
    /// Bytes of the shared table an entry takes, besides its parts: where they begin,
    /// how many there are, which operands are free.
    pub table_bytes_an_entry: u32,
    /// Bytes of the shared table an operation of an entry takes: a word.
    pub table_bytes_a_part: u32,
}

impl Default for Model {
    fn default() -> Self {
        Model {
            direct_operations: u32::from(FIRST_ENTRY),
            entries: MAX_ENTRIES as u32,
            table_bytes_an_entry: 4,
            table_bytes_a_part: 4,
        }
    }
}

impl Model {
    /// Bytes of the shared table an entry of so many operations takes.
    pub fn table_bytes(&self, n_parts: usize) -> u64 {
        u64::from(self.table_bytes_an_entry) + u64::from(self.table_bytes_a_part) * n_parts as u64
    }

    fn prefix_bytes(&self, op: Op) -> u32 {
        u32::from(op as u32 >= self.direct_operations)
    }
}

/// Bytes of an operand in LEB128; a branch's as if its distance were 0, since that is
/// told last.
fn digits(op: Op, operand: i32) -> u32 {
    match op.info().operand {
        OperandKind::None => 0,
        OperandKind::Displacement => 1,
        kind if kind.is_signed() => leb128::unsigned_len(leb128::zigzag(operand)) as u32,
        _ => leb128::unsigned_len(operand as u32) as u32,
    }
}

/// A script in a corpus.
#[derive(Clone, Debug)]
pub struct Program {
    /// The name a report shows.
    pub name: String,
    /// Its operations, in the corpus.
    pub range: Range<usize>,
    /// The same by function.
    pub functions: Vec<Range<usize>>,
    /// Operations carried out, in one run.
    pub operations: u64,
}

/// The operations of all scripts, one behind the other.
#[derive(Clone, Debug, Default)]
pub struct Corpus {
    pub(super) programs: Vec<Program>,
    pub(super) atoms: Vec<Atom>,
    /// How often each was carried out.
    pub(super) counts: Vec<u64>,
    /// Bytes of each on its own, a branch with one digit.
    pub(super) plain: Vec<u32>,
    /// How many operations from each on may become one instruction.
    pub(super) reach: Vec<u8>,
    /// The run that each is in, and where runs begin; the last number is the end.
    pub(super) run_of: Vec<u32>,
    pub(super) runs: Vec<u32>,
    pub(super) model: Model,
}

impl Corpus {
    /// One without scripts.
    pub fn new(model: Model) -> Corpus {
        Corpus { model, runs: vec![0], ..Corpus::default() }
    }

    /// Adds a script: its operations, and how often each was carried out, function by
    /// function.
    pub fn add(&mut self, name: &str, stream: &Stream, counts: &[Vec<u64>]) -> Result<()> {
        let begin = self.atoms.len();
        let mut functions = Vec::new();
        ensure!(counts.len() == stream.functions.len(), "counts of another script");
        for (atoms, counts) in stream.functions.iter().zip(counts) {
            ensure!(counts.len() == atoms.len(), "counts of another script");
            functions.push(self.atoms.len()..self.atoms.len() + atoms.len());
            self.add_function(atoms, counts);
        }
        let range = begin..self.atoms.len();
        let operations = self.counts[range.clone()].iter().sum();
        self.programs.push(Program { name: name.to_owned(), range, functions, operations });
        Ok(())
    }

    fn add_function(&mut self, atoms: &[Atom], counts: &[u64]) {
        let begin = self.atoms.len();
        let mut is_behind_end = true;
        for (number, atom) in atoms.iter().enumerate() {
            if (atom.is_label || is_behind_end) && begin + number > 0 {
                self.runs.push((begin + number) as u32);
            }
            is_behind_end = !may_stand_inside(atom.op);
            self.run_of.push(self.runs.len() as u32 - 1);
            let prefix = self.model.prefix_bytes(atom.op);
            self.plain.push(1 + prefix + digits(atom.op, atom.operand));
        }
        self.atoms.extend_from_slice(atoms);
        self.counts.extend_from_slice(counts);
        for at in begin..self.atoms.len() {
            let (mut line, mut length) = (0, 0);
            for other in at..self.atoms.len().min(at + MAX_PARTS) {
                let own = self.atoms[other].line;
                if self.run_of[other] != self.run_of[at] || (own > 0 && line > 0 && own != line) {
                    break;
                }
                line = line.max(own);
                length += 1;
            }
            self.reach.push(length);
        }
    }

    /// The scripts.
    pub fn programs(&self) -> &[Program] {
        &self.programs
    }

    /// What the model counts with.
    pub fn model(&self) -> &Model {
        &self.model
    }

    /// The operations of a run.
    pub(super) fn run(&self, run: u32) -> Range<usize> {
        let begin = self.runs[run as usize] as usize;
        let end = self.runs.get(run as usize + 1).map_or(self.atoms.len(), |&end| end as usize);
        begin..end
    }

    /// Whether a pattern stands for the operations from here on.
    pub(super) fn takes(&self, parts: &[Part], at: usize) -> bool {
        parts.len() <= self.reach[at] as usize
            && parts.iter().zip(&self.atoms[at..]).all(|(part, atom)| match part.operand {
                Some(_) if leads_elsewhere(part.op) => false,
                _ => part.takes(atom.op, atom.operand),
            })
    }

    /// Bytes that a pattern saves where it stands: its operations' opcode bytes but one,
    /// their prefixes, and the operands that are fixed.
    pub(super) fn saved_bytes(&self, parts: &[Part]) -> u32 {
        let saved: u32 = parts
            .iter()
            .map(|part| {
                let fixed = part.operand.map_or(0, |operand| digits(part.op, operand));
                1 + self.model.prefix_bytes(part.op) + fixed
            })
            .sum();
        saved - 1
    }
}

/// A set, ready to be looked for: its entries by first operation.
#[derive(Clone, Debug)]
pub struct Prepared {
    /// Those of the first table, then those of the second.
    pub(super) entries: Vec<Vec<Part>>,
    pub(super) saved: Vec<u32>,
    /// By the table that counts.
    by_first: [Vec<Vec<u16>>; 2],
    has_then: bool,
}

impl Prepared {
    /// Of these entries.
    pub fn new(corpus: &Corpus, entries: &[Vec<Part>]) -> Prepared {
        Prepared::of_tables(corpus, entries, &[])
    }

    /// Of the entries of two tables.
    pub fn of_tables(corpus: &Corpus, first: &[Vec<Part>], then: &[Vec<Part>]) -> Prepared {
        let entries = [first, then].concat();
        let mut by_first = [vec![Vec::new(); Op::COUNT], vec![Vec::new(); Op::COUNT]];
        for (index, parts) in entries.iter().enumerate() {
            let op = parts[0].op as usize;
            let is_first = index < first.len();
            if is_first {
                by_first[Table::First as usize][op].push(index as u16);
            }
            // The second table has its bytes from the last one down.
            if !is_first || index + then.len() < corpus.model.entries as usize {
                by_first[Table::Then as usize][op].push(index as u16);
            }
        }
        let saved = entries.iter().map(|parts| corpus.saved_bytes(parts)).collect();
        Prepared { entries, saved, by_first, has_then: !then.is_empty() }
    }

    /// Of the first table of a set as the machine has it.
    pub fn of_set(corpus: &Corpus, set: InstructionSet<'_>) -> Prepared {
        Prepared::new(corpus, &entries_of(set, Table::First))
    }

    /// Of both tables.
    pub fn of_both(corpus: &Corpus, set: InstructionSet<'_>) -> Prepared {
        let [first, then] = [Table::First, Table::Then].map(|table| entries_of(set, table));
        Prepared::of_tables(corpus, &first, &then)
    }

    /// The entries that stand for the operations from here on, where a table counts.
    pub(super) fn matches(
        &self,
        corpus: &Corpus,
        at: usize,
        table: Table,
    ) -> impl Iterator<Item = u16> {
        let candidates = &self.by_first[table as usize][corpus.atoms[at].op as usize];
        candidates
            .iter()
            .copied()
            .filter(move |&index| corpus.takes(&self.entries[index as usize], at))
    }
}

/// The entries of a table.
pub(super) fn entries_of(set: InstructionSet<'_>, table: Table) -> Vec<Vec<Part>> {
    set.entries_in(table).map(|entry| entry.parts().collect()).collect()
}

/// What a script takes under a set.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Weight {
    /// Bytes of its instructions.
    pub bytes: u64,
    /// Instructions carried out in one run.
    pub dispatched: u64,
    /// How often each entry is in it.
    pub uses: Vec<u64>,
    /// How often each entry was carried out.
    pub carried_out: Vec<u64>,
}

impl Weight {
    /// Adds another script's.
    pub fn add(&mut self, other: &Weight) {
        self.bytes += other.bytes;
        self.dispatched += other.dispatched;
        self.uses.resize(other.uses.len(), 0);
        self.carried_out.resize(other.carried_out.len(), 0);
        for (sum, more) in self.uses.iter_mut().zip(&other.uses) {
            *sum += more;
        }
        for (sum, more) in self.carried_out.iter_mut().zip(&other.carried_out) {
            *sum += more;
        }
    }
}

/// An instruction of a split: where it begins, its length, and its entry.
#[derive(Clone, Copy, Debug)]
struct Tile {
    at: usize,
    length: usize,
    entry: Option<u16>,
}

impl Corpus {
    /// Weighs a script under a set.
    pub fn weigh(&self, program: &Program, set: &Prepared) -> Weight {
        let mut weight = Weight {
            uses: vec![0; set.entries.len()],
            carried_out: vec![0; set.entries.len()],
            ..Weight::default()
        };
        for function in &program.functions {
            let tiles = self.tiles(function.clone(), set);
            weight.bytes += self.laid_down(function.start, &tiles, set);
            for tile in &tiles {
                weight.dispatched += self.counts[tile.at];
                if let Some(entry) = tile.entry {
                    weight.uses[entry as usize] += 1;
                    weight.carried_out[entry as usize] += self.counts[tile.at];
                }
            }
        }
        weight
    }

    /// Weighs every script but one, if one is left out, and adds up.
    pub fn weigh_all(&self, set: &Prepared, left_out: Option<usize>) -> Weight {
        let mut sum = Weight::default();
        for (number, program) in self.programs.iter().enumerate() {
            if left_out != Some(number) {
                sum.add(&self.weigh(program, set));
            }
        }
        sum
    }

    /// Splits a function into instructions. A run's split does not depend on others.
    fn tiles(&self, function: Range<usize>, set: &Prepared) -> Vec<Tile> {
        let n = function.len();
        // By place and by the table that counts there.
        let mut choices: Vec<[(i64, usize, Option<u16>); 2]> = vec![[(0, 1, None); 2]; n + 1];
        choices[n][Table::Then as usize].0 = NEVER;
        for at in function.clone().rev() {
            let here = at - function.start;
            for &table in if set.has_then { Table::BOTH } else { &[Table::First] } {
                let mut best = (choices[here + 1][Table::First as usize].0, 1, None);
                for entry in set.matches(self, at, table) {
                    let length = set.entries[entry as usize].len();
                    let behind = self.behind(at + length, set.has_then);
                    let saved = gain(set.saved[entry as usize], length)
                        + choices[here + length][behind as usize].0;
                    if saved > best.0 {
                        best = (saved, length, Some(entry));
                    }
                }
                choices[here][table as usize] = best;
            }
            if self.is_run_start(at) {
                choices[here][Table::Then as usize].0 = NEVER;
            }
        }
        let (mut at, mut table, mut tiles) = (function.start, Table::First, Vec::new());
        while at < function.end {
            let (_, length, entry) = choices[at - function.start][table as usize];
            tiles.push(Tile { at, length, entry });
            at += length;
            table = self.behind(at, set.has_then && entry.is_some());
        }
        tiles
    }

    /// The table that counts behind an entry's instruction that ends before a place.
    pub(super) fn behind(&self, place: usize, has_then: bool) -> Table {
        let goes_on = has_then && leaves_and_goes_on(self.atoms[place - 1].op);
        if goes_on { Table::Then } else { Table::First }
    }

    fn is_run_start(&self, at: usize) -> bool {
        self.runs[self.run_of[at] as usize] as usize == at
    }

    /// Bytes of a function's instructions, branches as long as they must be.
    fn laid_down(&self, begin: usize, tiles: &[Tile], set: &Prepared) -> u64 {
        let mut lengths: Vec<u32> = tiles
            .iter()
            .map(|tile| {
                let plain: u32 = self.plain[tile.at..tile.at + tile.length].iter().sum();
                plain - tile.entry.map_or(0, |entry| set.saved[entry as usize])
            })
            .collect();
        let n_atoms = tiles.last().map_or(0, |tile| tile.at + tile.length - begin);
        // The tile that begins at an operation: labels begin one.
        let mut tile_at = vec![0usize; n_atoms];
        for (number, tile) in tiles.iter().enumerate() {
            tile_at[tile.at - begin] = number;
        }
        let mut branches: Vec<(usize, usize, u32)> = Vec::new();
        for (number, tile) in tiles.iter().enumerate() {
            let last = self.atoms[tile.at + tile.length - 1];
            if leads_elsewhere(last.op) {
                branches.push((number, tile_at[last.operand as usize], 1));
            }
        }
        let mut places = vec![0u64; tiles.len() + 1];
        loop {
            for (number, &length) in lengths.iter().enumerate() {
                places[number + 1] = places[number] + u64::from(length);
            }
            let mut has_grown = false;
            for (number, target, had) in &mut branches {
                let distance = places[*target] as i64 - places[*number + 1] as i64;
                let needed = leb128::unsigned_len(leb128::zigzag(distance as i32)) as u32;
                if needed > *had {
                    lengths[*number] += needed - *had;
                    *had = needed;
                    has_grown = true;
                }
            }
            if !has_grown {
                return places[tiles.len()];
            }
        }
    }
}

/// What an instruction of an entry gains over single operations: bytes first, then
/// instructions.
pub(super) fn gain(saved_bytes: u32, n_parts: usize) -> i64 {
    i64::from(saved_bytes) << 24 | (n_parts as i64 - 1)
}

/// Less than any split gains: that of a place where a table must not count.
pub(super) const NEVER: i64 = i64::MIN / 2;

#[cfg(test)]
mod tests {
    use scruple_bytecode::Encoding;
    use scruple_bytecode::encoding::SHORT_FORMS;
    use scruple_bytecode::image::Image;
    use scruple_bytecode::sets::{SHIPPED, SetBuffer};

    use super::*;
    use crate::build;

    fn samples() -> Vec<(String, String)> {
        let samples = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../samples");
        let candidates = crate::script::gather(&[samples], &Default::default()).unwrap();
        let text =
            |candidate: crate::script::Candidate| (candidate.name, candidate.script.unwrap().text);
        candidates.into_iter().map(text).collect()
    }

    fn instruction_bytes(source: &str, encoding: Encoding) -> u64 {
        let built = build::compile(source, encoding, true).unwrap();
        Image::open(&built.image).unwrap().sizes().instructions as u64
    }

    fn corpus_of(source: &str, model: Model) -> Corpus {
        let built = build::compile(source, Encoding::Leb, true).unwrap();
        let stream = Stream::of(&Image::open(&built.image).unwrap()).unwrap();
        let counts: Vec<Vec<u64>> = stream.functions.iter().map(|f| vec![0; f.len()]).collect();
        let mut corpus = Corpus::new(model);
        corpus.add("script", &stream, &counts).unwrap();
        corpus
    }

    // Against the compiler: without entries and without a prefix the model is `leb`.
    #[test]
    fn without_entries_the_model_is_leb_to_the_byte() {
        let model = Model { direct_operations: Op::COUNT as u32, ..Model::default() };
        let samples = samples();
        assert!(samples.len() > 20);
        for (name, text) in samples {
            let corpus = corpus_of(&text, model);
            let weight = corpus.weigh_all(&Prepared::new(&corpus, &[]), None);
            assert_eq!(weight.bytes, instruction_bytes(&text, Encoding::Leb), "{name}");
        }
    }

    // Against the compiler: the short forms of `implied` as entries are `implied`.
    #[test]
    fn with_the_short_forms_as_entries_the_model_is_implied_to_the_byte() {
        let entries: Vec<Vec<Part>> = SHORT_FORMS
            .iter()
            .flat_map(|&(op, first, n)| {
                (first..first + n).map(move |operand| vec![Part::fixed(op, operand.into())])
            })
            .collect();
        for (name, text) in samples() {
            let corpus = corpus_of(&text, Model::default());
            let weight = corpus.weigh_all(&Prepared::new(&corpus, &entries), None);
            assert_eq!(weight.bytes, instruction_bytes(&text, Encoding::Implied), "{name}");
        }
    }

    // Against the compiler, which sweeps the statements of the script itself one by one
    // and joins none of them with the next: so each sample stands in a function here, and
    // what is left of the script is two statements. The compiler's window of operations
    // costs a byte here and there: half a per cent at most in all.
    fn check_within_a_function(encoding: Encoding, set: InstructionSet<'_>) {
        let samples = samples();
        assert!(samples.len() > 20);
        let (mut all, mut more) = (0, 0);
        for (name, text) in &samples {
            let text = format!("function script() {{\n{text}\n}}\nscript();\n");
            let corpus = corpus_of(&text, Model::default());
            let prepared = match encoding {
                Encoding::Context => Prepared::of_both(&corpus, set),
                _ => Prepared::of_set(&corpus, set),
            };
            let model = corpus.weigh_all(&prepared, None).bytes;
            let built = build::compile_with(&text, encoding, &set, true).unwrap();
            let sets = [&set];
            let image = Image::open_with(&built.image, &sets).unwrap();
            let bytes = image.sizes().instructions as u64;
            let difference = bytes as i64 - model as i64;
            assert!(difference >= 0, "{name}: {model} modelled, {bytes} compiled");
            (all, more) = (all + bytes, more + difference as u64);
        }
        println!("{more} of {all} bytes more than modelled");
        assert!(more * 200 <= all, "{more} of {all} bytes more than modelled");
    }

    #[test]
    fn with_the_shipped_set_the_model_is_composite_within_a_function() {
        check_within_a_function(Encoding::Composite, SHIPPED);
    }

    // Every other of the shipped entries over those between, whatever that is worth.
    #[test]
    fn with_any_two_tables_the_model_is_context_within_a_function() {
        let mut buffer = SetBuffer::new("halves").unwrap();
        for (index, parts) in entries_of(SHIPPED, Table::First).iter().enumerate() {
            let table = if index % 2 == 0 { Table::First } else { Table::Then };
            buffer.push_to(table, parts).unwrap();
        }
        // Until every byte is taken: what the second table says then is what it takes.
        for index in 0.. {
            if buffer.is_full() {
                break;
            }
            let _ = buffer.push(&[Part::fixed(Op::PushInt, index)]);
        }
        check_within_a_function(Encoding::Context, buffer.set());
    }

    #[test]
    fn a_split_never_reaches_over_a_label_or_behind_what_goes_elsewhere() {
        let source = "function f(a, b) { while (a < b) { a = f(a + 1, b) + 1; } return a; }
            try { f(1, 2); } catch (e) { f(e, e); }";
        let corpus = corpus_of(source, Model::default());
        let mut n_joined = 0;
        for at in 0..corpus.atoms.len() {
            for other in at + 1..at + corpus.reach[at] as usize {
                assert!(!corpus.atoms[other].is_label);
                assert!(may_stand_inside(corpus.atoms[other - 1].op));
                n_joined += 1;
            }
        }
        assert!(n_joined > 20);
    }

    // By hand: the better split begins an operation later than the longest entry.
    #[test]
    fn a_run_is_split_to_the_fewest_bytes_not_by_the_longest_entry_first() {
        let corpus =
            corpus_of("let a = 1; function f(x, y) { return x * y - x; }", Model::default());
        // load_slot 0, load_slot 1, multiply, load_slot 0, subtract, return_value
        let function = corpus.programs[0].functions[0].clone();
        let ops: Vec<Op> = corpus.atoms[function.clone()].iter().map(|atom| atom.op).collect();
        let wanted =
            [Op::LoadSlot, Op::LoadSlot, Op::Multiply, Op::LoadSlot, Op::Subtract, Op::Return];
        assert_eq!(ops, wanted);
        let free = Part::free(Op::LoadSlot);
        let plain = |op| Part::fixed(op, 0);
        let set = Prepared::new(
            &corpus,
            &[
                vec![free, free],
                vec![free, plain(Op::Multiply), free, plain(Op::Subtract), plain(Op::Return)],
            ],
        );
        let tiles = corpus.tiles(function, &set);
        let entries: Vec<_> = tiles.iter().map(|tile| tile.entry).collect();
        assert_eq!(entries, [None, Some(1)]);
        let weight = corpus.weigh(&corpus.programs[0], &set);
        assert_eq!(weight.uses, [0, 1]);
    }
}
