//! Mining: which candidates become entries, for a stated goal.
//!
//! It owns the choice. One entry after the other is taken, the one that gains most then
//! less its bytes in the shared table. A gain is never estimated from occurrences alone:
//! every run that the candidate stands in is split anew with all entries chosen so far,
//! so what others cover already, and what overlaps, does not count. Most candidates
//! need no look: a gain seldom grows by what is chosen, so one that was lower before
//! waits its turn. (It can grow: two entries may fit together where one alone did not;
//! so the choice ends with a round in which every candidate is looked at.) Entries that
//! later ones have made idle are given up again.
//!
//! A goal is counted in bytes. Instructions carried out are shares: each script's count
//! as much, however long it runs, and one per cent of them is worth as much as one per
//! cent of all instruction bytes.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};

use scruple_bytecode::sets::Part;

use super::candidates::{self, Candidate, Least};
use super::model::{Corpus, Prepared, gain};

/// Units of the goal in a byte.
const UNIT: u64 = 1 << 20;

/// Rounds of giving up idle entries and choosing others: each ends better or not at all.
const ROUNDS: usize = 4;

/// What is wanted, and from what.
#[derive(Clone, Copy, Debug)]
pub struct Task {
    /// How much of the goal instruction bytes are, in per cent; the rest is instructions
    /// carried out.
    pub bytes_percent: u32,
    /// The most entries.
    pub most_entries: usize,
    /// The fewest scripts that an entry must stand in.
    pub least_programs: usize,
    /// A script that is not looked at.
    pub left_out: Option<usize>,
}

/// What was chosen.
#[derive(Clone, Debug)]
pub struct Mined {
    /// The entries, in the order of their choice.
    pub entries: Vec<Vec<Part>>,
    /// Whether there were opcode bytes left when nothing paid any more.
    pub is_all: bool,
    /// Candidates that were thought of.
    pub n_candidates: usize,
    /// What the best of the rest would gain, in hundredths of a byte, and take in the
    /// table, in bytes.
    pub next: Option<(i64, u64)>,
}

/// Chooses a set.
pub fn mine(corpus: &Corpus, task: Task) -> Mined {
    let n_programs = corpus.programs.len() - usize::from(task.left_out.is_some());
    // What one script alone does is not learnt for others, unless there is but one.
    let programs = task.least_programs.min(n_programs).max(1);
    let least = Least { places: 2, programs };
    let candidates = candidates::find(corpus, task.left_out, least);
    let mut miner = Miner::new(corpus, task, &candidates);
    miner.choose();
    for _ in 0..ROUNDS {
        let before = miner.worth();
        let kept = miner.chosen.clone();
        let has_given_up = miner.give_up_idle();
        miner.choose();
        if miner.worth() <= before {
            if miner.worth() < before {
                miner.reset(kept);
            }
            break;
        }
        if !has_given_up && miner.chosen == kept {
            break;
        }
    }
    let next = miner.best_of_the_rest();
    Mined {
        entries: miner.chosen.iter().map(|&index| candidates[index].parts.clone()).collect(),
        is_all: miner.chosen.len() < task.most_entries,
        n_candidates: candidates.len(),
        next,
    }
}

struct Miner<'c> {
    corpus: &'c Corpus,
    task: Task,
    candidates: &'c [Candidate],
    chosen: Vec<usize>,
    /// What an operation carried out is worth.
    dispatch: Vec<u64>,
    byte: u64,
    /// The chosen entries that stand at each operation: what each gains and its length.
    standing: Vec<Vec<(u64, u8)>>,
    /// What each run gains now.
    run_worth: Vec<u64>,
}

