//! The observer of a run that is stepped through: it pauses where its goal is reached, and
//! asks what to do next while the machine waits.
//!
//! It owns when to pause, and the record of what was carried out last. It refuses to go
//! back: it ends the run then, and whoever made the machine makes another.

use std::sync::{Arc, Mutex, PoisonError};

use scruple_vm::{Host, Layout, Observer, Outcome, Raise, Step, Steps, Value, Vm};

use crate::trace::{Done, n_left, text_of};

use super::breakpoints::Breakpoints;
use super::code::Code;
use super::view::{Counts, Read, View, Why, read};
use super::{Command, Goal, Pause, Pilot};

/// The most values of an operation that are told: the topmost.
const MOST_TOLD: usize = 32;

/// After how many instructions a pilot is asked whether it wants a pause: a few times a
/// second, and seldom enough to cost nothing.
const ASKED_EVERY: u64 = 1 << 14;

/// The most bytes of output that a view has: the last ones.
const MOST_OUTPUT: usize = 1 << 16;

/// An operation that was carried out, or is under way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The number of its instruction.
    pub number: u64,
    /// Which operation of the instruction it is, from 0.
    pub part: usize,
    /// Where the instruction is.
    pub at: usize,
    /// The values it took, the top of the stack last.
    pub taken: Vec<String>,
    /// What it did.
    pub done: Done,
}

/// What is to end a run before its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Request {
    /// To be run again up to the instruction of this number.
    Again(u64),
    /// Nothing more is wanted.
    Quit,
}

/// The observer.
pub(super) struct Watcher {
    pub(super) pilot: Box<dyn Pilot>,
    pub(super) breakpoints: Breakpoints,
    pub(super) request: Option<Request>,
    code: Arc<Code>,
    printed: Arc<Mutex<Printed>>,
    goal: Goal,
    /// Where the goal was set.
    from: Place,
    /// Whether the call that it was set in has returned.
    has_left: bool,
    /// Instructions begun so far.
    begun: u64,
    /// Bytes read for these.
    fetched: u64,
    /// The call that came to the operation at hand: another one where this was entered.
    frame: usize,
    /// The instruction before in the running call, if it came by one of its own.
    before: Option<usize>,
    /// The call that each operation under way is of: more than one where a built-in has
    /// called back.
    open: Vec<usize>,
    /// By that depth, the operations of the instruction at hand.
    trail: Vec<Vec<Told>>,
    /// The depth at which an operation began last.
    latest: usize,
    /// The depths at which one that was under way has been done since, in that order.
    done_since: Vec<usize>,
}

/// Where a goal was set.
#[derive(Clone, Copy, Debug, Default)]
struct Place {
    frame: usize,
    line: Option<u32>,
}

/// An operation, its values not made into texts yet where that takes time.
struct Told {
    number: u64,
    at: usize,
    taken: Vec<Glance>,
    done: Outcomes,
}

/// A value, or its text.
#[derive(Clone)]
enum Glance {
    Number(f64),
    Word(&'static str),
    Text(String),
}

impl Told {
    fn line(&self, part: usize) -> Line {
        let done = match &self.done {
            Outcomes::Left(values) => Done::Left(texts(values)),
            Outcomes::Entered => Done::Entered,
            Outcomes::Returned(values) => Done::Returned(texts(values).join(" ")),
            Outcomes::Threw(value) => Done::Threw(text(value)),
            Outcomes::Stopped => Done::Stopped,
            Outcomes::UnderWay => Done::UnderWay,
        };
        Line { number: self.number, part, at: self.at, taken: texts(&self.taken), done }
    }
}

enum Outcomes {
    Left(Vec<Glance>),
    Entered,
    Returned(Vec<Glance>),
    Threw(Glance),
    Stopped,
    UnderWay,
}

/// What the script has printed.
#[derive(Debug, Default)]
pub(super) struct Printed {
    tail: String,
    bytes: u64,
}

impl Printed {
    pub(super) fn take(&mut self, text: &str) {
        self.bytes += text.len() as u64;
        self.tail.push_str(text);
        // Not at every piece: what is cut is moved.
        if self.tail.len() > 2 * MOST_OUTPUT {
            self.tail = self.last().to_owned();
        }
    }

    fn last(&self) -> &str {
        let mut from = self.tail.len().saturating_sub(MOST_OUTPUT);
        while !self.tail.is_char_boundary(from) {
            from += 1;
        }
        &self.tail[from..]
    }
}

impl Watcher {
    /// Watches a run from its start to the instruction of that number.
    pub(super) fn new(
        pilot: Box<dyn Pilot>,
        breakpoints: Breakpoints,
        code: Arc<Code>,
        printed: Arc<Mutex<Printed>>,
        number: u64,
    ) -> Watcher {
        Watcher {
            pilot,
            breakpoints,
            request: None,
            code,
            printed,
            goal: Goal::Number(number),
            from: Place::default(),
            has_left: false,
            begun: 0,
            fetched: 0,
            frame: 0,
            before: None,
            open: Vec::new(),
            trail: Vec::new(),
            latest: 0,
            done_since: Vec::new(),
        }
    }

