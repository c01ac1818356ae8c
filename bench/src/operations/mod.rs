//! The table of operations as a reference, and how often scripts use each one: in the
//! code, in bytes, and carried out.
//!
//! It owns the sums. What an operation is, the one table in `vm/bytecode` says. It refuses
//! encodings that have an instruction set: there an instruction is several operations, and
//! has no bytes of one alone.

pub mod document;

use std::collections::BTreeMap;

use anyhow::{Context, Result, anyhow, ensure};
use rayon::prelude::*;
use scruple_bytecode::encoding::Encoded;
use scruple_bytecode::image::Image;
use scruple_bytecode::operand::{FunctionId, MAX_SIGNED, MAX_UNSIGNED, MIN_SIGNED, OperandKind};
use scruple_bytecode::ops::Flow;
use scruple_bytecode::{Encoding, Op};

use crate::build::{self, STACK_BYTES};
use crate::compose::profile::profile;
use crate::document::Lab;
use crate::measure;
use crate::script::{Candidate, Script};
use crate::sweep::document::LeftOut;
use document::{Document, OperandUses, Operation, OtherUses, SCHEMA, Spelling, Uses};

/// How many operands of an operation are told one by one.
const SHOWN: usize = 8;

/// Operands up to here are tried to find the shortest spelling of an operation.
const TRIED: i32 = 1 << 10;

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Wish {
    /// The encoding whose bytes are counted.
    pub encoding: Encoding,
    /// The operations; all if there are none.
    pub only: Vec<Op>,
    /// Whether the scripts are run, to count what is carried out.
    pub runs: bool,
}

/// The table, and how these scripts use it. `done` is called after each script.
pub fn operations(
    candidates: &[Candidate],
    wish: &Wish,
    done: &(dyn Fn() + Sync),
) -> Result<Document> {
    ensure!(
        !wish.encoding.has_set(),
        "{}: an instruction is several operations there",
        wish.encoding.name()
    );
    let read = |candidate: &Candidate| {
        let counted = match &candidate.script {
            Ok(script) => count(script, wish),
            Err(error) => Err(anyhow!("{}", error.reason())),
        };
        done();
        let script = candidate.name.clone();
        counted.map_err(|error| LeftOut { script, reason: format!("{error:#}") })
    };
    // Scripts need more stack than a pool's threads have by default.
    let pool = rayon::ThreadPoolBuilder::new().stack_size(STACK_BYTES).build()?;
    let all: Vec<Result<Counts, LeftOut>> =
        pool.install(|| candidates.par_iter().map(read).collect());
    let (mut counts, mut scripts, mut left_out) = (Counts::new(), 0, Vec::new());
    for one in all {
        match one {
            Ok(own) => {
                scripts += 1;
                for (key, uses) in own {
                    let sum = counts.entry(key).or_insert(nothing(wish.runs));
                    *sum = sum.plus(uses);
                }
            }
            Err(out) => left_out.push(out),
        }
    }
    let added = |script: &&Script| left_out.iter().all(|out| out.script != script.name);
    let read = candidates.iter().filter_map(|candidate| candidate.script.as_ref().ok());
    let unchecked = read.filter(added).filter(|script| script.expected.is_none()).count();
    let is_wanted = |op: &&Op| wish.only.is_empty() || wish.only.contains(op);
    let of_op = |&op: &Op| {
        let own: Vec<(i32, Uses)> = counts
            .range((op as u8, i32::MIN)..=(op as u8, i32::MAX))
            .map(|(&(_, operand), &uses)| (operand, uses))
            .collect();
        row(op, &own, (scripts > 0).then_some(wish.runs))
    };
    let sum = counts.values().fold(nothing(wish.runs), |sum, &uses| sum.plus(uses));
    Ok(Document {
        schema: SCHEMA,
        lab: Lab::here(),
        encoding: wish.encoding.name().to_owned(),
        scripts,
        unchecked: if wish.runs { unchecked as u64 } else { 0 },
        sum: (scripts > 0).then_some(sum),
        left_out,
        operations: Op::ALL.iter().filter(is_wanted).map(of_op).collect(),
    })
}

/// By operation and operand.
type Counts = BTreeMap<(u8, i32), Uses>;

fn nothing(runs: bool) -> Uses {
    Uses { carried_out: runs.then_some(0), ..Uses::default() }
}

