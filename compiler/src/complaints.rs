//! The words for what is wrong, and the list they go to.
//!
//! It owns what a complaint cites and how what stands in the source is shown.
//! It refuses to decide what is wrong.

use alloc::borrow::Cow;
use alloc::format;
use alloc::string::String;

use scruple_bytecode::image::Position;

use crate::MAX_DIAGNOSTICS;
use crate::diagnostic::{Diagnostic, DiagnosticKind};
use crate::lexer::is_line_terminator;
use crate::parser::{Fail, Parser};
use crate::token::{Kind, Mark};

/// Where flash is scarce a complaint is told without its clause, so that the clauses'
/// names need not be there.
fn shown(clause: &'static str) -> Option<&'static str> {
    (!cfg!(feature = "small")).then_some(clause)
}

impl Parser<'_, '_> {
    /// What stands here, in words.
    fn found(&self) -> Cow<'static, str> {
        match self.token.kind {
            Kind::End => "the end of the source".into(),
            Kind::Text => "a string".into(),
            Kind::Number => "a number".into(),
            Kind::Template => "a template".into(),
            _ => {
                let text = self.text_of(self.token.mark);
                let shown: String = text.chars().take(30).collect();
                format!("`{shown}`").into()
            }
        }
    }

    /// Something else was expected here.
    pub(crate) fn expected(&mut self, what: &str) -> Fail {
        let mark = self.token.mark;
        match self.token.kind {
            Kind::Unknown => {
                let found = self.found();
                let message = format!("{found} is no token");
                self.syntax(mark, "sec-ecmascript-language-lexical-grammar", message)
            }
            Kind::BadText => {
                self.syntax(mark, "sec-literals-string-literals", "this string does not end")
            }
            Kind::BadComment => self.syntax(mark, "sec-comments", "this comment does not end"),
            Kind::BadEscape => self.syntax(
                mark,
                "sec-names-and-keywords",
                "a backslash in an identifier must begin `\\uXXXX` or `\\u{X}`",
            ),
            Kind::BadNumber => {
                self.syntax(mark, "sec-literals-numeric-literals", "this number is not complete")
            }
            Kind::HtmlComment => {
                self.unsupported(mark, "sec-html-like-comments", "an HTML-like comment")
            }
            Kind::PrivateName => self.unsupported(mark, "sec-private-names", "a private name"),
            _ => {
                let message = format!("expected {what}, found {}", self.found());
                self.report(DiagnosticKind::Syntax, mark, None, message.into())
            }
        }
    }

    pub(crate) fn syntax(
        &mut self,
        mark: Mark,
        clause: &'static str,
        message: impl Into<Cow<'static, str>>,
    ) -> Fail {
        self.report(DiagnosticKind::Syntax, mark, shown(clause), message.into())
    }

    pub(crate) fn strict(
        &mut self,
        mark: Mark,
        clause: &'static str,
        message: impl Into<Cow<'static, str>>,
    ) -> Fail {
        self.report(DiagnosticKind::Strict, mark, shown(clause), message.into())
    }

    /// A part of the language that the subset leaves out.
    pub(crate) fn unsupported(&mut self, mark: Mark, clause: &'static str, what: &str) -> Fail {
        let message = format!("{what} is unsupported");
        self.report(DiagnosticKind::Unsupported, mark, shown(clause), message.into())
    }

    /// A part of the language that the subset leaves out, which is read to its end.
    pub(crate) fn unsupported_but_read(&mut self, mark: Mark, clause: &'static str, what: &str) {
        self.unsupported(mark, clause, what);
        if let Some(last) = self.diagnostics.last_mut().filter(|last| last.start == mark.start) {
            last.is_read_on = true;
        }
    }

    /// Notes a complaint. Of several about one place the first one stays.
    pub(crate) fn report(
        &mut self,
        kind: DiagnosticKind,
        mark: Mark,
        clause: Option<&'static str>,
        message: Cow<'static, str>,
    ) -> Fail {
        let is_known = self.diagnostics.iter().any(|d| d.start == mark.start);
        if !is_known && self.diagnostics.len() < MAX_DIAGNOSTICS {
            self.diagnostics.push(Diagnostic {
                kind,
                message,
                clause,
                start: mark.start,
                end: mark.end.max(mark.start),
                position: Position { line: mark.line, column: mark.column },
                is_read_on: false,
            });
        }
        Fail
    }

    /// The position of an offset, counted anew: for complaints only.
    pub(crate) fn position_of(&self, offset: u32) -> Position {
        let before = self.source.get(..offset as usize).unwrap_or(self.source);
        let (mut line, mut column) = (1, 1);
        let mut last = ' ';
        for ch in before.chars() {
            if is_line_terminator(ch) {
                if (last, ch) != ('\r', '\n') {
                    line += 1;
                }
                column = 1;
            } else {
                column += 1;
            }
            last = ch;
        }
        Position { line, column }
    }
}
