//! The handler trait of the operation table, for the machine.
//!
//! Short handlers are here whole; longer ones are beside, by theme. It refuses
//! to decode: the program counter stands behind the instruction already.

use core::cmp::Ordering;

use crate::Host;
use crate::error::Raise;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::Handlers;
use scruple_bytecode::operand::{
    Argc, ConstId, Count, Displacement, FieldId, FreeId, FunctionId, GlobalId, Int, Slot,
};

/// How a handler ends. The registers are then the machine's.
pub(crate) type Next = Result<(), Raise>;

/// The registers that handlers work on are the machine's own. What ends most handlers
/// answers as they do.
impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The value in a slot of the region: see `heap::raw` for who keeps it within.
    #[inline(always)]
    pub(crate) fn slot(&self, at: usize) -> Value<L> {
        Value(self.heap.mem.window().get(at))
    }

    #[inline(always)]
    pub(crate) fn set_slot(&mut self, at: usize, value: Value<L>) {
        self.heap.mem.window().set(at, value.0);
    }

    /// The value at a depth of the operand stack, the top being 0.
    #[inline(always)]
    pub(super) fn peek(&self, depth: usize) -> Value<L> {
        self.slot(self.heap.sp + depth)
    }

    /// Pushes a value where the function's depth has made sure of the room.
    #[inline(always)]
    pub(super) fn put(&mut self, value: Value<L>) -> Next {
        self.heap.sp -= 1;
        self.set_slot(self.heap.sp, value);
        Ok(())
    }

    /// Takes `taken` values and pushes one.
    #[inline(always)]
    pub(super) fn replace(&mut self, taken: usize, value: Value<L>) -> Next {
        self.heap.sp += taken - 1;
        self.set_slot(self.heap.sp, value);
        Ok(())
    }

    /// Takes that many values.
    #[inline(always)]
    pub(super) fn discard(&mut self, taken: usize) -> Next {
        self.heap.sp += taken;
        Ok(())
    }

    #[inline(always)]
    pub(super) fn jump(&mut self, to: Displacement) -> Next {
        self.pc = self.pc.wrapping_add_signed(to.get() as isize);
        Ok(())
    }

    /// Where a slot of the running frame lies.
    #[inline(always)]
    pub(super) fn local(&self, slot: Slot) -> usize {
        self.fp - slot.index()
    }
}

