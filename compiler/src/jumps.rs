//! Statements that leave: break, continue, return, throw, switch and try; and
//! the stack of what can be left.
//!
//! A `finally` block exists once. Each way out of what it guards stores which
//! way it is (and a returned value) in two hidden slots and goes to the block;
//! behind the block the stored number is told apart. Whether a `try` has a
//! `finally` block shows only behind it, so the words of a way out are noted,
//! and written anew as the plain jump where there proves to be none.
//!
//! It refuses loops' own shapes, which are in `loops`.

use alloc::format;

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::draft::{GuardId, LabelId, Use, VarId, Word};
use crate::function::{Function, FunctionKind};
use crate::narrow;
use crate::parser::{Parsed, Parser};
use crate::token::{Kind, Mark};
use crate::variables::State;

/// A statement that is open and can be left, or that leaving must pass.
#[derive(Clone, Copy, Default)]
pub(crate) enum Control {
    #[default]
    Nothing,
    /// A loop.
    Loop { end: LabelId, next: LabelId },
    /// A switch.
    Switch { end: LabelId },
    /// A label, of a loop or of another statement.
    Label { atom: Atom, end: LabelId, is_loop: bool },
    /// A try statement that may prove to have a `finally` block.
    Try(Try),
}

/// A try statement.
#[derive(Clone, Copy, Default)]
pub(crate) struct Try {
    /// The `finally` block.
    block: LabelId,
    /// The returned value or the exception.
    value: VarId,
    /// Which way the block was come to.
    way: VarId,
    /// First way out plus one, or 0.
    first_exit: u32,
}

/// Where a way out leads.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) enum Goal {
    /// Out of the function, with the value on the stack.
    #[default]
    Return,
    /// Behind the statement with this index among the open ones.
    Break(u32),
    /// Into the next turn of the loop with this index.
    Continue(u32),
}

/// A way out of a try statement.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Exit {
    goal: Goal,
    /// Where the draft leaves this way, first site plus one, or 0.
    first_site: u32,
    /// The next way out of the same statement plus one, or 0.
    next: u32,
}

/// A place where the draft leaves a try statement.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Site {
    place: u32,
    /// The next one of the same way out plus one, or 0.
    next: u32,
}

/// The way that falls out of the block, and the way of an exception; the ways
/// out are numbered from there.
const NORMAL: i32 = 0;
const THROWN: i32 = 1;
const FIRST_EXIT: i32 = 2;

