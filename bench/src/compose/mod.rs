//! Instruction sets mined from scripts, and what they are worth on scripts that they
//! were not mined from.
//!
//! It owns the evaluation, which is honest by construction: beside what a set saves on
//! the scripts it comes from stands, script by script, what a set saves that was mined
//! from all others; and images are added up alone and with the shared table counted
//! once. [`model`] says what is counted while a set is chosen, [`mine`](mod@mine) what is
//! chosen, [`trial`] what comes of it: every set, those of the held-out scripts too, is
//! compiled against and run. It refuses to promise anything of scripts that were not given.

mod candidates;
pub mod document;
pub mod mine;
pub mod model;
pub mod profile;
pub mod trial;

use anyhow::{Context, Result, ensure};
use rayon::prelude::*;
use scruple_bytecode::Encoding;
use scruple_bytecode::sets::{InstructionSet, Part, SetBuffer, Table};

use crate::build::STACK_BYTES;
use crate::document::Lab;
use crate::script::{Candidate, Script};
use crate::sets::{self, Sets};
use crate::sweep::document::LeftOut;
use document::{
    Abroad, Composition, Elsewhere, Entry, Figures, Place, Row, SCHEMA, Stopped, Stranger, Trials,
};
use mine::{Mined, Second, Task};
use model::{Corpus, Model, Prepared, entries_of};
use profile::{Profile, profile};

/// What is wanted.
#[derive(Clone, Debug)]
pub struct Wish {
    /// The set's name.
    pub name: String,
    /// How much of the goal instruction bytes are, in per cent.
    pub bytes_percent: u32,
    /// The most entries.
    pub most_entries: usize,
    /// The fewest scripts that an entry must stand in.
    pub least_programs: usize,
    /// How much of its bytes in the shared table an entry must pay, in per cent: less
    /// where the scripts stand for more that will share it.
    pub table_percent: u32,
    /// Whether scripts are run for their counts and answers.
    pub runs: bool,
    /// The encodings that sets are tried with.
    pub encodings: Vec<Encoding>,
    /// The encoding that the set is for: under `context` it has a second table.
    pub target: Encoding,
    /// A set whose first table is taken as it is, and the second one mined over it. What
    /// is held out has a first table mined without the script, all the same.
    pub first: Option<InstructionSet<'static>>,
}

impl Wish {
    fn second(&self) -> Second {
        match (self.target, &self.first) {
            (Encoding::Context, Some(_)) => Second::Over,
            (Encoding::Context, None) => Second::Together,
            _ => Second::Not,
        }
    }
}

