//! The try statement.
//!
//! It costs nothing on the way without an exception: handlers are found by
//! guarded ranges. It refuses the ways out of it, which are `exits`, and
//! patterns, which are `patterns`.

use scruple_bytecode::ops::Op;

use crate::draft::{GuardId, LabelId, ScopeId, Word};
use crate::exits::{Control, Goal, NORMAL, THROWN, Try, exits, leave, plain, write_plain_exits};
use crate::function::Function;
use crate::narrow;
use crate::parser::{Parsed, Parser};
use crate::patterns::Role;
use crate::records::State;
use crate::token::Kind;

impl Parser<'_, '_> {
    /// TryStatement ( -- )
    #[inline(never)]
    pub(crate) fn try_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let start = self.advance().mark;
        let finally_handler = f.label();
        let catch_handler = f.label();
        let statement =
            Try { block: f.label(), value: f.plan_hidden(), way: f.plan_hidden(), first_exit: 0 };
        let finally_start = f.draft.len();
        let finally_guard = f.begin_guard(finally_handler);
        let catch_start = f.draft.len();
        let catch_guard = f.begin_guard(catch_handler);
        f.controls.push(Control::Try(statement));
        self.block(f)?;
        let has_catch = self.is(Kind::Catch);
        if has_catch {
            self.catch(f, catch_guard, catch_handler)?;
        } else {
            f.draft.set(catch_start, Word::Nothing.pack());
        }
        let Some(Control::Try(statement)) = f.controls.pop() else { return Ok(()) };
        if self.is(Kind::Finally) {
            f.end_guard(finally_guard);
            return self.finally(f, statement, finally_handler);
        }
        f.draft.set(finally_start, Word::Nothing.pack());
        if !has_catch {
            return Err(self.expected("`catch` or `finally`"));
        }
        write_plain_exits(f, statement);
        self.note_again(f, start);
        Ok(())
    }

    /// Catch ( -- ), its handler being entered with ( exception -- )
    fn catch(&mut self, f: &mut Function<'_>, guard: GuardId, handler: LabelId) -> Parsed<()> {
        let end = self.last;
        let start = self.advance().mark;
        f.end_guard(guard);
        self.note_again(f, end);
        let behind = f.label();
        f.branch(Op::Branch, behind);
        f.bind(handler);
        // Whatever was thrown, the way here is from no line of the block.
        self.note_again(f, start);
        f.set_depth(1);
        f.enter_scope();
        if self.eat(Kind::LeftParen) {
            if self.is_at_pattern() {
                let n_fresh = self.fresh.len();
                self.pattern(f, Role::Declare(State::Let))?;
                self.settle_fresh(f, n_fresh);
                self.expect(Kind::RightParen, "`)`")?;
                // What a default of the pattern captures is not the block's.
                let parameters = f.scope;
                let block = f.enter_scope();
                let around = f.caught.replace((block, parameters));
                let caught = self.catch_block(f, behind, parameters);
                f.caught = around;
                return caught;
            }
            let (atom, mark) = self.binding_identifier("a name for the exception")?;
            self.expect(Kind::RightParen, "`)`")?;
            match f.declare(&mut self.atoms, atom, State::Catch) {
                Ok(var) => f.word_with_effect(Word::Init(var), 1, 0),
                Err(_) => return Err(self.conflict(atom, mark)),
            }
        } else {
            f.op(Op::Drop);
        }
        let scope = f.scope;
        self.catch_block(f, behind, scope)
    }

    /// The block of a catch, whose parameter is declared ( -- )
    fn catch_block(
        &mut self,
        f: &mut Function<'_>,
        behind: LabelId,
        parameters: ScopeId,
    ) -> Parsed<()> {
        // The block shares the scope of a parameter that is a name: its declarations
        // exclude that name.
        self.expect(Kind::LeftBrace, "`{`")?;
        self.statement_list(f);
        self.expect(Kind::RightBrace, "`}`")?;
        f.close_scopes_to(&mut self.atoms, parameters);
        f.close_scope(&mut self.atoms);
        f.bind(behind);
        Ok(())
    }

    /// Finally ( -- ), its handler being entered with ( exception -- )
    fn finally(&mut self, f: &mut Function<'_>, statement: Try, handler: LabelId) -> Parsed<()> {
        let start = self.advance().mark;
        f.take_hidden(statement.value);
        f.take_hidden(statement.way);
        let store = |f: &mut Function<'_>, var| f.word_with_effect(Word::Store(plain(var)), 1, 0);
        let load = |f: &mut Function<'_>, var| f.word_with_effect(Word::Load(plain(var)), 0, 1);
        self.note_again(f, start);
        f.op_with(Op::PushInt, NORMAL);
        store(f, statement.way);
        f.branch(Op::Branch, statement.block);
        f.bind(handler);
        f.set_depth(1);
        store(f, statement.value);
        f.op_with(Op::PushInt, THROWN);
        store(f, statement.way);
        f.bind(statement.block);
        let mark = self.token.mark;
        self.block(f)?;
        self.note_again(f, self.last);
        load(f, statement.way);
        let first_label = f.labels.len();
        for (number, _) in exits(f, statement) {
            let label = f.label();
            // Labels of the ways follow one another but for those that `branch`
            // makes; the first pass notes each on its exit.
            f.op_with(Op::PushInt, number);
            f.branch(Op::BranchCase, label);
        }
        let end = f.label();
        f.branch(Op::BranchFalse, end);
        load(f, statement.value);
        f.at(mark);
        f.op(Op::Throw);
        for (index, (_, exit)) in exits(f, statement).enumerate() {
            // Each `branch` above made one label behind the one it led to.
            f.bind(LabelId(first_label + 2 * narrow::to_u32(index)));
            f.set_depth(0);
            if exit.goal == Goal::Return {
                load(f, statement.value);
            }
            leave(f, exit.goal);
        }
        f.set_depth(0);
        f.bind(end);
        Ok(())
    }
}
