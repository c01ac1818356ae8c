//! What the compiler says of a source it refuses: one small type a complaint,
//! and the sorted list of them.
//!
//! It refuses to decide what is wrong; the productions do that.

use alloc::borrow::Cow;
use alloc::vec::Vec;
use core::fmt;
use core::ops::Range;

use scruple_bytecode::image::Position;

/// What sort of complaint a diagnostic is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DiagnosticKind {
    /// The text is no script of the language at all.
    Syntax,
    /// The text is wrong only because every source is strict mode code.
    Strict,
    /// The text may be right, but lies outside the subset this compiler takes.
    Unsupported,
    /// The text is right but larger or deeper than a stated limit.
    Limit,
}

/// One complaint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    pub(crate) kind: DiagnosticKind,
    pub(crate) message: Cow<'static, str>,
    pub(crate) clause: Option<&'static str>,
    pub(crate) start: u32,
    pub(crate) end: u32,
    pub(crate) position: Position,
    /// What it refuses was read to its end all the same.
    pub(crate) is_read_on: bool,
}

impl Diagnostic {
    fn place(&self) -> (u32, u32) {
        (self.start, self.end)
    }

    /// What sort of complaint it is.
    pub fn kind(&self) -> DiagnosticKind {
        self.kind
    }

    /// Whether the text may be right but lies outside the subset.
    pub fn is_unsupported(&self) -> bool {
        self.kind == DiagnosticKind::Unsupported
    }

    /// Whether a stated limit was passed.
    pub fn is_limit(&self) -> bool {
        self.kind == DiagnosticKind::Limit
    }

    /// Whether only strict mode code refuses it.
    pub fn is_strict(&self) -> bool {
        self.kind == DiagnosticKind::Strict
    }

    /// What is wrong, without position.
    pub fn message(&self) -> &str {
        &self.message
    }

    /// The bytes of the source that it is about.
    pub fn span(&self) -> Range<usize> {
        self.start as usize..self.end as usize
    }

    /// Where that is.
    pub fn position(&self) -> Position {
        self.position
    }

    /// The clause of ECMA-262 that says so, by its id.
    pub fn clause(&self) -> Option<&'static str> {
        self.clause
    }
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.position, self.message)?;
        match self.clause {
            Some(clause) => write!(f, " ({clause})"),
            None => Ok(()),
        }
    }
}

impl core::error::Error for Diagnostic {}

/// Why a source was refused: at least one diagnostic, sorted by position.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostics {
    list: Vec<Diagnostic>,
}

impl Diagnostics {
    /// Nothing where the list is empty.
    pub(crate) fn new(mut list: Vec<Diagnostic>) -> Option<Self> {
        // By insertion: there are few, and the library's stable sort keeps a buffer
        // of 4 KiB on the stack, whether it sorts anything or not.
        for end in 1..list.len() {
            let mut at = end;
            while at > 0 && list[at - 1].place() > list[at].place() {
                list.swap(at - 1, at);
                at -= 1;
            }
        }
        if list.is_empty() { None } else { Some(Diagnostics { list }) }
    }

    /// The one complaint that the whole source passes a limit.
    pub(crate) fn of_limit(message: &'static str) -> Self {
        let position = Position { line: 1, column: 1 };
        let message = message.into();
        let kind = DiagnosticKind::Limit;
        let list = [Diagnostic {
            kind,
            message,
            clause: None,
            start: 0,
            end: 0,
            position,
            is_read_on: false,
        }];
        Diagnostics { list: list.into() }
    }

    /// The diagnostics, by position.
    pub fn iter(&self) -> core::slice::Iter<'_, Diagnostic> {
        self.list.iter()
    }

    /// The first of them.
    pub fn first(&self) -> &Diagnostic {
        &self.list[0]
    }

    /// The one that says what the source is: the first, since those that follow may be
    /// its echo. But what is refused and read to its end (a generator, a regular
    /// expression) has no echo, and what is wrong besides decides before it.
    pub fn decisive(&self) -> &Diagnostic {
        self.list.iter().find(|one| !one.is_read_on).unwrap_or(&self.list[0])
    }
}

impl<'a> IntoIterator for &'a Diagnostics {
    type Item = &'a Diagnostic;
    type IntoIter = core::slice::Iter<'a, Diagnostic>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl fmt::Display for Diagnostics {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, diagnostic) in self.list.iter().enumerate() {
            if index > 0 {
                f.write_str("\n")?;
            }
            diagnostic.fmt(f)?;
        }
        Ok(())
    }
}

impl core::error::Error for Diagnostics {}
