//! What `Set.prototype` has of the algebra of sets: unions, differences, inclusion.
//!
//! The other operand is whatever has `size`, `has` and `keys` (ECMA-262, "Set
//! Records"). Which of the last two is asked depends on which side is smaller, as the
//! clauses have it.

use super::{canonical, this_collection};
use crate::Host;
use crate::builtins::Intrinsic;
use crate::error::Raise;
use crate::host::Call;
use crate::keys::Key;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::{NameId, names};

/// ECMA-262, Set Record. Its values are rooted.
struct Other<L: Layout> {
    object: Value<L>,
    size: f64,
    has: Value<L>,
    keys: Value<L>,
}

impl<L: Layout> Other<L> {
    /// ECMA-262, GetSetRecord.
    fn of<H: Host>(vm: &mut Vm<'_, L, H>, value: Value<L>) -> Result<Self, Raise> {
        let Some(object) = value.as_object() else {
            return Err(vm.throw_type("the other operand is not an object"));
        };
        let size = vm.get(object, Key::name(names::SIZE))?;
        vm.push(size)?;
        let size = vm.to_number(size)?;
        if size.is_nan() {
            return Err(vm.throw_type("the size of the other operand is not a number"));
        }
        let size = libm::trunc(size);
        if size < 0.0 {
            return Err(vm.throw_range("the size of the other operand is negative"));
        }
        let has = Other::<L>::function(vm, object, names::HAS)?;
        let keys = Other::<L>::function(vm, object, names::KEYS)?;
        Ok(Other { object: value, size, has, keys })
    }

    fn function<H: Host>(
        vm: &mut Vm<'_, L, H>,
        object: Ref,
        name: NameId,
    ) -> Result<Value<L>, Raise> {
        let function = vm.get(object, Key::name(name))?;
        if !vm.is_callable(function) {
            return Err(vm.throw_type("the other operand lacks a function of sets"));
        }
        vm.push(function)?;
        Ok(function)
    }

    fn has<H: Host>(&self, vm: &mut Vm<'_, L, H>, value: Value<L>) -> Result<bool, Raise> {
        let answer = vm.invoke(self.has, self.object, &[value])?;
        Ok(vm.to_boolean(answer))
    }

    /// Hands each of its keys on, rooted, until it is told to stop: then the iterator
    /// is closed.
    fn each_key<H: Host>(
        &self,
        vm: &mut Vm<'_, L, H>,
        begin: impl FnOnce(&mut Vm<'_, L, H>) -> Result<(), Raise>,
        mut take: impl FnMut(&mut Vm<'_, L, H>, Value<L>) -> Result<bool, Raise>,
    ) -> Result<(), Raise> {
        let iterator = vm.values_by(self.object, self.keys)?;
        vm.push(Value::object(iterator))?;
        begin(vm)?;
        let mark = vm.heap.sp;
        while let Some(key) = vm.advance(iterator)? {
            let key = canonical(vm, key);
            vm.push(key)?;
            if !take(vm, key)? {
                return vm.close_iterator(iterator);
            }
            vm.heap.sp = mark;
        }
        Ok(())
    }
}

/// Hands each value of a set on, rooted, until it is told to stop.
fn each_value<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    set: Ref,
    mut take: impl FnMut(&mut Vm<'_, L, H>, Value<L>) -> Result<bool, Raise>,
) -> Result<(), Raise> {
    let mut cursor = vm.first_entry(set);
    let root = vm.push(Value::object(cursor.table))?;
    let mark = vm.heap.sp;
    while let Some(index) = vm.next_entry(set, &mut cursor)? {
        vm.heap.set_mem_value(root, Value::object(cursor.table));
        let value = vm.entry_value(set, cursor.table, index);
        vm.push(value)?;
        if !take(vm, value)? {
            return Ok(());
        }
        vm.heap.sp = mark;
    }
    Ok(())
}

/// The two operands, the other one's values rooted.
fn operands<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
) -> Result<(Ref, Other<L>), Raise> {
    let set = this_collection(vm, call, Class::Set)?;
    let other = Other::of(vm, vm.arg(call, 0))?;
    Ok((set, other))
}

/// An empty set, rooted.
fn new_set<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>) -> Result<Ref, Raise> {
    let set = vm.new_collection(Class::Set, Intrinsic::SetPrototype.reference())?;
    vm.push(Value::object(set))?;
    Ok(set)
}

