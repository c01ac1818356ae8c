//! Instructions of a set, carried out operation by operation: composites, short forms,
//! and echoes, which carry out other instructions again from where they stand.
//!
//! The loops know nothing of sets: to them an entry's opcode byte is a trap, which no
//! verified code holds, and what comes upon a trap asks here. So no other encoding
//! pays for composites, and any set the machine is given runs without a build of its
//! own.
//!
//! Every operation is taken from the budget and carried out by the handler it has in
//! every encoding, and observed as such; the instruction is counted once, with all its
//! bytes; of an echo, what it reads elsewhere is among them. The program counter stays
//! behind the whole instruction, so that a fault, a guard and a place in the line table
//! are those of the instruction.

use super::{At, Next, burn};
use crate::Host;
use crate::error::{Raise, StopKind};
use crate::host::{Observer, Step};
use crate::layout::Layout;
use crate::vm::Vm;
use scruple_bytecode::encoding::echo::{ECHO, Reference};
use scruple_bytecode::encoding::{Row, Word};
use scruple_bytecode::sets::{Entry, InstructionSet, Table, leaves_and_goes_on};
use scruple_bytecode::{Encoding, Image, Op, leb128};

/// What is still to be carried out of the instruction of a set at hand: its operations
/// one after another, each decoded where it stands when its turn comes. To decode the
/// whole instruction first took some 750 instructions of the emulated board.
pub(super) struct Pending<'a> {
    code: &'a [u8],
    set: Option<&'a InstructionSet<'a>>,
    rows: &'static [Row; 256],
    encoding: Encoding,
    /// What is left of the entry at hand.
    entry: Entry<'a>,
    /// How many instructions of an echo come behind that.
    echoes: usize,
    /// Where the entry's next free operand lies, or the echo's next instruction.
    place: usize,
    /// Where the instruction begins, and where the one behind it does.
    begin: usize,
    next: usize,
    /// Whether none of its operations has been taken.
    is_whole: bool,
    /// Which table counts behind it.
    table: Table,
}

impl<'a> Pending<'a> {
    /// Nothing, of the code of this image.
    pub(super) fn nothing(image: &Image<'a>) -> Self {
        Pending {
            code: image.code(),
            set: image.set(),
            rows: image.encoding().rows(),
            encoding: image.encoding(),
            entry: Entry::NOTHING,
            echoes: 0,
            place: 0,
            begin: 0,
            next: 0,
            is_whole: false,
            table: Table::First,
        }
    }

    /// Whether an operation of the instruction at hand is to come.
    pub(super) fn is_inside(&self) -> bool {
        self.echoes > 0 || self.entry.n_parts() > 0
    }

    /// Whether the operation to come may be one that only this knows.
    #[inline(always)]
    pub(super) fn is_open(&self) -> bool {
        self.is_inside() || self.table == Table::Then
    }

    /// Where a budget ends that is spent inside the instruction.
    pub(super) fn stop(&self) -> usize {
        self.begin + 1
    }

