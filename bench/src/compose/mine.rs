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
//! A second table, for the encoding `context`, is mined over the first: an entry of it
//! takes the byte of the last entry of the first that still counts everywhere, and what
//! that loses is part of the bargain. So is what the table costs by being there at all: a
//! run must end where the first table counts. If all that does not pay in the end, there
//! is no second table. Where the first table is free to change, what is missed least makes
//! way first, and entries that no longer pay are replaced.
//!
//! A goal is counted in bytes. Instructions carried out are shares: each script's count
//! as much, however long it runs, and one per cent of them is worth as much as one per
//! cent of all instruction bytes.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};

use scruple_bytecode::sets::{Part, Table};

use super::candidates::{self, Candidate, Least};
use super::model::{Corpus, NEVER, Prepared, gain};

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
    /// How much of its bytes in the shared table an entry must pay, in per cent.
    pub table_percent: u32,
    /// A script that is not looked at.
    pub left_out: Option<usize>,
    /// Whether there is a second table.
    pub second: Second,
}

/// Whether a second table is mined, and what becomes of the first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Second {
    /// There is none.
    Not,
    /// The first stays as it was mined without one, or as it is given.
    Over,
    /// Both change until they fit each other.
    Together,
}

/// What was chosen.
#[derive(Clone, Debug)]
pub struct Mined {
    /// The entries of the first table, in the order of their opcode bytes.
    pub entries: Vec<Vec<Part>>,
    /// Those of the second.
    pub then: Vec<Vec<Part>>,
    /// Whether there were opcode bytes left when nothing paid any more.
    pub is_all: bool,
    /// Candidates that were thought of.
    pub n_candidates: usize,
    /// What the best of the rest would gain, in hundredths of a byte, and take in the
    /// table, in bytes.
    pub next: Option<(i64, u64)>,
}

/// Entries behind the best so far that may fail to pay before the second table ends.
const PATIENCE: usize = 8;

/// Where an entry counts, as bits.
const FIRST: u8 = 1;
const THEN: u8 = 2;
const BOTH: u8 = FIRST | THEN;

/// Chooses a set; the first table may be given.
pub fn mine(corpus: &Corpus, task: Task, first: Option<&[Vec<Part>]>) -> Mined {
    let n_programs = corpus.programs.len() - usize::from(task.left_out.is_some());
    // What one script alone does is not learnt for others, unless there is but one.
    let programs = task.least_programs.min(n_programs).max(1);
    let least = Least { places: 2, programs };
    let mut candidates = candidates::find(corpus, task.left_out, least);
    let n_candidates = candidates.len();
    let given = first.map(|first| {
        let owned = |parts: &Vec<Part>| candidates::of_parts(corpus, parts, task.left_out);
        candidates.extend(first.iter().map(owned));
        (n_candidates..candidates.len()).collect::<Vec<usize>>()
    });
    let mut miner = Miner::new(corpus, task, &candidates);
    match given {
        Some(given) => miner.set_to(Chosen { first: given, ..Chosen::default() }),
        None => miner.choose_first(),
    }
    if task.second != Second::Not {
        miner.choose_second();
    }
    let (next, has_room) = match task.second {
        Second::Not => {
            let next = miner.best_of_the_rest(BOTH, 0);
            (next, miner.chosen.first.len() < task.most_entries)
        }
        _ => miner.best_of_the_second(),
    };
    let parts = |chosen: &[usize]| -> Vec<Vec<Part>> {
        chosen.iter().map(|&index| candidates[index].parts.clone()).collect()
    };
    let (entries, then) = (parts(&miner.chosen.first), parts(&miner.chosen.then));
    Mined { entries, then, is_all: has_room, n_candidates, next }
}

/// What is chosen, by the candidates' numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Chosen {
    first: Vec<usize>,
    then: Vec<usize>,
    /// Bytes that the second table has, from the last one down: it may be about to get an
    /// entry more.
    n_second: usize,
}

impl Chosen {
    /// Each entry and where it counts, sorted.
    fn standing(&self, n_bytes: usize) -> BTreeSet<(usize, u8)> {
        let bits = |place: usize| if place + self.n_second < n_bytes { BOTH } else { FIRST };
        let first = self.first.iter().enumerate().map(|(place, &index)| (index, bits(place)));
        first.chain(self.then.iter().map(|&index| (index, THEN))).collect()
    }
}

/// An entry at a place where it stands: what it gains there in the split's order, its
/// length, and where it counts.
type Standing = (i64, u8, u8);

