//! Bounds: what the instructions of a corpus could take at the least, by stated
//! models, and what a general compressor makes of them.
//!
//! It owns the streams that are looked at. Every bound is that of the corpus's own
//! frequencies: it says how far an encoding is from the best code *for this corpus*,
//! and leaves the tables out that such a code needs. Order 1 knows the symbol before
//! it; over a small corpus it is nearly as good as having learnt it by heart, and no
//! decoder of a few hundred bytes can reach it. Branches count as so many operations
//! on, or back: a distance in bytes would depend on the encoding. It refuses to call
//! deflate a bound: it is a yardstick that cannot be executed where it lies.

pub mod entropy;

use std::collections::BTreeMap;

use anyhow::{Context, Result, ensure};
use miniz_oxide::deflate::compress_to_vec;
use scruple_bytecode::Encoding;
use scruple_bytecode::InstructionSet;
use scruple_bytecode::image::Image;
use scruple_bytecode::operand::OperandKind;
use serde::{Deserialize, Serialize};

use crate::sets::{self, Sets};
use crate::streams::{Atom, Stream, leads_elsewhere};
use entropy::Frequencies;

/// How hard the compressor tries: the most it can.
const LEVEL: u8 = 10;

/// What the instructions of a corpus could take.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bounds {
    /// Images that were looked at.
    pub scripts: u64,
    /// Operations in them.
    pub operations: u64,
    /// Opcodes, then operands kind by kind.
    pub streams: Vec<StreamBound>,
    /// Each operation with its operand as one symbol. No code that gives each
    /// instruction bits of its own, whatever stands beside it, takes fewer than its
    /// order 0.
    pub whole: StreamBound,
    /// What each encoding takes, and what a compressor leaves of it.
    pub encodings: Vec<EncodingBytes>,
}

/// The bits of a stream by both models, rounded up to whole ones.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StreamBound {
    /// What it is a stream of.
    pub stream: String,
    /// Symbols in it.
    pub symbols: u64,
    /// Different symbols.
    pub distinct: u64,
    /// Each symbol by itself.
    pub order_0_bits: u64,
    /// Each symbol, the one before it known.
    pub order_1_bits: u64,
}

/// What an encoding takes over the corpus, and a compressor of it: each script by
/// itself, added up.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct EncodingBytes {
    /// The encoding's name.
    pub encoding: String,
    /// The instruction set, by name and hash, of an encoding that has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set: Option<String>,
    /// Bytes of instructions.
    pub instruction_bytes: u64,
    /// The same deflated, script by script.
    pub deflated_instruction_bytes: u64,
    /// The same deflated, all scripts in one go.
    pub deflated_together_bytes: u64,
    /// Bytes of the images.
    pub image_bytes: u64,
    /// The same deflated, script by script.
    pub deflated_image_bytes: u64,
}

/// A script's images, one an encoding.
pub type Images = Vec<(Encoding, Vec<u8>)>;

impl Bounds {
    /// Those of a corpus: of each script its images, under the same encodings. Images may
    /// name one of these instruction sets.
    pub fn of(scripts: &[Images], sets: Sets) -> Result<Bounds> {
        let mut counted = Counted::default();
        let mut encodings: Vec<(EncodingBytes, Vec<u8>)> = Vec::new();
        for images in scripts {
            let mut stream: Option<Stream> = None;
            for (index, (encoding, bytes)) in images.iter().enumerate() {
                let image = Image::open_with(bytes, sets).context("an image")?;
                if encodings.len() == index {
                    encodings.push((EncodingBytes::new(*encoding, image.set()), Vec::new()));
                }
                let (entry, together) = &mut encodings[index];
                let is_like =
                    entry.encoding == encoding.name() && entry.set == image.set().map(sets::label);
                ensure!(is_like, "scripts under unlike encodings");
                let code = &image.code()[..image.sizes().instructions];
                entry.add(code, bytes);
                together.extend_from_slice(code);
                // Every encoding has the same stream, and that is checked here.
                let own = Stream::of(&image)?;
                ensure!(
                    stream.as_ref().is_none_or(|first| first.is_like(&own)),
                    "the encodings do not agree on the operations"
                );
                stream = Some(own);
            }
            if let Some(stream) = stream {
                counted.add(&stream);
            }
        }
        let finished = encodings.into_iter().map(|(mut entry, together)| {
            entry.deflated_together_bytes = deflated(&together);
            entry
        });
        Ok(counted.bounds(finished.collect()))
    }

