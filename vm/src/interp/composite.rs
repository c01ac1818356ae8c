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
use scruple_bytecode::{Image, Op, leb128};

/// What is still to be carried out of the instruction of a set at hand: its operations
/// one after another, each decoded where it stands when its turn comes. To decode the
/// whole instruction first took some 750 instructions of the emulated board.
pub(super) struct Pending<'a> {
    code: &'a [u8],
    set: Option<&'a InstructionSet<'a>>,
    rows: &'static [Row; 256],
    has_echoes: bool,
    /// Whether the set has a second table that counts.
    has_tables: bool,
    /// What is left of the entry at hand.
    entry: Entry<'a>,
    /// How many instructions of an echo come behind that.
    echoes: usize,
    /// Where the entry's next free operand lies, or the echo's next instruction.
    place: usize,
    /// Where the instruction begins, and where the one behind it does.
    begin: usize,
    next: usize,
    /// How many bytes are fetched for it that were not counted.
    bytes: usize,
    /// Which table counts behind it.
    table: Table,
}

impl<'a> Pending<'a> {
    /// Nothing, of the code of this image.
    pub(super) fn nothing(image: &Image<'a>) -> Self {
        let (set, encoding) = (image.set(), image.encoding());
        Pending {
            code: image.code(),
            set,
            rows: encoding.rows(),
            has_echoes: encoding.has_echoes(),
            has_tables: encoding.has_tables() && set.is_some_and(|set| set.len_of(Table::Then) > 0),
            entry: Entry::NOTHING,
            echoes: 0,
            place: 0,
            begin: 0,
            next: 0,
            bytes: 0,
            table: Table::First,
        }
    }

    /// Whether an operation of the instruction at hand is to come.
    pub(super) fn is_inside(&self) -> bool {
        self.echoes > 0 || self.entry.n_parts() > 0
    }

    /// How many operations are to come of the entry at hand.
    pub(super) fn n_left(&self) -> u64 {
        self.entry.n_parts() as u64
    }

    /// Whether the instruction to come may be one that only this knows.
    #[inline(always)]
    pub(super) fn is_open(&self) -> bool {
        self.echoes > 0 || self.table == Table::Then
    }

    /// Where a budget ends that is spent inside the instruction.
    pub(super) fn stop(&self) -> usize {
        self.begin + 1
    }

    /// The entry that an opcode byte stands for, where this table counts.
    fn entry_at(&self, at: usize, table: Table) -> Option<Entry<'a>> {
        self.set?.entry_of(*self.code.get(at)?, table)
    }

    /// The position behind an instruction of the first table, or a plain one.
    fn behind(&self, at: usize) -> usize {
        match self.entry_at(at, Table::First) {
            Some(entry) => behind(self.code, at + 1, entry.free()),
            None => self.row_at(at).fetch(self.code, at).2,
        }
    }

    fn row_at(&self, at: usize) -> Row {
        self.rows[self.code[at] as usize]
    }

    /// The bytes that are to be counted now.
    pub(super) fn take_bytes(&mut self) -> usize {
        core::mem::take(&mut self.bytes)
    }

    /// Begins with the instruction at a position, or tells nothing if it is none of a set.
    fn begin(&mut self, at: usize) -> Option<()> {
        let table = core::mem::take(&mut self.table);
        self.begin = at;
        if let Some(entry) = self.entry_at(at, table) {
            self.entry = entry;
            self.place = at + 1;
            self.next = behind(self.code, at + 1, entry.free());
            if self.has_tables && entry.last().is_some_and(|part| leaves_and_goes_on(part.op)) {
                self.table = Table::Then;
            }
            self.bytes = self.next - at;
            return Some(());
        }
        if !self.has_echoes || self.code.get(at) != Some(&ECHO) {
            return None;
        }
        let (reference, next) = Reference::decode(self.code, at)?;
        let first = at - reference.back as usize;
        (self.place, self.echoes, self.next) = (first, reference.count, next);
        let end = (0..reference.count).fold(first, |end, _| self.behind(end));
        self.bytes = next - at + end - first;
        Some(())
    }

    /// The operation to come of the entry at hand and the bits of its operand, which are
    /// never in zigzag.
    #[inline(always)]
    fn take(&mut self) -> Option<(u8, u32)> {
        let (opcode, operand) = self.entry.take_first()?;
        Some((opcode, operand.unwrap_or_else(|| self.operand(opcode))))
    }

    #[inline(never)]
    fn operand(&mut self, opcode: u8) -> u32 {
        let (bits, next) = leb128::read_unsigned(self.code, self.place).unwrap_or((0, self.place));
        self.place = next;
        let is_signed = Op::from_opcode(opcode).is_some_and(|op| op.info().operand.is_signed());
        if is_signed { leb128::unzigzag(bits) as u32 } else { bits }
    }

    /// The first operation of the echo's next instruction.
    fn take_echoed(&mut self) -> (u8, u32) {
        self.echoes -= 1;
        if let Some(entry) = self.entry_at(self.place, Table::First) {
            (self.entry, self.place) = (entry, self.place + 1);
            return self.take().unwrap_or((Op::Trap as u8, 0));
        }
        let (opcode, bits, next) = self.row_at(self.place).fetch(self.code, self.place);
        self.place = next;
        (opcode, bits)
    }
}

