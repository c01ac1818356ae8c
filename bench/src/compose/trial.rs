//! What a script takes with a set, by compiling it and running it.
//!
//! It owns the check that a set changes nothing but bytes and instructions: what a script
//! prints and the operations it carries out must be those of the run that it was read
//! with. So a figure here is of a right answer, and of a machine that was given the set
//! as data. It refuses to run a script whose counts are not wanted.

use anyhow::{Context, Result, ensure};
use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;
use scruple_vm::Counter;

use super::document::{Trial, Trials};
use super::profile::Profile;
use crate::build;
use crate::layout::HeapLayout;
use crate::machine::{self, Setup};
use crate::measure::{BUDGET, output_of, refused};
use crate::options::{Limits, REGION};
use crate::script::Script;
use crate::sets::Sets;
use crate::station::Output;

/// Compiles a script with the first of these sets and, if its profile is of a run, runs
/// it. On a thread with stack enough: see [`build::on_large_stack`].
pub fn of_script(
    script: &Script,
    profile: &Profile,
    encoding: Encoding,
    sets: Sets,
) -> Result<Trial> {
    let set = sets.first().context("no instruction set")?;
    let built = build::compile_with(&script.text, encoding, set, true);
    let built = built.map_err(|wrong| anyhow::anyhow!("{}", refused(&wrong).describe()))?;
    let image = Image::open_with(&built.image, sets).context("the compiler's image")?;
    let sizes = image.sizes();
    let instructions = match &profile.printed {
        Some(printed) => Some(run(script, &built.image, sets, printed, profile.operations())?),
        None => None,
    };
    Ok(Trial {
        instruction_bytes: sizes.instructions as u64,
        image_bytes: sizes.total() as u64,
        instructions,
    })
}

/// Instructions carried out.
fn run(script: &Script, image: &[u8], sets: Sets, wanted: &str, operations: u64) -> Result<u64> {
    let run = machine::count(
        HeapLayout::default(),
        Setup {
            image,
            region: REGION,
            feed: script.feed.clone(),
            limits: Limits { sets, ..script.options.limits(BUDGET) },
            collect_every: usize::MAX,
            output: Output::kept(),
            observer: Counter::default(),
        },
    );
    let printed = output_of(&run).map_err(|error| anyhow::anyhow!("{}", error.describe()))?;
    ensure!(printed == wanted, "{}: with the set it prints something else", script.name);
    let name = &script.name;
    ensure!(run.operations == operations, "{name}: with the set it carries out something else");
    Ok(run.instructions)
}

impl Trial {
    /// Adds another script's. Where one was not run there is no sum of instructions.
    pub(super) fn add(&mut self, other: &Trial) {
        self.instruction_bytes += other.instruction_bytes;
        self.image_bytes += other.image_bytes;
        self.instructions = self.instructions.zip(other.instructions).map(|(one, more)| one + more);
    }
}

/// Sums, encoding by encoding, of rows that all have the same ones.
pub(super) fn sums<'a>(rows: impl Iterator<Item = &'a [Trials]>) -> Vec<Trials> {
    let mut sums: Vec<Trials> = Vec::new();
    for row in rows {
        if sums.is_empty() {
            sums = row.to_vec();
            continue;
        }
        for (sum, own) in sums.iter_mut().zip(row) {
            sum.in_sample.add(&own.in_sample);
            sum.held_out.add(&own.held_out);
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use scruple_bytecode::sets::{SHIPPED_SETS, SetBuffer};

    use super::*;
    use crate::compose::profile::profile;
    use crate::sets;

    const TEXT: &str = "let n = 0; for (let i = 0; i < 9; i++) n += i; console.log(n);";

    fn trial(script: &Script, profile: &Profile) -> Result<Trial> {
        let text = "set own\nshort load_slot 0\n";
        let own = sets::keep(SetBuffer::parse(text).expect("a set"));
        of_script(script, profile, Encoding::Composite, own)
    }

    #[test]
    fn what_is_not_run_has_bytes_and_no_instructions() {
        let script = Script::from_text("a.js", TEXT, None);
        let ran = trial(&script, &profile(&script, true).unwrap()).unwrap();
        let read = trial(&script, &profile(&script, false).unwrap()).unwrap();
        assert_eq!(read, Trial { instructions: None, ..ran });
        assert!(ran.instructions.is_some_and(|n| n > 0));
        let mut sum = ran;
        sum.add(&read);
        assert_eq!((sum.instruction_bytes, sum.instructions), (2 * ran.instruction_bytes, None));
    }

    #[test]
    fn a_run_that_does_something_else_than_the_one_it_was_read_with_has_no_figure() {
        let script = Script::from_text("a.js", TEXT, None);
        let right = profile(&script, true).unwrap();
        let wrong = Profile { printed: Some("37\n".to_owned()), ..right.clone() };
        let error = trial(&script, &wrong).unwrap_err().to_string();
        assert!(error.contains("a.js: with the set it prints something else"), "{error}");
        let mut counts = right.counts.clone();
        counts[0][0] += 1;
        let error = trial(&script, &Profile { counts, ..right.clone() }).unwrap_err().to_string();
        assert!(error.contains("carries out something else"), "{error}");
        assert!(of_script(&script, &right, Encoding::Composite, SHIPPED_SETS).is_ok());
    }
}
