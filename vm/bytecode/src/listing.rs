//! The listing: an image as text, an instruction a line.
//!
//! It owns the layout of that text and nothing else; it writes to any
//! `core::fmt::Write` and reads only the image and, if given, the source.

use core::fmt::{self, Write};

use crate::encoding::{CODE_PADDING, Fetched};
use crate::image::{CAPTURE_FREE, Constant, FREE_GLOBAL, GlobalKind, Image, record};
use crate::operand::{ConstId, FreeId, FunctionId, GlobalId, OperandKind};
use crate::ops::{Flow, Op};

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
    for index in 0..image.n_functions() {
        if let Some(id) = FunctionId::new(index) {
            writeln!(out)?;
            write_function(out, image, id, source)?;
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
    let (Some(function), Some(end)) = (image.function(id), image.code_end(id)) else {
        return writeln!(out, "; function {}: no such function", id.index());
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
    let mut at = function.code as usize;
    let mut shown_line = 0;
    while at < end as usize {
        if let Some(position) = image.position(at)
            && position.line != shown_line
        {
            shown_line = position.line;
            let text = source.and_then(|s| s.lines().nth(shown_line as usize - 1));
            writeln!(out, "; {shown_line}: {}", text.unwrap_or("").trim())?;
        }
        let Some(fetched) = image.encoding().decode(image.code(), at) else {
            return writeln!(out, "  {at:04x}  no instruction");
        };
        write_line(out, image, id, at, fetched)?;
        at = fetched.next;
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
    let mark = if is_label(image, function, at) { ":" } else { " " };
    write!(out, "  {at:04x}{mark} ")?;
    let mut column = 0;
    for byte in &image.code()[at..fetched.next] {
        write!(out, " {byte:02x}")?;
        column += 3;
    }
    pad(out, column, 13)?;
    let mut text = Counted { out, written: 0 };
    write_instruction(&mut text, image, function, fetched)?;
    let written = text.written;
    pad(out, written, 42)?;
    writeln!(out, " {}", fetched.op.info().picture)
}

/// Writes mnemonic and operand, names and values resolved.
pub fn write_instruction(
    out: &mut dyn Write,
    image: &Image<'_>,
    function: FunctionId,
    fetched: Fetched,
) -> fmt::Result {
    let Fetched { op, operand, next } = fetched;
    write!(out, "{}", op.info().mnemonic)?;
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
    if function.has(record::FLAG_ARGUMENTS) {
        writeln!(out, "  keeps its arguments")?;
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
    match image.global(id) {
        Some((kind, name)) => {
            write_text(out, image, name.into())?;
            match kind {
                GlobalKind::Undeclared => out.write_str(" (from outside)"),
                _ => Ok(()),
            }
        }
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

/// Whether some branch or guard of the function leads here.
fn is_label(image: &Image<'_>, id: FunctionId, at: usize) -> bool {
    let (Some(function), Some(end)) = (image.function(id), image.code_end(id)) else {
        return false;
    };
    let guarded = function
        .details()
        .into_iter()
        .flat_map(|details| details.guards())
        .any(|guard| (function.code + guard.target) as usize == at);
    guarded || branches(image, function.code as usize, end as usize).any(|target| target == at)
}

fn branches<'s>(
    image: &'s Image<'_>,
    start: usize,
    end: usize,
) -> impl Iterator<Item = usize> + 's {
    debug_assert!(end <= image.code().len() - CODE_PADDING);
    let mut at = start;
    core::iter::from_fn(move || {
        while at < end {
            let fetched = image.encoding().decode(image.code(), at)?;
            at = fetched.next;
            if leads_elsewhere(fetched.op) {
                return Some((fetched.next as i64 + i64::from(fetched.operand)) as usize);
            }
        }
        None
    })
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
