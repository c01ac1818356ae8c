//! Destructuring: patterns of declarations, parameters and assignments.
//!
//! A pattern stands before the value it takes apart, and a nested one before its
//! default; both come after it in time. Segments of the draft carry that, so that
//! no tree is needed. A literal and a pattern begin alike: `lookahead` tells them
//! apart.
//!
//! It refuses to know where values come from: a pattern finds its value on the
//! stack.

use alloc::vec::Vec;

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::declarations::Binding;
use crate::draft::{OrderId, VarId, Word};
use crate::exits::plain;
use crate::function::Function;
use crate::narrow;
use crate::objects::Key;
use crate::parser::{Parsed, Parser};
use crate::records::State;
use crate::reference::{Operand, Place};
use crate::token::{Kind, Mark};

/// What a pattern's targets are.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Role {
    /// Names that it declares.
    Declare(State),
    /// Names of parameters.
    Parameter,
    /// Anything that can be assigned.
    Assign,
}

/// Where a part of the value is.
#[derive(Clone, Copy)]
enum Part {
    /// The next value of the iterator in this temporary.
    Next(VarId),
    /// An array of the values left in it.
    Rest(VarId),
    /// A property of the object on top of the stack.
    Field(Atom),
    /// The same of the object in a temporary.
    FieldOf(VarId, Atom),
    /// A property of the object in the first temporary; its key is in the second.
    At(VarId, VarId),
}

/// A key that a rest property leaves out.
#[derive(Clone, Copy)]
enum Taken {
    Name(Atom),
    Kept(VarId),
}

/// A pattern that is parsed and waits for what is evaluated before it.
pub(crate) struct Waiting {
    pub(crate) order: OrderId,
    pub(crate) segment: u32,
    /// The operand-stack depth around.
    pub(crate) depth: u32,
}

impl Parser<'_, '_> {
    /// Whether a pattern stands here, where one or a name must.
    pub(crate) fn is_at_pattern(&self) -> bool {
        matches!(self.token.kind, Kind::LeftBrace | Kind::LeftBracket)
    }

    /// DestructuringAssignment: a pattern, `=` and its value ( -- operand )
    #[inline(never)]
    pub(crate) fn pattern_assignment(
        &mut self,
        f: &mut Function<'_>,
        no_in: bool,
    ) -> Parsed<Operand> {
        let order = f.begin_order();
        let depth = f.depth;
        let segment = f.begin_segment();
        f.set_depth(depth + 1);
        let dup = f.draft.len();
        f.op(Op::Dup);
        self.pattern(f, Role::Assign)?;
        f.end_segment();
        self.expect(Kind::Assign, "`=`")?;
        self.value_before(f, Waiting { order, segment, depth }, no_in)?;
        f.set_depth(depth + 1);
        Ok(Operand::Assigned(dup))
    }

    /// A pattern whose value stands behind it ( -- ); [`Parser::value_before`]
    /// goes on.
    pub(crate) fn pattern_first(&mut self, f: &mut Function<'_>, role: Role) -> Parsed<Waiting> {
        let order = f.begin_order();
        let depth = f.depth;
        let segment = f.begin_segment();
        f.set_depth(depth + 1);
        self.pattern(f, role)?;
        f.end_segment();
        Ok(Waiting { order, segment, depth })
    }

    /// The value of a pattern that is parsed: AssignmentExpression, emitted before
    /// the pattern ( -- )
    pub(crate) fn value_before(
        &mut self,
        f: &mut Function<'_>,
        Waiting { order, segment, depth }: Waiting,
        no_in: bool,
    ) -> Parsed<()> {
        f.set_depth(depth);
        let first = f.begin_segment();
        let value = self.assignment_expression(f, no_in)?;
        self.value(f, value);
        f.end_segment();
        f.emit_next(order, first);
        f.emit_next(order, segment);
        f.end_order(order);
        f.set_depth(depth);
        Ok(())
    }

