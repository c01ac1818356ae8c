//! The listing: an image as text, an instruction a line.
//!
//! A composite has a line of its own, and its operations follow, indented; so does an
//! echo, which tells what it refers to: from its first byte up to, not with, the second.
//!
//! It owns the layout of that text and nothing else; it writes to any
//! `core::fmt::Write` and reads only the image and, if given, the source.

use core::fmt::{self, Write};
use core::iter::Peekable;
use core::ops::Range;

use crate::encoding::{CODE_PADDING, Fetched, Instruction};
use crate::image::{CAPTURE_FREE, Constant, FREE_GLOBAL, GlobalKind, Image, Position, record};
use crate::operand::{ConstId, FreeId, FunctionId, GlobalId, OperandKind};
use crate::ops::{Flow, Op};
use crate::sets::Table;

/// The column of an instruction's bytes: four of them, and a space.
const BYTES: usize = 13;

/// Writes the listing of a whole image: every function, the script itself last.
pub fn write(out: &mut dyn Write, image: &Image<'_>, source: Option<&str>) -> fmt::Result {
    let sizes = image.sizes();
    writeln!(
        out,
        "; {} encoding, {} bytes: header {}, constants {}, functions {}, instructions {}, padding {}, lines {}",
        image.encoding().name(),
        sizes.total(),
        sizes.header,
        sizes.constants,
        sizes.functions,
        sizes.instructions,
        sizes.padding,
        sizes.lines
    )?;
    if let Some(set) = image.set() {
        writeln!(out, "; instruction set {} {:08x}", set.name(), set.hash())?;
    }
    let mut lines = Lines::new(image, source);
    for index in 0..image.n_functions() {
        if let Some(id) = FunctionId::new(index) {
            writeln!(out)?;
            write_function_lines(out, image, id, &mut lines)?;
        }
    }
    Ok(())
}

/// Writes the listing of one function.
pub fn write_function(
    out: &mut dyn Write,
    image: &Image<'_>,
    id: FunctionId,
    source: Option<&str>,
) -> fmt::Result {
    write_function_lines(out, image, id, &mut Lines::new(image, source))
}

fn write_function_lines(
    out: &mut dyn Write,
    image: &Image<'_>,
    id: FunctionId,
    lines: &mut Lines<'_, impl Iterator<Item = (u32, Position)>>,
) -> fmt::Result {
    let (Some(function), Some(end)) = (image.function(id), image.code_end(id)) else {
        return writeln!(out, "; function {}: no such function", id.index());
    };
    write_head(out, image, id)?;
    lines.enter(function.code);
    let mut labels = Labels::new();
    let (mut at, mut table) = (function.code as usize, Table::First);
    while at < end as usize {
        if let Some(line) = lines.new_line(at as u32, end) {
            match lines.text(line).trim() {
                // Of an image, or of a line that is not there.
                "" => writeln!(out, "; line {line}")?,
                text => writeln!(out, "; {line}: {text}")?,
            }
        }
        let Some(instruction) = image.decode_in(at, table) else {
            return writeln!(out, "  {at:04x}  no instruction");
        };
        let is_label = labels.has(image, id, at);
        match instruction.single() {
            Some(fetched) if !is_joined(&instruction) => {
                write_marked_line(out, image, id, at, fetched, is_label)?;
            }
            _ => write_composite(out, image, id, at, &instruction, is_label)?,
        }
        (at, table) = (instruction.next, image.table_behind(&instruction));
    }
    Ok(())
}

/// Writes what stands above a function's instructions: its name, what a frame of it takes, its
/// free variables, its guards.
pub fn write_head(out: &mut dyn Write, image: &Image<'_>, id: FunctionId) -> fmt::Result {
    let (Some(function), Some(end)) = (image.function(id), image.code_end(id)) else {
        return Ok(());
    };
    write!(out, "function {} ", id.index())?;
    write_function_name(out, image, id)?;
    writeln!(
        out,
        ": parameters {}, slots {}, depth {}, bytes {}",
        function.n_params,
        function.n_slots,
        function.depth,
        end - function.code
    )?;
    write_free_variables(out, image, id)?;
    for guard in function.details().into_iter().flat_map(|details| details.guards()) {
        writeln!(
            out,
            "  guard {:04x}..{:04x} goes to {:04x}",
            function.code + guard.start,
            function.code + guard.end,
            function.code + guard.target
        )?;
    }
    Ok(())
}

/// Writes a function's name: its own, or what it is.
pub fn write_function_name(out: &mut dyn Write, image: &Image<'_>, id: FunctionId) -> fmt::Result {
    if id == image.script() {
        return out.write_str("(script)");
    }
    match image.function(id).and_then(|f| f.details()).and_then(|details| details.name) {
        Some(name) => write_text(out, image, name.into()),
        None => out.write_str("(anonymous)"),
    }
}