    /// What it saw up to the end of a run, of what the machine tells then.
    pub(super) fn at_the_end(&self, at: Option<usize>, counts: (u64, u64), read: Read) -> View {
        let (instructions, operations) = counts;
        let counts = Counts { instructions, operations, fetched_bytes: self.fetched };
        let number = instructions + 1;
        View { is_over: true, begun: number, ..self.view(number, 0, at, counts, read) }
    }

    fn view(
        &self,
        number: u64,
        part: usize,
        at: Option<usize>,
        counts: Counts,
        read: Read,
    ) -> View {
        let printed = self.printed.lock().unwrap_or_else(PoisonError::into_inner);
        let Read { calls, more_calls, operands, more_operands, .. } = read;
        View {
            number,
            begun: self.begun,
            part,
            at,
            is_over: false,
            last: self.told(),
            calls,
            more_calls,
            operands,
            more_operands,
            this: read.this,
            slots: read.slots,
            captures: read.captures,
            globals: read.globals,
            output: printed.last().to_owned(),
            output_bytes: printed.bytes,
            memory: read.memory,
            counts,
        }
    }

    fn told(&self) -> Vec<Line> {
        let depths = std::iter::once(&self.latest).chain(&self.done_since);
        let parts = depths.filter_map(|&depth| self.trail.get(depth));
        parts
            .flat_map(|parts| parts.iter().enumerate().map(|(part, told)| told.line(part)))
            .collect()
    }

    /// Why it pauses before this operation, if it does.
    fn pauses(&mut self, number: u64, is_first: bool, at: usize, frame: usize) -> Option<Why> {
        let from = self.from;
        let is_outside = self.has_left || frame > from.frame;
        let is_there = match self.goal {
            Goal::Operation => true,
            _ if !is_first => false,
            Goal::Number(wanted) => number >= wanted,
            Goal::Over => is_outside || frame == from.frame,
            Goal::Out => is_outside,
            Goal::Line { over } => {
                let counts = !over || is_outside || frame == from.frame;
                let line = self.line(at);
                let is_new = line != from.line || is_outside || frame != from.frame;
                counts && line.is_some() && is_new
            }
            Goal::Run => false,
        };
        if is_there {
            return Some(Why::There);
        }
        if !is_first {
            return None;
        }
        if !matches!(self.goal, Goal::Number(_)) && !self.breakpoints.list().is_empty() {
            let is_entered = frame != self.frame;
            let line = self.new_line(at, is_entered);
            if let Some(hit) = self.breakpoints.hit(at, is_entered, line) {
                return Some(Why::Breakpoint(hit.spot.to_string()));
            }
        }
        let is_asked = number.is_multiple_of(ASKED_EVERY) && self.pilot.wants_pause(number);
        is_asked.then_some(Why::Asked)
    }

    /// The line of an instruction, if the run comes to it here: from another line, by a call,
    /// or back to its beginning. What follows the return of a call that the line made is no
    /// coming.
    fn new_line(&self, at: usize, is_entered: bool) -> Option<u32> {
        let line = self.line(at)?;
        let goes_on = |before: usize| before < at && self.line(before) == Some(line);
        (is_entered || !self.before.is_some_and(goes_on)).then_some(line)
    }

    fn line(&self, at: usize) -> Option<u32> {
        Some(self.code.at(at)?.position?.line)
    }

    /// Asks what to do, until that is something that can be done from here.
    fn ask(&mut self, pause: Pause, frame: usize) -> Result<(), Raise> {
        loop {
            let request = match self.pilot.ask(&pause, &mut self.breakpoints) {
                Command::Go(goal) => {
                    let line = pause.view.at.and_then(|at| self.line(at));
                    (self.goal, self.from) = (goal, Place { frame, line });
                    self.has_left = false;
                    return Ok(());
                }
                Command::To(number) if number > pause.view.begun => {
                    self.goal = Goal::Number(number);
                    return Ok(());
                }
                Command::To(number) if number == pause.view.number && pause.view.part == 0 => {
                    continue;
                }
                Command::To(number) => Request::Again(number),
                Command::Quit => Request::Quit,
            };
            self.request = Some(request);
            return Err(Raise::stop_run());
        }
    }
}

fn texts(values: &[Glance]) -> Vec<String> {
    values.iter().map(text).collect()
}

fn text(value: &Glance) -> String {
    match value {
        // As the machine writes it.
        Glance::Number(number) if number.to_bits() == (-0.0f64).to_bits() => "-0".to_owned(),
        Glance::Number(number) => ryu_js::Buffer::new().format(*number).to_owned(),
        Glance::Word(word) => (*word).to_owned(),
        Glance::Text(text) => text.clone(),
    }
}

/// The text of a value is made where the value is: the machine may move it, or let it go.
/// Numbers and the like, which are most of them, can wait: with texts of all of them a run of
/// doubles went on at a third of the pace.
fn glance<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, value: Value<L>) -> Glance {
    match (vm.as_number(value), value.as_boolean()) {
        (Some(number), _) => Glance::Number(number),
        (_, Some(truth)) => Glance::Word(if truth { "true" } else { "false" }),
        _ if value.is_undefined() => Glance::Word("undefined"),
        _ => Glance::Text(text_of(vm, value)),
    }
}