    /// A pattern, and behind it perhaps the default of the value that the stack
    /// has ( value -- ). Whether there was one.
    pub(crate) fn pattern_with_default(
        &mut self,
        f: &mut Function<'_>,
        role: Role,
    ) -> Parsed<bool> {
        let waiting = {
            // The value lies there already when the segment begins.
            f.set_depth(f.depth - 1);
            self.pattern_first(f, role)?
        };
        let Waiting { order, segment, depth } = waiting;
        f.set_depth(depth + 1);
        let first = f.begin_segment();
        let has_default = self.default_value(f, None)?;
        f.end_segment();
        f.emit_next(order, first);
        f.emit_next(order, segment);
        f.end_order(order);
        f.set_depth(depth);
        Ok(has_default)
    }

    /// Initializer of a target, if there is one: what stands for undefined
    /// ( value -- value ). Whether there was one.
    pub(crate) fn default_value(
        &mut self,
        f: &mut Function<'_>,
        name: Option<Atom>,
    ) -> Parsed<bool> {
        let target = self.last;
        if !self.eat(Kind::Assign) {
            return Ok(false);
        }
        let given = f.label();
        f.branch(Op::BranchKeepDefined, given);
        let value = self.assignment_expression(f, false)?;
        if let Some(name) = name {
            self.name_closure(value, name);
        }
        self.value(f, value);
        f.bind(given);
        self.note_again(f, target);
        Ok(true)
    }

    /// BindingPattern or AssignmentPattern ( value -- )
    pub(crate) fn pattern(&mut self, f: &mut Function<'_>, role: Role) -> Parsed<()> {
        self.enter()?;
        if self.is(Kind::LeftBracket) {
            self.array_pattern(f, role)?;
        } else {
            self.object_pattern(f, role)?;
        }
        self.leave();
        Ok(())
    }

    /// ArrayBindingPattern or ArrayAssignmentPattern ( value -- )
    fn array_pattern(&mut self, f: &mut Function<'_>, role: Role) -> Parsed<()> {
        let mark = self.advance().mark;
        let iterator = f.declare_hidden();
        f.at(mark);
        f.op(Op::StartValues);
        f.word_with_effect(Word::Store(plain(iterator)), 1, 0);
        while !self.is(Kind::RightBracket) {
            if self.is(Kind::Comma) {
                let mark = self.advance().mark;
                f.word_with_effect(Word::Load(plain(iterator)), 0, 1);
                f.at(mark);
                f.op(Op::SkipValue);
                continue;
            }
            if self.eat(Kind::Ellipsis) {
                // All values are taken: there is nothing to close.
                self.element(f, role, Part::Rest(iterator))?;
                self.expect(Kind::RightBracket, "`]` behind the pattern")?;
                return Ok(());
            }
            self.element(f, role, Part::Next(iterator))?;
            if !self.eat(Kind::Comma) {
                break;
            }
        }
        self.expect(Kind::RightBracket, "`]` behind the pattern")?;
        f.word_with_effect(Word::Load(plain(iterator)), 0, 1);
        f.op(Op::CloseValues);
        Ok(())
    }

    /// ObjectBindingPattern or ObjectAssignmentPattern ( value -- )
    fn object_pattern(&mut self, f: &mut Function<'_>, role: Role) -> Parsed<()> {
        let mark = self.advance().mark;
        f.at(mark);
        f.op(Op::RequireObject);
        // Where the object is once it cannot stay on top of the stack.
        let mut kept = None;
        let mut taken = Vec::new();
        while !self.is(Kind::RightBrace) {
            let mark = self.token.mark;
            if self.eat(Kind::Ellipsis) {
                self.rest_property(f, role, &taken, kept, mark)?;
                break;
            }
            self.property(f, role, &mut kept, &mut taken)?;
            if !self.eat(Kind::Comma) {
                break;
            }
        }
        self.expect(Kind::RightBrace, "`}` behind the pattern")?;
        f.op(Op::Drop);
        let behind = f.label();
        f.bind(behind);
        Ok(())
    }

