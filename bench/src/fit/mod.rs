//! Fitting: the least RAM a script runs in, and whether a board has it.
//!
//! It owns what counts as running: the same output and the same instructions as in
//! the usual region. A run that ends in any other way than for want of memory, or
//! ends well with another output, is an error and no figure. It refuses to print.
//!
//! A region is all the memory a machine uses but for its registers, a struct of a
//! few hundred bytes that the program around holds where it likes: see
//! [`machine_bytes`](crate::machine::machine_bytes).

pub mod document;
pub mod search;

use rayon::prelude::*;
use scruple_bytecode::Encoding;
use scruple_bytecode::operand::FunctionId;
use scruple_vm::{Counter, Ledger, LoadError, StopKind};

use crate::board::Board;
use crate::build::{self, STACK_BYTES};
use crate::document::{RowError, Stage, Way};
use crate::layout::HeapLayout;
use crate::machine::{self, Failure, Run, Setup};
use crate::measure::{BUDGET, check_answer, output_of, refused};
use crate::options::REGION;
use crate::script::{Candidate, Script};
use crate::station::Output;

use document::{Document, Help, Limit, Needs, Row, Verdict, Witness};
use search::{Outcome, search};

/// How many instructions trying every region may take: a second or two.
const SWEEP_WORK: u64 = 200_000_000;

/// Finds what every script needs under one encoding, packed ones under their own,
/// over each layout, and holds it against a board. `done` is called after each row.
pub fn fit(
    candidates: &[Candidate],
    encoding: Encoding,
    layouts: &[HeapLayout],
    board: Option<Board>,
    done: &(dyn Fn() + Sync),
) -> Document {
    let pairs: Vec<(&Candidate, Way)> = candidates
        .iter()
        .flat_map(|one| layouts.iter().map(move |&layout| (one, Way { encoding, layout })))
        .collect();
    let fit_all = || {
        let rows = pairs.par_iter().map(|&(candidate, way)| {
            let row = fit_one(candidate, way, board.as_ref());
            done();
            row
        });
        rows.collect()
    };
    // Scripts need more stack than a pool's threads have by default.
    let pool = rayon::ThreadPoolBuilder::new().stack_size(STACK_BYTES).build();
    let rows = match pool {
        Ok(pool) => pool.install(fit_all),
        Err(error) => {
            let wrong = RowError::new(Stage::Run, format!("no threads to run on: {error}"));
            let row = |&(one, way): &(&Candidate, Way)| {
                Row::new(&one.name, way, false).failed(wrong.clone())
            };
            pairs.iter().map(row).collect()
        }
    };
    Document::new(board, rows)
}

fn fit_one(candidate: &Candidate, way: Way, board: Option<&Board>) -> Row {
    let script = match &candidate.script {
        Ok(script) => script,
        Err(error) => {
            let wrong = RowError::new(Stage::Read, error.reason());
            let wrong = RowError { line: error.line(), ..wrong };
            let row = Row::new(&candidate.name, way, false).failed(wrong);
            return Row { encoding: candidate.encoding_name(way.encoding).to_owned(), ..row };
        }
    };
    let encoding = script.packed.as_ref().map_or(way.encoding, |packed| packed.encoding);
    let way = Way { encoding, ..way };
    let result =
        build::build(script, encoding).map_err(|wrong| refused(&wrong)).and_then(|built| {
            let needs = needs(script, &built.image, way.layout)?;
            let verdict = match board {
                Some(board) => Some(judge(script, way, &built.image, &needs, board)?),
                None => None,
            };
            Ok((needs, verdict))
        });
    match result {
        Ok((needs, verdict)) => {
            let row = Row::new(&script.name, way, script.expected.is_some());
            Row { needs: Some(needs), verdict, ..row }
        }
        Err(wrong) => {
            let was_compared = matches!(wrong.stage, Stage::Answer | Stage::Agreement);
            let checked = script.expected.is_some() && was_compared;
            Row::new(&script.name, way, checked).failed(wrong)
        }
    }
}

/// Finds what an image of a script needs, on a thread with stack enough: see
/// [`build::on_large_stack`].
pub fn needs(script: &Script, image: &[u8], layout: HeapLayout) -> Result<Needs, RowError> {
    // Regions differ by a cell of the heap: two slots of the stack.
    let step = layout.cell_bytes();
    let usual = run_in(script, image, layout, REGION);
    let printed = output_of(&usual)?;
    if let Some(expected) = &script.expected {
        check_answer(expected, printed)?;
    }
    let border = search(REGION / step, is_affordable(&usual, step), |cells| {
        let region = cells * step;
        let run = run_in(script, image, layout, region);
        match &run.end {
            Err(failure) => match witness(script, image, region, failure) {
                Some(witness) => Ok(Outcome::Fails(witness)),
                None => Err(differs(region, &failure.message).at(failure.position)),
            },
            Ok(()) if output_of(&run)? != printed => Err(differs(region, "another output")),
            Ok(()) if run.instructions != usual.instructions => {
                Err(differs(region, "another number of instructions"))
            }
            Ok(()) if is_alike(&run.ledger, &usual.ledger) => Ok(Outcome::DoesFreely),
            Ok(()) => Ok(Outcome::Does),
        }
    })?;
    Ok(Needs {
        image_bytes: image.len() as u64,
        region_bytes: (border.least * step) as u64,
        steady_bytes: (border.steady * step) as u64,
        is_monotonous: border.least == border.steady,
        is_exhaustive: border.is_exhaustive,
        n_tries: border.n_tries as u64,
        witness: border.witness.map(|(_, witness)| witness),
    })
}