/// The topmost values, the top last.
fn topmost<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, count: usize) -> Vec<Glance> {
    let mut values = Vec::with_capacity(count.min(MOST_TOLD) + 1);
    if count > MOST_TOLD {
        values.push(Glance::Text(format!("({} more)", count - MOST_TOLD)));
    }
    for depth in (0..count.min(MOST_TOLD)).rev() {
        if let Some(value) = vm.operand(depth) {
            values.push(glance(vm, value));
        }
    }
    values
}

impl Observer for Watcher {
    type Tally = ();
    type Wants = Steps;

    fn count((): &mut (), _: usize) {}

    fn absorb(&mut self, (): ()) {}

    fn before<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
    ) -> Result<(), Raise> {
        let (begun, operations, frame) = (vm.instructions(), vm.operations(), vm.frame());
        let watcher = vm.host_mut().observer();
        let depth = watcher.open.len();
        if watcher.trail.len() <= depth {
            watcher.trail.resize_with(depth + 1, Vec::new);
        }
        // The machine counts an instruction once, with its first operation.
        let is_first = begun != watcher.begun;
        watcher.begun = begun;
        let (number, part) = match watcher.trail[depth].first() {
            Some(first) if !is_first => (first.number, watcher.trail[depth].len()),
            _ => (begun, 0),
        };
        if let Some(why) = watcher.pauses(number, is_first, step.at, frame) {
            let code = Arc::clone(&watcher.code);
            let read = read(vm, &code, step.at);
            let watcher = vm.host_mut().observer();
            let counts = Counts {
                instructions: begun - u64::from(is_first),
                operations: operations - 1,
                fetched_bytes: watcher.fetched,
            };
            let view = watcher.view(number, part, Some(step.at), counts, read);
            watcher.ask(Pause { view, why }, frame)?;
        }
        let taken = topmost(vm, step.op.info().effect.taken(step.operand) as usize);
        let watcher = vm.host_mut().observer();
        if is_first {
            watcher.trail[depth].clear();
            let bytes = watcher.code.at(step.at).map_or(step.next - step.at, |own| own.fetched);
            watcher.fetched += bytes as u64;
        }
        watcher.trail[depth].push(Told { number, at: step.at, taken, done: Outcomes::UnderWay });
        watcher.open.push(frame);
        watcher.latest = depth;
        watcher.done_since.clear();
        watcher.frame = frame;
        Ok(())
    }

    fn after<L: Layout, H: Host<Observer = Self>>(
        vm: &mut Vm<'_, L, H>,
        step: Step,
        outcome: Outcome,
    ) {
        let frame = vm.frame();
        let Some(before) = vm.host_mut().observer().open.pop() else { return };
        let done = match outcome {
            Outcome::Stopped => Outcomes::Stopped,
            Outcome::Threw => {
                let thrown = vm.thrown();
                Outcomes::Threw(glance(vm, thrown))
            }
            Outcome::Done if frame < before => Outcomes::Entered,
            Outcome::Done if frame > before => Outcomes::Returned(topmost(vm, 1)),
            Outcome::Done => Outcomes::Left(topmost(vm, n_left(vm.place(), step))),
        };
        let place = vm.place();
        let watcher = vm.host_mut().observer();
        watcher.before = match outcome {
            // What called stands before the place that it returns to.
            Outcome::Done if frame > before => {
                watcher.code.around(place.saturating_sub(1)).map(|call| call.at)
            }
            Outcome::Threw => None,
            _ => Some(step.at),
        };
        let depth = watcher.open.len();
        // A call of a built-in that called back: what it called back came last, and is told too.
        if depth != watcher.latest {
            watcher.done_since.push(depth);
        }
        // Entered from here, whichever call it is that runs now.
        watcher.frame = if frame < before { before } else { frame };
        watcher.has_left |= frame > watcher.from.frame;
        if let Some(told) = watcher.trail.get_mut(depth).and_then(|parts| parts.last_mut()) {
            told.done = done;
        }
    }
}
