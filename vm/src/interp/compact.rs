//! The loop in its compact form: one table look-up an instruction, one match over
//! the operations, for every encoding the same code.
//!
//! It carries out the same handlers in the same order as the loop with an arm for
//! each opcode byte, so every count is the same; `conformance` runs its cases
//! through both. It is for flash: the arms of one encoding take more of it than a
//! small board has. It refuses quick forms and followers, which would be the
//! handlers a second time.

use super::At;
use crate::Host;
use crate::error::{Raise, StopKind};
use crate::heap::raw::Window;
use crate::host::Observer;
use crate::layout::Layout;
use crate::vm::Vm;
#[cfg(debug_assertions)]
use scruple_bytecode::Op;
use scruple_bytecode::encoding::VerifiedCode;
use scruple_bytecode::ops::dispatch_here;

impl<L: Layout, H: Host> Vm<'_, L, H> {
    /// Runs code of one image, until something other than the next instruction
    /// is to happen. The registers are then synced.
    pub(super) fn run_compact(&mut self, tally: &mut <H::Observer as Observer>::Tally) -> Raise {
        let image = self.current_image();
        let (code, rows) = (image.code(), image.encoding().rows());
        let window = Window::on_code(code);
        let mut at = self.registers();
        let mem = at.mem;
        loop {
            let Some(fuel) = at.fuel.checked_sub(1) else {
                // The instruction to come has no budget left.
                at.pc += 1;
                return self.fail(at, Raise::stop(StopKind::Budget));
            };
            let row = rows[window.byte(at.pc) as usize];
            let (opcode, bits, next) = row.fetch(code, at.pc);
            <H::Observer as Observer>::count(tally, next - at.pc);
            let before = At { mem, pc: next, fuel, ..at };
            match dispatch_here(self, before, opcode, bits, false) {
                Ok(after) => {
                    #[cfg(debug_assertions)]
                    super::audit(before, after, Op::from_opcode(opcode), bits, false);
                    at = after;
                }
                Err(raise) => return raise,
            }
        }
    }
}