impl Parser<'_, '_> {
    /// BreakStatement ( -- )
    pub(crate) fn break_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mark = self.advance().mark;
        let goal = match self.label_here()? {
            Some((atom, label_mark)) => self.find_label(f, atom, label_mark)?,
            None => self.find_control(f, |control| {
                matches!(control, Control::Loop { .. } | Control::Switch { .. })
            }),
        };
        let Some(index) = goal else {
            return Err(self.syntax(
                mark,
                "sec-break-statement-static-semantics-early-errors",
                "`break` stands in no loop and no `switch`",
            ));
        };
        self.semicolon()?;
        leave(f, Goal::Break(index));
        Ok(())
    }

    /// ContinueStatement ( -- )
    pub(crate) fn continue_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mark = self.advance().mark;
        let clause = "sec-continue-statement-static-semantics-early-errors";
        let is_loop = |control: Control| matches!(control, Control::Loop { .. });
        let goal = match self.label_here()? {
            Some((atom, label_mark)) => {
                let labelled = self.find_label(f, atom, label_mark)?;
                // The loop stands right behind its labels.
                let looped = labelled.and_then(|label| {
                    let is_loop_label =
                        matches!(f.controls.get(label), Control::Label { is_loop: true, .. });
                    (label + 1..f.controls.len())
                        .find(|&index| is_loop(f.controls.get(index)))
                        .filter(|_| is_loop_label)
                });
                if looped.is_none() {
                    let label = self.atoms.show(atom);
                    let message = format!("`{label}` is not the label of a loop");
                    return Err(self.syntax(label_mark, clause, message));
                }
                looped
            }
            None => self.find_control(f, is_loop),
        };
        let Some(index) = goal else {
            return Err(self.syntax(mark, clause, "`continue` stands in no loop"));
        };
        self.semicolon()?;
        leave(f, Goal::Continue(index));
        Ok(())
    }

    /// ReturnStatement ( -- )
    pub(crate) fn return_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mark = self.advance().mark;
        if f.kind == FunctionKind::Script {
            return Err(self.syntax(
                mark,
                "sec-return-statement",
                "`return` stands in no function",
            ));
        }
        let ends = self.token.newline_before
            || matches!(self.token.kind, Kind::Semicolon | Kind::RightBrace | Kind::End);
        if ends {
            f.op(Op::PushUndefined);
        } else {
            let operand = self.expression(f, false)?;
            self.value(f, operand);
        }
        self.semicolon()?;
        leave(f, Goal::Return);
        f.set_depth(0);
        Ok(())
    }

    /// ThrowStatement ( -- )
    pub(crate) fn throw_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mark = self.advance().mark;
        if self.token.newline_before {
            let here = self.token.mark;
            return Err(self.syntax(
                here,
                "sec-throw-statement",
                "a new line cannot stand between `throw` and its value",
            ));
        }
        let operand = self.expression(f, false)?;
        self.value(f, operand);
        self.semicolon()?;
        f.at(mark);
        f.op(Op::Throw);
        Ok(())
    }

    /// SwitchStatement ( -- ): all tests come first, then all bodies.
    pub(crate) fn switch_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.advance();
        self.expect(Kind::LeftParen, "`(` behind `switch`")?;
        let operand = self.expression(f, false)?;
        self.value(f, operand);
        self.expect(Kind::RightParen, "`)`")?;
        self.expect(Kind::LeftBrace, "`{`")?;
        let tested_depth = f.depth;
        f.enter_scope();
        f.set_unordered();
        let end = f.label();
        f.controls.push(Control::Switch { end });
        let tests = f.begin_order();
        // Bodies are chained apart and follow the tests.
        let mut bodies = BodyChain::default();
        let mut default = None;
        while !self.is(Kind::RightBrace) {
            let body_label = f.label();
            match self.token.kind {
                Kind::Case => {
                    self.advance();
                    let test = f.begin_segment();
                    f.set_depth(tested_depth);
                    let operand = self.expression(f, false)?;
                    self.value(f, operand);
                    f.branch(Op::BranchCase, body_label);
                    f.end_segment();
                    f.emit_next(tests, test);
                }
                Kind::Default if default.is_none() => {
                    self.advance();
                    default = Some(body_label);
                }
                Kind::Default => {
                    let mark = self.token.mark;
                    return Err(self.syntax(
                        mark,
                        "sec-switch-statement",
                        "a `switch` has one `default` at most",
                    ));
                }
                _ => return Err(self.expected("`case`, `default` or `}`")),
            }
            self.expect(Kind::Colon, "`:`")?;
            f.set_depth(0);
            let body = f.begin_segment();
            f.bind(body_label);
            while !matches!(
                self.token.kind,
                Kind::Case | Kind::Default | Kind::RightBrace | Kind::End
            ) {
                self.statement_list_item_or_skip(f);
            }
            f.end_segment();
            bodies.add(f, body);
        }
        self.advance();
        let none = f.begin_segment();
        f.set_depth(tested_depth);
        f.op(Op::Drop);
        f.branch(Op::Branch, default.unwrap_or(end));
        f.end_segment();
        f.emit_next(tests, none);
        bodies.follow(f, tests);
        f.end_order(tests);
        f.set_depth(0);
        f.controls.pop();
        f.close_scope(&mut self.atoms);
        f.bind(end);
        Ok(())
    }

    /// TryStatement ( -- )
    pub(crate) fn try_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        self.advance();
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
        Ok(())
    }

    /// Catch ( -- ), its handler being entered with ( exception -- )
    fn catch(&mut self, f: &mut Function<'_>, guard: GuardId, handler: LabelId) -> Parsed<()> {
        self.advance();
        f.end_guard(guard);
        let behind = f.label();
        f.branch(Op::Branch, behind);
        f.bind(handler);
        f.set_depth(1);
        f.enter_scope();
        if self.eat(Kind::LeftParen) {
            self.refuse_pattern()?;
            let (atom, mark) = self.binding_identifier("a name for the exception")?;
            self.expect(Kind::RightParen, "`)`")?;
            match f.declare(&mut self.atoms, atom, State::Catch) {
                Ok(var) => f.word_with_effect(Word::Init(var), 1, 0),
                Err(_) => return Err(self.conflict(atom, mark)),
            }
        } else {
            f.op(Op::Drop);
        }
        // The block shares the parameter's scope: its declarations exclude the
        // parameter's name.
        self.expect(Kind::LeftBrace, "`{`")?;
        self.statement_list(f);
        self.expect(Kind::RightBrace, "`}`")?;
        f.close_scope(&mut self.atoms);
        f.bind(behind);
        Ok(())
    }

    /// Finally ( -- ), its handler being entered with ( exception -- )
    fn finally(&mut self, f: &mut Function<'_>, statement: Try, handler: LabelId) -> Parsed<()> {
        self.advance();
        f.take_hidden(statement.value);
        f.take_hidden(statement.way);
        let store = |f: &mut Function<'_>, var| f.word_with_effect(Word::Store(plain(var)), 1, 0);
        let load = |f: &mut Function<'_>, var| f.word_with_effect(Word::Load(plain(var)), 0, 1);
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

    /// The label behind `break` or `continue`, on the same line.
    fn label_here(&mut self) -> Parsed<Option<(Atom, Mark)>> {
        if self.token.newline_before
            || matches!(self.token.kind, Kind::Semicolon | Kind::RightBrace | Kind::End)
        {
            return Ok(None);
        }
        self.identifier("a label").map(Some)
    }

    fn find_label(&mut self, f: &Function<'_>, atom: Atom, mark: Mark) -> Parsed<Option<u32>> {
        let found = self.find_control(
            f,
            |control| matches!(control, Control::Label { atom: label, .. } if label == atom),
        );
        if found.is_none() {
            let label = self.atoms.show(atom);
            let message = format!("no label `{label}` is around this");
            return Err(self.syntax(mark, "sec-labelled-statements", message));
        }
        Ok(found)
    }

    fn find_control(&self, f: &Function<'_>, is_it: impl Fn(Control) -> bool) -> Option<u32> {
        (0..f.controls.len()).rev().find(|&index| is_it(f.controls.get(index)))
    }
}

