//! Looking ahead over tokens: whether a parenthesis begins arrow parameters,
//! whether a bracket or brace begins a pattern, and which brackets are open while
//! tokens are skipped.
//!
//! It refuses to build anything from what it sees. Each token is looked at once
//! for all brackets around it: what a scan learns of inner ones is kept until the
//! parser has passed them, so that looking ahead stays linear. Kept are only the
//! few that begin something, not every literal.

use alloc::vec::Vec;

use crate::lexer::Lexer;
use crate::token::{Kind, Token};

/// What is known of the brackets before an offset.
#[derive(Default)]
pub(crate) struct Lookahead {
    /// Everything before this offset has been looked at.
    known_to: u32,
    /// Offsets of brackets with what they begin, in ascending order.
    found: Vec<(u32, Begins)>,
    /// Brackets open in a scan, kept for its room, and whether an operand begins
    /// with them.
    open: Vec<(u32, bool)>,
}

/// What a bracket begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Begins {
    /// The parameters of an arrow function.
    Arrow,
    /// The pattern of an assignment.
    Pattern,
    /// A pattern in the head of a for-in or for-of, if it stands in one.
    Head,
    /// A literal that a member or a call follows: no part of a pattern.
    Base,
}

impl Lookahead {
    /// Whether the parenthesis begins the parameters of an arrow function; the
    /// lexer stands behind it.
    pub(crate) fn is_arrow(&mut self, paren: Token, lexer: &Lexer<'_>, max_nesting: u32) -> bool {
        if paren.mark.start >= self.known_to
            && let Some(is_arrow) = simple_parameters(&mut lexer.clone())
        {
            return is_arrow;
        }
        self.begins(paren, lexer, max_nesting) == Some(Begins::Arrow)
    }

    /// Whether the bracket or brace begins the pattern of an assignment; the lexer
    /// stands behind it.
    pub(crate) fn is_pattern(&mut self, open: Token, lexer: &Lexer<'_>, max_nesting: u32) -> bool {
        self.begins(open, lexer, max_nesting) == Some(Begins::Pattern)
    }

    /// Whether `in` or `of` follows what the bracket or brace begins, as in the
    /// head of a for statement; the lexer stands behind it.
    pub(crate) fn is_head(&mut self, open: Token, lexer: &Lexer<'_>, max_nesting: u32) -> bool {
        self.begins(open, lexer, max_nesting) == Some(Begins::Head)
    }

    /// Whether the bracket or brace begins a literal that a member or a call
    /// follows; the lexer stands behind it.
    pub(crate) fn is_base(&mut self, open: Token, lexer: &Lexer<'_>, max_nesting: u32) -> bool {
        self.begins(open, lexer, max_nesting) == Some(Begins::Base)
    }

    fn begins(&mut self, open: Token, lexer: &Lexer<'_>, max_nesting: u32) -> Option<Begins> {
        let start = open.mark.start;
        if start >= self.known_to {
            self.scan(open, lexer.clone(), max_nesting);
        }
        let at = self.found.binary_search_by_key(&start, |found| found.0).ok()?;
        self.found.get(at).map(|found| found.1)
    }

    /// Looks at everything up to the matching bracket.
    fn scan(&mut self, first: Token, mut lexer: Lexer<'_>, max_nesting: u32) {
        self.found.clear();
        self.open.clear();
        let mut brackets = Brackets::default();
        let mut token = first;
        let mut before = Kind::Semicolon;
        // The bracket closed by the token before.
        let mut closed = None;
        loop {
            let kind = token.kind;
            if let Some((open, is_operand)) = closed.take() {
                let begins = match (before, kind) {
                    (Kind::RightParen, Kind::Arrow) if !token.newline_before => Some(Begins::Arrow),
                    (Kind::RightBracket | Kind::RightBrace, Kind::Assign) => Some(Begins::Pattern),
                    (Kind::RightBracket | Kind::RightBrace, Kind::In) => Some(Begins::Head),
                    (Kind::RightBracket | Kind::RightBrace, Kind::Identifier)
                        if lexer.is_behind("of") =>
                    {
                        Some(Begins::Head)
                    }
                    (
                        Kind::RightBracket | Kind::RightBrace,
                        Kind::Dot
                        | Kind::LeftBracket
                        | Kind::LeftParen
                        | Kind::OptionalChain
                        | Kind::Template,
                    ) if is_operand => Some(Begins::Base),
                    _ => None,
                };
                if let Some(begins) = begins {
                    self.found.push((open, begins));
                }
                if self.open.is_empty() {
                    break;
                }
            }
            match kind {
                Kind::End => break,
                Kind::LeftParen | Kind::LeftBracket | Kind::LeftBrace => {
                    self.open.push((token.mark.start, begins_operand(before)));
                }
                Kind::RightBrace if brackets.is_in_template() => {}
                Kind::RightParen | Kind::RightBracket | Kind::RightBrace => {
                    closed = self.open.pop();
                    if closed.is_none() {
                        break;
                    }
                }
                Kind::Slash | Kind::AssignDivide if begins_operand(before) => {
                    lexer.regular_expression(token.mark.start as usize);
                }
                _ => {}
            }
            if brackets.depth() > 2 * max_nesting as usize {
                break;
            }
            before = kind;
            brackets.step(kind, &mut lexer);
            token = lexer.next();
        }
        self.found.sort_unstable_by_key(|found| found.0);
        self.known_to = token.mark.start;
    }
}

