//! The draft of an open function: a list of 32-bit words in the form of the
//! `word` encoding (opcode in 8 bits, operand in 24) whose operands are still
//! symbolic, with private words between them for what only the sweep can decide.
//!
//! It owns how words are packed and what the private ones mean. It refuses to
//! decide anything: `sweep` turns the draft into instructions.
//!
//! A draft rather than final bytes with patches, because whether a variable is
//! captured, checked or global shows only behind its uses, and each of those
//! makes another instruction, of another length.

use scruple_bytecode::operand::OperandKind;
use scruple_bytecode::ops::Op;

use crate::narrow;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
        pub(crate) struct $name(pub(crate) u32);
    )*};
}

ids! {
    /// A variable record of the open function.
    VarId;
    /// A scope of the open function.
    ScopeId;
    /// A label of the open function.
    LabelId;
    /// A guarded range of the open function.
    GuardId;
    /// A reordering of the open function's draft.
    OrderId;
}

/// A use of a variable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Use {
    pub(crate) var: VarId,
    /// Whether it stands before the end of its declaration, as far as the
    /// declaration was known at the use.
    pub(crate) is_early: bool,
}

/// A word of the draft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Word {
    /// An operation; a branch's operand is a label.
    Op(Op, i32),
    /// The draft or a segment of it ends.
    End,
    /// Segments follow, to be emitted in another order than they stand in.
    Order(OrderId),
    /// A label is here.
    Label(LabelId),
    /// The line of what follows.
    Line(u32),
    /// The column of what follows: together with the line, its position.
    Column(u32),
    /// A guarded range begins.
    GuardStart(GuardId),
    /// A guarded range ends.
    GuardEnd(GuardId),
    /// A scope is entered: boxes, marks of the dead zone, hoisted functions.
    Enter(ScopeId),
    /// A loop goes into its next turn: new boxes with the old values.
    Renew(ScopeId),
    /// ( -- value )
    Load(Use),
    /// ( -- value ), undefined where there is no such binding.
    LoadSoft(Use),
    /// ( value -- )
    Store(Use),
    /// ( value -- value )
    Keep(Use),
    /// ( value -- ), and the variable is initialised.
    Init(VarId),
    /// ( value -- value ), and the variable, uninitialised so far, has it.
    Bind(Use),
    /// Nothing: a place held for a word that proved needless.
    Nothing,
}

const END: u8 = 0xf0;
const ORDER: u8 = 0xf1;
const LABEL: u8 = 0xf2;
const LINE: u8 = 0xf3;
const COLUMN: u8 = 0xf4;
const GUARD_START: u8 = 0xf5;
const GUARD_END: u8 = 0xf6;
const ENTER: u8 = 0xf7;
const RENEW: u8 = 0xf8;
const LOAD: u8 = 0xf9;
const LOAD_SOFT: u8 = 0xfa;
const STORE: u8 = 0xfb;
const KEEP: u8 = 0xfc;
const INIT: u8 = 0xfd;
const NOTHING: u8 = 0xfe;
const BIND: u8 = 0xff;

const _: () = assert!(Op::COUNT <= END as usize);

impl Word {
    pub(crate) fn pack(self) -> u32 {
        let (opcode, operand) = match self {
            Word::Op(op, operand) => (op as u8, operand as u32),
            Word::End => (END, 0),
            Word::Order(OrderId(n)) => (ORDER, n),
            Word::Label(LabelId(n)) => (LABEL, n),
            Word::Line(n) => (LINE, n),
            Word::Column(n) => (COLUMN, n),
            Word::GuardStart(GuardId(n)) => (GUARD_START, n),
            Word::GuardEnd(GuardId(n)) => (GUARD_END, n),
            Word::Enter(ScopeId(n)) => (ENTER, n),
            Word::Renew(ScopeId(n)) => (RENEW, n),
            Word::Load(site) => (LOAD, site.pack()),
            Word::LoadSoft(site) => (LOAD_SOFT, site.pack()),
            Word::Store(site) => (STORE, site.pack()),
            Word::Keep(site) => (KEEP, site.pack()),
            Word::Init(VarId(n)) => (INIT, n),
            Word::Bind(site) => (BIND, site.pack()),
            Word::Nothing => (NOTHING, 0),
        };
        operand << 8 | u32::from(opcode)
    }