/// Goes to the goal, through the try statements between ( -- ), or for a return
/// ( value -- )
fn leave(f: &mut Function<'_>, goal: Goal) {
    let place = f.draft.len();
    for _ in 0..length_of_way(goal) {
        f.word(Word::Nothing);
    }
    write_way(f, place, goal);
}

/// How many words a way out takes, whether a `finally` block is in it or not.
fn length_of_way(goal: Goal) -> u32 {
    match goal {
        Goal::Return => 4,
        Goal::Break(_) | Goal::Continue(_) => 3,
    }
}

/// Writes a way out at a place of the draft that has room for it: to the
/// innermost try statement in the way, or to the goal itself.
fn write_way(f: &mut Function<'_>, place: u32, goal: Goal) {
    let outermost = match goal {
        Goal::Return => 0,
        Goal::Break(index) | Goal::Continue(index) => index + 1,
    };
    let passed = (outermost..f.controls.len())
        .rev()
        .find(|&index| matches!(f.controls.get(index), Control::Try(_)));
    let mut words = [Word::Nothing; 4];
    let branch = |label: LabelId| Word::Op(Op::Branch, narrow::to_operand(label.0));
    match passed {
        Some(index) => {
            let Control::Try(statement) = f.controls.get(index) else { return };
            let number = note_site(f, index, goal, place);
            if goal == Goal::Return {
                words[0] = Word::Store(plain(statement.value));
            }
            words[1] = Word::Op(Op::PushInt, number);
            words[2] = Word::Store(plain(statement.way));
            words[3] = branch(statement.block);
            f.max_depth = f.max_depth.max(1);
        }
        None => {
            words[1] = match (goal, f.controls.get(outermost.saturating_sub(1))) {
                (Goal::Return, _) => Word::Op(Op::Return, 0),
                (Goal::Continue(_), Control::Loop { next, .. }) => branch(next),
                (
                    _,
                    Control::Loop { end, .. }
                    | Control::Switch { end }
                    | Control::Label { end, .. },
                ) => branch(end),
                (_, Control::Try(_) | Control::Nothing) => Word::Nothing,
            };
        }
    }
    let skipped = 4 - length_of_way(goal);
    for (offset, word) in (0..).zip(&words[skipped as usize..]) {
        f.draft.set(place + offset, word.pack());
    }
}

