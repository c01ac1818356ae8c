//! Stepping through a run, forward and back.
//!
//! It owns the session: a machine that waits at each pause while a [`Pilot`] is asked what
//! to do next, and the way back. A run is the same to the instruction each time, so going
//! back is running again from the start up to the number before; nothing of a run is kept
//! but what a pause shows. That costs the time of all instructions up to there, and no
//! memory. It refuses to know of terminals: a front end is a pilot.

pub mod breakpoints;
pub mod code;
pub mod plain;
#[cfg(feature = "terminal")]
pub mod screen;
pub mod text;
pub mod view;
mod watcher;
pub mod words;

use std::io;
use std::sync::{Arc, Mutex, PoisonError};

use crate::feed::Feed;
use crate::layout::HeapLayout;
use crate::machine::{self, Run, Setup};
use crate::options::{Limits, REGION};
use crate::station::Output;

use breakpoints::Breakpoints;
use code::Code;
use view::{Memory, Read, View, Why};
use watcher::{Printed, Request, Watcher};

pub use watcher::Line;

/// What is stepped through.
#[derive(Clone, Debug)]
pub struct Program {
    /// The image.
    pub image: Vec<u8>,
    /// What the sensors read.
    pub feed: Arc<Feed>,
    /// The limits of the run.
    pub limits: Limits,
    /// The layout of the heap.
    pub layout: HeapLayout,
}

/// A run that waits.
#[derive(Clone, Debug)]
pub struct Pause {
    /// What there is to see.
    pub view: View,
    /// Why it waits.
    pub why: Why,
}

/// Where a run is to go on to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Goal {
    /// The instruction of this number, past breakpoints.
    Number(u64),
    /// The next operation: where an instruction is one, the next instruction.
    Operation,
    /// The next instruction of this call, or of one that it returns to.
    Over,
    /// The first instruction behind the return of this call.
    Out,
    /// The next source line.
    Line {
        /// Whether calls that are made on the way are passed.
        over: bool,
    },
    /// A breakpoint, or the end.
    Run,
}

/// What to do at a pause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Command {
    /// Go on.
    Go(Goal),
    /// Go to the instruction of this number, back too.
    To(u64),
    /// End the session.
    Quit,
}

/// Who says what to do at each pause.
pub trait Pilot: Send {
    /// What to do next. A command that cannot be done from here ([`why_not`]) is asked for
    /// again.
    fn ask(&mut self, pause: &Pause, breakpoints: &mut Breakpoints) -> Command;

    /// Whether the run is to pause where it is. It is asked now and then, with the number
    /// of the instruction at hand, while a run goes on.
    fn wants_pause(&mut self, number: u64) -> bool {
        let _ = number;
        false
    }

    /// What kept it from reading or writing, if something did and it gave up for that.
    fn fault(&mut self) -> Option<io::Error> {
        None
    }
}

/// Why a command cannot be done from here.
pub fn why_not(view: &View, code: &Code, command: Command) -> Option<String> {
    match command {
        Command::Quit => None,
        Command::Go(_) if view.is_over => {
            Some("the run is over: there is only the way back".to_owned())
        }
        Command::Go(Goal::Line { .. }) if !code.has_lines() => {
            Some("the image has no line table: go by instruction".to_owned())
        }
        Command::Go(_) => None,
        Command::To(_) if view.is_over && view.counts.instructions == 0 => {
            Some("no instruction was carried out".to_owned())
        }
        Command::To(0) => match view.number {
            1 => Some("this is the first instruction".to_owned()),
            _ => Some("instructions are numbered from 1".to_owned()),
        },
        Command::To(number) if view.is_over && number >= view.number => {
            let n_instructions = view.counts.instructions;
            Some(format!("the run is over: its last instruction is {n_instructions}"))
        }
        Command::To(number) if number == view.number && view.part == 0 => {
            Some(format!("this is instruction {number}"))
        }
        Command::To(_) => None,
    }
}

/// Steps through a run until the pilot has had enough, and gives that back.
///
/// To be called on a [large stack](crate::build::on_large_stack), as every run.
pub fn run(program: &Program, code: &Arc<Code>, pilot: Box<dyn Pilot>) -> Box<dyn Pilot> {
    let (mut pilot, mut breakpoints, mut number) = (pilot, Breakpoints::default(), 1);
    loop {
        let printed = Arc::new(Mutex::new(Printed::default()));
        let watcher =
            Watcher::new(pilot, breakpoints, Arc::clone(code), Arc::clone(&printed), number);
        let setup = Setup {
            image: &program.image,
            region: REGION,
            feed: Arc::clone(&program.feed),
            limits: program.limits,
            collect_every: usize::MAX,
            output: Output::Passed(Box::new(move |text| {
                printed.lock().unwrap_or_else(PoisonError::into_inner).take(text);
            })),
            observer: watcher,
        };
        let run = machine::run_over(program.layout, setup);
        let request = match run.observer.request {
            Some(request) => {
                (pilot, breakpoints) = (run.observer.pilot, run.observer.breakpoints);
                request
            }
            None => {
                let pause = pause_at_the_end(&run, code);
                (pilot, breakpoints) = (run.observer.pilot, run.observer.breakpoints);
                ask_at_the_end(&pause, code, pilot.as_mut(), &mut breakpoints)
            }
        };
        match request {
            Request::Again(wanted) => number = wanted,
            Request::Quit => return pilot,
        }
    }
}

/// What is left to see of a run that is over.
fn pause_at_the_end(run: &Run<Watcher>, code: &Code) -> Pause {
    let failure = run.end.as_ref().err();
    let offset = failure.and_then(|failure| failure.code_offset);
    let at = offset.and_then(|offset| code.around(offset)).map(|instruction| instruction.at);
    let read = Read { memory: Memory::new(&run.ledger, 0), ..Read::default() };
    let view = run.observer.at_the_end(at, (run.instructions, run.operations), read);
    let why = match failure {
        Some(failure) => Why::Failed(Box::new(failure.clone())),
        None => Why::Ended,
    };
    Pause { view, why }
}

fn ask_at_the_end(
    pause: &Pause,
    code: &Code,
    pilot: &mut dyn Pilot,
    breakpoints: &mut Breakpoints,
) -> Request {
    loop {
        let command = pilot.ask(pause, breakpoints);
        match command {
            Command::Quit => return Request::Quit,
            Command::To(number) if why_not(&pause.view, code, command).is_none() => {
                return Request::Again(number);
            }
            Command::To(_) | Command::Go(_) => {}
        }
    }
}
