//! The handler trait of the operation table, for the machine.
//!
//! Short handlers are here whole; longer ones are beside, by theme. It refuses
//! to decode: `at` stands behind the instruction already.

use super::At;
use crate::Host;
use crate::error::Raise;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::Handlers;
use scruple_bytecode::operand::{
    Argc, ConstId, Count, Displacement, FieldId, FreeId, FunctionId, GlobalId, Int, Slot,
};

type Next<L> = Result<At<L>, Raise>;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The value at a depth of the operand stack, the top being 0.
    #[inline(always)]
    pub(super) fn peek(&self, at: At<L>, depth: usize) -> Value<L> {
        at.peek(depth)
    }

    #[inline(always)]
    pub(super) fn put(&mut self, at: At<L>, value: Value<L>) -> At<L> {
        at.put(value)
    }

    /// Takes `taken` values and pushes one.
    #[inline(always)]
    pub(super) fn replace(&mut self, at: At<L>, taken: usize, value: Value<L>) -> At<L> {
        at.replace(taken, value)
    }

    /// Behind a slow path: the budget may have been used by what was called.
    #[inline(always)]
    pub(super) fn replace_after(&mut self, at: At<L>, taken: usize, value: Value<L>) -> At<L> {
        let at = At { fuel: self.fuel, ..at };
        self.replace(at, taken, value)
    }

    #[inline(always)]
    pub(super) fn drop_after(&self, at: At<L>, taken: usize) -> At<L> {
        At { sp: at.sp + taken, fuel: self.fuel, ..at }
    }

    #[inline(always)]
    pub(super) fn slot_at(at: At<L>, slot: Slot) -> usize {
        at.fp - slot.index()
    }
}

