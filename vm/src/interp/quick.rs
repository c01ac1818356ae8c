//! Quick forms, and the followers that are carried out with them.
//!
//! A quick form is what an instruction does in the usual case: small integers,
//! slots, jumps, elements of plain arrays, frames of the running image. It refuses
//! the rest, and whatever may throw or call out, and answers nothing then: the
//! handler does it all. What it calls out of line takes and gives values, never the
//! registers: a reference to those would put them into memory in every arm.
//!
//! A follower is an instruction with a quick form that often stands behind
//! another. The arm of its leader looks for it and carries it out at one go: the
//! same instructions, counted as such, less a jump through the table each, and
//! with the value between them still in a register.

use core::marker::PhantomData;

use super::{At, burn};
use crate::Host;
use crate::heap::raw::Window;
use crate::host::Observer;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::encoding::VerifiedCode;
use scruple_bytecode::operand::{Argc, Displacement, FieldId, GlobalId, Int, Slot};
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
        Some(self.replace(2, self.peek(1).sum(self.peek(0))?))
    }

    #[inline(always)]
    pub(super) fn subtract(self) -> Option<Self> {
        Some(self.replace(2, self.peek(1).difference(self.peek(0))?))
    }

    #[inline(always)]
    pub(super) fn multiply(self) -> Option<Self> {
        Some(self.replace(2, self.peek(1).product(self.peek(0))?))
    }

    #[inline(always)]
    pub(super) fn remainder(self) -> Option<Self> {
        Some(self.replace(2, self.peek(1).small_remainder(self.peek(0))?))
    }

    #[inline(always)]
    pub(super) fn increment(self) -> Option<Self> {
        Some(self.replace(1, self.peek(0).sum(Value::small(1))?))
    }

    #[inline(always)]
    pub(super) fn decrement(self) -> Option<Self> {
        Some(self.replace(1, self.peek(0).difference(Value::small(1))?))
    }

    /// An operation on the bits of two small integers.
    #[inline(always)]
    pub(super) fn bits(self, f: impl Fn(i32, i32) -> i32) -> Option<Self> {
        let (x, y) = L::both_ints(self.peek(1).0, self.peek(0).0)?;
        Some(self.replace(2, Value::int(f(x, y))?))
    }

    /// Whether a comparison holds of two small integers; nothing where they are something
    /// else, or the operation is.
    #[inline(always)]
    pub(super) fn holds(self, op: Op) -> Option<bool> {
        let (x, y) = L::int_order(self.peek(1).0, self.peek(0).0)?;
        match op {
            Op::Less => Some(x < y),
            Op::LessEqual => Some(x <= y),
            Op::Greater => Some(x > y),
            Op::GreaterEqual => Some(x >= y),
            Op::StrictEqual | Op::Equal => Some(x == y),
            Op::StrictNotEqual | Op::NotEqual => Some(x != y),
            _ => None,
        }
    }

    #[inline(always)]
    fn compare(self, op: Op) -> Option<Self> {
        Some(self.replace(2, Value::boolean(self.holds(op)?)))
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

impl<L: Layout, H: Host> Vm<'_, L, H> {
    #[inline(always)]
    fn quick_load_global(&mut self, at: At<L>, global: GlobalId) -> Option<At<L>> {
        let value = at.get(self.global_slot(global));
        if value.is_marker() { None } else { Some(at.put(value)) }
    }

    /// An operation on two numbers of any kind. What is out of line here takes and
    /// gives values, no registers: see [`Vm::handle`].
    #[inline(always)]
    fn quick_numbers(&mut self, at: At<L>, f: impl Fn(f64, f64) -> f64) -> Option<At<L>> {
        // The result may need memory, and its collector the stack.
        self.heap.sp = at.sp;
        Some(at.replace(2, self.number_of(at.peek(1), at.peek(0), f)?))
    }

    #[inline(never)]
    fn number_of(
        &mut self,
        a: Value<L>,
        b: Value<L>,
        f: impl Fn(f64, f64) -> f64,
    ) -> Option<Value<L>> {
        let (a, b) = (self.as_number(a)?, self.as_number(b)?);
        self.number(f(a, b)).ok()
    }

    /// A comparison of two numbers of any kind.
    #[inline(always)]
    fn quick_order(&self, at: At<L>, f: impl Fn(f64, f64) -> bool) -> Option<At<L>> {
        let holds = self.number_order(at.peek(1), at.peek(0), f)?;
        Some(at.replace(2, Value::boolean(holds)))
    }

    #[inline(never)]
    fn number_order(&self, a: Value<L>, b: Value<L>, f: impl Fn(f64, f64) -> bool) -> Option<bool> {
        Some(f(self.as_number(a)?, self.as_number(b)?))
    }

    /// An element of an array, in its block.
    #[inline(always)]
    fn quick_read_at(&mut self, at: At<L>) -> Option<At<L>> {
        let value = self.quick_element(at.peek(1), at.peek(0).as_int()?)?;
        Some(at.replace(2, value))
    }

    #[inline(always)]
    fn quick_write_at(&mut self, at: At<L>) -> Option<At<L>> {
        self.quick_change(at.peek(2), at.peek(1).as_int()?, at.peek(0))?;
        Some(At { sp: at.sp + 3, ..at })
    }

    /// The method `push` of an array that has it from flash: a million look-ups of
    /// it were a tenth of the instructions of `bench/yardstick/sieve.js`.
    #[inline(always)]
    fn quick_method_field(&mut self, at: At<L>, field: FieldId) -> Option<At<L>> {
        if self.push != Some(field) {
            return None;
        }
        let array = at.peek(0);
        self.bare_elements(array)?;
        let push = Value::object(crate::builtins::ARRAY_PUSH?);
        Some(at.replace(1, push).put(array))
    }

    #[inline(always)]
    fn quick_call(&mut self, at: At<L>, argc: usize) -> Option<At<L>> {
        let closure = self.as_closure(at.peek(argc))?;
        let below = At { sp: at.sp - 1, ..at };
        let function = self.quick_frame(below, closure, argc)?;
        // A frame has a place for the this value above the arguments: they move
        // down by one. An instruction that pushes undefined first would cost more.
        for index in 0..argc {
            at.set(at.sp + index - 1, at.peek(index));
        }
        at.set(at.sp + argc - 1, Value::undefined());
        Some(self.quick_enter(below, function, argc))
    }

    #[inline(always)]
    fn quick_call_method(&mut self, at: At<L>, argc: usize) -> Option<At<L>> {
        let callee = at.peek(argc + 1);
        if argc == 1 && callee.as_object() == crate::builtins::ARRAY_PUSH {
            let length = self.push_quick(at.peek(1), at.peek(0))?;
            return Some(at.replace(3, length));
        }
        let closure = self.as_closure(callee)?;
        let function = self.quick_frame(at, closure, argc)?;
        Some(self.quick_enter(at, function, argc))
    }
}

