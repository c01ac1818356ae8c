//! The loop in its compact form: one table look-up an instruction, one match over
//! the operations, for every encoding the same code.
//!
//! It carries out the same handlers in the same order as the loop with an arm for
//! each opcode byte, so every count is the same; `conformance` runs its cases
//! through both. It is for flash: the arms of one encoding take more of it than a
//! small board has. It refuses quick forms and followers, which would be the
//! handlers a second time.

use super::Next;
use super::composite::Pending;
use crate::Host;
use crate::error::{Raise, StopKind};
use crate::heap::raw::Window;
use crate::host::Observer;
use crate::layout::Layout;
use crate::vm::Vm;
use scruple_bytecode::Op;
use scruple_bytecode::encoding::VerifiedCode;
use scruple_bytecode::ops::HandlerTable;

impl<L: Layout, H: Host> Vm<'_, L, H> {
    /// Runs code of one image, until something other than the next instruction
    /// is to happen.
    pub(super) fn run_compact(&mut self, tally: &mut <H::Observer as Observer>::Tally) -> Raise {
        let image = self.current_image();
        let (code, rows) = (image.code(), image.encoding().rows());
        let window = Window::on_code(code);
        // Of a set's instructions, where the machine has any.
        let mut pending = Pending::nothing(image);
        loop {
            let Some(fuel) = self.fuel.checked_sub(1) else {
                // The operation to come has no budget left.
                let inside = H::COMPOSITES && pending.is_inside();
                self.pc = if inside { pending.stop() } else { self.pc + 1 };
                return Raise::stop(StopKind::Budget);
            };
            self.fuel = fuel;
            let row = rows[window.byte(self.pc) as usize];
            let is_entry = row.opcode() == Op::Trap as u8;
            let found = if H::COMPOSITES && (is_entry || pending.is_open()) {
                self.take_pending(&mut pending, tally)
            } else {
                Ok(None)
            };
            let (opcode, bits) = match found {
                Ok(Some(found)) => found,
                Ok(None) => {
                    let (opcode, bits, next) = row.fetch(code, self.pc);
                    <H::Observer as Observer>::count(tally, next - self.pc);
                    self.pc = next;
                    (opcode, bits)
                }
                Err(raise) => return raise,
            };
            if let Err(raise) = self.carry_out(opcode, bits) {
                return raise;
            }
        }
    }

    #[inline(always)]
    fn carry_out(&mut self, opcode: u8, bits: u32) -> Next {
        #[cfg(debug_assertions)]
        let before = self.registers();
        match HandlerTable::<Self>::BY_OPCODE.get(opcode as usize) {
            Some(handler) => handler(self, bits)?,
            None => return Err(Raise::internal("no operation")),
        }
        #[cfg(debug_assertions)]
        super::audit(before, self.registers(), Op::from_opcode(opcode), bits, false);
        Ok(())
    }
}
