//! What sets mined from one corpus are worth on another: the samples, and the programs
//! from the npm registry; and the README's table of that beside published figures.
//!
//! `packages/mined.json` has the figures, since mining them all takes minutes on a busy
//! machine. What would make them stale is looked at each time: every program is compiled
//! and held against its row, the shipped set is tried on all of them, and two programs are
//! mined without and compiled anew. Written, with the README's table, by
//!
//!     UPDATE_README=1 cargo test -p scruple-conformance --test outside mined
//!
//! The published figures are second-hand, with the papers named that are said to have them
//! (which were not read, and what they measured over is from memory); none of that work
//! was run here.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use scruple_bench::build;
use scruple_bench::compose::document::{Composition, Stranger};
use scruple_bench::compose::mine::{Second, Task, mine};
use scruple_bench::compose::model::{Corpus, Model};
use scruple_bench::compose::profile::profile;
use scruple_bench::compose::{Wish, compose, trial};
use scruple_bench::options::RunOptions;
use scruple_bench::report::spliced;
use scruple_bench::script::{self, Candidate, Script};
use scruple_bench::sets;
use scruple_bytecode::Encoding;
use scruple_bytecode::sets::{SHIPPED_SETS, SetBuffer};
use scruple_conformance::corpus::{Way, lay_out};
use scruple_conformance::packages::Packages;
use serde::{Deserialize, Serialize};

/// The weight of the shipped set's goal.
const WEIGHT: u32 = 60;

/// What was tried, on what.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Trial {
    /// Where the sets come from and what they were tried on, for people.
    what: String,
    /// Bytes of the shared table; of several sets the largest.
    table_bytes: u64,
    /// All scripts together.
    sum: Row,
    /// A row a script.
    rows: Vec<Row>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Row {
    script: String,
    byte: u64,
    implied: u64,
    operations: u64,
    /// By encoding: bytes of instructions, and instructions carried out if they mean
    /// anything.
    tried: Vec<(String, u64, Option<u64>)>,
}

const SAMPLES: &str = "samples, each held out";
const ABROAD: &str = "npm programs, set of the samples";
const PROGRAMS: &str = "npm programs, each held out";
const BACK: &str = "samples, set of the npm programs";
const UNION: &str = "samples and npm programs, each held out";
const DRIVEN: &str = "npm programs run by drivers, each held out";

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn saved_at() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("packages/mined.json")
}

/// The figures as they are committed; nothing while they are being written.
fn saved() -> Option<Vec<Trial>> {
    if std::env::var_os("UPDATE_README").is_some() {
        return None;
    }
    let text = fs::read_to_string(saved_at()).expect("packages/mined.json");
    Some(serde_json::from_str(&text).expect("its form"))
}

fn gathered(paths: &[&Path]) -> Vec<Candidate> {
    let paths: Vec<PathBuf> = paths.iter().map(|path| path.to_path_buf()).collect();
    script::gather(&paths, &RunOptions::default()).expect("scripts")
}

fn samples() -> PathBuf {
    root().join("samples")
}

/// The corpus, laid out once.
fn laid_out(packages: &Packages, way: Way) -> PathBuf {
    static FOLDERS: [OnceLock<PathBuf>; 2] = [OnceLock::new(), OnceLock::new()];
    let (name, folder) = match way {
        Way::Sources => ("mined-sources", &FOLDERS[0]),
        Way::Driven => ("mined-driven", &FOLDERS[1]),
    };
    let lay = || {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        let _ = fs::remove_dir_all(&folder);
        lay_out(packages, &folder, way).expect("a corpus");
        folder
    };
    folder.get_or_init(lay).clone()
}

fn encodings() -> Vec<Encoding> {
    Encoding::ALL.iter().copied().filter(|encoding| encoding.has_set()).collect()
}

/// A script's name without the machine's folders.
fn short(name: &str) -> String {
    let path = Path::new(name);
    let file = path.file_name().map(|file| file.to_string_lossy().into_owned());
    file.unwrap_or_default()
}

