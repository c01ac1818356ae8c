//! Runs a test's images in a context of its own, and tells how that ended.
//!
//! It refuses to judge: what should have happened is not known here.

use scruple_vm::{Counter, HeapOptions, Layout, LoadError, Options, RunError, StopKind, Vm};

use super::hooks;

/// The program around the machine. The other suites' own: the interpreter is made
/// once for each, and takes a minute to compile.
pub(crate) type Listener = crate::Listener<Counter, false>;

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum End {
    /// At its end.
    Finished,
    /// By an exception.
    Threw {
        /// The name of its constructor.
        constructor: String,
        /// It, as text.
        text: String,
    },
    /// A limit was reached.
    OverBudget(String),
    /// A defect of the machine or of the compiler.
    Defect(String),
}

/// A run that is over.
#[derive(Clone, Debug)]
pub struct Ran {
    /// How it ended.
    pub end: End,
    /// What it asked for that is not there.
    pub lacking: Option<String>,
}

/// What a run may use.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// The region, in slots.
    pub slots: usize,
    /// Instructions, the harness included.
    pub budget: u64,
    /// When it collects.
    pub heap: HeapOptions,
}

/// Runs images one after the other in one fresh context.
pub fn run<L: Layout>(images: &[&[u8]], with_hooks: bool, limits: Limits, probe: &[u8]) -> Ran {
    let functions = hooks::functions::<L>();
    let mut region = vec![L::Slot::default(); limits.slots];
    let Limits { budget, heap, .. } = limits;
    let options = Options { budget, heap, tail_calls: true, ..Options::default() };
    let mut vm: Vm<'_, L, Listener> = Vm::new(&mut region, Listener::default(), options);
    if with_hooks {
        vm.set_host_functions(&functions);
    }
    let end = run_images(&mut vm, images, probe);
    Ran { end, lacking: vm.into_host().lacking }
}

fn run_images<'m, L: Layout>(
    vm: &mut Vm<'m, L, Listener>,
    images: &[&'m [u8]],
    probe: &'m [u8],
) -> End {
    for image in images {
        match vm.load(image) {
            Ok(()) => {}
            // ECMA-262, GlobalDeclarationInstantiation: a SyntaxError, thrown when
            // the script is evaluated.
            Err(error @ LoadError::Redeclared(_)) => {
                let text = format!("SyntaxError: {error}");
                return End::Threw { constructor: "SyntaxError".to_owned(), text };
            }
            Err(error @ (LoadError::NoRoom | LoadError::TooLarge)) => {
                return End::OverBudget(error.to_string());
            }
            Err(LoadError::Verify(error)) if error.is_scratch() => {
                return End::OverBudget(error.to_string());
            }
            Err(error) => return End::Defect(error.to_string()),
        }
        if let Err(error) = vm.run() {
            return ended(vm, &error, probe);
        }
    }
    End::Finished
}

fn ended<'m, L: Layout>(vm: &mut Vm<'m, L, Listener>, error: &RunError, probe: &'m [u8]) -> End {
    match error.stop() {
        None => {
            let thrown = vm.thrown();
            let mut text = String::new();
            // Writing to a String cannot fail.
            let _ = vm.describe(thrown, &mut text);
            let (constructor, probed) = look_at_thrown(vm, probe).unwrap_or_default();
            let text = if probed.is_empty() { text } else { probed };
            let place = error.position().map_or(String::new(), |at| format!("{at}: "));
            End::Threw { constructor, text: format!("{place}{text}") }
        }
        Some(StopKind::Defect) => End::Defect(error.to_string()),
        Some(_) => End::OverBudget(error.to_string()),
    }
}

/// A script that says which constructor made an exception, and ToString of it: the
/// exceptions of the harness are plain objects, of which the machine's own
/// description says little. It throws what it found out as text.
pub const PROBE: &str = "throw $thrown === null || $thrown === undefined \
    ? '|' + $thrown : $thrown.constructor.name + '|' + $thrown;";

fn look_at_thrown<'m, L: Layout>(
    vm: &mut Vm<'m, L, Listener>,
    probe: &'m [u8],
) -> Option<(String, String)> {
    let thrown = vm.thrown();
    vm.set_global("$thrown", thrown).ok()?;
    vm.load(probe).ok()?;
    vm.run().err().filter(RunError::is_exception)?;
    let mut found = String::new();
    let thrown = vm.thrown();
    vm.describe(thrown, &mut found).ok()?;
    let (constructor, text) = found.split_once('|')?;
    Some((constructor.to_owned(), text.to_owned()))
}
