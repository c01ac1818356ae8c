//! The text of a set, word by word, without std and while the program is compiled if
//! need be: so the shipped set is checked by the build.

use super::error::{Kind, SetError};
use super::table::{Part, SetBuffer};
use super::{MAX_ENTRIES, MAX_NAME, MAX_PARTS, Table};
use crate::operand::OperandKind;
use crate::ops::Op;

/// A place in the text.
#[derive(Clone, Copy)]
struct Cursor<'t> {
    text: &'t [u8],
    at: usize,
    line: u32,
    column: u32,
}

/// What comes next in a line.
#[derive(Clone, Copy)]
enum Token<'t> {
    Word(&'t [u8]),
    Comma,
    EndOfLine,
}

pub(super) const fn parse(text: &str) -> Result<SetBuffer, SetError> {
    let mut cursor = Cursor { text: text.as_bytes(), at: 0, line: 1, column: 1 };
    let mut buffer: Option<SetBuffer> = None;
    // The lines of the entries, to name that of a double.
    let mut lines = [[0; MAX_ENTRIES]; 2];
    while cursor.at < cursor.text.len() {
        let (line, column) = cursor.skip_blanks();
        match (cursor.take(), &mut buffer) {
            (Token::EndOfLine, _) => {}
            (Token::Word(b"set"), None) => match header(&mut cursor) {
                Ok(named) => buffer = Some(named),
                Err(error) => return Err(error),
            },
            (Token::Word(b"set"), Some(_)) => return fault(Kind::SecondHeader, line, column),
            (_, None) => return fault(Kind::NoHeader, line, column),
            (Token::Word(word @ (b"short" | b"join" | b"then")), Some(buffer)) => {
                let (table, is_short) = match form(&mut cursor, word) {
                    Ok(form) => form,
                    Err(error) => return Err(error),
                };
                let own = &mut lines[table as usize];
                match entry(&mut cursor, buffer, table, is_short, (line, column), own) {
                    Ok(()) => own[buffer.n_rows[table as usize] - 1] = line,
                    Err(error) => return Err(error),
                }
            }
            _ => return fault(Kind::Statement, line, column),
        }
        cursor.next_line();
    }
    match buffer {
        Some(buffer) => Ok(buffer),
        None => fault(Kind::NoHeader, cursor.line, cursor.column),
    }
}

const fn fault<T>(kind: Kind, line: u32, column: u32) -> Result<T, SetError> {
    Err(SetError { kind, line, column })
}

const fn header(cursor: &mut Cursor<'_>) -> Result<SetBuffer, SetError> {
    let (line, column) = cursor.skip_blanks();
    let named = match cursor.take() {
        Token::Word(name) if name.len() <= MAX_NAME => match core::str::from_utf8(name) {
            Ok(name) => SetBuffer::new(name),
            Err(_) => None,
        },
        _ => None,
    };
    match (named, end(cursor)) {
        (None, _) => Err(SetError { kind: Kind::Name, line, column }),
        (_, Err(error)) => Err(error),
        (Some(buffer), Ok(())) => Ok(buffer),
    }
}

const fn end(cursor: &mut Cursor<'_>) -> Result<(), SetError> {
    let (line, column) = cursor.skip_blanks();
    match cursor.take() {
        Token::EndOfLine => Ok(()),
        _ => fault(Kind::Behind, line, column),
    }
}

/// The words before an entry: its table, and whether it is a short form.
const fn form(cursor: &mut Cursor<'_>, word: &[u8]) -> Result<(Table, bool), SetError> {
    match word {
        b"short" => return Ok((Table::First, true)),
        b"join" => return Ok((Table::First, false)),
        _ => {}
    }
    let (line, column) = cursor.skip_blanks();
    match cursor.take() {
        Token::Word(b"short") => Ok((Table::Then, true)),
        Token::Word(b"join") => Ok((Table::Then, false)),
        _ => fault(Kind::AfterThen, line, column),
    }
}

/// The parts of an entry, and the entry into the buffer.
const fn entry(
    cursor: &mut Cursor<'_>,
    buffer: &mut SetBuffer,
    table: Table,
    is_short: bool,
    place: (u32, u32),
    lines: &[u32],
) -> Result<(), SetError> {
    let mut parts = [Part::fixed(Op::Trap, 0); MAX_PARTS];
    let mut columns = [place.1; MAX_PARTS + 1];
    let mut n = 0;
    loop {
        let (line, column) = cursor.skip_blanks();
        if n == MAX_PARTS {
            return fault(Kind::TooMany, line, column);
        }
        columns[n] = column;
        parts[n] = match part(cursor) {
            Ok(part) => part,
            Err(error) => return Err(error),
        };
        n += 1;
        let (line, column) = cursor.skip_blanks();
        match cursor.take() {
            Token::Comma if !is_short => {}
            Token::EndOfLine => break,
            _ => return fault(Kind::Behind, line, column),
        }
    }
    let (parts, _) = parts.split_at(n);
    match buffer.check(table, parts, is_short) {
        Ok(()) => {
            buffer.append(table, parts);
            Ok(())
        }
        Err((Kind::Double(row), _)) => fault(Kind::Double(lines[row as usize]), place.0, place.1),
        Err((kind @ (Kind::Full(_) | Kind::TooFew), _)) => fault(kind, place.0, place.1),
        Err((kind, at)) => fault(kind, place.0, columns[at]),
    }
}