/// Writes one instruction as a listing shows it, with its label if it is one.
pub fn write_line(
    out: &mut dyn Write,
    image: &Image<'_>,
    function: FunctionId,
    at: usize,
    fetched: Fetched,
) -> fmt::Result {
    let is_label = Labels::new().has(image, function, at);
    write_marked_line(out, image, function, at, fetched, is_label)
}

fn write_marked_line(
    out: &mut dyn Write,
    image: &Image<'_>,
    function: FunctionId,
    at: usize,
    fetched: Fetched,
    is_label: bool,
) -> fmt::Result {
    write_bytes(out, image, at..fetched.next, is_label)?;
    write_operation(out, image, function, fetched, 42)
}

/// A composite or an echo, and its operations below it.
fn write_composite(
    out: &mut dyn Write,
    image: &Image<'_>,
    function: FunctionId,
    at: usize,
    instruction: &Instruction,
    is_label: bool,
) -> fmt::Result {
    write_bytes(out, image, at..instruction.next, is_label)?;
    write_joined(out, image, at, instruction)?;
    out.write_char('\n')?;
    for fetched in instruction.parts() {
        pad(out, 0, 8 + BYTES + 2)?;
        write_operation(out, image, function, fetched, 40)?;
    }
    Ok(())
}

/// Writes what an instruction is whose operations stand below it, see [`is_joined`].
pub fn write_joined(
    out: &mut dyn Write,
    image: &Image<'_>,
    at: usize,
    instruction: &Instruction,
) -> fmt::Result {
    match (image.echoed(at), instruction.n_parts()) {
        (Some(reference), n) => {
            let first = at - reference.back as usize;
            let behind = first + instruction.echoed_bytes();
            write!(out, "echo of {first:04x}..{behind:04x}, {n}")?;
        }
        (None, 1) => out.write_str("short form")?,
        (None, n) => write!(out, "composite of {n}")?,
    }
    out.write_str(if instruction.table() == Some(Table::Then) { ", then" } else { "" })
}

/// Whether an instruction has a line of its own and its operations below it.
pub fn is_joined(instruction: &Instruction) -> bool {
    // An entry of the second table is named even where it is a short form.
    instruction.single().is_none()
        || instruction.table() == Some(Table::Then)
        || instruction.echoed_bytes() > 0
}

/// Writes the place and the bytes of an instruction, and what is left of their column: a
/// space at least.
fn write_bytes(
    out: &mut dyn Write,
    image: &Image<'_>,
    places: Range<usize>,
    is_label: bool,
) -> fmt::Result {
    let mark = if is_label { ":" } else { " " };
    write!(out, "  {:04x}{mark} ", places.start)?;
    let column = 3 * places.len();
    for byte in &image.code()[places] {
        write!(out, " {byte:02x}")?;
    }
    pad(out, column, BYTES.max(column + 1))
}

/// Writes an operation in a column of its own, and its picture behind that.
fn write_operation(
    out: &mut dyn Write,
    image: &Image<'_>,
    function: FunctionId,
    fetched: Fetched,
    width: usize,
) -> fmt::Result {
    let mut text = Counted { out, written: 0 };
    write_instruction(&mut text, image, function, fetched)?;
    let written = text.written;
    pad(out, written, width)?;
    writeln!(out, " {}", fetched.op.text().picture)
}

/// Writes mnemonic and operand, names and values resolved.
pub fn write_instruction(
    out: &mut dyn Write,
    image: &Image<'_>,
    function: FunctionId,
    fetched: Fetched,
) -> fmt::Result {
    let Fetched { op, operand, next } = fetched;
    write!(out, "{}", op.text().mnemonic)?;
    match op.info().operand {
        OperandKind::None => Ok(()),
        OperandKind::Slot | OperandKind::Count | OperandKind::Argc | OperandKind::Int => {
            write!(out, " {operand}")
        }
        OperandKind::Displacement => write!(out, " {:04x}", next as i64 + i64::from(operand)),
        OperandKind::ConstId | OperandKind::FieldId => {
            write!(out, " {operand} = ")?;
            write_constant(out, image, ConstId::from_operand(operand))
        }
        OperandKind::GlobalId => {
            write!(out, " {operand} = ")?;
            write_global(out, image, GlobalId::from_operand(operand))
        }
        OperandKind::FunctionId => {
            write!(out, " {operand} = ")?;
            write_function_name(out, image, FunctionId::from_operand(operand))
        }
        OperandKind::FreeId => {
            write!(out, " {operand} = ")?;
            let entry =
                image.function(function).and_then(|f| f.free(FreeId::from_operand(operand)));
            write_free(out, image, entry)
        }
    }
}

