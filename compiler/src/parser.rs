//! The parser's state and what every production needs: the current token, names,
//! recovery and the limit on nesting.
//!
//! It refuses grammar: the productions are in `statements`, `jumps`, `loops`,
//! `declarations`, `functions`, `expressions`, `primary` and `objects`, one
//! function each, named after the production.
//!
//! Productions that seldom nest are out of line, as are the steps of `compile`: a
//! frame with all of them in it is paid again for every level of nesting. Inline,
//! an expression within an expression took 2.1 KB of a board's stack.

use alloc::format;
use alloc::vec::Vec;

#[cfg(not(feature = "small"))]
use logos::Logos;

use scruple_bytecode::sets::InstructionSet;

use crate::arena::{Meter, Pool};
use crate::atoms::{Atom, Atoms};
use crate::classes::Context;
use crate::diagnostic::{Diagnostic, DiagnosticKind};
#[cfg(feature = "places")]
use crate::draft::LabelId;
use crate::draft::{ScopeId, VarId};
use crate::function::{Function, FunctionKind};
use crate::lexer::Lexer;
use crate::literal::{self, Fault};
use crate::lookahead::{Brackets, Lookahead};
use crate::output::Output;
use crate::token::{Kind, Mark, Token};
use crate::{MAX_DIAGNOSTICS, Options};

/// The complaint is reported; the statement is given up.
#[derive(Debug)]
pub(crate) struct Fail;

pub(crate) type Parsed<T> = Result<T, Fail>;

/// The parser, with all that outlives a function.
pub(crate) struct Parser<'s, 'm> {
    pub(crate) source: &'s str,
    pub(crate) lexer: Lexer<'s>,
    /// The current token.
    pub(crate) token: Token,
    /// The token before it.
    pub(crate) last: Mark,
    pub(crate) lookahead: Lookahead,
    pub(crate) atoms: Atoms,
    pub(crate) output: Output<'s>,
    pub(crate) pool: Pool<'m>,
    pub(crate) diagnostics: Vec<Diagnostic>,
    pub(crate) nesting: u32,
    pub(crate) max_nesting: u32,
    pub(crate) context: Context,
    /// A buffer for the guards of the closing function.
    pub(crate) guards: Vec<[u32; 3]>,
    /// Variables of patterns whose values are not read yet.
    pub(crate) fresh: Vec<VarId>,
    /// Whether the function closed last has a rest parameter.
    pub(crate) had_rest: bool,
    /// A buffer for the code units of a literal.
    pub(crate) units: Vec<u16>,
    /// Where the optional chains begin whose ends are not bound yet.
    #[cfg(feature = "places")]
    pub(crate) chains: Vec<(LabelId, Mark)>,
}

/// What a statement that fails is given up to.
#[derive(Clone, Copy)]
pub(crate) struct Checkpoint {
    scope: ScopeId,
    n_controls: u32,
    nesting: u32,
    offset: u32,
}

impl<'s, 'm> Parser<'s, 'm> {
    #[inline(never)]
    pub(crate) fn new(
        source: &'s str,
        options: &Options,
        set: &'s InstructionSet<'s>,
        meter: &'m Meter,
    ) -> Self
    where
        'm: 's,
    {
        let mut lexer = Lexer::new(source, meter);
        let token = lexer.next();
        Parser {
            source,
            lexer,
            token,
            last: Mark::default(),
            lookahead: Lookahead::default(),
            atoms: Atoms::new(),
            output: Output::new(options.encoding, set, options.lines),
            pool: Pool::new(meter),
            diagnostics: Vec::new(),
            nesting: 0,
            max_nesting: options.max_nesting,
            context: Context::default(),
            guards: Vec::new(),
            fresh: Vec::new(),
            had_rest: false,
            units: Vec::new(),
            #[cfg(feature = "places")]
            chains: Vec::new(),
        }
    }

