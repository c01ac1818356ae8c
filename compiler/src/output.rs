//! What outlives a function's close: its code, its row of the function table,
//! its free variables, and the globals. `assemble` makes the image of them.
//!
//! It refuses to know drafts and scopes: it is given final bytes, and free
//! variables that say where their maker has them.

use alloc::boxed::Box;
use alloc::vec::Vec;

use scruple_bytecode::Encoding;
use scruple_bytecode::image::{CAPTURE_FREE, FUNCTION_RECORD_LEN, GlobalKind, record};
use scruple_bytecode::sets::InstructionSet;

use crate::atoms::{Atom, Atoms};
use crate::chooser::Chooser;
use crate::draft::VarId;
use crate::echoes::Stretches;
use crate::growth;
use crate::lines::LineTable;
use crate::narrow;
use crate::strip::{Sink, Strip};

/// Where a free variable of a closed function comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    /// A slot of the function that makes the closure.
    Slot(u32),
    /// A free variable of that function.
    Outer(u32),
    /// A global.
    Global(u32),
}

/// How many bytes a source takes among the lists. A number that does not fit is told
/// when the image is made: 15 bits are all that it has.
pub(crate) const SOURCE_LEN: usize = 3;

impl Source {
    fn pack(self) -> [u8; SOURCE_LEN] {
        let (tag, number) = match self {
            Source::Slot(number) => (0, number),
            Source::Outer(number) => (1, number),
            Source::Global(number) => (2, number),
        };
        let [low, high] = u16::try_from(number).unwrap_or(u16::MAX).to_le_bytes();
        [tag, low, high]
    }

    pub(crate) fn unpack([tag, low, high]: [u8; SOURCE_LEN]) -> Source {
        let number = u16::from_le_bytes([low, high]).into();
        match tag {
            0 => Source::Slot(number),
            1 => Source::Outer(number),
            _ => Source::Global(number),
        }
    }
}

/// A free variable of a function whose parent is open.
#[derive(Clone, Copy, Default)]
pub(crate) struct FreeRow {
    pub(crate) atom: Atom,
    /// The parent's record.
    pub(crate) var: VarId,
    /// Offset of the first assignment to it plus one, or 0; above it, whether the code
    /// takes it for a constant.
    written: u32,
}

const CONST_BIT: u32 = 1 << 31;

impl FreeRow {
    pub(crate) fn new(atom: Atom, var: VarId, written: u32, seems_const: bool) -> FreeRow {
        FreeRow { atom, var, written: written | if seems_const { CONST_BIT } else { 0 } }
    }

    pub(crate) fn written(self) -> u32 {
        self.written & !CONST_BIT
    }

    pub(crate) fn seems_const(self) -> bool {
        self.written & CONST_BIT != 0
    }

    /// What is assigned in a function inside is assigned here, unless it was before.
    pub(crate) fn note_write(&mut self, inner: FreeRow) {
        if self.written() == 0 && inner.written() > 0 {
            self.written = inner.written;
        }
    }
}

/// A closed function, but for its name and its free variables.
#[derive(Clone, Copy, Default)]
pub(crate) struct FunctionRow<'g> {
    pub(crate) code: u32,
    pub(crate) n_params: u8,
    pub(crate) flags: u8,
    pub(crate) n_slots: u16,
    pub(crate) depth: u16,
    pub(crate) n_free: u16,
    pub(crate) length: u32,
    /// Start, end and handler of each guard.
    pub(crate) guards: &'g [[u32; 3]],
}

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

/// The functions closed so far, about as the image has them.
#[derive(Default)]
pub(crate) struct Functions {
    /// The records of the image, but that each tells where the lists of the function
    /// begin here.
    pub(crate) records: Strip,
    /// Of each function in a row: the atom of its name plus one, in three bytes; the
    /// sources of its free variables; then, as the image has it, its length, how many
    /// guards it has, and these.
    pub(crate) lists: Strip,
    /// Functions of the present statement of the script that take free variables of
    /// another one, and that one, by its number.
    chains: Vec<[u32; 2]>,
}

impl Functions {
    pub(crate) fn len(&self) -> u32 {
        narrow::to_u32(self.records.len() / FUNCTION_RECORD_LEN)
    }

