//! A pause as lines of text: for whoever reads them one by one, a program or a person who
//! listens.
//!
//! It owns the wording. Every line says what it is of, and no meaning hangs on a column or
//! a colour. It refuses to print.

use std::fmt::Write;

use crate::diagnose::{self, Source, is_line_end};
use crate::document::HeapBytes;
use crate::machine::Failure;
use crate::report::{counted, visible};
use crate::trace::effect;

use super::breakpoints::Breakpoints;
use super::code::Code;
use super::view::{Call, View, Why};
use super::watcher::Line;
use super::words::What;

/// The source of a script, line by line.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    /// The name that people know it by.
    pub name: String,
    text: String,
    lines: Vec<String>,
}

impl Lines {
    /// Of a text, which is empty where the script came packed.
    pub fn new(name: &str, text: &str) -> Lines {
        let mut lines = Vec::new();
        let mut rest = text;
        while !rest.is_empty() {
            let end = rest.find(is_line_end).unwrap_or(rest.len());
            lines.push(visible(&rest[..end]));
            let behind = &rest[end..];
            let width = behind.chars().next().map_or(0, char::len_utf8);
            rest = behind.strip_prefix("\r\n").unwrap_or(&behind[width..]);
        }
        Lines { name: name.to_owned(), text: text.to_owned(), lines }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.lines.len()
    }

    /// Whether the text is not at hand.
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }

    /// A line by its number, from 1.
    pub fn line(&self, number: u32) -> Option<&str> {
        self.lines.get((number as usize).checked_sub(1)?).map(String::as_str)
    }
}

/// What is asked for, of a pause.
pub fn show(
    what: What,
    view: &View,
    why: &Why,
    code: &Code,
    lines: &Lines,
    breakpoints: &Breakpoints,
) -> String {
    match what {
        What::State => state(view, why, code, lines),
        What::Calls => calls(view),
        What::Slots => slots(view, code),
        What::Globals => globals(view),
        What::Memory => memory(view),
        What::Output => output(view),
        What::Code(count) => around(view, code, count),
        What::Source(count) => source(view, code, lines, breakpoints, count),
        What::Breakpoints => listed(breakpoints),
        What::Help => super::words::HELP.to_owned(),
    }
}

/// Where the run is, what it did last and what it holds.
pub fn state(view: &View, why: &Why, code: &Code, lines: &Lines) -> String {
    let mut out = String::new();
    // A String takes whatever is written.
    let _ = match why {
        Why::There => Ok(()),
        Why::Breakpoint(spot) => writeln!(out, "breakpoint: {spot}"),
        Why::Asked => writeln!(out, "paused: as asked for"),
        Why::Ended => {
            let took = counted(view.counts.instructions, "instruction");
            writeln!(out, "ended: the run took {took}")
        }
        Why::Failed(failure) => {
            let source = Source { name: &lines.name, text: &lines.text };
            let failure = Failure { message: visible(&failure.message), ..(**failure).clone() };
            write!(out, "ended: {}", diagnose::failure(source, &failure, false))
        }
    };
    if !view.is_over {
        let _ = writeln!(out, "{}", place(view, code));
        if let Some((line, text)) = view
            .position(code)
            .and_then(|position| Some((position.line, lines.line(position.line)?)))
        {
            let _ = writeln!(out, "source: {line}: {}", text.trim());
        }
    }
    for line in &view.last {
        let _ = writeln!(out, "did: {}", did(line, code));
    }
    if !view.is_over {
        let _ = writeln!(out, "next: {}", next(view, code));
        let _ = writeln!(out, "operands: {}", operands(view));
        out.push_str(&slots(view, code));
    }
    let _ = writeln!(out, "counts: {}", counts(view));
    out
}

/// Where the run is.
pub fn place(view: &View, code: &Code) -> String {
    let mut text = format!("instruction {}", view.number);
    if view.part > 0 {
        let _ = write!(text, ", operation {}", view.part + 1);
    }
    if let Some(call) = view.calls.first() {
        let _ = write!(text, " in {}", named(call));
    }
    if let Some(position) = view.position(code) {
        let _ = write!(text, ", line {} column {}", position.line, position.column);
    }
    text
}