impl<'c> Miner<'c> {
    fn new(corpus: &'c Corpus, task: Task, candidates: &'c [Candidate]) -> Miner<'c> {
        let share = |percent: u32| u64::from(percent) * UNIT / 100;
        let byte = share(task.bytes_percent);
        let mut dispatch = vec![0; corpus.atoms.len()];
        let taken = || {
            let programs = corpus.programs.iter().enumerate();
            programs.filter(|(number, _)| Some(*number) != task.left_out).map(|(_, one)| one)
        };
        let all: u64 = taken()
            .flat_map(|program| &corpus.plain[program.range.clone()])
            .map(|&bytes| u64::from(bytes))
            .sum();
        let n_programs = taken().count().max(1) as u64;
        let of_script = all * share(100 - task.bytes_percent) / n_programs;
        for program in taken().filter(|program| program.operations > 0) {
            for at in program.range.clone() {
                let worth = u128::from(corpus.counts[at]) * u128::from(of_script)
                    / u128::from(program.operations);
                dispatch[at] = worth as u64;
            }
        }
        Miner {
            corpus,
            task,
            candidates,
            chosen: Vec::new(),
            dispatch,
            byte,
            standing: vec![Vec::new(); corpus.atoms.len()],
            run_worth: vec![0; corpus.runs.len()],
        }
    }

    /// What a candidate takes in the shared table, in the goal's units.
    fn table(&self, candidate: &Candidate) -> u64 {
        self.corpus.model.table_bytes(candidate.parts.len()) * UNIT
    }

    /// What all that is chosen gains, less its table.
    fn worth(&self) -> i128 {
        let gained: u128 = self.run_worth.iter().map(|&worth| u128::from(worth)).sum();
        let table: u64 = self.chosen.iter().map(|&index| self.table(&self.candidates[index])).sum();
        gained as i128 - i128::from(table)
    }

    /// Takes entries until none pays or there is no opcode byte.
    fn choose(&mut self) {
        // An estimate that is never too low, while nothing is chosen; then what was found
        // last, and in which round.
        let mut queue: BinaryHeap<(i128, Reverse<usize>, usize)> = (0..self.candidates.len())
            .filter_map(|index| {
                let worth = self.at_most(&self.candidates[index]);
                let net = i128::from(worth) - i128::from(self.table(&self.candidates[index]));
                (net > 0).then_some((net, Reverse(index), usize::MAX))
            })
            .collect();
        while self.chosen.len() < self.task.most_entries {
            let Some((net, Reverse(index), round)) = queue.pop() else { break };
            if round == self.chosen.len() {
                debug_assert!(net > 0);
                self.take(index);
                continue;
            }
            if self.chosen.contains(&index) {
                continue;
            }
            let net = self.net(index);
            if net > 0 {
                queue.push((net, Reverse(index), self.chosen.len()));
            }
        }
    }

    /// What a candidate would gain if nothing overlapped.
    fn at_most(&self, candidate: &Candidate) -> u64 {
        candidate
            .places
            .iter()
            .map(|&at| self.gained(at as usize, candidate.saved, candidate.parts.len()))
            .sum()
    }

    /// What an instruction gains where it stands.
    fn gained(&self, at: usize, saved: u32, length: usize) -> u64 {
        let dispatch: u64 = self.dispatch[at + 1..at + length].iter().sum();
        u64::from(saved) * self.byte + dispatch
    }

    /// What a candidate gains beside those that are chosen, less its table.
    fn net(&self, index: usize) -> i128 {
        let candidate = &self.candidates[index];
        let mut net = -i128::from(self.table(candidate));
        let mut places = candidate.places.as_slice();
        while let Some(&first) = places.first() {
            let run = self.corpus.run_of[first as usize];
            let n = places.iter().take_while(|&&at| self.corpus.run_of[at as usize] == run).count();
            let (own, rest) = places.split_at(n);
            places = rest;
            let worth = self.split(run, Some((candidate, own)));
            net += i128::from(worth) - i128::from(self.run_worth[run as usize]);
        }
        net
    }

    /// What a run gains if it is split to the fewest bytes with what is chosen, and with
    /// one more that stands at these places.
    fn split(&self, run: u32, more: Option<(&Candidate, &[u32])>) -> u64 {
        let range = self.corpus.run(run);
        // By place: what the split goes by, and what it is worth.
        let mut best = vec![(0u64, 0u64); range.len() + 1];
        let (candidate, mut places) = match more {
            Some((candidate, places)) => (Some(candidate), places),
            None => (None, &[][..]),
        };
        for at in range.clone().rev() {
            let here = at - range.start;
            let mut top = best[here + 1];
            let mut consider = |order: u64, length: usize, worth: u64| {
                let behind = best[here + length];
                if order + behind.0 > top.0 {
                    top = (order + behind.0, worth + behind.1);
                }
            };
            for &(order, length) in &self.standing[at] {
                let length = length as usize;
                consider(order, length, self.gained(at, (order >> 24) as u32, length));
            }
            if let (Some(candidate), Some((&last, rest))) = (candidate, places.split_last())
                && last as usize == at
            {
                places = rest;
                let length = candidate.parts.len();
                let worth = self.gained(at, candidate.saved, length);
                consider(gain(candidate.saved, length), length, worth);
            }
            best[here] = top;
        }
        best[0].1
    }

    fn take(&mut self, index: usize) {
        self.chosen.push(index);
        let candidate = &self.candidates[index];
        let length = candidate.parts.len();
        for &at in &candidate.places {
            let entry = (gain(candidate.saved, length), length as u8);
            self.standing[at as usize].push(entry);
        }
        self.split_runs_of(index);
    }

    fn drop(&mut self, index: usize) {
        self.chosen.retain(|&chosen| chosen != index);
        let candidate = &self.candidates[index];
        let entry = (gain(candidate.saved, candidate.parts.len()), candidate.parts.len() as u8);
        for &at in &candidate.places {
            let standing = &mut self.standing[at as usize];
            if let Some(found) = standing.iter().position(|one| *one == entry) {
                standing.remove(found);
            }
        }
        self.split_runs_of(index);
    }

    fn split_runs_of(&mut self, index: usize) {
        let places = &self.candidates[index].places;
        let runs: BTreeSet<u32> =
            places.iter().map(|&at| self.corpus.run_of[at as usize]).collect();
        for run in runs {
            self.run_worth[run as usize] = self.split(run, None);
        }
    }

    fn reset(&mut self, chosen: Vec<usize>) {
        for index in self.chosen.clone() {
            self.drop(index);
        }
        for index in chosen {
            self.take(index);
        }
    }

    /// Gives up, one after the other, the entries that no longer pay.
    fn give_up_idle(&mut self) -> bool {
        let mut has_given_up = false;
        for index in self.chosen.clone() {
            let before = self.worth();
            let kept = self.chosen.clone();
            self.drop(index);
            if self.worth() < before {
                self.take(index);
                self.chosen = kept;
            } else {
                has_given_up = true;
            }
        }
        has_given_up
    }

    /// The best candidate that was not taken: gain in hundredths of a byte, bytes of its
    /// table.
    fn best_of_the_rest(&self) -> Option<(i64, u64)> {
        let mut best: Option<(i128, usize)> = None;
        for index in 0..self.candidates.len() {
            let table = i128::from(self.table(&self.candidates[index]));
            let bound = i128::from(self.at_most(&self.candidates[index])) - table;
            if best.is_some_and(|(net, _)| bound <= net) || self.chosen.contains(&index) {
                continue;
            }
            let net = self.net(index);
            if best.is_none_or(|(other, _)| net > other) {
                best = Some((net, index));
            }
        }
        best.map(|(net, index)| {
            let table = self.corpus.model.table_bytes(self.candidates[index].parts.len());
            let gained = net + i128::from(table * UNIT);
            ((gained * 100 / i128::from(UNIT)) as i64, table)
        })
    }
}

