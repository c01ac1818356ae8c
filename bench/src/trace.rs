//! A window of a run, instruction by instruction: what each took from the stack
//! and what it left there.
//!
//! It owns an observer of the machine and the text of values in it. The window is
//! all that is kept: a run of a billion instructions before it costs time and no
//! memory. It refuses to print.

use std::fmt::Write;
use std::ops::Range;

use scruple_bytecode::encoding::Fetched;
use scruple_bytecode::image::Image;
use scruple_bytecode::listing;
use scruple_bytecode::operand::FunctionId;
use scruple_bytecode::ops::Flow;
use scruple_vm::{Host, Layout, Narrow, Observer, Outcome, Raise, Step, Steps, Value, Vm};

use crate::machine::{self, Run, Setup};

/// Characters of a value's text that are shown.
const SHOWN: usize = 24;

/// Which instructions are to be seen.
#[derive(Clone, Debug)]
pub struct Window {
    /// The number of the first instruction, from 1.
    pub from: u64,
    /// How many at most.
    pub count: usize,
    /// Only those in these ranges of the code section, if there are any.
    pub code: Vec<Range<usize>>,
}

/// Watches a window of a run.
#[derive(Debug)]
pub struct Tracer {
    window: Window,
    lines: Vec<Line>,
    /// The line of every instruction under way, if it has one: a call of a
    /// built-in is under way while that calls back.
    open: Vec<Option<usize>>,
}

/// One instruction that was carried out.
#[derive(Clone, Debug)]
pub struct Line {
    /// Its number in the run, from 1.
    pub number: u64,
    /// Where it is and what it is.
    pub step: Step,
    /// The values it took, the top of the stack last.
    pub taken: Vec<String>,
    /// What it did.
    pub done: Done,
    frame: usize,
}

/// What an instruction did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Done {
    /// It left these values, the top of the stack last.
    Left(Vec<String>),
    /// It entered a function.
    Entered,
    /// It returned a value to the caller.
    Returned(String),
    /// It threw.
    Threw(String),
    /// It ended the run.
    Stopped,
    /// It was under way when the window ended.
    UnderWay,
}

impl Tracer {
    /// Watches a window.
    pub fn new(window: Window) -> Tracer {
        Tracer { window, lines: Vec::new(), open: Vec::new() }
    }

    /// What it saw.
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// Whether it saw as many instructions as it was to.
    pub fn is_full(&self) -> bool {
        self.lines.len() >= self.window.count
    }

    fn wants(&self, number: u64, step: Step) -> bool {
        let code = &self.window.code;
        number >= self.window.from
            && (code.is_empty() || code.iter().any(|range| range.contains(&step.at)))
    }
}

/// Runs an image with a tracer looking on.
pub fn run(setup: Setup<'_, Tracer>) -> Run<Tracer> {
    machine::run::<Narrow, Tracer>(setup)
}

impl Observer for Tracer {
    type Tally = ();
    type Wants = Steps;

    fn count((): &mut (), _: usize) {}

    fn absorb(&mut self, (): ()) {}

    fn before<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
    ) -> Result<(), Raise> {
        let number = vm.operations();
        let tracer = vm.host_mut().observer();
        if tracer.is_full() {
            return Err(Raise::stop_run());
        }
        if !tracer.wants(number, step) {
            tracer.open.push(None);
            return Ok(());
        }
        let taken = operands(vm, step.op.info().effect.taken(step.operand) as usize);
        let frame = vm.frame();
        let tracer = vm.host_mut().observer();
        tracer.open.push(Some(tracer.lines.len()));
        tracer.lines.push(Line { number, step, taken, done: Done::UnderWay, frame });
        Ok(())
    }

    fn after<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
        outcome: Outcome,
    ) {
        let tracer = vm.host_mut().observer();
        let Some(Some(index)) = tracer.open.pop() else { return };
        let Some(before) = tracer.lines.get(index).map(|line| line.frame) else { return };
        let done = match outcome {
            Outcome::Stopped => Done::Stopped,
            Outcome::Threw => Done::Threw(text_of(vm, vm.thrown())),
            Outcome::Done if vm.frame() < before => Done::Entered,
            Outcome::Done if vm.frame() > before => {
                Done::Returned(operands(vm, 1).pop().unwrap_or_default())
            }
            Outcome::Done => Done::Left(operands(vm, n_left(vm.place(), step))),
        };
        if let Some(line) = vm.host_mut().observer().lines.get_mut(index) {
            line.done = done;
        }
    }
}

