//! Statements that neither loop nor leave, and the lists they stand in.
//!
//! Every statement begins and ends at operand-stack depth 0. It refuses
//! declarations, loops and jumps, which have files of their own.

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::draft::ScopeId;
use crate::exits::Control;
use crate::function::{Function, FunctionKind};
use crate::parser::{Parsed, Parser};
use crate::reference::{Operand, Place};
use crate::token::{Kind, Mark};

macro_rules! only_in_a_module {
    ($word:literal) => {
        concat!(
            "`",
            $word,
            "` stands only in a module; this is read as a script, modules are unsupported"
        )
    };
}

impl Parser<'_, '_> {
    /// StatementListItem, or what can be skipped of one that fails ( -- )
    pub(crate) fn statement_list_item_or_skip(&mut self, f: &mut Function<'_>) {
        let checkpoint = self.checkpoint(f);
        let start = self.token.mark.start;
        if self.statement_list_item(f).is_err() {
            self.recover(f, checkpoint);
            // Whatever it was, it is behind now.
            if self.token.mark.start == start && !self.is(Kind::End) {
                self.advance();
            }
        }
    }

    /// StatementList up to the closing brace, which stays ( -- )
    pub(crate) fn statement_list(&mut self, f: &mut Function<'_>) {
        while !matches!(self.token.kind, Kind::RightBrace | Kind::End) {
            self.statement_list_item_or_skip(f);
        }
    }

    /// StatementListItem ( -- )
    fn statement_list_item(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.note_statement(f);
        match self.token.kind {
            Kind::Function => self.function_declaration(f),
            Kind::Let | Kind::Const => self.lexical_declaration(f),
            Kind::Class => self.class_declaration(f),
            _ => self.statement(f),
        }
    }

