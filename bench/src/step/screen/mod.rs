//! The front end of panes: what it remembers between two pauses, and what keys do.
//!
//! It owns the keys. Drawing is beside it, a function of what is known and nothing else. It
//! refuses to read keys and to write to a terminal: whoever has one does.

mod draw;
mod panes;

use std::sync::Arc;

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::breakpoints::Breakpoints;
use super::code::Code;
use super::text::{Lines, show};
use super::words::{self, Request, What};
use super::{Command, Goal, Pause, why_not};

pub use draw::draw;

/// A part of the screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pane {
    /// The source around the line at hand.
    Source,
    /// The instructions around the one at hand.
    Code,
    /// The operands of the running call.
    Operands,
    /// Its slots, and what it has captured; the script's globals.
    Slots,
    /// The open calls.
    Calls,
    /// Counts, and bytes of the memory.
    Memory,
    /// What the script has printed.
    Output,
}

impl Pane {
    /// All of them, in the order that the focus goes.
    pub const ALL: &'static [Pane] = &[
        Pane::Source,
        Pane::Code,
        Pane::Operands,
        Pane::Slots,
        Pane::Calls,
        Pane::Memory,
        Pane::Output,
    ];

    /// What stands above it.
    pub fn title(self) -> &'static str {
        match self {
            Pane::Source => "source",
            Pane::Code => "code",
            Pane::Operands => "operands",
            Pane::Slots => "slots",
            Pane::Calls => "calls",
            Pane::Memory => "memory",
            Pane::Output => "output",
        }
    }

    fn index(self) -> usize {
        Pane::ALL.iter().position(|&pane| pane == self).unwrap_or(0)
    }
}

/// Columns that a pane is moved aside by.
const ASIDE: usize = 8;

/// What is told of all keys.
pub const KEYS: &str = "\
right, Enter, Space  one instruction on
left, Backspace      one instruction back
p                    one operation on: of an instruction of several, its next
o                    over: a call is carried out to its end
x                    exit: on until the running function has returned
l                    on to the next source line, into calls
L                    on to the next source line, past calls
r                    run on to a breakpoint or to the end; Esc or Ctrl-C pauses
Home                 back to the first instruction
g                    go to an instruction by its number
b                    set a breakpoint: a line, or the name of a function
B                    show the breakpoints; d removes one
:                    any command in words: `help` tells them
Tab, Shift-Tab       the next part of the screen, or the one before
up, down             scroll it by a line
PgUp, PgDn           scroll it by ten
<, >                 move it aside, to see what long lines say
?                    these keys; Esc closes them
q, Ctrl-C            quit

> marks where the run is, * a breakpoint.
Going back is running again from the start up to there, and takes as long.
";

/// What stays between two pauses.
#[derive(Debug)]
pub struct Ui {
    code: Arc<Code>,
    lines: Lines,
    /// Whether colours may be used.
    colour: bool,
    focus: Pane,
    scroll: [i32; Pane::ALL.len()],
    /// Columns that the pane of the focus leaves out at its left.
    aside: usize,
    /// What is said below, until the next key.
    message: String,
    /// The line that is being written, if one is.
    prompt: Option<String>,
    popup: Option<Popup>,
}

/// A text over the panes.
#[derive(Debug)]
struct Popup {
    title: &'static str,
    text: String,
    scroll: usize,
    aside: usize,
}

impl Ui {
    /// One that has heard nothing yet.
    pub fn new(code: Arc<Code>, lines: Lines, colour: bool) -> Ui {
        Ui {
            code,
            lines,
            colour,
            focus: Pane::Source,
            scroll: [0; Pane::ALL.len()],
            aside: 0,
            message: String::new(),
            prompt: None,
            popup: None,
        }
    }

    /// Says something below.
    pub fn say(&mut self, message: &str) {
        message.clone_into(&mut self.message);
    }

    /// A run has come to a pause: the panes show where it is.
    pub fn arrive(&mut self) {
        self.scroll = [0; Pane::ALL.len()];
        self.aside = 0;
        self.message.clear();
    }