    /// The bits of opcodes and operands together: order 0, order 1.
    pub fn sum_bits(&self) -> (u64, u64) {
        let sum = |read: fn(&StreamBound) -> u64| self.streams.iter().map(read).sum();
        (sum(|stream| stream.order_0_bits), sum(|stream| stream.order_1_bits))
    }
}

impl StreamBound {
    fn new<S: Ord + Copy>(stream: String, frequencies: &Frequencies<S>) -> StreamBound {
        StreamBound {
            stream,
            symbols: frequencies.n_symbols(),
            distinct: frequencies.n_distinct(),
            order_0_bits: frequencies.order_0_bits().ceil() as u64,
            order_1_bits: frequencies.order_1_bits().ceil() as u64,
        }
    }
}

impl EncodingBytes {
    fn new(encoding: Encoding, set: Option<&InstructionSet<'_>>) -> EncodingBytes {
        EncodingBytes {
            encoding: encoding.name().to_owned(),
            set: set.map(sets::label),
            instruction_bytes: 0,
            deflated_instruction_bytes: 0,
            deflated_together_bytes: 0,
            image_bytes: 0,
            deflated_image_bytes: 0,
        }
    }

    fn add(&mut self, code: &[u8], image: &[u8]) {
        self.instruction_bytes += code.len() as u64;
        self.deflated_instruction_bytes += deflated(code);
        self.image_bytes += image.len() as u64;
        self.deflated_image_bytes += deflated(image);
    }
}

/// Bytes of a raw deflate stream (RFC 1951): neither header nor checksum.
fn deflated(bytes: &[u8]) -> u64 {
    compress_to_vec(bytes, LEVEL).len() as u64
}

/// The frequencies of a corpus.
#[derive(Default)]
struct Counted {
    n_scripts: u64,
    opcodes: Frequencies<u8>,
    operands: BTreeMap<&'static str, Frequencies<i32>>,
    whole: Frequencies<(u8, i32)>,
}

impl Counted {
    fn add(&mut self, stream: &Stream) {
        self.n_scripts += 1;
        for atoms in &stream.functions {
            let relative: Vec<(u8, i32)> =
                atoms.iter().enumerate().map(|(at, atom)| symbol(at, atom)).collect();
            self.opcodes.add(relative.iter().map(|&(opcode, _)| opcode));
            self.whole.add(relative.iter().copied());
            let mut by_kind: BTreeMap<&'static str, Vec<i32>> = BTreeMap::new();
            for (atom, &(_, operand)) in atoms.iter().zip(&relative) {
                if let Some(kind) = kind_name(atom.op.info().operand) {
                    by_kind.entry(kind).or_default().push(operand);
                }
            }
            for (kind, run) in by_kind {
                self.operands.entry(kind).or_default().add(run);
            }
        }
    }

    fn bounds(self, encodings: Vec<EncodingBytes>) -> Bounds {
        let mut streams = vec![StreamBound::new("opcodes".to_owned(), &self.opcodes)];
        for (kind, frequencies) in &self.operands {
            streams.push(StreamBound::new(format!("operands: {kind}"), frequencies));
        }
        Bounds {
            scripts: self.n_scripts,
            operations: self.opcodes.n_symbols(),
            streams,
            whole: StreamBound::new("operations with operand".to_owned(), &self.whole),
            encodings,
        }
    }
}