    pub(crate) fn unpack(word: u32) -> Word {
        let opcode = narrow::low_byte(word);
        let n = word >> 8;
        if let Some(op) = Op::from_opcode(opcode) {
            return match op.info().operand {
                // The shift of a signed word copies the operand's sign.
                OperandKind::Int => Word::Op(op, word as i32 >> 8),
                _ => Word::Op(op, narrow::to_operand(n)),
            };
        }
        match opcode {
            ORDER => Word::Order(OrderId(n)),
            LABEL => Word::Label(LabelId(n)),
            LINE => Word::Line(n),
            COLUMN => Word::Column(n),
            GUARD_START => Word::GuardStart(GuardId(n)),
            GUARD_END => Word::GuardEnd(GuardId(n)),
            ENTER => Word::Enter(ScopeId(n)),
            RENEW => Word::Renew(ScopeId(n)),
            LOAD => Word::Load(Use::unpack(n)),
            LOAD_SOFT => Word::LoadSoft(Use::unpack(n)),
            STORE => Word::Store(Use::unpack(n)),
            KEEP => Word::Keep(Use::unpack(n)),
            INIT => Word::Init(VarId(n)),
            BIND => Word::Bind(Use::unpack(n)),
            NOTHING => Word::Nothing,
            _ => Word::End,
        }
    }
}

impl Use {
    fn pack(self) -> u32 {
        self.var.0 << 1 | u32::from(self.is_early)
    }

    fn unpack(n: u32) -> Use {
        Use { var: VarId(n >> 1), is_early: n & 1 != 0 }
    }
}

/// A label.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Label {
    /// The draft index behind its word.
    pub(crate) place: u32,
    /// Whether branches behind it may lead back to it.
    pub(crate) is_backward: bool,
    /// Where the sweep puts it: bytes of instructions before it without
    /// branches, and how many branches those are.
    pub(crate) bytes: u32,
    pub(crate) n_branches: u32,
    /// How many live branches and guards lead to it.
    pub(crate) n_refs: u32,
}

/// A guarded range.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Guard {
    pub(crate) handler: LabelId,
    /// The sweep's mark of where it begins.
    pub(crate) start: (u32, u32),
}

/// Segments of the draft in the order they are to be emitted in.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Order {
    /// The first segment plus one, or 0.
    pub(crate) first: u32,
    /// The last segment plus one, or 0.
    pub(crate) last: u32,
    /// The draft index behind all of them.
    pub(crate) resume: u32,
}

/// One stretch of the draft, up to its [`Word::End`].
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Segment {
    pub(crate) start: u32,
    /// The next segment plus one, or 0.
    pub(crate) next: u32,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unpacking_undoes_packing() {
        let site = Use { var: VarId(7), is_early: true };
        for word in [
            Word::Op(Op::PushInt, -3),
            Word::Op(Op::PushConst, 0xff_ffff),
            Word::Op(Op::Add, 0),
            Word::End,
            Word::Order(OrderId(1)),
            Word::Label(LabelId(2)),
            Word::Line(3),
            Word::Column(4),
            Word::GuardStart(GuardId(5)),
            Word::GuardEnd(GuardId(6)),
            Word::Enter(ScopeId(7)),
            Word::Renew(ScopeId(8)),
            Word::Load(site),
            Word::LoadSoft(Use { is_early: false, ..site }),
            Word::Store(site),
            Word::Keep(site),
            Word::Init(VarId(9)),
            Word::Bind(site),
            Word::Nothing,
        ] {
            assert_eq!(Word::unpack(word.pack()), word);
        }
    }
}
