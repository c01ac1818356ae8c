//! Statements that leave or choose: break, continue, return, throw and switch.
//!
//! How a way out passes a `finally` block is in `exits`. It refuses loops and
//! try statements, which have files of their own.

use alloc::format;

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::draft::OrderId;
use crate::exits::{Control, Goal, leave};
use crate::function::{Function, FunctionKind};
use crate::parser::{Parsed, Parser};
use crate::token::{Kind, Mark};

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
    #[inline(never)]
    pub(crate) fn return_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let mark = self.advance().mark;
        if matches!(f.kind, FunctionKind::Script | FunctionKind::Initializer) {
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
    #[inline(never)]
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
    #[inline(never)]
    pub(crate) fn switch_statement(&mut self, f: &mut Function<'_>) -> Parsed<()> {
        let start = self.advance().mark;
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
        self.note_again(f, start);
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

    fn follow(self, f: &mut Function<'_>, order: OrderId) {
        if let Some(first) = self.first.checked_sub(1) {
            f.emit_next(order, first);
            f.orders.update(order.0, |o| o.last = self.last);
        }
    }
}
