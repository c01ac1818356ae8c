//! Composites: an instruction of a set, carried out as its operations; and echoes, which
//! the image decodes into the operations of what they refer to.
//!
//! The loops know nothing of sets: to them an entry's opcode byte is a trap, which no
//! verified code holds, and what carries a trap out comes here. So no other encoding
//! pays for composites, and any set the machine is given runs without a build of its
//! own.
//!
//! Every operation is taken from the budget and carried out by the handler it has in
//! every encoding, and observed as such; the instruction is counted once, with all its
//! bytes; of an echo, what it reads elsewhere is among them. The program counter stays behind the whole instruction, so that a fault, a
//! guard and a place in the line table are those of the instruction.

use super::{At, burn};
use crate::Host;
use crate::error::{Raise, StopKind};
use crate::host::{Observer, Step};
use crate::layout::Layout;
use crate::vm::Vm;
use scruple_bytecode::Op;
use scruple_bytecode::encoding::{Instruction, Word};
use scruple_bytecode::ops::{Flow, dispatch_any};
use scruple_bytecode::sets::Table;

impl<L: Layout, H: Host> Vm<'_, L, H> {
    /// Carries out the entry or the echo whose opcode byte the program counter is just behind. The
    /// loop has taken one operation from the budget and counted one byte.
    ///
    /// The loop knows no second table, so under `context` the entries that one leads to
    /// are carried out here as well, each as the loop would have begun it.
    #[cold]
    #[inline(never)]
    pub(super) fn composite(&mut self, at: At<L>) -> Result<At<L>, Raise> {
        let image = *self.current_image();
        let (mut at, mut begin, mut table) = (at, at.pc - 1, Table::First);
        let mut counted = 1;
        loop {
            let found = image.set().and_then(|set| set.decode(image.code(), begin, table));
            let instruction = match found {
                Some(found) => found,
                // What an entry leads to may be spelled plainly.
                None if counted == 0 => return Ok(at),
                // An echo. What is decoded from a trap's byte otherwise is a trap.
                None => match image.decode(begin).filter(|found| found.first().op != Op::Trap) {
                    Some(echo) => echo,
                    None => return Err(self.fail(at, Raise::internal("trap"))),
                },
            };
            if counted == 0 {
                let Some(fuel) = burn::<1>(at.fuel) else { return Err(self.spent(at)) };
                at.fuel = fuel;
            }
            table = image.table_behind(&instruction);
            let mut tally = <H::Observer as Observer>::Tally::default();
            let bytes = instruction.next - begin - counted + instruction.echoed_bytes();
            <H::Observer as Observer>::count(&mut tally, bytes);
            self.host_mut().observer().absorb(tally);
            at = self.carry_out_parts(at, begin, &instruction, table)?;
            if table == Table::First {
                return Ok(at);
            }
            (begin, counted) = (instruction.next, 0);
        }
    }

    /// Carries out the operations of one entry, of which the first is burnt.
    fn carry_out_parts(
        &mut self,
        mut at: At<L>,
        begin: usize,
        instruction: &Instruction,
        leads_to: Table,
    ) -> Result<At<L>, Raise> {
        let next = instruction.next;
        for (index, part) in instruction.parts().enumerate() {
            if index > 0 {
                let Some(fuel) = burn::<1>(at.fuel) else {
                    self.sync(At { fuel: 0, pc: begin + 1, ..at });
                    return Err(Raise::stop(StopKind::Budget));
                };
                at.fuel = fuel;
                self.joined += 1;
            }
            let (op, operand) = (part.op, part.operand);
            let step = Step { image: self.current, at: begin, next, op, operand };
            let fp = at.fp;
            let before = At { pc: begin, ..at };
            at = if H::COMPACT {
                // Handlers alone: with the quick forms as well, composites took 19,044
                // bytes of the board's flash instead of 15,484 (how far `scruple board
                // hello.js --board stm32vldiscovery --core` overflows with and without
                // them). Most of that is a second copy of the dispatch.
                self.carry_out_part(At { pc: next, ..before }, op, operand as u32)?
            } else {
                self.observed::<Word>(before, step, operand as u32)?
            };
            // The set has seen to it that such an operation is the last. It stays within
            // its frame, or the next one would be carried out in another.
            if (index + 1 < instruction.n_parts() || leads_to == Table::Then)
                && (at.fp != fp || at.pc != next || op.info().flow != Flow::Next)
            {
                return Err(self.fail(at, Raise::internal("a composite left its frame")));
            }
        }
        Ok(at)
    }

    /// Carries out one operation by its handler.
    fn carry_out_part(&mut self, before: At<L>, op: Op, bits: u32) -> Result<At<L>, Raise> {
        let after = dispatch_any(self, before, op as u8, bits, false)?;
        #[cfg(debug_assertions)]
        super::audit(before, after, Some(op), bits, false);
        Ok(after)
    }
}