/// Whether every region can be tried up to one that is not felt, at most about the
/// high-water mark and the collector's bits for it.
fn is_affordable(usual: &Run<Counter>, step: usize) -> bool {
    let n_regions = u64::from(usual.ledger.high_water().total()) / step as u64;
    usual.instructions.saturating_mul(n_regions) <= SWEEP_WORK
}

/// Whether two runs collected and grew alike: then neither felt its region.
fn is_alike(one: &Ledger, other: &Ledger) -> bool {
    one.collections() == other.collections() && one.high_water() == other.high_water()
}

fn run_in(script: &Script, image: &[u8], layout: HeapLayout, region: usize) -> Run<Counter> {
    let setup = Setup {
        image,
        region,
        feed: script.feed.clone(),
        limits: script.options.limits(BUDGET),
        collect_every: usize::MAX,
        output: Output::kept(),
        observer: Counter::default(),
    };
    machine::count(layout, setup)
}

/// Memory is all that regions differ in.
fn differs(region: usize, what: &str) -> RowError {
    let message = format!("a region of {region} bytes does not want for memory, and yet: {what}");
    RowError::new(Stage::Agreement, message)
}

/// What a failure says of a region that is too small, if that is why it failed.
fn witness(script: &Script, image: &[u8], region: usize, failure: &Failure) -> Option<Witness> {
    let (limit, wanted) = match (failure.stop, failure.load) {
        (Some(StopKind::Heap), _) => (Limit::Heap, failure.failed_bytes),
        (Some(StopKind::Stack), _) => (Limit::Stack, None),
        (_, Some(LoadError::NoRoom)) => (Limit::Globals, None),
        (_, Some(LoadError::Verify(error))) if error.is_scratch() => {
            (Limit::Verifier, scratch_bytes(script, image, error.offset()))
        }
        _ => return None,
    };
    Some(Witness {
        region_bytes: region as u64,
        limit,
        wanted_bytes: wanted.map(|bytes| bytes as u64),
        code_offset: failure.code_offset.map(|offset| offset as u64),
        line: failure.position.map(|position| position.line),
        column: failure.position.map(|position| position.column),
    })
}

/// What the verifier wants for a function: a 16-bit number a byte of its code.
fn scratch_bytes(script: &Script, image: &[u8], function: usize) -> Option<usize> {
    let image = script.options.open(image).ok()?;
    let id = FunctionId::new(function)?;
    let code = image.code_end(id)?.checked_sub(image.function(id)?.code)?;
    Some(2 * code as usize)
}

fn judge(
    script: &Script,
    way: Way,
    image: &[u8],
    needs: &Needs,
    board: &Board,
) -> Result<Verdict, RowError> {
    let (flash, ram) = (board.flash(needs.image_bytes), board.ram(needs.steady_bytes));
    let fits = flash.fits() && ram.fits();
    let mut verdict = Verdict { fits, flash, ram, help: Vec::new() };
    if fits {
        return Ok(verdict);
    }
    for other in others(script, way, image, !ram.fits())? {
        // Measured, and only where RAM is short. A line table is not read into RAM:
        // an image without one needs the region of the one that has it.
        let region = match &other.image {
            Some(image) if !ram.fits() => self::needs(script, image, other.layout)?.steady_bytes,
            _ => needs.steady_bytes,
        };
        for (has_lines, bytes) in [(true, other.bytes), (false, other.stripped_bytes)] {
            let (other_flash, other_ram) = (board.flash(bytes), board.ram(region));
            let saves_flash = !flash.fits() && other_flash.spare > flash.spare;
            let saves_ram = !ram.fits() && other_ram.spare > ram.spare;
            if saves_flash || saves_ram {
                verdict.help.push(Help {
                    encoding: other.encoding.name().to_owned(),
                    layout: other.layout,
                    has_lines,
                    flash: other_flash,
                    ram: other_ram,
                    fits: other_flash.fits() && other_ram.fits(),
                });
            }
        }
    }
    verdict.help.sort_by_key(|help| (!help.fits, help.flash.needs));
    Ok(verdict)
}

/// A script under an encoding, with a line table and without, over a layout.
struct Other {
    encoding: Encoding,
    layout: HeapLayout,
    bytes: u64,
    stripped_bytes: u64,
    /// The image to measure, if it is another than the one that was.
    image: Option<Vec<u8>>,
}

/// The images there can be of a script. Of a packed one there is no source to make
/// others from, but its line table can still be left out. Where RAM is short, the
/// layouts that have smaller values, too; the flash that each takes for its machine
/// is the board's to say.
fn others(
    script: &Script,
    way: Way,
    image: &[u8],
    is_ram_short: bool,
) -> Result<Vec<Other>, RowError> {
    let Way { encoding: own, layout } = way;
    let of = |encoding, layout, image: &[u8], kept| -> Result<Other, RowError> {
        let opened = script
            .options
            .open(image)
            .map_err(|error| RowError::new(Stage::Compile, error.to_string()))?;
        let sizes = opened.sizes();
        let stripped_bytes = (sizes.total() - sizes.lines) as u64;
        Ok(Other { encoding, layout, bytes: sizes.total() as u64, stripped_bytes, image: kept })
    };
    let mut others = vec![of(own, layout, image, None)?];
    if is_ram_short && layout == HeapLayout::Wide {
        others.push(of(own, HeapLayout::Narrow, image, Some(image.to_vec()))?);
    }
    if script.packed.is_some() {
        return Ok(others);
    }
    for &encoding in Encoding::ALL.iter().filter(|&&encoding| encoding != own) {
        let built = build::build(script, encoding).map_err(|wrong| refused(&wrong))?;
        others.push(of(encoding, layout, &built.image, Some(built.image.clone()))?);
    }
    Ok(others)
}
