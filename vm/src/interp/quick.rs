//! Quick forms, and the followers that are carried out with them.
//!
//! A quick form is what an instruction does in the usual case, on the registers
//! and the stack alone: small integers, slots, jumps. It refuses whatever may
//! allocate, call or throw, and answers nothing where the case is not the usual
//! one: then the handler does it all.
//!
//! A follower is an instruction with a quick form that often stands behind
//! another. The arm of its leader looks for it and carries it out at one go: the
//! same instructions, counted as such, less a jump through the table each, and
//! with the value between them still in a register.

use core::marker::PhantomData;

use super::At;
use crate::heap::raw::code_byte;
use crate::host::Observer;
use crate::layout::Layout;
use crate::value::Value;
use scruple_bytecode::operand::{Displacement, Int, Slot};
use scruple_bytecode::{Decoder, Op, Opcode};

impl<L: Layout> At<L> {
    /// The value in a slot.
    #[inline(always)]
    pub(crate) fn get(self, slot: usize) -> Value<L> {
        Value(self.mem.get(slot))
    }

    #[inline(always)]
    pub(crate) fn set(self, slot: usize, value: Value<L>) {
        self.mem.set(slot, value.0);
    }

    /// The value at a depth of the operand stack, the top being 0.
    #[inline(always)]
    pub(crate) fn peek(self, depth: usize) -> Value<L> {
        self.get(self.sp + depth)
    }

    #[inline(always)]
    pub(crate) fn put(self, value: Value<L>) -> Self {
        self.set(self.sp - 1, value);
        At { sp: self.sp - 1, ..self }
    }

    /// Takes `taken` values and pushes one.
    #[inline(always)]
    pub(crate) fn replace(self, taken: usize, value: Value<L>) -> Self {
        let sp = self.sp + taken - 1;
        self.set(sp, value);
        At { sp, ..self }
    }

    #[inline(always)]
    pub(super) fn jump(self, to: Displacement) -> Self {
        At { pc: self.pc.wrapping_add_signed(to.get() as isize), ..self }
    }

    #[inline(always)]
    pub(super) fn load_slot(self, slot: Slot) -> Self {
        self.put(self.get(self.fp - slot.index()))
    }

    #[inline(always)]
    pub(super) fn store_slot(self, slot: Slot) -> Self {
        self.set(self.fp - slot.index(), self.peek(0));
        At { sp: self.sp + 1, ..self }
    }

    #[inline(always)]
    pub(super) fn add(self) -> Option<Self> {
        let sum = L::add_ints(self.peek(1).0, self.peek(0).0)?;
        Some(self.replace(2, Value(sum)))
    }

    #[inline(always)]
    pub(super) fn subtract(self) -> Option<Self> {
        let difference = L::subtract_ints(self.peek(1).0, self.peek(0).0)?;
        Some(self.replace(2, Value(difference)))
    }

    #[inline(always)]
    pub(super) fn increment(self) -> Option<Self> {
        let sum = L::add_ints(self.peek(0).0, Value::<L>::small(1).0)?;
        Some(self.replace(1, Value(sum)))
    }

    #[inline(always)]
    pub(super) fn decrement(self) -> Option<Self> {
        let difference = L::subtract_ints(self.peek(0).0, Value::<L>::small(1).0)?;
        Some(self.replace(1, Value(difference)))
    }

    /// An operation on the bits of two small integers.
    #[inline(always)]
    pub(super) fn bits(self, f: impl Fn(i32, i32) -> i32) -> Option<Self> {
        let (x, y) = L::both_ints(self.peek(1).0, self.peek(0).0)?;
        Some(self.replace(2, Value::int(f(x, y))?))
    }

    /// A comparison of two small integers.
    #[inline(always)]
    pub(super) fn compare(self, f: impl Fn(i32, i32) -> bool) -> Option<Self> {
        let (x, y) = L::both_ints(self.peek(1).0, self.peek(0).0)?;
        Some(self.replace(2, Value::boolean(f(x, y))))
    }

    /// A branch on a Boolean.
    #[inline(always)]
    pub(super) fn branch_if(self, wanted: bool, to: Displacement) -> Option<Self> {
        let truth = self.peek(0);
        let at = At { sp: self.sp + 1, ..self };
        if truth == Value::boolean(wanted) {
            Some(at.jump(to))
        } else if truth == Value::boolean(!wanted) {
            Some(at)
        } else {
            None
        }
    }
}