fn named(call: &Call) -> String {
    format!("function {} {}", call.function, visible(&call.name))
}

/// What was carried out, with the values it took and left.
pub fn did(line: &Line, code: &Code) -> String {
    let what = visible(&code.text(line.at, line.part));
    let number = if line.part == 0 { line.number.to_string() } else { format!("{}+", line.number) };
    format!("{number} {what} {}", effect(&line.taken, &line.done))
}

/// What will be carried out, with what the table says of it.
pub fn next(view: &View, code: &Code) -> String {
    let at = view.at.unwrap_or_default();
    let what = visible(&code.text(at, view.part));
    let parts = code.at(at).map_or(&[][..], |instruction| &instruction.parts);
    let picture = parts.get(view.part).map_or("", |part| part.picture);
    let of = if parts.len() > 1 {
        format!(", operation {} of {}", view.part + 1, parts.len())
    } else {
        String::new()
    };
    format!("{} {what} {picture}{of}", view.number)
}

/// The operands, the top of the stack last.
pub fn operands(view: &View) -> String {
    let mut text = String::new();
    if view.more_operands > 0 {
        let _ = write!(text, "({} more) ", view.more_operands);
    }
    text.push_str(&view.operands.join(" "));
    if text.is_empty() { "none".to_owned() } else { text }
}

/// Counts and bytes in a line.
pub fn counts(view: &View) -> String {
    let counts = view.counts;
    format!(
        "{}, {}, {} fetched, heap {} bytes, stack {} bytes",
        counted(counts.instructions, "instruction"),
        counted(counts.operations, "operation"),
        counted(counts.fetched_bytes, "byte"),
        view.memory.now.total - view.memory.now.stack,
        view.memory.now.stack,
    )
}

fn calls(view: &View) -> String {
    if view.calls.is_empty() {
        return "call: none is open\n".to_owned();
    }
    let mut out = String::new();
    for call in &view.calls {
        let _ = write!(out, "call: {}, {:04x}", named(call), call.at);
        if let Some(position) = call.position {
            let _ = write!(out, ", line {} column {}", position.line, position.column);
        }
        out.push_str(if call.constructs { ", by new" } else { "" });
        out.push_str(if call.is_called_back { ", by a built-in" } else { "" });
        out.push_str(if call.is_of_timer { ", by a timer" } else { "" });
        out.push('\n');
    }
    if view.more_calls > 0 {
        let _ = writeln!(out, "call: {} more", view.more_calls);
    }
    out
}

/// Slots, this value and captured variables of the running call, a line each.
pub fn slots(view: &View, code: &Code) -> String {
    let mut out = String::new();
    let running = view.calls.first().and_then(|call| code.functions().get(call.function));
    let n_params = running.map_or(0, |function| function.n_params);
    for (slot, value) in view.slots.iter().enumerate() {
        let what = if slot < n_params { ", a parameter" } else { "" };
        let _ = writeln!(out, "slot {slot}{what}: {value}");
    }
    if let Some(this) = &view.this {
        let _ = writeln!(out, "this: {this}");
    }
    for (capture, value) in view.captures.iter().enumerate() {
        let _ = writeln!(out, "captured {capture}: {value}");
    }
    out
}

fn globals(view: &View) -> String {
    if view.globals.is_empty() {
        return "global: none\n".to_owned();
    }
    let line = |(name, value): &(String, String)| format!("global {}: {value}\n", visible(name));
    view.globals.iter().map(line).collect()
}