/// Mines a set and evaluates it, on the scripts and on others if there are any. `done` is
/// called after each script that was read, each that a set was mined without, and each
/// that sets were tried on.
pub fn compose(
    scripts: &[Candidate],
    others: &[Candidate],
    wish: &Wish,
    done: &(dyn Fn() + Sync),
) -> Result<Composition> {
    for encoding in &wish.encodings {
        ensure!(encoding.has_set(), "{} has no instruction set", encoding.name());
    }
    ensure!(SetBuffer::new(&wish.name).is_some(), "{:?} is no name for a set", wish.name);
    let pool = rayon::ThreadPoolBuilder::new().stack_size(STACK_BYTES).build();
    let pool = pool.context("no threads to run on")?;
    let (read, left_out) = pool.install(|| read_all(scripts, wish.runs, done));
    let mut corpus = Corpus::new(Model::default());
    let mut rows = Vec::new();
    for (script, profile) in &read {
        corpus.add(&script.name, &profile.stream, &profile.counts)?;
        rows.push(row(script, profile));
    }
    ensure!(!rows.is_empty(), "no script to mine from{}", reason_of(&left_out));
    let task = Task {
        bytes_percent: wish.bytes_percent,
        most_entries: wish.most_entries.min(corpus.model().entries as usize),
        least_programs: wish.least_programs,
        table_percent: wish.table_percent,
        left_out: None,
        second: wish.second(),
    };
    let first = wish.first.map(|set| entries_of(set, Table::First));
    let mined = mine::mine(&corpus, task, first.as_deref());
    let held_out: Vec<Mined> = pool.install(|| {
        let mine_others = |number| {
            let mined = mine::mine(&corpus, Task { left_out: Some(number), ..task }, None);
            done();
            mined
        };
        (0..rows.len()).into_par_iter().map(mine_others).collect()
    });
    evaluate(&corpus, &mined, &held_out, &mut rows);
    let own = sets::keep(set_of(&wish.name, &mined)?);
    let tried = |((script, profile), others): (&(&Script, Profile), &Mined)| {
        let others = sets::keep(set_of(&wish.name, others)?);
        let trials = trials(script, profile, &wish.encodings, own, others);
        done();
        trials.with_context(|| script.name.clone())
    };
    let all: Result<Vec<Vec<Trials>>> =
        pool.install(|| read.par_iter().zip(&held_out).map(tried).collect());
    for (row, trials) in rows.iter_mut().zip(all?) {
        row.trials = trials;
    }
    let elsewhere = match others {
        [] => None,
        _ => Some(pool.install(|| elsewhere(others, wish, own, done))?),
    };
    let mut sum = Figures::default();
    for row in &rows {
        sum.add(&row.figures);
    }
    let buffer = set_of(&wish.name, &mined)?;
    let set = buffer.set();
    let table_of = |mined: &Mined| -> u64 {
        let entries = mined.entries.iter().chain(&mined.then);
        entries.map(|parts| corpus.model().table_bytes(parts.len())).sum()
    };
    ensure!(set.table_bytes() as u64 == table_of(&mined), "the table is not as counted");
    Ok(Composition {
        schema: SCHEMA,
        lab: Lab::here(),
        encoding: wish.target.name().to_owned(),
        goal_bytes_percent: wish.bytes_percent,
        table_percent: wish.table_percent,
        least_programs: wish.least_programs as u64,
        model: *corpus.model(),
        candidates: mined.n_candidates as u64,
        stopped: Stopped {
            is_full: !mined.is_all,
            next_gain_hundredths: mined.next.map(|(gain, _)| gain),
            next_table_bytes: mined.next.map(|(_, table)| table),
        },
        entries: entries(&corpus, &mined, set)?,
        table_bytes: table_of(&mined),
        held_out_table_bytes: held_out.iter().map(table_of).max().unwrap_or(0),
        sum_trials: trial::sums(rows.iter().map(|row| row.trials.as_slice())),
        rows,
        sum,
        left_out,
        elsewhere,
        set_text: set.to_string(),
        set_hash: set.hash(),
    })
}

/// The scripts that there is something to learn from, and why there is nothing to learn
/// from the others.
fn read_all<'a>(
    scripts: &'a [Candidate],
    runs: bool,
    done: &(dyn Fn() + Sync),
) -> (Vec<(&'a Script, Profile)>, Vec<LeftOut>) {
    let read = |candidate: &'a Candidate| {
        let read = match &candidate.script {
            Ok(script) => profile(script, runs).map(|profile| (script, profile)),
            Err(error) => Err(anyhow::anyhow!("{}", error.reason())),
        };
        done();
        let script = candidate.name.clone();
        read.map_err(|error| LeftOut { script, reason: format!("{error:#}") })
    };
    let all: Vec<Result<_, LeftOut>> = scripts.par_iter().map(read).collect();
    let (mut good, mut left_out) = (Vec::new(), Vec::new());
    for one in all {
        match one {
            Ok(read) => good.push(read),
            Err(out) => left_out.push(out),
        }
    }
    (good, left_out)
}

fn reason_of(left_out: &[LeftOut]) -> String {
    left_out.first().map_or_else(String::new, |out| format!(": {}: {}", out.script, out.reason))
}

fn row(script: &Script, profile: &Profile) -> Row {
    let [byte, leb, implied] = profile.bytes;
    let [byte_image, implied_image] = profile.image_bytes;
    let figures = Figures {
        byte,
        leb,
        implied,
        byte_image,
        implied_image,
        operations: profile.operations(),
        ..Figures::default()
    };
    let answer_checked = is_checked(script, profile);
    Row { script: script.name.clone(), answer_checked, figures, trials: Vec::new() }
}

fn is_checked(script: &Script, profile: &Profile) -> bool {
    profile.printed.is_some() && script.expected.is_some()
}

/// Weighs each script with the set, and with the one that it was no part of.
fn evaluate(corpus: &Corpus, mined: &Mined, held_out: &[Mined], rows: &mut [Row]) {
    let prepared = |mined: &Mined| Prepared::of_tables(corpus, &mined.entries, &mined.then);
    let set = prepared(mined);
    for ((row, program), others) in rows.iter_mut().zip(corpus.programs()).zip(held_out) {
        let own = corpus.weigh(program, &set);
        let strange = corpus.weigh(program, &prepared(others));
        row.figures.in_sample = own.bytes;
        row.figures.dispatched_in_sample = own.dispatched;
        row.figures.held_out = strange.bytes;
        row.figures.dispatched_held_out = strange.dispatched;
    }
}

