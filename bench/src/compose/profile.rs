//! How often each operation of a script is carried out.
//!
//! It owns an observer that counts places. The answer of the run is checked like that of
//! any other: a wrong run's counts are not mined.

use anyhow::{Context, Result, bail};
use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;
use scruple_vm::{Host, Layout, Narrow, Observer, Raise, Step, Steps, Vm};

use crate::build;
use crate::machine::{self, Setup};
use crate::measure::{BUDGET, check_answer, output_of, refused};
use crate::options::REGION;
use crate::script::Script;
use crate::station::Output;
use crate::streams::{Stream, places};

/// A script's operations, and how often each was carried out.
#[derive(Clone, Debug)]
pub struct Profile {
    /// The operations.
    pub stream: Stream,
    /// How often, function by function.
    pub counts: Vec<Vec<u64>>,
    /// Bytes of its instructions under `byte`, `leb` and `implied`.
    pub bytes: [u64; 3],
    /// Bytes of its image under `byte` and `implied`.
    pub image_bytes: [u64; 2],
    /// What it printed, if it was run.
    pub printed: Option<String>,
}

impl Profile {
    /// Operations carried out.
    pub fn operations(&self) -> u64 {
        self.counts.iter().flatten().sum()
    }
}

/// Compiles a script and, if its counts are wanted, runs it. On a thread with stack
/// enough: see [`build::on_large_stack`].
pub fn profile(script: &Script, runs: bool) -> Result<Profile> {
    if script.packed.is_some() {
        bail!("an image: its source is wanted");
    }
    let compile = |encoding| {
        let built = build::compile(&script.text, encoding, true);
        built.map_err(|wrong| {
            let error = refused(&wrong);
            anyhow::anyhow!("{}", error.describe())
        })
    };
    let bytes = |encoding| -> Result<(u64, u64)> {
        let built = compile(encoding)?;
        let image = Image::open(&built.image).context("the compiler's image")?;
        let sizes = image.sizes();
        Ok((sizes.instructions as u64, sizes.total() as u64))
    };
    let (byte, byte_image) = bytes(Encoding::Byte)?;
    let (implied, implied_image) = bytes(Encoding::Implied)?;
    let built = compile(Encoding::Leb)?;
    let image = Image::open(&built.image).context("the compiler's image")?;
    let sizes = image.sizes();
    let (by_place, printed) = if runs {
        let (counts, printed) = run(script, &built.image, image.code().len())?;
        (counts, Some(printed))
    } else {
        (vec![0; image.code().len()], None)
    };
    let at = |place: usize| by_place.get(place).copied().unwrap_or(0);
    let counts = places(&image)?.into_iter().map(|own| own.into_iter().map(at).collect());
    Ok(Profile {
        stream: Stream::of(&image)?,
        counts: counts.collect(),
        bytes: [byte, sizes.instructions as u64, implied],
        image_bytes: [byte_image, implied_image],
        printed,
    })
}

fn run(script: &Script, image: &[u8], n_places: usize) -> Result<(Vec<u64>, String)> {
    let run = machine::run::<Narrow, Places>(Setup {
        image,
        region: REGION,
        feed: script.feed.clone(),
        limits: script.options.limits(BUDGET),
        collect_every: usize::MAX,
        output: Output::kept(),
        observer: Places { counts: vec![0; n_places] },
    });
    let describe = |error: crate::document::RowError| anyhow::anyhow!("{}", error.describe());
    let printed = output_of(&run).map_err(describe)?.to_owned();
    if let Some(expected) = &script.expected {
        check_answer(expected, &printed).map_err(describe)?;
    }
    Ok((run.observer.counts, printed))
}

/// Counts each place of the code section that an instruction is fetched from.
struct Places {
    counts: Vec<u64>,
}

impl Observer for Places {
    type Tally = ();
    type Wants = Steps;

    fn count((): &mut (), _: usize) {}

    fn absorb(&mut self, (): ()) {}

    fn before<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
    ) -> Result<(), Raise> {
        if let Some(count) = vm.host_mut().observer().counts.get_mut(step.at) {
            *count += 1;
        }
        Ok(())
    }
}
