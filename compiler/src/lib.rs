//! Source text to image in one pass, without a syntax tree.
//!
//! Tokens go through one function per grammar production, which write a draft
//! of the open function into an arena; when the function closes, a sweep turns
//! the draft into final bytes and the arena is let go. Memory grows with
//! nesting, not with length, beyond the image itself and the table of its names.
//!
//! The language is a subset of ECMA-262, all of it strict mode code. What lies
//! outside is refused with a position, a clause and the word *unsupported*; any
//! text whatever ends in an image or in diagnostics.
//!
//! The crate prints nothing, reads no file and asks no time.

#![cfg_attr(not(test), no_std)]

extern crate alloc;

mod arena;
mod assemble;
mod atoms;
mod branches;
mod chooser;
mod classes;
mod close;
mod closed;
mod complaints;
mod declarations;
mod diagnostic;
mod draft;
mod echoes;
mod exits;
mod expressions;
mod function;
mod functions;
mod growth;
mod jumps;
#[cfg(any(feature = "small", test))]
mod letters;
mod lexer;
mod lines;
mod literal;
mod lookahead;
mod loops;
mod narrow;
mod objects;
mod output;
mod parser;
mod patterns;
mod primary;
mod records;
mod reference;
#[cfg(not(feature = "small"))]
mod regular;
mod statements;
mod strip;
mod supers;
mod sweep;
mod templates;
mod token;
mod tries;
mod variables;
#[cfg(any(feature = "small", test))]
mod words;

use alloc::vec::Vec;

use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;
use scruple_bytecode::operand::FunctionId;
use scruple_bytecode::sets::{InstructionSet, SHIPPED};

use arena::Meter;
use parser::Parser;

pub use branches::is_silent;
pub use diagnostic::{Diagnostic, DiagnosticKind, Diagnostics};

/// The longest source, in bytes. Its tokens, names and labels are then surely
/// fewer than an operand can count.
pub const MAX_SOURCE: usize = 1 << 22;

/// How many diagnostics one run gives at most.
pub const MAX_DIAGNOSTICS: usize = 20;

/// What can be chosen of a compilation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// The encoding of the instructions.
    pub encoding: Encoding,
    /// How deep productions may nest; deeper source is refused as past a limit.
    /// Statements, functions, labels, parentheses and prefix operators count one
    /// each; chains such as `a + b + c` and `else if` do not count.
    pub max_nesting: u32,
    /// Whether the image has a line table.
    pub lines: bool,
}

impl Default for Options {
    fn default() -> Self {
        Options { encoding: Encoding::Implied, max_nesting: 256, lines: true }
    }
}

/// A compiled script.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Compiled {
    /// The image.
    pub image: Vec<u8>,
    /// The most bytes that the lists of open functions took at once.
    pub scratch_peak: usize,
    /// The tokens that were read. Those that were looked ahead at are read again when their
    /// turn comes, so there are more than the source has.
    pub tokens_read: usize,
}

/// Compiles a script. Where the encoding has an instruction set, it is the shipped one.
pub fn compile(source: &str, options: &Options) -> Result<Compiled, Diagnostics> {
    compile_with(source, options, &SHIPPED)
}

/// Compiles a script against an instruction set, which only an encoding that has one
/// looks at.
pub fn compile_with(
    source: &str,
    options: &Options,
    set: &InstructionSet<'_>,
) -> Result<Compiled, Diagnostics> {
    compile_noting(source, options, set, false)
}

/// The same with a line table of every place that a statement or an operand begins at, and
/// not only of those where something can fail. It is for who steps through the script: the
/// code is that of [`compile_with`] unless the places of what can fail come to lie in other
/// lines by it and join otherwise, which is to be looked at before it is relied on.
#[cfg(feature = "places")]
pub fn compile_with_places(
    source: &str,
    options: &Options,
    set: &InstructionSet<'_>,
) -> Result<Compiled, Diagnostics> {
    compile_noting(source, options, set, true)
}

fn compile_noting(
    source: &str,
    options: &Options,
    set: &InstructionSet<'_>,
    notes_all: bool,
) -> Result<Compiled, Diagnostics> {
    let meter = Meter::default();
    let image = translate(source, options, set, &meter, notes_all)?;
    debug_assert!(is_safe(&image, set), "the verifier refuses what the compiler made");
    Ok(Compiled { image, scratch_peak: meter.peak(), tokens_read: meter.tokens() })
}

// Out of line, and what it holds is not moved: it all lies under the productions.
#[inline(never)]
fn translate(
    source: &str,
    options: &Options,
    set: &InstructionSet<'_>,
    meter: &Meter,
    notes_all: bool,
) -> Result<Vec<u8>, Diagnostics> {
    if !options.encoding.is_in_build() {
        return Err(Diagnostics::of_limit("the encoding is not in this build"));
    }
    if source.len() > MAX_SOURCE {
        return Err(Diagnostics::of_limit("the source is longer than 4 MiB"));
    }
    let mut parser = Parser::new(source, options, set, meter);
    parser.output.notes_all = notes_all;
    parser.script();
    if let Some(diagnostics) = Diagnostics::new(core::mem::take(&mut parser.diagnostics)) {
        return Err(diagnostics);
    }
    parser.let_go();
    let image = parser.output.assemble(&mut parser.atoms);
    image.map_err(|exceeded| Diagnostics::of_limit(exceeded.0))
}

/// Scratch for the longest function alone: a debug build then measures the compile
/// peak that a release build has, unless most of the script is one long function.
fn is_safe(image: &[u8], set: &InstructionSet<'_>) -> bool {
    let sets = [set];
    let Ok(opened) = Image::open_with(image, &sets) else { return false };
    let lengths = (0..opened.n_functions()).filter_map(|index| {
        let id = FunctionId::new(index)?;
        opened.code_end(id)?.checked_sub(opened.function(id)?.code)
    });
    let mut scratch = alloc::vec![0u16; lengths.max().unwrap_or(0) as usize];
    scruple_bytecode::verify_with(image, &sets, scratch.as_mut_slice()).is_ok()
}
