//! Loops. The test of a loop is parsed before the body and emitted behind it,
//! so that a turn costs one branch; segments of the draft carry that.
//!
//! What leaves a loop with an iterator to close is told in `exits`.

use scruple_bytecode::ops::Op;

use crate::declarations::Binding;
use crate::draft::{LabelId, ScopeId, VarId, Word};
use crate::exits::{Control, close_words, plain};
use crate::function::Function;
use crate::parser::{Parsed, Parser};
use crate::patterns::{Role, Waiting};
use crate::records::State;
use crate::reference::Place;
use crate::token::{Kind, Mark};

/// What `for (… in/of` gives each key or value to.
enum Head {
    /// A declared name; its scope, unless it is a `var`.
    Binding(Binding, Option<ScopeId>),
    /// An expression's place.
    Place(Place, Mark),
}

impl Parser<'_, '_> {
    /// DoWhileStatement ( -- )
    #[inline(never)]
    pub(crate) fn do_while_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let start = self.advance().mark;
        let (next, end) = (f.label(), f.label());
        let body = f.bind_backward();
        self.loop_body(f, next, end)?;
        f.bind(next);
        self.expect(Kind::While, "`while` behind the body of `do`")?;
        self.expect(Kind::LeftParen, "`(`")?;
        let test = self.expression(f, false)?;
        self.value(f, test);
        self.expect(Kind::RightParen, "`)`")?;
        // A semicolon is inserted here even on the same line.
        self.eat(Kind::Semicolon);
        f.branch(Op::BranchTrue, body);
        f.bind(end);
        self.note_again(f, start);
        Ok(())
    }

    /// WhileStatement ( -- )
    #[inline(never)]
    pub(crate) fn while_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let start = self.advance().mark;
        let (next, body, end) = (f.label(), f.label(), f.label());
        f.branch(Op::Branch, next);
        let order = f.begin_order();
        self.expect(Kind::LeftParen, "`(` behind `while`")?;
        let test_segment = f.begin_segment();
        f.bind(next);
        let test = self.expression(f, false)?;
        self.value(f, test);
        f.branch(Op::BranchTrue, body);
        f.end_segment();
        self.expect(Kind::RightParen, "`)`")?;
        let body_segment = f.begin_segment();
        f.bind_backward_to(body);
        self.loop_body(f, next, end)?;
        f.end_segment();
        f.emit_next(order, body_segment);
        f.emit_next(order, test_segment);
        f.end_order(order);
        f.bind(end);
        self.note_again(f, start);
        Ok(())
    }

    /// ForStatement and ForInOfStatement ( -- )
    #[inline(never)]
    pub(crate) fn for_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let outer = f.scope;
        self.advance();
        if self.is_word("await") {
            let mark = self.token.mark;
            let clause = "sec-for-in-and-for-of-statements";
            return Err(self.unsupported(mark, clause, "`for await`"));
        }
        self.expect(Kind::LeftParen, "`(` behind `for`")?;
        match self.token.kind {
            Kind::Var => self.for_var(f)?,
            Kind::Let | Kind::Const => self.for_lexical(f)?,
            Kind::Semicolon => self.for_rest(f, None)?,
            _ => self.for_expression(f)?,
        }
        f.close_scopes_to(&mut self.atoms, outer);
        Ok(())
    }

    /// `for (var …` ( -- )
    fn for_var(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.advance();
        if self.is_at_pattern() {
            return self.for_pattern(f, State::Var, None);
        }
        let binding = self.binding(f, State::Var)?;
        if self.is_in_or_of() {
            return self.for_in_of(f, Head::Binding(binding, None));
        }
        self.rest_of_binding_list(f, binding, true)?;
        self.for_rest(f, None)
    }

    /// `for (let …` and `for (const …` ( -- )
    fn for_lexical(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let state = self.let_or_const()?;
        // A for-in or for-of enters the scope anew each turn, the other loop once
        // here. Which one it is shows only behind the name, so the entry is
        // written once that is known.
        let entry = f.word(Word::Nothing);
        let scope = f.open_scope();
        if self.is_at_pattern() {
            return self.for_pattern(f, state, Some((scope, entry)));
        }
        let n_functions = self.output.functions.len();
        let binding = self.binding(f, state)?;
        if self.is_in_or_of() {
            return self.for_in_of(f, Head::Binding(binding, Some(scope)));
        }
        f.draft.set(entry, Word::Enter(scope).pack());
        self.rest_of_binding_list(f, binding, true)?;
        // The first turn too has variables of its own; that shows only to a
        // function made in the head.
        if self.output.functions.len() > n_functions {
            f.word(Word::Renew(scope));
        }
        self.for_rest(f, Some(scope))
    }

    /// `for (`, `var`, `let` or `const`, and a pattern ( -- ). With a scope comes the
    /// place of the draft where it may be entered.
    fn for_pattern(
        &mut self,
        f: &mut Function<'_>,
        state: State,
        scope: Option<(ScopeId, u32)>,
    ) -> Parsed<()> {
        let n_fresh = self.fresh.len();
        let n_functions = self.output.functions.len();
        let order_place = f.word(Word::Nothing);
        let segment = f.begin_segment();
        f.set_depth(1);
        self.pattern(f, Role::Declare(state))?;
        f.end_segment();
        if let Some((scope, entry)) = scope {
            // The value sees the names, not initialised.
            f.draft.set(entry, Word::Enter(scope).pack());
        }
        if self.is_in_or_of() {
            let scope = scope.map(|(scope, _)| scope);
            return self.for_in_of_pattern(f, order_place, segment, Some((scope, n_fresh)));
        }
        let order = f.plan_order();
        f.draft.set(order_place, Word::Order(order).pack());
        let waiting = Waiting { order, segment, depth: 0 };
        self.value_of_pattern(f, waiting, n_fresh, true)?;
        self.more_bindings(f, state, true)?;
        let Some((scope, _)) = scope else { return self.for_rest(f, None) };
        if self.output.functions.len() > n_functions {
            f.word(Word::Renew(scope));
        }
        self.for_rest(f, Some(scope))
    }

    /// The rest of `for (pattern in/of expression) body`, from the word between; the
    /// pattern stands in a segment ( item -- ). What it declares comes with the scope
    /// to enter each turn ( -- )
    fn for_in_of_pattern(
        &mut self,
        f: &mut Function<'_>,
        order_place: u32,
        segment: u32,
        declared: Option<(Option<ScopeId>, usize)>,
    ) -> Parsed<()> {
        let order = f.plan_order();
        f.draft.set(order_place, Word::Order(order).pack());
        if !matches!(declared, Some((Some(_), _))) {
            f.open_scope();
        }
        let iterator = f.declare_hidden();
        f.set_depth(0);
        let first = f.begin_segment();
        let next_op = self.start_iteration(f, iterator)?;
        let (next, end) = self.step(f, iterator, next_op);
        if let Some((scope, n_fresh)) = declared {
            if let Some(scope) = scope {
                f.word(Word::Enter(scope));
            }
            self.settle_fresh(f, n_fresh);
        }
        f.end_segment();
        f.emit_next(order, first);
        f.emit_next(order, segment);
        f.end_order(order);
        f.set_depth(0);
        self.turn(f, (next, end), iterator, next_op)
    }

    /// `for (` and an expression ( -- )
    fn for_expression(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        // If the expression proves to be a target, its operands are evaluated
        // each turn: the draft then takes them as a segment.
        let order_place = f.word(Word::Nothing);
        let segment = f.begin_segment();
        if self.is_at_pattern() && self.lookahead.is_head(self.token, &self.lexer, self.max_nesting)
        {
            f.set_depth(1);
            self.pattern(f, Role::Assign)?;
            f.end_segment();
            return self.for_in_of_pattern(f, order_place, segment, None);
        }
        let start = self.token.mark;
        let operand = self.expression(f, true)?;
        if self.is_in_or_of() {
            // ECMA-262, ForInOfStatement: `async of` begins no head. The word with
            // an escape, or in parentheses, is a name like any other.
            if self.is_word("of") && self.text_of(start.to(self.last)) == "async" {
                let message = "`async` cannot stand before `of` here: put it in parentheses";
                return Err(self.syntax(start, "sec-for-in-and-for-of-statements", message));
            }
            let clause = "sec-for-in-and-for-of-statements-static-semantics-early-errors";
            let (place, mark) = self.target(operand, start.to(self.last), clause)?;
            if place.is_name() {
                return self.for_in_of(f, Head::Place(place, mark));
            }
            return self.for_in_of_member(f, order_place, segment, place, mark);
        }
        self.refuse_using(operand)?;
        self.discard(f, operand);
        self.for_rest(f, None)
    }

    /// The rest of `for (init; test; update) body`, from the first semicolon
    /// ( -- )
    fn for_rest(&mut self, f: &mut Function<'_>, scope: Option<ScopeId>) -> Parsed<()> {
        // Its first expression is carried out whatever becomes of the others.
        let start = self.last;
        self.expect(Kind::Semicolon, "`;`")?;
        let (next, test_label, body, end) = (f.label(), f.label(), f.label(), f.label());
        let has_test = !self.is(Kind::Semicolon);
        if has_test {
            f.branch(Op::Branch, test_label);
        }
        let order = f.begin_order();
        let test_segment = f.begin_segment();
        if has_test {
            f.bind(test_label);
            let test = self.expression(f, false)?;
            self.value(f, test);
            f.branch(Op::BranchTrue, body);
        } else {
            self.note_again(f, start);
            f.branch(Op::Branch, body);
        }
        f.end_segment();
        self.expect(Kind::Semicolon, "`;`")?;
        let update_segment = f.begin_segment();
        f.bind(next);
        self.note_again(f, start);
        if let Some(scope) = scope {
            f.word(Word::Renew(scope));
        }
        if !self.is(Kind::RightParen) {
            let update = self.expression(f, false)?;
            self.discard(f, update);
        }
        f.end_segment();
        self.expect(Kind::RightParen, "`)`")?;
        let body_segment = f.begin_segment();
        f.bind_backward_to(body);
        self.loop_body(f, next, end)?;
        f.end_segment();
        f.emit_next(order, body_segment);
        f.emit_next(order, update_segment);
        f.emit_next(order, test_segment);
        f.end_order(order);
        f.bind(end);
        self.note_again(f, start);
        Ok(())
    }

    /// The rest of `for (head in/of expression) body`, from the word between
    /// ( -- )
    fn for_in_of(&mut self, f: &mut Function<'_>, head: Head) -> Parsed<()> {
        match head {
            Head::Binding(binding, Some(scope)) => {
                // The expression sees the name, not initialised. It is entered
                // for that only if the expression holds the name.
                let entry = f.word(Word::Nothing);
                let iterator = f.declare_hidden();
                let next_key = self.start_iteration(f, iterator)?;
                if f.is_touched(binding.var) {
                    f.draft.set(entry, Word::Enter(scope).pack());
                }
                self.iterate(f, iterator, next_key, |this, f| {
                    f.word(Word::Enter(scope));
                    this.initialise(f, binding);
                })
            }
            Head::Binding(binding, None) => {
                f.open_scope();
                let iterator = f.declare_hidden();
                let next_key = self.start_iteration(f, iterator)?;
                self.iterate(f, iterator, next_key, |this, f| this.initialise(f, binding))
            }
            Head::Place(place, mark) => {
                f.open_scope();
                let iterator = f.declare_hidden();
                let next_key = self.start_iteration(f, iterator)?;
                self.iterate(f, iterator, next_key, |this, f| this.write(f, place, mark))
            }
        }
    }

    /// The same where the head is a property, whose operands stand in a segment
    /// ( -- )
    fn for_in_of_member(
        &mut self,
        f: &mut Function<'_>,
        order_place: u32,
        segment: u32,
        place: Place,
        mark: Mark,
    ) -> Parsed<()> {
        f.open_scope();
        let (iterator, item) = (f.declare_hidden(), f.declare_hidden());
        // ( place -- ) in the segment, emitted behind the step to the next item.
        f.word_with_effect(Word::Load(plain(item)), 0, 1);
        self.write(f, place, mark);
        f.end_segment();
        let order = f.plan_order();
        f.draft.set(order_place, Word::Order(order).pack());
        let first = f.begin_segment();
        let next_op = self.start_iteration(f, iterator)?;
        let (next, end) = self.step(f, iterator, next_op);
        f.word_with_effect(Word::Store(plain(item)), 1, 0);
        f.end_segment();
        f.emit_next(order, first);
        f.emit_next(order, segment);
        f.end_order(order);
        self.turn(f, (next, end), iterator, next_op)
    }

    /// `in` or `of`, the expression and `)`; the iterator goes to a temporary
    /// ( -- ). Returns the operation that steps it.
    fn start_iteration(&mut self, f: &mut Function<'_>, iterator: VarId) -> Parsed<Op> {
        let is_in = self.is(Kind::In);
        self.advance();
        let mark = self.token.mark;
        let operand =
            if is_in { self.expression(f, false)? } else { self.assignment_expression(f, false)? };
        self.value(f, operand);
        self.expect(Kind::RightParen, "`)`")?;
        f.at(mark);
        f.op(if is_in { Op::StartKeys } else { Op::StartValues });
        f.word_with_effect(Word::Store(plain(iterator)), 1, 0);
        Ok(if is_in { Op::NextKey } else { Op::NextValue })
    }

    /// The turns of a for-in or for-of whose iterator is in a temporary ( -- );
    /// `give` is ( item -- )
    fn iterate(
        &mut self,
        f: &mut Function<'_>,
        iterator: VarId,
        next_op: Op,
        give: impl FnOnce(&mut Self, &mut Function<'_>),
    ) -> Parsed<()> {
        let (next, end) = self.step(f, iterator, next_op);
        give(self, f);
        self.turn(f, (next, end), iterator, next_op)
    }

    /// ( -- item ), or to the end. Returns where the next turn begins, and the
    /// end.
    fn step(&mut self, f: &mut Function<'_>, iterator: VarId, op: Op) -> (LabelId, LabelId) {
        let next = f.bind_backward();
        let end = f.label();
        f.word_with_effect(Word::Load(plain(iterator)), 0, 1);
        f.branch(op, end);
        (next, end)
    }

    /// The body of a loop with an iterator, and the branch to its next turn ( -- )
    fn turn(
        &mut self,
        f: &mut Function<'_>,
        (next, end): (LabelId, LabelId),
        iterator: VarId,
        next_op: Op,
    ) -> Parsed<()> {
        let head = self.last;
        let closes = if next_op == Op::NextValue { iterator.0 + 1 } else { 0 };
        f.controls.push(Control::Loop { end, next, iterator: closes, broken: 0 });
        self.embedded_statement(f)?;
        let control = f.controls.pop();
        self.note_again(f, head);
        f.branch(Op::Branch, next);
        if let Some(Control::Loop { broken: label @ 1.., .. }) = control {
            f.bind(LabelId(label - 1));
            f.set_depth(0);
            for word in close_words(iterator) {
                f.word(word);
            }
        }
        f.bind(end);
        self.note_again(f, head);
        Ok(())
    }

    /// The body of a loop ( -- )
    fn loop_body(&mut self, f: &mut Function<'_>, next: LabelId, end: LabelId) -> Parsed<()> {
        f.controls.push(Control::Loop { end, next, iterator: 0, broken: 0 });
        self.embedded_statement(f)?;
        f.controls.pop();
        Ok(())
    }

    fn is_in_or_of(&self) -> bool {
        self.is(Kind::In) || self.is_word("of")
    }
}
