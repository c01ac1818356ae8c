//! How a script is to be run: what a command line or the script's own header asks
//! for, and the limits that come of it.
//!
//! A header is a comment line above the first statement, such as
//! `// scruple: --until 7200000 --feed tide.csv`: a script that needs sensors or
//! a time to end at says so itself, and measures the same wherever it is run. It refuses
//! to pass over a comment there that looks like one and is not.

use std::fmt;
use std::path::PathBuf;

use scruple_bytecode::ImageError;
use scruple_bytecode::image::Image;
use scruple_bytecode::sets::SHIPPED_SETS;

use crate::diagnose::is_line_end;
use crate::sets::Sets;
use crate::timers::{DEFAULT_UNTIL, LONGEST};

/// Bytes of the region that heap and stack share: a board of 512 KiB that keeps
/// a corner for itself.
pub const REGION: usize = 508 * 1024;

/// What may be asked for. What is not is left to the defaults.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RunOptions {
    /// Virtual time to end at, in ms: timers due then still run.
    pub until: Option<u64>,
    /// A CSV file of sensor readings.
    pub feed: Option<PathBuf>,
    /// The most bytes of heap.
    pub heap: Option<usize>,
    /// The most bytes of stack.
    pub stack: Option<usize>,
    /// The most operations.
    pub budget: Option<u64>,
    /// Instruction sets, instead of the shipped one: the first is compiled against. A
    /// header asks for none.
    pub sets: Option<Sets>,
}

/// The limits of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Virtual time to end at, in ms.
    pub until: u64,
    /// The most bytes of heap cells.
    pub heap: usize,
    /// The most bytes of stack.
    pub stack: usize,
    /// The most operations.
    pub budget: u64,
    /// The instruction sets of the machine.
    pub sets: Sets,
}

/// A header that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeaderError {
    line: usize,
    message: String,
}

impl HeaderError {
    /// The header's line, from 1.
    pub fn line(&self) -> usize {
        self.line
    }

    /// What is wrong with it.
    pub fn message(&self) -> &str {
        &self.message
    }
}

impl fmt::Display for HeaderError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.message)
    }
}

impl std::error::Error for HeaderError {}

/// What marks a header line, behind its slashes.
const MARK: &str = "scruple:";

impl RunOptions {
    /// Reads the header lines among the comments that a script begins with.
    pub fn from_header(source: &str) -> Result<RunOptions, HeaderError> {
        let mut options = RunOptions::default();
        for Comment { line, text, is_block } in comments_above_code(source) {
            let fail = |message| HeaderError { line, message };
            match text.strip_prefix(MARK) {
                Some(asked) if !is_block => options.read(asked).map_err(fail)?,
                None if !is_like_mark(text) => {}
                _ => {
                    let message =
                        format!("options are asked for in a line of their own, // {MARK}");
                    return Err(fail(message));
                }
            }
        }
        Ok(options)
    }

    fn read(&mut self, asked: &str) -> Result<(), String> {
        let mut words = asked.split_whitespace();
        while let Some(word) = words.next() {
            let (word, value) = match word.split_once('=') {
                Some((word, value)) => (word, Some(value).filter(|value| !value.is_empty())),
                None => (word, words.next()),
            };
            let Some(value) = value else { return Err(format!("{word} needs a value")) };
            match word {
                "--until" => match number(word, value)? {
                    until @ ..=LONGEST => self.until = Some(until),
                    _ => return Err(format!("{word} is {LONGEST} at the latest")),
                },
                "--feed" => self.feed = Some(PathBuf::from(value)),
                "--heap" => self.heap = Some(number(word, value)?),
                "--stack" => self.stack = Some(number(word, value)?),
                "--budget" => self.budget = Some(number(word, value)?),
                _ => {
                    return Err(format!(
                        "no option {word}: a header knows --until, --feed, --heap, --stack, --budget"
                    ));
                }
            }
        }
        Ok(())
    }

    /// These options, and the others where these ask for nothing.
    pub fn or(self, others: RunOptions) -> RunOptions {
        RunOptions {
            until: self.until.or(others.until),
            feed: self.feed.or(others.feed),
            heap: self.heap.or(others.heap),
            stack: self.stack.or(others.stack),
            budget: self.budget.or(others.budget),
            sets: self.sets.or(others.sets),
        }
    }

    /// The limits, with a budget for what asks for none.
    pub fn limits(&self, budget: u64) -> Limits {
        Limits {
            until: self.until.unwrap_or(DEFAULT_UNTIL),
            heap: self.heap.unwrap_or(REGION),
            stack: self.stack.unwrap_or(REGION),
            budget: self.budget.unwrap_or(budget),
            sets: self.sets(),
        }
    }

    /// The instruction sets, of which the first is compiled against.
    pub fn sets(&self) -> Sets {
        self.sets.unwrap_or(SHIPPED_SETS)
    }

    /// Opens an image that is of one of these sets, or of none.
    pub fn open<'a>(&self, bytes: &'a [u8]) -> Result<Image<'a>, ImageError> {
        Image::open_with(bytes, self.sets())
    }
}

