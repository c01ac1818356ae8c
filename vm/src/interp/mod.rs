//! The interpreter: the loop, and the registers that go through it.
//!
//! One loop, generic over the decoder and the observer. The handlers of the
//! operation table are beside it, by theme. Between handlers the registers are
//! in [`At`]; before anything that may allocate, call or throw they are synced
//! into the machine.

mod flow;
mod handlers;
mod numeric;
mod property;
mod variable;

pub(crate) use numeric::power;

use crate::Host;
use crate::error::{Raise, RaiseKind, StopKind};
use crate::host::{Observer, Outcome, Step};
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;
use scruple_bytecode::encoding::{Byte, Implied, Leb, Word};
use scruple_bytecode::{Decoder, Encoding, dispatch};

/// Where the machine stands.
#[derive(Clone, Copy, Debug)]
pub struct At {
    /// Place in the code section behind the running instruction.
    pub(crate) pc: usize,
    /// Slot of the top of the stack, which grows down.
    pub(crate) sp: usize,
    /// Slot of the frame's slot 0.
    pub(crate) fp: usize,
    /// Instructions that may still be carried out.
    pub(crate) fuel: u64,
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    #[inline(always)]
    pub(crate) fn registers(&self) -> At {
        At { pc: self.pc, sp: self.heap.sp, fp: self.fp, fuel: self.fuel }
    }

    #[inline(always)]
    pub(crate) fn sync(&mut self, at: At) {
        self.pc = at.pc;
        self.heap.sp = at.sp;
        self.fp = at.fp;
        self.fuel = at.fuel;
    }

    /// Syncs, and passes the reason on.
    #[cold]
    pub(crate) fn fail(&mut self, at: At, raise: Raise) -> Raise {
        self.sync(at);
        raise
    }

    /// Runs from the synced registers until the entry frame returns.
    pub(crate) fn run_loop(&mut self) -> Result<Value<L>, Raise> {
        match self.current_image().encoding() {
            Encoding::Word => self.run_as::<Word>(),
            Encoding::Byte => self.run_as::<Byte>(),
            Encoding::Leb => self.run_as::<Leb>(),
            Encoding::Implied => self.run_as::<Implied>(),
        }
    }

    fn run_as<D: Decoder>(&mut self) -> Result<Value<L>, Raise> {
        let mut tally = <H::Observer as Observer>::Tally::default();
        let result = loop {
            let raise = self.run_image::<D>(&mut tally);
            match raise.0 {
                RaiseKind::Switch => {}
                RaiseKind::Finished => break Ok(self.heap.mem_value(self.heap.sp)),
                RaiseKind::Thrown => {
                    if let Err(raise) = self.unwind() {
                        break Err(raise);
                    }
                }
                RaiseKind::Stopped(kind) => break Err(self.note_stop(kind)),
            }
        };
        self.host_mut().observer().absorb(tally);
        result
    }

    /// Runs code of one image, until something other than the next instruction
    /// is to happen. The registers are then synced.
    fn run_image<D: Decoder>(&mut self, tally: &mut <H::Observer as Observer>::Tally) -> Raise {
        let code = self.current_image().code();
        let mut at = self.registers();
        let mut count = *tally;
        let raise = loop {
            if at.fuel == 0 {
                // The instruction to come is the one that has no budget left.
                at.pc += 1;
                break self.fail(at, Raise::stop(StopKind::Budget));
            }
            at.fuel -= 1;
            let begin = at.pc;
            let fetched = D::fetch(code, begin);
            <H::Observer as Observer>::count(&mut count, fetched.next - begin);
            let step = Step {
                image: self.current,
                at: begin,
                next: fetched.next,
                op: fetched.op,
                operand: fetched.operand,
            };
            if H::Observer::STEPS {
                self.sync(at);
                if let Err(raise) = <H::Observer as Observer>::before(self, step) {
                    break raise;
                }
            }
            at.pc = fetched.next;
            match dispatch(self, at, fetched.op, fetched.operand) {
                Ok(next) => {
                    #[cfg(debug_assertions)]
                    audit(at, next, step);
                    at = next;
                    if H::Observer::STEPS {
                        self.sync(at);
                        <H::Observer as Observer>::after(self, step, Outcome::Done);
                    }
                }
                Err(raise) => {
                    if H::Observer::STEPS {
                        let outcome = match raise.0 {
                            RaiseKind::Thrown => Outcome::Threw,
                            RaiseKind::Stopped(_) => Outcome::Stopped,
                            RaiseKind::Switch | RaiseKind::Finished => Outcome::Done,
                        };
                        <H::Observer as Observer>::after(self, step, outcome);
                    }
                    break raise;
                }
            }
        };
        *tally = count;
        raise
    }
}

/// Debug builds compare what the table declares with what the handler did.
#[cfg(debug_assertions)]
fn audit(before: At, after: At, step: Step) {
    use scruple_bytecode::ops::Flow;
    let info = step.op.info();
    if before.fp != after.fp {
        // A call has entered a frame, or a return has left one.
        return;
    }
    let taken = info.effect.taken(step.operand) as usize;
    let left = match info.flow {
        Flow::Stop => return,
        Flow::Branch(pushes) if after.pc != step.next => pushes as usize,
        _ => info.effect.pushes as usize,
    };
    // A branch to the next instruction may have either effect.
    if matches!(info.flow, Flow::Branch(_)) && step.operand == 0 {
        return;
    }
    debug_assert_eq!(
        after.sp + left,
        before.sp + taken,
        "{} did not do what the table says",
        info.mnemonic
    );
}