fn held_out(what: &str, mined: &Composition) -> Trial {
    let row = |script: &str, figures: &scruple_bench::compose::document::Figures, trials: &[_]| {
        let tried = |trials: &scruple_bench::compose::document::Trials| {
            let trial = trials.held_out;
            (trials.encoding.clone(), trial.instruction_bytes, trial.instructions)
        };
        Row {
            script: short(script),
            byte: figures.byte,
            implied: figures.implied,
            operations: figures.operations,
            tried: trials.iter().map(tried).collect(),
        }
    };
    assert!(mined.left_out.is_empty(), "{:?}", mined.left_out);
    Trial {
        what: what.to_owned(),
        table_bytes: mined.held_out_table_bytes,
        sum: row("sum", &mined.sum, &mined.sum_trials),
        rows: mined.rows.iter().map(|one| row(&one.script, &one.figures, &one.trials)).collect(),
    }
}

/// A script of sources alone makes its functions and calls none: no instructions.
fn elsewhere(what: &str, mined: &Composition, runs: bool) -> Trial {
    let elsewhere = mined.elsewhere.as_ref().expect("other scripts");
    assert!(elsewhere.left_out.is_empty(), "{:?}", elsewhere.left_out);
    let row = |stranger: &Stranger| Row {
        script: short(&stranger.script),
        byte: stranger.byte,
        implied: stranger.implied,
        operations: if runs { stranger.operations } else { 0 },
        tried: stranger
            .trials
            .iter()
            .map(|one| {
                let trial = one.trial;
                let instructions = trial.instructions.filter(|_| runs);
                (one.encoding.clone(), trial.instruction_bytes, instructions)
            })
            .collect(),
    };
    Trial {
        what: what.to_owned(),
        table_bytes: mined.table_bytes,
        sum: row(&elsewhere.sum),
        rows: elsewhere.rows.iter().map(row).collect(),
    }
}

fn wish(bytes_percent: u32, runs: bool) -> Wish {
    Wish {
        name: "mined".to_owned(),
        bytes_percent,
        most_entries: usize::MAX,
        least_programs: 2,
        table_percent: 100,
        runs,
        encodings: encodings(),
        target: Encoding::Composite,
        first: None,
    }
}

fn measured(packages: &Packages) -> Vec<Trial> {
    let (sources, driven) = (laid_out(packages, Way::Sources), laid_out(packages, Way::Driven));
    let mined = |from: &[&Path], on: &[&Path], wish: &Wish| {
        compose(&gathered(from), &gathered(on), wish, &|| ()).expect("a set")
    };
    let (of_samples, of_programs) = (samples(), sources.as_path());
    let own = mined(&[&of_samples], &[of_programs], &wish(WEIGHT, true));
    let theirs = mined(&[of_programs], &[&of_samples], &wish(100, false));
    let both = mined(&[&of_samples, of_programs], &[], &wish(100, false));
    let run = mined(&[&driven], &[], &wish(WEIGHT, true));
    assert!(own.rows.iter().chain(&run.rows).all(|row| row.answer_checked));
    vec![
        held_out(SAMPLES, &own),
        elsewhere(ABROAD, &own, false),
        held_out(PROGRAMS, &theirs),
        elsewhere(BACK, &theirs, false),
        held_out(UNION, &both),
        held_out(DRIVEN, &run),
    ]
}

/// The README's table.
fn table(trials: &[Trial]) -> String {
    let mut table = String::from(
        "\n| what | over | of the bytes before | with tables once | instructions, of `implied` |\n\
         | --- | --- | ---: | ---: | ---: |\n\
         | dictionary macros (Clausen et al. 2000) | Java class files | 0.85 | | |\n\
         | echo factoring (Fraser 2002) | C programs | 0.67 | | |\n\
         | grammar rewriting (Evans & Fraser 2001) | C programs | 0.29-0.42 | 9-11 KB more | |\n",
    );
    let ratio = |part: u64, whole: u64| format!("{:.3}", part as f64 / whole as f64);
    for trial in trials {
        let Trial { what, table_bytes, sum, .. } = trial;
        let is_driven = what == DRIVEN;
        let bytes = |bytes| if is_driven { String::new() } else { ratio(bytes, sum.byte) };
        table.push_str(&format!("| `implied` | {what} | {} | | |\n", bytes(sum.implied)));
        for (encoding, instruction_bytes, instructions) in &sum.tried {
            let carried_out =
                instructions.map_or_else(String::new, |count| ratio(count, sum.operations));
            table.push_str(&format!(
                "| `{encoding}` | {what} | {} | {} | {carried_out} |\n",
                bytes(*instruction_bytes),
                bytes(instruction_bytes + table_bytes),
            ));
        }
    }
    table
}

