//! `super` and `new.target`, and what a derived constructor returns.
//!
//! An arrow function has all of it from the function around it, by names that no
//! identifier can be: they go the way of `this`. So a program without `super` has
//! nothing of it, and a method pays only if it, or an arrow function in it, asks.

use scruple_bytecode::ops::Op;

use crate::atoms::{Asked, Atom};
use crate::draft::{LabelId, Word};
use crate::function::{Function, FunctionKind};
use crate::narrow;
use crate::parser::{Parsed, Parser};
use crate::primary::Arguments;
use crate::reference::{Operand, Place};
use crate::token::{Kind, Mark};

impl Parser<'_, '_> {
    /// SuperProperty ( -- operand ) or SuperCall ( -- object )
    #[inline(never)]
    pub(crate) fn super_expression(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let mark = self.advance().mark;
        match self.token.kind {
            Kind::LeftParen => self.super_call(f, mark),
            Kind::Dot | Kind::LeftBracket => self.super_property(f, mark),
            _ => Err(self.expected("`.`, `[` or `(` behind `super`")),
        }
    }

    /// The rest of a SuperProperty ( -- operand )
    fn super_property(&mut self, f: &mut Function<'_>, start: Mark) -> Parsed<Operand> {
        if !self.context.has_super_property {
            return Err(self.syntax(
                start,
                "sec-super-keyword",
                "a property of `super` stands in no method",
            ));
        }
        f.at(start);
        self.this(f);
        let mark = self.advance();
        let place = if mark.kind == Kind::Dot {
            let (atom, mark) = self.identifier_name("a property name")?;
            self.push_text(f, atom);
            mark
        } else {
            let key = self.expression(f, false)?;
            self.value(f, key);
            self.expect(Kind::RightBracket, "`]`")?;
            mark.mark
        };
        f.at(start);
        self.home(f, start);
        f.op(Op::PrototypeOf);
        Ok(Operand::Place(Place::Super, place))
    }

    /// The rest of a SuperCall ( -- object )
    fn super_call(&mut self, f: &mut Function<'_>, mark: Mark) -> Parsed<Operand> {
        if !self.context.has_super_call {
            return Err(self.syntax(
                mark,
                "sec-class-definitions-static-semantics-early-errors",
                "`super` is called outside the constructor of a class that extends another",
            ));
        }
        self.begin_super_call(f, mark);
        let arguments = self.arguments(f)?;
        self.end_super_call(f, arguments, mark);
        Ok(Operand::Value)
    }

    /// ( -- constructor target )
    fn begin_super_call(&mut self, f: &mut Function<'_>, mark: Mark) {
        f.at(mark);
        self.running_function(f, mark);
        f.op(Op::PrototypeOf);
        self.target_value(f, mark);
    }

    /// ( constructor target arguments -- object )
    fn end_super_call(&mut self, f: &mut Function<'_>, arguments: Arguments, mark: Mark) {
        f.at(mark);
        match arguments {
            Arguments::Counted(n) => f.op_with(Op::SuperCall, narrow::to_operand(n)),
            Arguments::List => f.op(Op::SuperCallList),
        }
        let this = f.use_site(&mut self.atoms, Atom::THIS);
        f.word_with_effect(Word::Bind(this), 1, 1);
        self.running_function(f, mark);
        f.op(Op::InitFields);
    }

    /// The body of the constructor that a derived class without one has ( -- )
    pub(crate) fn default_derived(&mut self, f: &mut Function<'_>, mark: Mark) {
        f.has_rest = true;
        f.length = Some(0);
        self.begin_super_call(f, mark);
        f.op_with(Op::LoadRest, 0);
        self.end_super_call(f, Arguments::List, mark);
        f.op(Op::Drop);
    }

    /// `new.target` behind `new` ( -- target )
    pub(crate) fn new_target(&mut self, f: &mut Function<'_>, mark: Mark) -> Parsed<Operand> {
        self.advance();
        if !self.is_word("target") {
            return Err(self.expected("`target` behind `new.`"));
        }
        let mark = mark.to(self.advance().mark);
        if !self.context.has_new_target {
            return Err(self.syntax(
                mark,
                "sec-scripts-static-semantics-early-errors",
                "`new.target` stands in no function",
            ));
        }
        self.target_value(f, mark);
        Ok(Operand::Value)
    }

    /// ( -- target )
    fn target_value(&mut self, f: &mut Function<'_>, mark: Mark) {
        match f.kind {
            FunctionKind::Method | FunctionKind::Initializer => f.op(Op::PushUndefined),
            // It lies where the this value does in other constructors.
            FunctionKind::Derived => f.op(Op::LoadThis),
            _ => self.read_asked(f, Asked::Target, mark),
        }
    }

    /// ( -- function )
    fn running_function(&mut self, f: &mut Function<'_>, mark: Mark) {
        if f.kind == FunctionKind::Arrow {
            self.read_asked(f, Asked::Callee, mark);
        } else {
            f.op(Op::LoadCallee);
        }
    }

    /// ( -- object ): the one that the method is defined in. A constructor is asked for
    /// its prototype, which nothing can change.
    fn home(&mut self, f: &mut Function<'_>, mark: Mark) {
        if f.kind == FunctionKind::Arrow {
            self.read_asked(f, Asked::Home, mark);
        } else if f.is_constructor_of_class() {
            f.op(Op::LoadCallee);
            let prototype = self.atoms.intern("prototype");
            self.field_op(f, Op::ReadField, prototype);
        } else {
            f.uses_home = true;
            f.op(Op::LoadHome);
        }
    }

    /// ( -- value ): what the function around has for those in it.
    fn read_asked(&mut self, f: &mut Function<'_>, asked: Asked, mark: Mark) {
        let name = self.atoms.asked(asked);
        self.read(f, Place::Name(name), mark);
    }

    /// The end of a derived constructor: what is not an object is the this value, which
    /// `super` must have given by now ( -- ). Apart from the returns, because nothing in
    /// the function guards what is thrown here (ECMA-262, [[Construct]]).
    pub(crate) fn return_derived(&mut self, f: &mut Function<'_>, epilogue: LabelId) {
        f.op(Op::PushUndefined);
        f.bind(epilogue);
        f.set_depth(1);
        f.op(Op::CheckDerived);
        let given = f.label();
        f.branch(Op::BranchKeepDefined, given);
        let mark = self.last;
        self.read(f, Place::Name(Atom::THIS), mark);
        f.bind(given);
        f.op(Op::Return);
    }
}

impl Function<'_> {
    /// Whether it is the constructor of a class.
    pub(crate) fn is_constructor_of_class(&self) -> bool {
        matches!(self.kind, FunctionKind::Constructor | FunctionKind::Derived)
    }
}
