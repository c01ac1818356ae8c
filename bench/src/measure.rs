//! Weighing scripts: every figure of a script under an encoding, once its answer
//! is right.
//!
//! It owns the order of a measurement: compile, run and check the output, then
//! run again for the live peak and check that nothing but the collections
//! differed. It refuses to print, and gives no figure beside an error.

use std::hash::{DefaultHasher, Hash, Hasher};

use rayon::prelude::*;
use scruple_bytecode::Encoding;
use scruple_compiler::Diagnostics;
use scruple_vm::{Counter, Ledger};

use crate::build::{self, Built, STACK_BYTES};
use crate::document::{Document, Figures, Row, RowError, Stage, Way};
use crate::layout::HeapLayout;
use crate::machine::{self, Run, Setup};
use crate::memory::{self, watch::Which};
use crate::options::{Limits, REGION};
use crate::script::{Candidate, Script};
use crate::sets;
use crate::station::{MOST_OUTPUT, Output};

/// The budget of a script that asks for none: a wrong script ends.
pub const BUDGET: u64 = 1_000_000_000;

/// How much collecting a live peak may cost: collections times the bytes each
/// has to walk. Two gigabytes are a second or two.
pub const LIVE_WORK: u64 = 2_000_000_000;

/// What is to be measured.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The encodings, in the order of the rows.
    pub encodings: Vec<Encoding>,
    /// The layouts of the heap, in the order of the rows.
    pub layouts: Vec<HeapLayout>,
    /// How many of the sites that made the high-water mark are to be told: each
    /// row then takes two runs more.
    pub sites: Option<usize>,
}

impl Default for Plan {
    fn default() -> Self {
        let layouts = vec![HeapLayout::default()];
        Plan { encodings: Encoding::ALL.to_vec(), layouts, sites: None }
    }
}

impl Plan {
    /// What a candidate's rows are measured under, layout by layout: a packed
    /// script has one encoding, its own.
    pub fn ways_of(&self, candidate: &Candidate) -> Vec<Way> {
        // Under which name a damaged one stands, its row says: this only makes it one row.
        let own = candidate.own_encoding().unwrap_or(Encoding::Implied);
        let own = candidate.is_image().then(|| vec![own]);
        let encodings = own.as_ref().unwrap_or(&self.encodings);
        let all = |&layout| encodings.iter().map(move |&encoding| Way { encoding, layout });
        self.layouts.iter().flat_map(all).collect()
    }
}

/// Weighs every script under every encoding and layout of the plan, on all cores;
/// the rows come in the scripts' order. `done` is called after each row.
pub fn weigh(candidates: &[Candidate], plan: &Plan, done: &(dyn Fn() + Sync)) -> Document {
    let pairs: Vec<(&Candidate, Way)> = candidates
        .iter()
        .flat_map(|candidate| plan.ways_of(candidate).into_iter().map(move |way| (candidate, way)))
        .collect();
    let weigh_all = || {
        pairs
            .par_iter()
            .map(|&(candidate, way)| {
                let result = weigh_one(candidate, way, plan.sites);
                done();
                result
            })
            .collect()
    };
    // Scripts need more stack than a pool's threads have by default.
    let pool = rayon::ThreadPoolBuilder::new().stack_size(STACK_BYTES).build();
    let mut results: Vec<Result<Weighed, RowError>> = match pool {
        Ok(pool) => pool.install(weigh_all),
        Err(error) => {
            let message = format!("no threads to run on: {error}");
            pairs.iter().map(|_| Err(RowError::new(Stage::Run, message.clone()))).collect()
        }
    };
    let mut rest = results.as_mut_slice();
    for candidate in candidates {
        let ways = plan.ways_of(candidate);
        let (own, others) = rest.split_at_mut(ways.len());
        let n_encodings = ways.len() / plan.layouts.len().max(1);
        compare_layouts(own, n_encodings);
        rest = others;
    }
    let rows = pairs.iter().zip(results).map(|(&(candidate, way), result)| {
        let is_known = candidate.script.as_ref().is_ok_and(|script| script.expected.is_some());
        let row = match result {
            Ok(weighed) => Row::weighed(&candidate.name, way, is_known, weighed.figures),
            Err(error) => {
                let checked = is_known && matches!(error.stage, Stage::Answer | Stage::Agreement);
                Row::failed(&candidate.name, way, checked, error)
            }
        };
        let encoding = candidate.encoding_name(way.encoding).to_owned();
        Row { encoding, set: set_of(candidate, way), ..row }
    });
    Document::new(rows.collect())
}