struct Miner<'c> {
    corpus: &'c Corpus,
    task: Task,
    candidates: &'c [Candidate],
    chosen: Chosen,
    /// What an operation carried out is worth.
    dispatch: Vec<u64>,
    byte: u64,
    /// The chosen entries that stand at each operation.
    standing: Vec<Vec<Standing>>,
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
            chosen: Chosen::default(),
            dispatch,
            byte,
            standing: vec![Vec::new(); corpus.atoms.len()],
            run_worth: vec![0; corpus.runs.len()],
        }
    }

    /// What a candidate takes in the shared table, in the goal's units.
    fn table(&self, candidate: &Candidate) -> u64 {
        let bytes = self.corpus.model.table_bytes(candidate.parts.len());
        bytes * UNIT * u64::from(self.task.table_percent) / 100
    }

    /// What all that is chosen gains, less its table.
    fn worth(&self) -> i128 {
        let gained: u128 = self.run_worth.iter().map(|&worth| u128::from(worth)).sum();
        let chosen = self.chosen.first.iter().chain(&self.chosen.then);
        let table: u64 = chosen.map(|&index| self.table(&self.candidates[index])).sum();
        gained as i128 - i128::from(table)
    }

    /// Chooses the first table by itself.
    fn choose_first(&mut self) {
        self.fill_first();
        for _ in 0..ROUNDS {
            let before = self.worth();
            let kept = self.chosen.clone();
            let has_given_up = self.give_up_idle(0);
            self.fill_first();
            if self.worth() <= before {
                if self.worth() < before {
                    self.set_to(kept);
                }
                break;
            }
            if !has_given_up && self.chosen == kept {
                break;
            }
        }
    }

    /// Takes entries of the first table until none pays or there is no opcode byte.
    fn fill_first(&mut self) {
        let mut queue = Queue::new(self, BOTH);
        while self.chosen.first.len() < self.task.most_entries {
            let shares = self.chosen.first.len() + self.chosen.n_second < self.n_bytes();
            let tables = if shares { BOTH } else { FIRST };
            let Some(index) = queue.next(self, tables) else { break };
            let mut chosen = self.chosen.clone();
            chosen.first.push(index);
            self.set_to(chosen);
        }
    }

    /// Chooses the second table over the first, if it pays.
    ///
    /// Where the first is free to change, it begins with all of it counting everywhere.
    /// Beginning with three quarters and with half of it as well, the other bytes free in
    /// each table, took twice as long and gained 35 of 11728 bytes in sample and none held
    /// out (samples, `--table 25`).
    fn choose_second(&mut self) {
        if self.task.second == Second::Together {
            self.put_the_least_missed_last();
        }
        let mut best = (self.worth(), self.chosen.clone());
        self.fill_second(&mut best);
        self.set_to(best.1.clone());
        if self.task.second == Second::Together && best.1.n_second > 0 {
            for _ in 0..ROUNDS {
                let before = best.0;
                let from = self.n_bytes() - self.chosen.n_second;
                self.give_up_idle(from);
                self.fill_first();
                if self.worth() > best.0 {
                    best = (self.worth(), self.chosen.clone());
                }
                self.fill_second(&mut best);
                self.set_to(best.1.clone());
                if best.0 <= before {
                    break;
                }
            }
        }
    }

    /// Takes entries of the second table as long as there is hope, and keeps the best
    /// that there was.
    fn fill_second(&mut self, best: &mut (i128, Chosen)) {
        let begin = self.chosen.then.len();
        let mut since = begin;
        let mut queue = Queue::new(self, THEN);
        while self.chosen.then.len() < self.task.most_entries && self.make_room() {
            let Some(index) = queue.next(self, THEN) else { break };
            let mut chosen = self.chosen.clone();
            chosen.then.push(index);
            self.set_to(chosen);
            let worth = self.worth();
            if worth > best.0 {
                *best = (worth, self.chosen.clone());
                since = self.chosen.then.len();
            } else if self.chosen.then.len() > since + PATIENCE && since > begin {
                break;
            }
        }
    }

    /// Gives the second table a byte more, if there is one.
    fn make_room(&mut self) -> bool {
        let n_second = self.chosen.then.len() + 1;
        if n_second > self.n_bytes() {
            return false;
        }
        self.set_to(Chosen { n_second, ..self.chosen.clone() });
        true
    }

    /// Opcode bytes of a table.
    fn n_bytes(&self) -> usize {
        self.corpus.model.entries as usize
    }

    /// Sorts the first table by what is lost if an entry counts no more behind entries.
    fn put_the_least_missed_last(&mut self) {
        let kept = self.chosen.clone();
        let n_bytes = self.n_bytes();
        let mut lost: Vec<(i128, usize)> = Vec::new();
        for place in 0..kept.first.len() {
            let mut first = kept.first.clone();
            let index = first.remove(place);
            first.push(index);
            // As if it had the only byte of the second table, which has no entry.
            let n_second = n_bytes + 1 - first.len();
            self.set_to(Chosen { first, then: Vec::new(), n_second });
            lost.push((self.worth(), index));
        }
        lost.sort_unstable();
        let first = lost.into_iter().map(|(_, index)| index).collect();
        self.set_to(Chosen { first, ..kept });
    }

    /// What a candidate would gain if nothing overlapped, where it may count at all.
    fn at_most(&self, candidate: &Candidate, tables: u8) -> u64 {
        let may_stand = |at: usize| {
            tables & FIRST != 0
                || self.corpus.runs[self.corpus.run_of[at] as usize] as usize != at
                    && self.corpus.behind(at, true) == Table::Then
        };
        candidate
            .places
            .iter()
            .map(|&at| at as usize)
            .filter(|&at| may_stand(at))
            .map(|at| self.gained(at, candidate.saved, candidate.parts.len()))
            .sum()
    }

    /// What an instruction gains where it stands.
    fn gained(&self, at: usize, saved: u32, length: usize) -> u64 {
        let dispatch: u64 = self.dispatch[at + 1..at + length].iter().sum();
        u64::from(saved) * self.byte + dispatch
    }

    /// What a candidate would gain in these tables beside those that are chosen, less its
    /// bytes in flash.
    fn net(&self, index: usize, tables: u8) -> i128 {
        let candidate = &self.candidates[index];
        let mut net = -i128::from(self.table(candidate));
        let mut places = candidate.places.as_slice();
        while let Some(&first) = places.first() {
            let run = self.corpus.run_of[first as usize];
            let n = places.iter().take_while(|&&at| self.corpus.run_of[at as usize] == run).count();
            let (own, rest) = places.split_at(n);
            places = rest;
            let worth = self.split(run, Some((candidate, own, tables)));
            net += i128::from(worth) - i128::from(self.run_worth[run as usize]);
        }
        net
    }

    /// What a run gains if it is split to the fewest bytes with what is chosen, and with
    /// one more that stands at these places in these tables.
    fn split(&self, run: u32, more: Option<(&Candidate, &[u32], u8)>) -> u64 {
        let range = self.corpus.run(run);
        let has_then = self.chosen.n_second > 0;
        // By place and by the table that counts: what the split goes by, and what it is
        // worth.
        let mut best = vec![[(0i64, 0u64); 2]; range.len() + 1];
        best[range.len()][Table::Then as usize].0 = NEVER;
        let (candidate, mut places, tables) = match more {
            Some((candidate, places, tables)) => (Some(candidate), places, tables),
            None => (None, &[][..], 0),
        };
        for at in range.clone().rev() {
            let here = at - range.start;
            let mut top = [best[here + 1][Table::First as usize]; 2];
            let mut consider = |order: i64, length: usize, tables: u8, worth: u64| {
                let place = here + length;
                let behind = best[place][self.corpus.behind(at + length, has_then) as usize];
                for (table, top) in top.iter_mut().enumerate() {
                    if tables >> table & 1 != 0 && order + behind.0 > top.0 {
                        *top = (order + behind.0, worth + behind.1);
                    }
                }
            };
            for &(order, length, tables) in &self.standing[at] {
                let length = length as usize;
                consider(order, length, tables, self.gained(at, (order >> 24) as u32, length));
            }
            if let (Some(candidate), Some((&last, rest))) = (candidate, places.split_last())
                && last as usize == at
            {
                places = rest;
                let length = candidate.parts.len();
                let worth = self.gained(at, candidate.saved, length);
                consider(gain(candidate.saved, length), length, tables, worth);
            }
            best[here] = top;
        }
        best[0][Table::First as usize].1
    }

    /// Makes this the choice: what stands otherwise than before is put right, and every
    /// run that it touches is split anew.
    fn set_to(&mut self, chosen: Chosen) {
        let (before, after) =
            (self.chosen.standing(self.n_bytes()), chosen.standing(self.n_bytes()));
        let mut runs: BTreeSet<u32> = BTreeSet::new();
        // Whether a second table is there at all concerns every run.
        if (self.chosen.n_second > 0) != (chosen.n_second > 0) {
            runs.extend(0..self.run_worth.len() as u32);
        }
        self.chosen = chosen;
        let gone = before.difference(&after).map(|&one| (one, false));
        for ((index, tables), is_new) in gone.chain(after.difference(&before).map(|&it| (it, true)))
        {
            let candidate = &self.candidates[index];
            let length = candidate.parts.len();
            let entry = (gain(candidate.saved, length), length as u8, tables);
            for &at in &candidate.places {
                let standing = &mut self.standing[at as usize];
                if is_new {
                    standing.push(entry);
                } else if let Some(found) = standing.iter().position(|one| *one == entry) {
                    standing.remove(found);
                }
                runs.insert(self.corpus.run_of[at as usize]);
            }
        }
        for run in runs {
            if (run as usize) < self.run_worth.len() && !self.corpus.run(run).is_empty() {
                self.run_worth[run as usize] = self.split(run, None);
            }
        }
    }

    /// Gives up, one after the other, the entries of the first table from a place on that
    /// no longer pay.
    fn give_up_idle(&mut self, from: usize) -> bool {
        let mut has_given_up = false;
        for &index in self.chosen.first.clone().iter().skip(from) {
            let before = self.worth();
            let kept = self.chosen.clone();
            let mut chosen = kept.clone();
            chosen.first.retain(|&other| other != index);
            self.set_to(chosen);
            if self.worth() < before {
                self.set_to(kept);
            } else {
                has_given_up = true;
            }
        }
        has_given_up
    }

    /// The best candidate that was not taken, what making way for it costs taken off:
    /// gain in hundredths of a byte, bytes of its table.
    fn best_of_the_rest(&self, tables: u8, lost: i128) -> Option<(i64, u64)> {
        let mut best: Option<(i128, usize)> = None;
        let taken = if tables == THEN { &self.chosen.then } else { &self.chosen.first };
        for index in 0..self.candidates.len() {
            let table = i128::from(self.table(&self.candidates[index]));
            let bound = i128::from(self.at_most(&self.candidates[index], tables)) - table;
            if best.is_some_and(|(net, _)| bound <= net) || taken.contains(&index) {
                continue;
            }
            let net = self.net(index, tables);
            if best.is_none_or(|(other, _)| net > other) {
                best = Some((net, index));
            }
        }
        best.map(|(net, index)| {
            let table = self.corpus.model.table_bytes(self.candidates[index].parts.len());
            let gained = net - lost + i128::from(self.table(&self.candidates[index]));
            ((gained * 100 / i128::from(UNIT)) as i64, table)
        })
    }

    /// The same of the second table, and whether there is a byte for it.
    fn best_of_the_second(&mut self) -> (Option<(i64, u64)>, bool) {
        let (kept, before) = (self.chosen.clone(), self.worth());
        let has_room = kept.then.len() < self.task.most_entries && self.make_room();
        let lost = before - self.worth();
        let next = self.best_of_the_rest(THEN, lost);
        self.set_to(kept);
        (next, has_room)
    }
}

