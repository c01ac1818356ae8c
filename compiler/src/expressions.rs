//! Expressions from the comma down to the postfix operators.
//!
//! A production hands back an [`Operand`]: what is not needed on the stack yet
//! stays off it. It refuses what is below: `primary` has calls, members and
//! primary expressions.

use alloc::format;

use scruple_bytecode::ops::Op;

use crate::function::Function;
use crate::parser::{Parsed, Parser};
use crate::reference::{Operand, Place};
use crate::token::{Kind, Mark, Token};

/// What a binary operator does.
#[derive(Clone, Copy, PartialEq)]
enum Binary {
    Op(Op),
    And,
    Or,
    Coalesce,
}

/// How tightly exponentiation binds; it alone groups to the right.
const POWER: u8 = 11;

/// How tightly the operands of `??` bind at least.
const BIT_OR: u8 = 3;

impl Kind {
    /// A binary operator with how tightly it binds.
    fn binary(self) -> Option<(u8, Binary)> {
        Some(match self {
            Kind::Coalesce => (1, Binary::Coalesce),
            Kind::OrOr => (1, Binary::Or),
            Kind::AndAnd => (2, Binary::And),
            Kind::Or => (BIT_OR, Binary::Op(Op::BitOr)),
            Kind::Xor => (4, Binary::Op(Op::BitXor)),
            Kind::And => (5, Binary::Op(Op::BitAnd)),
            Kind::Equal => (6, Binary::Op(Op::Equal)),
            Kind::NotEqual => (6, Binary::Op(Op::NotEqual)),
            Kind::StrictEqual => (6, Binary::Op(Op::StrictEqual)),
            Kind::StrictNotEqual => (6, Binary::Op(Op::StrictNotEqual)),
            Kind::Less => (7, Binary::Op(Op::Less)),
            Kind::Greater => (7, Binary::Op(Op::Greater)),
            Kind::LessEqual => (7, Binary::Op(Op::LessEqual)),
            Kind::GreaterEqual => (7, Binary::Op(Op::GreaterEqual)),
            Kind::InstanceOf => (7, Binary::Op(Op::InstanceOf)),
            Kind::In => (7, Binary::Op(Op::In)),
            Kind::ShiftLeft => (8, Binary::Op(Op::ShiftLeft)),
            Kind::ShiftRight => (8, Binary::Op(Op::ShiftRight)),
            Kind::ShiftRightUnsigned => (8, Binary::Op(Op::ShiftRightUnsigned)),
            Kind::Plus => (9, Binary::Op(Op::Add)),
            Kind::Minus => (9, Binary::Op(Op::Subtract)),
            Kind::Star => (10, Binary::Op(Op::Multiply)),
            Kind::Slash => (10, Binary::Op(Op::Divide)),
            Kind::Percent => (10, Binary::Op(Op::Remainder)),
            Kind::StarStar => (POWER, Binary::Op(Op::Power)),
            _ => return None,
        })
    }

    /// The operation of a compound assignment.
    fn compound(self) -> Option<Op> {
        Some(match self {
            Kind::AssignAdd => Op::Add,
            Kind::AssignSubtract => Op::Subtract,
            Kind::AssignMultiply => Op::Multiply,
            Kind::AssignDivide => Op::Divide,
            Kind::AssignRemainder => Op::Remainder,
            Kind::AssignPower => Op::Power,
            Kind::AssignShiftLeft => Op::ShiftLeft,
            Kind::AssignShiftRight => Op::ShiftRight,
            Kind::AssignShiftRightUnsigned => Op::ShiftRightUnsigned,
            Kind::AssignAnd => Op::BitAnd,
            Kind::AssignOr => Op::BitOr,
            Kind::AssignXor => Op::BitXor,
            _ => return None,
        })
    }

    fn is_unary_operator(self) -> bool {
        matches!(
            self,
            Kind::Delete
                | Kind::Void
                | Kind::TypeOf
                | Kind::Plus
                | Kind::Minus
                | Kind::Tilde
                | Kind::Not
        )
    }
}

impl Parser<'_, '_> {
    /// Expression ( -- operand )
    pub(crate) fn expression(&mut self, f: &mut Function<'_>, no_in: bool) -> Parsed<Operand> {
        let mut operand = self.assignment_expression(f, no_in)?;
        while self.eat(Kind::Comma) {
            self.discard(f, operand);
            operand = self.assignment_expression(f, no_in)?;
            // A comma's result is a value, no reference to write to or call.
            self.value(f, operand);
            operand = Operand::Value;
        }
        Ok(operand)
    }