/// The instruction set that a row is of, if its encoding has one.
fn set_of(candidate: &Candidate, way: Way) -> Option<String> {
    let script = candidate.script.as_ref().ok().filter(|_| way.encoding.has_set())?;
    match &script.packed {
        Some(packed) => script.options.open(&packed.image).ok()?.set().map(sets::label),
        None => script.options.sets().first().map(|set| sets::label(set)),
    }
}

/// A measurement, with what the script printed as a hash.
struct Weighed {
    figures: Figures,
    printed: u64,
}

fn weigh_one(candidate: &Candidate, way: Way, sites: Option<usize>) -> Result<Weighed, RowError> {
    match &candidate.script {
        Ok(script) => {
            let mut weighed = weigh_script(script, way)?;
            if let Some(n) = sites {
                let memory = memory::profile(script, way, Which::HighWater, None)?;
                if memory.peak.heap != weighed.figures.heap_high_water {
                    let message = "the run that was watched did not do the same".to_owned();
                    return Err(RowError::new(Stage::Agreement, message));
                }
                weighed.figures.peak_sites = Some(memory.peak.largest(n));
            }
            Ok(weighed)
        }
        Err(error) => {
            let line = error.line();
            Err(RowError { line, ..RowError::new(Stage::Read, error.reason()) })
        }
    }
}

/// Encodings are bytes and nothing else: whatever else differs is a fault of the
/// machine, and no figure of that script can be trusted.
fn compare_encodings(results: &mut [Result<Weighed, RowError>]) {
    compare(results, "encodings", &difference);
}

/// Layouts are bytes of the heap: under each the encodings must agree in all, and
/// across them in what the script did. The results come layout by layout.
fn compare_layouts(results: &mut [Result<Weighed, RowError>], n_encodings: usize) {
    for own in results.chunks_mut(n_encodings.max(1)) {
        compare_encodings(own);
    }
    compare(results, "layouts", &deviation);
}

fn compare(
    results: &mut [Result<Weighed, RowError>],
    things: &str,
    differ: &dyn Fn(&Weighed, &Weighed) -> Option<&'static str>,
) {
    let mut weighed = results.iter().flatten();
    let Some(first) = weighed.next() else { return };
    if let Some(what) = weighed.find_map(|other| differ(first, other)) {
        let message = format!("the {things} do not agree on the {what}");
        results.fill_with(|| Err(RowError::new(Stage::Agreement, message.clone())));
    }
}

/// What may not differ from one layout to the other.
fn deviation(a: &Weighed, b: &Weighed) -> Option<&'static str> {
    let checks = [
        (a.printed == b.printed, "output"),
        (a.figures.operations == b.figures.operations, "operations"),
    ];
    checks.iter().find(|(same, _)| !same).map(|(_, what)| *what)
}

fn difference(a: &Weighed, b: &Weighed) -> Option<&'static str> {
    let (one, other) = (&a.figures, &b.figures);
    let checks = [
        (a.printed == b.printed, "output"),
        (one.operations == other.operations, "operations"),
        (one.heap_high_water == other.heap_high_water, "heap high-water"),
        (one.live_peak == other.live_peak, "live peak"),
        (one.stack_peak == other.stack_peak, "stack peak"),
        (one.allocations == other.allocations, "allocations"),
        (one.allocated_bytes == other.allocated_bytes, "allocated bytes"),
    ];
    checks.iter().find(|(same, _)| !same).map(|(_, what)| *what)
}

