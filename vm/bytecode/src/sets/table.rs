//! A set as tables: what the compiler and the machine read, and the buffer that one is
//! put together in.
//!
//! A part is one word, operation and operand as in the encoding `word`; an entry is
//! where its parts begin, how many there are, and which operands are free. So a set
//! takes four bytes an entry and four a part, wherever it lies.

use core::fmt;

use super::error::{Kind, SetError};
use super::{MAX_ENTRIES, MAX_NAME, MAX_PARTS, Table, may_stand_inside};
use crate::encoding::{DIRECT, operand_fits};
use crate::operand::OperandKind;
use crate::ops::Op;

/// One operation of an entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Part {
    /// The operation.
    pub op: Op,
    /// Its fixed operand, 0 where it has none; nothing where the operand is free.
    pub operand: Option<i32>,
}

impl Part {
    /// An operation with a fixed operand, or without one: then the operand is 0.
    pub const fn fixed(op: Op, operand: i32) -> Part {
        Part { op, operand: Some(operand) }
    }

    /// An operation with a free operand.
    pub const fn free(op: Op) -> Part {
        Part { op, operand: None }
    }

    /// Whether the operation has an operand at all.
    pub const fn has_operand(self) -> bool {
        !matches!(self.op.info().operand, OperandKind::None)
    }

    /// Whether it stands for the operation with this operand.
    pub const fn takes(self, op: Op, operand: i32) -> bool {
        self.op as u8 == op as u8
            && match self.operand {
                Some(fixed) => fixed == operand,
                None => true,
            }
    }
}

/// An entry's place in the tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Row {
    first: u16,
    n_parts: u8,
    /// A bit a part, set where the operand is free.
    free: u8,
}

const NO_ROW: Row = Row { first: 0, n_parts: 0, free: 0 };

/// A set, read where it lies.
#[derive(Clone, Copy)]
pub struct InstructionSet<'a> {
    pub(super) name: &'a str,
    pub(super) hash: u32,
    pub(super) rows: &'a [Row],
    /// The second table.
    pub(super) then: &'a [Row],
    pub(super) words: &'a [u32],
}

impl fmt::Debug for InstructionSet<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let InstructionSet { name, hash, rows, then, .. } = self;
        write!(f, "{name} {hash:08x}, {} entries", rows.len())?;
        if then.is_empty() { Ok(()) } else { write!(f, " and {} behind `then`", then.len()) }
    }
}

/// Sets of the same entries are the same, whatever they are called.
impl PartialEq for InstructionSet<'_> {
    fn eq(&self, other: &Self) -> bool {
        Table::BOTH.iter().all(|&table| self.entries_in(table).eq(other.entries_in(table)))
    }
}

impl Eq for InstructionSet<'_> {}

impl<'a> InstructionSet<'a> {
    /// What the set is called.
    pub fn name(&self) -> &'a str {
        self.name
    }

    /// The hash that an image names it by.
    pub const fn hash(&self) -> u32 {
        self.hash
    }

    /// The number of entries of the first table.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether the first table has no entry.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The number of entries of a table.
    pub fn len_of(&self, table: Table) -> usize {
        self.rows_of(table).len()
    }

    /// Bytes of its tables: what a machine that has it carries in flash.
    pub fn table_bytes(&self) -> usize {
        size_of_val(self.rows) + size_of_val(self.then) + size_of_val(self.words)
    }

    /// An entry of the first table by its number.
    #[inline]
    pub fn entry(&self, index: usize) -> Option<Entry<'a>> {
        self.entry_in(Table::First, index)
    }

    /// An entry of a table by its number.
    #[inline]
    pub fn entry_in(&self, table: Table, index: usize) -> Option<Entry<'a>> {
        let row = *self.rows_of(table).get(index)?;
        let words = self.words.get(row.first as usize..)?.get(..row.n_parts as usize)?;
        Some(Entry { words, free: row.free })
    }

    /// The entries of the first table, in the order of their opcode bytes.
    pub fn entries(self) -> impl Iterator<Item = Entry<'a>> {
        self.entries_in(Table::First)
    }

    /// The entries of a table, in its order.
    pub fn entries_in(self, table: Table) -> impl Iterator<Item = Entry<'a>> {
        (0..self.len_of(table)).map_while(move |index| self.entry_in(table, index))
    }

    #[inline]
    const fn rows_of(&self, table: Table) -> &'a [Row] {
        match table {
            Table::First => self.rows,
            Table::Then => self.then,
        }
    }
}