    /// Script: its statements, each swept before the next is read.
    #[inline(never)]
    pub(crate) fn script(&mut self) {
        while self.token.kind != Kind::End {
            let mark = self.token.mark;
            let arena = self.pool.take();
            {
                let mut f = Function::new(&arena, FunctionKind::Script, 0);
                self.statement_list_item_or_skip(&mut f);
                f.word(crate::draft::Word::End);
                self.close_script_part(&mut f, &arena, mark);
            }
            self.pool.give_back(arena);
        }
    }

    /// What follows is of the token at hand, where every place is to be noted: see
    /// [`compile_with_places`](crate::compile_with_places).
    #[inline(always)]
    pub(crate) fn note_place(&self, f: &mut Function<'_>) {
        if self.output.notes_all() {
            f.at(self.token.mark);
        }
    }

    /// What follows is of this mark again, where every place is to be noted: ways of which one
    /// was taken meet here, and what was written last may be of another.
    #[inline(always)]
    pub(crate) fn note_again(&self, f: &mut Function<'_>, mark: Mark) {
        if self.output.notes_all() {
            f.at(mark);
        }
    }

    /// The same of a statement. One that is a branch and nothing else has no place of its own:
    /// the sweep leads other branches past it, and looks for it right behind its label.
    #[inline(always)]
    pub(crate) fn note_statement(&self, f: &mut Function<'_>) {
        if !matches!(self.token.kind, Kind::Break | Kind::Continue) {
            self.note_place(f);
        }
    }

    /// Lets go of what only productions need.
    pub(crate) fn let_go(&mut self) {
        self.lookahead = Lookahead::default();
        self.guards = Vec::new();
        self.units = Vec::new();
    }

    pub(crate) fn has_errors(&self) -> bool {
        !self.diagnostics.is_empty()
    }

    // Tokens.

    /// Goes to the next token and returns the one that was current.
    pub(crate) fn advance(&mut self) -> Token {
        let token = self.token;
        self.last = token.mark;
        // Past the last complaint that would be shown nothing is read.
        if self.diagnostics.len() >= MAX_DIAGNOSTICS {
            let end = Mark { start: token.mark.end, ..token.mark };
            self.token = Token { kind: Kind::End, mark: end, ..token };
        } else {
            self.token = self.lexer.next();
        }
        token
    }

    pub(crate) fn is(&self, kind: Kind) -> bool {
        self.token.kind == kind
    }

    /// Goes behind the token if it is of this kind.
    pub(crate) fn eat(&mut self, kind: Kind) -> bool {
        let is = self.is(kind);
        if is {
            self.advance();
        }
        is
    }

    /// Goes behind the token, which must be of this kind.
    pub(crate) fn expect(&mut self, kind: Kind, what: &str) -> Parsed<Token> {
        if self.is(kind) { Ok(self.advance()) } else { Err(self.expected(what)) }
    }

    /// Automatic semicolon insertion: a statement ends here.
    pub(crate) fn semicolon(&mut self) -> Parsed<()> {
        match self.token.kind {
            Kind::Semicolon => {
                self.advance();
                Ok(())
            }
            Kind::RightBrace | Kind::End => Ok(()),
            _ if self.token.newline_before => Ok(()),
            _ => Err(self.expected("`;` or a new line")),
        }
    }