/// A comment that only comments and space stand before, or a line of one.
struct Comment<'s> {
    /// Its line, from 1.
    line: usize,
    /// Its text, without what makes it a comment.
    text: &'s str,
    /// Whether it is of the sort that may have several lines.
    is_block: bool,
}

/// The comments above the first statement, line by line.
fn comments_above_code(source: &str) -> Vec<Comment<'_>> {
    let mut comments = Vec::new();
    let (mut rest, mut line) = (source, 1);
    // ECMA-262, Hashbang Comments.
    if source.starts_with("#!") {
        rest = &source[source.find(is_line_end).unwrap_or(source.len())..];
    }
    loop {
        let start = rest.trim_start_matches(|ch: char| ch.is_whitespace() || ch == '\u{feff}');
        line += n_line_ends(&rest[..rest.len() - start.len()]);
        let is_block = start.starts_with("/*");
        let (text, length) = if is_block {
            let Some(length) = start[2..].find("*/") else { return comments };
            (&start[2..2 + length], length + 4)
        } else if start.starts_with("//") {
            let length = start.find(is_line_end).unwrap_or(start.len());
            (&start[2..length], length)
        } else {
            return comments;
        };
        for part in text.split(is_line_end) {
            let place = part.as_ptr() as usize - start.as_ptr() as usize;
            let line = line + n_line_ends(&start[..place]);
            let is_ornament = |ch: char| ch.is_whitespace() || ch == '*' || ch == '/';
            comments.push(Comment { line, text: part.trim_start_matches(is_ornament), is_block });
        }
        line += n_line_ends(&start[..length]);
        rest = &start[length..];
    }
}

/// How many lines end in a text: a carriage return and a line feed are one end.
fn n_line_ends(text: &str) -> usize {
    text.matches(is_line_end).count() - text.matches("\r\n").count()
}

/// Whether a comment begins as a header would, but for the case or a space.
fn is_like_mark(text: &str) -> bool {
    let (name, colon) = MARK.split_at(MARK.len() - 1);
    text.get(..name.len()).is_some_and(|start| start.eq_ignore_ascii_case(name))
        && text[name.len()..].trim_start().starts_with(colon)
}

fn number<T: std::str::FromStr>(option: &str, value: &str) -> Result<T, String> {
    value.parse().map_err(|_| format!("{option} needs a whole number, not {value:?}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_counts_only_among_the_first_comments() {
        let options = RunOptions::from_header(
            "// a demo\n// scruple: --until 500 --feed tide.csv\n// more\nlet a;\n// scruple: --until 9\n",
        );
        let wanted = RunOptions {
            until: Some(500),
            feed: Some(PathBuf::from("tide.csv")),
            ..RunOptions::default()
        };
        assert_eq!(options, Ok(wanted));
        assert_eq!(RunOptions::from_header("let a;"), Ok(RunOptions::default()));
    }

    #[test]
    fn a_header_that_asks_for_the_unknown_is_refused_with_its_line() {
        let line = |text: &str| RunOptions::from_header(text).map_err(|error| error.line()).err();
        assert_eq!(line("// x\n// scruple: --speed 9"), Some(2));
        assert_eq!(line("// scruple: --until soon"), Some(1));
        assert_eq!(line("// scruple: --until"), Some(1));
        assert_eq!(line("// scruple: --until -5"), Some(1));
        assert_eq!(line("// scruple: --until="), Some(1));
        assert_eq!(line("// scruple: --until 9007199254740993"), Some(1));
    }

    #[test]
    fn a_header_is_read_with_or_without_spaces_and_equals_signs() {
        let until = |text: &str| RunOptions::from_header(text).map(|options| options.until);
        for header in [
            "//scruple: --until 5",
            "//  scruple:--until=5",
            "/// scruple: --until 5",
            "\u{feff}// scruple: --until 5",
            "// a demo\n\n  // scruple: --until 5\nlet a;",
            "/* a demo\n   of two lines */ // scruple: --until=5",
            "// a\r// scruple: --until 5\r\nlet a;",
            "#!/bin/sh\n// scruple: --until 5",
            "// scruple: --until 9007199254740992 --until 5",
        ] {
            assert_eq!(until(header), Ok(Some(5)), "{header:?}");
        }
        for none in ["// scruples: none", "let a; // scruple: --until 5", "/* scruple: --until 5"] {
            assert_eq!(until(none), Ok(None), "{none:?}");
        }
    }

    #[test]
    fn a_comment_that_is_almost_a_header_is_refused_with_its_line() {
        let line = |text: &str| RunOptions::from_header(text).map_err(|error| error.line()).err();
        for (header, wanted) in [
            ("// Scruple: --until 5", 1),
            ("// a\n\n//SCRUPLE : --until 5\n", 3),
            ("/* scruple: --until 5 */", 1),
            ("/**\r\n * A demo.\r\n * scruple: --until 5\r\n */", 3),
        ] {
            assert_eq!(line(header), Some(wanted), "{header:?}");
        }
    }

    #[test]
    fn a_command_line_goes_before_a_header() {
        let asked = RunOptions { until: Some(1), ..RunOptions::default() };
        let header = RunOptions { until: Some(2), budget: Some(3), ..RunOptions::default() };
        let both = asked.or(header);
        assert_eq!((both.until, both.budget), (Some(1), Some(3)));
    }
}
