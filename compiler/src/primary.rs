//! Members, calls and primary expressions.
//!
//! It refuses regular expressions and direct eval, by name. Object literals are in
//! `objects`, templates in `templates`.

use alloc::format;

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::draft::LabelId;
use crate::function::{Function, FunctionKind};
use crate::literal;
use crate::narrow;
use crate::parser::{Fail, Parsed, Parser};
use crate::reference::{Operand, Place};
use crate::token::{Kind, Mark};

/// How many elements of an array literal wait on the stack for one
/// `make_array`; the rest is appended one by one, which bounds the depth.
const ELEMENTS_AT_ONCE: u32 = 32;

/// What is to be called.
#[derive(Clone, Copy)]
pub(crate) struct Callee {
    /// `Call` or `CallMethod`.
    pub(crate) op: Op,
    pub(crate) mark: Mark,
}

/// The arguments of a call, on the stack.
#[derive(Clone, Copy)]
pub(crate) enum Arguments {
    /// One by one.
    Counted(u32),
    /// In an array, because one was spread.
    List,
}

impl Parser<'_, '_> {
    /// LeftHandSideExpression ( -- operand )
    pub(crate) fn left_hand_side_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let start = self.token.mark;
        let mut operand = match self.token.kind {
            Kind::New => self.new_expression(f)?,
            _ => self.primary_expression(f)?,
        };
        // Where an optional chain ends that is open.
        let mut chain = None;
        loop {
            operand = match self.token.kind {
                Kind::LeftParen => self.call(f, operand, start)?,
                Kind::OptionalChain => {
                    let is_first = chain.is_none();
                    let end = *chain.get_or_insert_with(|| f.label());
                    if is_first {
                        self.begin_chain(end, start);
                    }
                    self.optional_link(f, operand, end)?
                }
                Kind::Template if chain.is_some() => return Err(self.template_in_chain()),
                _ => match self.member(f, operand)? {
                    Ok(member) => member,
                    Err(operand) => return Ok(self.end_chain(f, operand, chain)),
                },
            };
        }
    }

    fn template_in_chain(&mut self) -> Fail {
        let mark = self.token.mark;
        let clause = "sec-left-hand-side-expressions-static-semantics-early-errors";
        self.syntax(mark, clause, "a template cannot stand in an optional chain")
    }

    /// `?.` and what it links ( -- operand ), or to the chain's end.
    #[inline(never)]
    fn optional_link(
        &mut self,
        f: &mut Function<'_>,
        operand: Operand,
        end: LabelId,
    ) -> Parsed<Operand> {
        let link = self.token.mark;
        self.advance();
        if self.is(Kind::LeftParen) {
            let callee = self.callee(f, operand, link);
            let absent =
                if callee.op == Op::Call { Op::BranchAbsent } else { Op::BranchMethodAbsent };
            f.branch(absent, end);
            return self.call_of(f, callee);
        }
        self.value(f, operand);
        f.branch(Op::BranchAbsent, end);
        match self.token.kind {
            Kind::LeftBracket => match self.member(f, Operand::Value)? {
                Ok(member) => Ok(member),
                Err(operand) => Ok(operand),
            },
            Kind::Template => Err(self.template_in_chain()),
            _ => {
                let (atom, mark) = self.identifier_name("a property name, `[` or `(`")?;
                Ok(Operand::Place(Place::Field(atom), mark))
            }
        }
    }

    /// A chain that begins there has its first link.
    #[inline(always)]
    fn begin_chain(&mut self, end: LabelId, start: Mark) {
        #[cfg(feature = "places")]
        self.chains.push((end, start));
        #[cfg(not(feature = "places"))]
        let _ = (end, start);
    }

    /// What follows the end of a chain is of its beginning, where every place is to be noted:
    /// its links may have been left out.
    #[inline(always)]
    pub(crate) fn note_chain(&mut self, f: &mut Function<'_>, end: LabelId) {
        #[cfg(feature = "places")]
        if let Some(index) = self.chains.iter().rposition(|&(label, _)| label == end) {
            let (_, start) = self.chains[index];
            self.chains.truncate(index);
            self.note_again(f, start);
        }
        #[cfg(not(feature = "places"))]
        let _ = (f, end);
    }

    /// What a chain of links comes to: it stays a reference that can be called
    /// or deleted, but none that can be assigned.
    #[inline(never)]
    fn end_chain(
        &mut self,
        f: &mut Function<'_>,
        operand: Operand,
        chain: Option<LabelId>,
    ) -> Operand {
        match (chain, operand) {
            (None, operand) => operand,
            (Some(end), Operand::Place(place, mark)) => Operand::Chain(place, mark, end),
            (Some(end), operand) => {
                self.value(f, operand);
                f.bind(end);
                self.note_chain(f, end);
                Operand::Value
            }
        }
    }

    /// One more member of an expression: `.name` or `[key]` ( -- operand ), or
    /// the operand as it was.
    fn member(
        &mut self,
        f: &mut Function<'_>,
        operand: Operand,
    ) -> Parsed<Result<Operand, Operand>> {
        match self.token.kind {
            Kind::Dot => {
                self.value(f, operand);
                self.advance();
                let (atom, mark) = self.identifier_name("a property name")?;
                Ok(Ok(Operand::Place(Place::Field(atom), mark)))
            }
            Kind::LeftBracket => {
                self.value(f, operand);
                self.computed_member(f).map(Ok)
            }
            Kind::Template => self.tagged_template(f, operand).map(Ok),
            _ => Ok(Err(operand)),
        }
    }

    /// `[key]` ( -- operand )
    #[inline(never)]
    fn computed_member(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let mark = self.advance().mark;
        let key = self.expression(f, false)?;
        self.expect(Kind::RightBracket, "`]`")?;
        if let Operand::Text(atom) = key
            && !self.atoms.is_index_like(atom)
        {
            return Ok(Operand::Place(Place::Field(atom), mark));
        }
        self.value(f, key);
        Ok(Operand::Place(Place::At, mark))
    }

    /// CallExpression: arguments behind a function ( -- value )
    #[inline(never)]
    fn call(&mut self, f: &mut Function<'_>, operand: Operand, start: Mark) -> Parsed<Operand> {
        let mark = self.token.mark;
        if let Operand::Place(Place::Name(Atom::EVAL), name) = operand
            && self.last == start
        {
            let clause = "sec-function-calls";
            return Err(self.unsupported(name, clause, "direct `eval`"));
        }
        let callee = self.callee(f, operand, mark);
        self.call_of(f, callee)
    }

    /// The operand as what is called: ( -- function ) or, of a method,
    /// ( -- function this )
    pub(crate) fn callee(&mut self, f: &mut Function<'_>, operand: Operand, mark: Mark) -> Callee {
        match operand {
            Operand::Place(place, mark) if !place.is_name() => {
                self.method(f, place, mark);
                Callee { op: Op::CallMethod, mark }
            }
            // In parentheses a chain ends before the call, which has its this value.
            Operand::Chain(place, mark, end) => {
                self.method(f, place, mark);
                let behind = f.label();
                f.branch(Op::Branch, behind);
                f.bind(end);
                self.note_chain(f, end);
                f.set_depth(f.depth - 1);
                f.op(Op::PushUndefined);
                f.bind(behind);
                Callee { op: Op::CallMethod, mark }
            }
            operand => {
                let mark = match operand {
                    Operand::Place(Place::Name(_), name) => name,
                    _ => mark,
                };
                self.value(f, operand);
                Callee { op: Op::Call, mark }
            }
        }
    }

    /// ( place -- function this )
    fn method(&mut self, f: &mut Function<'_>, place: Place, mark: Mark) {
        f.at(mark);
        match place {
            Place::Field(atom) => self.field_op(f, Op::MethodField, atom),
            Place::Super => f.op(Op::MethodSuper),
            _ => f.op(Op::MethodAt),
        }
    }

    /// The arguments of what is to be called ( function -- value ) or
    /// ( function this -- value )
    fn call_of(&mut self, f: &mut Function<'_>, callee: Callee) -> Parsed<Operand> {
        match self.arguments(f)? {
            Arguments::Counted(n) => {
                f.at(callee.mark);
                f.op_with(callee.op, narrow::to_operand(n));
            }
            Arguments::List => {
                if callee.op == Op::Call {
                    f.op(Op::PushUndefined);
                    f.op(Op::Swap);
                }
                f.at(callee.mark);
                f.op(Op::CallList);
            }
        }
        Ok(Operand::Value)
    }

    /// Arguments in parentheses ( -- value… ), or ( -- array ) if one is spread.
    #[inline(never)]
    pub(crate) fn arguments(&mut self, f: &mut Function<'_>) -> Parsed<Arguments> {
        self.advance();
        let mut n = 0;
        let mut is_list = false;
        while !self.is(Kind::RightParen) {
            let mark = self.token.mark;
            let spreads = self.eat(Kind::Ellipsis);
            if spreads && !is_list {
                f.at(mark);
                f.op_with(Op::MakeArray, narrow::to_operand(n));
                is_list = true;
            }
            let operand = self.assignment_expression(f, false)?;
            self.value(f, operand);
            n += 1;
            if is_list {
                f.at(mark);
                f.op(if spreads { Op::Extend } else { Op::Append });
            }
            if !self.eat(Kind::Comma) {
                break;
            }
        }
        self.expect(Kind::RightParen, "`,` or `)` behind an argument")?;
        Ok(if is_list { Arguments::List } else { Arguments::Counted(n) })
    }

    /// NewExpression ( -- object )
    #[inline(never)]
    fn new_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        self.enter()?;
        let mark = self.advance().mark;
        if self.is(Kind::Dot) {
            let operand = self.new_target(f, mark)?;
            self.leave();
            return Ok(operand);
        }
        let mut operand = match self.token.kind {
            Kind::New => self.new_expression(f)?,
            Kind::Super if self.lexer.peek().kind == Kind::LeftParen => {
                return Err(self.expected("a constructor"));
            }
            Kind::Import => return Err(self.expected("a constructor")),
            _ => self.primary_expression(f)?,
        };
        while let Ok(member) = self.member(f, operand)? {
            operand = member;
        }
        if self.is(Kind::OptionalChain) {
            return Err(self.expected("the arguments of `new`"));
        }
        self.value(f, operand);
        let arguments =
            if self.is(Kind::LeftParen) { self.arguments(f)? } else { Arguments::Counted(0) };
        f.at(mark);
        match arguments {
            Arguments::Counted(n) => f.op_with(Op::Construct, narrow::to_operand(n)),
            Arguments::List => f.op(Op::ConstructList),
        }
        self.leave();
        Ok(Operand::Value)
    }

    /// PrimaryExpression ( -- operand )
    fn primary_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let token = self.token;
        self.note_place(f);
        match token.kind {
            Kind::Identifier => self.identifier_reference(),
            Kind::This => {
                self.advance();
                self.this(f);
                Ok(Operand::Value)
            }
            Kind::Number => {
                let number = literal::number(self.text_of(token.mark));
                let number = number.map_err(|_| {
                    self.syntax(
                        token.mark,
                        "sec-literals-numeric-literals",
                        "a numeric separator must stand between digits",
                    )
                })?;
                self.advance();
                Ok(Operand::Number(number))
            }
            Kind::Text => {
                self.advance();
                Ok(Operand::Text(self.text_atom(token)?))
            }
            Kind::Template => self.template_literal(f),
            Kind::LeftParen => self.parenthesized_expression(f),
            Kind::LeftBracket => self.array_literal(f),
            Kind::LeftBrace => self.object_literal(f),
            Kind::Function => self.function_expression(f),
            Kind::Class => self.class_expression(f),
            Kind::Super => self.super_expression(f),
            Kind::Null => Ok(self.push_literal(f, Op::PushNull)),
            Kind::True => Ok(self.push_literal(f, Op::PushTrue)),
            Kind::False => Ok(self.push_literal(f, Op::PushFalse)),
            Kind::Slash | Kind::AssignDivide => self.regular_expression(f),
            _ => self.refused_primary_expression(),
        }
    }

    /// What begins no expression of the subset.
    #[inline(never)]
    fn refused_primary_expression(&mut self) -> Parsed<Operand> {
        let mark = self.token.mark;
        Err(match self.token.kind {
            Kind::Import => self.unsupported(mark, "sec-import-calls", "`import` in an expression"),
            Kind::BigInt => {
                let clause = "sec-ecmascript-language-types-bigint-type";
                self.unsupported(mark, clause, "a BigInt literal")
            }
            Kind::LegacyNumber => self.strict(
                mark,
                "sec-numeric-literals-early-errors",
                "a number other than 0 cannot begin with 0 in strict mode code; \
                 an octal one begins with 0o",
            ),
            kind if kind.is_reserved_word() && kind.is_strict_reserved_word() => {
                return self.identifier("an expression").map(|_| Operand::Value);
            }
            _ => self.expected("an expression"),
        })
    }

    /// RegularExpressionLiteral ( -- value ), which is refused: after what is wrong in its
    /// extent, its flags and its pattern, so that the rest is read as what it is. On a
    /// board the pattern is not looked into.
    #[inline(never)]
    fn regular_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let mark = self.token.mark;
        let Some((pattern, flags)) = self.lexer.regular_expression(mark.start as usize) else {
            let clause = "sec-literals-regular-expression-literals";
            return Err(self.syntax(mark, clause, "this regular expression does not end"));
        };
        let has = |flag: char| flags.contains(flag);
        let early =
            "sec-primary-expression-regular-expression-literals-static-semantics-early-errors";
        let is_known = |flag: char| "dgimsuvy".contains(flag);
        let is_twice = |(at, flag): (usize, char)| flags[..at].contains(flag);
        if !flags.chars().all(is_known)
            || flags.char_indices().any(is_twice)
            || has('u') && has('v')
        {
            let message = format!("`{flags}` are no flags of a regular expression");
            return Err(self.syntax(mark, early, message));
        }
        #[cfg(not(feature = "small"))]
        if let Some(fault) = crate::regular::fault(pattern, flags) {
            let message = format!("no regular expression: {fault}");
            return Err(self.syntax(mark, early, message));
        }
        #[cfg(feature = "small")]
        let _ = pattern;
        let clause = "sec-primary-expression-regular-expression-literals";
        self.unsupported_but_read(mark, clause, "a regular expression literal");
        Ok(self.push_literal(f, Op::PushUndefined))
    }

    fn push_literal(&mut self, f: &mut Function<'_>, op: Op) -> Operand {
        self.advance();
        f.op(op);
        Operand::Value
    }

    /// IdentifierReference ( -- operand )
    #[inline(never)]
    fn identifier_reference(&mut self) -> Parsed<Operand> {
        let is_async = self.is_word("async");
        let (atom, mark) = self.identifier("an expression")?;
        self.check_arguments(atom, mark)?;
        if is_async && !self.token.newline_before {
            self.refuse_async(mark)?;
        }
        Ok(Operand::Place(Place::Name(atom), mark))
    }

    /// An async function behind `async` on the same line, which is refused.
    pub(crate) fn refuse_async(&mut self, mark: Mark) -> Parsed<()> {
        let token = self.token;
        let what = match token.kind {
            Kind::Function => "an async function",
            Kind::Identifier if self.lexer.peek().kind == Kind::Arrow => "an async arrow function",
            Kind::LeftParen if self.lookahead.is_arrow(token, &self.lexer, self.max_nesting) => {
                "an async arrow function"
            }
            _ => return Ok(()),
        };
        Err(self.unsupported(mark, "sec-async-function-definitions", what))
    }

    /// ( -- value ): the this value, which an arrow function has from around it.
    pub(crate) fn this(&mut self, f: &mut Function<'_>) {
        if matches!(f.kind, FunctionKind::Arrow | FunctionKind::Derived) {
            let mark = self.last;
            self.read(f, Place::Name(Atom::THIS), mark);
        } else {
            f.op(Op::LoadThis);
        }
    }

    /// ParenthesizedExpression ( -- operand ): parentheses leave a reference one.
    fn parenthesized_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        self.advance();
        if self.is(Kind::RightParen) {
            return Err(self.expected("an expression"));
        }
        let operand = self.expression(f, false)?;
        self.expect(Kind::RightParen, "`)`")?;
        Ok(operand)
    }

    /// ArrayLiteral ( -- array )
    #[inline(never)]
    fn array_literal(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let mark = self.advance().mark;
        let mut n_waiting = 0;
        let mut is_made = false;
        while !self.is(Kind::RightBracket) {
            let is_hole = self.is(Kind::Comma);
            if !is_made && (is_hole || n_waiting == ELEMENTS_AT_ONCE) {
                f.at(mark);
                f.op_with(Op::MakeArray, narrow::to_operand(n_waiting));
                is_made = true;
            }
            if is_hole {
                self.advance();
                f.op(Op::AppendHole);
                continue;
            }
            let place = self.token.mark;
            let spreads = self.eat(Kind::Ellipsis);
            if spreads && !is_made {
                f.at(mark);
                f.op_with(Op::MakeArray, narrow::to_operand(n_waiting));
                is_made = true;
            }
            let operand = self.assignment_expression(f, false)?;
            self.value(f, operand);
            if spreads {
                f.at(place);
                f.op(Op::Extend);
            } else if is_made {
                f.at(mark);
                f.op(Op::Append);
            } else {
                n_waiting += 1;
            }
            if !self.eat(Kind::Comma) {
                break;
            }
        }
        self.expect(Kind::RightBracket, "`,` or `]` behind an element")?;
        if !is_made {
            f.at(mark);
            f.op_with(Op::MakeArray, narrow::to_operand(n_waiting));
        }
        Ok(Operand::Value)
    }
}