/// The common cases, settled by few tokens: nothing but names between the
/// parentheses, or something that no parameter list begins with.
fn simple_parameters(lexer: &mut Lexer<'_>) -> Option<bool> {
    let mut token = lexer.next();
    if token.kind == Kind::RightParen {
        return Some(lexer.next().kind == Kind::Arrow);
    }
    let mut n_names = 0;
    loop {
        match token.kind {
            Kind::Identifier => {}
            kind if kind.is_strict_reserved_word() => {}
            Kind::LeftBrace | Kind::LeftBracket | Kind::Ellipsis => return None,
            _ => return Some(false),
        }
        n_names += 1;
        token = lexer.next();
        match token.kind {
            Kind::Comma => token = lexer.next(),
            Kind::RightParen => {
                let after = lexer.next();
                return Some(after.kind == Kind::Arrow && !after.newline_before);
            }
            Kind::Assign => return None,
            _ => return Some(false),
        }
        if token.kind == Kind::RightParen {
            return Some(lexer.next().kind == Kind::Arrow);
        }
        // A long list is looked at once, by the scan that remembers.
        if n_names > 64 {
            return None;
        }
    }
}

/// Whether an operand is expected behind a token: a slash there begins a
/// regular expression.
fn begins_operand(before: Kind) -> bool {
    !matches!(
        before,
        Kind::Identifier
            | Kind::Number
            | Kind::BigInt
            | Kind::LegacyNumber
            | Kind::Text
            | Kind::Template
            | Kind::RightParen
            | Kind::RightBracket
            | Kind::RightBrace
            | Kind::This
            | Kind::Null
            | Kind::True
            | Kind::False
            | Kind::Super
            | Kind::Increment
            | Kind::Decrement
    )
}

/// The brackets open while tokens are skipped, templates included.
#[derive(Default)]
pub(crate) struct Brackets {
    open: Vec<Kind>,
}

impl Brackets {
    /// Those that are open where a token begins, of those that open behind another one.
    pub(crate) fn between(start: u32, end: u32, lexer: &Lexer<'_>) -> Brackets {
        let mut lexer = lexer.again_from(start);
        let mut brackets = Brackets::default();
        let mut before = Kind::Semicolon;
        loop {
            let token = lexer.next();
            if token.mark.start >= end || token.kind == Kind::End {
                return brackets;
            }
            if matches!(token.kind, Kind::Slash | Kind::AssignDivide) && begins_operand(before) {
                lexer.regular_expression(token.mark.start as usize);
            }
            brackets.step(token.kind, &mut lexer);
            before = token.kind;
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.open.is_empty()
    }

    /// Whether a brace is open: nothing but a brace closes it.
    pub(crate) fn has_braces(&self) -> bool {
        self.open.iter().any(|open| matches!(open, Kind::LeftBrace | Kind::Template))
    }

    fn is_in_template(&self) -> bool {
        self.open.last() == Some(&Kind::Template)
    }

    pub(crate) fn depth(&self) -> usize {
        self.open.len()
    }

    /// Takes a token that is skipped; the lexer stands behind it. Template
    /// characters behind it are skipped too.
    pub(crate) fn step(&mut self, kind: Kind, lexer: &mut Lexer<'_>) {
        let is_template = match kind {
            Kind::LeftBrace | Kind::LeftParen | Kind::LeftBracket => {
                self.open.push(kind);
                false
            }
            Kind::RightParen | Kind::RightBracket => {
                self.open.pop();
                false
            }
            Kind::RightBrace => self.open.pop() == Some(Kind::Template),
            Kind::Template => true,
            _ => false,
        };
        if is_template && lexer.template_chunk().is_some_and(|chunk| !chunk.is_tail) {
            self.open.push(Kind::Template);
        }
    }
}
