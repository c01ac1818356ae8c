//! Source text to tokens, one at a time, with line and column counted as it goes.
//!
//! It finishes what the token table only begins (strings, templates, block
//! comments, identifiers past ASCII, numbers) and drops white space and
//! comments. It refuses to judge what an escape or a number means: `literal`
//! does. A copy of the lexer is a look ahead; the parser asks for template
//! chunks, because only it knows which `}` closes a substitution.

use logos::Logos;
#[cfg(not(feature = "small"))]
use unicode_id_start::{is_id_continue, is_id_start};

use crate::arena::Meter;
#[cfg(feature = "small")]
use crate::letters::{is_id_continue, is_id_start};
use crate::narrow;
use crate::token::{Kind, Mark, Token};

/// A stretch of template characters.
#[derive(Clone, Copy)]
pub(crate) struct TemplateChunk {
    pub(crate) mark: Mark,
    /// Offsets of the characters, without the punctuation around them.
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// Whether the template ends here, not a substitution begins.
    pub(crate) is_tail: bool,
}

/// The lexer.
#[derive(Clone)]
pub(crate) struct Lexer<'s> {
    inner: logos::Lexer<'s, Kind>,
    source: &'s str,
    meter: &'s Meter,
    /// The offset that `line` and `column` are the position of.
    counted: usize,
    line: u32,
    column: u32,
}

impl<'s> Lexer<'s> {
    pub(crate) fn new(source: &'s str, meter: &'s Meter) -> Self {
        let inner = Kind::lexer(source);
        let mut lexer = Lexer { inner, source, meter, counted: 0, line: 1, column: 1 };
        if source.starts_with("#!") {
            let length = source.find(is_line_terminator).unwrap_or(source.len());
            lexer.inner.bump(length);
        }
        lexer
    }

    /// A lexer of the same source that stands where a token begins. It does not know the
    /// positions.
    pub(crate) fn again_from(&self, start: u32) -> Self {
        let start = start as usize;
        let mut inner = Kind::lexer(self.source);
        inner.bump(start);
        let Lexer { source, meter, .. } = *self;
        Lexer { inner, source, meter, counted: start, line: 1, column: 1 }
    }

    /// The next token; at the end of the source, for ever [`Kind::End`].
    pub(crate) fn next(&mut self) -> Token {
        self.meter.count_token();
        let mut newline_before = self.offset() == 0;
        loop {
            let kind = match self.inner.next() {
                Some(Ok(kind)) => kind,
                Some(Err(())) => Kind::Unknown,
                None => Kind::End,
            };
            let start = if kind == Kind::End { self.source.len() } else { self.inner.span().start };
            self.count_to(start);
            let mut token = Token {
                kind,
                newline_before,
                escaped: false,
                mark: Mark {
                    start: narrow::to_u32(start),
                    end: narrow::to_u32(start),
                    line: self.line,
                    column: self.column,
                },
            };
            match kind {
                Kind::Newline => {
                    self.begin_line(self.offset());
                    newline_before = true;
                    continue;
                }
                Kind::LineComment => continue,
                Kind::BlockComment => match self.block_comment() {
                    Some(had_newline) => {
                        newline_before |= had_newline;
                        continue;
                    }
                    None => token.kind = Kind::BadComment,
                },
                Kind::NonAscii => match self.source[start..].chars().next() {
                    Some(ch) if is_line_terminator(ch) => {
                        self.begin_line(self.offset());
                        newline_before = true;
                        continue;
                    }
                    Some(ch) if ch == '\u{feff}' || ch.is_whitespace() && ch != '\u{85}' => {
                        continue;
                    }
                    Some(ch) if is_id_start(ch) => {
                        token.kind = Kind::Identifier;
                        self.identifier_rest(&mut token);
                    }
                    _ => token.kind = Kind::Unknown,
                },
                Kind::Identifier if self.inner.slice() == "\\" => {
                    token.escaped = true;
                    if self.identifier_escape() {
                        self.identifier_rest(&mut token);
                    } else {
                        token.kind = Kind::BadEscape;
                    }
                }
                Kind::Number => token.kind = self.number(start),
                Kind::Text => self.text(&mut token, start),
                Kind::PrivateName => {
                    let begins = |ch| is_id_start(ch) || matches!(ch, '$' | '_' | '\\');
                    if !self.inner.remainder().starts_with(begins) {
                        token.kind = Kind::Unknown;
                    }
                }
                Kind::Decrement if newline_before && self.inner.remainder().starts_with('>') => {
                    token.kind = Kind::HtmlComment;
                }
                // `?.` before a digit is a conditional and a fraction.
                Kind::OptionalChain
                    if self.inner.remainder().starts_with(|ch: char| ch.is_ascii_digit()) =>
                {
                    self.rewind_to(start + 1);
                    token.kind = Kind::Question;
                }
                kind if kind.is_identifier_name() => {
                    #[cfg(feature = "small")]
                    if let Some(word) = crate::words::reserved(self.inner.slice()) {
                        token.kind = word;
                    }
                    self.identifier_rest(&mut token);
                }
                _ => {}
            }
            token.mark.end = narrow::to_u32(self.offset().max(start));
            return token;
        }
    }

