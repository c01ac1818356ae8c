//! Writes a value as JSON text (ECMA-262, SerializeJSONProperty and what it
//! calls).
//!
//! Each array or object that is open takes four slots of the machine's stack.
//! The text grows in one block.

use crate::Host;
use crate::builtins::Intrinsic;
use crate::error::Raise;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::number::with_text;
use crate::object::Class;
use crate::text::TextBuilder;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::names;

// Slots of an open array or object, by their distance from the stack's top.
/// Whether a member has been written.
const WRITTEN: usize = 0;
/// How many members are done.
const DONE: usize = 1;
/// The keys of an object, or the length of an array.
const MEMBERS: usize = 2;
const OBJECT: usize = 3;
const LEVEL: usize = 4;

/// The most code units of an indent.
const WIDEST_GAP: usize = 10;

/// The text of a value, or undefined where it has none. All are rooted; the
/// result is not.
pub(super) fn write<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    replacer: Value<L>,
    space: Value<L>,
) -> Result<Value<L>, Raise> {
    let mut list = Value::undefined();
    let mut function = None;
    if vm.is_callable(replacer) {
        function = Some(replacer);
    } else if let Some(array) = replacer.as_object()
        && vm.is_array(replacer)
    {
        list = property_list(vm, array)?;
    }
    vm.push(list)?;
    let gap = gap_of(vm, space)?;
    vm.push(gap)?;
    // Only a replacer function sees the object that holds the value.
    let mut holder = Value::undefined();
    if function.is_some() {
        let wrapper = vm.new_object(Intrinsic::ObjectPrototype.reference(), 1)?;
        holder = Value::object(wrapper);
        vm.push(holder)?;
        vm.add_property(wrapper, Key::name(names::EMPTY), value, attributes::ALL)?;
    }
    let text = vm.text_builder()?;
    let mut writer = Writer { text, function, list, gap, bottom: vm.heap.sp };
    let member = Member::Name(Value::name(names::EMPTY));
    let value = writer.prepare(vm, holder, member, value)?;
    if !has_text(vm, value) {
        return Ok(Value::undefined());
    }
    writer.value(vm, value)?;
    while vm.heap.sp < writer.bottom {
        writer.advance(vm)?;
    }
    writer.text.finish(vm)
}

/// The names that a replacer array lets through, each once.
fn property_list<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, array: Ref) -> Result<Value<L>, Raise> {
    let list = vm.new_array(0)?;
    vm.push(Value::object(list))?;
    let mut index = 0.0;
    while index < vm.length_of(array)? {
        vm.spend(1)?;
        let mark = vm.heap.sp;
        let item = vm.get_index(array, index)?;
        index += 1.0;
        let wrapped = item
            .as_object()
            .is_some_and(|object| matches!(vm.class(object), Class::Number | Class::Text));
        if !item.is_string() && !item.is_number() && !wrapped {
            continue;
        }
        vm.push(item)?;
        let name = vm.to_text(item)?;
        vm.push(name)?;
        let key = vm.to_key(name)?;
        // The key's own string: what is listed keeps the key.
        let name = vm.key_text(key)?;
        vm.push(name)?;
        let n_listed = vm.array_len(list);
        vm.spend(n_listed as usize)?;
        let known = (0..n_listed)
            .any(|at| vm.element(list, at).is_some_and(|other| vm.strictly_equal(other, name)));
        if !known {
            vm.append(list, name)?;
        }
        vm.heap.sp = mark;
    }
    Ok(Value::object(list))
}

/// The text of one step of indent.
fn gap_of<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, space: Value<L>) -> Result<Value<L>, Raise> {
    let space = unwrap(vm, space)?;
    vm.push(space)?;
    if let Some(view) = vm.view(space) {
        return vm.slice_text(space, 0, view.len().min(WIDEST_GAP));
    }
    if !space.is_number() {
        return Ok(Value::name(names::EMPTY));
    }
    let width = vm.to_integer(space)?.clamp(0.0, WIDEST_GAP as f64);
    vm.text_from_latin1(&[b' '; WIDEST_GAP][..width as usize])
}

/// The primitive of a Number or String object, by conversion; the value itself
/// otherwise. The value is rooted.
fn unwrap<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, value: Value<L>) -> Result<Value<L>, Raise> {
    let Some(object) = value.as_object() else { return Ok(value) };
    match vm.class(object) {
        Class::Number => {
            let number = vm.to_number(value)?;
            vm.number(number)
        }
        Class::Text => vm.to_text(value),
        _ => Ok(value),
    }
}