    pub(crate) fn text_of(&self, mark: Mark) -> &'s str {
        self.source.get(mark.start as usize..mark.end as usize).unwrap_or("")
    }

    /// Whether the current token is this word, which no grammar reserves,
    /// written without escapes.
    pub(crate) fn is_word(&self, word: &str) -> bool {
        self.is(Kind::Identifier) && !self.token.escaped && self.text_of(self.token.mark) == word
    }

    // Names.

    /// IdentifierName: any word, reserved or not.
    pub(crate) fn identifier_name(&mut self, what: &str) -> Parsed<(Atom, Mark)> {
        if self.is(Kind::PrivateName) {
            let mark = self.token.mark;
            return Err(self.unsupported(mark, "sec-private-names", "a private name"));
        }
        if !self.token.kind.is_identifier_name() {
            return Err(self.expected(what));
        }
        let token = self.advance();
        Ok((self.word_atom(token)?, token.mark))
    }

    /// Identifier: a word that is not reserved.
    pub(crate) fn identifier(&mut self, what: &str) -> Parsed<(Atom, Mark)> {
        let token = self.token;
        if token.kind.is_strict_reserved_word() {
            let word = self.text_of(token.mark);
            let message = format!("`{word}` is a reserved word in strict mode code");
            return Err(self.strict(token.mark, "sec-keywords-and-reserved-words", message));
        }
        if token.kind.is_reserved_word() {
            let word = self.text_of(token.mark);
            let message = format!("expected {what}, found the reserved word `{word}`");
            return Err(self.syntax(token.mark, "sec-keywords-and-reserved-words", message));
        }
        if token.kind != Kind::Identifier {
            return Err(self.expected(what));
        }
        self.advance();
        let atom = self.word_atom(token)?;
        self.check_await(atom, token.mark)?;
        if token.escaped {
            // Escapes do not unreserve a word.
            let word = self.atoms.show(atom);
            if let Some(kind) = reserved(&word) {
                let message = format!("the reserved word `{word}` is no name, escaped or not");
                return Err(if kind.is_strict_reserved_word() {
                    self.strict(token.mark, "sec-keywords-and-reserved-words", message)
                } else {
                    self.syntax(
                        token.mark,
                        "sec-identifiers-static-semantics-early-errors",
                        message,
                    )
                });
            }
        }
        Ok((atom, token.mark))
    }

    /// BindingIdentifier: an identifier that a declaration can name.
    pub(crate) fn binding_identifier(&mut self, what: &str) -> Parsed<(Atom, Mark)> {
        let (atom, mark) = self.identifier(what)?;
        self.check_bindable(atom, mark)?;
        Ok((atom, mark))
    }

    /// `eval` and `arguments` can be neither declared nor assigned.
    pub(crate) fn check_bindable(&mut self, atom: Atom, mark: Mark) -> Parsed<()> {
        if atom == Atom::EVAL || atom == Atom::ARGUMENTS {
            let name = self.atoms.show(atom);
            let message =
                format!("`{name}` can be neither declared nor assigned in strict mode code");
            return Err(self.strict(
                mark,
                "sec-identifiers-static-semantics-early-errors",
                message,
            ));
        }
        Ok(())
    }

    fn word_atom(&mut self, token: Token) -> Parsed<Atom> {
        let text = self.text_of(token.mark);
        if !token.escaped {
            return Ok(self.atoms.intern(text));
        }
        match literal::identifier(text) {
            Ok(name) => Ok(self.atoms.intern(&name)),
            Err((_, _)) => Err(self.syntax(
                token.mark,
                "sec-identifier-names-static-semantics-early-errors",
                "this escape stands for a character that no identifier can hold here",
            )),
        }
    }

    /// The atom of a string literal.
    pub(crate) fn text_atom(&mut self, token: Token) -> Parsed<Atom> {
        let text = self.text_of(token.mark);
        let inner = text.get(1..text.len().max(2) - 1).unwrap_or("");
        if !token.escaped {
            return Ok(self.atoms.intern(inner));
        }
        self.cook(inner, token.mark, 1, false)
    }

    /// The atom of a string's or template's characters, escapes resolved. They
    /// begin some bytes behind the start of the mark.
    pub(crate) fn cook(
        &mut self,
        text: &str,
        mark: Mark,
        lead: u32,
        is_template: bool,
    ) -> Parsed<Atom> {
        let mut units = core::mem::take(&mut self.units);
        units.clear();
        let cooked = literal::text(text, is_template, &mut units);
        let atom = cooked.map(|()| self.atoms.intern_units(&units));
        self.units = units;
        atom.map_err(|(at, fault)| {
            let offset = mark.start + lead + crate::narrow::to_u32(at);
            let position = self.position_of(offset);
            let start = Mark {
                start: offset,
                end: offset + 2,
                line: position.line,
                column: position.column,
            };
            match (fault, is_template) {
                (Fault::OctalEscape, false) => self.strict(
                    start,
                    "sec-string-literals-early-errors",
                    "octal escapes are not allowed in strict mode code",
                ),
                (_, true) => self.syntax(
                    start,
                    "sec-template-literals",
                    "this escape is not allowed in a template",
                ),
                _ => self.syntax(
                    start,
                    "sec-literals-string-literals",
                    "this escape is not complete",
                ),
            }
        })
    }

    /// The atom of template characters behind a tag: an escape that stands for
    /// nothing is no error there, and leaves no string.
    pub(crate) fn cooked_or_nothing(&mut self, text: &str) -> Option<Atom> {
        let mut units = core::mem::take(&mut self.units);
        units.clear();
        let cooked = literal::text(text, true, &mut units);
        let atom = cooked.ok().map(|()| self.atoms.intern_units(&units));
        self.units = units;
        atom
    }

    /// The atom of template characters as they are written; every line ends in a
    /// line feed.
    pub(crate) fn raw(&mut self, text: &str) -> Atom {
        if !text.contains('\r') {
            return self.atoms.intern(text);
        }
        let text = text.replace("\r\n", "\n").replace('\r', "\n");
        self.atoms.intern(&text)
    }

    // Nesting and recovery.

    /// A production that can hold itself begins.
    pub(crate) fn enter(&mut self) -> Parsed<()> {
        if self.nesting >= self.max_nesting {
            let mark = self.token.mark;
            let message = format!("nested deeper than the limit of {}", self.max_nesting);
            self.report(DiagnosticKind::Limit, mark, None, message.into());
            // What is inside would only repeat this.
            self.token = Token { kind: Kind::End, ..self.token };
            self.lexer.stop();
            return Err(Fail);
        }
        self.nesting += 1;
        Ok(())
    }

    /// It ends. After a failure the checkpoint puts the count right.
    pub(crate) fn leave(&mut self) {
        self.nesting = self.nesting.saturating_sub(1);
    }

    pub(crate) fn checkpoint(&self, f: &Function<'_>) -> Checkpoint {
        Checkpoint {
            scope: f.scope,
            n_controls: f.controls.len(),
            nesting: self.nesting,
            offset: self.token.mark.start,
        }
    }

    /// Gives a statement up: goes on where the next one seems to begin.
    pub(crate) fn recover(&mut self, f: &mut Function<'_>, checkpoint: Checkpoint) {
        f.close_scopes_to(&mut self.atoms, checkpoint.scope);
        f.controls.truncate(checkpoint.n_controls);
        self.fresh.clear();
        f.set_depth(0);
        self.nesting = checkpoint.nesting;
        let here = self.token.mark.start;
        let mut brackets = Brackets::between(checkpoint.offset, here, &self.lexer);
        while !self.is(Kind::End) {
            let kind = self.token.kind;
            let has_moved = self.token.mark.start > checkpoint.offset;
            if kind == Kind::Semicolon && brackets.is_empty() {
                self.advance();
                return;
            }
            // A parenthesis may be what is missing.
            if has_moved && !brackets.has_braces() {
                let begins = self.token.newline_before && kind.begins_statement();
                if begins || kind == Kind::RightBrace {
                    return;
                }
            }
            brackets.step(kind, &mut self.lexer);
            self.advance();
            if kind == Kind::RightBrace && brackets.is_empty() && self.token.newline_before {
                return;
            }
        }
    }
}

/// Whether the text is a word that strict mode code alone reserves.
pub(crate) fn is_strict_reserved(word: &str) -> bool {
    reserved(word).is_some_and(Kind::is_strict_reserved_word)
}

/// Whether the text is a word that any code reserves.
pub(crate) fn is_reserved(word: &str) -> bool {
    reserved(word).is_some_and(|kind| !kind.is_strict_reserved_word())
}

#[cfg(feature = "small")]
use crate::words::reserved;

#[cfg(not(feature = "small"))]
fn reserved(word: &str) -> Option<Kind> {
    let mut lexer = Kind::lexer(word);
    let kind = lexer.next()?.ok()?;
    (kind.is_reserved_word() && lexer.span().end == word.len()).then_some(kind)
}