/// How many values an instruction left that has gone on to a place.
fn n_left(place: usize, step: Step) -> usize {
    let info = step.op.info();
    match info.flow {
        Flow::Branch(left) if place != step.next => left as usize,
        _ => info.effect.pushes as usize,
    }
}

/// The topmost values, the top last.
fn operands<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, count: usize) -> Vec<String> {
    let values: Vec<Value<L>> = (0..count).rev().filter_map(|depth| vm.operand(depth)).collect();
    values.into_iter().map(|value| text_of(vm, value)).collect()
}

/// A value in a few characters: strings quoted, and cut.
fn text_of<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, value: Value<L>) -> String {
    let mut text = Short { text: String::new(), left: SHOWN };
    // What is cut off ends the description early: that is no error.
    let whole = vm.describe(value, &mut text).is_ok();
    let cut = if whole { "" } else { "…" };
    if value.is_string() { format!("{:?}{cut}", text.text) } else { format!("{}{cut}", text.text) }
}

/// Takes so many characters and no more.
struct Short {
    text: String,
    left: usize,
}

impl Write for Short {
    fn write_str(&mut self, s: &str) -> std::fmt::Result {
        for ch in s.chars() {
            self.left = self.left.checked_sub(1).ok_or(std::fmt::Error)?;
            self.text.push(ch);
        }
        Ok(())
    }
}

/// The functions of an image with this name, or this number, as ranges of code.
pub fn functions_named(image: &Image<'_>, name: &str) -> Vec<(FunctionId, Range<usize>)> {
    (0..image.n_functions())
        .filter_map(|index| {
            let id = FunctionId::new(index)?;
            let named = function_name(image, id) == name || name.parse() == Ok(index);
            let range = image.function(id)?.code as usize..image.code_end(id)? as usize;
            named.then_some((id, range))
        })
        .collect()
}

/// A function's name, or what it is.
pub fn function_name(image: &Image<'_>, id: FunctionId) -> String {
    let mut name = String::new();
    // A String takes whatever is written.
    let _ = listing::write_function_name(&mut name, image, id);
    name
}

/// The window as text, a line an instruction, and one where the function changes.
pub fn render(image: &Image<'_>, lines: &[Line]) -> String {
    let mut out = String::new();
    let mut shown = None;
    for line in lines {
        let id = image.function_at(line.step.at);
        if id != shown {
            shown = id;
            if let Some(id) = id {
                let _ = writeln!(out, "; in function {} {}", id.index(), function_name(image, id));
            }
        }
        let _ = writeln!(out, "{}", line_text(image, id, line));
    }
    out
}

fn line_text(image: &Image<'_>, id: Option<FunctionId>, line: &Line) -> String {
    let Step { at, next, op, operand, .. } = line.step;
    let mut what = String::new();
    if let Some(id) = id {
        let _ = listing::write_instruction(&mut what, image, id, Fetched { op, operand, next });
    }
    let done = match &line.done {
        Done::Left(values) => values.join(" "),
        Done::Entered => "(enters)".to_owned(),
        Done::Returned(value) => format!("(returns) {value}"),
        Done::Threw(value) => format!("(throws) {value}"),
        Done::Stopped => "(ends the run)".to_owned(),
        Done::UnderWay => "(under way)".to_owned(),
    };
    let text =
        format!("{:>9}  {at:04x}  {what:<38}  ( {} -- {done} )", line.number, line.taken.join(" "));
    text.replace("(  --", "( --").replace("--  )", "-- )")
}