/// Measures one script under one encoding, over the usual layout, on a thread with
/// stack enough: see [`build::on_large_stack`].
pub fn measure(script: &Script, encoding: Encoding) -> Result<Figures, RowError> {
    let way = Way { encoding, layout: HeapLayout::default() };
    weigh_script(script, way).map(|weighed| weighed.figures)
}

fn weigh_script(script: &Script, way: Way) -> Result<Weighed, RowError> {
    let built = build::build(script, way.encoding).map_err(|wrong| refused(&wrong))?;
    let image = script
        .options
        .open(&built.image)
        .map_err(|error| RowError::new(Stage::Compile, error.to_string()))?;
    let limits = script.options.limits(BUDGET);
    let first = run(script, &built, way.layout, limits, usize::MAX);
    let printed = output_of(&first)?;
    if let Some(expected) = &script.expected {
        check_answer(expected, printed)?;
    }
    let resolution = resolution(&first.ledger);
    let second = run(script, &built, way.layout, limits, resolution as usize);
    if output_of(&second)? != printed || second.instructions != first.instructions {
        let message = "the run that collects more often did not do the same".to_owned();
        return Err(RowError::new(Stage::Agreement, message));
    }
    if !first.ledger.audit() || !second.ledger.audit() {
        let message = "the heap's books do not add up".to_owned();
        return Err(RowError::new(Stage::Agreement, message));
    }
    let mut hasher = DefaultHasher::new();
    printed.hash(&mut hasher);
    let figures = Figures::new(&image, &built, &first, &second, resolution);
    Ok(Weighed { figures, printed: hasher.finish() })
}

/// What the compiler refused first.
pub(crate) fn refused(wrong: &Diagnostics) -> RowError {
    let first = wrong.first();
    RowError::new(Stage::Compile, first.message().to_owned()).at(Some(first.position()))
}

fn run(
    script: &Script,
    built: &Built,
    layout: HeapLayout,
    limits: Limits,
    collect_every: usize,
) -> Run<Counter> {
    let setup = Setup {
        image: &built.image,
        region: REGION,
        feed: script.feed.clone(),
        limits,
        collect_every,
        output: Output::kept(),
        observer: Counter::default(),
    };
    machine::count(layout, setup)
}

/// What a run printed, if it came to its end. However it ended, one that printed without end
/// is told as that.
pub(crate) fn output_of<O>(run: &Run<O>) -> Result<&str, RowError> {
    let Output::Kept(printed) = &run.output else {
        let message = format!("printed more than {MOST_OUTPUT} bytes");
        return Err(RowError::new(Stage::Run, message));
    };
    match &run.end {
        Ok(()) => Ok(printed),
        Err(failure) => {
            let error = RowError::new(Stage::Run, failure.message.clone());
            Err(error.at(failure.position))
        }
    }
}

/// How many bytes may be allocated between two collections of the run for the
/// live peak: 0, every allocation collects, if the work bound allows that.
///
/// The first run tells both factors: how often it allocated, and how much there
/// can be to walk, garbage included, since nothing lives that is not booked.
pub(crate) fn resolution(ledger: &Ledger) -> u64 {
    let walk = u64::from(ledger.high_water().total()).max(1);
    let affordable = LIVE_WORK / walk;
    if ledger.allocations() <= affordable {
        return 0;
    }
    // A power of two, so that a small change elsewhere does not move it.
    (ledger.allocated() / affordable.max(1)).next_power_of_two().max(8)
}

/// Compares what a script must print with what it did.
pub(crate) fn check_answer(expected: &str, printed: &str) -> Result<(), RowError> {
    if expected == printed {
        return Ok(());
    }
    let (mut wanted, mut got) = (expected.lines(), printed.lines());
    let mut line = 1;
    let message = loop {
        match (wanted.next(), got.next()) {
            (Some(wanted), Some(got)) if wanted == got => line += 1,
            (None, None) => break ends_differ(expected, printed),
            (wanted, got) => {
                break format!(
                    "wrong answer: output line {line} is {}, not {}",
                    quoted(got),
                    quoted(wanted)
                );
            }
        }
    };
    Err(RowError::new(Stage::Answer, message))
}

