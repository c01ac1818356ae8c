//! The assembly of the image from what outlived the functions.
//!
//! It owns the order of the sections' making: the script becomes the last
//! function, free variables are settled, and every section is written once. It
//! refuses to change code; that is final when it comes here.

use alloc::vec::Vec;
use core::mem::take;

use scruple_bytecode::encoding::CODE_PADDING;
use scruple_bytecode::image::{
    CAPTURE_FREE, FREE_GLOBAL, FUNCTION_RECORD_LEN, HEADER_LEN, MAX_CODE, Text, checksum, constant,
    header, record,
};
use scruple_bytecode::leb128;
use scruple_bytecode::names;
use scruple_bytecode::ops::Op;

use crate::atoms::{Atom, Atoms, ConstantParts, Constants};
use crate::closed::{FunctionRow, Functions, Source};
use crate::growth;
use crate::narrow;
use crate::output::{Exceeded, Output, limited_depth, limited_slots};
use crate::strip::{Sink, Strip};

impl Output<'_> {
    /// The image, or what of it is too large.
    #[inline(never)]
    pub(crate) fn assemble(&mut self, atoms: &mut Atoms) -> Result<Vec<u8>, Exceeded> {
        self.echoes = None;
        self.close_script()?;
        self.settle_lists(atoms)?;
        if self.functions.lists.len() > U24_MAX || self.code.len() > MAX_CODE {
            return Err(Exceeded("the script makes more code than an image holds, 16 MiB"));
        }
        Ok(self.lay_down(atoms))
    }

    /// The script becomes the last function: declared functions, then its
    /// statements, swept one by one.
    #[inline(never)]
    fn close_script(&mut self) -> Result<(), Exceeded> {
        let code = narrow::to_u32(self.code.len());
        let mut has_functions = false;
        for (index, global) in self.globals.iter().enumerate() {
            let Some(function) = global.function() else { continue };
            has_functions = true;
            let index = narrow::to_operand(narrow::to_u32(index));
            let function = narrow::to_operand(function);
            for (op, operand) in [(Op::MakeClosure, function), (Op::InitGlobal, index)] {
                match self.encoding.encode(op, operand) {
                    Some(encoded) => self.code.put(encoded.as_slice()),
                    None => return Err(Exceeded("the script has too many functions")),
                }
            }
        }
        let prologue = narrow::to_u32(self.code.len()) - code;
        self.lines.join(code + prologue, take(&mut self.script_lines));
        self.code.join(take(&mut self.script_code));
        if let Some(encoded) = self.encoding.encode(Op::ReturnUndefined, 0) {
            self.code.put(encoded.as_slice());
        }
        let mut guards = Vec::new();
        let mut bytes = take(&mut self.script_guards).into_bytes();
        let mut next = || bytes.next().unwrap_or(0);
        for _ in 0..self.n_script_guards {
            let [start, length, handler] = [(); 3].map(|()| leb_of(&mut next));
            growth::push(&mut guards, [start, start + length, handler].map(|at| at + prologue));
        }
        let depth = self.script_depth.max(u32::from(has_functions));
        self.functions.add(FunctionRow {
            n_code: narrow::to_u32(self.code.len()) - code,
            n_slots: limited_slots(self.script_slots)?,
            depth: limited_depth(depth)?,
            guards: &guards,
            ..FunctionRow::default()
        });
        Ok(())
    }

    /// The lists become those of the image, and behind each record stands how many bytes
    /// those of the function take.
    #[inline(never)]
    fn settle_lists(&mut self, atoms: &mut Atoms) -> Result<(), Exceeded> {
        let mut records = take(&mut self.functions.records).into_bytes();
        let mut lists = take(&mut self.functions.lists).into_bytes();
        let Functions { records: to_records, lists: to_lists, .. } = &mut self.functions;
        let mut captures = Vec::new();
        while let Some(flags) = records.next() {
            let mut next = || records.next().unwrap_or(0);
            to_records.put(&[flags, next()]);
            let numbers = [(); 4].map(|()| leb_of(&mut next));
            let [_, _, n_free, _] = numbers;
            let start = to_lists.len();
            let mut next = || lists.next().unwrap_or(0);
            let name = u32::from_le_bytes([next(), next(), next(), 0]);
            let name = name.checked_sub(1).map(|name| atoms.constant(Atom::of_number(name)));
            captures.clear();
            for _ in 0..n_free {
                let source = Source::unpack([next(), next(), next()]);
                let (entry, capture) = entries(source, narrow::to_u32(captures.len() / 2))?;
                to_lists.put(&entry.to_le_bytes());
                if let Some(capture) = capture {
                    growth::append(&mut captures, &capture.to_le_bytes());
                }
            }
            to_lists.put(&captures);
            to_lists.leb(name.map_or(0, |name| name + 1));
            let mut copy_leb = || {
                let value = leb_of(&mut next);
                to_lists.leb(value);
                value
            };
            copy_leb();
            for _ in 0..3 * copy_leb() {
                copy_leb();
            }
            for number in numbers {
                to_records.leb(number);
            }
            to_records.leb(narrow::to_u32(to_lists.len() - start));
        }
        Ok(())
    }

    /// Header and sections, each written where it stays. What is written goes: the
    /// image takes the place of what it is made of.
    #[inline(never)]
    fn lay_down(&mut self, atoms: &mut Atoms) -> Vec<u8> {
        let constants = atoms.take_constants();
        let globals = take(&mut self.globals);
        let (functions, code) = (take(&mut self.functions), take(&mut self.code));
        let lines = take(&mut self.lines);
        let sizes = ConstantSizes::of(&constants);
        let names_fit = globals.iter().all(|row| row.constant < 1 << 13);
        let is_narrow = sizes.is_narrow() && names_fit;
        let entry_len = if is_narrow { 2 } else { 4 };
        let n_entries = sizes.n_constants + sizes.order.len() + globals.len();
        let counts = [
            (header::AT_CONSTANTS, sizes.n_constants),
            (header::AT_STRINGS, sizes.order.len()),
            (header::AT_TEXT, sizes.n_text),
            (header::AT_GLOBALS, globals.len()),
            (header::AT_FUNCTIONS, functions.len() as usize),
            (header::AT_LISTS, functions.lists.len()),
            (header::AT_CODE, code.len() + CODE_PADDING),
            (header::AT_LINES, lines.len()),
        ];
        let n_records = functions.len() as usize * FUNCTION_RECORD_LEN;
        let rest = n_records + functions.lists.len() + code.len() + CODE_PADDING + lines.len();
        let length = HEADER_LEN + n_entries * entry_len + sizes.n_text + rest;
        let mut image = Growing { bytes: Vec::new(), length };
        image.put(&[0; HEADER_LEN]);
        let push = |image: &mut Growing, entry: u32| {
            image.put(&entry.to_le_bytes()[..entry_len]);
        };
        let kind_shift = if is_narrow { 14 } else { 30 };
        let mut at = 0;
        for parts in constants.iter() {
            let (kind, value) = match parts {
                ConstantParts::Number(_) => (constant::NUMBER, at),
                ConstantParts::Name(name) => (constant::NAME, name),
                ConstantParts::Text(kind, _) => (kind, at),
            };
            push(&mut image, kind << kind_shift | value);
            at += text_len(parts);
        }
        for index in sizes.order {
            push(&mut image, index);
        }
        for parts in constants.iter() {
            match parts {
                ConstantParts::Number(bytes) => image.put(bytes),
                ConstantParts::Name(_) => {}
                ConstantParts::Text(_, text) => {
                    image.leb(narrow::to_u32(text.len()));
                    image.put(bytes_of(text));
                }
            }
        }
        drop(constants);
        for row in globals {
            push(&mut image, row.constant << 3 | row.kind as u32);
        }
        write_records(&mut image, functions.records);
        for strip in [functions.lists, code] {
            for piece in strip.pieces() {
                image.put(&piece);
            }
        }
        image.put(&[0; CODE_PADDING]);
        lines.write(&mut image);
        let mut image = image.bytes;
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
        for (at, count) in counts {
            set(at, narrow::to_u32(count));
        }
        let sum = checksum(&image[header::AT_CHECKSUM + 4..]);
        image[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
        image
    }
}

