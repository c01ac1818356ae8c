//! Writing: results to standard output, the rest to standard error.
//!
//! It owns colour (asked for, or a terminal without `NO_COLOR`) and what happens
//! when nobody reads any more: a result goes nowhere, and what hangs on it still happens;
//! a script that prints is ended quietly.

use std::io::{self, IsTerminal, Write};

use anstream::{AutoStream, ColorChoice};
use anyhow::{Context, Result};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::args::Color;

/// The two streams.
pub(crate) struct Terminal {
    colour: bool,
    colour_of_output: bool,
}

impl Terminal {
    pub(crate) fn new(color: Color) -> Terminal {
        let (colour, colour_of_output) = match color {
            Color::Always => (true, true),
            Color::Never => (false, false),
            Color::Auto => (
                AutoStream::choice(&io::stderr()) != ColorChoice::Never,
                AutoStream::choice(&io::stdout()) != ColorChoice::Never,
            ),
        };
        Terminal { colour, colour_of_output }
    }

    /// Whether what is drawn on standard output is to be coloured.
    pub(crate) fn colour_of_output(&self) -> bool {
        self.colour_of_output
    }

    /// Whether standard error is to be coloured.
    pub(crate) fn colour(&self) -> bool {
        self.colour
    }

    /// How far some work is, for whoever looks on at standard error.
    pub(crate) fn progress(&self, n_steps: u64, work: &str) -> ProgressBar {
        let target = if io::stderr().is_terminal() {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let bar = ProgressBar::with_draw_target(Some(n_steps), target);
        let form = format!("{work} {{pos}} of {{len}}, about {{eta}} left {{wide_bar}}");
        match ProgressStyle::with_template(&form) {
            Ok(style) => bar.with_style(style),
            Err(_) => bar,
        }
    }

    /// Writes a result. A reader that has had enough, such as `head`, does not end the
    /// command: the verdict is still its exit code, and what is to be saved is saved.
    pub(crate) fn write(&self, text: &str) -> Result<()> {
        self.write_bytes(text.as_bytes())
    }

    /// Writes a result that is no text.
    pub(crate) fn write_bytes(&self, bytes: &[u8]) -> Result<()> {
        let mut out = io::stdout().lock();
        match out.write_all(bytes).and_then(|()| out.flush()) {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            written => written.context("standard output"),
        }
    }

    /// Writes what is no result.
    pub(crate) fn complain(&self, text: &str) {
        let choice = if self.colour { ColorChoice::AlwaysAnsi } else { ColorChoice::Never };
        let mut stream = AutoStream::new(io::stderr(), choice);
        // There is no other place to complain to.
        let _ = stream.write_all(text.as_bytes());
    }
}

/// Takes what a script prints, piece by piece, to standard output. A full buffer
/// or the end of the run lets it go, and on a terminal the end of a line.
pub(crate) struct Printer {
    out: io::BufWriter<io::Stdout>,
    by_line: bool,
}

impl Printer {
    pub(crate) fn new() -> Printer {
        Printer { out: io::BufWriter::new(io::stdout()), by_line: io::stdout().is_terminal() }
    }

    pub(crate) fn print(&mut self, text: &str) {
        let mut written = self.out.write_all(text.as_bytes());
        if self.by_line && text.ends_with('\n') {
            written = written.and_then(|()| self.out.flush());
        }
        end_if_unread(&written);
    }
}

impl Drop for Printer {
    fn drop(&mut self) {
        let flushed = self.out.flush();
        end_if_unread(&flushed);
    }
}

/// A reader of what a script prints, such as `head`, that has had enough is no error, and
/// the run would be for nothing; a disk that is full is one.
fn end_if_unread(written: &io::Result<()>) {
    match written {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => std::process::exit(0),
        Err(error) => {
            let _ = writeln!(io::stderr(), "scruple: standard output: {error}");
            std::process::exit(1);
        }
        Ok(()) => {}
    }
}
