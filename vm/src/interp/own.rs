//! Composites with handlers of their own: those of the set that this was compiled with.
//!
//! Whatever set an image names, [`Vm::composite`] carries its entries out, part by part
//! through a match over all operations. The shipped set is known while the machine is
//! compiled, and [`Decoder::OWN`] has its entries as constants: so an arm is made for
//! each, in which the operations and the fixed operands are constants too. The text of
//! the set is the only list; with another text there are other arms.
//!
//! An echo carries out instructions that stand elsewhere; here each goes by its arm as well.
//!
//! It owns these arms and refuses to know entries by name. What is counted is what
//! `composite` counts: one instruction, all its bytes, and an operation a part, each
//! taken from the budget before it is carried out. Builds with debug assertions have no
//! such arms: they look at every operation, and three hundred quick forms in a function
//! took the compiler minutes without optimisation. So what tests these arms is run on a
//! release build (`bench/tests/release.rs`, which `.ci/run` calls).

use core::marker::PhantomData;

use super::quick::{Trail, compares, quick};
use super::{ArmOf, At, burn, each_byte};
use crate::Host;
use crate::error::{Raise, StopKind};
use crate::heap::raw::Window;
use crate::host::Observer;
use crate::layout::Layout;
use crate::vm::Vm;
use scruple_bytecode::encoding::echo::Reference;
use scruple_bytecode::encoding::{Form, VerifiedCode};
use scruple_bytecode::operand::Displacement;
use scruple_bytecode::ops::dispatch_any;
use scruple_bytecode::sets::{MAX_PARTS, SHIPPED, Table};
use scruple_bytecode::{Decoder, InstructionSet, Op, Opcode};

/// A part of the entry with that opcode byte, as a type that carries its operation.
struct PartOf<D, const BYTE: u8, const INDEX: usize>(PhantomData<D>);

impl<D: Decoder, const BYTE: u8, const INDEX: usize> Opcode for PartOf<D, BYTE, INDEX> {
    const OPCODE: u8 = D::OWN[BYTE as usize].part(INDEX).op as u8;
}

impl<D: Decoder, const BYTE: u8, const INDEX: usize> PartOf<D, BYTE, INDEX> {
    const OP: Op = D::OWN[BYTE as usize].part(INDEX).op;
    /// Whether it is there.
    const EXISTS: bool = INDEX < D::OWN[BYTE as usize].n_parts();
    /// Whether it compares, and a branch follows that takes what comes out.
    const DECIDES: bool = INDEX + 2 == D::OWN[BYTE as usize].n_parts()
        && compares(Self::OP)
        && matches!(D::OWN[BYTE as usize].part(INDEX + 1).op, Op::BranchTrue | Op::BranchFalse);
}

/// The last part of an entry.
struct LastOf<D, const BYTE: u8>(PhantomData<D>);

impl<D: Decoder, const BYTE: u8> Opcode for LastOf<D, BYTE> {
    const OPCODE: u8 = {
        let own = &D::OWN[BYTE as usize];
        own.part(own.n_parts().saturating_sub(1)).op as u8
    };
}

/// How many operations of an entry are more than the one that an instruction is.
const fn joins<D: Decoder>(byte: u8) -> u64 {
    (D::OWN[byte as usize].n_parts() as u64).saturating_sub(1)
}

