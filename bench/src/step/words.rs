//! The words that a stepper is told in: a command a line.
//!
//! It owns the words and what they ask for. It refuses a line it does not know with the
//! reason, and does nothing then.

use super::breakpoints::Spot;
use super::{Command, Goal, view::View};

/// What a line asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Request {
    /// To go on, to go back, or to end.
    Go(Command),
    /// A breakpoint.
    Break(Spot),
    /// One breakpoint less.
    Remove(Spot),
    /// None any more.
    RemoveAll,
    /// To show something.
    Show(What),
}

/// What can be shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Where the run is, what it did and what it holds.
    State,
    /// The open calls.
    Calls,
    /// Slots and captures of the running call.
    Slots,
    /// The globals.
    Globals,
    /// Bytes of the memory by category.
    Memory,
    /// What the script has printed.
    Output,
    /// So many instructions before and behind.
    Code(usize),
    /// So many source lines before and behind.
    Source(usize),
    /// The breakpoints.
    Breakpoints,
    /// The words.
    Help,
}

/// Lines that are shown before and behind, unless it is said how many.
const AROUND: usize = 5;

/// Every word, for people.
pub const HELP: &str = "\
step [N]          carry out one instruction, or N of them, past breakpoints
operation         one operation: of an instruction of several, its next one
over              one instruction, and all of a call that it makes
out               on until the running function has returned
line              on to the next source line, into what is called on the way
line over         on to the next source line, past what is called on the way
run               on to a breakpoint, or to the end
to N              to instruction N, on or back, past breakpoints
back [N]          back by one instruction, or by N
start             back to the first instruction
break LINE        pause where the run comes to a source line, at each turn of a loop on it
break NAME        pause where a function of this name is called, as `calls` shows it
break function N  pause where the function of this number is called
break             show the breakpoints
remove LINE|NAME  remove a breakpoint, of a number too; `remove all` removes all
show              show again where the run is
calls             the open calls, the running one first
slots             what the running call's slots and captured variables hold
globals           what the script's globals hold
memory            bytes of heap and stack by category, now and at the most
output            what the script has printed, the last 64 KiB of it
code [N]          instructions around, N before and behind
source [N]        source lines around, N before and behind
help              these words
quit              end; so does the end of the input

Going back is running again from the start up to there, and takes as long.
The heap of `counts` has the collector's bytes in it, which the limit of --heap leaves out.
";

/// Reads a line. An empty one asks for nothing.
pub fn read(line: &str, view: &View) -> Result<Option<Request>, String> {
    let line = line.trim();
    let behind = line.split_once(char::is_whitespace).map_or("", |(_, behind)| behind.trim());
    let mut words = line.split_whitespace();
    let Some(word) = words.next() else { return Ok(None) };
    let rest: Vec<&str> = words.collect();
    let go = |goal| Request::Go(Command::Go(goal));
    let to = |number| Request::Go(Command::To(number));
    let request = match (word, rest.as_slice()) {
        ("step", []) => to(view.begun.saturating_add(1)),
        ("step", [count]) => to(view.begun.saturating_add(number(word, count)?)),
        ("operation", []) => go(Goal::Operation),
        ("over", []) => go(Goal::Over),
        ("out", []) => go(Goal::Out),
        ("line", []) => go(Goal::Line { over: false }),
        ("line", ["over"]) => go(Goal::Line { over: true }),
        ("run", []) => go(Goal::Run),
        ("to", [place]) => to(number(word, place)?),
        ("back", []) => to(view.before()),
        ("back", [count]) => to(back(view, number(word, count)?)),
        ("start", []) => to(1),
        ("break", []) => Request::Show(What::Breakpoints),
        ("remove", ["all"]) => Request::RemoveAll,
        ("break", _) => Request::Break(spot_of(behind)?),
        ("remove", [_, ..]) => Request::Remove(spot_of(behind)?),
        ("show", []) => Request::Show(What::State),
        ("calls", []) => Request::Show(What::Calls),
        ("slots", []) => Request::Show(What::Slots),
        ("globals", []) => Request::Show(What::Globals),
        ("memory", []) => Request::Show(What::Memory),
        ("output", []) => Request::Show(What::Output),
        ("code", []) => Request::Show(What::Code(AROUND)),
        ("code", [count]) => Request::Show(What::Code(number(word, count)? as usize)),
        ("source", []) => Request::Show(What::Source(AROUND)),
        ("source", [count]) => Request::Show(What::Source(number(word, count)? as usize)),
        ("help", []) => Request::Show(What::Help),
        ("quit", []) => Request::Go(Command::Quit),
        _ => return Err(wrong(word)),
    };
    Ok(Some(request))
}

/// The number that is so many instructions back: the first one at the least, and nothing
/// where that is the one at hand.
pub fn back(view: &View, count: u64) -> u64 {
    match view.before() {
        0 => 0,
        before => before.saturating_sub(count - 1).max(1),
    }
}

fn spot_of(word: &str) -> Result<Spot, String> {
    match Spot::from_words(word) {
        Spot::Line(0) => Err("lines are numbered from 1".to_owned()),
        spot => Ok(spot),
    }
}

fn number(word: &str, text: &str) -> Result<u64, String> {
    let number: Option<u64> = text.parse().ok();
    number.filter(|&number| number > 0).ok_or_else(|| {
        format!("{word} needs a whole number from 1, not {text:?}: help tells the words")
    })
}

/// What is wrong with a line: the word, or what stands behind it.
fn wrong(word: &str) -> String {
    let usages = HELP.lines().take_while(|line| !line.is_empty());
    let own: Vec<&str> = usages
        .filter(|usage| usage.split_whitespace().next() == Some(word))
        .map(|usage| usage.get(..18).unwrap_or(usage).trim_end())
        .collect();
    if own.is_empty() {
        return format!("no command {word:?}: help tells the words");
    }
    format!("not so: it is {}", own.join(", or "))
}