/// Whether a prepared value has a JSON text.
fn has_text<L: Layout, H: Host>(vm: &Vm<'_, L, H>, value: Value<L>) -> bool {
    !value.is_undefined() && !value.is_symbol() && !vm.is_callable(value)
}

/// The name of a property that is written, made a string only where a script
/// sees it.
#[derive(Clone, Copy)]
enum Member<L: Layout> {
    Index(f64),
    Name(Value<L>),
}

struct Writer<L: Layout> {
    text: TextBuilder,
    function: Option<Value<L>>,
    list: Value<L>,
    gap: Value<L>,
    /// The stack's top where nothing is open.
    bottom: usize,
}

impl<L: Layout> Writer<L> {
    /// ECMA-262, SerializeJSONProperty, steps 2 to 4: what `toJSON`, the replacer
    /// and wrapper objects make of a value. The result is not rooted.
    fn prepare<H: Host>(
        &self,
        vm: &mut Vm<'_, L, H>,
        holder: Value<L>,
        member: Member<L>,
        value: Value<L>,
    ) -> Result<Value<L>, Raise> {
        let mut value = value;
        let slot = vm.push(value)?;
        if let Some(object) = value.as_object() {
            let method = vm.get(object, Key::name(names::TO_JSON))?;
            if vm.is_callable(method) {
                vm.push(method)?;
                let name = name_of(vm, member)?;
                value = vm.invoke(method, value, &[name])?;
                vm.heap.set_mem_value(slot, value);
            }
        }
        if let Some(function) = self.function {
            let name = name_of(vm, member)?;
            value = vm.invoke(function, holder, &[name, value])?;
            vm.heap.set_mem_value(slot, value);
        }
        value = match value.as_object() {
            Some(object) if vm.class(object) == Class::Boolean => vm.internal_value(object),
            _ => unwrap(vm, value)?,
        };
        vm.heap.sp = slot + 1;
        Ok(value)
    }

    /// Writes a prepared value, or opens it.
    fn value<H: Host>(&mut self, vm: &mut Vm<'_, L, H>, value: Value<L>) -> Result<(), Raise> {
        if let Some(object) = value.as_object() {
            if vm.class(object) == Class::RawJson {
                let text = vm.get(object, Key::name(names::RAW_JSON))?;
                let slot = vm.push(text)?;
                self.text.push_value(vm, text)?;
                vm.heap.sp = slot + 1;
                return Ok(());
            }
            return self.open(vm, object);
        }
        if let Some(number) = vm.as_number(value) {
            if !number.is_finite() {
                return self.text.push_str(vm, "null");
            }
            return with_text::<H, _>(number, |text| self.text.push_str(vm, text));
        }
        if value.is_string() {
            return self.quote(vm, value);
        }
        let word = match value.as_boolean() {
            Some(true) => "true",
            Some(false) => "false",
            None => "null",
        };
        self.text.push_str(vm, word)
    }

    /// Begins an array or object: a TypeError if it is open already.
    fn open<H: Host>(&mut self, vm: &mut Vm<'_, L, H>, object: Ref) -> Result<(), Raise> {
        let top = vm.heap.sp;
        let depth = self.depth(vm);
        vm.spend(depth)?;
        let value = Value::object(object);
        if (0..depth).any(|level| vm.heap.mem_value(top + LEVEL * level + OBJECT) == value) {
            return Err(vm.throw_type("an object that contains itself has no JSON text"));
        }
        vm.push(value)?;
        let (members, bracket) = if vm.is_array(value) {
            let length = vm.length_of(object)?;
            (vm.number(length)?, "[")
        } else if self.list.is_undefined() {
            (Value::object(vm.own_keys(object, true)?), "{")
        } else {
            (self.list, "{")
        };
        vm.push(members)?;
        vm.push(Value::small(0))?;
        vm.push(Value::boolean(false))?;
        self.text.push_str(vm, bracket)
    }