    /// Statement where no declaration can stand: the body of an `if`, a loop or
    /// a label ( -- )
    pub(crate) fn embedded_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mark = self.token.mark;
        match self.token.kind {
            Kind::Function => Err(self.strict(
                mark,
                "sec-function-definitions",
                "a function declaration needs a block around it in strict mode code",
            )),
            Kind::Let | Kind::Const | Kind::Class => Err(self.syntax(
                mark,
                "sec-let-and-const-declarations",
                "a declaration of this kind needs a block around it",
            )),
            _ => self.statement(f),
        }
    }

    /// Statement ( -- )
    fn statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.note_statement(f);
        self.enter()?;
        match self.token.kind {
            Kind::LeftBrace => self.block(f)?,
            Kind::Var => self.variable_statement(f)?,
            Kind::Semicolon => {
                self.advance();
            }
            Kind::If => self.if_statement(f)?,
            Kind::Do => self.do_while_statement(f)?,
            Kind::While => self.while_statement(f)?,
            Kind::For => self.for_statement(f)?,
            Kind::Continue => self.continue_statement(f)?,
            Kind::Break => self.break_statement(f)?,
            Kind::Return => self.return_statement(f)?,
            Kind::With => self.with_statement()?,
            Kind::Switch => self.switch_statement(f)?,
            Kind::Throw => self.throw_statement(f)?,
            Kind::Try => self.try_statement(f)?,
            Kind::Debugger => {
                self.advance();
                self.semicolon()?;
            }
            Kind::Import | Kind::Export => self.module_item()?,
            Kind::Identifier if self.lexer.peek().kind == Kind::Colon => {
                self.labelled_statement(f)?;
            }
            _ => self.expression_statement(f)?,
        }
        self.leave();
        Ok(())
    }

    /// Block ( -- )
    #[inline(never)]
    pub(crate) fn block(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.expect(Kind::LeftBrace, "`{`")?;
        f.enter_scope();
        self.statement_list(f);
        f.close_scope(&mut self.atoms);
        self.expect(Kind::RightBrace, "`}`")?;
        Ok(())
    }

    /// ExpressionStatement ( -- )
    #[inline(never)]
    fn expression_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let operand = self.expression(f, false)?;
        self.end_of_expression_statement(operand)?;
        self.discard(f, operand);
        Ok(())
    }

    /// Automatic semicolon insertion behind an expression, with a clearer word
    /// on what `await`, `using` and their like would have begun.
    fn end_of_expression_statement(&mut self, operand: Operand) -> Parsed<()> {
        let follows = !self.token.newline_before && !self.is(Kind::End);
        if let Operand::Place(Place::Name(atom), mark) = operand
            && follows
            && self.atoms.is(atom, "await")
            && !matches!(self.token.kind, Kind::Semicolon | Kind::RightBrace)
        {
            return Err(self.unsupported(mark, "sec-async-function-definitions", "`await`"));
        }
        self.refuse_using(operand)?;
        self.semicolon()
    }

    /// What would be a declaration with `using`: the word was taken for a name, and
    /// another name follows on its line.
    pub(crate) fn refuse_using(&mut self, operand: Operand) -> Parsed<()> {
        if let Operand::Place(Place::Name(atom), mark) = operand
            && !self.token.newline_before
            && self.is(Kind::Identifier)
            && self.text_of(mark) == "using"
            && self.atoms.is(atom, "using")
        {
            let clause = "sec-let-and-const-declarations";
            return Err(self.unsupported(mark, clause, "a `using` declaration"));
        }
        Ok(())
    }

    /// IfStatement, a chain of `else if` in one turn of the loop each ( -- )
    #[inline(never)]
    fn if_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mut end = None;
        let start = self.token.mark;
        loop {
            self.advance();
            self.expect(Kind::LeftParen, "`(` behind `if`")?;
            let test = self.expression(f, false)?;
            self.value(f, test);
            self.expect(Kind::RightParen, "`)`")?;
            let otherwise = f.label();
            f.branch(Op::BranchFalse, otherwise);
            self.embedded_statement(f)?;
            if !self.eat(Kind::Else) {
                f.bind(otherwise);
                break;
            }
            let end = *end.get_or_insert_with(|| f.label());
            f.branch(Op::Branch, end);
            f.bind(otherwise);
            if !self.is(Kind::If) {
                self.embedded_statement(f)?;
                break;
            }
        }
        if let Some(end) = end {
            f.bind(end);
        }
        self.note_again(f, start);
        Ok(())
    }

    /// LabelledStatement ( -- )
    #[inline(never)]
    fn labelled_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let n_controls = f.controls.len();
        let nesting = self.nesting;
        let start = self.token.mark;
        let end = f.label();
        // Labels in a row are of one statement.
        while self.is(Kind::Identifier) && self.lexer.peek().kind == Kind::Colon {
            let (atom, mark) = self.identifier("a label")?;
            self.advance();
            self.enter()?;
            self.declare_label(f, atom, mark)?;
            f.controls.push(Control::Label { atom, end, is_loop: false });
        }
        let is_loop = matches!(self.token.kind, Kind::Do | Kind::While | Kind::For);
        for index in n_controls..f.controls.len() {
            f.controls.update(index, |control| {
                if let Control::Label { is_loop: labels_loop, .. } = control {
                    *labels_loop = is_loop;
                }
            });
        }
        self.embedded_statement(f)?;
        f.controls.truncate(n_controls);
        self.nesting = nesting;
        f.bind(end);
        self.note_again(f, start);
        Ok(())
    }

    fn declare_label(&mut self, f: &Function<'_>, atom: Atom, mark: Mark) -> Parsed<()> {
        let is_taken = (0..f.controls.len()).any(|index| {
            matches!(f.controls.get(index), Control::Label { atom: taken, .. } if taken == atom)
        });
        if is_taken {
            let label = self.atoms.show(atom);
            let message = alloc::format!("the label `{label}` is inside a label of the same name");
            return Err(self.syntax(
                mark,
                "sec-labelled-statements-static-semantics-early-errors",
                message,
            ));
        }
        Ok(())
    }

    /// WithStatement, which strict mode code has not.
    fn with_statement(&mut self) -> Parsed<()> {
        let mark = self.token.mark;
        Err(self.strict(
            mark,
            "sec-with-statement-static-semantics-early-errors",
            "strict mode code has no `with` statement",
        ))
    }

    /// ImportDeclaration and ExportDeclaration, which a Script has not: so the source is
    /// none, and not only outside the subset. `import(x)` is outside; `import.meta` stands
    /// in modules alone as well.
    fn module_item(&mut self) -> Parsed<()> {
        let token = self.token;
        if token.kind == Kind::Export {
            return Err(self.syntax(token.mark, "sec-exports", only_in_a_module!("export")));
        }
        Err(match self.lexer.peek().kind {
            Kind::LeftParen => self.unsupported(token.mark, "sec-import-calls", "`import()`"),
            Kind::Dot => self.unsupported(token.mark, "sec-meta-properties", "`import.meta`"),
            _ => self.syntax(token.mark, "sec-imports", only_in_a_module!("import")),
        })
    }

    /// Whether declarations here are of the script, not of a function or block.
    pub(crate) fn is_script_level(&self, f: &Function<'_>) -> bool {
        f.kind == FunctionKind::Script && f.scope == ScopeId(0)
    }
}
