//! Instruction sets mined from scripts, and what they are worth on scripts that they
//! were not mined from.
//!
//! It owns the evaluation, which is honest by construction: beside what a set saves on
//! the scripts it comes from stands, script by script, what a set saves that was mined
//! from all others; and images are added up alone and with the shared table counted
//! once. [`model`] says what is counted, [`mine`](mod@mine) what is chosen. It refuses to
//! promise what a compiler does that splits runs another way.

mod candidates;
pub mod document;
pub mod mine;
pub mod model;
pub mod profile;

use anyhow::{Context, Result, ensure};
use rayon::prelude::*;
use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;
use scruple_bytecode::sets::{InstructionSet, Part, SetBuffer, Table};

use crate::build::{self, STACK_BYTES};
use crate::document::Lab;
use crate::measure::refused;
use crate::script::Candidate;
use crate::sweep::document::LeftOut;
use document::{Composition, Entry, Figures, Place, Row, SCHEMA, Stopped};
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
    /// The encoding that the set is for: under `context` it has a second table.
    pub encoding: Encoding,
    /// A set whose first table is taken as it is, and the second one mined over it. What
    /// is held out has a first table mined without the script, all the same.
    pub first: Option<InstructionSet<'static>>,
}

impl Wish {
    fn second(&self) -> Second {
        match (self.encoding, &self.first) {
            (Encoding::Context, Some(_)) => Second::Over,
            (Encoding::Context, None) => Second::Together,
            _ => Second::Not,
        }
    }
}

/// Mines a set and evaluates it. `done` is called after each script that was read and
/// each that was held out.
pub fn compose(
    scripts: &[Candidate],
    wish: &Wish,
    done: &(dyn Fn() + Sync),
) -> Result<Composition> {
    ensure!(SetBuffer::new(&wish.name).is_some(), "{:?} is no name for a set", wish.name);
    let pool = rayon::ThreadPoolBuilder::new().stack_size(STACK_BYTES).build();
    let pool = pool.context("no threads to run on")?;
    let profiles: Vec<Result<Profile>> = pool.install(|| {
        let read = |candidate: &Candidate| {
            let profile = read(candidate, wish.runs);
            done();
            profile
        };
        scripts.par_iter().map(read).collect()
    });
    let mut corpus = Corpus::new(Model::default());
    let (mut rows, mut left_out) = (Vec::new(), Vec::new());
    for (candidate, result) in scripts.iter().zip(profiles) {
        match result {
            Ok(profile) => {
                corpus.add(&candidate.name, &profile.stream, &profile.counts)?;
                rows.push(row(candidate, &profile, wish.runs));
            }
            Err(error) => {
                let reason = format!("{error:#}");
                left_out.push(LeftOut { script: candidate.name.clone(), reason });
            }
        }
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
    for (row, others) in rows.iter_mut().zip(&held_out) {
        let own = scripts.iter().find(|candidate| candidate.name == row.script);
        let script = own.and_then(|candidate| candidate.script.as_ref().ok());
        let script = script.context("a script that was read")?;
        row.figures.compiled_in_sample = compiled(&script.text, wish.encoding, &mined)?;
        row.figures.compiled_held_out = compiled(&script.text, wish.encoding, others)?;
    }
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
        encoding: wish.encoding.name().to_owned(),
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
        rows,
        sum,
        left_out,
        set_text: set.to_string(),
        set_hash: set.hash(),
    })
}

fn read(candidate: &Candidate, runs: bool) -> Result<Profile> {
    match &candidate.script {
        Ok(script) => profile(script, runs),
        Err(error) => Err(anyhow::anyhow!("{}", error.reason())),
    }
}

fn reason_of(left_out: &[LeftOut]) -> String {
    left_out.first().map_or_else(String::new, |out| format!(": {}: {}", out.script, out.reason))
}

fn row(candidate: &Candidate, profile: &Profile, runs: bool) -> Row {
    let is_known = candidate.script.as_ref().is_ok_and(|script| script.expected.is_some());
    let [byte, leb, implied] = profile.bytes;
    let figures = Figures {
        byte,
        leb,
        implied,
        rest_of_image: profile.rest_of_image,
        operations: profile.counts.iter().flatten().sum(),
        ..Figures::default()
    };
    Row { script: candidate.name.clone(), answer_checked: runs && is_known, figures }
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

/// Bytes of a script's instructions as the compiler makes them with these entries.
fn compiled(source: &str, encoding: Encoding, mined: &Mined) -> Result<u64> {
    let buffer = set_of("mined", mined)?;
    let set = buffer.set();
    let compile = || build::compile_with(source, encoding, &set, true);
    let built = build::on_large_stack(compile).context("no thread to compile on")?;
    let built = built.map_err(|wrong| anyhow::anyhow!("{}", refused(&wrong).describe()))?;
    let sets = [&set];
    let image = Image::open_with(&built.image, &sets).context("the compiler's image")?;
    Ok(image.sizes().instructions as u64)
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