    /// Writes the next member of the innermost open array or object, or closes it.
    fn advance<H: Host>(&mut self, vm: &mut Vm<'_, L, H>) -> Result<(), Raise> {
        vm.spend(1)?;
        let level = vm.heap.sp;
        let holder = vm.heap.mem_value(level + OBJECT);
        let members = vm.heap.mem_value(level + MEMBERS);
        let done = vm.as_number(vm.heap.mem_value(level + DONE)).unwrap_or(0.0);
        let Some(object) = holder.as_object() else { return Err(Raise::internal("no holder")) };
        let member = match members.as_object() {
            Some(keys) => vm.element(keys, done as u32).map(Member::Name),
            None if vm.as_number(members).is_some_and(|length| done < length) => {
                Some(Member::Index(done))
            }
            None => None,
        };
        let Some(member) = member else { return self.close(vm, level, members.is_object()) };
        let next = vm.number(done + 1.0)?;
        vm.heap.set_mem_value(level + DONE, next);
        let key = match member {
            Member::Index(index) => vm.index_key(index)?,
            Member::Name(name) => vm.to_key(name)?,
        };
        let value = vm.get(object, key)?;
        let value = self.prepare(vm, holder, member, value)?;
        let missing = !has_text(vm, value);
        if missing && matches!(member, Member::Name(_)) {
            return Ok(());
        }
        // The value lies where its own level begins, if it is opened.
        vm.push(value)?;
        if vm.heap.mem_value(level + WRITTEN) == Value::boolean(true) {
            self.text.push_str(vm, ",")?;
        }
        vm.heap.set_mem_value(level + WRITTEN, Value::boolean(true));
        self.line(vm, (self.bottom - level) / LEVEL)?;
        if let Member::Name(name) = member {
            self.quote(vm, name)?;
            let colon = if vm.is_text(self.gap, "") { ":" } else { ": " };
            self.text.push_str(vm, colon)?;
        }
        if missing {
            vm.pop();
            return self.text.push_str(vm, "null");
        }
        let opens = |object| vm.class(object) != Class::RawJson;
        if value.as_object().is_some_and(opens) {
            vm.pop();
            return self.value(vm, value);
        }
        self.value(vm, value)?;
        vm.pop();
        Ok(())
    }

    fn close<H: Host>(
        &mut self,
        vm: &mut Vm<'_, L, H>,
        level: usize,
        is_object: bool,
    ) -> Result<(), Raise> {
        if vm.heap.mem_value(level + WRITTEN) == Value::boolean(true) {
            let depth = self.depth(vm) - 1;
            self.line(vm, depth)?;
        }
        vm.heap.sp = level + LEVEL;
        self.text.push_str(vm, if is_object { "}" } else { "]" })
    }

    /// How many arrays and objects are open.
    fn depth<H: Host>(&self, vm: &Vm<'_, L, H>) -> usize {
        (self.bottom - vm.heap.sp) / LEVEL
    }

    /// Begins a line, if there is a gap.
    fn line<H: Host>(&mut self, vm: &mut Vm<'_, L, H>, depth: usize) -> Result<(), Raise> {
        if vm.is_text(self.gap, "") {
            return Ok(());
        }
        self.text.push_str(vm, "\n")?;
        for _ in 0..depth {
            self.text.push_value(vm, self.gap)?;
        }
        Ok(())
    }

    /// ECMA-262, QuoteJSONString. The string is rooted.
    fn quote<H: Host>(&mut self, vm: &mut Vm<'_, L, H>, text: Value<L>) -> Result<(), Raise> {
        let Some(view) = vm.view(text) else { return Ok(()) };
        self.text.push_str(vm, "\"")?;
        let mut at = 0;
        while at < view.len() {
            let (point, units) = vm.code_point(&view, at);
            at += units;
            let escape = match point {
                0x08 => "\\b",
                0x09 => "\\t",
                0x0a => "\\n",
                0x0c => "\\f",
                0x0d => "\\r",
                0x22 => "\\\"",
                0x5c => "\\\\",
                0x00..0x20 | 0xd800..0xe000 => {
                    self.text.push_str(vm, "\\u")?;
                    for shift in [12, 8, 4, 0] {
                        let digit = b"0123456789abcdef"[(point >> shift & 15) as usize];
                        self.text.push_unit(vm, u16::from(digit))?;
                    }
                    continue;
                }
                _ => {
                    self.text.push_point(vm, point)?;
                    continue;
                }
            };
            self.text.push_str(vm, escape)?;
        }
        self.text.push_str(vm, "\"")
    }
}

/// A member's name as a string. It is not rooted if it was an index.
fn name_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    member: Member<L>,
) -> Result<Value<L>, Raise> {
    match member {
        Member::Index(index) => vm.number_text(index),
        Member::Name(name) => Ok(name),
    }
}