/// What differs where all lines are the same but for their ends.
fn ends_differ(expected: &str, printed: &str) -> String {
    const CRLF: &str = "CRLF";
    let end = |line: &str| match line.strip_suffix('\n') {
        Some(line) if line.ends_with('\r') => CRLF,
        Some(_) => "LF",
        None => "nothing",
    };
    let ends = |text: &'_ str| text.split_inclusive('\n').map(end).collect::<Vec<_>>();
    let (wanted, got) = (ends(expected), ends(printed));
    let mut pairs = (1..).zip(wanted.into_iter().zip(got));
    match pairs.find(|(_, (wanted, got))| wanted != got) {
        Some((line, (wanted, got))) if wanted == CRLF || got == CRLF => {
            format!(
                "the answer differs in how lines end: output line {line} in {got}, not {wanted}"
            )
        }
        _ => "the answer differs in how its last line ends".to_owned(),
    }
}

fn quoted(line: Option<&str>) -> String {
    const SHOWN: usize = 60;
    match line {
        None => "missing".to_owned(),
        Some(line) if line.chars().count() <= SHOWN => format!("{line:?}"),
        Some(line) => format!("{:?}…", line.chars().take(SHOWN).collect::<String>()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_answer_is_told_by_its_first_line_that_differs_or_by_how_one_ends() {
        let message = |expected, printed| {
            check_answer(expected, printed).map_err(|error| error.message).err().unwrap_or_default()
        };
        assert_eq!(message("a\nb\n", "a\nb\n"), "");
        assert_eq!(message("a\nb\n", "a\nc\n"), "wrong answer: output line 2 is \"c\", not \"b\"");
        assert_eq!(message("a\n", "a\nb\n"), "wrong answer: output line 2 is \"b\", not missing");
        assert_eq!(message("a\n", "a"), "the answer differs in how its last line ends");
        let ends = "the answer differs in how lines end: output line";
        let of_windows = "a\r\nb\r\n";
        assert_eq!(message(of_windows, "a\nb\n"), format!("{ends} 1 in LF, not CRLF"));
        assert_eq!(message("a\nb\n", "a\nb\r\n"), format!("{ends} 2 in CRLF, not LF"));
        assert_eq!(message(of_windows, "a\r\nb"), format!("{ends} 2 in nothing, not CRLF"));
    }

    #[test]
    fn encodings_that_disagree_leave_no_figure() {
        let script = Script::from_text("a.js", "console.log(1);", None);
        let layout = HeapLayout::default();
        let weigh = |encoding| weigh_script(&script, Way { encoding, layout });
        let mut results = [weigh(Encoding::Word), weigh(Encoding::Leb)];
        compare_encodings(&mut results);
        assert!(results.iter().all(Result::is_ok));
        if let Ok(weighed) = &mut results[1] {
            weighed.figures.live_peak.total += 1;
        }
        compare_encodings(&mut results);
        let messages: Vec<String> = results
            .iter()
            .filter_map(|result| Some(result.as_ref().err()?.message.clone()))
            .collect();
        assert_eq!(messages, vec!["the encodings do not agree on the live peak"; 2]);
    }

    #[test]
    fn layouts_must_agree_on_what_the_script_did_and_on_nothing_else() {
        let script = Script::from_text("a.js", "console.log(0.5 + {}.x);", None);
        let encoding = Encoding::Leb;
        let weigh = |&layout| weigh_script(&script, Way { encoding, layout });
        let mut results: Vec<_> = HeapLayout::ALL.iter().map(weigh).collect();
        compare_layouts(&mut results, 1);
        assert!(results.iter().all(Result::is_ok), "bytes may differ");
        if let Ok(weighed) = &mut results[1] {
            weighed.figures.operations += 1;
        }
        compare_layouts(&mut results, 1);
        let message = |result: &Result<Weighed, RowError>| match result {
            Ok(_) => String::new(),
            Err(error) => error.message.clone(),
        };
        let messages: Vec<String> = results.iter().map(message).collect();
        assert_eq!(messages, vec!["the layouts do not agree on the operations"; 2]);
    }
}