    /// AssignmentExpression, a chain of conditionals in one turn of the loop
    /// each ( -- operand )
    pub(crate) fn assignment_expression(
        &mut self,
        f: &mut Function<'_>,
        no_in: bool,
    ) -> Parsed<Operand> {
        self.enter()?;
        let mut end = None;
        let first = self.token.mark;
        let operand = loop {
            let start = self.token;
            if start.kind == Kind::Yield && self.context.has_yield {
                break self.yield_expression(f, no_in)?;
            }
            if start.kind == Kind::LeftParen
                && self.lookahead.is_arrow(start, &self.lexer, self.max_nesting)
            {
                break self.arrow_function(f, no_in)?;
            }
            if self.is_at_pattern()
                && self.lookahead.is_pattern(start, &self.lexer, self.max_nesting)
            {
                break self.pattern_assignment(f, no_in)?;
            }
            let operand = self.binary_expression(f, 0, no_in)?;
            match self.token.kind {
                Kind::Question => {
                    self.value(f, operand);
                    self.advance();
                    let otherwise = f.label();
                    f.branch(Op::BranchFalse, otherwise);
                    let depth = f.depth;
                    let then = self.assignment_expression(f, false)?;
                    self.value(f, then);
                    self.expect(Kind::Colon, "`:`")?;
                    let end = *end.get_or_insert_with(|| f.label());
                    f.branch(Op::Branch, end);
                    f.bind(otherwise);
                    f.set_depth(depth);
                }
                Kind::Arrow => break self.arrow_of_name(f, operand, start, no_in)?,
                kind if kind.is_assignment() => {
                    break self.assignment(f, operand, start, no_in)?;
                }
                _ => break operand,
            }
        };
        self.leave();
        let Some(end) = end else { return Ok(operand) };
        self.value(f, operand);
        f.bind(end);
        self.note_again(f, first);
        Ok(Operand::Value)
    }

    /// The rest of an assignment whose target is read ( -- operand )
    #[inline(never)]
    fn assignment(
        &mut self,
        f: &mut Function<'_>,
        operand: Operand,
        start: Token,
        no_in: bool,
    ) -> Parsed<Operand> {
        let clause = "sec-assignment-operators-static-semantics-early-errors";
        let operator = self.token;
        let (place, mark) = self.target(operand, start.mark.to(self.last), clause)?;
        self.advance();
        if operator.kind == Kind::AssignLogical {
            return self.logical_assignment(f, place, mark, operator, start, no_in);
        }
        let Some(op) = operator.kind.compound() else {
            let value = self.assignment_expression(f, no_in)?;
            if let Place::Name(name) = place
                && start.kind != Kind::LeftParen
            {
                self.name_closure(value, name);
            }
            self.value(f, value);
            return Ok(Operand::Stored(place, mark));
        };
        self.settle_key(f, place);
        self.duplicate(f, place);
        self.read(f, place, mark);
        let value = self.assignment_expression(f, no_in)?;
        self.value(f, value);
        f.at(operator.mark);
        f.op(op);
        Ok(Operand::Stored(place, mark))
    }

    /// `&&=`, `||=` or `??=` and what is behind it ( place -- value )
    fn logical_assignment(
        &mut self,
        f: &mut Function<'_>,
        place: Place,
        mark: Mark,
        operator: Token,
        start: Token,
        no_in: bool,
    ) -> Parsed<Operand> {
        self.settle_key(f, place);
        self.duplicate(f, place);
        self.read(f, place, mark);
        let kept = f.label();
        f.branch(
            match self.text_of(operator.mark) {
                "&&=" => Op::BranchKeepFalse,
                "||=" => Op::BranchKeepTrue,
                _ => Op::BranchKeepPresent,
            },
            kept,
        );
        let value = self.assignment_expression(f, no_in)?;
        if let Place::Name(name) = place
            && start.kind != Kind::LeftParen
        {
            self.name_closure(value, name);
        }
        self.value(f, value);
        self.value(f, Operand::Stored(place, mark));
        if place.is_name() {
            f.bind(kept);
            self.note_again(f, start.mark);
            return Ok(Operand::Value);
        }
        // Where nothing was assigned, the place's operands lie under the value.
        let n_operands = match place {
            Place::Name(_) | Place::Field(_) => 1,
            Place::At => 2,
            Place::Super => 3,
        };
        let end = f.label();
        f.branch(Op::Branch, end);
        f.bind(kept);
        self.note_again(f, start.mark);
        f.set_depth(f.depth + n_operands);
        for _ in 0..n_operands {
            f.op(Op::Swap);
            f.op(Op::Drop);
        }
        f.bind(end);
        Ok(Operand::Value)
    }

