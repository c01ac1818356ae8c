//! Reads JSON text: the grammar of ECMA-404, as `JSON.parse` needs it.
//!
//! Each open array takes one slot of the machine's stack, each open object two:
//! itself, and the name of the member to come.

use core::fmt::{self, Write};

use crate::Host;
use crate::builtins::Intrinsic;
use crate::error::Raise;
use crate::keys::{KeyKind, attributes};
use crate::layout::{Layout, Tag};
use crate::number;
use crate::text::View;
use crate::value::Value;
use crate::vm::Vm;

const QUOTE: u16 = b'"' as u16;
const BACKSLASH: u16 = b'\\' as u16;
const COMMA: u16 = b',' as u16;
const COLON: u16 = b':' as u16;
const MINUS: u16 = b'-' as u16;
const POINT: u16 = b'.' as u16;
const OPEN_ARRAY: u16 = b'[' as u16;
const CLOSE_ARRAY: u16 = b']' as u16;
const OPEN_OBJECT: u16 = b'{' as u16;
const CLOSE_OBJECT: u16 = b'}' as u16;

/// Units that are looked through for the members of an object, so that it is made with
/// room for them: enough for an object of everyday size.
const AHEAD: usize = 512;

/// The value of a JSON text, which is rooted. The value is not.
pub(super) fn read<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    text: Value<L>,
) -> Result<Value<L>, Raise> {
    let Some(view) = vm.view(text) else { return Err(Raise::internal("no text")) };
    let mut reader = Reader::at(view, 0);
    let bottom = vm.heap.sp;
    loop {
        let Some(mut value) = reader.begin(vm)? else { continue };
        while vm.heap.sp < bottom {
            match reader.give(vm, value)? {
                Some(closed) => value = closed,
                None => break,
            }
        }
        if vm.heap.sp == bottom {
            reader.skip_space(vm);
            return if reader.at == view.len() { Ok(value) } else { Err(reader.refuse(vm)) };
        }
    }
}

/// Where reading stands in the text.
pub(super) struct Reader<'m> {
    view: View<'m>,
    at: usize,
    /// The end of what is read.
    end: usize,
}

impl<'m> Reader<'m> {
    /// Reading that begins at a place of a text.
    pub(super) fn at(view: View<'m>, at: usize) -> Self {
        Reader { view, at, end: view.len() }
    }

    pub(super) fn place(&self) -> usize {
        self.at
    }

    /// Passes a unit.
    pub(super) fn pass<L: Layout, H: Host>(&mut self, vm: &mut Vm<'m, L, H>) -> Result<(), Raise> {
        self.at += 1;
        vm.spend(1)
    }