    /// Appends a function.
    pub(crate) fn add(&mut self, row: FunctionRow<'_>) -> u32 {
        let id = self.len();
        let mut bytes = [0; FUNCTION_RECORD_LEN];
        bytes[record::AT_CODE..][..3].copy_from_slice(&three(row.code));
        bytes[record::AT_LISTS..][..3].copy_from_slice(&three(narrow::to_u32(self.lists.len())));
        bytes[record::AT_PARAMS] = row.n_params;
        bytes[record::AT_FLAGS] = row.flags;
        for (at, value) in [
            (record::AT_SLOTS, row.n_slots),
            (record::AT_DEPTH, row.depth),
            (record::AT_FREE, row.n_free),
        ] {
            bytes[at..at + 2].copy_from_slice(&value.to_le_bytes());
        }
        self.records.put(&bytes);
        self.lists.put(&[0; NAME_LEN]);
        for _ in 0..row.n_free {
            // Where it comes from shows when the function around closes.
            self.lists.put(&Source::Slot(0).pack());
        }
        self.lists.leb(row.length);
        self.lists.leb(narrow::to_u32(row.guards.len()));
        for &[start, end, handler] in row.guards {
            self.lists.leb(start);
            self.lists.leb(end - start);
            self.lists.leb(handler);
        }
        id
    }

    /// Its place among the records; nothing if there is no such function.
    fn record(&self, id: u32) -> Option<usize> {
        (id < self.len()).then_some(id as usize * FUNCTION_RECORD_LEN)
    }

    pub(crate) fn n_params(&self, id: u32) -> Option<u8> {
        Some(self.records.get(self.record(id)? + record::AT_PARAMS))
    }

    pub(crate) fn flags(&self, id: u32) -> Option<u8> {
        Some(self.records.get(self.record(id)? + record::AT_FLAGS))
    }

    pub(crate) fn add_flags(&mut self, id: u32, flags: u8) {
        if let Some(at) = self.record(id) {
            let flags = self.records.get(at + record::AT_FLAGS) | flags;
            self.records.set(at + record::AT_FLAGS, &[flags]);
        }
    }

    pub(crate) fn n_free(&self, id: u32) -> u32 {
        self.record(id).map_or(0, |at| self.records.get_u16(at + record::AT_FREE).into())
    }

    pub(crate) fn set_name(&mut self, id: u32, name: Option<Atom>) {
        if let Some(at) = self.record(id) {
            let at = self.records.get_u24(at + record::AT_LISTS) as usize;
            self.lists.set(at, &three(name.map_or(0, |name| name.number() + 1)));
        }
    }

    fn place_of_source(&self, id: u32, free: u32) -> usize {
        let lists = self.record(id).map_or(0, |at| self.records.get_u24(at + record::AT_LISTS));
        lists as usize + NAME_LEN + free as usize * SOURCE_LEN
    }

    fn source(&self, id: u32, free: u32) -> Source {
        let at = self.place_of_source(id, free);
        Source::unpack([0, 1, 2].map(|byte| self.lists.get(at + byte)))
    }

    pub(crate) fn set_source(&mut self, id: u32, free: u32, source: Source) {
        let at = self.place_of_source(id, free);
        self.lists.set(at, &source.pack());
    }

    /// The function has free variables of its parent for its own: whether those are
    /// globals shows when the script's statement closes.
    pub(crate) fn add_chain(&mut self, id: u32, parent: u32) {
        growth::push(&mut self.chains, [id, parent]);
    }

    /// A free variable that comes from one of the function around is a global if that
    /// one is. A function closes behind those inside it, so one pass from the end
    /// settles every chain.
    pub(crate) fn settle_chains(&mut self) {
        for [id, parent] in core::mem::take(&mut self.chains).into_iter().rev() {
            for free in 0..self.n_free(id) {
                if let Source::Outer(outer) = self.source(id, free)
                    && let source @ Source::Global(_) = self.source(parent, outer)
                {
                    self.set_source(id, free, source);
                }
            }
        }
    }
}

/// How many bytes a name takes among the lists.
pub(crate) const NAME_LEN: usize = 3;

/// The three low bytes.
pub(crate) fn three(n: u32) -> [u8; 3] {
    let [a, b, c, _] = n.to_le_bytes();
    [a, b, c]
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
        let code = || match encoding {
            // What an echo refers to is looked at.
            Encoding::Echo => Strip::whole(),
            _ => Strip::default(),
        };
        Output {
            encoding,
            chooser: encoding.has_set().then(|| Chooser::new(set, encoding)),
            echoes: (encoding == Encoding::Echo).then(Box::default),
            has_lines,
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
