//! Object literals.
//!
//! It owns the forms of a property definition and of its key. It refuses
//! generator and async methods.

use alloc::format;
use alloc::string::ToString;

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::closed::Closed;
use crate::draft::Word;
use crate::function::{Function, FunctionKind};
use crate::literal;
use crate::narrow;
use crate::parser::{Parsed, Parser};
use crate::reference::{Operand, Place};
use crate::token::{Kind, Mark};

/// The key of a property definition.
#[derive(Clone, Copy)]
pub(crate) enum Key {
    /// A name, not on the stack.
    Name(Atom),
    /// On the stack; the name of it where that is known.
    Pushed(Option<Atom>),
}

impl Key {
    pub(crate) fn name(self) -> Option<Atom> {
        match self {
            Key::Name(atom) => Some(atom),
            Key::Pushed(name) => name,
        }
    }
}

/// Getter or setter.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Accessor {
    Get,
    Set,
}

impl Parser<'_, '_> {
    /// ObjectLiteral ( -- object )
    #[inline(never)]
    pub(crate) fn object_literal(&mut self, f: &mut Function<'_>) -> Parsed<Operand> {
        let mark = self.advance().mark;
        f.at(mark);
        let made = f.draft.len();
        f.op_with(Op::MakeObject, 0);
        let mut n_properties = 0;
        let mut has_proto = false;
        while !self.is(Kind::RightBrace) {
            let is_proto = self.property_definition(f)?;
            if is_proto && has_proto {
                let mark = self.last;
                return Err(self.syntax(
                    mark,
                    "sec-object-initializer-static-semantics-early-errors",
                    "an object literal has one `__proto__` at most",
                ));
            }
            has_proto |= is_proto;
            n_properties += u32::from(!is_proto);
            if !self.eat(Kind::Comma) {
                break;
            }
        }
        self.expect(Kind::RightBrace, "`,` or `}` behind a property")?;
        let n_properties = narrow::to_operand(n_properties);
        f.draft.set(made, Word::Op(Op::MakeObject, n_properties).pack());
        Ok(Operand::Value)
    }

    /// PropertyDefinition ( object -- object ). Whether it sets the prototype.
    #[inline(never)]
    fn property_definition(&mut self, f: &mut Function<'_>) -> Parsed<bool> {
        let mark = self.token.mark;
        if self.eat(Kind::Ellipsis) {
            let operand = self.assignment_expression(f, false)?;
            self.value(f, operand);
            f.at(mark);
            f.op(Op::CopyProperties);
            return Ok(false);
        }
        let is_generator = self.generator_star("a generator method");
        let start = self.token;
        if start.kind == Kind::Identifier && !start.escaped && !is_generator {
            let accessor = match self.text_of(start.mark) {
                "get" => Some(Accessor::Get),
                "set" => Some(Accessor::Set),
                _ => None,
            };
            let next = self.lexer.peek();
            let names_next = next.kind.is_identifier_name()
                || matches!(next.kind, Kind::Text | Kind::Number | Kind::LeftBracket);
            if let Some(accessor) = accessor
                && names_next
            {
                self.advance();
                self.accessor(f, accessor)?;
                return Ok(false);
            }
            let is_async = self.text_of(start.mark) == "async"
                && (names_next || next.kind == Kind::Star)
                && !next.newline_before;
            if is_async {
                let clause = "sec-async-function-definitions";
                return Err(self.unsupported(start.mark, clause, "an async method"));
            }
        }
        let key = self.property_name(f)?;
        match self.token.kind {
            kind if is_generator && kind != Kind::LeftParen => {
                Err(self.expected("`(` behind a generator's name"))
            }
            Kind::Colon => {
                self.advance();
                let is_proto = start.kind != Kind::LeftBracket && key.name() == Some(Atom::PROTO);
                let value = self.assignment_expression(f, false)?;
                if !is_proto {
                    self.name_after_key(f, value, key, None);
                }
                self.value(f, value);
                f.at(start.mark);
                self.define(f, key, Op::InitField, Op::InitAt);
                Ok(is_proto)
            }
            Kind::LeftParen => {
                let key = self.settle_proto(f, key);
                let method = FunctionKind::Method;
                let id = self.function(f, start.mark, method, None, is_generator)?;
                let key = self.settle_home(f, id, key);
                let operand = self.closure(f, id, start.mark);
                self.name_after_key(f, operand, key, None);
                self.tell_home(f, id);
                self.define(f, key, Op::InitField, Op::InitAt);
                Ok(false)
            }
            Kind::Comma | Kind::RightBrace if is_shorthand(start.kind) => {
                self.shorthand(f, key, start.mark)?;
                Ok(false)
            }
            Kind::Assign if is_shorthand(start.kind) => {
                self.check_shorthand(key, start.mark)?;
                let mark = self.token.mark;
                Err(self.syntax(
                    mark,
                    "sec-object-initializer-static-semantics-early-errors",
                    "a default value stands in no pattern here",
                ))
            }
            _ => Err(self.expected("`:` behind the property name")),
        }
    }