    /// `=>` behind what may be its one parameter ( -- function )
    #[inline(never)]
    fn arrow_of_name(
        &mut self,
        f: &mut Function<'_>,
        operand: Operand,
        start: Token,
        no_in: bool,
    ) -> Parsed<Operand> {
        match operand {
            Operand::Place(Place::Name(atom), mark) if self.last == start.mark => {
                self.arrow_function_of(f, atom, mark, no_in)
            }
            _ => Err(self.expected("the end of the expression")),
        }
    }

    /// The binary operators that bind at least that tightly ( -- operand )
    fn binary_expression(
        &mut self,
        f: &mut Function<'_>,
        least: u8,
        no_in: bool,
    ) -> Parsed<Operand> {
        let start = self.token;
        let mut operand = self.unary_expression(f)?;
        // What the left side is made with, outside parentheses: `??` mixes with
        // neither `&&` nor `||`.
        let mut made_with = None;
        loop {
            let operator = self.token;
            let Some((tightness, binary)) = operator.kind.binary() else { return Ok(operand) };
            if tightness < least || no_in && operator.kind == Kind::In {
                return Ok(operand);
            }
            match binary {
                Binary::And | Binary::Or | Binary::Coalesce => {
                    let coalesces = binary == Binary::Coalesce;
                    if made_with.is_some_and(|before| before != coalesces) {
                        return Err(self.syntax(
                            operator.mark,
                            "sec-binary-logical-operators",
                            "`??` needs parentheses beside `&&` and `||`",
                        ));
                    }
                    made_with = Some(coalesces);
                    self.value(f, operand);
                    self.advance();
                    let end = f.label();
                    let (keep, least) = match binary {
                        Binary::And => (Op::BranchKeepFalse, tightness + 1),
                        Binary::Or => (Op::BranchKeepTrue, tightness + 1),
                        _ => (Op::BranchKeepPresent, BIT_OR),
                    };
                    let depth = f.depth;
                    f.branch(keep, end);
                    let right = self.binary_expression(f, least, no_in)?;
                    self.value(f, right);
                    f.bind(end);
                    self.note_again(f, start.mark);
                    debug_assert_eq!(f.depth, depth);
                }
                Binary::Op(op) => {
                    if tightness == POWER && start.kind.is_unary_operator() {
                        return Err(self.syntax(
                            start.mark,
                            "sec-exp-operator",
                            "the left side of `**` needs parentheses around its operator",
                        ));
                    }
                    self.value(f, operand);
                    self.advance();
                    let right = if tightness == POWER {
                        self.power_of(f)?
                    } else {
                        self.binary_expression(f, tightness + 1, no_in)?
                    };
                    self.value(f, right);
                    f.at(operator.mark);
                    f.op(op);
                }
            }
            operand = Operand::Value;
        }
    }

    /// The right side of `**`, which groups to the right ( -- operand )
    #[inline(never)]
    fn power_of(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        self.enter()?;
        let operand = self.binary_expression(f, POWER, false)?;
        self.leave();
        Ok(operand)
    }