fn write_free_variables(out: &mut dyn Write, image: &Image<'_>, id: FunctionId) -> fmt::Result {
    let Some(function) = image.function(id) else { return Ok(()) };
    for (flag, text) in [
        (record::FLAG_ARGUMENTS, "keeps its arguments"),
        (record::FLAG_DERIVED, "constructs for a class that extends another"),
        (record::FLAG_TARGET, "asks for new.target"),
        (record::FLAG_LINKED, "has a link behind its captures"),
    ] {
        if function.has(flag) {
            writeln!(out, "  {text}")?;
        }
    }
    for free in 0..function.n_free as usize {
        let entry = FreeId::new(free).and_then(|id| function.free(id));
        write!(out, "  free {free} = ")?;
        write_free(out, image, entry)?;
        if let Some(entry) = entry
            && entry & FREE_GLOBAL == 0
        {
            match function.capture_source(entry as usize) {
                Some(source) if source & CAPTURE_FREE != 0 => {
                    write!(out, " from free {} of the maker", source & !CAPTURE_FREE)?;
                }
                Some(slot) => write!(out, " from slot {slot} of the maker")?,
                None => write!(out, " from nowhere")?,
            }
        }
        writeln!(out)?;
    }
    Ok(())
}

fn write_free(out: &mut dyn Write, image: &Image<'_>, entry: Option<u16>) -> fmt::Result {
    match entry {
        Some(entry) if entry & FREE_GLOBAL != 0 => {
            out.write_str("global ")?;
            let id = GlobalId::from_operand(i32::from(entry & !FREE_GLOBAL));
            write_global(out, image, id)
        }
        Some(entry) => write!(out, "capture {entry}"),
        None => out.write_str("?"),
    }
}

fn write_global(out: &mut dyn Write, image: &Image<'_>, id: GlobalId) -> fmt::Result {
    write_global_name(out, image, id)?;
    match image.global(id) {
        Some((GlobalKind::Undeclared, _)) => out.write_str(" (from outside)"),
        _ => Ok(()),
    }
}

/// Writes the name of a global.
pub fn write_global_name(out: &mut dyn Write, image: &Image<'_>, id: GlobalId) -> fmt::Result {
    match image.global(id) {
        Some((_, name)) => write_text(out, image, name.into()),
        None => out.write_str("?"),
    }
}

fn write_text(out: &mut dyn Write, image: &Image<'_>, id: ConstId) -> fmt::Result {
    match image.constant(id) {
        Some(Constant::Text(text)) => write!(out, "{text}"),
        Some(Constant::Name(name)) => out.write_str(name.text()),
        Some(Constant::Number(number)) => write!(out, "{number}"),
        None => out.write_str("?"),
    }
}

fn write_constant(out: &mut dyn Write, image: &Image<'_>, id: ConstId) -> fmt::Result {
    const SHOWN: usize = 24;
    match image.constant(id) {
        Some(Constant::Number(number)) => write!(out, "{number}"),
        Some(Constant::Name(name)) => write!(out, "\"{}\"", name.text()),
        Some(Constant::Text(text)) => {
            out.write_char('"')?;
            for unit in char::decode_utf16(text.units().take(SHOWN)) {
                let ch = unit.unwrap_or(char::REPLACEMENT_CHARACTER);
                write!(out, "{}", ch.escape_debug())?;
            }
            out.write_str(if text.len() > SHOWN { "\"…" } else { "\"" })
        }
        None => out.write_str("?"),
    }
}

/// Which places some branch or guard of a function leads to, for a stretch of its
/// code: one look through the function's branches a stretch, not an instruction.
struct Labels {
    start: usize,
    end: usize,
    bits: [u64; Labels::STRETCH / 64],
}

impl Labels {
    const STRETCH: usize = 4096;

    fn new() -> Labels {
        Labels { start: 0, end: 0, bits: [0; Labels::STRETCH / 64] }
    }

    fn has(&mut self, image: &Image<'_>, id: FunctionId, at: usize) -> bool {
        if !(self.start..self.end).contains(&at) {
            self.collect(image, id, at);
        }
        let index = at - self.start;
        self.bits[index / 64] >> (index % 64) & 1 != 0
    }

    fn collect(&mut self, image: &Image<'_>, id: FunctionId, at: usize) {
        *self = Labels { start: at, end: at + Labels::STRETCH, ..Labels::new() };
        for label in labels(image, id) {
            if (self.start..self.end).contains(&label) {
                let index = label - self.start;
                self.bits[index / 64] |= 1 << (index % 64);
            }
        }
    }
}

