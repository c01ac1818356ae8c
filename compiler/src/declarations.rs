//! Declarations: `var`, `let`, `const` and functions, and what their names
//! exclude.
//!
//! It leaves patterns to `patterns`, and to `variables` where a name is kept.

use alloc::format;

use scruple_bytecode::image::GlobalKind;
use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::draft::{VarId, Word};
use crate::function::{Function, FunctionKind};
use crate::parser::{Fail, Parsed, Parser};
use crate::patterns::{Role, Waiting};
use crate::records::State;
use crate::reference::Place;
use crate::token::{Kind, Mark};

/// A declared name.
#[derive(Clone, Copy)]
pub(crate) struct Binding {
    pub(crate) atom: Atom,
    pub(crate) mark: Mark,
    /// `Var`, `Let` or `Const`.
    pub(crate) state: State,
    /// Its record; a `var` is found by name.
    pub(crate) var: VarId,
}

impl Parser<'_, '_> {
    /// VariableStatement ( -- )
    pub(crate) fn variable_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.advance();
        self.binding_list(f, State::Var, false)?;
        self.semicolon()
    }

    /// LexicalDeclaration ( -- )
    #[inline(never)]
    pub(crate) fn lexical_declaration(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let state = self.let_or_const()?;
        self.binding_list(f, state, false)?;
        self.semicolon()
    }

    /// LetOrConst, behind which a name or a pattern stands.
    pub(crate) fn let_or_const(&mut self) -> Parsed<State> {
        let word = self.advance();
        if word.kind == Kind::Const {
            return Ok(State::Const);
        }
        let names = matches!(
            self.token.kind,
            Kind::Identifier | Kind::LeftBrace | Kind::LeftBracket | Kind::BadEscape
        );
        if !names && !self.token.kind.is_strict_reserved_word() {
            return Err(self.strict(
                word.mark,
                "sec-keywords-and-reserved-words",
                "`let` is a reserved word in strict mode code, and a name must follow it",
            ));
        }
        Ok(State::Let)
    }

    /// BindingList or VariableDeclarationList ( -- )
    fn binding_list(&mut self, f: &mut Function<'_>, state: State, no_in: bool) -> Parsed<()> {
        loop {
            if self.is_at_pattern() {
                let n_fresh = self.fresh.len();
                let waiting = self.pattern_first(f, Role::Declare(state))?;
                self.value_of_pattern(f, waiting, n_fresh, no_in)?;
            } else {
                let binding = self.binding(f, state)?;
                self.initializer(f, binding, no_in)?;
            }
            if !self.eat(Kind::Comma) {
                return Ok(());
            }
        }
    }

    /// The rest of a list whose first name is declared ( -- )
    pub(crate) fn rest_of_binding_list(
        &mut self,
        f: &mut Function<'_>,
        first: Binding,
        no_in: bool,
    ) -> Parsed<()> {
        self.initializer(f, first, no_in)?;
        self.more_bindings(f, first.state, no_in)
    }

    /// The rest of a list behind its first binding ( -- )
    pub(crate) fn more_bindings(
        &mut self,
        f: &mut Function<'_>,
        state: State,
        no_in: bool,
    ) -> Parsed<()> {
        if self.eat(Kind::Comma) {
            self.binding_list(f, state, no_in)?;
        }
        Ok(())
    }

    /// `=` and the value of a declared pattern, whose names are fresh from that
    /// count on ( -- )
    pub(crate) fn value_of_pattern(
        &mut self,
        f: &mut Function<'_>,
        waiting: Waiting,
        n_fresh: usize,
        no_in: bool,
    ) -> Parsed<()> {
        self.expect(Kind::Assign, "`=` behind the pattern")?;
        self.value_before(f, waiting, no_in)?;
        self.settle_fresh(f, n_fresh);
        Ok(())
    }

    /// BindingIdentifier, declared.
    pub(crate) fn binding(&mut self, f: &mut Function<'_>, state: State) -> Parsed<Binding> {
        let (atom, mark) = self.binding_identifier("a name")?;
        let var = self.declare(f, atom, mark, state)?;
        Ok(Binding { atom, mark, state, var })
    }

    /// Initializer, or the value that stands for none ( -- )
    fn initializer(&mut self, f: &mut Function<'_>, binding: Binding, no_in: bool) -> Parsed<()> {
        if self.eat(Kind::Assign) {
            let value = self.assignment_expression(f, no_in)?;
            self.name_closure(value, binding.atom);
            self.value(f, value);
            self.initialise(f, binding);
            return Ok(());
        }
        match binding.state {
            State::Const => {
                let name = self.atoms.show(binding.atom);
                let message = format!("the constant `{name}` needs a value");
                return Err(self.syntax(binding.mark, "sec-let-and-const-declarations", message));
            }
            State::Let => {
                f.op(Op::PushUndefined);
                self.initialise(f, binding);
            }
            _ => {}
        }
        Ok(())
    }

    /// ( value -- )
    pub(crate) fn initialise(&mut self, f: &mut Function<'_>, binding: Binding) {
        if binding.state == State::Var {
            self.write(f, Place::Name(binding.atom), binding.mark);
        } else {
            f.at(binding.mark);
            f.word_with_effect(Word::Init(binding.var), 1, 0);
            f.set_ready(binding.var);
        }
    }

    /// FunctionDeclaration ( -- ): made where its scope is entered.
    pub(crate) fn function_declaration(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mark = self.advance().mark;
        let is_generator = self.generator_star("a generator function");
        let (atom, name_mark) = self.binding_identifier("the function's name")?;
        let var = self.declare(f, atom, name_mark, State::Function)?;
        let closed = self.function(f, mark, FunctionKind::Plain, None, is_generator)?;
        self.output.functions.set_name(closed, Some(atom));
        if self.is_script_level(f) {
            let global = self.output.global(&mut self.atoms, atom);
            self.output.globals[global as usize].set_function(closed.id);
        } else {
            f.hoist(var, closed.id, mark);
        }
        Ok(())
    }

    /// Whether the script declares a global of that name, as far as it is read.
    pub(crate) fn is_declared_global(&self, atom: Atom) -> bool {
        self.atoms.global(atom).is_some_and(|global| {
            self.output.globals[global as usize].kind != GlobalKind::Undeclared
        })
    }

    /// Declares a name in the innermost scope, or for a `var` in the function's.
    pub(crate) fn declare(
        &mut self,
        f: &mut Function<'_>,
        atom: Atom,
        mark: Mark,
        state: State,
    ) -> Parsed<VarId> {
        if self.is_script_level(f) {
            self.declare_global(atom, mark, state)?;
            return Ok(f.use_name(&mut self.atoms, atom));
        }
        if state != State::Var {
            let declared = f.declare(&mut self.atoms, atom, state);
            return declared.map_err(|_| self.conflict(atom, mark));
        }
        if f.declare_var(&mut self.atoms, atom).is_err() {
            return Err(self.conflict(atom, mark));
        }
        if f.kind == FunctionKind::Script {
            self.declare_global(atom, mark, state)?;
        }
        Ok(VarId::default())
    }

    /// A declaration of the script: `let` and `const` exclude everything else.
    fn declare_global(&mut self, atom: Atom, mark: Mark, state: State) -> Parsed<()> {
        let global = self.output.global(&mut self.atoms, atom);
        let row = &mut self.output.globals[global as usize];
        row.kind = match (row.kind, state) {
            (GlobalKind::Undeclared, State::Let) => GlobalKind::Let,
            (GlobalKind::Undeclared, State::Const) => GlobalKind::Const,
            (GlobalKind::Undeclared | GlobalKind::Var, State::Var) => GlobalKind::Var,
            (GlobalKind::Function, State::Var) => GlobalKind::Function,
            (GlobalKind::Undeclared | GlobalKind::Var | GlobalKind::Function, State::Function) => {
                GlobalKind::Function
            }
            _ => return Err(self.conflict(atom, mark)),
        };
        Ok(())
    }

    pub(crate) fn conflict(&mut self, atom: Atom, mark: Mark) -> Fail {
        let name = self.atoms.show(atom);
        let message = format!("`{name}` is declared already");
        self.syntax(mark, "sec-block-static-semantics-early-errors", message)
    }
}