/// An image of a known length that grows as its parts go.
struct Growing {
    bytes: Vec<u8>,
    length: usize,
}

impl Growing {
    /// By how much it grows: all at once where a block that grows is copied, as on the
    /// board, since it would lie beside its former self.
    fn step(&self) -> usize {
        if cfg!(feature = "small") { self.length } else { (self.length / 64).clamp(512, 8192) }
    }
}

impl Sink for Growing {
    fn put(&mut self, bytes: &[u8]) {
        if self.bytes.capacity() - self.bytes.len() < bytes.len() {
            let rest = self.length.saturating_sub(self.bytes.len());
            self.bytes.reserve_exact(self.step().min(rest).max(bytes.len()));
        }
        self.bytes.extend_from_slice(bytes);
    }
}

/// What stands for a free variable in the image: an entry of the list, and for one that
/// is captured, the next of its kind, where the closure has it from.
fn entries(source: Source, n_captures: u32) -> Result<(u16, Option<u16>), Exceeded> {
    let entry = |number: u32| {
        let entry = u16::try_from(number).ok().filter(|&entry| entry & FREE_GLOBAL == 0);
        entry.ok_or(Exceeded("more than 32767 globals or captured variables"))
    };
    Ok(match source {
        Source::Global(global) => (entry(global)? | FREE_GLOBAL, None),
        Source::Slot(slot) => (entry(n_captures)?, Some(entry(slot)?)),
        Source::Outer(outer) => (entry(n_captures)?, Some(entry(outer)? | CAPTURE_FREE)),
    })
}