fn count(script: &Script, wish: &Wish) -> Result<Counts> {
    let profile = profile(script, wish.runs)?;
    let built = build::compile(&script.text, wish.encoding, true);
    let built = built.map_err(|wrong| anyhow!(measure::refused(&wrong).describe()))?;
    let image = Image::open(&built.image).context("the compiler's image")?;
    let mut counts = Counts::new();
    let functions = profile.stream.functions.iter().zip(&profile.counts);
    for (index, (atoms, carried_out)) in functions.enumerate() {
        let lengths = lengths(&image, index)?;
        ensure!(lengths.len() == atoms.len(), "operations that hang on the encoding");
        for ((atom, &times), bytes) in atoms.iter().zip(carried_out).zip(lengths) {
            let uses = Uses { in_code: 1, bytes, carried_out: wish.runs.then_some(times) };
            let sum = counts.entry((atom.op as u8, atom.operand)).or_insert(nothing(wish.runs));
            *sum = sum.plus(uses);
        }
    }
    let bytes: u64 = counts.values().map(|uses| uses.bytes).sum();
    ensure!(bytes == image.sizes().instructions as u64, "instruction bytes that do not add up");
    Ok(counts)
}

/// Bytes of each instruction of a function.
fn lengths(image: &Image<'_>, index: usize) -> Result<Vec<u64>> {
    let id = FunctionId::new(index).context("a function too many")?;
    let function = image.function(id).context("a function without a record")?;
    let end = image.code_end(id).context("a function without an end")? as usize;
    let code = image.walk(function.code as usize).take_while(|&(at, _)| at < end);
    Ok(code.map(|(at, instruction)| (instruction.next - at) as u64).collect())
}

fn row(op: Op, uses: &[(i32, Uses)], runs: Option<bool>) -> Operation {
    let (info, text) = (op.info(), op.text());
    let sum = runs.map(|runs| uses.iter().fold(nothing(runs), |sum, (_, own)| sum.plus(*own)));
    let flow = match info.flow {
        Flow::Next => "next",
        Flow::Jump => "jump",
        Flow::Branch(_) => "branch",
        Flow::Stop => "stop",
    };
    let (mut commonest, mut others) = (Vec::new(), None);
    // A label's operand is here the number of an operation, and in the code a distance.
    if !matches!(info.operand, OperandKind::None | OperandKind::Displacement) {
        let mut sorted = uses.to_vec();
        sorted.sort_by_key(|&(operand, uses)| (std::cmp::Reverse(uses.in_code), operand));
        let rest = sorted.split_off(sorted.len().min(SHOWN));
        let shown = sorted.into_iter();
        commonest = shown
            .map(|(operand, uses)| OperandUses { operand: i64::from(operand), uses })
            .collect();
        if let Some(uses) = rest.iter().map(|&(_, uses)| uses).reduce(Uses::plus) {
            others = Some(OtherUses { operands: rest.len() as u64, uses });
        }
    }
    Operation {
        number: op as u64,
        name: text.mnemonic.to_owned(),
        operand: operand_text(info.operand).map(str::to_owned),
        effect: text.picture.to_owned(),
        flow: flow.to_owned(),
        does: text.doc.trim().to_owned(),
        bytes: spellings(op),
        uses: sum,
        commonest,
        others,
    }
}

/// What an operand is, in words.
pub fn operand_text(kind: OperandKind) -> Option<&'static str> {
    match kind {
        OperandKind::None => None,
        OperandKind::Slot => Some("slot"),
        OperandKind::FreeId => Some("free variable"),
        OperandKind::GlobalId => Some("global"),
        OperandKind::ConstId => Some("constant"),
        OperandKind::FieldId => Some("field"),
        OperandKind::FunctionId => Some("function"),
        OperandKind::Count => Some("count"),
        OperandKind::Argc => Some("arguments"),
        OperandKind::Int => Some("integer"),
        OperandKind::Displacement => Some("label"),
    }
}

/// An operation's bytes under the encodings that have no instruction set.
fn spellings(op: Op) -> Vec<Spelling> {
    let plain = Encoding::ALL.iter().filter(|encoding| !encoding.has_set());
    plain.filter_map(|&encoding| spelling(op, encoding)).collect()
}

fn spelling(op: Op, encoding: Encoding) -> Option<Spelling> {
    let (least, most) = match op.info().operand {
        OperandKind::None => (0, 0),
        kind if kind.is_signed() => (MIN_SIGNED, MAX_SIGNED),
        _ => (0, MAX_UNSIGNED as i32),
    };
    let small = least.max(-TRIED)..=most.min(TRIED);
    let tried = small.chain([least, most]);
    let lengths: Vec<usize> = tried
        .filter_map(|operand| encoding.encode(op, operand))
        .map(|encoded: Encoded| encoded.as_slice().len())
        .collect();
    let of_zero = encoding.encode(op, 0)?;
    let hex: Vec<String> = of_zero.as_slice().iter().map(|byte| format!("{byte:02x}")).collect();
    Some(Spelling {
        encoding: encoding.name().to_owned(),
        least: *lengths.iter().min()? as u64,
        most: *lengths.iter().max()? as u64,
        of_zero: hex.join(" "),
    })
}