/// The categories, with a word for each.
pub fn categories(heap: &HeapBytes) -> [(&'static str, u64); 11] {
    [
        ("objects", heap.objects),
        ("properties", heap.properties),
        ("arrays", heap.arrays),
        ("strings", heap.strings),
        ("boxed numbers", heap.boxed_numbers),
        ("functions", heap.functions),
        ("scopes", heap.scopes),
        ("stack", heap.stack),
        ("collector", heap.collector),
        ("caches", heap.caches),
        ("image", heap.image),
    ]
}

fn memory(view: &View) -> String {
    let memory = &view.memory;
    let mut out = String::new();
    let high = categories(&memory.high_water);
    for ((name, now), (_, high)) in categories(&memory.now).into_iter().zip(high) {
        let _ = writeln!(out, "{name}: {now} bytes, {high} at the high-water mark");
    }
    let (now, high) = (memory.now.total, memory.high_water.total);
    let _ = writeln!(out, "all: {now} bytes, {high} at the high-water mark");
    let _ = writeln!(out, "stack at the most: {} bytes", memory.stack_peak);
    let _ = writeln!(
        out,
        "made so far: {}, {} bytes; {}",
        counted(memory.allocations, "block"),
        memory.allocated_bytes,
        counted(memory.collections, "collection")
    );
    out
}

fn output(view: &View) -> String {
    if view.output_bytes == 0 {
        return "printed: nothing\n".to_owned();
    }
    let left_out = view.output_bytes - view.output.len() as u64;
    let mut out = String::new();
    if left_out > 0 {
        let _ = writeln!(out, "printed before: {left_out} bytes");
    }
    out.push_str(&printed(&view.output));
    out
}

/// What was printed, a line each.
pub fn printed(text: &str) -> String {
    text.lines().map(|line| format!("printed: {}\n", visible(line))).collect()
}

/// Instructions around, those of the function at hand; the one at hand is marked.
fn around(view: &View, code: &Code, count: usize) -> String {
    let Some(index) = view.at.and_then(|at| code.index_at(at)) else {
        return "code: the run is at no instruction\n".to_owned();
    };
    let all = code.instructions();
    let function = all[index].function;
    let mut out = format!("code: function {function} {}\n", visible(code.name(function)));
    let end = all.len().min(index.saturating_add(count).saturating_add(1));
    for (other, instruction) in all[..end].iter().enumerate().skip(index.saturating_sub(count)) {
        if instruction.function != function {
            continue;
        }
        for (part, operation) in instruction.parts.iter().enumerate() {
            let is_here = other == index && part == view.part;
            let mark = if is_here { '>' } else { ' ' };
            let place =
                if part == 0 { format!("{:04x}", instruction.at) } else { "   +".to_owned() };
            let what = visible(&operation.text);
            let _ = writeln!(out, "{mark} {place}  {what:<36} {}", operation.picture);
        }
    }
    out
}

fn source(
    view: &View,
    code: &Code,
    lines: &Lines,
    breakpoints: &Breakpoints,
    count: usize,
) -> String {
    if lines.is_empty() {
        return "source: not at hand, the script came as an image\n".to_owned();
    }
    let Some(position) = view.position(code) else {
        return "source: it is not known which line this is of\n".to_owned();
    };
    let first = (position.line as usize).saturating_sub(count).max(1);
    let last = (position.line as usize).saturating_add(count).min(lines.len());
    let mut out = String::new();
    for number in first as u32..=last as u32 {
        let mark = if number == position.line { '>' } else { ' ' };
        let stop = if breakpoints.has_line(number) { '*' } else { ' ' };
        let text = lines.line(number).unwrap_or_default();
        let _ = writeln!(out, "{}", format!("{mark}{stop}{number:>5}  {text}").trim_end());
    }
    out
}

fn listed(breakpoints: &Breakpoints) -> String {
    let mut out = String::new();
    for breakpoint in breakpoints.list() {
        let places: Vec<String> =
            breakpoint.places.iter().map(|place| format!("{place:04x}")).collect();
        let _ = writeln!(out, "breakpoint: {}, at {}", breakpoint.spot, places.join(" "));
    }
    if out.is_empty() { "breakpoint: none\n".to_owned() } else { out }
}
