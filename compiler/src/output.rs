//! What outlives a function's close: its code, its row of the function table,
//! its free variables, and the globals. `assemble` makes the image of them.
//!
//! It refuses to know drafts and scopes: it is given final bytes, and free
//! variables that say where their maker has them.

use alloc::boxed::Box;
use alloc::vec::Vec;

use scruple_bytecode::Encoding;
use scruple_bytecode::image::{CAPTURE_FREE, GlobalKind};
use scruple_bytecode::sets::InstructionSet;

use crate::atoms::{Atom, Atoms};
use crate::chooser::Chooser;
use crate::echoes::Stretches;
use crate::lines::{LineTable, write_leb};
use crate::narrow;

/// Where a free variable of a function comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    /// A record of the function that is open around it.
    Pending(u32),
    /// A slot of the function that makes the closure.
    Slot(u32),
    /// A free variable of that function.
    Outer(u32),
    /// A global.
    Global(u32),
}

/// A free variable of a function.
#[derive(Clone, Copy)]
pub(crate) struct FreeRow {
    pub(crate) atom: Atom,
    pub(crate) source: Source,
    /// Offset of the first assignment to it plus one, or 0.
    pub(crate) written: u32,
    /// Whether the code takes it for a constant.
    pub(crate) seems_const: bool,
}

/// A closed function.
#[derive(Clone, Copy, Default)]
pub(crate) struct FunctionRow {
    pub(crate) code: u32,
    pub(crate) n_params: u8,
    pub(crate) flags: u8,
    pub(crate) n_slots: u16,
    pub(crate) depth: u16,
    pub(crate) n_free: u16,
    /// Its first row among the free variables.
    pub(crate) first_free: u32,
    pub(crate) name: Option<Atom>,
    pub(crate) length: u32,
    /// The number of the function around it; that of the script is not known
    /// before the end and stands as `u32::MAX`.
    pub(crate) parent: u32,
    /// The function closed before it in the same parent, plus one, or 0.
    pub(crate) sibling: u32,
    /// Its first byte among the guard bytes, and the number of its guards.
    pub(crate) first_guard: u32,
    pub(crate) n_guards: u32,
}

/// A global.
#[derive(Clone, Copy)]
pub(crate) struct GlobalRow {
    pub(crate) atom: Atom,
    pub(crate) kind: GlobalKind,
    /// The function a declaration gives it, plus one, or 0; and where.
    pub(crate) function: u32,
}

/// All that outlives functions.
pub(crate) struct Output<'s> {
    pub(crate) encoding: Encoding,
    /// What chooses composites, if the encoding has any.
    pub(crate) chooser: Option<Box<Chooser<'s>>>,
    /// The code so far by what begins where, if instructions may be carried out again.
    pub(crate) echoes: Option<Box<Stretches>>,
    pub(crate) has_lines: bool,
    /// Code of the closed functions, and of the script's statements so far.
    pub(crate) code: Vec<u8>,
    pub(crate) script_code: Vec<u8>,
    pub(crate) lines: LineTable,
    pub(crate) script_lines: LineTable,
    pub(crate) functions: Vec<FunctionRow>,
    pub(crate) frees: Vec<FreeRow>,
    pub(crate) guard_bytes: Vec<u8>,
    pub(crate) script_guards: Vec<[u32; 3]>,
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
        Output {
            encoding,
            chooser: encoding.has_set().then(|| Chooser::new(set, encoding)),
            echoes: (encoding == Encoding::Echo).then(Box::default),
            has_lines,
            code: Vec::new(),
            script_code: Vec::new(),
            lines: LineTable::default(),
            script_lines: LineTable::default(),
            functions: Vec::new(),
            frees: Vec::new(),
            guard_bytes: Vec::new(),
            script_guards: Vec::new(),
            script_slots: 0,
            script_depth: 0,
            globals: Vec::new(),
            n_templates: 0,
        }
    }

    /// The number of the global of this name; its first use gives it one.
    pub(crate) fn global(&mut self, atoms: &mut Atoms, atom: Atom) -> u32 {
        if let Some(global) = atoms.global(atom) {
            return global;
        }
        let global = narrow::to_u32(self.globals.len());
        self.globals.push(GlobalRow { atom, kind: GlobalKind::Undeclared, function: 0 });
        atoms.set_global(atom, global);
        // The image names its globals by constants.
        atoms.constant(atom);
        global
    }

    /// Appends the guards of a function and returns where they begin.
    pub(crate) fn add_guards(&mut self, guards: &[[u32; 3]]) -> u32 {
        let first = narrow::to_u32(self.guard_bytes.len());
        for &[start, end, handler] in guards {
            write_leb(&mut self.guard_bytes, start);
            write_leb(&mut self.guard_bytes, end - start);
            write_leb(&mut self.guard_bytes, handler);
        }
        first
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
