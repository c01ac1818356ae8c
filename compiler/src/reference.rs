//! Operands that are not yet on the stack: a reference, a literal or a store
//! stays pending until what follows shows whether it is read, written, called,
//! deleted or dropped.
//!
//! It owns the instructions each of those ends makes. It refuses grammar.

use scruple_bytecode::ops::Op;

use crate::atoms::Atom;
use crate::closed::Closed;
use crate::draft::{LabelId, Word};
use crate::exits::plain;
use crate::function::Function;
use crate::narrow;
use crate::parser::{Parsed, Parser};
use crate::token::Mark;

/// What an assignment can write to. Its own operands, if any, are on the stack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Place {
    /// A name: nothing on the stack.
    Name(Atom),
    /// A property by name: ( object ) is on the stack.
    Field(Atom),
    /// A property by key: ( object key ) are on the stack.
    At,
    /// A property of `super`: ( this key base ) are on the stack.
    Super,
}

impl Place {
    pub(crate) fn is_name(self) -> bool {
        matches!(self, Place::Name(_))
    }
}

/// The result of an expression so far.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Operand {
    /// The value is on the stack.
    Value,
    /// So it is: a function that has no name of its own yet.
    Closure(Closed),
    /// A number not on the stack yet.
    Number(f64),
    /// A string not on the stack yet.
    Text(Atom),
    /// A reference.
    Place(Place, Mark),
    /// The value is on the stack above the place's operands, not written yet.
    Stored(Place, Mark),
    /// The place is to be stepped by one, its old value being the result.
    Stepped(Place, Mark, Op),
    /// A reference at the end of an optional chain; branches to the label leave
    /// undefined instead of the place.
    Chain(Place, Mark, LabelId),
    /// A pattern was assigned. The value is on the stack because of the `dup` at
    /// this place of the draft, which goes where nobody needs the value.
    Assigned(u32),
}

impl Parser<'_, '_> {
    /// ( -- value ): the operand's value, whatever it was.
    pub(crate) fn value(&mut self, f: &mut Function<'_>, operand: Operand) {
        match operand {
            Operand::Value | Operand::Closure(_) | Operand::Assigned(_) => {}
            Operand::Number(number) => self.push_number(f, number),
            Operand::Text(atom) => self.push_text(f, atom),
            Operand::Place(place, mark) => self.read(f, place, mark),
            Operand::Stored(place, mark) => self.keep(f, place, mark),
            Operand::Chain(place, mark, end) => {
                self.read(f, place, mark);
                f.bind(end);
                self.note_chain(f, end);
            }
            Operand::Stepped(place, mark, op) => {
                self.duplicate(f, place);
                self.read(f, place, mark);
                f.op(Op::ToNumber);
                f.op(match place {
                    Place::Name(_) => Op::Dup,
                    Place::Field(_) => Op::Tuck,
                    Place::At => Op::TuckPair,
                    Place::Super => {
                        // Too deep for one of those: it waits elsewhere.
                        let old = f.declare_hidden();
                        f.word_with_effect(Word::Keep(plain(old)), 1, 1);
                        f.op(op);
                        self.write(f, place, mark);
                        f.word_with_effect(Word::Load(plain(old)), 0, 1);
                        return;
                    }
                });
                f.op(op);
                self.write(f, place, mark);
            }
        }
    }

    /// ( -- ): the operand is evaluated for what it does.
    pub(crate) fn discard(&mut self, f: &mut Function<'_>, operand: Operand) {
        match operand {
            Operand::Number(_) | Operand::Text(_) => {}
            Operand::Assigned(dup) => {
                f.draft.set(dup, Word::Nothing.pack());
                f.set_depth(f.depth - 1);
            }
            Operand::Stored(place, mark) => self.write(f, place, mark),
            Operand::Stepped(place, mark, op) => {
                self.duplicate(f, place);
                self.read(f, place, mark);
                f.op(op);
                self.write(f, place, mark);
            }
            operand => {
                self.value(f, operand);
                f.op(Op::Drop);
                // Where the drop was the last step of a condition, branches to
                // it can go straight behind it.
                let behind = f.label();
                f.bind(behind);
            }
        }
    }