/// An operation as a symbol: a branch by how many operations on it leads.
fn symbol(at: usize, atom: &Atom) -> (u8, i32) {
    let operand = if leads_elsewhere(atom.op) {
        atom.operand - i32::try_from(at + 1).unwrap_or(i32::MAX)
    } else {
        atom.operand
    };
    (atom.op as u8, operand)
}

/// What people call a kind of operand; nothing where there is no operand.
pub fn kind_name(kind: OperandKind) -> Option<&'static str> {
    Some(match kind {
        OperandKind::None => return None,
        OperandKind::Slot => "slots",
        OperandKind::FreeId => "free variables",
        OperandKind::GlobalId => "globals",
        OperandKind::ConstId => "constants",
        OperandKind::FieldId => "fields",
        OperandKind::FunctionId => "functions",
        OperandKind::Count => "counts",
        OperandKind::Argc => "arguments",
        OperandKind::Int => "integers",
        OperandKind::Displacement => "distances",
    })
}

#[cfg(test)]
mod tests {
    use scruple_bytecode::sets::SHIPPED_SETS;

    use super::*;
    use crate::build;

    fn images(source: &str) -> Images {
        let build = |&encoding| (encoding, build::compile(source, encoding, true).unwrap().image);
        Encoding::ALL.iter().map(build).collect()
    }

    // From the definition: no code that takes operations one by one is below the order 0
    // of the pairs (Shannon 1948, theorem 9, from memory); encodings without a set
    // of composites are such codes.
    #[test]
    fn no_encoding_of_single_operations_is_below_order_0_of_the_whole() {
        let source = "let a = [3, 1, 2];
            function f(x, y) { return x < y ? x + 1 : f(y, x - y) * 2; }
            for (let i = 0; i < 9; i++) { a[i % 3] += f(i, 3); if (a[0] > 99) break; }
            console.log(a.join(','), f(1, 2), f(2, 3), f(3, 4));";
        let bounds = Bounds::of(&[images(source)], SHIPPED_SETS).unwrap();
        let least = bounds.whole.order_0_bits.div_ceil(8);
        let is_single = |entry: &&EncodingBytes| {
            Encoding::from_name(&entry.encoding).is_some_and(|encoding| !encoding.has_set())
        };
        for entry in bounds.encodings.iter().filter(is_single) {
            assert!(entry.instruction_bytes >= least, "{}: {least}", entry.encoding);
        }
        let (order_0, order_1) = bounds.sum_bits();
        assert!(bounds.whole.order_0_bits <= order_0, "told apart takes no less than together");
        assert!(order_1 < order_0);
        let symbols: u64 = bounds.streams[1..].iter().map(|stream| stream.symbols).sum();
        assert_eq!(bounds.streams[0].symbols, bounds.operations);
        assert!(symbols < bounds.operations, "some operations have no operand");
    }

    // RFC 1951 by its own library: what was deflated comes back.
    #[test]
    fn what_is_deflated_comes_back() {
        let (_, image) = &images("console.log(1, 1, 1, 1, 1, 1);")[1];
        let packed = compress_to_vec(image, LEVEL);
        assert_eq!(miniz_oxide::inflate::decompress_to_vec(&packed).unwrap(), *image);
        assert_eq!(deflated(image), packed.len() as u64);
    }

    #[test]
    fn a_corpus_is_one_stream_of_symbols_and_its_scripts_are_deflated_apart() {
        let one = images("console.log([1, 2, 3].map(x => x * x).join());");
        let bounds = Bounds::of(std::slice::from_ref(&one), SHIPPED_SETS).unwrap();
        let twice = Bounds::of(&[one.clone(), one], SHIPPED_SETS).unwrap();
        assert_eq!(twice.operations, 2 * bounds.operations);
        assert_eq!(twice.whole.distinct, bounds.whole.distinct);
        for (both, single) in twice.encodings.iter().zip(&bounds.encodings) {
            let apart = single.deflated_instruction_bytes;
            assert_eq!(both.deflated_instruction_bytes, 2 * apart);
            assert!(both.deflated_together_bytes < 2 * apart);
        }
    }
}