impl<L: Layout, H: Host> Handlers for Vm<'_, L, H> {
    type Stop = Raise;

    fn trap(&mut self) -> Next {
        // The compact loop has them carried out before it comes to handlers.
        if H::COMPOSITES && !H::COMPACT { self.composite() } else { Err(Raise::internal("trap")) }
    }

    #[inline(always)]
    fn push_undefined(&mut self) -> Next {
        self.put(Value::undefined())
    }

    #[inline(always)]
    fn push_null(&mut self) -> Next {
        self.put(Value::null())
    }

    #[inline(always)]
    fn push_true(&mut self) -> Next {
        self.put(Value::boolean(true))
    }

    #[inline(always)]
    fn push_false(&mut self) -> Next {
        self.put(Value::boolean(false))
    }

    #[inline(always)]
    fn push_int(&mut self, int: Int) -> Next {
        self.put(Value::small(int.get()))
    }

    #[inline(always)]
    fn push_const(&mut self, constant: ConstId) -> Next {
        let value = self.constant_value(self.current, constant);
        self.put(value)
    }

    #[inline(always)]
    fn drop(&mut self) -> Next {
        self.discard(1)
    }

    #[inline(always)]
    fn dup(&mut self) -> Next {
        let value = self.peek(0);
        self.put(value)
    }

    #[inline(always)]
    fn dup_pair(&mut self) -> Next {
        let (b, a) = (self.peek(0), self.peek(1));
        self.put(a)?;
        self.put(b)
    }

    #[inline(always)]
    fn swap(&mut self) -> Next {
        let (b, a) = (self.peek(0), self.peek(1));
        self.set_slot(self.heap.sp, a);
        self.set_slot(self.heap.sp + 1, b);
        Ok(())
    }

    #[inline(always)]
    fn tuck(&mut self) -> Next {
        let (b, a) = (self.peek(0), self.peek(1));
        self.set_slot(self.heap.sp + 1, b);
        self.set_slot(self.heap.sp, a);
        self.put(b)
    }

    #[inline(always)]
    fn tuck_pair(&mut self) -> Next {
        let (c, b, a) = (self.peek(0), self.peek(1), self.peek(2));
        self.set_slot(self.heap.sp + 2, c);
        self.set_slot(self.heap.sp + 1, a);
        self.set_slot(self.heap.sp, b);
        self.put(c)
    }

    #[inline(always)]
    fn load_slot(&mut self, slot: Slot) -> Next {
        let value = self.slot(self.local(slot));
        self.put(value)
    }

    fn load_slot_checked(&mut self, slot: Slot) -> Next {
        let value = self.slot(self.local(slot));
        if value == Value::uninitialised() {
            return Err(self.uninitialised_variable());
        }
        self.put(value)
    }

    #[inline(always)]
    fn store_slot(&mut self, slot: Slot) -> Next {
        self.keep_slot(slot)?;
        self.discard(1)
    }

    fn store_slot_checked(&mut self, slot: Slot) -> Next {
        self.keep_slot_checked(slot)?;
        self.discard(1)
    }

    #[inline(always)]
    fn keep_slot(&mut self, slot: Slot) -> Next {
        let value = self.peek(0);
        self.set_slot(self.local(slot), value);
        Ok(())
    }

    fn keep_slot_checked(&mut self, slot: Slot) -> Next {
        if self.slot(self.local(slot)) == Value::uninitialised() {
            return Err(self.uninitialised_variable());
        }
        self.keep_slot(slot)
    }

    fn clear_slot(&mut self, slot: Slot) -> Next {
        self.set_slot(self.local(slot), Value::uninitialised());
        Ok(())
    }

    fn make_box(&mut self, slot: Slot) -> Next {
        self.box_value(slot, Value::uninitialised())
    }

    fn box_slot(&mut self, slot: Slot) -> Next {
        let value = self.slot(self.local(slot));
        self.box_value(slot, value)
    }

    fn renew_box(&mut self, slot: Slot) -> Next {
        let value = match self.slot_box(slot) {
            Some(boxed) => self.heap.value(boxed, 1),
            None => return Err(self.no_box()),
        };
        self.box_value(slot, value)
    }

    fn init_box(&mut self, slot: Slot) -> Next {
        match self.slot_box(slot) {
            Some(boxed) => {
                let value = self.peek(0);
                self.heap.set_value(boxed, 1, value);
                self.discard(1)
            }
            None => Err(self.no_box()),
        }
    }

    #[inline]
    fn load_box(&mut self, slot: Slot) -> Next {
        match self.slot_box(slot) {
            Some(boxed) => {
                let value = self.heap.value(boxed, 1);
                if value == Value::uninitialised() {
                    return Err(self.uninitialised_variable());
                }
                self.put(value)
            }
            None => Err(self.no_box()),
        }
    }

    fn store_box(&mut self, slot: Slot) -> Next {
        self.keep_box(slot)?;
        self.discard(1)
    }

    #[inline]
    fn keep_box(&mut self, slot: Slot) -> Next {
        match self.slot_box(slot) {
            Some(boxed) => self.write_box(boxed),
            None => Err(self.no_box()),
        }
    }

    #[inline]
    fn load_free(&mut self, free: FreeId) -> Next {
        self.read_free(free, false)
    }

    fn load_free_soft(&mut self, free: FreeId) -> Next {
        self.read_free(free, true)
    }

    fn store_free(&mut self, free: FreeId) -> Next {
        self.keep_free(free)?;
        self.discard(1)
    }

    #[inline]
    fn keep_free(&mut self, free: FreeId) -> Next {
        self.write_free(free)
    }

    #[inline(always)]
    fn load_global(&mut self, global: GlobalId) -> Next {
        let value = self.slot(self.global_slot(global));
        if value.is_marker() {
            return self.load_global_slow(global, false);
        }
        self.put(value)
    }

    fn load_global_soft(&mut self, global: GlobalId) -> Next {
        let value = self.slot(self.global_slot(global));
        if value.is_marker() {
            return self.load_global_slow(global, true);
        }
        self.put(value)
    }

    #[inline(always)]
    fn store_global(&mut self, global: GlobalId) -> Next {
        self.keep_global(global)?;
        self.discard(1)
    }

    #[inline(always)]
    fn keep_global(&mut self, global: GlobalId) -> Next {
        let place = self.global_slot(global);
        if self.slot(place).is_marker() || self.is_const_global(global) {
            return self.store_global_slow(global);
        }
        let value = self.peek(0);
        self.set_slot(place, value);
        Ok(())
    }

    fn init_global(&mut self, global: GlobalId) -> Next {
        self.initialise_global(global)
    }

    #[inline(always)]
    fn load_this(&mut self) -> Next {
        let value = self.slot(self.fp + 1);
        self.put(value)
    }

    fn load_callee(&mut self) -> Next {
        let value = self.slot(self.fp + 2);
        self.put(value)
    }

    fn load_arguments(&mut self) -> Next {
        self.push_arguments()
    }

    fn fail_const(&mut self, name: FieldId) -> Next {
        let key = self.field_key(name)?;
        Err(self.throw_constant(key))
    }

    #[inline]
    fn read_field(&mut self, field: FieldId) -> Next {
        let value = self.field_of(0, field)?;
        self.replace(1, value)
    }

    #[inline]
    fn method_field(&mut self, field: FieldId) -> Next {
        let object = self.peek(0);
        let value = self.field_of(0, field)?;
        self.replace(1, value)?;
        self.put(object)
    }

    #[inline]
    fn write_field(&mut self, field: FieldId) -> Next {
        self.set_field(field)?;
        self.discard(2)
    }

    #[inline]
    fn keep_field(&mut self, field: FieldId) -> Next {
        self.set_field(field)?;
        let value = self.peek(0);
        self.replace(2, value)
    }

    fn delete_field(&mut self, field: FieldId) -> Next {
        let key = self.field_key(field)?;
        let base = self.peek(0);
        self.delete_of(base, key)?;
        self.replace(1, Value::boolean(true))
    }

    fn init_field(&mut self, field: FieldId) -> Next {
        let key = self.field_key(field)?;
        if key.is_name(scruple_bytecode::names::__PROTO__) {
            self.set_literal_prototype()?;
        } else {
            self.define_literal(1, key, super::property::Part::Value)?;
        }
        self.discard(1)
    }

    fn init_getter(&mut self, field: FieldId) -> Next {
        let key = self.field_key(field)?;
        self.define_literal(1, key, super::property::Part::Getter)?;
        self.discard(1)
    }

    fn init_setter(&mut self, field: FieldId) -> Next {
        let key = self.field_key(field)?;
        self.define_literal(1, key, super::property::Part::Setter)?;
        self.discard(1)
    }

    #[inline(always)]
    fn read_at(&mut self) -> Next {
        let value = self.element_of()?;
        self.replace(2, value)
    }

    fn method_at(&mut self) -> Next {
        let object = self.peek(1);
        let value = self.element_of()?;
        self.replace(2, value)?;
        self.put(object)
    }

    #[inline(always)]
    fn write_at(&mut self) -> Next {
        self.set_element_of()?;
        self.discard(3)
    }

    #[inline]
    fn keep_at(&mut self) -> Next {
        self.set_element_of()?;
        let value = self.peek(0);
        self.replace(3, value)
    }

    fn delete_at(&mut self) -> Next {
        let (base, key) = (self.peek(1), self.peek(0));
        if base.is_nullish() {
            return Err(self.throw_type("cannot delete a property of undefined or null"));
        }
        let key = self.to_key(key)?;
        self.delete_of(base, key)?;
        self.replace(2, Value::boolean(true))
    }

    fn init_at(&mut self) -> Next {
        self.define_computed(super::property::Part::Value)
    }

    fn init_getter_at(&mut self) -> Next {
        self.define_computed(super::property::Part::Getter)
    }

    fn init_setter_at(&mut self) -> Next {
        self.define_computed(super::property::Part::Setter)
    }

    fn make_object(&mut self, count: Count) -> Next {
        self.compact_if_wanted();
        let prototype = crate::builtins::Intrinsic::ObjectPrototype.reference();
        let object = self.new_object(prototype, count.index())?;
        self.put(Value::object(object))
    }

    fn make_array(&mut self, count: Count) -> Next {
        self.compact_if_wanted();
        self.array_literal(count.index())
    }

    fn append(&mut self) -> Next {
        let (array, value) = (self.peek(1), self.peek(0));
        match array.as_object().filter(|_| self.is_array(array)) {
            Some(array) => self.append(array, value)?,
            None => return Err(Raise::internal("append to no array")),
        }
        self.discard(1)
    }

    fn append_hole(&mut self) -> Next {
        let array = self.peek(0);
        match array.as_object().filter(|_| self.is_array(array)) {
            Some(array) => {
                let length = self.array_len(array);
                self.set_array_len(array, length + 1)?;
            }
            None => return Err(Raise::internal("append to no array")),
        }
        Ok(())
    }

    fn make_closure(&mut self, function: FunctionId) -> Next {
        self.compact_if_wanted();
        let closure = self.make_closure_of(function)?;
        self.put(Value::object(closure))
    }

    #[inline(always)]
    fn call(&mut self, argc: Argc) -> Next {
        let argc = argc.index();
        // A frame has a place for the this value above the arguments: they move
        // down by one. An instruction that pushes undefined first would cost more.
        for index in 0..argc {
            let value = self.peek(index);
            self.set_slot(self.heap.sp + index - 1, value);
        }
        let callee = self.peek(argc);
        self.set_slot(self.heap.sp + argc - 1, Value::undefined());
        self.heap.sp -= 1;
        match self.as_closure(callee) {
            Some(closure) => self.enter(closure, argc, 0),
            None => self.call_other(callee, argc, 0),
        }
    }

    #[inline(always)]
    fn call_method(&mut self, argc: Argc) -> Next {
        let argc = argc.index();
        let callee = self.peek(argc + 1);
        match self.as_closure(callee) {
            Some(closure) => self.enter(closure, argc, 0),
            None => {
                if argc == 1
                    && callee.as_object() == crate::builtins::ARRAY_PUSH
                    && let Some(length) = self.push_quick(self.peek(1), self.peek(0))
                {
                    return self.replace(3, length);
                }
                self.call_other(callee, argc, 0)
            }
        }
    }

    fn construct(&mut self, argc: Argc) -> Next {
        self.construct_literal(argc.index())
    }

    #[inline(always)]
    fn add(&mut self) -> Next {
        match self.peek(1).sum(self.peek(0)) {
            Some(value) => self.replace(2, value),
            None => self.add_slow(),
        }
    }

    #[inline(always)]
    fn subtract(&mut self) -> Next {
        match self.peek(1).difference(self.peek(0)) {
            Some(value) => self.replace(2, value),
            None => self.numbers(|a, b| a - b),
        }
    }

    #[inline(always)]
    fn multiply(&mut self) -> Next {
        match self.peek(1).product(self.peek(0)) {
            Some(value) => self.replace(2, value),
            None => self.numbers(|a, b| a * b),
        }
    }

    #[inline(always)]
    fn divide(&mut self) -> Next {
        self.numbers(|a, b| a / b)
    }

    #[inline(always)]
    fn remainder(&mut self) -> Next {
        match self.peek(1).small_remainder(self.peek(0)) {
            Some(value) => self.replace(2, value),
            None => self.numbers(crate::remainder::fmod),
        }
    }

    fn power(&mut self) -> Next {
        self.numbers(super::numeric::power)
    }

    #[inline]
    fn negate(&mut self) -> Next {
        let a = self.peek(0);
        if let Some(value) = a.as_int().filter(|&int| int != 0).and_then(|int| Value::int(-int)) {
            return self.replace(1, value);
        }
        let number = self.to_number(a)?;
        let value = self.number(-number)?;
        self.replace(1, value)
    }

    fn to_number(&mut self) -> Next {
        let a = self.peek(0);
        if a.is_number() {
            return Ok(());
        }
        let number = self.to_number(a)?;
        let value = self.number(number)?;
        self.replace(1, value)
    }

    #[inline(always)]
    fn increment(&mut self) -> Next {
        match self.peek(0).sum(Value::small(1)) {
            Some(value) => self.replace(1, value),
            None => self.step(1.0),
        }
    }

    #[inline(always)]
    fn decrement(&mut self) -> Next {
        match self.peek(0).difference(Value::small(1)) {
            Some(value) => self.replace(1, value),
            None => self.step(-1.0),
        }
    }

    #[inline(always)]
    fn bit_and(&mut self) -> Next {
        self.bits(|a, b| a & b)
    }

    #[inline(always)]
    fn bit_or(&mut self) -> Next {
        self.bits(|a, b| a | b)
    }

    #[inline(always)]
    fn bit_xor(&mut self) -> Next {
        self.bits(|a, b| a ^ b)
    }

    fn bit_not(&mut self) -> Next {
        let a = self.peek(0);
        let int = !self.to_i32(a)?;
        let value = self.number(f64::from(int))?;
        self.replace(1, value)
    }

    #[inline(always)]
    fn shift_left(&mut self) -> Next {
        self.bits(|a, b| a.wrapping_shl(b as u32 & 31))
    }

    #[inline(always)]
    fn shift_right(&mut self) -> Next {
        self.bits(|a, b| a.wrapping_shr(b as u32 & 31))
    }

    #[inline]
    fn shift_right_unsigned(&mut self) -> Next {
        let (b, a) = (self.peek(0), self.peek(1));
        if let Some((x, y)) = L::both_ints(a.0, b.0)
            && let Ok(shifted) = i32::try_from((x as u32) >> (y as u32 & 31))
            && let Some(value) = Value::int(shifted)
        {
            return self.replace(2, value);
        }
        let x = self.to_u32(a)?;
        let y = self.to_u32(b)?;
        let value = self.number(f64::from(x >> (y & 31)))?;
        self.replace(2, value)
    }

    fn equal(&mut self) -> Next {
        let same = self.loose()?;
        self.replace(2, Value::boolean(same))
    }

    fn not_equal(&mut self) -> Next {
        let same = self.loose()?;
        self.replace(2, Value::boolean(!same))
    }

    #[inline(always)]
    fn strict_equal(&mut self) -> Next {
        let same = self.find_equal(self.peek(1), self.peek(0))?;
        self.replace(2, Value::boolean(same))
    }

    #[inline(always)]
    fn strict_not_equal(&mut self) -> Next {
        let same = self.find_equal(self.peek(1), self.peek(0))?;
        self.replace(2, Value::boolean(!same))
    }

    #[inline(always)]
    fn less(&mut self) -> Next {
        self.order(Ordering::is_lt)
    }

    #[inline(always)]
    fn less_equal(&mut self) -> Next {
        self.order(Ordering::is_le)
    }

    #[inline(always)]
    fn greater(&mut self) -> Next {
        self.order(Ordering::is_gt)
    }

    #[inline(always)]
    fn greater_equal(&mut self) -> Next {
        self.order(Ordering::is_ge)
    }

    fn in_object(&mut self) -> Next {
        let (key, base) = (self.peek(1), self.peek(0));
        let Some(object) = base.as_object() else {
            return Err(self.throw_type("the right side of 'in' is not an object"));
        };
        let key = self.to_key(key)?;
        let found = self.has_property(object, key)?;
        self.replace(2, Value::boolean(found))
    }

    fn instance_of(&mut self) -> Next {
        let found = self.is_instance(self.peek(1), self.peek(0))?;
        self.replace(2, Value::boolean(found))
    }

    #[inline(always)]
    fn not(&mut self) -> Next {
        let truth = self.to_boolean(self.peek(0));
        self.replace(1, Value::boolean(!truth))
    }

    fn type_of(&mut self) -> Next {
        let name = self.type_name(self.peek(0));
        self.replace(1, Value::name(name))
    }

    fn to_text(&mut self) -> Next {
        let text = self.to_text(self.peek(0))?;
        self.replace(1, text)
    }

    fn to_key(&mut self) -> Next {
        self.key_from()
    }

    #[inline(always)]
    fn branch(&mut self, to: Displacement) -> Next {
        self.jump(to)
    }

    #[inline(always)]
    fn branch_true(&mut self, to: Displacement) -> Next {
        let truth = self.to_boolean(self.peek(0));
        self.discard(1)?;
        if truth { self.jump(to) } else { Ok(()) }
    }

    #[inline(always)]
    fn branch_false(&mut self, to: Displacement) -> Next {
        let truth = self.to_boolean(self.peek(0));
        self.discard(1)?;
        if truth { Ok(()) } else { self.jump(to) }
    }

    fn branch_keep_true(&mut self, to: Displacement) -> Next {
        let truth = self.to_boolean(self.peek(0));
        if truth { self.jump(to) } else { self.discard(1) }
    }

    fn branch_keep_false(&mut self, to: Displacement) -> Next {
        let truth = self.to_boolean(self.peek(0));
        if truth { self.discard(1) } else { self.jump(to) }
    }

    fn branch_case(&mut self, to: Displacement) -> Next {
        let same = self.find_equal(self.peek(1), self.peek(0))?;
        self.discard(if same { 2 } else { 1 })?;
        if same { self.jump(to) } else { Ok(()) }
    }

    #[inline(always)]
    fn return_value(&mut self) -> Next {
        let value = self.peek(0);
        self.leave(self.heap.sp + 1, value)
    }

    #[inline(always)]
    fn return_undefined(&mut self) -> Next {
        self.leave(self.heap.sp, Value::undefined())
    }

    fn throw(&mut self) -> Next {
        let value = self.peek(0);
        Err(self.throw(value))
    }

    fn start_keys(&mut self) -> Next {
        self.begin_keys()
    }

    fn next_key(&mut self, to: Displacement) -> Next {
        match self.following_key()? {
            Some(key) => self.replace(1, key),
            None => {
                self.discard(1)?;
                self.jump(to)
            }
        }
    }

    fn start_values(&mut self) -> Next {
        self.begin_values()
    }

    fn next_value(&mut self, to: Displacement) -> Next {
        match self.following_value()? {
            Some(value) => self.replace(1, value),
            None => {
                self.discard(1)?;
                self.jump(to)
            }
        }
    }

    fn branch_keep_defined(&mut self, to: Displacement) -> Next {
        let is_undefined = self.peek(0).is_undefined();
        if is_undefined { self.discard(1) } else { self.jump(to) }
    }

    fn branch_keep_present(&mut self, to: Displacement) -> Next {
        let is_absent = self.peek(0).is_nullish();
        if is_absent { self.discard(1) } else { self.jump(to) }
    }

    fn branch_absent(&mut self, to: Displacement) -> Next {
        if self.peek(0).is_nullish() {
            self.replace(1, Value::undefined())?;
            return self.jump(to);
        }
        Ok(())
    }

    fn branch_method_absent(&mut self, to: Displacement) -> Next {
        if self.peek(1).is_nullish() {
            self.replace(2, Value::undefined())?;
            return self.jump(to);
        }
        Ok(())
    }

    fn load_rest(&mut self, count: Count) -> Next {
        self.push_rest(count.index())
    }

    fn call_list(&mut self) -> Next {
        self.call_with_list()
    }

    fn construct_list(&mut self) -> Next {
        self.construct_with_list()
    }

    fn extend(&mut self) -> Next {
        self.extend_array()
    }

    fn copy_properties(&mut self) -> Next {
        self.copy_into_literal()
    }

    fn copy_rest(&mut self, count: Argc) -> Next {
        self.copy_all_but(count.index())
    }

    fn name_function(&mut self, count: Count) -> Next {
        self.name_by_key(count.index())
    }

    fn require_object(&mut self) -> Next {
        if self.peek(0).is_nullish() {
            return Err(self.throw_type("undefined or null cannot be taken apart"));
        }
        Ok(())
    }

    fn step_value(&mut self) -> Next {
        let value = self.following_value()?.unwrap_or(Value::undefined());
        self.replace(1, value)
    }

    fn rest_values(&mut self) -> Next {
        self.remaining_values()
    }

    fn load_template(&mut self, site: Count) -> Next {
        self.push_template(site.index())
    }

    fn make_template(&mut self, count: Argc) -> Next {
        self.template_of(count.index())
    }

    fn close_values(&mut self) -> Next {
        self.end_values()
    }

    fn make_class(&mut self, function: FunctionId) -> Next {
        self.class_of(function)
    }

    fn define_member(&mut self, count: Count) -> Next {
        self.define_class_member(count.index())
    }

    fn set_fields(&mut self) -> Next {
        self.set_class_fields()
    }

    fn define_field(&mut self) -> Next {
        self.define_own_field()
    }

    fn init_fields(&mut self) -> Next {
        if let Some(closure) = self.as_closure(self.peek(0)) {
            self.define_fields(self.peek(1), closure)?;
        }
        self.discard(1)
    }

    fn set_home(&mut self) -> Next {
        if let (Some(home), Some(closure)) =
            (self.peek(2).as_object(), self.as_closure(self.peek(0)))
        {
            self.set_link(closure, home);
        }
        Ok(())
    }

    fn load_home(&mut self) -> Next {
        self.push_home()
    }

    fn enter_target(&mut self) -> Next {
        self.push_target()
    }

    fn prototype_of(&mut self) -> Next {
        let prototype = self.peek(0).as_object().map_or(Ref::NONE, |o| self.prototype(o));
        let value = if prototype.is_none() { Value::null() } else { Value::object(prototype) };
        self.replace(1, value)
    }

    fn copy_super(&mut self) -> Next {
        self.copy_super_reference()
    }

    fn read_super(&mut self) -> Next {
        let value = self.property_of_super()?;
        self.replace(3, value)
    }

    fn method_super(&mut self) -> Next {
        let function = self.property_of_super()?;
        let this = self.peek(2);
        self.set_slot(self.heap.sp + 2, function);
        self.set_slot(self.heap.sp + 1, this);
        self.discard(1)
    }

    fn keep_super(&mut self) -> Next {
        self.set_property_of_super()
    }

    fn delete_super(&mut self) -> Next {
        let prototype = crate::builtins::Intrinsic::ReferenceErrorPrototype;
        Err(self.throw_error(prototype, "a property of 'super' cannot be deleted", None))
    }

    fn super_call(&mut self, argc: Argc) -> Next {
        self.construct_pushed(argc.index())
    }

    fn super_call_list(&mut self) -> Next {
        self.super_call_with_list()
    }

    fn bind_slot(&mut self, slot: Slot) -> Next {
        if self.slot(self.local(slot)) != Value::uninitialised() {
            return Err(self.bound_already());
        }
        self.keep_slot(slot)
    }

    fn bind_box(&mut self, slot: Slot) -> Next {
        match self.slot_box(slot) {
            Some(boxed) => self.bind_boxed(boxed),
            None => Err(self.no_box()),
        }
    }

    fn bind_free(&mut self, free: FreeId) -> Next {
        self.bind_free_variable(free)
    }

    fn check_derived(&mut self) -> Next {
        let value = self.peek(0);
        if value.is_object() || value.is_undefined() {
            return Ok(());
        }
        Err(self.throw_type("a derived constructor returns an object or nothing"))
    }

    fn skip_value(&mut self) -> Next {
        self.skip_values()
    }
}
