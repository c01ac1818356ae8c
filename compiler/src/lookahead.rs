//! Looking ahead over tokens: whether a parenthesis begins arrow parameters, and
//! which brackets are open while tokens are skipped.
//!
//! It refuses to build anything from what it sees. Each token is looked at once
//! for all parentheses around it: what a scan learns of inner ones is kept until
//! the parser has passed them, so that looking ahead stays linear.

use alloc::vec::Vec;

use crate::lexer::Lexer;
use crate::token::{Kind, Token};

/// What is known of the parentheses before an offset.
#[derive(Default)]
pub(crate) struct Lookahead {
    /// Everything before this offset has been looked at.
    known_to: u32,
    /// Offsets of parentheses that begin arrow parameters, in no order that
    /// matters beyond being few.
    arrows: Vec<u32>,
}

impl Lookahead {
    /// Whether the parenthesis begins the parameters of an arrow function; the
    /// lexer stands behind it.
    pub(crate) fn is_arrow(&mut self, paren: Token, lexer: &Lexer<'_>, max_nesting: u32) -> bool {
        let start = paren.mark.start;
        if start < self.known_to {
            return self.arrows.binary_search(&start).is_ok();
        }
        let mut ahead = lexer.clone();
        match simple_parameters(&mut ahead) {
            Some(is_arrow) => is_arrow,
            None => {
                self.scan(start, lexer.clone(), max_nesting);
                self.arrows.binary_search(&start).is_ok()
            }
        }
    }

    /// Looks at everything up to the matching parenthesis.
    fn scan(&mut self, start: u32, mut lexer: Lexer<'_>, max_nesting: u32) {
        self.arrows.clear();
        let mut brackets = Brackets::default();
        let mut parens = Vec::new();
        parens.push(start);
        let mut before = Kind::LeftParen;
        let mut token = lexer.next();
        loop {
            let kind = token.kind;
            match kind {
                Kind::End => break,
                Kind::LeftParen => parens.push(token.mark.start),
                Kind::RightParen => {
                    let Some(open) = parens.pop() else { break };
                    let after = lexer.peek();
                    if after.kind == Kind::Arrow && !after.newline_before {
                        self.arrows.push(open);
                    }
                    if parens.is_empty() {
                        break;
                    }
                }
                Kind::Slash | Kind::AssignDivide if begins_operand(before) => {
                    lexer.skip_regular_expression(token.mark.start as usize);
                }
                _ => {}
            }
            if parens.len() + brackets.depth() > 2 * max_nesting as usize {
                break;
            }
            before = kind;
            brackets.step(kind, &mut lexer);
            token = lexer.next();
        }
        self.arrows.sort_unstable();
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
    pub(crate) fn is_empty(&self) -> bool {
        self.open.is_empty()
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
