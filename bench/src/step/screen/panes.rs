//! What each pane says, as rows of text: which of them is the one at hand, and which is a
//! breakpoint.
//!
//! It refuses to know how wide or high a pane is.

use crate::report::{counted, visible};

use super::super::breakpoints::Breakpoints;
use super::super::code::Code;
use super::super::text::{Lines, categories};
use super::super::view::View;
use super::Pane;

/// A row of a pane.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Row {
    /// Whether the run is there.
    pub(super) is_here: bool,
    /// Whether a breakpoint is there.
    pub(super) has_breakpoint: bool,
    /// What it says.
    pub(super) text: String,
}

impl Row {
    fn of(text: String) -> Row {
        Row { text, ..Row::default() }
    }

    /// A mark for the place of the run and one for a breakpoint.
    pub(super) fn marks(&self) -> String {
        let here = if self.is_here { '>' } else { ' ' };
        let stop = if self.has_breakpoint { '*' } else { ' ' };
        format!("{here}{stop}")
    }
}

/// The rows of a pane, and which of them is to be seen whatever else is: of no pane is it
/// one that is not there.
pub(super) fn rows(
    pane: Pane,
    view: &View,
    code: &Code,
    lines: &Lines,
    breakpoints: &Breakpoints,
) -> (Vec<Row>, usize) {
    let rows = match pane {
        Pane::Source => return source(view, code, lines, breakpoints),
        Pane::Code => return instructions(view, code, breakpoints),
        Pane::Operands => operands(view),
        Pane::Slots => slots(view, code),
        Pane::Calls => calls(view),
        Pane::Memory => memory(view),
        Pane::Output => {
            let rows: Vec<Row> = view.output.lines().map(|line| Row::of(visible(line))).collect();
            let last = rows.len().saturating_sub(1);
            return (rows, last);
        }
    };
    (rows, 0)
}

fn source(view: &View, code: &Code, lines: &Lines, breakpoints: &Breakpoints) -> (Vec<Row>, usize) {
    let line = view.position(code).map(|position| position.line);
    if lines.is_empty() {
        let text = match line {
            Some(line) => format!("line {line} of a source that is not at hand"),
            None => "the source is not at hand".to_owned(),
        };
        return (vec![Row::of(text)], 0);
    }
    let row = |number: u32| Row {
        is_here: Some(number) == line,
        has_breakpoint: breakpoints.has_line(number),
        text: format!("{number:>4} {}", lines.line(number).unwrap_or_default()),
    };
    let rows: Vec<Row> = (1..=lines.len() as u32).map(row).collect();
    let here = line.map_or(0, |line| line as usize - 1);
    let here = here.min(rows.len().saturating_sub(1));
    (rows, here)
}

fn instructions(view: &View, code: &Code, breakpoints: &Breakpoints) -> (Vec<Row>, usize) {
    let Some(index) = view.at.and_then(|at| code.index_at(at)) else {
        return (vec![Row::of("the run is at no instruction".to_owned())], 0);
    };
    let all = code.instructions();
    let function = all.get(index).map_or(0, |instruction| instruction.function);
    let title = format!("function {function} {}", visible(code.name(function)));
    let (mut rows, mut here) = (vec![Row::of(title)], 0);
    let own = all.iter().enumerate().filter(|(_, other)| other.function == function);
    for (other, instruction) in own {
        let has_breakpoint =
            breakpoints.list().iter().any(|point| point.places.contains(&instruction.at));
        for (part, operation) in instruction.parts.iter().enumerate() {
            let is_here = other == index && part == view.part && !view.is_over;
            if other == index && part == view.part {
                here = rows.len();
            }
            let place = match part {
                0 => format!("{:04x}", instruction.at),
                _ => "   +".to_owned(),
            };
            let what = visible(&operation.text);
            rows.push(Row {
                is_here,
                has_breakpoint: has_breakpoint && part == 0,
                text: format!("{place} {what:<24} {}", operation.picture),
            });
        }
    }
    (rows, here)
}

/// The top of the stack first: it is what the instruction takes.
fn operands(view: &View) -> Vec<Row> {
    let mut rows: Vec<Row> = view.operands.iter().rev().cloned().map(Row::of).collect();
    if view.more_operands > 0 {
        rows.push(Row::of(format!("({} more)", view.more_operands)));
    }
    if rows.is_empty() { vec![Row::of("none".to_owned())] } else { rows }
}

fn slots(view: &View, code: &Code) -> Vec<Row> {
    let running = view.calls.first().and_then(|call| code.functions().get(call.function));
    let n_params = running.map_or(0, |function| function.n_params);
    let mut rows = Vec::new();
    for (slot, value) in view.slots.iter().enumerate() {
        let what = if slot < n_params { "parameter" } else { "slot" };
        rows.push(Row::of(format!("{what} {slot}: {value}")));
    }
    rows.extend(view.this.iter().map(|this| Row::of(format!("this: {this}"))));
    for (capture, value) in view.captures.iter().enumerate() {
        rows.push(Row::of(format!("captured {capture}: {value}")));
    }
    for (name, value) in &view.globals {
        rows.push(Row::of(format!("global {}: {value}", visible(name))));
    }
    rows
}

fn calls(view: &View) -> Vec<Row> {
    let mut rows = Vec::new();
    for call in &view.calls {
        let place = match call.position {
            Some(position) => format!("line {}", position.line),
            None => format!("{:04x}", call.at),
        };
        let by = match (call.is_called_back, call.is_of_timer) {
            (true, _) => ", by a built-in",
            (_, true) => ", by a timer",
            _ => "",
        };
        let how = if call.constructs { ", by new" } else { "" };
        rows.push(Row::of(format!("{} {place}{how}{by}", visible(&call.name))));
    }
    if view.more_calls > 0 {
        rows.push(Row::of(format!("({} more)", view.more_calls)));
    }
    if rows.is_empty() { vec![Row::of("none is open".to_owned())] } else { rows }
}

fn memory(view: &View) -> Vec<Row> {
    let (counts, memory) = (&view.counts, &view.memory);
    let (heap, stack) = (memory.now.total - memory.now.stack, memory.now.stack);
    let mut texts = vec![
        format!("heap {heap} bytes, stack {stack}"),
        format!("most at once {} bytes", memory.high_water.total),
        counted(counts.instructions, "instruction"),
        counted(counts.operations, "operation"),
        format!("{} fetched", counted(counts.fetched_bytes, "byte")),
        counted(memory.allocations, "block") + " made",
        counted(memory.collections, "collection"),
    ];
    let now = categories(&memory.now).into_iter().filter(|&(_, bytes)| bytes > 0);
    texts.extend(now.map(|(name, bytes)| format!("{name} {bytes}")));
    texts.into_iter().map(Row::of).collect()
}