/// The canonical text.
impl fmt::Display for InstructionSet<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "set {}", self.name)?;
        self.entries().try_for_each(|entry| writeln!(f, "{entry}"))?;
        self.entries_in(Table::Then).try_for_each(|entry| writeln!(f, "then {entry}"))
    }
}

/// One entry of a set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry<'a> {
    words: &'a [u32],
    free: u8,
}

impl<'a> Entry<'a> {
    /// How many operations it stands for: 1 for a short form.
    #[inline]
    pub fn n_parts(&self) -> usize {
        self.words.len()
    }

    /// Which of its operands follow its opcode byte: a bit an operation, the lowest for
    /// the first.
    #[inline]
    pub fn free(&self) -> u8 {
        self.free
    }

    /// How many operands follow its opcode byte.
    pub fn n_free(&self) -> u32 {
        self.free.count_ones()
    }

    /// An entry of no operations: what is left of one that was taken apart.
    pub const NOTHING: Entry<'static> = Entry { words: &[], free: 0 };

    /// Takes the first operation off: its number, and the bits of its operand as the
    /// encoding `word` has them, or nothing where that is free.
    #[inline(always)]
    pub fn take_first(&mut self) -> Option<(u8, Option<u32>)> {
        let (&word, words) = self.words.split_first()?;
        let is_free = self.free & 1 != 0;
        (self.words, self.free) = (words, self.free >> 1);
        Some((word as u8, if is_free { None } else { Some((word as i32 >> 8) as u32) }))
    }

    /// The last operation.
    pub fn last(&self) -> Option<Part> {
        self.part(self.n_parts().checked_sub(1)?)
    }

    /// An operation by its number.
    #[inline]
    pub fn part(&self, index: usize) -> Option<Part> {
        let word = *self.words.get(index)?;
        let op = Op::from_opcode(word as u8)?;
        let free = self.free >> index & 1 != 0;
        Some(Part { op, operand: if free { None } else { Some(operand_of(op, word)) } })
    }

    /// The operations.
    pub fn parts(self) -> impl Iterator<Item = Part> {
        (0..self.n_parts()).map_while(move |index| self.part(index))
    }
}

/// The line of the canonical text, without its line feed.
impl fmt::Display for Entry<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.n_parts() == 1 { "short" } else { "join" })?;
        for (index, part) in self.parts().enumerate() {
            let comma = if index == 0 { "" } else { "," };
            write!(f, "{comma} {}", part.op.text().mnemonic)?;
            match (part.op.info().operand, part.operand) {
                (OperandKind::None, _) => {}
                (_, None) => f.write_str(" *")?,
                (_, Some(operand)) => write!(f, " {operand}")?,
            }
        }
        Ok(())
    }
}

const fn operand_of(op: Op, word: u32) -> i32 {
    if op.info().operand.is_signed() { word as i32 >> 8 } else { (word >> 8) as i32 }
}

const MAX_WORDS: usize = 2 * MAX_ENTRIES * MAX_PARTS;

/// A set being put together, entry by entry, in memory of its own: some 10 KiB.
#[derive(Clone)]
pub struct SetBuffer {
    name: [u8; MAX_NAME],
    name_len: u8,
    /// By table.
    rows: [[Row; MAX_ENTRIES]; 2],
    pub(super) n_rows: [usize; 2],
    words: [u32; MAX_WORDS],
    pub(super) n_words: usize,
    /// Of the first table's lines so far.
    running_hash: u32,
}

impl fmt::Debug for SetBuffer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.set(), f)
    }
}

impl SetBuffer {
    /// A set without entries, if that is a name.
    pub const fn new(name: &str) -> Option<SetBuffer> {
        let bytes = name.as_bytes();
        if bytes.is_empty() || bytes.len() > MAX_NAME {
            return None;
        }
        let mut buffer = SetBuffer {
            name: [0; MAX_NAME],
            name_len: bytes.len() as u8,
            rows: [[NO_ROW; MAX_ENTRIES]; 2],
            n_rows: [0; 2],
            words: [0; MAX_WORDS],
            n_words: 0,
            running_hash: FNV_BASIS,
        };
        let mut at = 0;
        while at < bytes.len() {
            if !matches!(bytes[at], b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_') {
                return None;
            }
            buffer.name[at] = bytes[at];
            at += 1;
        }
        Some(buffer)
    }

