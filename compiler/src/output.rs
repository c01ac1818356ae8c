//! What outlives a function's close: its code, its row of the function table,
//! its free variables, and the globals; and the assembly of the image from them.
//!
//! It refuses to know drafts and scopes: it is given final bytes, and free
//! variables that say where their maker has them.

use alloc::vec::Vec;

use scruple_bytecode::Encoding;
use scruple_bytecode::encoding::CODE_PADDING;
use scruple_bytecode::image::{
    CAPTURE_FREE, FREE_GLOBAL, FUNCTION_RECORD_LEN, GlobalKind, HEADER_LEN, checksum, constant,
    header, record,
};
use scruple_bytecode::names;
use scruple_bytecode::ops::Op;

use crate::atoms::{Atom, Atoms, ConstantParts};
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
pub(crate) struct Output {
    pub(crate) encoding: Encoding,
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
}

/// The image would not hold what the source needs.
#[derive(Debug)]
pub(crate) struct Exceeded(pub(crate) &'static str);

impl Output {
    pub(crate) fn new(encoding: Encoding, has_lines: bool) -> Self {
        Output {
            encoding,
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

    /// The image, or what of it is too large.
    pub(crate) fn assemble(mut self, atoms: &mut Atoms) -> Result<Vec<u8>, Exceeded> {
        self.close_script()?;
        self.settle_frees();
        let mut lists = Vec::new();
        let mut records = Vec::with_capacity(self.functions.len() * FUNCTION_RECORD_LEN);
        for index in 0..self.functions.len() {
            let row = self.functions[index];
            let lists_at = narrow::to_u32(lists.len());
            self.write_lists(atoms, &mut lists, row)?;
            write_record(&mut records, row, lists_at)?;
        }
        if lists.len() > U24_MAX || self.code.len() > U24_MAX {
            return Err(Exceeded("the script makes more code than an image holds, 16 MiB"));
        }
        self.code.resize(self.code.len() + CODE_PADDING, 0);
        let lines = core::mem::take(&mut self.lines).finish();
        Ok(self.lay_down(atoms, &records, &lists, &lines))
    }

    /// The script becomes the last function: declared functions, then its
    /// statements, swept one by one.
    fn close_script(&mut self) -> Result<(), Exceeded> {
        let code = narrow::to_u32(self.code.len());
        let mut has_functions = false;
        for (index, global) in self.globals.iter().enumerate() {
            let Some(function) = global.function.checked_sub(1) else { continue };
            has_functions = true;
            let index = narrow::to_operand(narrow::to_u32(index));
            let function = narrow::to_operand(function);
            for (op, operand) in [(Op::MakeClosure, function), (Op::InitGlobal, index)] {
                match self.encoding.encode(op, operand) {
                    Some(encoded) => self.code.extend_from_slice(encoded.as_slice()),
                    None => return Err(Exceeded("the script has too many functions")),
                }
            }
        }
        let prologue = narrow::to_u32(self.code.len()) - code;
        self.lines.join(code + prologue, &self.script_lines);
        self.code.append(&mut self.script_code);
        if let Some(encoded) = self.encoding.encode(Op::ReturnUndefined, 0) {
            self.code.extend_from_slice(encoded.as_slice());
        }
        let mut guards = core::mem::take(&mut self.script_guards);
        for guard in &mut guards {
            for offset in guard {
                *offset += prologue;
            }
        }
        let first_guard = self.add_guards(&guards);
        let depth = self.script_depth.max(u32::from(has_functions));
        let row = FunctionRow {
            code,
            n_slots: limited_slots(self.script_slots)?,
            depth: limited_depth(depth)?,
            first_free: narrow::to_u32(self.frees.len()),
            first_guard,
            n_guards: narrow::to_u32(guards.len()),
            ..FunctionRow::default()
        };
        self.functions.push(row);
        Ok(())
    }

    /// A free variable that comes from one of the function around is a global
    /// if that one is. Functions stand behind those inside them, so one pass
    /// from the end settles every chain.
    fn settle_frees(&mut self) {
        for index in (0..self.functions.len()).rev() {
            let row = self.functions[index];
            let Some(&parent) = self.functions.get(row.parent as usize) else { continue };
            for free in 0..u32::from(row.n_free) {
                let at = (row.first_free + free) as usize;
                if let Source::Outer(outer) = self.frees[at].source
                    && let Some(outer) = self.frees.get((parent.first_free + outer) as usize)
                    && let Source::Global(_) = outer.source
                {
                    self.frees[at].source = outer.source;
                }
            }
        }
    }

    fn write_lists(
        &self,
        atoms: &mut Atoms,
        lists: &mut Vec<u8>,
        row: FunctionRow,
    ) -> Result<(), Exceeded> {
        const TOO_MANY: Exceeded = Exceeded("more than 32767 globals or captured variables");
        let first = row.first_free as usize;
        let frees = &self.frees[first..first + usize::from(row.n_free)];
        let entry = |number: u32| {
            u16::try_from(number).ok().filter(|&entry| entry & FREE_GLOBAL == 0).ok_or(TOO_MANY)
        };
        let mut n_captures = 0;
        for free in frees {
            let entry = match free.source {
                Source::Global(global) => entry(global)? | FREE_GLOBAL,
                _ => {
                    n_captures += 1;
                    entry(n_captures - 1)?
                }
            };
            lists.extend_from_slice(&entry.to_le_bytes());
        }
        for free in frees {
            let source = match free.source {
                Source::Global(_) => continue,
                Source::Slot(slot) | Source::Pending(slot) => entry(slot)?,
                Source::Outer(outer) => entry(outer)? | CAPTURE_FREE,
            };
            lists.extend_from_slice(&source.to_le_bytes());
        }
        write_leb(lists, row.name.map_or(0, |name| atoms.constant(name) + 1));
        write_leb(lists, row.length);
        write_leb(lists, row.n_guards);
        let guards = &self.guard_bytes[row.first_guard as usize..];
        lists.extend_from_slice(&guards[..guards_len(guards, row.n_guards)]);
        Ok(())
    }

    /// Header and sections.
    fn lay_down(self, atoms: &mut Atoms, records: &[u8], lists: &[u8], lines: &[u8]) -> Vec<u8> {
        let global_entries: Vec<u32> = self
            .globals
            .iter()
            .map(|row| atoms.constant(row.atom) << 3 | row.kind as u32)
            .collect();
        let mut text = Vec::new();
        let mut entries = Vec::new();
        let mut strings = Vec::new();
        for (index, parts) in atoms.constants().enumerate() {
            let at = narrow::to_u32(text.len());
            entries.push(match parts {
                ConstantParts::Number(bytes) => {
                    text.extend_from_slice(bytes);
                    (constant::NUMBER, at)
                }
                ConstantParts::Name(name) => (constant::NAME, name),
                ConstantParts::Text(kind, units) => {
                    strings.push((units, narrow::to_u32(index)));
                    write_leb(&mut text, narrow::to_u32(units.len()));
                    match units {
                        scruple_bytecode::image::Text::Latin1(bytes)
                        | scruple_bytecode::image::Text::Utf16(bytes) => {
                            text.extend_from_slice(bytes);
                        }
                    }
                    (kind, at)
                }
            });
        }
        strings.sort_by(|(a, _), (b, _)| a.order(*b));
        const NARROW: u32 = 1 << 14;
        let is_narrow = entries.iter().all(|&(_, value)| value < NARROW)
            && entries.len() <= usize::from(u16::MAX)
            && global_entries.iter().all(|&entry| u16::try_from(entry).is_ok());
        let mut image = alloc::vec![0; HEADER_LEN];
        let push = |image: &mut Vec<u8>, entry: u32| match u16::try_from(entry) {
            Ok(entry) if is_narrow => image.extend_from_slice(&entry.to_le_bytes()),
            _ => image.extend_from_slice(&entry.to_le_bytes()),
        };
        let kind_shift = if is_narrow { 14 } else { 30 };
        for &(kind, value) in &entries {
            push(&mut image, kind << kind_shift | value);
        }
        for &(_, index) in &strings {
            push(&mut image, index);
        }
        let n_strings = strings.len();
        drop(strings);
        image.extend_from_slice(&text);
        for &entry in &global_entries {
            push(&mut image, entry);
        }
        for section in [records, lists, &self.code, lines] {
            image.extend_from_slice(section);
        }
        image[..header::MAGIC.len()].copy_from_slice(&header::MAGIC);
        image[header::AT_VERSION] = header::VERSION;
        image[header::AT_ENCODING] = self.encoding as u8;
        image[header::AT_FLAGS] = if is_narrow { 0 } else { header::FLAG_WIDE };
        let mut set = |at: usize, value: u32| {
            image[at..at + 4].copy_from_slice(&value.to_le_bytes());
        };
        set(header::AT_NAMES_HASH, names::HASH);
        for (at, count) in [
            (header::AT_CONSTANTS, entries.len()),
            (header::AT_STRINGS, n_strings),
            (header::AT_TEXT, text.len()),
            (header::AT_GLOBALS, global_entries.len()),
            (header::AT_FUNCTIONS, self.functions.len()),
            (header::AT_LISTS, lists.len()),
            (header::AT_CODE, self.code.len()),
            (header::AT_LINES, lines.len()),
        ] {
            set(at, narrow::to_u32(count));
        }
        let sum = checksum(&image[header::AT_CHECKSUM + 4..]);
        image[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
        image
    }
}

const U24_MAX: usize = (1 << 24) - 1;

fn write_record(records: &mut Vec<u8>, row: FunctionRow, lists: u32) -> Result<(), Exceeded> {
    let mut bytes = [0; FUNCTION_RECORD_LEN];
    for (at, value) in [(record::AT_CODE, row.code), (record::AT_LISTS, lists)] {
        let [a, b, c, high] = value.to_le_bytes();
        if high != 0 {
            return Err(Exceeded("the script makes more code than an image holds, 16 MiB"));
        }
        bytes[at..at + 3].copy_from_slice(&[a, b, c]);
    }
    bytes[record::AT_PARAMS] = row.n_params;
    bytes[record::AT_FLAGS] = row.flags;
    for (at, value) in [
        (record::AT_SLOTS, row.n_slots),
        (record::AT_DEPTH, row.depth),
        (record::AT_FREE, row.n_free),
    ] {
        bytes[at..at + 2].copy_from_slice(&value.to_le_bytes());
    }
    records.extend_from_slice(&bytes);
    Ok(())
}

/// How many bytes that many guards take.
fn guards_len(bytes: &[u8], n_guards: u32) -> usize {
    let numbers = 3 * n_guards as usize;
    let last = bytes.iter().enumerate().filter(|(_, byte)| **byte < 0x80).nth(numbers.max(1) - 1);
    if n_guards == 0 { 0 } else { last.map_or(bytes.len(), |(at, _)| at + 1) }
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