impl<L: Layout, H: Host> Vm<'_, L, H> {
    /// Whether the running image's entries are those that there are arms for.
    #[cfg_attr(debug_assertions, allow(dead_code))]
    pub(super) fn has_own_handlers(&self) -> bool {
        let image = self.current_image();
        // An arm leads to the first table: what follows one of a second table is not known here.
        let has_one_table = !image.encoding().has_tables() || SHIPPED.len_of(Table::Then) == 0;
        // Another set may have the same hash.
        let is_shipped = |set: &InstructionSet<'_>| {
            core::ptr::eq(set, &SHIPPED) || set.hash() == SHIPPED.hash() && *set == SHIPPED
        };
        has_one_table && image.set().is_some_and(is_shipped)
    }

    /// Carries out the entry at the program counter, whose opcode byte is `BYTE`. The
    /// loop has taken one operation from the budget.
    ///
    /// Not `inline(always)`, though it is laid out in the loop: the optimiser makes it small
    /// before that, and takes two thirds of the time for the loop (46 seconds, 70).
    #[inline]
    pub(super) fn own<D: Decoder, const BYTE: u8>(
        &mut self,
        at: At<L>,
        code: Window<u8>,
        count: &mut <H::Observer as Observer>::Tally,
    ) -> Result<At<L>, Raise> {
        let begin = at.pc;
        let mem = at.mem;
        let (bits, next) = Self::own_operands::<D, BYTE>(code, begin);
        <H::Observer as Observer>::count(count, next - begin);
        let (at, is_done) = self.own_parts::<D, BYTE>(At { pc: next, ..at }, bits, begin + 1)?;
        if is_done {
            return Ok(at);
        }
        let mut trail = Trail::<L, H, D> { code, count, kinds: PhantomData };
        Ok(At { mem, ..trail.follow::<LastOf<D, BYTE>>(self, at) })
    }

    /// The bytes of the instruction at a place, with those that it refers to. What stops
    /// half-way was fetched whole.
    #[cold]
    #[inline(never)]
    fn fetched_at(&self, begin: usize) -> usize {
        let decoded = self.current_image().decode(begin);
        decoded.map_or(0, |whole| whole.next - begin + whole.echoed_bytes())
    }

    /// The operands of the entry at a place, all of them before the first part: every part
    /// has the place behind the whole instruction. And that place.
    #[inline(always)]
    fn own_operands<D: Decoder, const BYTE: u8>(
        code: Window<u8>,
        begin: usize,
    ) -> ([u32; MAX_PARTS], usize) {
        let mut bits = [0u32; MAX_PARTS];
        let mut next = begin + 1;
        macro_rules! fetch {
            ($($index:literal)*) => { $(
                if const { PartOf::<D, BYTE, $index>::EXISTS } {
                    match const { D::OWN[BYTE as usize].part($index).operand } {
                        Some(fixed) => bits[$index] = fixed as u32,
                        None => {
                            let (raw, behind) = own_operand(code, next);
                            let kind = const { PartOf::<D, BYTE, $index>::OP.info().operand };
                            (bits[$index], next) = (kind.from_bits(raw, true) as u32, behind);
                        }
                    }
                }
            )* };
        }
        fetch!(0 1 2 3 4 5 6 7);
        (bits, next)
    }

    /// Carries out the parts, of which the first is burnt, and tells whether the last one
    /// decided where to go. `stop` is where a budget ends that is spent before one.
    #[inline(always)]
    fn own_parts<D: Decoder, const BYTE: u8>(
        &mut self,
        mut at: At<L>,
        bits: [u32; MAX_PARTS],
        stop: usize,
    ) -> Result<(At<L>, bool), Raise> {
        let mem = at.mem;
        macro_rules! carry_out {
            ($($index:literal)*) => { $(
                if const { PartOf::<D, BYTE, $index>::EXISTS } {
                    if $index > 0 {
                        let Some(fuel) = burn(at.fuel, 1) else {
                            self.sync(at);
                            return Err(self.own_spent(stop, $index));
                        };
                        at.fuel = fuel;
                    }
                    if const { PartOf::<D, BYTE, $index>::DECIDES }
                        && let Some(after) =
                            decide(
                                at,
                                const { PartOf::<D, BYTE, $index>::OP },
                                const { D::OWN[BYTE as usize].part($index + 1).op },
                                bits[($index + 1) % MAX_PARTS],
                            )
                    {
                        self.joined += const { joins::<D>(BYTE) };
                        return Ok((after, true));
                    }
                    at = self.own_part::<PartOf<D, BYTE, $index>, $index>(at, bits[$index])?;
                    at.mem = mem;
                }
            )* };
        }
        carry_out!(0 1 2 3 4 5 6 7);
        self.joined += const { joins::<D>(BYTE) };
        Ok((at, false))
    }

    /// Carries out an echo, which begins at a place: the instructions that it refers to,
    /// each by its arm, but with the place behind the echo. The loop has taken one
    /// operation from the budget and counted nothing.
    ///
    /// On the synced registers, as handlers are: see [`Vm::handle`].
    #[inline(never)]
    pub(super) fn own_echo<D: Decoder>(&mut self, begin: usize) -> Result<(), Raise> {
        let image = self.current_image();
        let code = Window::on_code(image.code());
        let Some((reference, next)) = Reference::decode(image.code(), begin) else {
            return Err(Raise::internal("trap"));
        };
        self.pc = next;
        let first = begin - reference.back as usize;
        let mut place = first;
        let mut result = Ok(());
        for number in 0..reference.count {
            if number > 0 {
                let Some(fuel) = burn(self.fuel, 1) else {
                    result = Err(self.own_spent(begin + 1, 1));
                    break;
                };
                self.fuel = fuel;
                self.joined += 1;
            }
            macro_rules! arms {
                ($($n:literal)*) => {
                    match code.byte(place) {
                        $($n => self.echoed::<D, $n>(code, place, begin + 1),)*
                    }
                };
            }
            match each_byte!(arms) {
                Ok(behind) => place = behind,
                Err(raise) => {
                    result = Err(raise);
                    break;
                }
            }
        }
        let fetched = match result {
            Ok(()) => next - begin + place - first,
            Err(_) => self.fetched_at(begin),
        };
        let mut tally = <H::Observer as Observer>::Tally::default();
        <H::Observer as Observer>::count(&mut tally, fetched);
        self.host_mut().observer().absorb(tally);
        result
    }

    /// Carries out the instruction at a place of the code, whose opcode byte is `BYTE`, as
    /// part of an echo, and answers the place behind it. `stop` is where a budget ends
    /// that is spent in it.
    ///
    /// Apart from the loop over the echo, on the machine's registers: see [`Vm::handle`].
    #[inline(never)]
    fn echoed<D: Decoder, const BYTE: u8>(
        &mut self,
        code: Window<u8>,
        place: usize,
        stop: usize,
    ) -> Result<usize, Raise> {
        if const { D::OWN[BYTE as usize].n_parts() > 0 } {
            let (bits, behind) = Self::own_operands::<D, BYTE>(code, place);
            let (after, _) = self.own_parts::<D, BYTE>(self.registers(), bits, stop)?;
            self.sync(after);
            return Ok(behind);
        }
        let arm = const { D::ARMS[BYTE as usize] };
        let (bits, behind) = D::operand(arm, code, place);
        if let Form::Wide = arm.form {
            dispatch_any(self, code.byte(place + 1), bits, D::ZIGZAG)?;
        } else if let Some(after) =
            quick::<ArmOf<D, BYTE>, L, H>(self, self.registers(), bits, D::ZIGZAG)
        {
            self.sync(after);
        } else {
            self.handle::<ArmOf<D, BYTE>>(bits, D::ZIGZAG)?;
        }
        Ok(behind)
    }

    /// Carries out one part, in its quick form if that does.
    #[inline(always)]
    fn own_part<A: Opcode, const INDEX: u64>(
        &mut self,
        at: At<L>,
        bits: u32,
    ) -> Result<At<L>, Raise> {
        match quick::<A, L, H>(self, at, bits, false) {
            Some(after) => Ok(after),
            None => {
                self.sync(at);
                if let Err(raise) = self.handle::<A>(bits, false) {
                    self.joined += INDEX;
                    return Err(raise);
                }
                Ok(self.registers())
            }
        }
    }

    /// The budget ends before a part, or before an echo's next instruction: as many
    /// operations as `n_done` were carried out that are not counted yet.
    #[cold]
    #[inline(never)]
    fn own_spent(&mut self, stop: usize, n_done: u64) -> Raise {
        self.joined += n_done - 1;
        (self.fuel, self.pc) = (0, stop);
        Raise::stop(StopKind::Budget)
    }
}