    /// BindingProperty or AssignmentProperty ( object -- object )
    fn property(
        &mut self,
        f: &mut Function<'_>,
        role: Role,
        kept: &mut Option<VarId>,
        taken: &mut Vec<Taken>,
    ) -> Parsed<()> {
        let start = self.token;
        let key = self.property_name(f)?;
        if let Key::Name(atom) = key
            && !self.is(Kind::Colon)
        {
            if !start.kind.is_identifier_name() {
                return Err(self.expected("`:` behind the property name"));
            }
            taken.push(Taken::Name(atom));
            self.check_shorthand(key, start.mark)?;
            self.check_bindable(atom, start.mark)?;
            return self.named(f, role, atom, start.mark, Part::Field(atom));
        }
        let part = match key {
            Key::Name(atom) => {
                taken.push(Taken::Name(atom));
                Part::Field(atom)
            }
            Key::Pushed(_) => {
                if start.kind == Kind::Number {
                    f.op(Op::ToKey);
                }
                let key = f.declare_hidden();
                f.word_with_effect(Word::Store(plain(key)), 1, 0);
                taken.push(Taken::Kept(key));
                Part::At(self.keep_object(f, kept), key)
            }
        };
        self.expect(Kind::Colon, "`:` behind the property name")?;
        let part = match part {
            // Operands of a member would lie above the object.
            Part::Field(atom) if role == Role::Assign && !self.is_plain_target() => {
                Part::FieldOf(self.keep_object(f, kept), atom)
            }
            part => part,
        };
        self.element(f, role, part)
    }

    /// ( object -- object ): a copy of it goes to a temporary, once.
    fn keep_object(&mut self, f: &mut Function<'_>, kept: &mut Option<VarId>) -> VarId {
        *kept.get_or_insert_with(|| {
            let var = f.declare_hidden();
            f.word_with_effect(Word::Keep(plain(var)), 1, 1);
            var
        })
    }

    /// Whether a name without anything before its end stands here.
    fn is_plain_target(&mut self) -> bool {
        self.is_at_nested_pattern(Role::Assign)
            || matches!(
                self.lexer.peek().kind,
                Kind::Comma | Kind::Assign | Kind::RightBrace | Kind::RightBracket
            )
    }

    /// Whether a pattern in a pattern stands here, and no literal whose member is
    /// assigned.
    fn is_at_nested_pattern(&mut self, role: Role) -> bool {
        let is_literal = role == Role::Assign
            && self.is_at_pattern()
            && self.lookahead.is_base(self.token, &self.lexer, self.max_nesting);
        self.is_at_pattern() && !is_literal
    }