fn trials(
    script: &Script,
    profile: &Profile,
    encodings: &[Encoding],
    own: Sets,
    others: Sets,
) -> Result<Vec<Trials>> {
    let with = |encoding, sets| trial::of_script(script, profile, encoding, sets);
    let both = |&encoding: &Encoding| {
        Ok(Trials {
            encoding: encoding.name().to_owned(),
            in_sample: with(encoding, own)?,
            held_out: with(encoding, others)?,
        })
    };
    encodings.iter().map(both).collect()
}

/// What a set is worth on scripts that it was not mined from.
fn elsewhere(
    scripts: &[Candidate],
    wish: &Wish,
    sets: Sets,
    done: &(dyn Fn() + Sync),
) -> Result<Elsewhere> {
    let (read, left_out) = read_all(scripts, wish.runs, &|| ());
    ensure!(!read.is_empty(), "no script to try the set on{}", reason_of(&left_out));
    let tried = |(script, profile): &(&Script, Profile)| {
        let with = |&encoding: &Encoding| {
            let trial = trial::of_script(script, profile, encoding, sets);
            let trial = trial.with_context(|| script.name.clone())?;
            Ok(Abroad { encoding: encoding.name().to_owned(), trial })
        };
        let [byte, _, implied] = profile.bytes;
        let stranger = Stranger {
            script: script.name.clone(),
            answer_checked: is_checked(script, profile),
            byte,
            implied,
            operations: profile.operations(),
            trials: wish.encodings.iter().map(with).collect::<Result<_>>()?,
        };
        done();
        Ok(stranger)
    };
    let rows = read.par_iter().map(tried).collect::<Result<Vec<Stranger>>>()?;
    let mut sum = Stranger { script: "sum".to_owned(), ..rows[0].clone() };
    for row in &rows[1..] {
        sum.answer_checked &= row.answer_checked;
        sum.byte += row.byte;
        sum.implied += row.implied;
        sum.operations += row.operations;
        for (sum, own) in sum.trials.iter_mut().zip(&row.trials) {
            sum.trial.add(&own.trial);
        }
    }
    Ok(Elsewhere { rows, sum, left_out })
}

/// The set by its own rules: whatever breaks one is a fault of the miner.
fn set_of(name: &str, mined: &Mined) -> Result<SetBuffer> {
    let mut buffer = SetBuffer::new(name).context("no name for a set")?;
    for (table, entries) in [(Table::First, &mined.entries), (Table::Then, &mined.then)] {
        for parts in entries {
            let pushed = buffer.push_to(table, parts);
            pushed.map_err(|error| anyhow::anyhow!("a mined entry: {error}"))?;
        }
    }
    Ok(buffer)
}

fn entries(corpus: &Corpus, mined: &Mined, set: InstructionSet<'_>) -> Result<Vec<Entry>> {
    let prepared = Prepared::of_tables(corpus, &mined.entries, &mined.then);
    let weights: Vec<_> =
        corpus.programs().iter().map(|program| corpus.weigh(program, &prepared)).collect();
    let saved = mine::saved_in_turn(corpus, &mined.entries, &mined.then);
    let lines: Vec<String> = set.to_string().lines().skip(1).map(str::to_owned).collect();
    ensure!(saved.len() == lines.len(), "entries that are not in the set");
    let entry = |(index, (parts, (saved_bytes, saved_instructions)))| -> Entry {
        let index: usize = index;
        let parts: &Vec<Part> = parts;
        let text = lines[index].clone();
        let uses = |number: usize| weights[number].uses[index];
        let mut places: Vec<Place> = corpus
            .programs()
            .iter()
            .enumerate()
            .filter(|(number, _)| uses(*number) > 0)
            .map(|(number, program)| Place { script: program.name.clone(), uses: uses(number) })
            .collect();
        places.sort_by_key(|place| std::cmp::Reverse(place.uses));
        Entry {
            text,
            parts: parts.len() as u64,
            table_bytes: corpus.model().table_bytes(parts.len()),
            saved_bytes,
            saved_instructions,
            uses: places.iter().map(|place| place.uses).sum(),
            carried_out: weights.iter().map(|weight| weight.carried_out[index]).sum(),
            places,
        }
    };
    let all = mined.entries.iter().chain(&mined.then);
    Ok(all.zip(saved).enumerate().map(entry).collect())
}