/// The candidates for some tables, the most hopeful first.
struct Queue {
    /// An estimate that is never too low while nothing is chosen, but for entries that
    /// lead others to where they can stand; then what was found last, and in which round.
    heap: BinaryHeap<(i128, Reverse<usize>, usize)>,
    round: usize,
}

impl Queue {
    fn new(miner: &Miner<'_>, tables: u8) -> Queue {
        let estimate = |index: usize| {
            let candidate = &miner.candidates[index];
            let worth = miner.at_most(candidate, tables);
            let net = i128::from(worth) - i128::from(miner.table(candidate));
            (net > 0).then_some((net, Reverse(index), usize::MAX))
        };
        Queue { heap: (0..miner.candidates.len()).filter_map(estimate).collect(), round: 0 }
    }

    /// Takes the candidate that gains most in these tables, if any gains.
    fn next(&mut self, miner: &Miner<'_>, tables: u8) -> Option<usize> {
        let taken = if tables == THEN { &miner.chosen.then } else { &miner.chosen.first };
        while let Some((net, Reverse(index), round)) = self.heap.pop() {
            if round == self.round {
                debug_assert!(net > 0);
                self.round += 1;
                return Some(index);
            }
            if taken.contains(&index) {
                continue;
            }
            let net = miner.net(index, tables);
            if net > 0 {
                self.heap.push((net, Reverse(index), self.round));
            }
        }
        None
    }
}

/// What each entry saves behind those before it, in bytes and instructions carried out,
/// all scripts weighed whole with each: these add up to what the set saves.
pub fn saved_in_turn(corpus: &Corpus, first: &[Vec<Part>], then: &[Vec<Part>]) -> Vec<(i64, i64)> {
    let mut before = corpus.weigh_all(&Prepared::new(corpus, &[]), None);
    (1..=first.len() + then.len())
        .map(|n| {
            let (n_first, n_then) = (n.min(first.len()), n.saturating_sub(first.len()));
            let set = Prepared::of_tables(corpus, &first[..n_first], &then[..n_then]);
            let now = corpus.weigh_all(&set, None);
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
mod tests;