/// The line table and the source, read side by side with the code.
struct Lines<'s, I: Iterator<Item = (u32, Position)>> {
    positions: Peekable<I>,
    shown: u32,
    source: Option<&'s str>,
    /// Number and offset of the line looked at last.
    line: u32,
    offset: usize,
}

impl<'s> Lines<'s, core::iter::Empty<(u32, Position)>> {
    fn new<'i>(
        image: &Image<'i>,
        source: Option<&'s str>,
    ) -> Lines<'s, impl Iterator<Item = (u32, Position)> + use<'i>> {
        Lines { positions: image.positions().peekable(), shown: 0, source, line: 1, offset: 0 }
    }
}

impl<I: Iterator<Item = (u32, Position)>> Lines<'_, I> {
    /// Goes to a function that begins here.
    fn enter(&mut self, begin: u32) {
        self.shown = 0;
        while self.positions.next_if(|&(start, _)| start < begin).is_some() {}
    }

    /// The line of an instruction, if it is not that of the one before. A first
    /// instruction without an entry is where the function's first entry is.
    fn new_line(&mut self, at: u32, end: u32) -> Option<u32> {
        let mut line = self.shown;
        while let Some((_, position)) = self.positions.next_if(|&(start, _)| start <= at) {
            line = position.line;
        }
        if line == 0 {
            let first = self.positions.peek().filter(|&&(start, _)| start < end);
            line = first.map_or(0, |(_, position)| position.line);
        }
        let is_new = line != self.shown;
        self.shown = line;
        is_new.then_some(line)
    }

    /// The text of a line, found from the one looked at last.
    fn text(&mut self, line: u32) -> &str {
        let source = self.source.unwrap_or_default();
        while self.line > line {
            let before = &source[..self.offset];
            let before = before.strip_suffix("\r\n").unwrap_or_else(|| {
                &before[..before.len() - before.chars().next_back().map_or(0, char::len_utf8)]
            });
            self.offset = before
                .char_indices()
                .rev()
                .find(|&(_, ch)| is_line_end(ch))
                .map_or(0, |(at, ch)| at + ch.len_utf8());
            self.line -= 1;
        }
        while self.line < line {
            let rest = &source[self.offset..];
            let Some((at, ch)) = rest.char_indices().find(|&(_, ch)| is_line_end(ch)) else {
                return "";
            };
            let is_pair = rest[at..].starts_with("\r\n");
            self.offset += at + if is_pair { 2 } else { ch.len_utf8() };
            self.line += 1;
        }
        let rest = &source[self.offset..];
        &rest[..rest.find(is_line_end).unwrap_or(rest.len())]
    }
}

/// ECMA-262, LineTerminator.
fn is_line_end(ch: char) -> bool {
    matches!(ch, '\n' | '\r' | '\u{2028}' | '\u{2029}')
}

/// The places that a guard or a branch of a function leads to, as often as one does.
pub fn labels<'s>(image: &'s Image<'_>, id: FunctionId) -> impl Iterator<Item = usize> + 's {
    let found = image.function(id).zip(image.code_end(id));
    found.into_iter().flat_map(move |(function, end)| {
        let guards = function.details().into_iter().flat_map(|details| details.guards());
        let handlers = guards.map(move |guard| (function.code + guard.target) as usize);
        handlers.chain(branches(image, function.code as usize, end as usize))
    })
}

fn branches<'s>(
    image: &'s Image<'_>,
    start: usize,
    end: usize,
) -> impl Iterator<Item = usize> + 's {
    debug_assert!(end <= image.code().len() - CODE_PADDING);
    let within = image.walk(start).take_while(move |&(at, _)| at < end);
    within
        .map(|(_, instruction)| instruction.last())
        .filter(|fetched| leads_elsewhere(fetched.op))
        .map(|fetched| (fetched.next as i64 + i64::from(fetched.operand)) as usize)
}

fn leads_elsewhere(op: Op) -> bool {
    matches!(op.info().flow, Flow::Jump | Flow::Branch(_))
}

/// Counts characters on their way out, to line the columns up.
struct Counted<'o> {
    out: &'o mut dyn Write,
    written: usize,
}

impl Write for Counted<'_> {
    fn write_str(&mut self, s: &str) -> fmt::Result {
        self.written += s.chars().count();
        self.out.write_str(s)
    }
}

fn pad(out: &mut dyn Write, written: usize, width: usize) -> fmt::Result {
    for _ in written..width {
        out.write_char(' ')?;
    }
    Ok(())
}
