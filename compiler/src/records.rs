//! What is noted of a name, a scope and a declared function while a function is open.
//!
//! It refuses to look a name up or to settle one: that is `variables`.

use crate::atoms::Atom;
use crate::draft::{ScopeId, VarId};

/// What a record is known to be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum State {
    /// A name used, not declared so far.
    #[default]
    Unknown,
    /// The same as another record of this function: `link` is its number.
    Merged,
    /// A parameter. From here to `OwnName`, `link` counts within the scope.
    Param,
    Var,
    Function,
    Let,
    Const,
    /// A catch parameter.
    Catch,
    /// A temporary no name leads to.
    Hidden,
    /// The this value of a function whose arrow functions ask for it.
    This,
    /// The arguments object.
    Arguments,
    /// The object that a method is defined in, for the arrow functions in it.
    Home,
    /// What `new` was applied to.
    Target,
    /// The running function, for the arrow functions in it.
    Callee,
    /// The name of a function expression.
    OwnName,
    /// Free in the function: `link` is the number of the free variable.
    Free,
    /// A global: `link` is its number.
    Global,
    /// The global `undefined`, which nothing can change.
    Undefined,
}

impl State {
    pub(crate) fn is_lexical(self) -> bool {
        matches!(self, State::Let | State::Const | State::Function)
    }
}

/// One name in one scope.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Record {
    pub(crate) atom: Atom,
    pub(crate) state: State,
    pub(crate) flags: u8,
    pub(crate) scope: ScopeId,
    pub(crate) link: u32,
    /// Offset of the first assignment plus one, or 0.
    pub(crate) written: u32,
    /// What the atom's current record was before.
    pub(crate) shadowed: u32,
    /// The next record of the scope plus one, or 0.
    pub(crate) next: u32,
}

/// A function inside captures it: it lives in a box.
pub(crate) const CAPTURED: u8 = 1;
/// Some use may run before the variable is initialised.
pub(crate) const EARLY: u8 = 2;
/// Its initialiser stands before what follows.
pub(crate) const READY: u8 = 4;
/// A merged record whose uses all run after the variable is initialised.
pub(crate) const SAFE: u8 = 8;
/// A `var` of this name passes through the scope.
pub(crate) const VAR_PASSES: u8 = 16;
/// As far as the enclosing text tells, the name is that of a constant.
pub(crate) const SEEMS_CONST: u8 = 32;

/// Bit of an atom's current record: it is a constant's, as far as known.
pub(crate) const CONST_BIT: u32 = 1 << 31;

/// A scope.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Scope {
    pub(crate) parent: ScopeId,
    /// First and last record plus one, or 0.
    pub(crate) first: u32,
    pub(crate) last: u32,
    /// How many slots its own variables take, and where those begin.
    pub(crate) n_slots: u32,
    pub(crate) first_slot: u32,
    /// First and last hoisted function plus one, or 0.
    pub(crate) first_hoisted: u32,
    pub(crate) last_hoisted: u32,
    /// The operand-stack depth it is entered at.
    pub(crate) depth: u32,
    /// Whether text order says nothing of time: a switch.
    pub(crate) is_unordered: bool,
}

/// A function declaration, instantiated where its scope is entered.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Hoisted {
    pub(crate) var: VarId,
    pub(crate) function: u32,
    pub(crate) line: u32,
    pub(crate) column: u32,
    /// The next one of the scope plus one, or 0.
    pub(crate) next: u32,
}

/// A name is declared already in a way that excludes the new one.
#[derive(Debug)]
pub(crate) struct Conflict;

/// Where a variable turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Found {
    pub(crate) var: VarId,
    pub(crate) record_state: State,
    pub(crate) is_captured: bool,
    /// Whether this use may run before the variable is initialised.
    pub(crate) needs_check: bool,
    /// Slot, free variable or global, by the state.
    pub(crate) number: u32,
}
