//! Compiling for a run: the image, and the most memory the compiler held; of a
//! packed script the image as it is.
//!
//! It owns the limits that make any source safe to compile here: a stack deep
//! enough for the nesting that is allowed. It refuses to read files.

use scruple_bytecode::Encoding;
use scruple_bytecode::InstructionSet;
use scruple_bytecode::image::Image;
use scruple_bytecode::sets::SHIPPED;
use scruple_compiler::{Compiled, Diagnostics, Options};

use crate::allocator;
use crate::script::Script;

/// How deep a source may nest. Past it the compiler says so; the stack of
/// [`on_large_stack`] is far larger than this takes.
pub const MAX_NESTING: u32 = 1000;

/// The stack of every thread that compiles or runs a script, in bytes.
pub const STACK_BYTES: usize = 64 << 20;

/// A compiled script.
#[derive(Debug, Clone)]
pub struct Built {
    /// The image.
    pub image: Vec<u8>,
    /// Bytes the compiler surely asked for at once, by what it reports itself: those of
    /// the image, or of the lists of open functions where they are more. The two do not
    /// lie side by side. Nothing where the script came packed.
    pub asked: Option<usize>,
    /// Most bytes it had from the allocator at once, if they are counted: names, code
    /// and all that grows ahead of what is in it included.
    pub reserved: Option<usize>,
}

/// The image of a script: compiled, or as it lies in the file.
pub fn build(script: &Script, encoding: Encoding) -> Result<Built, Diagnostics> {
    match &script.packed {
        Some(packed) => Ok(Built { image: packed.image.clone(), asked: None, reserved: None }),
        None => {
            let [set, ..] = script.options.sets() else {
                return compile(&script.text, encoding, true);
            };
            compile_with(&script.text, encoding, set, true)
        }
    }
}

/// Compiles a source, with a line table or without. An instruction set, where the
/// encoding has one, is the shipped one.
pub fn compile(source: &str, encoding: Encoding, lines: bool) -> Result<Built, Diagnostics> {
    compile_with(source, encoding, &SHIPPED, lines)
}

/// Compiles a source against an instruction set.
pub fn compile_with(
    source: &str,
    encoding: Encoding,
    set: &InstructionSet<'_>,
    lines: bool,
) -> Result<Built, Diagnostics> {
    let options = Options { encoding, max_nesting: MAX_NESTING, lines };
    let (compiled, reserved) =
        allocator::peak_during(|| scruple_compiler::compile_with(source, &options, set));
    let Compiled { image, scratch_peak, .. } = compiled?;
    let asked = scratch_peak.max(image.len());
    Ok(Built { image, asked: Some(asked), reserved })
}

/// An image with the code of this one, and a line table of every place that a statement or an
/// operand begins at: only what can fail is in the usual one. Nothing where the script came
/// packed, and where the code would be another one.
pub fn with_every_place(script: &Script, built: &Built, encoding: Encoding) -> Option<Vec<u8>> {
    let options = Options { encoding, max_nesting: MAX_NESTING, lines: true };
    let sets = script.options.sets();
    let set = sets.first().copied().unwrap_or(&SHIPPED);
    if script.packed.is_some() {
        return None;
    }
    let dense = scruple_compiler::compile_with_places(&script.text, &options, set).ok()?.image;
    let is_same = {
        let own = Image::open_with(&built.image, sets).ok()?;
        let dense = Image::open_with(&dense, sets).ok()?;
        own.code() == dense.code() && own.records() == dense.records()
    };
    is_same.then_some(dense)
}

/// Does some work on a thread with a large stack, and waits for it.
pub fn on_large_stack<T: Send>(work: impl FnOnce() -> T + Send) -> std::io::Result<T> {
    std::thread::scope(|scope| {
        let thread = std::thread::Builder::new().stack_size(STACK_BYTES);
        match thread.spawn_scoped(scope, work)?.join() {
            Ok(result) => Ok(result),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}
