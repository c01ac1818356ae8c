//! The front end of lines: commands are read a line each, and what they lead to is written
//! as text.
//!
//! It owns the conversation. A line that asks for what cannot be is answered with the reason
//! on the other stream, and nothing is lost. It refuses to draw.

use std::io::{self, BufRead, Write};
use std::sync::Arc;

use crate::report::counted;

use super::breakpoints::Breakpoints;
use super::code::Code;
use super::text::{Lines, printed, show};
use super::view::View;
use super::words::{self, Request, What};
use super::{Command, Pause, Pilot, why_not};

/// Characters of a reason that are written.
const MOST_REASON: usize = 300;

/// A pilot that reads lines.
pub struct Plain<I, O, E> {
    input: I,
    output: O,
    errors: E,
    code: Arc<Code>,
    lines: Lines,
    /// What stands before a line that a person is to write, if one does.
    prompt: &'static str,
    /// Lines read so far.
    n_read: u64,
    /// Bytes that the script had printed at the pause before.
    n_printed: u64,
    fault: Option<io::Error>,
}

impl<I, O, E> Plain<I, O, E>
where
    I: BufRead + Send,
    O: Write + Send,
    E: Write + Send,
{
    /// One that reads from there and writes to these two.
    pub fn new(streams: (I, O, E), code: Arc<Code>, lines: Lines, prompt: &'static str) -> Self {
        let (input, output, errors) = streams;
        Plain { input, output, errors, code, lines, prompt, n_read: 0, n_printed: 0, fault: None }
    }

    /// Says what a pause is, and answers until a command is given that can be carried out.
    fn talk(&mut self, pause: &Pause, breakpoints: &mut Breakpoints) -> io::Result<Command> {
        let Pause { view, why } = pause;
        let mut text = self.new_output(view);
        text.push_str(&show(What::State, view, why, &self.code, &self.lines, breakpoints));
        self.say(&text)?;
        loop {
            let Some(line) = self.next_line()? else { return Ok(Command::Quit) };
            match words::read(&line, view) {
                Ok(None) => {}
                Ok(Some(Request::Go(command))) => match why_not(view, &self.code, command) {
                    None => return Ok(command),
                    Some(reason) => self.refuse(&reason)?,
                },
                Ok(Some(Request::Break(spot))) => {
                    let text = format!("breakpoint: {spot} is set\n");
                    match breakpoints.add(&self.code, spot) {
                        Ok(()) => self.say(&text)?,
                        Err(reason) => self.refuse(&reason)?,
                    }
                }
                Ok(Some(Request::Remove(spot))) => {
                    if breakpoints.remove(&spot) {
                        self.say(&format!("breakpoint: {spot} is removed\n"))?;
                    } else {
                        self.refuse(&format!("there is no breakpoint at {spot}"))?;
                    }
                }
                Ok(Some(Request::RemoveAll)) => {
                    let n_removed = breakpoints.clear() as u64;
                    let removed = counted(n_removed, "breakpoint");
                    self.say(&format!("{removed} removed\n"))?;
                }
                Ok(Some(Request::Show(what))) => {
                    let text = show(what, view, why, &self.code, &self.lines, breakpoints);
                    self.say(&text)?;
                }
                Err(reason) => self.refuse(&reason)?,
            }
        }
    }

    /// What the script has printed since the pause before; nothing on the way back.
    fn new_output(&mut self, view: &View) -> String {
        let n_new = view.output_bytes.saturating_sub(self.n_printed);
        self.n_printed = view.output_bytes;
        let n_kept = view.output.len() as u64;
        if n_new <= n_kept {
            let from = view.output.len() - n_new as usize;
            return printed(view.output.get(from..).unwrap_or(&view.output));
        }
        // The first line that is whole, if there is one.
        let from = view.output.find('\n').map_or(0, |end| end + 1);
        let before = n_new - (n_kept - from as u64);
        format!("printed before: {}\n", counted(before, "byte")) + &printed(&view.output[from..])
    }

    fn next_line(&mut self) -> io::Result<Option<String>> {
        if !self.prompt.is_empty() {
            self.say(self.prompt)?;
        }
        let mut bytes = Vec::new();
        if self.input.read_until(b'\n', &mut bytes)? == 0 {
            return Ok(None);
        }
        self.n_read += 1;
        Ok(Some(String::from_utf8_lossy(&bytes).into_owned()))
    }

    fn say(&mut self, text: &str) -> io::Result<()> {
        self.output.write_all(text.as_bytes())?;
        self.output.flush()
    }

    fn refuse(&mut self, reason: &str) -> io::Result<()> {
        // A line of megabytes may be what is complained of.
        let shown: String = reason.chars().take(MOST_REASON).collect();
        let cut = if shown.len() < reason.len() { "…" } else { "" };
        writeln!(self.errors, "scruple: command line {}: {shown}{cut}", self.n_read)?;
        self.errors.flush()
    }
}

impl<I, O, E> Pilot for Plain<I, O, E>
where
    I: BufRead + Send,
    O: Write + Send,
    E: Write + Send,
{
    fn ask(&mut self, pause: &Pause, breakpoints: &mut Breakpoints) -> Command {
        match self.talk(pause, breakpoints) {
            Ok(command) => command,
            Err(error) => {
                self.fault = Some(error);
                Command::Quit
            }
        }
    }

    fn fault(&mut self) -> Option<io::Error> {
        self.fault.take()
    }
}