    /// Takes a key, and tells what to do with the run if it asks for that.
    pub fn press(
        &mut self,
        key: KeyEvent,
        pause: &Pause,
        breakpoints: &mut Breakpoints,
    ) -> Option<Command> {
        // Some terminals tell when a key is let go, too.
        if key.kind == KeyEventKind::Release {
            return None;
        }
        if is_interrupt(key) {
            return Some(Command::Quit);
        }
        self.message.clear();
        if self.prompt.is_some() {
            return self.write(key, pause, breakpoints);
        }
        if self.popup.is_some() {
            self.read_popup(key.code);
            return None;
        }
        if key.modifiers.intersects(KeyModifiers::CONTROL | KeyModifiers::ALT) {
            return None;
        }
        let view = &pause.view;
        let command = match key.code {
            KeyCode::Right | KeyCode::Enter | KeyCode::Char(' ') => {
                Command::To(view.begun.saturating_add(1))
            }
            KeyCode::Left | KeyCode::Backspace => Command::To(view.before()),
            KeyCode::Home => Command::To(1),
            KeyCode::Char('p') => Command::Go(Goal::Operation),
            KeyCode::Char('o') => Command::Go(Goal::Over),
            KeyCode::Char('x') => Command::Go(Goal::Out),
            KeyCode::Char('l') => Command::Go(Goal::Line { over: false }),
            KeyCode::Char('L') => Command::Go(Goal::Line { over: true }),
            KeyCode::Char('r') => Command::Go(Goal::Run),
            KeyCode::Char('q') => Command::Quit,
            other => {
                self.look_around(other, pause, breakpoints);
                return None;
            }
        };
        self.allowed(command, pause)
    }

    fn allowed(&mut self, command: Command, pause: &Pause) -> Option<Command> {
        match why_not(&pause.view, &self.code, command) {
            None => Some(command),
            Some(reason) => {
                self.message = reason;
                None
            }
        }
    }

    /// Keys that change what is seen, and not the run.
    fn look_around(&mut self, key: KeyCode, pause: &Pause, breakpoints: &Breakpoints) {
        match key {
            KeyCode::Up => self.scroll(-1, pause, breakpoints),
            KeyCode::Down => self.scroll(1, pause, breakpoints),
            KeyCode::PageUp => self.scroll(-10, pause, breakpoints),
            KeyCode::PageDown => self.scroll(10, pause, breakpoints),
            KeyCode::Char('<') => self.aside = self.aside.saturating_sub(ASIDE),
            KeyCode::Char('>') => self.aside += ASIDE,
            KeyCode::Tab => self.move_focus(1),
            KeyCode::BackTab => self.move_focus(Pane::ALL.len() - 1),
            KeyCode::Char('?') | KeyCode::F(1) => self.open("keys", KEYS.to_owned()),
            KeyCode::Char('g') => self.prompt = Some("to ".to_owned()),
            KeyCode::Char(':') => self.prompt = Some(String::new()),
            KeyCode::Char('d') => self.prompt = Some("remove ".to_owned()),
            KeyCode::Char('b') => self.prompt = Some("break ".to_owned()),
            KeyCode::Char('B') => self.show(What::Breakpoints, pause, breakpoints),
            _ => {}
        }
    }

    /// Scrolls the pane of the focus, not further than it has rows.
    fn scroll(&mut self, by: i32, pause: &Pause, breakpoints: &Breakpoints) {
        let (rows, here) =
            panes::rows(self.focus, &pause.view, &self.code, &self.lines, breakpoints);
        let scroll = &mut self.scroll[self.focus.index()];
        let (before, behind) = (here as i32, rows.len() as i32 - here as i32);
        *scroll = scroll.saturating_add(by).clamp(-before, behind);
    }

    fn move_focus(&mut self, by: usize) {
        self.aside = 0;
        let next = (self.focus.index() + by) % Pane::ALL.len();
        self.focus = Pane::ALL.get(next).copied().unwrap_or(Pane::Source);
    }