/// An operation and its operand.
const fn part(cursor: &mut Cursor<'_>) -> Result<Part, SetError> {
    let (line, column) = cursor.skip_blanks();
    let op = match cursor.take() {
        Token::Word(word) => match operation(word) {
            Some(op) => op,
            None => return fault(Kind::Operation, line, column),
        },
        _ => return fault(Kind::Operation, line, column),
    };
    let has_operand = !matches!(op.info().operand, OperandKind::None);
    let before = *cursor;
    let (line, column) = cursor.skip_blanks();
    match cursor.take() {
        Token::Word(_) if !has_operand => fault(Kind::OperandExtra(op), line, column),
        Token::Word(b"*") => Ok(Part::free(op)),
        Token::Word(word) => match number(word) {
            Number::Is(operand) => Ok(Part::fixed(op, operand)),
            Number::TooLarge => fault(Kind::OperandRange(op), line, column),
            Number::Not => fault(Kind::OperandNumber(op), line, column),
        },
        _ if has_operand => fault(Kind::OperandMissing(op), line, column),
        _ => {
            *cursor = before;
            Ok(Part::fixed(op, 0))
        }
    }
}

const fn operation(word: &[u8]) -> Option<Op> {
    let mut at = 0;
    while at < Op::COUNT {
        if is_same(Op::ALL[at].text().mnemonic.as_bytes(), word) {
            return Some(Op::ALL[at]);
        }
        at += 1;
    }
    None
}

const fn is_same(a: &[u8], b: &[u8]) -> bool {
    if a.len() != b.len() {
        return false;
    }
    let mut at = 0;
    while at < a.len() {
        if a[at] != b[at] {
            return false;
        }
        at += 1;
    }
    true
}

enum Number {
    Is(i32),
    TooLarge,
    Not,
}

const fn number(word: &[u8]) -> Number {
    let is_negative = word[0] == b'-';
    let mut at = if is_negative { 1 } else { 0 };
    if at == word.len() {
        return Number::Not;
    }
    let mut value = 0i64;
    while at < word.len() {
        if !word[at].is_ascii_digit() {
            return Number::Not;
        }
        // Saturates far beyond every operand.
        if value < 1 << 32 {
            value = 10 * value + (word[at] - b'0') as i64;
        }
        at += 1;
    }
    let value = if is_negative { -value } else { value };
    if value < i32::MIN as i64 || value > i32::MAX as i64 {
        return Number::TooLarge;
    }
    Number::Is(value as i32)
}

impl<'t> Cursor<'t> {
    const fn peek(&self) -> Option<u8> {
        if self.at < self.text.len() { Some(self.text[self.at]) } else { None }
    }

    const fn advance(&mut self) {
        self.at += 1;
        // A column is a code point: the bytes that continue one do not count.
        if self.at >= self.text.len() || self.text[self.at] & 0xc0 != 0x80 {
            self.column += 1;
        }
    }

    /// Goes to the next word and tells its line and column.
    const fn skip_blanks(&mut self) -> (u32, u32) {
        while let Some(b' ' | b'\t' | b'\r') = self.peek() {
            self.advance();
        }
        (self.line, self.column)
    }

