//! Functions: parameters, bodies and arrow functions.
//!
//! It owns how a function is opened inside another and closed. It refuses
//! default values, rest parameters, patterns, generators and async functions.

use alloc::format;

use scruple_bytecode::ops::Op;

use crate::arena::Arena;
use crate::atoms::Atom;
use crate::close::ClosedId;
use crate::draft::{ScopeId, Word};
use crate::function::{Function, FunctionKind};
use crate::narrow;
use crate::parser::{Parsed, Parser};
use crate::reference::Operand;
use crate::token::{Kind, Mark};
use crate::variables::State;

/// How the parameters are written.
#[derive(Clone, Copy)]
enum Parameters {
    /// In parentheses, which come next.
    List,
    /// One name without parentheses, which is behind.
    Single(Atom, Mark),
}

impl Parser<'_, '_> {
    /// FunctionExpression ( -- function )
    pub(crate) fn function_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let mark = self.advance().mark;
        self.refuse_generator()?;
        if self.is(Kind::LeftParen) {
            let id = self.function(f, mark, FunctionKind::Plain, None)?;
            return Ok(self.closure(f, id, mark));
        }
        let (name, _) = self.binding_identifier("the function's name or `(`")?;
        let id = self.function(f, mark, FunctionKind::Plain, Some(name))?;
        let operand = self.closure(f, id, mark);
        self.name_closure(operand, name);
        Ok(Operand::Value)
    }

    /// ArrowFunction from its parameters on, in parentheses ( -- function )
    #[inline(never)]
    pub(crate) fn arrow_function(&mut self, f: &mut Function<'_>, no_in: bool) -> Parsed<Operand> {
        let mark = self.token.mark;
        let id = self.nested_function(f, mark, FunctionKind::Arrow, None, |this, inner| {
            this.arrow_parameters_and_body(inner, Parameters::List, no_in)
        })?;
        Ok(self.closure(f, id, mark))
    }

    /// ArrowFunction whose one parameter, without parentheses, is behind
    /// ( -- function )
    pub(crate) fn arrow_function_of(
        &mut self,
        f: &mut Function<'_>,
        parameter: Atom,
        mark: Mark,
        no_in: bool,
    ) -> Parsed<Operand> {
        let id = self.nested_function(f, mark, FunctionKind::Arrow, None, |this, inner| {
            this.arrow_parameters_and_body(inner, Parameters::Single(parameter, mark), no_in)
        })?;
        Ok(self.closure(f, id, mark))
    }

    /// FormalParameters and FunctionBody of a function, with the brackets around
    /// them. Nothing is emitted in the function around.
    pub(crate) fn function(
        &mut self,
        f: &mut Function<'_>,
        mark: Mark,
        kind: FunctionKind,
        own_name: Option<Atom>,
    ) -> Parsed<ClosedId> {
        self.nested_function(f, mark, kind, own_name, |this, inner| {
            this.formal_parameters(inner)?;
            this.function_body(inner)
        })
    }

    /// ( -- function )
    pub(crate) fn closure(&mut self, f: &mut Function<'_>, id: ClosedId, mark: Mark) -> Operand {
        f.at(mark);
        f.op_with(Op::MakeClosure, narrow::to_operand(id.0));
        Operand::Closure(id)
    }

    /// `*` behind `function`, which is refused.
    pub(crate) fn refuse_generator(&mut self) -> Parsed<()> {
        if self.is(Kind::Star) {
            let mark = self.token.mark;
            let clause = "sec-generator-function-definitions";
            return Err(self.unsupported(mark, clause, "a generator function"));
        }
        Ok(())
    }

    /// Opens a function in an arena of its own, and closes it.
    fn nested_function(
        &mut self,
        f: &mut Function<'_>,
        mark: Mark,
        kind: FunctionKind,
        own_name: Option<Atom>,
        parse: impl FnOnce(&mut Self, &mut Function<'_>) -> Parsed<()>,
    ) -> Parsed<ClosedId> {
        self.enter()?;
        let arena = self.pool.take();
        let closed = self.function_in(&arena, f, mark, kind, own_name, parse);
        self.pool.give_back(arena);
        self.leave();
        closed
    }

    fn function_in<'a>(
        &mut self,
        arena: &'a Arena<'a>,
        f: &mut Function<'_>,
        mark: Mark,
        kind: FunctionKind,
        own_name: Option<Atom>,
        parse: impl FnOnce(&mut Self, &mut Function<'_>) -> Parsed<()>,
    ) -> Parsed<ClosedId> {
        let mut inner = Function::new(arena, kind, f.base + f.records.len());
        inner.is_global_only = self.is_script_level(f);
        if let Some(name) = own_name {
            inner.own_name = own_name;
            inner.mark_own_name(&mut self.atoms, name);
        }
        if let Err(fail) = parse(self, &mut inner) {
            inner.restore_names(&mut self.atoms);
            return Err(fail);
        }
        inner.op(Op::ReturnUndefined);
        inner.word(Word::End);
        self.close_function(&mut inner, arena, f, mark)
    }

    fn arrow_parameters_and_body(
        &mut self,
        f: &mut Function<'_>,
        parameters: Parameters,
        no_in: bool,
    ) -> Parsed<()> {
        match parameters {
            Parameters::List => self.formal_parameters(f)?,
            Parameters::Single(atom, mark) => self.declare_parameter(f, atom, mark)?,
        }
        if self.token.newline_before {
            let mark = self.token.mark;
            return Err(self.syntax(
                mark,
                "sec-arrow-function-definitions",
                "a new line cannot stand between arrow parameters and `=>`",
            ));
        }
        self.expect(Kind::Arrow, "`=>`")?;
        if self.is(Kind::LeftBrace) {
            return self.function_body(f);
        }
        let operand = self.assignment_expression(f, no_in)?;
        self.value(f, operand);
        f.op(Op::Return);
        Ok(())
    }

    /// FormalParameters in parentheses.
    fn formal_parameters(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.expect(Kind::LeftParen, "`(` before the parameters")?;
        while !self.is(Kind::RightParen) {
            self.refuse_pattern()?;
            let mark = self.token.mark;
            if self.is(Kind::Ellipsis) {
                let clause = "sec-function-definitions";
                return Err(self.unsupported(mark, clause, "a rest parameter"));
            }
            let (atom, mark) = self.binding_identifier("a parameter's name")?;
            if self.is(Kind::Assign) {
                let mark = self.token.mark;
                let clause = "sec-function-definitions";
                return Err(self.unsupported(mark, clause, "a parameter's default value"));
            }
            self.declare_parameter(f, atom, mark)?;
            if !self.eat(Kind::Comma) {
                break;
            }
        }
        self.expect(Kind::RightParen, "`,` or `)` behind a parameter")?;
        Ok(())
    }

    fn declare_parameter(&mut self, f: &mut Function<'_>, atom: Atom, mark: Mark) -> Parsed<()> {
        self.check_bindable(atom, mark)?;
        if f.declare(&mut self.atoms, atom, State::Param).is_err() {
            let name = self.atoms.show(atom);
            let message = format!("two parameters have the name `{name}`");
            return Err(self.strict(
                mark,
                "sec-parameter-lists-static-semantics-early-errors",
                message,
            ));
        }
        f.n_params += 1;
        Ok(())
    }

    /// FunctionBody in braces ( -- ). It shares the parameters' scope.
    fn function_body(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.expect(Kind::LeftBrace, "`{` before the function's body")?;
        self.statement_list(f);
        f.close_scopes_to(&mut self.atoms, ScopeId(0));
        self.expect(Kind::RightBrace, "`}` behind the function's body")?;
        Ok(())
    }
}