/// The records of the image.
fn write_records(image: &mut Growing, records: Strip) {
    let (mut code, mut lists) = (0, 0);
    let mut bytes = records.into_bytes();
    while let Some(flags) = bytes.next() {
        let mut next = || bytes.next().unwrap_or(0);
        let n_params = next();
        let [n_slots, depth, n_free, n_code, n_lists] = [(); 5].map(|()| leb_of(&mut next));
        let mut record = [0; FUNCTION_RECORD_LEN];
        record[record::AT_PARAMS] = n_params;
        record[record::AT_FLAGS] = flags;
        for (at, value, n_bytes) in [
            (record::AT_CODE, code, 3),
            (record::AT_LISTS, lists, 3),
            (record::AT_SLOTS, n_slots, 2),
            (record::AT_DEPTH, depth, 2),
            (record::AT_FREE, n_free, 2),
        ] {
            record[at..at + n_bytes].copy_from_slice(&value.to_le_bytes()[..n_bytes]);
        }
        image.put(&record);
        (code, lists) = (code + n_code, lists + n_lists);
    }
}

/// Reads an unsigned LEB128 number.
fn leb_of(next: &mut impl FnMut() -> u8) -> u32 {
    let (mut value, mut shift) = (0, 0);
    loop {
        let byte = next();
        value |= u32::from(byte & 0x7f) << shift;
        shift += 7;
        if byte & 0x80 == 0 || shift > 28 {
            return value;
        }
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
    fn of(constants: &Constants) -> Self {
        let mut sizes = ConstantSizes {
            n_constants: constants.len(),
            n_text: 0,
            max_name: 0,
            order: Vec::new(),
        };
        for (index, parts) in (0..).zip(constants.iter()) {
            sizes.n_text += text_len(parts) as usize;
            match parts {
                ConstantParts::Number(_) => {}
                ConstantParts::Name(name) => sizes.max_name = sizes.max_name.max(name),
                ConstantParts::Text(..) => growth::push(&mut sizes.order, index),
            }
        }
        sizes.order.sort_unstable_by(|&a, &b| constants.text(a).order(constants.text(b)));
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