    /// Reads the text of a set.
    pub const fn parse(text: &str) -> Result<SetBuffer, SetError> {
        super::parse::parse(text)
    }

    /// Appends an entry to the first table: one part is a short form, more are a
    /// composite.
    pub const fn push(&mut self, parts: &[Part]) -> Result<(), SetError> {
        self.push_to(Table::First, parts)
    }

    /// Appends an entry to a table.
    pub const fn push_to(&mut self, table: Table, parts: &[Part]) -> Result<(), SetError> {
        let mut line = self.n_rows[Table::First as usize] as u32 + 2;
        if matches!(table, Table::Then) {
            line += self.n_rows[Table::Then as usize] as u32;
        }
        match self.check(table, parts, parts.len() == 1) {
            Ok(()) => {
                self.append(table, parts);
                Ok(())
            }
            Err((kind, _)) => Err(SetError { kind, line, column: 1 }),
        }
    }

    /// The set so far.
    pub fn set(&self) -> InstructionSet<'_> {
        InstructionSet {
            // `new` took nothing but ASCII.
            name: core::str::from_utf8(&self.name[..self.name_len as usize]).unwrap_or_default(),
            hash: self.hash(),
            rows: &self.rows[0][..self.n_rows[0]],
            then: &self.rows[1][..self.n_rows[1]],
            words: &self.words[..self.n_words],
        }
    }

    /// Whether no other entry of the first table finds an opcode byte.
    pub const fn is_full(&self) -> bool {
        self.n_rows[0] == MAX_ENTRIES
    }

    pub(super) const fn hash(&self) -> u32 {
        let (mut hash, mut at) = (self.running_hash, 0);
        while at < self.n_rows[Table::Then as usize] {
            hash = self.hash_on(fnv(hash, b"then "), self.rows[Table::Then as usize][at]);
            at += 1;
        }
        if hash == 0 { 1 } else { hash }
    }

    /// The operations of an entry of the first table and how many they are.
    pub(super) const fn parts(&self, index: usize) -> Option<([Part; MAX_PARTS], usize)> {
        if index >= self.n_rows[Table::First as usize] {
            return None;
        }
        let row = self.rows[Table::First as usize][index];
        let mut parts = [Part::fixed(Op::Trap, 0); MAX_PARTS];
        let mut at = 0;
        while at < row.n_parts as usize {
            let word = self.words[row.first as usize + at];
            let op = Op::ALL[(word & 0xff) as usize];
            let free = row.free >> at & 1 != 0;
            parts[at] = Part { op, operand: if free { None } else { Some(operand_of(op, word)) } };
            at += 1;
        }
        Some((parts, row.n_parts as usize))
    }

    pub(super) const fn rows<const N: usize>(&self, table: Table) -> [Row; N] {
        let mut rows = [NO_ROW; N];
        let mut at = 0;
        while at < N {
            rows[at] = self.rows[table as usize][at];
            at += 1;
        }
        rows
    }

    pub(super) const fn words<const N: usize>(&self) -> [u32; N] {
        let mut words = [0; N];
        let mut at = 0;
        while at < N {
            words[at] = self.words[at];
            at += 1;
        }
        words
    }

    /// The rules of an entry: what is wrong, and with which part.
    pub(super) const fn check(
        &self,
        table: Table,
        parts: &[Part],
        is_short: bool,
    ) -> Result<(), (Kind, usize)> {
        if self.n_rows[table as usize] == MAX_ENTRIES {
            return Err((Kind::Full(table), 0));
        }
        if !is_short && parts.len() < 2 {
            return Err((Kind::TooFew, 0));
        }
        if parts.len() > MAX_PARTS {
            return Err((Kind::TooMany, MAX_PARTS));
        }
        let mut at = 0;
        while at < parts.len() {
            let Part { op, operand } = parts[at];
            let kind = op.info().operand;
            if matches!(op, Op::Trap) {
                return Err((Kind::Trap, at));
            }
            match operand {
                None if matches!(kind, OperandKind::None) => {
                    return Err((Kind::OperandExtra(op), at));
                }
                Some(_) if matches!(kind, OperandKind::Displacement) => {
                    return Err((Kind::Distance(op), at));
                }
                Some(operand) if !operand_fits(op, operand) => {
                    return Err((Kind::OperandRange(op), at));
                }
                _ => {}
            }
            if at + 1 < parts.len() && !may_stand_inside(op) {
                return Err((Kind::NotLast(op), at));
            }
            at += 1;
        }
        if is_short {
            let Part { op, operand } = parts[0];
            let folds = operand.is_some() && !matches!(op.info().operand, OperandKind::None);
            if !folds && (op as usize) < DIRECT {
                return Err((Kind::SavesNothing(op), 0));
            }
        }
        match self.find(table, parts) {
            Some(row) => Err((Kind::Double(row as u32), 0)),
            None => Ok(()),
        }
    }

    /// The entry of these parts.
    const fn find(&self, table: Table, parts: &[Part]) -> Option<usize> {
        let free = free_bits(parts);
        let mut index = 0;
        while index < self.n_rows[table as usize] {
            let row = self.rows[table as usize][index];
            if row.n_parts as usize == parts.len() && row.free == free {
                let mut at = 0;
                while at < parts.len() && self.words[row.first as usize + at] == word_of(parts[at])
                {
                    at += 1;
                }
                if at == parts.len() {
                    return Some(index);
                }
            }
            index += 1;
        }
        None
    }

    /// Appends an entry that was checked.
    pub(super) const fn append(&mut self, table: Table, parts: &[Part]) {
        let row =
            Row { first: self.n_words as u16, n_parts: parts.len() as u8, free: free_bits(parts) };
        self.rows[table as usize][self.n_rows[table as usize]] = row;
        self.n_rows[table as usize] += 1;
        let mut at = 0;
        while at < parts.len() {
            self.words[self.n_words] = word_of(parts[at]);
            self.n_words += 1;
            at += 1;
        }
        // The second table's lines come behind all of the first's.
        if matches!(table, Table::First) {
            self.running_hash = self.hash_on(self.running_hash, row);
        }
    }

    /// The hash of what went before and of an entry's line.
    const fn hash_on(&self, hash: u32, row: Row) -> u32 {
        let mut hash = fnv(hash, if row.n_parts == 1 { b"short" } else { b"join" });
        let mut at = 0;
        while at < row.n_parts as usize {
            let word = self.words[row.first as usize + at];
            let op = Op::ALL[(word & 0xff) as usize];
            hash = fnv(hash, if at == 0 { b" " } else { b", " });
            hash = fnv(hash, op.text().mnemonic.as_bytes());
            if !matches!(op.info().operand, OperandKind::None) {
                hash = if row.free >> at & 1 != 0 {
                    fnv(hash, b" *")
                } else {
                    fnv_number(fnv(hash, b" "), operand_of(op, word))
                };
            }
            at += 1;
        }
        fnv(hash, b"\n")
    }
}