    /// IdentifierReference as a property ( object -- object )
    fn shorthand(&mut self, f: &mut Function<'_>, key: Key, mark: Mark) -> Parsed<()> {
        let atom = self.check_shorthand(key, mark)?;
        let key = self.settle_proto(f, key);
        self.read(f, Place::Name(atom), mark);
        f.at(mark);
        self.define(f, key, Op::InitField, Op::InitAt);
        Ok(())
    }

    /// The key must be a name that a variable can have, which it hands back.
    pub(crate) fn check_shorthand(&mut self, key: Key, mark: Mark) -> Parsed<Atom> {
        let atom = key.name().unwrap_or(Atom::EMPTY);
        self.check_arguments(atom, mark)?;
        self.check_await(atom, mark)?;
        let name = self.atoms.show(atom);
        if crate::parser::is_strict_reserved(&name) {
            let message = format!("`{name}` is a reserved word in strict mode code");
            return Err(self.strict(mark, "sec-keywords-and-reserved-words", message));
        }
        if crate::parser::is_reserved(&name) {
            let message = format!("the reserved word `{name}` is no name of a variable");
            return Err(self.syntax(mark, "sec-keywords-and-reserved-words", message));
        }
        Ok(atom)
    }

    /// A getter or setter behind `get` or `set` ( object -- object )
    #[inline(never)]
    fn accessor(&mut self, f: &mut Function<'_>, accessor: Accessor) -> Parsed<()> {
        let mark = self.token.mark;
        let key = self.property_name(f)?;
        let parameters = self.token.mark;
        let id = self.function(f, mark, FunctionKind::Method, None, false)?;
        self.check_accessor(id, accessor, parameters)?;
        let key = self.settle_home(f, id, key);
        let operand = self.closure(f, id, mark);
        self.name_after_key(f, operand, key, Some(accessor));
        self.tell_home(f, id);
        match accessor {
            Accessor::Get => self.define(f, key, Op::InitGetter, Op::InitGetterAt),
            Accessor::Set => self.define(f, key, Op::InitSetter, Op::InitSetterAt),
        }
        Ok(())
    }

    /// An anonymous function gets the name of its key: while compiling, if that is
    /// known then ( function -- function ), or ( key function -- key function )
    pub(crate) fn name_after_key(
        &mut self,
        f: &mut Function<'_>,
        operand: Operand,
        key: Key,
        accessor: Option<Accessor>,
    ) {
        let Some(name) = key.name() else {
            if let Operand::Closure(_) = operand {
                f.op_with(Op::NameFunction, accessor.map_or(0, |accessor| accessor as i32 + 1));
            }
            return;
        };
        let name = match accessor {
            None => name,
            Some(accessor) => {
                let prefix = if accessor == Accessor::Get { "get" } else { "set" };
                let name = format!("{prefix} {}", self.atoms.show(name));
                self.atoms.intern(&name)
            }
        };
        self.name_closure(operand, name);
    }