/// A comparison of small integers with the branch behind it: the truth never becomes a
/// value. Nothing where they are something else, or no budget is left for the branch.
#[inline(always)]
fn decide<L: Layout>(at: At<L>, op: Op, branch: Op, bits: u32) -> Option<At<L>> {
    let truth = at.holds(op)?;
    let fuel = burn(at.fuel, 1)?;
    let at = At { sp: at.sp + 2, fuel, ..at };
    let branches = truth == matches!(branch, Op::BranchTrue);
    Some(if branches { at.jump(Displacement::from_bits(bits, false)) } else { at })
}

/// An operand's LEB128 digits, and the place behind them.
#[inline(always)]
fn own_operand(code: Window<u8>, at: usize) -> (u32, usize) {
    let first = u32::from(code.byte(at));
    if first < 0x80 {
        return (first, at + 1);
    }
    let second = u32::from(code.byte(at + 1));
    if second < 0x80 {
        return (first & 0x7f | second << 7, at + 2);
    }
    let third = u32::from(code.byte(at + 2));
    if third < 0x80 {
        return (first & 0x7f | (second & 0x7f) << 7 | third << 14, at + 3);
    }
    let fourth = u32::from(code.byte(at + 3));
    (first & 0x7f | (second & 0x7f) << 7 | (third & 0x7f) << 14 | fourth << 21, at + 4)
}
