//! A window of a run, instruction by instruction: what each took from the stack
//! and what it left there.
//!
//! It owns an observer of the machine and the text of values in it, and the numbers of
//! instructions: those that `memory` and `weigh` count by. The operations of one instruction
//! are lines of one number. The window is all that is kept: a run of a billion instructions
//! before it costs time and no memory. It refuses to print.

use std::collections::HashMap;
use std::fmt::Write;
use std::ops::Range;

use scruple_bytecode::encoding::Fetched;
use scruple_bytecode::image::Image;
use scruple_bytecode::listing;
use scruple_bytecode::operand::FunctionId;
use scruple_bytecode::ops::Flow;
use scruple_vm::{Host, Layout, Narrow, Observer, Outcome, Raise, Step, Steps, Value, Vm};

use crate::machine::{self, Run, Setup};
use crate::report::visible;

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
    /// How many instructions have lines.
    n_shown: usize,
    /// Instructions begun so far.
    n_begun: u64,
    /// By place, how many operations there are behind the first of an instruction.
    parts_behind: HashMap<usize, usize>,
    /// The instruction at hand at each depth of calls from built-ins: while one is under way,
    /// what it calls back has numbers of its own.
    at_hand: Vec<AtHand>,
    /// The line of every instruction under way, if it has one: a call of a
    /// built-in is under way while that calls back.
    open: Vec<Option<usize>>,
}

/// An instruction, and how many of its operations are still to come.
#[derive(Clone, Copy, Debug)]
struct AtHand {
    number: u64,
    n_left: usize,
}

/// One operation that was carried out.
#[derive(Clone, Debug)]
pub struct Line {
    /// The number of its instruction in the run, from 1.
    pub number: u64,
    /// Whether it is an operation behind the first of that instruction.
    pub is_part: bool,
    /// Where it is and what it is.
    pub step: Step,
    /// The values it took, the top of the stack last.
    pub taken: Vec<String>,
    /// What it did.
    pub done: Done,
    frame: usize,
}

/// What an operation did.
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
    /// Watches a window of a run of this image.
    pub fn new(window: Window, image: &Image<'_>) -> Tracer {
        let mut parts_behind = HashMap::new();
        for id in (0..image.n_functions()).filter_map(FunctionId::new) {
            let (Some(function), Some(end)) = (image.function(id), image.code_end(id)) else {
                continue;
            };
            let code = image.walk(function.code as usize).take_while(|&(at, _)| at < end as usize);
            let behind = code.map(|(at, instruction)| (at, instruction.n_parts() - 1));
            parts_behind.extend(behind.filter(|&(_, behind)| behind > 0));
        }
        Tracer {
            window,
            lines: Vec::new(),
            n_shown: 0,
            n_begun: 0,
            parts_behind,
            at_hand: Vec::new(),
            open: Vec::new(),
        }
    }

    /// What it saw.
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// Whether it saw as many instructions as it was to.
    pub fn is_full(&self) -> bool {
        self.n_shown >= self.window.count
    }

    /// The number of the instruction that an operation is of, and whether others of it came
    /// before.
    fn number(&mut self, step: Step) -> (u64, bool) {
        let depth = self.open.len();
        self.at_hand.truncate(depth + 1);
        if let Some(AtHand { number, n_left }) = self.at_hand.get_mut(depth)
            && *n_left > 0
        {
            *n_left -= 1;
            return (*number, true);
        }
        self.n_begun += 1;
        let n_left = self.parts_behind.get(&step.at).copied().unwrap_or(0);
        self.at_hand.truncate(depth);
        self.at_hand.push(AtHand { number: self.n_begun, n_left });
        (self.n_begun, false)
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
        let tracer = vm.host_mut().observer();
        let (number, is_part) = tracer.number(step);
        if tracer.is_full() && !is_part {
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
        tracer.n_shown += usize::from(!is_part);
        tracer.lines.push(Line { number, is_part, step, taken, done: Done::UnderWay, frame });
        Ok(())
    }

    fn after<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
        outcome: Outcome,
    ) {
        let tracer = vm.host_mut().observer();
        let line = tracer.open.pop();
        // What threw has no operations to come.
        if outcome == Outcome::Threw
            && let Some(at_hand) = tracer.at_hand.get_mut(tracer.open.len())
        {
            at_hand.n_left = 0;
        }
        let Some(Some(index)) = line else { return };
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
pub(crate) fn n_left(place: usize, step: Step) -> usize {
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

/// A value in a few characters: strings quoted, and cut; and the zero told that ToString
/// does not tell.
pub(crate) fn text_of<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, value: Value<L>) -> String {
    if vm.as_number(value).is_some_and(|number| number == 0.0 && number.is_sign_negative()) {
        return "-0".to_owned();
    }
    let mut text = Short { text: String::new(), left: SHOWN };
    // What is cut off ends the description early: that is no error.
    let whole = vm.describe(value, &mut text).is_ok();
    let cut = if whole { "" } else { "…" };
    // What a script throws or names may have line ends, and would be taken for lines of ours.
    if value.is_string() {
        visible(&format!("{:?}{cut}", text.text))
    } else {
        visible(&text.text) + cut
    }
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

/// The window as text, a line an operation, and one where the function changes.
pub fn render(image: &Image<'_>, lines: &[Line]) -> String {
    let mut out = String::new();
    let mut shown = None;
    for line in lines {
        let id = image.function_at(line.step.at);
        if id != shown {
            shown = id;
            if let Some(id) = id {
                let _ = writeln!(
                    out,
                    "; in function {} {}",
                    id.index(),
                    visible(&function_name(image, id))
                );
            }
        }
        let _ = writeln!(out, "{}", line_text(image, line));
    }
    out
}

impl Line {
    /// What it is, names and values resolved.
    pub fn operation(&self, image: &Image<'_>) -> String {
        let Step { at, next, op, operand, .. } = self.step;
        let mut text = String::new();
        if let Some(id) = image.function_at(at) {
            // A String takes whatever is written.
            let _ = listing::write_instruction(&mut text, image, id, Fetched { op, operand, next });
        }
        text
    }
}

impl Done {
    /// As text: the values left, or what else became of it.
    pub fn describe(&self) -> String {
        match self {
            Done::Left(values) => values.join(" "),
            Done::Entered => "(enters)".to_owned(),
            Done::Returned(value) => format!("(returns) {value}"),
            Done::Threw(value) => format!("(throws) {value}"),
            Done::Stopped => "(ends the run)".to_owned(),
            Done::UnderWay => "(under way)".to_owned(),
        }
    }
}

fn line_text(image: &Image<'_>, line: &Line) -> String {
    let (at, what) = (line.step.at, visible(&line.operation(image)));
    let number = if line.is_part { "+".to_owned() } else { line.number.to_string() };
    format!("{number:>9}  {at:04x}  {what:<38}  {}", effect(&line.taken, &line.done))
}

/// What an operation took and what it did, as a stack effect of values.
pub(crate) fn effect(taken: &[String], done: &Done) -> String {
    let (taken, done) = (taken.join(" "), done.describe());
    let gap = |text: &str| if text.is_empty() { "" } else { " " };
    format!("({}{taken} -- {done}{})", gap(&taken), gap(&done))
}