    /// The entry that an opcode byte stands for, where this table counts.
    fn entry_at(&self, at: usize, table: Table) -> Option<Entry<'a>> {
        self.set?.entry_of(*self.code.get(at)?, table)
    }

    /// Begins with the instruction at a position: its bytes, or nothing if it is none of a
    /// set.
    pub(super) fn begin(&mut self, at: usize) -> Option<usize> {
        let table = core::mem::take(&mut self.table);
        self.begin = at;
        self.is_whole = true;
        if let Some(entry) = self.entry_at(at, table) {
            self.entry = entry;
            self.place = at + 1;
            self.next = behind(self.code, at + 1, entry.n_free());
            if self.encoding.has_tables()
                && self.set.is_some_and(|set| set.len_of(Table::Then) > 0)
                && entry.last().is_some_and(|part| leaves_and_goes_on(part.op))
            {
                self.table = Table::Then;
            }
            return Some(self.next - at);
        }
        if self.encoding != Encoding::Echo || self.code.get(at) != Some(&ECHO) {
            return None;
        }
        let (reference, next) = Reference::decode(self.code, at)?;
        let first = at - reference.back as usize;
        (self.place, self.echoes, self.next) = (first, reference.count, next);
        let mut end = first;
        for _ in 0..reference.count {
            end = match self.entry_at(end, Table::First) {
                Some(entry) => behind(self.code, end + 1, entry.n_free()),
                None => self.row_at(end).fetch(self.code, end).2,
            };
        }
        Some(next - at + end - first)
    }

    fn row_at(&self, at: usize) -> Row {
        self.rows[self.code[at] as usize]
    }

    /// The operation to come and the bits of its operand, which are never in zigzag.
    fn take(&mut self) -> (u8, u32) {
        self.is_whole = false;
        if self.entry.n_parts() == 0 {
            self.echoes -= 1;
            let Some(entry) = self.entry_at(self.place, Table::First) else {
                let (opcode, bits, next) = self.row_at(self.place).fetch(self.code, self.place);
                self.place = next;
                return (opcode, bits);
            };
            self.entry = entry;
            self.place += 1;
        }
        let Some(part) = self.entry.take_first() else { return (Op::Trap as u8, 0) };
        let bits = match part.operand {
            Some(fixed) => fixed as u32,
            None => {
                let (raw, next) =
                    leb128::read_unsigned(self.code, self.place).unwrap_or((0, self.place));
                self.place = next;
                part.op.info().operand.from_bits(raw, true) as u32
            }
        };
        (part.op as u8, bits)
    }
}

/// The position behind so many LEB128 numbers.
fn behind(code: &[u8], at: usize, count: u32) -> usize {
    let (mut at, mut left) = (at, count);
    while left > 0 {
        left -= u32::from(code[at] < 0x80);
        at += 1;
    }
    at
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The operation to come of the instruction at hand, or of the one behind it if that
    /// is one of a set: otherwise nothing. The budget has it already.
    pub(super) fn take_pending(
        &mut self,
        pending: &mut Pending<'m>,
        tally: &mut <H::Observer as Observer>::Tally,
    ) -> Result<Option<(u8, u32)>, Raise> {
        if !pending.is_inside() {
            let Some(bytes) = pending.begin(self.pc) else { return Ok(None) };
            <H::Observer as Observer>::count(tally, bytes);
            self.pc = pending.next;
        }
        if !pending.is_whole {
            self.joined += 1;
            // The set has seen to it that what goes elsewhere is the last.
            if self.pc != pending.next {
                return Err(Raise::internal("a composite left its frame"));
            }
        }
        Ok(Some(pending.take()))
    }

    /// Carries out the entry or the echo whose opcode byte the program counter is just behind. The
    /// loop has taken one operation from the budget and counted one byte.
    ///
    /// That loop knows no second table, so under `context` the entries that one leads to
    /// are carried out here as well, each as the loop would have begun it.
    #[cold]
    #[inline(never)]
    pub(super) fn composite(&mut self) -> Next {
        let mut pending = Pending::nothing(self.current_image());
        let mut tally = <H::Observer as Observer>::Tally::default();
        self.pc -= 1;
        let Some(bytes) = pending.begin(self.pc) else { return Err(Raise::internal("trap")) };
        <H::Observer as Observer>::count(&mut tally, bytes - 1);
        self.pc = pending.next;
        while let Some((opcode, bits)) = self.take_pending(&mut pending, &mut tally)? {
            self.host_mut().observer().absorb(core::mem::take(&mut tally));
            let (begin, next) = (pending.begin, pending.next);
            let op = Op::from_opcode(opcode).unwrap_or(Op::Trap);
            let operand = op.info().operand.from_bits(bits, false);
            let step = Step { image: self.current, at: begin, next, op, operand };
            let after =
                self.observed::<Word>(At { pc: begin, ..self.registers() }, step, operand as u32)?;
            self.sync(after);
            if !pending.is_inside()
                && (pending.table == Table::First
                    || pending.entry_at(self.pc, Table::Then).is_none())
            {
                break;
            }
            match burn::<1>(self.fuel) {
                Some(fuel) => self.fuel = fuel,
                None => {
                    self.pc = if pending.is_inside() { pending.stop() } else { self.pc + 1 };
                    return Err(Raise::stop(StopKind::Budget));
                }
            }
        }
        Ok(())
    }
}