    /// Whether the token just read is that text.
    pub(crate) fn is_behind(&self, text: &str) -> bool {
        self.source.get(..self.offset()).is_some_and(|before| before.ends_with(text))
            && self.inner.slice() == text
    }

    /// What [`Lexer::next`] would yield.
    pub(crate) fn peek(&self) -> Token {
        self.clone().next()
    }

    /// Template characters from here to the closing backtick or the next
    /// substitution; nothing where the source ends first.
    pub(crate) fn template_chunk(&mut self) -> Option<TemplateChunk> {
        let start = self.offset();
        self.count_to(start);
        let mark = Mark {
            start: narrow::to_u32(start),
            end: narrow::to_u32(start),
            line: self.line,
            column: self.column,
        };
        let bytes = self.source.as_bytes();
        let mut at = start;
        let (end, next) = loop {
            match (bytes.get(at), bytes.get(at + 1)) {
                (None, _) => {
                    self.skip_to(self.source.len());
                    return None;
                }
                (Some(b'`'), _) => break (at, at + 1),
                (Some(b'$'), Some(b'{')) => break (at, at + 2),
                (Some(b'\\'), Some(&next)) if next.is_ascii() => at += 2,
                _ => at += 1,
            }
        };
        self.skip_to(next);
        let mark = Mark { end: narrow::to_u32(end), ..mark };
        Some(TemplateChunk { mark, start, end, is_tail: next == end + 1 })
    }

    /// Goes behind the regular expression literal that begins at an offset, the
    /// lexer standing behind its slash: its pattern and flags, or nothing where it does
    /// not end on its line.
    pub(crate) fn regular_expression(&mut self, start: usize) -> Option<(&'s str, &'s str)> {
        let mut in_class = false;
        let mut is_escaped = false;
        let mut end = self.source.len();
        let mut found = None;
        for (at, ch) in self.source[start + 1..].char_indices() {
            let at = start + 1 + at;
            if is_line_terminator(ch) {
                end = at;
                break;
            }
            match ch {
                _ if is_escaped => is_escaped = false,
                '\\' => is_escaped = true,
                '[' => in_class = true,
                ']' => in_class = false,
                '/' if !in_class => {
                    let rest = &self.source[at + 1..];
                    let is_part = |ch: char| ch == '$' || is_id_continue(ch);
                    end = at + 1 + rest.find(|ch| !is_part(ch)).unwrap_or(rest.len());
                    found = Some((&self.source[start + 1..at], &self.source[at + 1..end]));
                    break;
                }
                _ => {}
            }
        }
        self.skip_to(end.max(self.offset()));
        found
    }

    /// Reads nothing more: every token from here on is [`Kind::End`].
    pub(crate) fn stop(&mut self) {
        let rest = self.inner.remainder().len();
        self.inner.bump(rest);
    }

    fn offset(&self) -> usize {
        self.inner.span().end
    }

    /// Moves on to an offset, counting the lines on the way.
    fn skip_to(&mut self, offset: usize) {
        let from = self.offset();
        let mut rest = from;
        while let Some(found) = self.source[rest..offset].find(is_line_terminator) {
            let at = rest + found;
            rest = at + self.source[at..].chars().next().map_or(1, char::len_utf8);
            if self.source[at..].starts_with("\r\n") && rest < offset {
                rest += 1;
            }
            self.begin_line(rest);
        }
        self.inner.bump(offset - from);
    }

    fn rewind_to(&mut self, offset: usize) {
        let mut inner = Kind::lexer(self.source);
        inner.bump(offset);
        self.inner = inner;
    }

    fn begin_line(&mut self, offset: usize) {
        self.line += 1;
        self.column = 1;
        self.counted = offset;
    }

    fn count_to(&mut self, offset: usize) {
        if offset > self.counted {
            let bytes = &self.source.as_bytes()[self.counted..offset];
            let code_points = bytes.iter().filter(|&&byte| byte & 0xc0 != 0x80).count();
            self.column += narrow::to_u32(code_points);
            self.counted = offset;
        }
    }

    /// Goes behind the comment: whether it held a line terminator, or nothing
    /// where it does not end.
    fn block_comment(&mut self) -> Option<bool> {
        let line = self.line;
        let length = self.inner.remainder().find("*/");
        let end = length.map_or(self.source.len(), |length| self.offset() + length + 2);
        self.skip_to(end);
        length.map(|_| self.line != line)
    }