    /// Takes what comes next; nothing at the end of a line or before a comment.
    const fn take(&mut self) -> Token<'t> {
        let start = self.at;
        match self.peek() {
            None | Some(b'\n' | b'#') => return Token::EndOfLine,
            Some(b',') => {
                self.advance();
                return Token::Comma;
            }
            Some(_) => {}
        }
        while let Some(byte) = self.peek() {
            if matches!(byte, b' ' | b'\t' | b'\r' | b'\n' | b',' | b'#') {
                break;
            }
            self.advance();
        }
        let (_, word) = self.text.split_at(start);
        Token::Word(word.split_at(self.at - start).0)
    }

    const fn next_line(&mut self) {
        while let Some(byte) = self.peek() {
            self.at += 1;
            if byte == b'\n' {
                break;
            }
        }
        self.line += 1;
        self.column = 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sets::{SHIPPED, SHIPPED_TEXT};
    use std::format;
    use std::string::{String, ToString};
    use std::vec::Vec;

    fn refused(entries: &str) -> String {
        SetBuffer::parse(&format!("set t\n{entries}")).unwrap_err().to_string()
    }

    #[test]
    fn what_is_wrong_with_a_set_is_told_with_line_and_column() {
        for (entries, says) in [
            ("jion add, add", "line 2, column 1: expected `short`, `join` or `then`"),
            ("then", "line 2, column 5: expected `short` or `join` behind `then`"),
            (
                "then then join add, add",
                "line 2, column 6: expected `short` or `join` behind `then`",
            ),
            ("then join add, plus", "line 2, column 16: no such operation"),
            (
                "then join add, add\njoin add, add\n then  join add, add",
                "line 4, column 2: the same entry stands in line 2",
            ),
            ("set u", "line 2, column 1: a second `set`: a file holds one set"),
            ("join add, plus", "line 2, column 11: no such operation"),
            ("join add,", "line 2, column 10: no such operation"),
            ("join add, load_slot", "line 2, column 20: load_slot: operand missing, a number or *"),
            ("join add 1, add", "line 2, column 10: add has no operand"),
            ("join add *, add", "line 2, column 10: add has no operand"),
            (
                "short load_slot x",
                "line 2, column 17: load_slot: the operand is neither a number nor *",
            ),
            ("short load_slot -1", "line 2, column 7: load_slot: operand out of range"),
            ("short load_slot 16777216", "line 2, column 7: load_slot: operand out of range"),
            ("short push_int 8388608", "line 2, column 7: push_int: operand out of range"),
            (
                "short push_int 99999999999999999999",
                "line 2, column 16: push_int: operand out of range",
            ),
            ("# é\n\tjoin add", "line 3, column 2: a composite has at least 2 operations"),
            (
                "short add",
                "line 2, column 7: add: this short form is no shorter than the operation",
            ),
            (
                "short load_slot *",
                "line 2, column 7: load_slot: this short form is no shorter than the operation",
            ),
            ("short load_slot 1, add", "line 2, column 18: expected the end of the line"),
            ("join add, trap", "line 2, column 11: trap may not stand in a set"),
            ("join throw, add", "line 2, column 6: throw goes elsewhere: it may only be last"),
            ("join call 1, drop", "line 2, column 6: call goes elsewhere: it may only be last"),
            (
                "join add, branch *, add",
                "line 2, column 11: branch goes elsewhere: it may only be last",
            ),
            (
                "join add, branch 3",
                "line 2, column 11: branch: how far a branch goes is always free, *",
            ),
            (
                "join add, add\nshort push_int 2\njoin add , add # again",
                "line 4, column 1: the same entry stands in line 2",
            ),
            (
                "join add, add, add, add, add, add, add, add, add",
                "line 2, column 46: a composite has at most 8 operations",
            ),
        ] {
            assert_eq!(refused(entries), says, "{entries}");
        }
        let message = |text: &str| SetBuffer::parse(text).unwrap_err().to_string();
        assert_eq!(message("# nothing\n"), "line 2, column 1: a set begins with `set NAME`");
        assert_eq!(message("join add, add\n"), "line 1, column 1: a set begins with `set NAME`");
        assert!(message("set a b").starts_with("line 1, column 7: expected the end"));
        assert!(message("set").starts_with("line 1, column 4: a name is"));
        assert!(message("set \u{fffd}").starts_with("line 1, column 5: a name is"));
    }

    #[test]
    fn a_set_has_as_many_entries_as_opcode_bytes_are_free() {
        let mut text = String::from("set full\n");
        for operand in 0..MAX_ENTRIES {
            text += &format!("short push_int {operand}\n");
        }
        let full = SetBuffer::parse(&text).unwrap();
        assert_eq!(full.set().len(), MAX_ENTRIES);
        let error = SetBuffer::parse(&format!("{text}short push_int -1")).unwrap_err();
        assert_eq!(error.line() as usize, MAX_ENTRIES + 2);
        assert!(full.clone().push(&[Part::fixed(Op::PushInt, -1)]).is_err());
        // The second table has as many of its own.
        let lines: Vec<&str> = text.lines().skip(1).collect();
        let both = format!("{text}then {}\n", lines.join("\nthen "));
        let full = SetBuffer::parse(&both).unwrap();
        assert_eq!(full.set().len_of(Table::Then), MAX_ENTRIES);
        let error = SetBuffer::parse(&format!("{both}then short push_int -1")).unwrap_err();
        let says = "more than 140 entries behind `then`: no opcode byte is left";
        assert_eq!(error.to_string(), format!("line 282, column 1: {says}"));
        let error = full.clone().push_to(Table::Then, &[Part::fixed(Op::PushInt, -1)]).unwrap_err();
        assert_eq!(error.line(), 282);
    }

    // The canonical text leads back to the same set, and a comment changes no hash.
    #[test]
    fn a_sets_canonical_text_reads_back_as_the_same_set() {
        let text = "set a # first\r\n\r\n short  load_slot 3\njoin push_int -7 ,add,store_slot *\n";
        let parsed = SetBuffer::parse(text).unwrap();
        let canonical = "set a\nshort load_slot 3\njoin push_int -7, add, store_slot *\n";
        assert_eq!(parsed.set().to_string(), canonical);
        let again = SetBuffer::parse(canonical).unwrap();
        assert_eq!((again.set(), again.set().hash()), (parsed.set(), parsed.set().hash()));
        let renamed = SetBuffer::parse(&canonical.replace("set a", "set b")).unwrap();
        assert_eq!(renamed.set().hash(), parsed.set().hash());
        // FNV-1a as this file's neighbour defines it, here over the lines of the text.
        let lines = canonical.split_once('\n').unwrap().1;
        let hash = lines
            .bytes()
            .fold(0x811c_9dc5u32, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193));
        assert_eq!(parsed.set().hash(), hash);
        let mut pushed = SetBuffer::new("c").unwrap();
        for entry in parsed.set().entries() {
            let parts: Vec<Part> = entry.parts().collect();
            pushed.push(&parts).unwrap();
        }
        assert_eq!(pushed.set(), parsed.set());
    }

    // The second table's lines come last in the canonical text, wherever they stood, and
    // the hash is over that.
    #[test]
    fn a_second_tables_lines_come_last_in_the_canonical_text_and_are_part_of_the_hash() {
        let text = "set a\nthen  short load_slot 3 # first\njoin add, add\nthen join add ,drop\n";
        let parsed = SetBuffer::parse(text).unwrap();
        let canonical = "set a\njoin add, add\nthen short load_slot 3\nthen join add, drop\n";
        assert_eq!(parsed.set().to_string(), canonical);
        let again = SetBuffer::parse(canonical).unwrap();
        assert_eq!((again.set(), again.set().hash()), (parsed.set(), parsed.set().hash()));
        let lines = canonical.split_once('\n').unwrap().1;
        let hash = lines
            .bytes()
            .fold(0x811c_9dc5u32, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193));
        assert_eq!(parsed.set().hash(), hash);
        let first_only = SetBuffer::parse("set a\njoin add, add\n").unwrap();
        assert_ne!(first_only.set(), parsed.set());
        let mut pushed = SetBuffer::new("a").unwrap();
        for &table in Table::BOTH {
            for entry in parsed.set().entries_in(table) {
                let parts: Vec<Part> = entry.parts().collect();
                pushed.push_to(table, &parts).unwrap();
            }
        }
        assert_eq!((pushed.set(), pushed.set().hash()), (parsed.set(), parsed.set().hash()));
        // Each row of a table takes four bytes, and each operation four.
        assert_eq!(parsed.set().table_bytes(), 3 * 4 + 5 * 4);
    }

    // A byte that the second table has no entry for is what it is in the first.
    #[test]
    fn the_second_table_takes_its_opcode_bytes_from_the_last_one_down() {
        let mut text = String::from("set full\nthen join add, add\nthen join add, drop\n");
        for operand in 0..MAX_ENTRIES {
            text += &format!("short push_int {operand}\n");
        }
        let buffer = SetBuffer::parse(&text).unwrap();
        let set = buffer.set();
        let line = |byte, table| set.entry_of(byte, table).unwrap().to_string();
        assert_eq!(line(254, Table::First), "short push_int 139");
        assert_eq!(line(254, Table::Then), "join add, add");
        assert_eq!(line(253, Table::Then), "join add, drop");
        assert_eq!(line(252, Table::Then), "short push_int 137");
        for table in [Table::First, Table::Then] {
            assert!(set.entry_of(114, table).is_none() && set.entry_of(255, table).is_none());
            for index in 0..set.len_of(table) {
                let entry = set.entry_in(table, index);
                assert_eq!(set.entry_of(table.opcode_byte(index), table), entry);
            }
        }
    }

    #[test]
    fn the_shipped_set_is_the_one_of_its_text() {
        let parsed = SetBuffer::parse(SHIPPED_TEXT).unwrap();
        assert_eq!((parsed.set(), parsed.set().hash()), (SHIPPED, SHIPPED.hash()));
        assert_eq!(parsed.set().name(), SHIPPED.name());
        assert!(!SHIPPED.is_empty());
    }
}