/// Carries out an operation in its quick form, if it has one and this is the usual
/// case. In an arm the operation is a constant, and nothing is left of the choice.
#[inline(always)]
pub(super) fn quick<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    at: At<L>,
    op: Option<Op>,
    bits: u32,
    zigzag: bool,
) -> Option<At<L>> {
    let op = op?;
    match op {
        Op::PushUndefined => Some(at.put(Value::undefined())),
        Op::PushNull => Some(at.put(Value::null())),
        Op::PushTrue => Some(at.put(Value::boolean(true))),
        Op::PushFalse => Some(at.put(Value::boolean(false))),
        Op::Drop => Some(At { sp: at.sp + 1, ..at }),
        Op::Dup => Some(at.put(at.peek(0))),
        Op::KeepSlot => {
            at.set(at.fp - Slot::from_bits(bits, zigzag).index(), at.peek(0));
            Some(at)
        }
        Op::LoadThis => Some(at.put(at.get(at.fp + 1))),
        Op::LoadGlobal => vm.quick_load_global(at, GlobalId::from_bits(bits, zigzag)),
        Op::MethodField => vm.quick_method_field(at, FieldId::from_bits(bits, zigzag)),
        Op::ReadAt => vm.quick_read_at(at),
        Op::WriteAt => vm.quick_write_at(at),
        Op::Call => vm.quick_call(at, Argc::from_bits(bits, zigzag).index()),
        Op::CallMethod => vm.quick_call_method(at, Argc::from_bits(bits, zigzag).index()),
        Op::Return => vm.quick_leave(at, at.sp + 1, at.peek(0)),
        Op::ReturnUndefined => vm.quick_leave(at, at.sp, Value::undefined()),
        Op::LoadSlot => Some(at.load_slot(Slot::from_bits(bits, zigzag))),
        Op::StoreSlot => Some(at.store_slot(Slot::from_bits(bits, zigzag))),
        Op::PushInt => Some(at.put(Value::small(Int::from_bits(bits, zigzag).get()))),
        Op::Add => at.add().or_else(|| vm.quick_numbers(at, |a, b| a + b)),
        Op::Subtract => at.subtract().or_else(|| vm.quick_numbers(at, |a, b| a - b)),
        Op::Multiply => at.multiply().or_else(|| vm.quick_numbers(at, |a, b| a * b)),
        Op::Divide => vm.quick_numbers(at, |a, b| a / b),
        Op::Remainder => at.remainder(),
        Op::ShiftLeft => at.bits(|a, b| a.wrapping_shl(b as u32 & 31)),
        Op::ShiftRight => at.bits(|a, b| a.wrapping_shr(b as u32 & 31)),
        Op::Increment => at.increment(),
        Op::Decrement => at.decrement(),
        Op::BitAnd => at.bits(|a, b| a & b),
        Op::BitOr => at.bits(|a, b| a | b),
        Op::BitXor => at.bits(|a, b| a ^ b),
        Op::Less => at.compare(op).or_else(|| vm.quick_order(at, |a, b| a < b)),
        Op::LessEqual => at.compare(op).or_else(|| vm.quick_order(at, |a, b| a <= b)),
        Op::Greater => at.compare(op).or_else(|| vm.quick_order(at, |a, b| a > b)),
        Op::GreaterEqual => at.compare(op).or_else(|| vm.quick_order(at, |a, b| a >= b)),
        Op::StrictEqual | Op::Equal => at.compare(op),
        Op::StrictNotEqual | Op::NotEqual => at.compare(op),
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
/// `samples/kernels`. More of them were slower: what is looked for in vain costs
/// too, and every arm grows. The list was chosen on these same scripts.
const fn followers(opcode: u8) -> [Op; N_FOLLOWERS] {
    use Op::*;
    let Some(op) = Op::from_opcode(opcode) else { return [Trap; N_FOLLOWERS] };
    match op {
        LoadSlot => [LoadSlot, PushInt],
        LoadGlobal | BranchTrue => [LoadSlot, Trap],
        Increment | Add => [StoreSlot, Trap],
        CallMethod => [Drop, Trap],
        PushTrue | PushFalse => [WriteAt, Trap],
        _ => [Trap; N_FOLLOWERS],
    }
}

/// The most followers that are looked for.
const N_FOLLOWERS: usize = 2;

/// Whether an operation compares two values.
pub(super) const fn compares(op: Op) -> bool {
    matches!(
        op,
        Op::Less
            | Op::LessEqual
            | Op::Greater
            | Op::GreaterEqual
            | Op::StrictEqual
            | Op::StrictNotEqual
            | Op::Equal
            | Op::NotEqual
    )
}

/// An operation as a type.
struct Plain<const OPCODE: u8>;

impl<const OPCODE: u8> Opcode for Plain<OPCODE> {
    const OPCODE: u8 = OPCODE;
}

/// The follower of a leader by number.
struct Follower<A, const N: usize>(PhantomData<A>);

impl<A: Opcode, const N: usize> Opcode for Follower<A, N> {
    const OPCODE: u8 = followers(A::OPCODE)[N] as u8;
}

/// What the instruction behind a leader is carried out with.
pub(super) struct Trail<'a, L, H: Host, D> {
    pub(super) code: Window<u8>,
    pub(super) count: &'a mut <H::Observer as Observer>::Tally,
    pub(super) kinds: PhantomData<(L, D)>,
}

impl<L: Layout, H: Host, D: Decoder> Trail<'_, L, H, D> {
    /// Carries out the follower of a leader, if it is one that is looked for.
    #[inline(always)]
    pub(super) fn follow<A: Opcode>(&mut self, vm: &mut Vm<'_, L, H>, at: At<L>) -> At<L> {
        let followed = match self.carry_out::<Follower<A, 0>>(vm, at) {
            Some(at) => Some(at),
            None => self.carry_out::<Follower<A, 1>>(vm, at),
        };
        match followed {
            Some(at) if const { A::OPCODE == Op::LoadSlot as u8 } => self.follow_pair(at),
            Some(at) => at,
            None => at,
        }
    }

    /// Behind two operands often stands a comparison with its branch: the head of a
    /// loop, carried out at one go.
    #[inline(always)]
    fn follow_pair(&mut self, at: At<L>) -> At<L> {
        if let Some(at) = self.compare_next::<{ Op::Less as u8 }>(at) {
            return at;
        }
        self.compare_next::<{ Op::LessEqual as u8 }>(at).unwrap_or(at)
    }

    #[inline(always)]
    fn compare_next<const OPCODE: u8>(&mut self, at: At<L>) -> Option<At<L>> {
        let (_, next) = D::expect::<Plain<OPCODE>, _>(self.code.byte(at.pc), self.code, at.pc)?;
        let here = At { pc: next, ..at };
        let after = self.compare_and_branch::<2>(here, const { Op::from_opcode(OPCODE) })?;
        <H::Observer as Observer>::count(self.count, next - at.pc);
        Some(after)
    }

    /// Carries out a comparison of small integers together with the branch that
    /// stands behind it: the truth never becomes a value. `COST` is what the two take
    /// from the budget that the loop has not taken.
    #[inline(always)]
    pub(super) fn compare_and_branch<const COST: u64>(
        &mut self,
        at: At<L>,
        op: Option<Op>,
    ) -> Option<At<L>> {
        let truth = at.holds(op?)?;
        let byte = self.code.byte(at.pc);
        let if_true = D::expect::<Plain<{ Op::BranchTrue as u8 }>, _>(byte, self.code, at.pc);
        let if_false = D::expect::<Plain<{ Op::BranchFalse as u8 }>, _>(byte, self.code, at.pc);
        let (branches, (bits, next)) = match (if_true, if_false) {
            (Some(branch), _) => (truth, branch),
            (_, Some(branch)) => (!truth, branch),
            _ => return None,
        };
        let fuel = burn::<COST>(at.fuel)?;
        <H::Observer as Observer>::count(self.count, next - at.pc);
        let at = At { pc: next, sp: at.sp + 2, fuel, ..at };
        Some(if branches { at.jump(Displacement::from_bits(bits, D::ZIGZAG)) } else { at })
    }

    /// Carries out the next instruction if it is that operation, in its quick
    /// form.
    #[inline(always)]
    fn carry_out<A: Opcode>(&mut self, vm: &mut Vm<'_, L, H>, at: At<L>) -> Option<At<L>> {
        if const { A::OPCODE == Op::Trap as u8 } {
            return None;
        }
        let (bits, next) = D::expect::<A, _>(self.code.byte(at.pc), self.code, at.pc)?;
        let fuel = burn::<1>(at.fuel)?;
        let op = const { Op::from_opcode(A::OPCODE) };
        let after = quick(vm, At { pc: next, fuel, ..at }, op, bits, D::ZIGZAG)?;
        <H::Observer as Observer>::count(self.count, next - at.pc);
        Some(after)
    }
}