impl<L: Layout, H: Host> Handlers for Vm<'_, L, H> {
    type At = At<L>;
    type Stop = Raise;

    fn trap(&mut self, at: At<L>) -> Next<L> {
        self.composite(at)
    }

    #[inline(always)]
    fn push_undefined(&mut self, at: At<L>) -> Next<L> {
        Ok(self.put(at, Value::undefined()))
    }

    #[inline(always)]
    fn push_null(&mut self, at: At<L>) -> Next<L> {
        Ok(self.put(at, Value::null()))
    }

    #[inline(always)]
    fn push_true(&mut self, at: At<L>) -> Next<L> {
        Ok(self.put(at, Value::boolean(true)))
    }

    #[inline(always)]
    fn push_false(&mut self, at: At<L>) -> Next<L> {
        Ok(self.put(at, Value::boolean(false)))
    }

    #[inline(always)]
    fn push_int(&mut self, at: At<L>, int: Int) -> Next<L> {
        Ok(self.put(at, Value::small(int.get())))
    }

    #[inline(always)]
    fn push_const(&mut self, at: At<L>, constant: ConstId) -> Next<L> {
        let value = self.constant_value(self.current, constant);
        Ok(self.put(at, value))
    }

    #[inline(always)]
    fn drop(&mut self, at: At<L>) -> Next<L> {
        Ok(At { sp: at.sp + 1, ..at })
    }

    #[inline(always)]
    fn dup(&mut self, at: At<L>) -> Next<L> {
        let value = self.peek(at, 0);
        Ok(self.put(at, value))
    }

    #[inline(always)]
    fn dup_pair(&mut self, at: At<L>) -> Next<L> {
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
        let at = self.put(at, a);
        Ok(self.put(at, b))
    }

    #[inline(always)]
    fn swap(&mut self, at: At<L>) -> Next<L> {
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
        at.set(at.sp, a);
        at.set(at.sp + 1, b);
        Ok(at)
    }

    #[inline(always)]
    fn tuck(&mut self, at: At<L>) -> Next<L> {
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
        at.set(at.sp + 1, b);
        at.set(at.sp, a);
        Ok(self.put(at, b))
    }

    #[inline(always)]
    fn tuck_pair(&mut self, at: At<L>) -> Next<L> {
        let (c, b, a) = (self.peek(at, 0), self.peek(at, 1), self.peek(at, 2));
        at.set(at.sp + 2, c);
        at.set(at.sp + 1, a);
        at.set(at.sp, b);
        Ok(self.put(at, c))
    }

    #[inline(always)]
    fn load_slot(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        Ok(at.load_slot(slot))
    }

    fn load_slot_checked(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        let value = at.get(Self::slot_at(at, slot));
        if value == Value::uninitialised() {
            return Err(self.uninitialised_variable(at));
        }
        Ok(self.put(at, value))
    }

    #[inline(always)]
    fn store_slot(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        Ok(at.store_slot(slot))
    }

    fn store_slot_checked(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        let at = self.keep_slot_checked(at, slot)?;
        Ok(At { sp: at.sp + 1, ..at })
    }

    #[inline(always)]
    fn keep_slot(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        let value = self.peek(at, 0);
        at.set(Self::slot_at(at, slot), value);
        Ok(at)
    }

    fn keep_slot_checked(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        if at.get(Self::slot_at(at, slot)) == Value::uninitialised() {
            return Err(self.uninitialised_variable(at));
        }
        self.keep_slot(at, slot)
    }

    fn clear_slot(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        at.set(Self::slot_at(at, slot), Value::uninitialised());
        Ok(at)
    }

    fn make_box(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        self.box_value(at, slot, Value::uninitialised())
    }

    fn box_slot(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        let value = at.get(Self::slot_at(at, slot));
        self.box_value(at, slot, value)
    }

    fn renew_box(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        let value = match self.slot_box(at, slot) {
            Some(boxed) => self.heap.value(boxed, 1),
            None => return Err(self.no_box(at)),
        };
        self.box_value(at, slot, value)
    }

    fn init_box(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        match self.slot_box(at, slot) {
            Some(boxed) => {
                let value = self.peek(at, 0);
                self.heap.set_value(boxed, 1, value);
                Ok(At { sp: at.sp + 1, ..at })
            }
            None => Err(self.no_box(at)),
        }
    }

    #[inline]
    fn load_box(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        match self.slot_box(at, slot) {
            Some(boxed) => {
                let value = self.heap.value(boxed, 1);
                if value == Value::uninitialised() {
                    return Err(self.uninitialised_variable(at));
                }
                Ok(self.put(at, value))
            }
            None => Err(self.no_box(at)),
        }
    }

    fn store_box(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        let at = self.keep_box(at, slot)?;
        Ok(At { sp: at.sp + 1, ..at })
    }

    #[inline]
    fn keep_box(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        match self.slot_box(at, slot) {
            Some(boxed) => self.write_box(at, boxed),
            None => Err(self.no_box(at)),
        }
    }

    #[inline]
    fn load_free(&mut self, at: At<L>, free: FreeId) -> Next<L> {
        self.read_free(at, free, false)
    }

    fn load_free_soft(&mut self, at: At<L>, free: FreeId) -> Next<L> {
        self.read_free(at, free, true)
    }

    fn store_free(&mut self, at: At<L>, free: FreeId) -> Next<L> {
        let at = self.keep_free(at, free)?;
        Ok(At { sp: at.sp + 1, ..at })
    }

    #[inline]
    fn keep_free(&mut self, at: At<L>, free: FreeId) -> Next<L> {
        self.write_free(at, free)
    }

    #[inline(always)]
    fn load_global(&mut self, at: At<L>, global: GlobalId) -> Next<L> {
        let value = at.get(self.global_slot(global));
        if value.is_marker() {
            return self.load_global_slow(at, global, false);
        }
        Ok(self.put(at, value))
    }

    fn load_global_soft(&mut self, at: At<L>, global: GlobalId) -> Next<L> {
        let value = at.get(self.global_slot(global));
        if value.is_marker() {
            return self.load_global_slow(at, global, true);
        }
        Ok(self.put(at, value))
    }

    #[inline(always)]
    fn store_global(&mut self, at: At<L>, global: GlobalId) -> Next<L> {
        let at = self.keep_global(at, global)?;
        Ok(At { sp: at.sp + 1, ..at })
    }

    #[inline(always)]
    fn keep_global(&mut self, at: At<L>, global: GlobalId) -> Next<L> {
        let place = self.global_slot(global);
        if at.get(place).is_marker() || self.is_const_global(global) {
            return self.store_global_slow(at, global);
        }
        let value = self.peek(at, 0);
        at.set(place, value);
        Ok(at)
    }

    fn init_global(&mut self, at: At<L>, global: GlobalId) -> Next<L> {
        self.initialise_global(at, global)
    }

    #[inline(always)]
    fn load_this(&mut self, at: At<L>) -> Next<L> {
        let value = at.get(at.fp + 1);
        Ok(self.put(at, value))
    }

    fn load_callee(&mut self, at: At<L>) -> Next<L> {
        let value = at.get(at.fp + 2);
        Ok(self.put(at, value))
    }

    fn load_arguments(&mut self, at: At<L>) -> Next<L> {
        self.push_arguments(at)
    }

    fn fail_const(&mut self, at: At<L>, name: FieldId) -> Next<L> {
        self.sync(at);
        let key = self.field_key(name)?;
        Err(self.throw_constant(key))
    }

    #[inline]
    fn read_field(&mut self, at: At<L>, field: FieldId) -> Next<L> {
        let value = self.field_of(at, 0, field)?;
        Ok(self.replace_after(at, 1, value))
    }

    #[inline]
    fn method_field(&mut self, at: At<L>, field: FieldId) -> Next<L> {
        let object = self.peek(at, 0);
        let value = self.field_of(at, 0, field)?;
        let at = self.replace_after(at, 1, value);
        Ok(self.put(at, object))
    }

    #[inline]
    fn write_field(&mut self, at: At<L>, field: FieldId) -> Next<L> {
        self.set_field(at, field)?;
        Ok(self.drop_after(at, 2))
    }

    #[inline]
    fn keep_field(&mut self, at: At<L>, field: FieldId) -> Next<L> {
        self.set_field(at, field)?;
        let value = self.peek(at, 0);
        Ok(self.replace_after(at, 2, value))
    }

    fn delete_field(&mut self, at: At<L>, field: FieldId) -> Next<L> {
        self.sync(at);
        let key = self.field_key(field)?;
        let base = self.peek(at, 0);
        self.delete_of(base, key)?;
        Ok(self.replace_after(at, 1, Value::boolean(true)))
    }

    fn init_field(&mut self, at: At<L>, field: FieldId) -> Next<L> {
        self.sync(at);
        let key = self.field_key(field)?;
        if key.is_name(scruple_bytecode::names::__PROTO__) {
            self.set_literal_prototype(at)?;
        } else {
            self.define_literal(at, 1, key, super::property::Part::Value)?;
        }
        Ok(self.drop_after(at, 1))
    }

    fn init_getter(&mut self, at: At<L>, field: FieldId) -> Next<L> {
        self.sync(at);
        let key = self.field_key(field)?;
        self.define_literal(at, 1, key, super::property::Part::Getter)?;
        Ok(self.drop_after(at, 1))
    }

    fn init_setter(&mut self, at: At<L>, field: FieldId) -> Next<L> {
        self.sync(at);
        let key = self.field_key(field)?;
        self.define_literal(at, 1, key, super::property::Part::Setter)?;
        Ok(self.drop_after(at, 1))
    }

    #[inline(always)]
    fn read_at(&mut self, at: At<L>) -> Next<L> {
        let value = self.element_of(at)?;
        Ok(self.replace_after(at, 2, value))
    }

    fn method_at(&mut self, at: At<L>) -> Next<L> {
        let object = self.peek(at, 1);
        let value = self.element_of(at)?;
        let at = self.replace_after(at, 2, value);
        Ok(self.put(at, object))
    }

    #[inline(always)]
    fn write_at(&mut self, at: At<L>) -> Next<L> {
        self.set_element_of(at)?;
        Ok(self.drop_after(at, 3))
    }

    #[inline]
    fn keep_at(&mut self, at: At<L>) -> Next<L> {
        self.set_element_of(at)?;
        let value = self.peek(at, 0);
        Ok(self.replace_after(at, 3, value))
    }

    fn delete_at(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let (base, key) = (self.peek(at, 1), self.peek(at, 0));
        if base.is_nullish() {
            return Err(self.throw_type("cannot delete a property of undefined or null"));
        }
        let key = self.to_key(key)?;
        self.delete_of(base, key)?;
        Ok(self.replace_after(at, 2, Value::boolean(true)))
    }

    fn init_at(&mut self, at: At<L>) -> Next<L> {
        self.define_computed(at, super::property::Part::Value)
    }

    fn init_getter_at(&mut self, at: At<L>) -> Next<L> {
        self.define_computed(at, super::property::Part::Getter)
    }

    fn init_setter_at(&mut self, at: At<L>) -> Next<L> {
        self.define_computed(at, super::property::Part::Setter)
    }

    fn make_object(&mut self, at: At<L>, count: Count) -> Next<L> {
        self.sync(at);
        let prototype = crate::builtins::Intrinsic::ObjectPrototype.reference();
        let object = self.new_object(prototype, count.index())?;
        Ok(self.put(at, Value::object(object)))
    }

    fn make_array(&mut self, at: At<L>, count: Count) -> Next<L> {
        self.array_literal(at, count.index())
    }

    fn append(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let (array, value) = (self.peek(at, 1), self.peek(at, 0));
        match array.as_object().filter(|_| self.is_array(array)) {
            Some(array) => self.append(array, value)?,
            None => return Err(Raise::internal("append to no array")),
        }
        Ok(self.drop_after(at, 1))
    }

    fn append_hole(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let array = self.peek(at, 0);
        match array.as_object().filter(|_| self.is_array(array)) {
            Some(array) => {
                let length = self.array_len(array);
                self.set_array_len(array, length + 1)?;
            }
            None => return Err(Raise::internal("append to no array")),
        }
        Ok(At { fuel: self.fuel, ..at })
    }

    fn make_closure(&mut self, at: At<L>, function: FunctionId) -> Next<L> {
        let closure = self.make_closure_of(at, function)?;
        Ok(self.put(at, Value::object(closure)))
    }

    #[inline(always)]
    fn call(&mut self, at: At<L>, argc: Argc) -> Next<L> {
        let argc = argc.index();
        // A frame has a place for the this value above the arguments: they move
        // down by one. An instruction that pushes undefined first would cost more.
        for index in 0..argc {
            let value = self.peek(at, index);
            at.set(at.sp + index - 1, value);
        }
        let callee = self.peek(at, argc);
        at.set(at.sp + argc - 1, Value::undefined());
        let at = At { sp: at.sp - 1, ..at };
        match self.as_closure(callee) {
            Some(closure) => self.enter(at, closure, argc, 0),
            None => self.call_other(at, callee, argc, 0),
        }
    }

    #[inline(always)]
    fn call_method(&mut self, at: At<L>, argc: Argc) -> Next<L> {
        let argc = argc.index();
        let callee = self.peek(at, argc + 1);
        match self.as_closure(callee) {
            Some(closure) => self.enter(at, closure, argc, 0),
            None => {
                if argc == 1
                    && callee.as_object() == crate::builtins::ARRAY_PUSH
                    && let Some(length) = self.push_quick(at.peek(1), at.peek(0))
                {
                    return Ok(at.replace(3, length));
                }
                self.call_other(at, callee, argc, 0)
            }
        }
    }

    fn construct(&mut self, at: At<L>, argc: Argc) -> Next<L> {
        self.construct_literal(at, argc.index())
    }

    #[inline(always)]
    fn add(&mut self, at: At<L>) -> Next<L> {
        match at.add() {
            Some(at) => Ok(at),
            None => self.add_slow(at),
        }
    }

    #[inline(always)]
    fn subtract(&mut self, at: At<L>) -> Next<L> {
        match at.subtract() {
            Some(at) => Ok(at),
            None => self.numbers(at, |a, b| a - b),
        }
    }

    #[inline(always)]
    fn multiply(&mut self, at: At<L>) -> Next<L> {
        if let Some(at) = at.multiply() {
            return Ok(at);
        }
        self.numbers(at, |a, b| a * b)
    }

    #[inline(always)]
    fn divide(&mut self, at: At<L>) -> Next<L> {
        self.numbers(at, |a, b| a / b)
    }

    #[inline(always)]
    fn remainder(&mut self, at: At<L>) -> Next<L> {
        if let Some(at) = at.remainder() {
            return Ok(at);
        }
        self.numbers(at, libm::fmod)
    }

    fn power(&mut self, at: At<L>) -> Next<L> {
        self.numbers(at, super::numeric::power)
    }

    #[inline]
    fn negate(&mut self, at: At<L>) -> Next<L> {
        let a = self.peek(at, 0);
        if let Some(value) = a.as_int().filter(|&int| int != 0).and_then(|int| Value::int(-int)) {
            return Ok(self.replace(at, 1, value));
        }
        self.sync(at);
        let number = self.to_number(a)?;
        let value = self.number(-number)?;
        Ok(self.replace_after(at, 1, value))
    }

    fn to_number(&mut self, at: At<L>) -> Next<L> {
        let a = self.peek(at, 0);
        if a.is_number() {
            return Ok(at);
        }
        self.sync(at);
        let number = self.to_number(a)?;
        let value = self.number(number)?;
        Ok(self.replace_after(at, 1, value))
    }

    #[inline(always)]
    fn increment(&mut self, at: At<L>) -> Next<L> {
        match at.increment() {
            Some(at) => Ok(at),
            None => self.step(at, 1.0),
        }
    }

    #[inline(always)]
    fn decrement(&mut self, at: At<L>) -> Next<L> {
        match at.decrement() {
            Some(at) => Ok(at),
            None => self.step(at, -1.0),
        }
    }

    #[inline(always)]
    fn bit_and(&mut self, at: At<L>) -> Next<L> {
        self.bits(at, |a, b| a & b)
    }

    #[inline(always)]
    fn bit_or(&mut self, at: At<L>) -> Next<L> {
        self.bits(at, |a, b| a | b)
    }

    #[inline(always)]
    fn bit_xor(&mut self, at: At<L>) -> Next<L> {
        self.bits(at, |a, b| a ^ b)
    }

    fn bit_not(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let a = self.peek(at, 0);
        let int = !self.to_i32(a)?;
        let value = self.number(f64::from(int))?;
        Ok(self.replace_after(at, 1, value))
    }

    #[inline(always)]
    fn shift_left(&mut self, at: At<L>) -> Next<L> {
        self.bits(at, |a, b| a.wrapping_shl(b as u32 & 31))
    }

    #[inline(always)]
    fn shift_right(&mut self, at: At<L>) -> Next<L> {
        self.bits(at, |a, b| a.wrapping_shr(b as u32 & 31))
    }

    #[inline]
    fn shift_right_unsigned(&mut self, at: At<L>) -> Next<L> {
        let (b, a) = (self.peek(at, 0), self.peek(at, 1));
        if let Some((x, y)) = L::both_ints(a.0, b.0)
            && let Ok(shifted) = i32::try_from((x as u32) >> (y as u32 & 31))
            && let Some(value) = Value::int(shifted)
        {
            return Ok(self.replace(at, 2, value));
        }
        self.sync(at);
        let x = self.to_u32(a)?;
        let y = self.to_u32(b)?;
        let value = self.number(f64::from(x >> (y & 31)))?;
        Ok(self.replace_after(at, 2, value))
    }

    fn equal(&mut self, at: At<L>) -> Next<L> {
        let same = self.loose(at)?;
        Ok(self.replace_after(at, 2, Value::boolean(same)))
    }

    fn not_equal(&mut self, at: At<L>) -> Next<L> {
        let same = self.loose(at)?;
        Ok(self.replace_after(at, 2, Value::boolean(!same)))
    }

    #[inline(always)]
    fn strict_equal(&mut self, at: At<L>) -> Next<L> {
        let same = self.strictly_equal(self.peek(at, 1), self.peek(at, 0));
        Ok(self.replace(at, 2, Value::boolean(same)))
    }

    #[inline(always)]
    fn strict_not_equal(&mut self, at: At<L>) -> Next<L> {
        let same = self.strictly_equal(self.peek(at, 1), self.peek(at, 0));
        Ok(self.replace(at, 2, Value::boolean(!same)))
    }

    #[inline(always)]
    fn less(&mut self, at: At<L>) -> Next<L> {
        self.order(at, |a, b| a < b, |order| order.is_lt())
    }

    #[inline(always)]
    fn less_equal(&mut self, at: At<L>) -> Next<L> {
        self.order(at, |a, b| a <= b, |order| order.is_le())
    }

    #[inline(always)]
    fn greater(&mut self, at: At<L>) -> Next<L> {
        self.order(at, |a, b| a > b, |order| order.is_gt())
    }

    #[inline(always)]
    fn greater_equal(&mut self, at: At<L>) -> Next<L> {
        self.order(at, |a, b| a >= b, |order| order.is_ge())
    }

    fn in_object(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let (key, base) = (self.peek(at, 1), self.peek(at, 0));
        let Some(object) = base.as_object() else {
            return Err(self.throw_type("the right side of 'in' is not an object"));
        };
        let key = self.to_key(key)?;
        let found = self.has_property(object, key)?;
        Ok(self.replace_after(at, 2, Value::boolean(found)))
    }

    fn instance_of(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let found = self.is_instance(self.peek(at, 1), self.peek(at, 0))?;
        Ok(self.replace_after(at, 2, Value::boolean(found)))
    }

    #[inline(always)]
    fn not(&mut self, at: At<L>) -> Next<L> {
        let truth = self.to_boolean(self.peek(at, 0));
        Ok(self.replace(at, 1, Value::boolean(!truth)))
    }

    fn type_of(&mut self, at: At<L>) -> Next<L> {
        let name = self.type_name(self.peek(at, 0));
        Ok(self.replace(at, 1, Value::name(name)))
    }

    fn to_text(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let text = self.to_text(self.peek(at, 0))?;
        Ok(self.replace_after(at, 1, text))
    }

    fn to_key(&mut self, at: At<L>) -> Next<L> {
        self.key_from(at)
    }

    #[inline(always)]
    fn branch(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        Ok(at.jump(to))
    }

    #[inline(always)]
    fn branch_true(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        let truth = self.to_boolean(self.peek(at, 0));
        let at = At { sp: at.sp + 1, ..at };
        Ok(if truth { at.jump(to) } else { at })
    }

    #[inline(always)]
    fn branch_false(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        let truth = self.to_boolean(self.peek(at, 0));
        let at = At { sp: at.sp + 1, ..at };
        Ok(if truth { at } else { at.jump(to) })
    }

    fn branch_keep_true(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        let truth = self.to_boolean(self.peek(at, 0));
        Ok(if truth { at.jump(to) } else { At { sp: at.sp + 1, ..at } })
    }

    fn branch_keep_false(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        let truth = self.to_boolean(self.peek(at, 0));
        Ok(if truth { At { sp: at.sp + 1, ..at } } else { at.jump(to) })
    }

    fn branch_case(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        let same = self.strictly_equal(self.peek(at, 1), self.peek(at, 0));
        Ok(if same { At { sp: at.sp + 2, ..at }.jump(to) } else { At { sp: at.sp + 1, ..at } })
    }

    #[inline(always)]
    fn return_value(&mut self, at: At<L>) -> Next<L> {
        let value = self.peek(at, 0);
        self.leave(at, at.sp + 1, value)
    }

    #[inline(always)]
    fn return_undefined(&mut self, at: At<L>) -> Next<L> {
        self.leave(at, at.sp, Value::undefined())
    }

    fn throw(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let value = self.peek(at, 0);
        Err(self.throw(value))
    }

    fn start_keys(&mut self, at: At<L>) -> Next<L> {
        self.begin_keys(at)
    }

    fn next_key(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        match self.following_key(at)? {
            Some(key) => Ok(self.replace_after(at, 1, key)),
            None => Ok(self.drop_after(at, 1).jump(to)),
        }
    }

    fn start_values(&mut self, at: At<L>) -> Next<L> {
        self.begin_values(at)
    }

    fn next_value(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        match self.following_value(at)? {
            Some(value) => Ok(self.replace_after(at, 1, value)),
            None => Ok(self.drop_after(at, 1).jump(to)),
        }
    }

    fn branch_keep_defined(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        let is_undefined = self.peek(at, 0).is_undefined();
        Ok(if is_undefined { At { sp: at.sp + 1, ..at } } else { at.jump(to) })
    }

    fn branch_keep_present(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        let is_absent = self.peek(at, 0).is_nullish();
        Ok(if is_absent { At { sp: at.sp + 1, ..at } } else { at.jump(to) })
    }

    fn branch_absent(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        if self.peek(at, 0).is_nullish() {
            return Ok(self.replace(at, 1, Value::undefined()).jump(to));
        }
        Ok(at)
    }

    fn branch_method_absent(&mut self, at: At<L>, to: Displacement) -> Next<L> {
        if self.peek(at, 1).is_nullish() {
            return Ok(self.replace(at, 2, Value::undefined()).jump(to));
        }
        Ok(at)
    }

    fn load_rest(&mut self, at: At<L>, count: Count) -> Next<L> {
        self.push_rest(at, count.index())
    }

    fn call_list(&mut self, at: At<L>) -> Next<L> {
        self.call_with_list(at)
    }

    fn construct_list(&mut self, at: At<L>) -> Next<L> {
        self.construct_with_list(at)
    }

    fn extend(&mut self, at: At<L>) -> Next<L> {
        self.extend_array(at)
    }

    fn copy_properties(&mut self, at: At<L>) -> Next<L> {
        self.copy_into_literal(at)
    }

    fn copy_rest(&mut self, at: At<L>, count: Argc) -> Next<L> {
        self.copy_all_but(at, count.index())
    }

    fn name_function(&mut self, at: At<L>, count: Count) -> Next<L> {
        self.name_by_key(at, count.index())
    }

    fn require_object(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        if self.peek(at, 0).is_nullish() {
            return Err(self.throw_type("undefined or null cannot be taken apart"));
        }
        Ok(at)
    }

    fn step_value(&mut self, at: At<L>) -> Next<L> {
        let value = self.following_value(at)?.unwrap_or(Value::undefined());
        Ok(self.replace_after(at, 1, value))
    }

    fn rest_values(&mut self, at: At<L>) -> Next<L> {
        self.remaining_values(at)
    }

    fn load_template(&mut self, at: At<L>, site: Count) -> Next<L> {
        self.push_template(at, site.index())
    }

    fn make_template(&mut self, at: At<L>, count: Argc) -> Next<L> {
        self.template_of(at, count.index())
    }

    fn close_values(&mut self, at: At<L>) -> Next<L> {
        self.end_values(at)
    }

    fn make_class(&mut self, at: At<L>, function: FunctionId) -> Next<L> {
        self.class_of(at, function)
    }

    fn define_member(&mut self, at: At<L>, count: Count) -> Next<L> {
        self.define_class_member(at, count.index())
    }

    fn set_fields(&mut self, at: At<L>) -> Next<L> {
        self.set_class_fields(at)
    }

    fn define_field(&mut self, at: At<L>) -> Next<L> {
        self.define_own_field(at)
    }

    fn init_fields(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        if let Some(closure) = self.as_closure(self.peek(at, 0)) {
            self.define_fields(self.peek(at, 1), closure)?;
        }
        Ok(self.drop_after(at, 1))
    }

    fn set_home(&mut self, at: At<L>) -> Next<L> {
        if let (Some(home), Some(closure)) =
            (self.peek(at, 2).as_object(), self.as_closure(self.peek(at, 0)))
        {
            self.set_link(closure, home);
        }
        Ok(at)
    }

    fn load_home(&mut self, at: At<L>) -> Next<L> {
        self.push_home(at)
    }

    fn enter_target(&mut self, at: At<L>) -> Next<L> {
        self.push_target(at)
    }

    fn prototype_of(&mut self, at: At<L>) -> Next<L> {
        let prototype = self.peek(at, 0).as_object().map_or(Ref::NONE, |o| self.prototype(o));
        let value = if prototype.is_none() { Value::null() } else { Value::object(prototype) };
        Ok(self.replace(at, 1, value))
    }

    fn copy_super(&mut self, at: At<L>) -> Next<L> {
        self.copy_super_reference(at)
    }

    fn read_super(&mut self, at: At<L>) -> Next<L> {
        let value = self.property_of_super(at)?;
        Ok(self.replace_after(at, 3, value))
    }

    fn method_super(&mut self, at: At<L>) -> Next<L> {
        let function = self.property_of_super(at)?;
        let this = self.peek(at, 2);
        at.set(at.sp + 2, function);
        at.set(at.sp + 1, this);
        Ok(self.drop_after(at, 1))
    }

    fn keep_super(&mut self, at: At<L>) -> Next<L> {
        self.set_property_of_super(at)
    }

    fn delete_super(&mut self, at: At<L>) -> Next<L> {
        self.sync(at);
        let prototype = crate::builtins::Intrinsic::ReferenceErrorPrototype;
        Err(self.throw_error(prototype, "a property of 'super' cannot be deleted", None))
    }

    fn super_call(&mut self, at: At<L>, argc: Argc) -> Next<L> {
        self.construct_pushed(at, argc.index())
    }

    fn super_call_list(&mut self, at: At<L>) -> Next<L> {
        self.super_call_with_list(at)
    }

    fn bind_slot(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        if at.get(Self::slot_at(at, slot)) != Value::uninitialised() {
            return Err(self.bound_already(at));
        }
        self.keep_slot(at, slot)
    }

    fn bind_box(&mut self, at: At<L>, slot: Slot) -> Next<L> {
        match self.slot_box(at, slot) {
            Some(boxed) => self.bind_boxed(at, boxed),
            None => Err(self.no_box(at)),
        }
    }

    fn bind_free(&mut self, at: At<L>, free: FreeId) -> Next<L> {
        self.bind_free_variable(at, free)
    }

    fn check_derived(&mut self, at: At<L>) -> Next<L> {
        let value = self.peek(at, 0);
        if value.is_object() || value.is_undefined() {
            return Ok(at);
        }
        self.sync(at);
        Err(self.throw_type("a derived constructor returns an object or nothing"))
    }

    fn skip_value(&mut self, at: At<L>) -> Next<L> {
        self.skip_values(at)
    }
}