#[test]
fn mined_figures_and_their_table_are_fresh() {
    let Some(packages) = super::packages() else { return };
    let path = root().join("README.md");
    let text = fs::read_to_string(&path).expect("the README");
    let spliced = |trials: &[Trial]| spliced(&text, "mined", &table(trials)).expect("the markers");
    if std::env::var_os("UPDATE_README").is_some() {
        let trials = measured(packages);
        let json = serde_json::to_string_pretty(&trials).expect("JSON");
        fs::write(saved_at(), json + "\n").expect("writing the figures");
        fs::write(&path, spliced(&trials)).expect("writing the README");
        return;
    }
    let trials = saved().expect("what is not being written");
    assert!(
        spliced(&trials) == text,
        "stale: UPDATE_README=1 cargo test -p scruple-conformance --test outside mined"
    );
    let named: Vec<&str> = trials[0].sum.tried.iter().map(|(name, ..)| name.as_str()).collect();
    let wanted: Vec<&str> = encodings().iter().map(|encoding| encoding.name()).collect();
    assert_eq!(named, wanted, "every encoding with a set is in the table");
}

/// Compiles a script with the shipped set, as the table's second row does.
fn shipped(script: &Script) -> Row {
    let profile = profile(script, false).expect("a profile");
    let [byte, _, implied] = profile.bytes;
    let tried = encodings().into_iter().map(|encoding| {
        let trial = trial::of_script(script, &profile, encoding, SHIPPED_SETS);
        (encoding.name().to_owned(), trial.expect("a trial").instruction_bytes, None)
    });
    Row { script: short(&script.name), byte, implied, operations: 0, tried: tried.collect() }
}

#[test]
fn mined_figures_are_of_these_programs_and_of_the_shipped_set() {
    let Some(packages) = super::packages() else { return };
    let Some(trials) = saved() else { return };
    let abroad = trials.iter().find(|trial| trial.what == ABROAD).expect("a trial");
    let scripts = gathered(&[&laid_out(packages, Way::Sources)]);
    assert_eq!(scripts.len(), abroad.rows.len());
    for (candidate, row) in scripts.iter().zip(&abroad.rows) {
        let script = candidate.script.as_ref().expect("a script");
        let now = build::on_large_stack(|| shipped(script)).expect("a thread");
        assert_eq!(&now, row, "stale, or the shipped set is not what the samples give any more");
    }
}

/// The smallest and the largest: a slip in the mining, or in what is held out, shows there.
#[test]
fn mined_without_a_program_its_figures_are_those_that_are_saved() {
    let Some(packages) = super::packages() else { return };
    let Some(trials) = saved() else { return };
    let programs = trials.iter().find(|trial| trial.what == PROGRAMS).expect("a trial");
    let scripts = gathered(&[&laid_out(packages, Way::Sources)]);
    let scripts: Vec<&Script> =
        scripts.iter().map(|one| one.script.as_ref().expect("a script")).collect();
    let check = || {
        let mut corpus = Corpus::new(Model::default());
        let profiles: Vec<_> =
            scripts.iter().map(|script| profile(script, false).expect("a profile")).collect();
        for (script, profile) in scripts.iter().zip(&profiles) {
            corpus.add(&script.name, &profile.stream, &profile.counts).expect("counts");
        }
        let by_size = |number: &usize| programs.rows[*number].byte;
        let all = 0..scripts.len();
        let ends = [all.clone().min_by_key(by_size), all.max_by_key(by_size)];
        for number in ends.into_iter().flatten() {
            let task = Task {
                bytes_percent: 100,
                most_entries: corpus.model().entries as usize,
                least_programs: 2,
                table_percent: 100,
                left_out: Some(number),
                second: Second::Not,
            };
            let mut set = SetBuffer::new("mined").expect("a name");
            for parts in &mine(&corpus, task, None).entries {
                set.push(parts).expect("an entry");
            }
            let own = sets::keep(set);
            for (encoding, (_, bytes, _)) in
                encodings().into_iter().zip(&programs.rows[number].tried)
            {
                let trial = trial::of_script(scripts[number], &profiles[number], encoding, own);
                assert_eq!(trial.expect("a trial").instruction_bytes, *bytes, "row {number}");
            }
        }
    };
    build::on_large_stack(check).expect("a thread");
}
