//! Functions: parameters, bodies and arrow functions.
//!
//! It owns how a function is opened inside another and closed. Parameters that are
//! names only are the frame's first slots. From the first one that is more than a
//! name on, the slots are temporaries, and the names are declared like those of
//! `let` in a scope of their own, from where the body's scope is apart: so what a
//! default sees is what ECMA-262 says (FunctionDeclarationInstantiation).
//!
//! It refuses generators and async functions: a generator is read to its end, so that
//! whatever else is wrong in it is told, an async function is given up where it begins.

use alloc::format;

use scruple_bytecode::ops::Op;

use crate::arena::Arena;
use crate::atoms::Atom;
use crate::closed::Closed;
use crate::declarations::Binding;
use crate::draft::{ScopeId, Word};
use crate::exits::plain;
use crate::function::{Function, FunctionKind};
use crate::narrow;
use crate::parser::{Fail, Parsed, Parser};
use crate::patterns::Role;
use crate::records::State;
use crate::reference::Operand;
use crate::token::{Kind, Mark};

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
        let is_generator = self.generator_star("a generator function");
        if self.is(Kind::LeftParen) {
            let id = self.function(f, mark, FunctionKind::Plain, None, is_generator)?;
            return Ok(self.closure(f, id, mark));
        }
        // The name is bound in the function, not around it.
        let around = core::mem::take(&mut self.context);
        let name = self.binding_identifier("the function's name or `(`");
        self.context = around;
        let (name, _) = name?;
        let id = self.function(f, mark, FunctionKind::Plain, Some(name), is_generator)?;
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
        is_generator: bool,
    ) -> Parsed<Closed> {
        self.nested_function(f, mark, kind, own_name, |this, inner| {
            this.formal_parameters(inner)?;
            this.context.has_yield = is_generator;
            this.function_body(inner)
        })
    }

    /// ( -- function )
    pub(crate) fn closure(&mut self, f: &mut Function<'_>, id: Closed, mark: Mark) -> Operand {
        f.at(mark);
        f.op_with(Op::MakeClosure, narrow::to_operand(id.id));
        Operand::Closure(id)
    }

    /// `*` behind `function` or before a method's name: that is refused, and what
    /// follows is read as the generator that it is.
    pub(crate) fn generator_star(&mut self, what: &str) -> bool {
        let mark = self.token.mark;
        let is_generator = self.eat(Kind::Star);
        if is_generator {
            self.unsupported_but_read(mark, "sec-generator-function-definitions", what);
        }
        is_generator
    }

    /// YieldExpression ( -- value ), for what may be wrong in it. Parameters have none,
    /// nor has an arrow function: `yield` is a reserved word there.
    #[inline(never)]
    pub(crate) fn yield_expression(
        &mut self,
        f: &mut Function<'_>,
        no_in: bool,
    ) -> Parsed<Operand> {
        self.advance();
        let delegates = !self.token.newline_before && self.eat(Kind::Star);
        let ends = matches!(
            self.token.kind,
            Kind::RightParen
                | Kind::RightBracket
                | Kind::RightBrace
                | Kind::Comma
                | Kind::Semicolon
                | Kind::Colon
                | Kind::In
                | Kind::End
        );
        if !delegates && (ends || self.token.newline_before) {
            f.op(Op::PushUndefined);
        } else {
            let operand = self.assignment_expression(f, no_in)?;
            self.value(f, operand);
        }
        Ok(Operand::Value)
    }

    /// Opens a function in an arena of its own, and closes it.
    pub(crate) fn nested_function(
        &mut self,
        f: &mut Function<'_>,
        mark: Mark,
        kind: FunctionKind,
        own_name: Option<Atom>,
        parse: impl FnOnce(&mut Self, &mut Function<'_>) -> Parsed<()>,
    ) -> Parsed<Closed> {
        self.enter()?;
        let arena = self.pool.take();
        let context = self.context;
        self.context = context.within(kind);
        let closed = self.function_in(&arena, f, mark, kind, own_name, parse);
        self.context = context;
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
    ) -> Parsed<Closed> {
        let mut inner = Function::new(arena, kind, f.base + f.records.len());
        inner.is_global_only = self.is_script_level(f);
        if let Some(name) = own_name {
            inner.own_name = own_name;
            inner.mark_own_name(&mut self.atoms, name);
        }
        if kind == FunctionKind::Derived {
            inner.epilogue = Some(inner.label());
        }
        if let Err(fail) = parse(self, &mut inner) {
            inner.restore_names(&mut self.atoms);
            return Err(fail);
        }
        self.end_function(&mut inner);
        self.close_function(&mut inner, arena, f, mark)
    }

    /// Control falls out of the body, or comes from a `return` that is looked at.
    pub(crate) fn end_function(&mut self, f: &mut Function<'_>) {
        match f.epilogue {
            Some(epilogue) => self.return_derived(f, epilogue),
            None => f.op(Op::ReturnUndefined),
        }
        f.word(Word::End);
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
        self.context = self.context.in_arrow_body();
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
            if self.is(Kind::Ellipsis) {
                self.rest_parameter(f)?;
                break;
            }
            let is_name = !self.is_at_pattern();
            if is_name && f.scope == ScopeId(0) && self.lexer.peek().kind != Kind::Assign {
                let (atom, mark) = self.binding_identifier("a parameter's name")?;
                self.declare_parameter(f, atom, mark)?;
            } else {
                self.parameter(f)?;
            }
            if !self.eat(Kind::Comma) {
                break;
            }
        }
        self.expect(Kind::RightParen, "`,` or `)` behind a parameter")?;
        Ok(())
    }

    /// FormalParameter that is more than a name, or stands behind one ( -- )
    fn parameter(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        if f.scope == ScopeId(0) {
            f.enter_scope();
        }
        let slot = f.declare_hidden_in(ScopeId(0));
        let length = f.n_params;
        f.n_params += 1;
        let n_fresh = self.fresh.len();
        if self.is_at_pattern() {
            f.word_with_effect(Word::Load(plain(slot)), 0, 1);
            if self.pattern_with_default(f, Role::Parameter)? {
                f.length.get_or_insert(length);
            }
        } else {
            let (atom, mark) = self.binding_identifier("a parameter's name")?;
            let binding = self.parameter_binding(f, atom, mark)?;
            f.word_with_effect(Word::Load(plain(slot)), 0, 1);
            if self.default_value(f, Some(atom))? {
                f.length.get_or_insert(length);
            }
            self.initialise(f, binding);
        }
        self.settle_fresh(f, n_fresh);
        Ok(())
    }

    /// FunctionRestParameter ( -- )
    fn rest_parameter(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mark = self.advance().mark;
        if f.scope == ScopeId(0) {
            f.enter_scope();
        }
        f.has_rest = true;
        f.length.get_or_insert(f.n_params);
        let n_fresh = self.fresh.len();
        f.at(mark);
        f.op_with(Op::LoadRest, narrow::to_operand(f.n_params));
        if self.is_at_pattern() {
            self.pattern(f, Role::Parameter)?;
        } else {
            let (atom, mark) = self.binding_identifier("a parameter's name")?;
            let binding = self.parameter_binding(f, atom, mark)?;
            self.initialise(f, binding);
        }
        self.settle_fresh(f, n_fresh);
        Ok(())
    }

    /// A name of a parameter that is no plain one, declared.
    pub(crate) fn parameter_binding(
        &mut self,
        f: &mut Function<'_>,
        atom: Atom,
        mark: Mark,
    ) -> Parsed<Binding> {
        self.check_bindable(atom, mark)?;
        let state = State::Let;
        let declared = match f.outer_parameter(&self.atoms, atom) {
            Some(_) => None,
            None => f.declare(&mut self.atoms, atom, state).ok(),
        };
        match declared {
            Some(var) => Ok(Binding { atom, mark, state, var }),
            None => Err(self.repeated_parameter(atom, mark)),
        }
    }

    fn repeated_parameter(&mut self, atom: Atom, mark: Mark) -> Fail {
        let name = self.atoms.show(atom);
        let message = format!("two parameters have the name `{name}`");
        self.strict(mark, "sec-parameter-lists-static-semantics-early-errors", message)
    }

    fn declare_parameter(&mut self, f: &mut Function<'_>, atom: Atom, mark: Mark) -> Parsed<()> {
        self.check_bindable(atom, mark)?;
        if f.declare(&mut self.atoms, atom, State::Param).is_err() {
            return Err(self.repeated_parameter(atom, mark));
        }
        f.n_params += 1;
        Ok(())
    }

    /// FunctionBody in braces ( -- ). It shares the parameters' scope if they are
    /// names only.
    fn function_body(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.expect(Kind::LeftBrace, "`{` before the function's body")?;
        if f.scope != ScopeId(0) {
            self.refuse_directive()?;
            f.var_scope = f.enter_scope();
        }
        self.statement_list(f);
        f.close_scopes_to(&mut self.atoms, ScopeId(0));
        self.expect(Kind::RightBrace, "`}` behind the function's body")?;
        // A run that falls out of the body comes by here, whichever statements it left out.
        self.note_again(f, self.last);
        Ok(())
    }

    /// `use strict` among the directives of a function whose parameters are more
    /// than names.
    fn refuse_directive(&mut self) -> Parsed<()> {
        let mut ahead = self.lexer.clone();
        let mut token = self.token;
        while token.kind == Kind::Text {
            let text = self.text_of(token.mark);
            if matches!(text, "'use strict'" | "\"use strict\"") {
                return Err(self.syntax(
                    token.mark,
                    "sec-function-definitions-static-semantics-early-errors",
                    "`use strict` needs parameters that are names only",
                ));
            }
            token = ahead.next();
            if token.kind == Kind::Semicolon {
                token = ahead.next();
            }
        }
        Ok(())
    }
}
