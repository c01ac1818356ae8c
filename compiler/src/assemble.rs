//! The assembly of the image from what outlived the functions.
//!
//! It owns the order of the sections' making: the script becomes the last
//! function, free variables are settled, and every section is written once. It
//! refuses to change code; that is final when it comes here.

use alloc::vec::Vec;
use core::cmp::Ordering;

use scruple_bytecode::encoding::CODE_PADDING;
use scruple_bytecode::image::{
    CAPTURE_FREE, FREE_GLOBAL, FUNCTION_RECORD_LEN, HEADER_LEN, Text, checksum, constant, header,
    record,
};
use scruple_bytecode::leb128;
use scruple_bytecode::names;
use scruple_bytecode::ops::Op;

use crate::atoms::{Atoms, ConstantParts};
use crate::lines::write_leb;
use crate::narrow;
use crate::output::{Exceeded, FunctionRow, Output, Source, limited_depth, limited_slots};

impl Output<'_> {
    /// The image, or what of it is too large.
    #[inline(never)]
    pub(crate) fn assemble(&mut self, atoms: &mut Atoms) -> Result<Vec<u8>, Exceeded> {
        self.echoes = None;
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
        // Only bytes are needed from here on.
        self.functions = Vec::new();
        self.frees = Vec::new();
        self.guard_bytes = Vec::new();
        Ok(self.lay_down(atoms, &records, &lists))
    }

    /// The script becomes the last function: declared functions, then its
    /// statements, swept one by one.
    #[inline(never)]
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

    /// Header and sections, each written where it stays: the image is the one
    /// copy of them.
    #[inline(never)]
    fn lay_down(&mut self, atoms: &mut Atoms, records: &[u8], lists: &[u8]) -> Vec<u8> {
        // The image stands beside what it is made of: none of that keeps room to
        // grow in.
        self.code.shrink_to_fit();
        self.lines.shrink();
        for row in &self.globals {
            atoms.constant(row.atom);
        }
        atoms.forget_lookup();
        let sizes = ConstantSizes::of(atoms);
        let names_fit = self.globals.iter().all(|row| atoms.constant(row.atom) < 1 << 13);
        let is_narrow = sizes.is_narrow() && names_fit;
        let entry_len = if is_narrow { 2 } else { 4 };
        let n_entries = sizes.n_constants + sizes.order.len() + self.globals.len();
        let n_code = self.code.len() + CODE_PADDING;
        let rest = records.len() + lists.len() + n_code + self.lines.len();
        let length = HEADER_LEN + n_entries * entry_len + sizes.n_text + rest;
        let mut image = Vec::with_capacity(length);
        image.resize(HEADER_LEN, 0);
        let push = |image: &mut Vec<u8>, entry: u32| {
            image.extend_from_slice(&entry.to_le_bytes()[..entry_len]);
        };
        let kind_shift = if is_narrow { 14 } else { 30 };
        let mut at = 0;
        for parts in atoms.constants() {
            let (kind, value) = match parts {
                ConstantParts::Number(_) => (constant::NUMBER, at),
                ConstantParts::Name(name) => (constant::NAME, name),
                ConstantParts::Text(kind, _) => (kind, at),
            };
            push(&mut image, kind << kind_shift | value);
            at += text_len(parts);
        }
        for &index in &sizes.order {
            push(&mut image, index);
        }
        for parts in atoms.constants() {
            match parts {
                ConstantParts::Number(bytes) => image.extend_from_slice(bytes),
                ConstantParts::Name(_) => {}
                ConstantParts::Text(_, text) => {
                    write_leb(&mut image, narrow::to_u32(text.len()));
                    image.extend_from_slice(bytes_of(text));
                }
            }
        }
        for row in &self.globals {
            push(&mut image, atoms.constant(row.atom) << 3 | row.kind as u32);
        }
        for section in [records, lists, &self.code, &[0; CODE_PADDING]] {
            image.extend_from_slice(section);
        }
        self.lines.write(&mut image);
        debug_assert_eq!(image.len(), length);
        image[..header::MAGIC.len()].copy_from_slice(&header::MAGIC);
        image[header::AT_VERSION] = header::VERSION;
        image[header::AT_ENCODING] = self.encoding as u8;
        image[header::AT_FLAGS] = if is_narrow { 0 } else { header::FLAG_WIDE };
        let mut set = |at: usize, value: u32| {
            image[at..at + 4].copy_from_slice(&value.to_le_bytes());
        };
        set(header::AT_SET_HASH, self.chooser.as_ref().map_or(0, |chooser| chooser.hash()));
        set(header::AT_NAMES_HASH, names::HASH);
        for (at, count) in [
            (header::AT_CONSTANTS, sizes.n_constants),
            (header::AT_STRINGS, sizes.order.len()),
            (header::AT_TEXT, sizes.n_text),
            (header::AT_GLOBALS, self.globals.len()),
            (header::AT_FUNCTIONS, records.len() / FUNCTION_RECORD_LEN),
            (header::AT_LISTS, lists.len()),
            (header::AT_CODE, n_code),
            (header::AT_LINES, self.lines.len()),
        ] {
            set(at, narrow::to_u32(count));
        }
        let sum = checksum(&image[header::AT_CHECKSUM + 4..]);
        image[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
        image
    }
}

/// What the constants take, and the order of their texts.
struct ConstantSizes {
    n_constants: usize,
    n_text: usize,
    /// The largest number of a name in flash.
    max_name: u32,
    /// String constants that have text, sorted by it.
    order: Vec<u32>,
}

impl ConstantSizes {
    fn of(atoms: &Atoms) -> Self {
        let mut sizes = ConstantSizes {
            n_constants: atoms.constants().len(),
            n_text: 0,
            max_name: 0,
            order: Vec::new(),
        };
        for (index, parts) in (0..).zip(atoms.constants()) {
            sizes.n_text += text_len(parts) as usize;
            match parts {
                ConstantParts::Number(_) => {}
                ConstantParts::Name(name) => sizes.max_name = sizes.max_name.max(name),
                ConstantParts::Text(..) => sizes.order.push(index),
            }
        }
        sizes.order.sort_unstable_by(|&a, &b| {
            match (atoms.constant_parts(a), atoms.constant_parts(b)) {
                (ConstantParts::Text(_, a), ConstantParts::Text(_, b)) => a.order(b),
                _ => Ordering::Equal,
            }
        });
        sizes
    }

    /// Whether entries of 16 bits hold every kind with its offset or name, and
    /// every constant's number.
    fn is_narrow(&self) -> bool {
        const REACH: usize = 1 << 14;
        self.n_text <= REACH && self.max_name < 1 << 14 && self.n_constants <= 1 << 16
    }
}

/// How many bytes of constant text a constant takes.
fn text_len(parts: ConstantParts<'_>) -> u32 {
    match parts {
        ConstantParts::Number(bytes) => narrow::to_u32(bytes.len()),
        ConstantParts::Name(_) => 0,
        ConstantParts::Text(_, text) => {
            let length = leb128::unsigned_len(narrow::to_u32(text.len()));
            narrow::to_u32(length + bytes_of(text).len())
        }
    }
}

fn bytes_of(text: Text<'_>) -> &[u8] {
    match text {
        Text::Latin1(bytes) | Text::Utf16(bytes) => bytes,
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
