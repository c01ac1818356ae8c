//! The loop in its compact form: one look-up of the opcode byte, one of the operation's
//! handler, for every encoding the same code.
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
        let raise = loop {
            let Some(fuel) = self.fuel.checked_sub(1) else {
                // The operation to come has no budget left.
                let is_inside = H::COMPOSITES && pending.is_inside();
                self.pc = if is_inside { pending.stop() } else { self.pc + 1 };
                break Raise::stop(StopKind::Budget);
            };
            self.fuel = fuel;
            let mut found = None;
            if H::COMPOSITES && pending.n_left() > 0 {
                found = self.take_part(&mut pending);
                if found.is_none() {
                    break Raise::internal("a composite left its frame");
                }
            }
            if found.is_none() {
                let row = rows[window.byte(self.pc) as usize];
                if H::COMPOSITES && (row.opcode() == Op::Trap as u8 || pending.is_open()) {
                    found = self.take_first(&mut pending);
                    <H::Observer as Observer>::count(tally, pending.take_bytes());
                }
                if found.is_none() {
                    let (opcode, bits, next) = row.fetch(code, self.pc);
                    <H::Observer as Observer>::count(tally, next - self.pc);
                    self.pc = next;
                    found = Some((opcode, bits));
                }
            }
            let Some((opcode, bits)) = found else { break Raise::internal("no operation") };
            if let Err(raise) = self.carry_out(opcode, bits) {
                break raise;
            }
        };
        if H::COMPOSITES {
            self.joined -= pending.n_left();
        }
        raise
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