/// Carries out an operation in its quick form, if this is the usual case.
#[inline(always)]
pub(super) fn quick<L: Layout, A: Opcode>(at: At<L>, bits: u32, zigzag: bool) -> Option<At<L>> {
    match const { Op::from_opcode(A::OPCODE) }? {
        Op::LoadSlot => Some(at.load_slot(Slot::from_bits(bits, zigzag))),
        Op::StoreSlot => Some(at.store_slot(Slot::from_bits(bits, zigzag))),
        Op::PushInt => Some(at.put(Value::small(Int::from_bits(bits, zigzag).get()))),
        Op::Add => at.add(),
        Op::Subtract => at.subtract(),
        Op::Increment => at.increment(),
        Op::Decrement => at.decrement(),
        Op::BitAnd => at.bits(|a, b| a & b),
        Op::BitOr => at.bits(|a, b| a | b),
        Op::BitXor => at.bits(|a, b| a ^ b),
        Op::Less => at.compare(|a, b| a < b),
        Op::LessEqual => at.compare(|a, b| a <= b),
        Op::Greater => at.compare(|a, b| a > b),
        Op::GreaterEqual => at.compare(|a, b| a >= b),
        Op::StrictEqual | Op::Equal => at.compare(|a, b| a == b),
        Op::StrictNotEqual | Op::NotEqual => at.compare(|a, b| a != b),
        Op::Branch => Some(at.jump(Displacement::from_bits(bits, zigzag))),
        Op::BranchTrue => at.branch_if(true, Displacement::from_bits(bits, zigzag)),
        Op::BranchFalse => at.branch_if(false, Displacement::from_bits(bits, zigzag)),
        _ => None,
    }
}

/// What is looked for behind an operation, the likeliest first. [`Op::Trap`] is
/// none.
///
/// The pairs are among the commonest ones of `bench/yardstick` and
/// `samples/kernels`. User milliseconds of `examples/once` on `bench/yardstick`,
/// least of twelve runs by turns: fib, loop, sieve took 149, 122, 114 with the
/// comparisons alone and 147, 80, 82 with these; 166, 112, 103 with three for an
/// operation and one behind each of them, for what is looked for in vain costs too
/// and every arm grows. So calls gain nothing by it, loops do. The three were
/// builds of one encoding; with all four, loop took 93 in that run and 77 in
/// another. The list was chosen on these same scripts, as the best of five.
const fn followers(opcode: u8) -> [Op; N_FOLLOWERS] {
    use Op::*;
    let Some(op) = Op::from_opcode(opcode) else { return [Trap; N_FOLLOWERS] };
    match op {
        Less | LessEqual | Greater | GreaterEqual | Equal | NotEqual | StrictEqual
        | StrictNotEqual => [BranchTrue, BranchFalse],
        LoadSlot => [LoadSlot, PushInt],
        LoadGlobal | BranchTrue => [LoadSlot, Trap],
        Increment | Add => [StoreSlot, Trap],
        _ => [Trap; N_FOLLOWERS],
    }
}

/// The most followers that are looked for.
const N_FOLLOWERS: usize = 2;

/// The follower of a leader by number.
struct Follower<A, const N: usize>(PhantomData<A>);

impl<A: Opcode, const N: usize> Opcode for Follower<A, N> {
    const OPCODE: u8 = followers(A::OPCODE)[N] as u8;
}

/// What the instruction behind a leader is carried out with.
pub(super) struct Trail<'a, L, D, O: Observer> {
    pub(super) code: &'a [u8],
    pub(super) count: &'a mut O::Tally,
    pub(super) kinds: PhantomData<(L, D)>,
}

impl<L: Layout, D: Decoder, O: Observer> Trail<'_, L, D, O> {
    /// Carries out the follower of a leader, if it is one that is looked for.
    #[inline(always)]
    pub(super) fn follow<A: Opcode>(&mut self, at: At<L>) -> At<L> {
        if let Some(at) = self.carry_out::<Follower<A, 0>>(at) {
            return at;
        }
        self.carry_out::<Follower<A, 1>>(at).unwrap_or(at)
    }

    /// Carries out the next instruction if it is that operation, in its quick
    /// form.
    #[inline(always)]
    fn carry_out<A: Opcode>(&mut self, at: At<L>) -> Option<At<L>> {
        if const { A::OPCODE == Op::Trap as u8 } {
            return None;
        }
        let (bits, next) = D::expect::<A>(code_byte(self.code, at.pc), self.code, at.pc)?;
        let fuel = at.fuel.checked_sub(1)?;
        let after = quick::<L, A>(At { pc: next, fuel, ..at }, bits, D::ZIGZAG)?;
        O::count(self.count, next - at.pc);
        Some(after)
    }
}