    /// UnaryExpression ( -- operand )
    fn unary_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        match self.token.kind {
            kind if kind.is_unary_operator() => self.unary_operator(f),
            Kind::Increment | Kind::Decrement => self.prefix_step(f),
            _ => self.postfix_expression(f),
        }
    }

    // Out of line, as what follows: every expression in brackets has the frame of the
    // production above under it.
    #[inline(never)]
    fn unary_operator(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        self.enter()?;
        let operator = self.advance();
        let start = self.token.mark;
        let operand = self.unary_expression(f)?;
        let operand = self.unary_operation(f, operator, operand, start)?;
        self.leave();
        Ok(operand)
    }

    /// `++` or `--` before its operand ( -- operand )
    #[inline(never)]
    fn prefix_step(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        self.enter()?;
        let operator = self.advance();
        let start = self.token.mark;
        let operand = self.unary_expression(f)?;
        let (place, mark) = self.step_target(operand, start.to(self.last))?;
        self.settle_key(f, place);
        self.duplicate(f, place);
        self.read(f, place, mark);
        f.at(operator.mark);
        f.op(step_of(operator.kind));
        self.leave();
        Ok(Operand::Stored(place, mark))
    }

    /// A unary operator on its operand ( -- operand )
    #[inline(never)]
    fn unary_operation(
        &mut self,
        f: &mut Function<'_>,
        operator: Token,
        operand: Operand,
        start: Mark,
    ) -> Parsed<Operand> {
        match (operator.kind, operand) {
            (Kind::Delete, operand) => return self.delete(f, operator.mark, operand, start),
            (Kind::Void, operand) => {
                self.discard(f, operand);
                f.op(Op::PushUndefined);
            }
            (Kind::TypeOf, Operand::Place(Place::Name(atom), mark)) => {
                self.read_softly(f, atom, mark);
                f.op(Op::TypeOf);
            }
            (Kind::Minus, Operand::Number(number)) => return Ok(Operand::Number(-number)),
            (Kind::Plus, Operand::Number(number)) => return Ok(Operand::Number(number)),
            (kind, operand) => {
                self.value(f, operand);
                f.at(operator.mark);
                f.op(match kind {
                    Kind::TypeOf => Op::TypeOf,
                    Kind::Plus => Op::ToNumber,
                    Kind::Minus => Op::Negate,
                    Kind::Tilde => Op::BitNot,
                    _ => Op::Not,
                });
            }
        }
        Ok(Operand::Value)
    }

    /// `delete` on its operand ( -- operand )
    #[inline(never)]
    fn delete(
        &mut self,
        f: &mut Function<'_>,
        mark: Mark,
        operand: Operand,
        start: Mark,
    ) -> Parsed<Operand> {
        match operand {
            Operand::Place(Place::Name(atom), _) => {
                let name = self.atoms.show(atom);
                let message = format!("`{name}` cannot be deleted in strict mode code");
                let clause = "sec-delete-operator-static-semantics-early-errors";
                return Err(self.strict(start.to(self.last), clause, message));
            }
            Operand::Place(Place::Field(atom), _) => {
                f.at(mark);
                self.field_op(f, Op::DeleteField, atom);
            }
            Operand::Place(Place::At, _) => {
                f.at(mark);
                f.op(Op::DeleteAt);
            }
            Operand::Place(Place::Super, _) => {
                f.at(mark);
                f.op(Op::DeleteSuper);
            }
            Operand::Chain(place, _, absent) => {
                f.at(mark);
                match place {
                    Place::Field(atom) => self.field_op(f, Op::DeleteField, atom),
                    _ => f.op(Op::DeleteAt),
                }
                // Nothing to delete is true.
                let end = f.label();
                f.branch(Op::Branch, end);
                f.bind(absent);
                self.note_chain(f, absent);
                f.op(Op::Drop);
                f.op(Op::PushTrue);
                f.bind(end);
            }
            operand => {
                self.discard(f, operand);
                f.op(Op::PushTrue);
            }
        }
        Ok(Operand::Value)
    }

    /// UpdateExpression with its operator behind ( -- operand )
    #[inline(never)]
    fn postfix_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let start = self.token.mark;
        let operand = self.left_hand_side_expression(f)?;
        let operator = self.token;
        if operator.newline_before || !matches!(operator.kind, Kind::Increment | Kind::Decrement) {
            return Ok(operand);
        }
        let (place, mark) = self.step_target(operand, start.to(self.last))?;
        self.settle_key(f, place);
        self.advance();
        Ok(Operand::Stepped(place, mark, step_of(operator.kind)))
    }

    fn step_target(&mut self, operand: Operand, mark: Mark) -> Parsed<(Place, Mark)> {
        let clause = "sec-update-expressions-static-semantics-early-errors";
        self.target(operand, mark, clause)
    }
}

impl Kind {
    fn is_assignment(self) -> bool {
        matches!(self, Kind::Assign | Kind::AssignLogical) || self.compound().is_some()
    }
}

fn step_of(kind: Kind) -> Op {
    if kind == Kind::Increment { Op::Increment } else { Op::Decrement }
}