    /// ( place -- place place ): its operands, for a read before a write.
    pub(crate) fn duplicate(&mut self, f: &mut Function<'_>, place: Place) {
        match place {
            Place::Name(_) => {}
            Place::Field(_) => f.op(Op::Dup),
            Place::At => f.op(Op::DupPair),
            Place::Super => f.op(Op::CopySuper),
        }
    }

    /// ( place -- value )
    pub(crate) fn read(&mut self, f: &mut Function<'_>, place: Place, mark: Mark) {
        f.at(mark);
        match place {
            Place::Name(atom) => {
                let site = f.use_site(&mut self.atoms, atom);
                f.word_with_effect(Word::Load(site), 0, 1);
            }
            Place::Field(atom) => self.field_op(f, Op::ReadField, atom),
            Place::At => f.op(Op::ReadAt),
            Place::Super => f.op(Op::ReadSuper),
        }
    }

    /// ( -- string ): the type of a name's value, which need not exist.
    pub(crate) fn read_softly(&mut self, f: &mut Function<'_>, atom: Atom, mark: Mark) {
        f.at(mark);
        let site = f.use_site(&mut self.atoms, atom);
        f.word_with_effect(Word::LoadSoft(site), 0, 1);
    }

    /// ( place value -- )
    pub(crate) fn write(&mut self, f: &mut Function<'_>, place: Place, mark: Mark) {
        f.at(mark);
        match place {
            Place::Name(atom) => {
                let site = f.use_site(&mut self.atoms, atom);
                f.note_write(site.var, mark);
                f.word_with_effect(Word::Store(site), 1, 0);
            }
            Place::Field(atom) => self.field_op(f, Op::WriteField, atom),
            Place::At => f.op(Op::WriteAt),
            Place::Super => {
                f.op(Op::KeepSuper);
                f.op(Op::Drop);
            }
        }
    }

    /// ( place value -- value )
    fn keep(&mut self, f: &mut Function<'_>, place: Place, mark: Mark) {
        f.at(mark);
        match place {
            Place::Name(atom) => {
                let site = f.use_site(&mut self.atoms, atom);
                f.note_write(site.var, mark);
                f.word_with_effect(Word::Keep(site), 1, 1);
            }
            Place::Field(atom) => self.field_op(f, Op::KeepField, atom),
            Place::At => f.op(Op::KeepAt),
            Place::Super => f.op(Op::KeepSuper),
        }
    }

    /// ( object key -- object key ): a key that is used twice is converted once.
    pub(crate) fn settle_key(&mut self, f: &mut Function<'_>, place: Place) {
        let is_plain = matches!(f.last_word(), Word::Op(Op::PushInt | Op::PushConst, _));
        if place == Place::At && !is_plain {
            f.op(Op::ToKey);
        }
    }

    /// An operation whose operand is a property or variable name.
    pub(crate) fn field_op(&mut self, f: &mut Function<'_>, op: Op, atom: Atom) {
        let constant = self.atoms.constant(atom);
        f.op_with(op, narrow::to_operand(constant));
    }

    /// ( -- string )
    pub(crate) fn push_text(&mut self, f: &mut Function<'_>, atom: Atom) {
        self.field_op(f, Op::PushConst, atom);
    }

    /// ( -- number )
    pub(crate) fn push_number(&mut self, f: &mut Function<'_>, number: f64) {
        match narrow::small_int(number) {
            Some(int) => f.op_with(Op::PushInt, int),
            None => {
                let atom = self.atoms.intern_number(number);
                self.field_op(f, Op::PushConst, atom);
            }
        }
    }

    /// The operand as a place to write to, or a complaint that it is none.
    pub(crate) fn target(
        &mut self,
        operand: Operand,
        mark: Mark,
        clause: &'static str,
    ) -> Parsed<(Place, Mark)> {
        match operand {
            Operand::Place(place, mark) => {
                if let Place::Name(atom) = place {
                    self.check_bindable(atom, mark)?;
                }
                Ok((place, mark))
            }
            _ => Err(self.syntax(mark, clause, "this is no target that a value can be given to")),
        }
    }

    /// Gives a function without a name the name it is bound to.
    pub(crate) fn name_closure(&mut self, operand: Operand, name: Atom) {
        if let Operand::Closure(id) = operand {
            self.output.functions.set_name(id, Some(name));
        }
    }
}