/// What each entry saves behind those before it, in bytes and instructions carried out,
/// all scripts weighed whole with each: these add up to what the set saves.
pub fn saved_in_turn(corpus: &Corpus, entries: &[Vec<Part>]) -> Vec<(i64, i64)> {
    let mut before = corpus.weigh_all(&Prepared::new(corpus, &[]), None);
    (1..=entries.len())
        .map(|n| {
            let now = corpus.weigh_all(&Prepared::new(corpus, &entries[..n]), None);
            let saved = (
                before.bytes as i64 - now.bytes as i64,
                before.dispatched as i64 - now.dispatched as i64,
            );
            before = now;
            saved
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use scruple_bytecode::Encoding;
    use scruple_bytecode::image::Image;
    use scruple_bytecode::sets::MAX_PARTS;

    use super::*;
    use crate::build;
    use crate::compose::model::Model;
    use crate::streams::{Stream, leads_elsewhere};

    /// Each count is the operation's number in the script: no two runs weigh the same.
    fn corpus(sources: &[&str]) -> Corpus {
        let mut corpus = Corpus::new(Model::default());
        for (number, source) in sources.iter().enumerate() {
            let built = build::compile(source, Encoding::Leb, true).unwrap();
            let stream = Stream::of(&Image::open(&built.image).unwrap()).unwrap();
            let counts: Vec<Vec<u64>> =
                stream.functions.iter().map(|f| (1..=f.len() as u64).collect()).collect();
            corpus.add(&number.to_string(), &stream, &counts).unwrap();
        }
        corpus
    }

    /// No branch of these leads farther than one digit of its distance.
    const SHORT: [&str; 3] = [
        "let a = [1, 2, 3]; for (let i = 0; i < 3; i++) a[i] = a[i] + a[i] * a[i]; a.pop();",
        "function f(x, y) { return x * x + y * y + x * x; } f(1, 2); f(2, 3); f(3, 4);",
        "let b = [4, 5]; b[0] = b[1] + b[0] * b[1]; b[1] = b[0] + b[1] * b[0]; b.pop(); b.pop();",
    ];

    fn task(bytes_percent: u32) -> Task {
        Task { bytes_percent, most_entries: 20, least_programs: 1, left_out: None }
    }

    /// A corpus whose shared table costs nothing to speak of: more is chosen.
    fn cheap(sources: &[&str]) -> Corpus {
        let model = Model { table_bytes_an_entry: 1, table_bytes_a_part: 0, ..Model::default() };
        Corpus { model, ..corpus(sources) }
    }

    #[test]
    fn what_the_miner_books_is_what_the_whole_corpus_saves() {
        let corpus = cheap(&SHORT);
        let least = Least { places: 2, programs: 1 };
        let candidates = candidates::find(&corpus, None, least);
        for bytes_percent in [100, 50, 0] {
            let mut miner = Miner::new(&corpus, task(bytes_percent), &candidates);
            miner.choose();
            assert!(miner.chosen.len() > 3);
            let entries: Vec<_> =
                miner.chosen.iter().map(|&index| candidates[index].parts.clone()).collect();
            let before = corpus.weigh_all(&Prepared::new(&corpus, &[]), None);
            let after = corpus.weigh_all(&Prepared::new(&corpus, &entries), None);
            let gained: u64 = miner.run_worth.iter().sum();
            if bytes_percent == 100 {
                assert_eq!(gained, (before.bytes - after.bytes) * UNIT);
            }
            if bytes_percent == 0 {
                assert!(after.dispatched < before.dispatched && gained > 0);
            }
            // Giving all up again leaves nothing booked.
            miner.reset(Vec::new());
            assert_eq!(miner.worth(), 0);
            assert!(miner.standing.iter().all(Vec::is_empty));
        }
    }

    // By trying them all, from the definition: no pattern there is saves more at once.
    #[test]
    fn the_first_choice_is_the_best_of_all_patterns_there_are() {
        let corpus = corpus(&SHORT);
        let mined = mine(&corpus, Task { most_entries: 1, ..task(100) });
        let net = |parts: &[Part]| {
            let set = Prepared::new(&corpus, &[parts.to_vec()]);
            let before = corpus.weigh_all(&Prepared::new(&corpus, &[]), None).bytes as i64;
            let after = corpus.weigh_all(&set, None).bytes as i64;
            before - after - corpus.model.table_bytes(parts.len()) as i64
        };
        let (mut best, mut n_tried) = (0, 0);
        for at in 0..corpus.atoms.len() {
            for length in 1..=(corpus.reach[at] as usize).min(MAX_PARTS) {
                let atoms = &corpus.atoms[at..at + length];
                let with_operand: Vec<usize> = (0..length)
                    .filter(|&i| {
                        atoms[i].op.info().operand != scruple_bytecode::operand::OperandKind::None
                            && !leads_elsewhere(atoms[i].op)
                    })
                    .collect();
                for mask in 0..1u32 << with_operand.len() {
                    let mut parts: Vec<Part> = atoms
                        .iter()
                        .map(|atom| match leads_elsewhere(atom.op) {
                            true => Part::free(atom.op),
                            false => Part::fixed(atom.op, atom.operand),
                        })
                        .collect();
                    for (bit, &i) in with_operand.iter().enumerate() {
                        if mask >> bit & 1 != 0 {
                            parts[i] = Part::free(atoms[i].op);
                        }
                    }
                    best = best.max(net(&parts));
                    n_tried += 1;
                }
            }
        }
        assert!(n_tried > 500 && best > 0, "{n_tried} {best}");
        assert_eq!(net(&mined.entries[0]), best, "{:?}", mined.entries);
    }

    // By hand: a pair that occurs n times saves n bytes and takes 4 + 2 * 4 of the table.
    #[test]
    fn an_entry_must_pay_for_its_table() {
        let calls = |n: usize| format!("let a = 1;\n{}", "a = -a;\n".repeat(n));
        let chosen = |n| {
            let text = calls(n);
            mine(&corpus(&[&text]), task(100)).entries
        };
        assert!(chosen(2).is_empty(), "{:?}", chosen(2));
        assert!(!chosen(40).is_empty());
    }

    #[test]
    fn what_stands_in_one_script_only_is_not_learnt_for_others() {
        let own = "let a = 1;\n".to_owned() + &"a = a * 1234567 - 1234567;\n".repeat(40);
        let corpus = corpus(&[&own, SHORT[1]]);
        let from = |least_programs| mine(&corpus, Task { least_programs, ..task(100) }).entries;
        let has_own = |entries: &[Vec<Part>]| {
            let number = |part: &Part| part.operand.is_some_and(|operand| operand == 1_234_567);
            entries.iter().flatten().any(number)
        };
        assert!(has_own(&from(1)) && !has_own(&from(2)));
        let held_out = mine(&corpus, Task { left_out: Some(0), least_programs: 1, ..task(100) });
        assert!(!has_own(&held_out.entries));
    }

    #[test]
    fn what_entries_save_in_turn_adds_up() {
        let corpus = cheap(&SHORT);
        let mined = mine(&corpus, task(50));
        let weigh =
            |entries: &[Vec<Part>]| corpus.weigh_all(&Prepared::new(&corpus, entries), None);
        let (before, after) = (weigh(&[]), weigh(&mined.entries));
        let saved = saved_in_turn(&corpus, &mined.entries);
        let bytes: i64 = saved.iter().map(|(bytes, _)| bytes).sum();
        let dispatched: i64 = saved.iter().map(|(_, dispatched)| dispatched).sum();
        assert_eq!(bytes, before.bytes as i64 - after.bytes as i64);
        assert_eq!(dispatched, before.dispatched as i64 - after.dispatched as i64);
    }
}
