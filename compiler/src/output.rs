//! What outlives a function's close: its code, what `closed` keeps of it, and the
//! globals. `assemble` makes the image of them.
//!
//! It refuses to know drafts and scopes: it is given final bytes.

use alloc::boxed::Box;
use alloc::vec::Vec;

use scruple_bytecode::Encoding;
use scruple_bytecode::image::{CAPTURE_FREE, GlobalKind};
use scruple_bytecode::sets::InstructionSet;

use crate::atoms::{Atom, Atoms};
use crate::chooser::Chooser;
use crate::closed::{Functions, three};
use crate::echoes::Stretches;
use crate::growth;
use crate::lines::LineTable;
use crate::narrow;
use crate::strip::Strip;

/// A global.
#[derive(Clone, Copy)]
pub(crate) struct GlobalRow {
    /// The constant that names it.
    pub(crate) constant: u32,
    pub(crate) kind: GlobalKind,
    /// The function a declaration gives it, plus one, or 0.
    function: [u8; 3],
}

impl GlobalRow {
    /// The function that a declaration gives it.
    pub(crate) fn function(self) -> Option<u32> {
        let [a, b, c] = self.function;
        u32::from_le_bytes([a, b, c, 0]).checked_sub(1)
    }

    pub(crate) fn set_function(&mut self, function: u32) {
        self.function = three(function + 1);
    }
}

/// All that outlives functions.
pub(crate) struct Output<'s> {
    pub(crate) encoding: Encoding,
    /// What chooses composites, if the encoding has any.
    pub(crate) chooser: Option<Box<Chooser<'s>>>,
    /// The code so far by what begins where, if instructions may be carried out again.
    pub(crate) echoes: Option<Box<Stretches>>,
    pub(crate) has_lines: bool,
    /// Whether the line table is to have every place: see [`Output::notes_all`].
    pub(crate) notes_all: bool,
    /// Code of the closed functions, and of the script's statements so far.
    pub(crate) code: Strip,
    pub(crate) script_code: Strip,
    pub(crate) lines: LineTable,
    pub(crate) script_lines: LineTable,
    pub(crate) functions: Functions,
    /// Start, length and handler of each guard of the script, and how many.
    pub(crate) script_guards: Strip,
    pub(crate) n_script_guards: u32,
    pub(crate) script_slots: u32,
    pub(crate) script_depth: u32,
    pub(crate) globals: Vec<GlobalRow>,
    /// Tagged templates so far.
    pub(crate) n_templates: u32,
}

/// The image would not hold what the source needs.
#[derive(Debug)]
pub(crate) struct Exceeded(pub(crate) &'static str);

impl<'s> Output<'s> {
    pub(crate) fn new(encoding: Encoding, set: &'s InstructionSet<'s>, has_lines: bool) -> Self {
        // What an echo refers to is looked at.
        let code = || if encoding.has_echoes() { Strip::whole() } else { Strip::default() };
        Output {
            encoding,
            chooser: encoding.has_set().then(|| Chooser::new(set, encoding)),
            echoes: encoding.has_echoes().then(Box::default),
            has_lines,
            notes_all: false,
            code: code(),
            script_code: code(),
            lines: LineTable::default(),
            script_lines: LineTable::default(),
            functions: Functions::default(),
            script_guards: Strip::default(),
            n_script_guards: 0,
            script_slots: 0,
            script_depth: 0,
            globals: Vec::new(),
            n_templates: 0,
        }
    }

    /// Whether the line table is to have every place, also of what cannot fail.
    #[inline(always)]
    pub(crate) fn notes_all(&self) -> bool {
        cfg!(feature = "places") && self.notes_all
    }

    /// The number of the global of this name; its first use gives it one.
    pub(crate) fn global(&mut self, atoms: &mut Atoms, atom: Atom) -> u32 {
        if let Some(global) = atoms.global(atom) {
            return global;
        }
        let global = narrow::to_u32(self.globals.len());
        atoms.set_global(atom, global);
        let constant = atoms.constant(atom);
        let row = GlobalRow { constant, kind: GlobalKind::Undeclared, function: [0; 3] };
        growth::push(&mut self.globals, row);
        global
    }
}

/// The number of slots as the record holds it. A capture source names a slot in
/// 15 bits.
pub(crate) fn limited_slots(n: u32) -> Result<u16, Exceeded> {
    let slots = u16::try_from(n).ok().filter(|&n| n <= CAPTURE_FREE);
    slots.ok_or(Exceeded("more than 32768 variables in one function"))
}

/// The depth as the record holds it and the verifier takes it.
pub(crate) fn limited_depth(n: u32) -> Result<u16, Exceeded> {
    let depth = u16::try_from(n).ok().filter(|&n| n < 0x7ffe);
    depth.ok_or(Exceeded("more than 32765 values on the operand stack at once"))
}