fn copy_into<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, to: Ref, from: Ref) -> Result<(), Raise> {
    each_value(vm, from, |vm, value| vm.add_entry(to, value, value).map(|()| true))
}

fn add<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, set: Ref, value: Value<L>) -> Result<(), Raise> {
    match vm.find_entry(set, value)? {
        Some(_) => Ok(()),
        None => vm.add_entry(set, value, value),
    }
}

fn remove<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    set: Ref,
    value: Value<L>,
) -> Result<(), Raise> {
    if let Some(index) = vm.find_entry(set, value)? {
        vm.remove_entry(set, index);
    }
    Ok(())
}

/// ECMA-262, Set.prototype.union ( other ).
pub(crate) fn union<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (set, other) = operands(vm, &call)?;
    let result = new_set(vm)?;
    other.each_key(
        vm,
        |vm| copy_into(vm, result, set),
        |vm, key| add(vm, result, key).map(|()| true),
    )?;
    Ok(Value::object(result))
}

/// ECMA-262, Set.prototype.intersection ( other ).
pub(crate) fn intersection<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (set, other) = operands(vm, &call)?;
    let result = new_set(vm)?;
    if vm.n_entries(set) as f64 <= other.size {
        each_value(vm, set, |vm, value| {
            if other.has(vm, value)? {
                add(vm, result, value)?;
            }
            Ok(true)
        })?;
    } else {
        other.each_key(
            vm,
            |_| Ok(()),
            |vm, key| {
                if vm.find_entry(set, key)?.is_some() {
                    add(vm, result, key)?;
                }
                Ok(true)
            },
        )?;
    }
    Ok(Value::object(result))
}

/// ECMA-262, Set.prototype.difference ( other ).
pub(crate) fn difference<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (set, other) = operands(vm, &call)?;
    let result = new_set(vm)?;
    if vm.n_entries(set) as f64 <= other.size {
        copy_into(vm, result, set)?;
        each_value(vm, set, |vm, value| {
            if other.has(vm, value)? {
                remove(vm, result, value)?;
            }
            Ok(true)
        })?;
    } else {
        other.each_key(
            vm,
            |vm| copy_into(vm, result, set),
            |vm, key| remove(vm, result, key).map(|()| true),
        )?;
    }
    Ok(Value::object(result))
}

/// ECMA-262, Set.prototype.symmetricDifference ( other ).
pub(crate) fn symmetric_difference<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (set, other) = operands(vm, &call)?;
    let result = new_set(vm)?;
    other.each_key(
        vm,
        |vm| copy_into(vm, result, set),
        |vm, key| {
            match vm.find_entry(set, key)? {
                Some(_) => remove(vm, result, key)?,
                None => add(vm, result, key)?,
            }
            Ok(true)
        },
    )?;
    Ok(Value::object(result))
}

/// ECMA-262, Set.prototype.isSubsetOf ( other ).
pub(crate) fn is_subset_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (set, other) = operands(vm, &call)?;
    let mut holds = vm.n_entries(set) as f64 <= other.size;
    if holds {
        each_value(vm, set, |vm, value| {
            holds = other.has(vm, value)?;
            Ok(holds)
        })?;
    }
    Ok(Value::boolean(holds))
}

/// ECMA-262, Set.prototype.isSupersetOf ( other ).
pub(crate) fn is_superset_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (set, other) = operands(vm, &call)?;
    let mut holds = vm.n_entries(set) as f64 >= other.size;
    if holds {
        other.each_key(
            vm,
            |_| Ok(()),
            |vm, key| {
                holds = vm.find_entry(set, key)?.is_some();
                Ok(holds)
            },
        )?;
    }
    Ok(Value::boolean(holds))
}

/// ECMA-262, Set.prototype.isDisjointFrom ( other ).
pub(crate) fn is_disjoint_from<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let (set, other) = operands(vm, &call)?;
    let mut holds = true;
    if vm.n_entries(set) as f64 <= other.size {
        each_value(vm, set, |vm, value| {
            holds = !other.has(vm, value)?;
            Ok(holds)
        })?;
    } else {
        other.each_key(
            vm,
            |_| Ok(()),
            |vm, key| {
                holds = vm.find_entry(set, key)?.is_none();
                Ok(holds)
            },
        )?;
    }
    Ok(Value::boolean(holds))
}