    fn open(&mut self, title: &'static str, text: String) {
        self.popup = Some(Popup { title, text, scroll: 0, aside: 0 });
    }

    fn show(&mut self, what: What, pause: &Pause, breakpoints: &Breakpoints) {
        let title = match what {
            What::State => "state",
            What::Calls => "calls",
            What::Slots => "slots",
            What::Globals => "globals",
            What::Memory => "memory",
            What::Output => "output",
            What::Code(_) => "code",
            What::Source(_) => "source",
            What::Breakpoints => "breakpoints",
            What::Help => "words",
        };
        let Pause { view, why } = pause;
        self.open(title, show(what, view, why, &self.code, &self.lines, breakpoints));
    }

    fn read_popup(&mut self, key: KeyCode) {
        let Some(popup) = &mut self.popup else { return };
        let last = popup.text.lines().count().saturating_sub(1);
        match key {
            KeyCode::Up => popup.scroll = popup.scroll.saturating_sub(1),
            KeyCode::Down => popup.scroll = last.min(popup.scroll + 1),
            KeyCode::Left | KeyCode::Char('<') => popup.aside = popup.aside.saturating_sub(ASIDE),
            KeyCode::Right | KeyCode::Char('>') => popup.aside += ASIDE,
            KeyCode::PageUp => popup.scroll = popup.scroll.saturating_sub(10),
            KeyCode::PageDown | KeyCode::Char(' ') => popup.scroll = last.min(popup.scroll + 10),
            KeyCode::Home => popup.scroll = 0,
            KeyCode::End => popup.scroll = last,
            KeyCode::Esc | KeyCode::Enter | KeyCode::Char('q' | '?') => self.popup = None,
            _ => {}
        }
    }

    /// A key of the line that is being written.
    fn write(
        &mut self,
        key: KeyEvent,
        pause: &Pause,
        breakpoints: &mut Breakpoints,
    ) -> Option<Command> {
        let prompt = self.prompt.as_mut()?;
        match key.code {
            KeyCode::Char('u') if key.modifiers.contains(KeyModifiers::CONTROL) => prompt.clear(),
            KeyCode::Char(ch) if !key.modifiers.contains(KeyModifiers::CONTROL) => prompt.push(ch),
            // One more than there is closes the line.
            KeyCode::Backspace if prompt.pop().is_none() => self.prompt = None,
            KeyCode::Esc => self.prompt = None,
            KeyCode::Enter => {
                let line = self.prompt.take().unwrap_or_default();
                return self.obey(&line, pause, breakpoints);
            }
            _ => {}
        }
        None
    }

    fn obey(
        &mut self,
        line: &str,
        pause: &Pause,
        breakpoints: &mut Breakpoints,
    ) -> Option<Command> {
        match words::read(line, &pause.view) {
            Ok(None) => {}
            Ok(Some(Request::Go(command))) => return self.allowed(command, pause),
            Ok(Some(Request::Show(what))) => self.show(what, pause, breakpoints),
            Ok(Some(Request::Break(spot))) => {
                self.message = format!("breakpoint: {spot} is set");
                if let Err(reason) = breakpoints.add(&self.code, spot) {
                    self.message = reason;
                }
            }
            Ok(Some(Request::Remove(spot))) => {
                self.message = match breakpoints.remove(&spot) {
                    true => format!("breakpoint: {spot} is removed"),
                    false => format!("there is no breakpoint at {spot}"),
                };
            }
            Ok(Some(Request::RemoveAll)) => {
                let n_removed = breakpoints.clear() as u64;
                let removed = crate::report::counted(n_removed, "breakpoint");
                self.message = format!("{removed} removed");
            }
            Err(reason) => self.message = reason,
        }
        None
    }
}

/// Whether a key is Ctrl-C, which is no signal while keys are read one by one.
pub fn is_interrupt(key: KeyEvent) -> bool {
    key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL)
}

/// Whether a key pauses a run that goes on.
pub fn pauses(key: KeyEvent) -> bool {
    is_interrupt(key) || key.code == KeyCode::Esc
}