    /// BindingRestProperty or AssignmentRestProperty ( object -- object )
    fn rest_property(
        &mut self,
        f: &mut Function<'_>,
        role: Role,
        taken: &[Taken],
        kept: Option<VarId>,
        mark: Mark,
    ) -> Parsed<()> {
        if self.is_at_nested_pattern(role) {
            return Err(self.expected("a name behind `...`"));
        }
        let copy = |this: &mut Self, f: &mut Function<'_>| {
            for &key in taken {
                match key {
                    Taken::Name(atom) => this.push_text(f, atom),
                    Taken::Kept(var) => f.word_with_effect(Word::Load(plain(var)), 0, 1),
                }
            }
            f.at(mark);
            f.op_with(Op::CopyRest, narrow::to_operand(narrow::to_u32(taken.len())));
        };
        if role != Role::Assign {
            let (atom, mark) = self.binding_identifier("a name")?;
            let binding = self.declared(f, role, atom, mark)?;
            f.op(Op::Dup);
            copy(self, f);
            self.initialise_later(f, binding);
            return Ok(());
        }
        let object = self.keep_object(f, &mut { kept });
        let (place, place_mark) = self.assignment_target(f)?;
        f.word_with_effect(Word::Load(plain(object)), 0, 1);
        copy(self, f);
        self.write(f, place, place_mark);
        Ok(())
    }

    /// A target with its default ( -- ); its value is fetched in between.
    fn element(&mut self, f: &mut Function<'_>, role: Role, part: Part) -> Parsed<()> {
        let mark = self.token.mark;
        let is_rest = matches!(part, Part::Rest(_));
        if self.is_at_nested_pattern(role) {
            self.fetch(f, part, mark);
            return if is_rest {
                self.pattern(f, role)
            } else {
                self.pattern_with_default(f, role).map(|_| ())
            };
        }
        if role != Role::Assign {
            let (atom, mark) = self.binding_identifier("a name or a pattern")?;
            return self.named(f, role, atom, mark, part);
        }
        let is_bare = !self.is(Kind::LeftParen);
        let (place, place_mark) = self.assignment_target(f)?;
        self.fetch(f, part, mark);
        if !is_rest {
            let name = match place {
                Place::Name(atom) if is_bare => Some(atom),
                _ => None,
            };
            self.default_value(f, name)?;
        }
        self.write(f, place, place_mark);
        Ok(())
    }

    /// DestructuringAssignmentTarget that is no pattern ( -- place )
    fn assignment_target(&mut self, f: &mut Function<'_>) -> Parsed<(Place, Mark)> {
        let start = self.token.mark;
        let clause = "sec-destructuring-assignment-static-semantics-early-errors";
        let operand = self.left_hand_side_expression(f)?;
        self.target(operand, start.to(self.last), clause)
    }

    /// A name as target, which is behind, with its default ( -- )
    fn named(
        &mut self,
        f: &mut Function<'_>,
        role: Role,
        atom: Atom,
        mark: Mark,
        part: Part,
    ) -> Parsed<()> {
        let is_rest = matches!(part, Part::Rest(_));
        if role == Role::Assign {
            self.fetch(f, part, mark);
            self.default_value(f, Some(atom))?;
            self.write(f, Place::Name(atom), mark);
            return Ok(());
        }
        let binding = self.declared(f, role, atom, mark)?;
        self.fetch(f, part, mark);
        if !is_rest {
            self.default_value(f, Some(atom))?;
        }
        self.initialise_later(f, binding);
        Ok(())
    }

    /// ( -- value )
    fn fetch(&mut self, f: &mut Function<'_>, part: Part, mark: Mark) {
        let load = |f: &mut Function<'_>, var| f.word_with_effect(Word::Load(plain(var)), 0, 1);
        match part {
            Part::Next(iterator) => {
                load(f, iterator);
                f.at(mark);
                f.op(Op::StepValue);
            }
            Part::Rest(iterator) => {
                load(f, iterator);
                f.at(mark);
                f.op(Op::RestValues);
            }
            Part::Field(atom) => {
                f.op(Op::Dup);
                self.read(f, Place::Field(atom), mark);
            }
            Part::FieldOf(object, atom) => {
                load(f, object);
                self.read(f, Place::Field(atom), mark);
            }
            Part::At(object, key) => {
                load(f, object);
                load(f, key);
                self.read(f, Place::At, mark);
            }
        }
    }

    fn declared(
        &mut self,
        f: &mut Function<'_>,
        role: Role,
        atom: Atom,
        mark: Mark,
    ) -> Parsed<Binding> {
        match role {
            Role::Declare(state) => {
                let var = self.declare(f, atom, mark, state)?;
                Ok(Binding { atom, mark, state, var })
            }
            Role::Parameter | Role::Assign => self.parameter_binding(f, atom, mark),
        }
    }

    /// ( value -- ): of a variable that counts as initialised only once
    /// [`Parser::settle_fresh`] has said so, because what stands behind in the text
    /// may run before.
    fn initialise_later(&mut self, f: &mut Function<'_>, binding: Binding) {
        if binding.state == State::Var {
            self.write(f, Place::Name(binding.atom), binding.mark);
        } else {
            f.at(binding.mark);
            f.word_with_effect(Word::Init(binding.var), 1, 0);
            self.fresh.push(binding.var);
        }
    }

    /// The variables of the patterns since that many were fresh are initialised.
    pub(crate) fn settle_fresh(&mut self, f: &mut Function<'_>, n_before: usize) {
        while self.fresh.len() > n_before
            && let Some(var) = self.fresh.pop()
        {
            f.set_ready(var);
        }
    }
}