    /// Passes a value of a text that is known to be well formed, white space before it
    /// included.
    pub(super) fn pass_value<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'m, L, H>,
    ) -> Result<(), Raise> {
        let start = self.at;
        self.skip_value(vm);
        vm.spend(self.at - start)
    }

    /// The same, and the text may be any: it ends where a value would, or with the text.
    fn skip_value<L: Layout, H: Host>(&mut self, vm: &Vm<'m, L, H>) {
        let mut depth = 0usize;
        self.skip_space(vm);
        loop {
            match self.unit(vm) {
                None => return,
                Some(OPEN_ARRAY | OPEN_OBJECT) => depth += 1,
                Some(CLOSE_ARRAY | CLOSE_OBJECT | COMMA) if depth == 0 => return,
                Some(CLOSE_ARRAY | CLOSE_OBJECT) => depth -= 1,
                Some(QUOTE) => {
                    self.at += 1;
                    while self.unit(vm).is_some_and(|unit| unit != QUOTE) {
                        self.at += 1 + usize::from(self.unit(vm) == Some(BACKSLASH));
                    }
                }
                Some(_) => {}
            }
            self.at += 1;
        }
    }

    /// How many members an object has that begins here, or how many are seen: whatever the
    /// text is, that takes no longer than [`AHEAD`].
    fn members_ahead<L: Layout, H: Host>(&self, vm: &Vm<'m, L, H>) -> usize {
        let end = self.end.min(self.at + AHEAD);
        let mut ahead = Reader { view: self.view, at: self.at, end };
        let mut members = 1;
        loop {
            ahead.skip_value(vm);
            if ahead.unit(vm) != Some(COMMA) {
                return members;
            }
            ahead.at += 1;
            members += 1;
        }
    }

    /// Reads a value that is closed at once, or opens an array or object that is
    /// not empty.
    pub(super) fn begin<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'m, L, H>,
    ) -> Result<Option<Value<L>>, Raise> {
        self.skip_space(vm);
        match self.unit(vm) {
            Some(OPEN_ARRAY) => {
                self.at += 1;
                let array = Value::object(vm.new_array(0)?);
                if self.takes(vm, CLOSE_ARRAY) {
                    return Ok(Some(array));
                }
                vm.push(array)?;
                Ok(None)
            }
            Some(OPEN_OBJECT) => {
                self.at += 1;
                let prototype = Intrinsic::ObjectPrototype.reference();
                if self.takes(vm, CLOSE_OBJECT) {
                    return Ok(Some(Value::object(vm.new_object(prototype, 0)?)));
                }
                let room = self.members_ahead(vm);
                let object = Value::object(vm.new_object(prototype, room)?);
                vm.push(object)?;
                self.push_name(vm)?;
                Ok(None)
            }
            Some(QUOTE) => self.string(vm).map(Some),
            Some(MINUS | 0x30..=0x39) => self.number(vm).map(Some),
            Some(0x74) => self.word(vm, "true", Value::boolean(true)).map(Some),
            Some(0x66) => self.word(vm, "false", Value::boolean(false)).map(Some),
            Some(0x6e) => self.word(vm, "null", Value::null()).map(Some),
            _ => Err(self.refuse(vm)),
        }
    }

    /// Gives a value to the innermost open array or object, and gives that back
    /// if it is closed now. It is then not rooted any more.
    fn give<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'m, L, H>,
        value: Value<L>,
    ) -> Result<Option<Value<L>>, Raise> {
        let top = vm.heap.sp;
        vm.push(value)?;
        if let Some(array) = vm.heap.mem_value(top).as_object() {
            vm.append(array, value)?;
            vm.pop();
            if self.takes(vm, COMMA) {
                return Ok(None);
            }
            return if self.takes(vm, CLOSE_ARRAY) {
                Ok(Some(vm.pop()))
            } else {
                Err(self.refuse(vm))
            };
        }
        let key = vm.to_key(vm.heap.mem_value(top))?;
        if let Some(object) = vm.heap.mem_value(top + 1).as_object() {
            vm.add_property(object, key, value, attributes::ALL)?;
        }
        // The value and the name.
        vm.heap.sp += 2;
        if self.takes(vm, COMMA) {
            self.push_name(vm)?;
            return Ok(None);
        }
        if self.takes(vm, CLOSE_OBJECT) { Ok(Some(vm.pop())) } else { Err(self.refuse(vm)) }
    }

    /// Reads the name of a member and its colon. On the stack lies the string
    /// that the key table has, so that the member's key is not lost.
    fn push_name<L: Layout, H: Host>(&mut self, vm: &mut Vm<'m, L, H>) -> Result<(), Raise> {
        self.skip_space(vm);
        if self.unit(vm) != Some(QUOTE) {
            return Err(self.refuse(vm));
        }
        let name = self.string(vm)?;
        let slot = vm.push(name)?;
        if let KeyKind::Text(block) = vm.to_key(name)?.kind() {
            vm.heap.set_mem_value(slot, Value::tagged(Tag::HeapText, block.0));
        }
        if self.takes(vm, COLON) { Ok(()) } else { Err(self.refuse(vm)) }
    }

    fn word<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'m, L, H>,
        word: &str,
        value: Value<L>,
    ) -> Result<Value<L>, Raise> {
        for byte in word.bytes() {
            if self.unit(vm) != Some(u16::from(byte)) {
                return Err(self.refuse(vm));
            }
            self.at += 1;
        }
        Ok(value)
    }

    fn number<L: Layout, H: Host>(&mut self, vm: &mut Vm<'m, L, H>) -> Result<Value<L>, Raise> {
        let start = self.at;
        if self.unit(vm) == Some(MINUS) {
            self.at += 1;
        }
        if self.unit(vm) == Some(u16::from(b'0')) {
            self.at += 1;
        } else {
            self.digits(vm)?;
        }
        if self.unit(vm) == Some(POINT) {
            self.at += 1;
            self.digits(vm)?;
        }
        if matches!(self.unit(vm), Some(0x45 | 0x65)) {
            self.at += 1;
            if matches!(self.unit(vm), Some(0x2b | MINUS)) {
                self.at += 1;
            }
            self.digits(vm)?;
        }
        let unit = |at: usize| vm.unit(&self.view, start + at);
        let number = number::decimal_prefix::<H>(self.at - start, &unit);
        vm.number(number.map_or(f64::NAN, |(number, _)| number))
    }

    /// At least one digit.
    fn digits<L: Layout, H: Host>(&mut self, vm: &mut Vm<'m, L, H>) -> Result<(), Raise> {
        let start = self.at;
        while matches!(self.unit(vm), Some(0x30..=0x39)) {
            self.at += 1;
        }
        if self.at > start { Ok(()) } else { Err(self.refuse(vm)) }
    }

    /// Reads a string from its quote on. The value is not rooted.
    pub(super) fn string<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'m, L, H>,
    ) -> Result<Value<L>, Raise> {
        self.at += 1;
        let start = self.at;
        let mut wide = false;
        loop {
            match self.unit(vm) {
                Some(QUOTE) => break,
                Some(BACKSLASH) => return self.escaped_string(vm, start),
                Some(unit @ 0x20..) => wide |= unit > 0xff,
                _ => return Err(self.refuse(vm)),
            }
            self.at += 1;
        }
        let len = self.at - start;
        self.at += 1;
        let view = self.view;
        vm.text_of(len, wide, |vm, at| vm.unit(&view, start + at))
    }

    /// A string with an escape, at which reading stands.
    fn escaped_string<L: Layout, H: Host>(
        &mut self,
        vm: &mut Vm<'m, L, H>,
        start: usize,
    ) -> Result<Value<L>, Raise> {
        let mark = vm.heap.sp;
        let mut builder = vm.text_builder()?;
        builder.push_view(vm, &self.view, start, self.at)?;
        loop {
            match self.unit(vm) {
                Some(QUOTE) => break,
                Some(BACKSLASH) => {
                    self.at += 1;
                    let unit = self.escape(vm)?;
                    builder.push_unit(vm, unit)?;
                }
                Some(unit @ 0x20..) => {
                    self.at += 1;
                    builder.push_unit(vm, unit)?;
                }
                _ => return Err(self.refuse(vm)),
            }
        }
        self.at += 1;
        let value = builder.finish(vm)?;
        vm.heap.sp = mark;
        Ok(value)
    }

    /// What follows a backslash.
    fn escape<L: Layout, H: Host>(&mut self, vm: &mut Vm<'m, L, H>) -> Result<u16, Raise> {
        let byte = self.unit(vm).and_then(|unit| u8::try_from(unit).ok());
        let unit = match byte {
            Some(byte @ (b'"' | b'\\' | b'/')) => u16::from(byte),
            Some(b'b') => 0x08,
            Some(b'f') => 0x0c,
            Some(b'n') => 0x0a,
            Some(b'r') => 0x0d,
            Some(b't') => 0x09,
            Some(b'u') => {
                let mut unit = 0;
                for _ in 0..4 {
                    self.at += 1;
                    let byte = self.unit(vm).and_then(|unit| u8::try_from(unit).ok());
                    let Some(digit) = byte.and_then(|byte| char::from(byte).to_digit(16)) else {
                        return Err(self.refuse(vm));
                    };
                    unit = unit << 4 | digit as u16;
                }
                unit
            }
            _ => return Err(self.refuse(vm)),
        };
        self.at += 1;
        Ok(unit)
    }

    pub(super) fn unit<L: Layout, H: Host>(&self, vm: &Vm<'m, L, H>) -> Option<u16> {
        (self.at < self.end).then(|| vm.unit(&self.view, self.at))
    }

    /// Passes white space, and the unit behind it if it is this one.
    fn takes<L: Layout, H: Host>(&mut self, vm: &Vm<'m, L, H>, unit: u16) -> bool {
        self.skip_space(vm);
        let found = self.unit(vm) == Some(unit);
        self.at += usize::from(found);
        found
    }

    pub(super) fn skip_space<L: Layout, H: Host>(&mut self, vm: &Vm<'m, L, H>) {
        while matches!(self.unit(vm), Some(0x09 | 0x0a | 0x0d | 0x20)) {
            self.at += 1;
        }
    }

    /// Throws the SyntaxError of the place where reading stands.
    fn refuse<L: Layout, H: Host>(&self, vm: &mut Vm<'m, L, H>) -> Raise {
        let mut line = Line { bytes: [0; LINE], used: 0 };
        let what = match self.unit(vm) {
            None => "the JSON text ends too early",
            Some(..0x20) => "the JSON text has a control character where it must not",
            Some(_) => "the JSON text is not well formed",
        };
        // A longer message than fits is cut: there is none.
        let _ = write!(line, "{what}, at offset {}", self.at);
        let text = core::str::from_utf8(&line.bytes[..line.used]).unwrap_or_default();
        vm.throw_syntax(text)
    }
}

const LINE: usize = 96;

/// A message that is being made.
struct Line {
    bytes: [u8; LINE],
    used: usize,
}

impl Write for Line {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        let end = self.used + text.len();
        match self.bytes.get_mut(self.used..end) {
            Some(place) => place.copy_from_slice(text.as_bytes()),
            None => return Err(fmt::Error),
        }
        self.used = end;
        Ok(())
    }
}