const fn word_of(part: Part) -> u32 {
    match part.operand {
        Some(operand) => (operand as u32) << 8 | part.op as u32,
        None => part.op as u32,
    }
}

const fn free_bits(parts: &[Part]) -> u8 {
    let (mut bits, mut at) = (0, 0);
    while at < parts.len() {
        if parts[at].operand.is_none() {
            bits |= 1 << at;
        }
        at += 1;
    }
    bits
}

const FNV_BASIS: u32 = 0x811c_9dc5;
const FNV_PRIME: u32 = 0x0100_0193;

/// FNV-1a, of 32 bits.
pub(super) const fn fnv(mut hash: u32, bytes: &[u8]) -> u32 {
    let mut at = 0;
    while at < bytes.len() {
        hash = (hash ^ bytes[at] as u32).wrapping_mul(FNV_PRIME);
        at += 1;
    }
    hash
}

/// Of a number's decimal digits.
const fn fnv_number(mut hash: u32, number: i32) -> u32 {
    if number < 0 {
        hash = fnv(hash, b"-");
    }
    let mut rest = number.unsigned_abs();
    let mut digits = [0; 10];
    let mut at = digits.len();
    loop {
        at -= 1;
        digits[at] = b'0' + (rest % 10) as u8;
        rest /= 10;
        if rest == 0 {
            break;
        }
    }
    while at < digits.len() {
        hash = fnv(hash, &[digits[at]]);
        at += 1;
    }
    hash
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the test vectors of the FNV authors' reference code (fnv-1a, 32 bits):
    // "", "a", "foobar". From memory.
    #[test]
    fn the_hash_is_fnv_1a_of_32_bits() {
        assert_eq!(fnv(FNV_BASIS, b""), 0x811c_9dc5);
        assert_eq!(fnv(FNV_BASIS, b"a"), 0xe40c_292c);
        assert_eq!(fnv(FNV_BASIS, b"foobar"), 0xbf9c_f968);
    }
}