/// Notes that the draft leaves a try statement here, and tells the way's number.
fn note_site(f: &mut Function<'_>, control: u32, goal: Goal, place: u32) -> i32 {
    let Control::Try(statement) = f.controls.get(control) else { return NORMAL };
    let mut number = FIRST_EXIT;
    let mut last = None;
    let mut next = statement.first_exit;
    while let Some(index) = next.checked_sub(1) {
        let exit = f.exits.get(index);
        if exit.goal == goal {
            let site = f.sites.push(Site { place, next: exit.first_site });
            f.exits.update(index, |exit| exit.first_site = site + 1);
            return number;
        }
        number += 1;
        last = Some(index);
        next = exit.next;
    }
    let site = f.sites.push(Site { place, next: 0 });
    let added = f.exits.push(Exit { goal, first_site: site + 1, next: 0 }) + 1;
    match last {
        Some(last) => f.exits.update(last, |exit| exit.next = added),
        None => f.controls.update(control, |control| {
            if let Control::Try(statement) = control {
                statement.first_exit = added;
            }
        }),
    }
    number
}

/// The try statement, no longer open, has no `finally` block: its ways out lead
/// where they would lead without it.
fn write_plain_exits(f: &mut Function<'_>, statement: Try) {
    let mut next = statement.first_exit;
    while let Some(index) = next.checked_sub(1) {
        let exit = f.exits.get(index);
        next = exit.next;
        let mut next_site = exit.first_site;
        while let Some(site) = next_site.checked_sub(1) {
            let Site { place, next } = f.sites.get(site);
            next_site = next;
            write_way(f, place, exit.goal);
        }
    }
}

/// The ways out of a try statement with their numbers.
fn exits(f: &Function<'_>, statement: Try) -> impl Iterator<Item = (i32, Exit)> + use<> {
    let mut list = alloc::vec::Vec::new();
    let mut next = statement.first_exit;
    while let Some(index) = next.checked_sub(1) {
        let exit = f.exits.get(index);
        next = exit.next;
        list.push(exit);
    }
    (FIRST_EXIT..).zip(list)
}

/// A use of a temporary.
pub(crate) fn plain(var: VarId) -> Use {
    Use { var, is_early: false }
}

/// Segments to be emitted behind all those of an order.
#[derive(Default)]
struct BodyChain {
    /// First and last plus one, or 0.
    first: u32,
    last: u32,
}

impl BodyChain {
    fn add(&mut self, f: &mut Function<'_>, segment: u32) {
        match self.last.checked_sub(1) {
            Some(last) => f.segments.update(last, |s| s.next = segment + 1),
            None => self.first = segment + 1,
        }
        self.last = segment + 1;
    }

    fn follow(self, f: &mut Function<'_>, order: crate::draft::OrderId) {
        if let Some(first) = self.first.checked_sub(1) {
            f.emit_next(order, first);
            f.orders.update(order.0, |o| o.last = self.last);
        }
    }
}