    /// Goes behind what follows an identifier's first characters; a reserved
    /// word that goes on is none.
    fn identifier_rest(&mut self, token: &mut Token) {
        loop {
            let Some(ch) = self.inner.remainder().chars().next() else { return };
            if ch == '\\' {
                self.inner.bump(1);
                token.escaped = true;
                if !self.identifier_escape() {
                    token.kind = Kind::BadEscape;
                    return;
                }
            } else if is_id_continue(ch) || matches!(ch, '$' | '\u{200c}' | '\u{200d}') {
                self.inner.bump(ch.len_utf8());
            } else {
                return;
            }
            token.kind = Kind::Identifier;
        }
    }

    /// Goes behind `u0041` or `u{41}`, the backslash being behind.
    fn identifier_escape(&mut self) -> bool {
        let rest = self.inner.remainder().as_bytes();
        let is_hex = |byte: &u8| byte.is_ascii_hexdigit();
        let length = match rest {
            [b'u', b'{', digits @ ..] => {
                let n = digits.iter().take_while(|byte| is_hex(byte)).count();
                if n == 0 || digits.get(n) != Some(&b'}') { 0 } else { n + 3 }
            }
            [b'u', digits @ ..] if digits.iter().take(4).filter(|b| is_hex(b)).count() == 4 => 5,
            _ => 0,
        };
        self.inner.bump(length);
        length > 0
    }

    /// Goes behind a number whose first character is read.
    fn number(&mut self, start: usize) -> Kind {
        let bytes = self.source.as_bytes();
        let byte = |at: usize| bytes.get(at).copied().unwrap_or(0);
        let digits = |mut at: usize, is_digit: fn(&u8) -> bool| {
            while is_digit(&byte(at)) || byte(at) == b'_' {
                at += 1;
            }
            at
        };
        let radix: Option<fn(&u8) -> bool> = match (byte(start), byte(start + 1)) {
            (b'0', b'x' | b'X') => Some(u8::is_ascii_hexdigit),
            (b'0', b'o' | b'O') => Some(|digit| (b'0'..=b'7').contains(digit)),
            (b'0', b'b' | b'B') => Some(|digit| (b'0'..=b'1').contains(digit)),
            _ => None,
        };
        let mut kind = Kind::Number;
        let mut at = start;
        let mut is_integer = true;
        if let Some(is_digit) = radix {
            at = digits(start + 2, is_digit);
            if at == start + 2 {
                kind = Kind::BadNumber;
            }
        } else {
            let is_digit: fn(&u8) -> bool = u8::is_ascii_digit;
            if byte(at) != b'.' {
                at = digits(at, is_digit);
                if byte(start) == b'0' && at > start + 1 {
                    kind = Kind::LegacyNumber;
                }
            }
            if byte(at) == b'.' && kind == Kind::Number {
                is_integer = false;
                at = digits(at + 1, is_digit);
            }
            if matches!(byte(at), b'e' | b'E') {
                is_integer = false;
                let sign = usize::from(matches!(byte(at + 1), b'+' | b'-'));
                let exponent = at + 1 + sign;
                at = digits(exponent, is_digit);
                if at == exponent {
                    kind = Kind::BadNumber;
                }
            }
        }
        if is_integer && byte(at) == b'n' && kind == Kind::Number {
            kind = Kind::BigInt;
            at += 1;
        }
        let behind = self.source[at..].chars();
        let stray: usize = behind
            .take_while(|&ch| is_id_continue(ch) || matches!(ch, '$' | '\\'))
            .map(char::len_utf8)
            .sum();
        if stray > 0 {
            kind = Kind::BadNumber;
            at += stray;
        }
        let here = self.offset();
        self.inner.bump(at - here);
        kind
    }

    /// Goes behind a string whose opening quote is read.
    fn text(&mut self, token: &mut Token, start: usize) {
        let bytes = self.source.as_bytes();
        let quote = bytes[start];
        let mut at = start + 1;
        loop {
            match bytes.get(at) {
                Some(&byte) if byte == quote => {
                    at += 1;
                    break;
                }
                Some(b'\\') => {
                    token.escaped = true;
                    at += match bytes.get(at + 1..) {
                        Some([b'\r', b'\n', ..]) => 3,
                        Some([next, ..]) if next.is_ascii() => 2,
                        _ => 1,
                    };
                }
                None | Some(b'\n' | b'\r') => {
                    token.kind = Kind::BadText;
                    break;
                }
                Some(_) => at += 1,
            }
        }
        self.skip_to(at);
    }
}

/// LineTerminator of ECMA-262.
pub(crate) fn is_line_terminator(ch: char) -> bool {
    matches!(ch, '\n' | '\r' | '\u{2028}' | '\u{2029}')
}