/// The position behind LEB128 numbers, one for each bit that is set.
fn behind(code: &[u8], at: usize, free: u8) -> usize {
    let (mut at, mut free) = (at, free);
    while free != 0 {
        while code[at] >= 0x80 {
            at += 1;
        }
        at += 1;
        free &= free - 1;
    }
    at
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The operation to come of the entry at hand, which is not its first. The budget has
    /// it already.
    #[inline(always)]
    pub(super) fn take_part(&mut self, pending: &mut Pending<'m>) -> Option<(u8, u32)> {
        // The set has seen to it that what goes elsewhere is the last.
        if self.pc == pending.next { pending.take() } else { None }
    }

    /// The first operation of the instruction to come, if that is one of a set or an
    /// echo's. The budget has it already.
    #[inline(never)]
    pub(super) fn take_first(&mut self, pending: &mut Pending<'m>) -> Option<(u8, u32)> {
        let first = if pending.echoes > 0 {
            self.joined += 1;
            pending.take_echoed()
        } else {
            pending.begin(self.pc)?;
            self.pc = pending.next;
            match pending.take() {
                Some(first) => first,
                None => pending.take_echoed(),
            }
        };
        // Those behind it, less what a stop leaves.
        self.joined += pending.n_left();
        Some(first)
    }

    /// Carries out the entry or the echo whose opcode byte the program counter is just behind. The
    /// loop has taken one operation from the budget and counted one byte.
    ///
    /// That loop knows no second table, so under `context` the entries that one leads to
    /// are carried out here as well, each as the loop would have begun it.
    #[cold]
    #[inline(never)]
    pub(super) fn composite(&mut self) -> Next {
        self.carry_out_pending(&mut Pending::nothing(self.current_image()))
    }

    fn carry_out_pending(&mut self, pending: &mut Pending<'m>) -> Next {
        self.pc -= 1;
        let mut found = self.take_first_alone(pending);
        pending.bytes = pending.bytes.saturating_sub(1);
        loop {
            let mut tally = <H::Observer as Observer>::Tally::default();
            <H::Observer as Observer>::count(&mut tally, pending.take_bytes());
            self.host_mut().observer().absorb(tally);
            let Some((opcode, bits)) = found else { return Err(Raise::internal("trap")) };
            let (begin, next) = (pending.begin, pending.next);
            let op = Op::from_opcode(opcode).unwrap_or(Op::Trap);
            let operand = op.info().operand.from_bits(bits, false);
            let step = Step { image: self.current, at: begin, next, op, operand };
            let after =
                self.observed::<Word>(At { pc: begin, ..self.registers() }, step, operand as u32)?;
            self.sync(after);
            let is_inside = pending.is_inside();
            if !is_inside
                && (pending.table == Table::First
                    || pending.entry_at(self.pc, Table::Then).is_none())
            {
                return Ok(());
            }
            let Some(fuel) = burn(self.fuel, 1) else {
                self.pc = if is_inside { pending.stop() } else { self.pc + 1 };
                return Err(Raise::stop(StopKind::Budget));
            };
            self.fuel = fuel;
            found = if pending.n_left() > 0 {
                self.joined += 1;
                self.take_part(pending)
            } else {
                self.take_first_alone(pending)
            };
        }
    }

    /// The same as `take_first`, and those behind it are counted when their turn comes: who
    /// looks on may ask in between how many instructions there were.
    fn take_first_alone(&mut self, pending: &mut Pending<'m>) -> Option<(u8, u32)> {
        let first = self.take_first(pending);
        self.joined -= pending.n_left();
        first
    }
}
