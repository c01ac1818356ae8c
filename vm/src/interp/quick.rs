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

    /// An operation that pushes what is always the same, or moves the top of the stack.
    #[inline(always)]
    fn constant(self, op: Op) -> Option<Self> {
        match op {
            Op::PushUndefined => Some(self.put(Value::undefined())),
            Op::PushNull => Some(self.put(Value::null())),
            Op::PushTrue => Some(self.put(Value::boolean(true))),
            Op::PushFalse => Some(self.put(Value::boolean(false))),
            Op::Drop => Some(At { sp: self.sp + 1, ..self }),
            Op::Dup => Some(self.put(self.peek(0))),
            Op::LoadThis => Some(self.put(self.get(self.fp + 1))),
            _ => None,
        }
    }

    /// An operation between a slot, or the operand itself, and the top of the stack.
    #[inline(always)]
    fn slot(self, op: Op, bits: u32, zigzag: bool) -> Option<Self> {
        let slot = || self.fp - Slot::from_bits(bits, zigzag).index();
        match op {
            Op::LoadSlot => Some(self.put(self.get(slot()))),
            Op::StoreSlot => {
                self.set(slot(), self.peek(0));
                Some(At { sp: self.sp + 1, ..self })
            }
            Op::KeepSlot => {
                self.set(slot(), self.peek(0));
                Some(self)
            }
            Op::PushInt => Some(self.put(Value::small(Int::from_bits(bits, zigzag).get()))),
            _ => None,
        }
    }

    /// Arithmetic on small integers, with a small integer as the result.
    #[inline(always)]
    fn arithmetic(self, op: Op) -> Option<Self> {
        let (a, b) = (self.peek(1), self.peek(0));
        let result = match op {
            Op::Add => a.sum(b),
            Op::Subtract => a.difference(b),
            Op::Multiply => a.product(b),
            _ => None,
        };
        Some(self.replace(2, result?))
    }

    /// What is quick on small integers alone.
    #[inline(always)]
    fn step(self, op: Op) -> Option<Self> {
        match op {
            Op::Increment => Some(self.replace(1, self.peek(0).sum(Value::small(1))?)),
            Op::Decrement => Some(self.replace(1, self.peek(0).difference(Value::small(1))?)),
            Op::Remainder => Some(self.replace(2, self.peek(1).small_remainder(self.peek(0))?)),
            _ => None,
        }
    }

    /// An operation on the bits of two small integers.
    #[inline(always)]
    fn bits(self, op: Op) -> Option<Self> {
        let (x, y) = L::both_ints(self.peek(1).0, self.peek(0).0)?;
        let result = match op {
            Op::ShiftLeft => x.wrapping_shl(y as u32 & 31),
            Op::ShiftRight => x.wrapping_shr(y as u32 & 31),
            Op::BitAnd => x & y,
            Op::BitOr => x | y,
            Op::BitXor => x ^ y,
            _ => return None,
        };
        Some(self.replace(2, Value::int(result)?))
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
    fn branch_if(self, wanted: bool, to: Displacement) -> Option<Self> {
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

    #[inline(always)]
    fn branch(self, op: Op, bits: u32, zigzag: bool) -> Option<Self> {
        let to = Displacement::from_bits(bits, zigzag);
        match op {
            Op::Branch => Some(self.jump(to)),
            Op::BranchTrue => self.branch_if(true, to),
            Op::BranchFalse => self.branch_if(false, to),
            _ => None,
        }
    }
}

impl<L: Layout, H: Host> Vm<'_, L, H> {
    #[inline(always)]
    fn quick_load_global(&mut self, at: At<L>, global: GlobalId) -> Option<At<L>> {
        let value = at.get(self.global_slot(global));
        if value.is_marker() { None } else { Some(at.put(value)) }
    }

    #[inline(always)]
    fn quick_return(&mut self, at: At<L>, op: Op) -> Option<At<L>> {
        match op {
            Op::Return => self.quick_leave(at, at.sp + 1, at.peek(0)),
            _ => self.quick_leave(at, at.sp, Value::undefined()),
        }
    }

    /// Arithmetic on two numbers of any kind. What is out of line here takes and
    /// gives values, no registers: see [`Vm::handle`].
    #[inline(always)]
    fn quick_arithmetic(&mut self, at: At<L>, op: Op) -> Option<At<L>> {
        if let Some(at) = at.arithmetic(op) {
            return Some(at);
        }
        // The result may need memory, and its collector the stack.
        self.heap.sp = at.sp;
        let (a, b) = (at.peek(1), at.peek(0));
        let result = match op {
            Op::Add => self.number_of(a, b, |a, b| a + b),
            Op::Subtract => self.number_of(a, b, |a, b| a - b),
            Op::Multiply => self.number_of(a, b, |a, b| a * b),
            Op::Divide => self.number_of(a, b, |a, b| a / b),
            _ => None,
        };
        Some(at.replace(2, result?))
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
    fn quick_order(&self, at: At<L>, op: Op) -> Option<At<L>> {
        if let Some(at) = at.compare(op) {
            return Some(at);
        }
        let (a, b) = (at.peek(1), at.peek(0));
        let holds = match op {
            Op::Less => self.number_order(a, b, |a, b| a < b),
            Op::LessEqual => self.number_order(a, b, |a, b| a <= b),
            Op::Greater => self.number_order(a, b, |a, b| a > b),
            Op::GreaterEqual => self.number_order(a, b, |a, b| a >= b),
            _ => None,
        };
        Some(at.replace(2, Value::boolean(holds?)))
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

/// What the quick form of an operation is about. Arms are made for each opcode byte, and
/// what is laid out in one is laid out some hundred times before the optimiser sees that
/// the operation is a constant: so an arm is given the forms of one family only. With all
/// of them in every arm, a build of the library and the command line took 25 minutes.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Family {
    /// It has no quick form.
    None,
    Constant,
    Slot,
    Global,
    Method,
    Read,
    Write,
    Call,
    CallMethod,
    Return,
    Arithmetic,
    Step,
    Bits,
    Order,
    Equality,
    Branch,
}

impl Family {
    const fn of(op: Option<Op>) -> Family {
        let Some(op) = op else { return Family::None };
        match op {
            Op::PushUndefined | Op::PushNull | Op::PushTrue | Op::PushFalse => Family::Constant,
            Op::Drop | Op::Dup | Op::LoadThis => Family::Constant,
            Op::KeepSlot | Op::LoadSlot | Op::StoreSlot | Op::PushInt => Family::Slot,
            Op::LoadGlobal => Family::Global,
            Op::MethodField => Family::Method,
            Op::ReadAt => Family::Read,
            Op::WriteAt => Family::Write,
            Op::Call => Family::Call,
            Op::CallMethod => Family::CallMethod,
            Op::Return | Op::ReturnUndefined => Family::Return,
            Op::Add | Op::Subtract | Op::Multiply | Op::Divide => Family::Arithmetic,
            Op::Remainder | Op::Increment | Op::Decrement => Family::Step,
            Op::ShiftLeft | Op::ShiftRight => Family::Bits,
            Op::BitAnd | Op::BitOr | Op::BitXor => Family::Bits,
            Op::Less | Op::LessEqual | Op::Greater | Op::GreaterEqual => Family::Order,
            Op::StrictEqual | Op::Equal | Op::StrictNotEqual | Op::NotEqual => Family::Equality,
            Op::Branch | Op::BranchTrue | Op::BranchFalse => Family::Branch,
            _ => Family::None,
        }
    }
}

/// Hands the form of each family to a macro: the one list of them.
macro_rules! forms {
    ($use:ident, $vm:ident, $at:ident, $op:ident, $bits:ident, $zigzag:ident) => {
        $use! {
            None => None,
            Constant => $at.constant($op),
            Slot => $at.slot($op, $bits, $zigzag),
            Global => $vm.quick_load_global($at, GlobalId::from_bits($bits, $zigzag)),
            Method => $vm.quick_method_field($at, FieldId::from_bits($bits, $zigzag)),
            Read => $vm.quick_read_at($at),
            Write => $vm.quick_write_at($at),
            Call => $vm.quick_call($at, Argc::from_bits($bits, $zigzag).index()),
            CallMethod => $vm.quick_call_method($at, Argc::from_bits($bits, $zigzag).index()),
            Return => $vm.quick_return($at, $op),
            Arithmetic => $vm.quick_arithmetic($at, $op),
            Step => $at.step($op),
            Bits => $at.bits($op),
            Order => $vm.quick_order($at, $op),
            Equality => $at.compare($op),
            Branch => $at.branch($op, $bits, $zigzag),
        }
    };
}

/// Carries out an operation in its quick form, if it has one and this is the usual
/// case.
#[inline(always)]
pub(super) fn quick<A: Opcode, L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    at: At<L>,
    bits: u32,
    zigzag: bool,
) -> Option<At<L>> {
    let op = const { Op::from_opcode(A::OPCODE) }?;
    macro_rules! first_of {
        ($($family:ident => $form:expr,)*) => { $(
            if const { matches!(Family::of(Op::from_opcode(A::OPCODE)), Family::$family) } {
                return $form;
            }
        )* };
    }
    forms!(first_of, vm, at, op, bits, zigzag);
    None
}

/// The same of an operation that is known only at run time.
#[inline(never)]
pub(super) fn quick_any<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    at: At<L>,
    op: Op,
    bits: u32,
    zigzag: bool,
) -> Option<At<L>> {
    macro_rules! one_of {
        ($($family:ident => $form:expr,)*) => {
            match Family::of(Some(op)) { $(Family::$family => $form,)* }
        };
    }
    forms!(one_of, vm, at, op, bits, zigzag)
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
        let fuel = burn(at.fuel, COST)?;
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
        let fuel = burn(at.fuel, 1)?;
        let after = quick::<A, L, H>(vm, At { pc: next, fuel, ..at }, bits, D::ZIGZAG)?;
        <H::Observer as Observer>::count(self.count, next - at.pc);
        Some(after)
    }
}