    /// A getter has no parameter, a setter one.
    pub(crate) fn check_accessor(
        &mut self,
        id: Closed,
        accessor: Accessor,
        mark: Mark,
    ) -> Parsed<()> {
        let (wanted, message) = match accessor {
            Accessor::Get => (0, "a getter has no parameter"),
            Accessor::Set => (1, "a setter has one parameter"),
        };
        let is_wrong = self.output.functions.n_params(id) != wanted || self.had_rest;
        if is_wrong && !self.has_errors() {
            return Err(self.syntax(mark, "sec-method-definitions", message));
        }
        Ok(())
    }

    /// PropertyName ( -- ) or, where it is computed or a number, ( -- key )
    pub(crate) fn property_name(&mut self, f: &mut Function<'_>) -> Parsed<Key> {
        let token = self.token;
        match token.kind {
            Kind::Text => {
                self.advance();
                let atom = self.text_atom(token)?;
                if self.atoms.is_index_like(atom) {
                    self.push_text(f, atom);
                    return Ok(Key::Pushed(Some(atom)));
                }
                Ok(Key::Name(atom))
            }
            Kind::Number => {
                let number = literal::number(self.text_of(token.mark));
                let number = number.map_err(|_| self.expected("a property name"))?;
                self.advance();
                self.push_number(f, number);
                // The name of a small integer is its digits; that of another
                // number would take the run time's conversion.
                let name = narrow::small_int(number).map(|int| self.atoms.intern(&int.to_string()));
                Ok(Key::Pushed(name))
            }
            Kind::LeftBracket => {
                self.advance();
                let operand = self.assignment_expression(f, false)?;
                self.value(f, operand);
                self.expect(Kind::RightBracket, "`]`")?;
                self.settle_key(f, Place::At);
                Ok(Key::Pushed(None))
            }
            Kind::BigInt => {
                let clause = "sec-ecmascript-language-types-bigint-type";
                Err(self.unsupported(token.mark, clause, "a BigInt literal"))
            }
            Kind::LegacyNumber => Err(self.strict(
                token.mark,
                "sec-numeric-literals-early-errors",
                "a number other than 0 cannot begin with 0 in strict mode code",
            )),
            _ => Ok(Key::Name(self.identifier_name("a property name")?.0)),
        }
    }

    /// Only `__proto__: value` sets the prototype: in every other form the name
    /// is a key like others, and goes the way of computed keys.
    fn settle_proto(&mut self, f: &mut Function<'_>, key: Key) -> Key {
        match key {
            Key::Name(Atom::PROTO) => {
                self.push_text(f, Atom::PROTO);
                Key::Pushed(Some(Atom::PROTO))
            }
            key => key,
        }
    }

    /// The key of a method that asks for `super` is pushed, be it a name.
    fn settle_home(&mut self, f: &mut Function<'_>, id: Closed, key: Key) -> Key {
        match key {
            Key::Name(atom) if self.is_linked(id) => {
                self.push_text(f, atom);
                Key::Pushed(Some(atom))
            }
            key => key,
        }
    }

    /// ( object key function -- object key function ) of such a method.
    fn tell_home(&mut self, f: &mut Function<'_>, id: Closed) {
        if self.is_linked(id) {
            f.op(Op::SetHome);
        }
    }

    /// ( object value -- object ) or, with the key pushed, ( object key value -- object )
    fn define(&mut self, f: &mut Function<'_>, key: Key, named: Op, pushed: Op) {
        match key {
            Key::Name(atom) => self.field_op(f, named, atom),
            Key::Pushed(_) => f.op(pushed),
        }
    }
}

/// Whether the word can stand for a property and a variable at once; reserved
/// ones are complained of by name.
fn is_shorthand(kind: Kind) -> bool {
    kind.is_identifier_name()
}
