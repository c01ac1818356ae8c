//! The iterators of maps and sets, as objects (ECMA-262, "Map Iterator Objects" and
//! "Set Iterator Objects").
//!
//! One keeps the collection, the table it goes through, and a number: the entry, what
//! it gives of each, and whose iterator it is.

use super::this_collection;
use crate::Host;
use crate::builtins::Intrinsic;
use crate::builtins::iterators::{ENTRIES, KEYS, VALUES, result};
use crate::entries::Cursor;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// Slots of an iterator.
const SOURCE: usize = 2;
const TABLE: usize = 3;
const PLACE: usize = 4;

/// Beside what it gives: it is a set's.
const OF_SET: i32 = 4;
/// An entry counts as many.
const STEP: i32 = 8;

/// ECMA-262, Map.prototype.entries ( ), which is Map.prototype [ %Symbol.iterator% ]
/// ( ) too.
pub(crate) fn map_entries<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    begin(vm, &call, Class::Map, ENTRIES)
}

/// ECMA-262, Map.prototype.keys ( ).
pub(crate) fn map_keys<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    begin(vm, &call, Class::Map, KEYS)
}

/// ECMA-262, Map.prototype.values ( ).
pub(crate) fn map_values<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    begin(vm, &call, Class::Map, VALUES)
}

/// ECMA-262, Set.prototype.entries ( ).
pub(crate) fn set_entries<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    begin(vm, &call, Class::Set, ENTRIES)
}

/// ECMA-262, Set.prototype.values ( ), which is `keys` and Set.prototype
/// [ %Symbol.iterator% ] ( ) too.
pub(crate) fn set_values<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    begin(vm, &call, Class::Set, VALUES)
}

fn begin<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    class: Class,
    gives: i32,
) -> Result<Value<L>, Raise> {
    let collection = this_collection(vm, call, class)?;
    let (prototype, whose) = match class {
        Class::Set => (Intrinsic::SetIteratorPrototype, OF_SET),
        _ => (Intrinsic::MapIteratorPrototype, 0),
    };
    let iterator = vm.new_exotic(Class::EntryIterator, prototype.reference(), 3)?;
    let table = vm.entries_table(collection);
    vm.heap.set_value(iterator, SOURCE, call.this);
    vm.heap.set_value(iterator, TABLE, Value::object(table));
    vm.heap.set_value(iterator, PLACE, Value::small(gives + whose));
    Ok(Value::object(iterator))
}

/// ECMA-262, %MapIteratorPrototype%.next ( ).
pub(crate) fn next_of_map<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    next(vm, &call, 0)
}

/// ECMA-262, %SetIteratorPrototype%.next ( ).
pub(crate) fn next_of_set<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    next(vm, &call, OF_SET)
}

fn next<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    whose: i32,
) -> Result<Value<L>, Raise> {
    match call.this.as_object() {
        Some(object)
            if vm.class(object) == Class::EntryIterator && place(vm, object) & OF_SET == whose =>
        {
            let value = step(vm, object)?;
            result(vm, value)
        }
        _ => Err(vm.throw_type("the this value is not such an iterator")),
    }
}

fn place<L: Layout, H: Host>(vm: &Vm<'_, L, H>, iterator: Ref) -> i32 {
    vm.heap.value(iterator, PLACE).as_int().unwrap_or(0)
}

/// The prototype that an iterator of entries has by nature.
pub(crate) fn owner<L: Layout, H: Host>(vm: &Vm<'_, L, H>, iterator: Ref) -> Intrinsic {
    match place(vm, iterator) & OF_SET {
        0 => Intrinsic::MapIteratorPrototype,
        _ => Intrinsic::SetIteratorPrototype,
    }
}

/// The next value of an iterator of entries. The iterator is rooted, the value is not.
pub(crate) fn step<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    iterator: Ref,
) -> Result<Option<Value<L>>, Raise> {
    let Some(collection) = vm.heap.value(iterator, SOURCE).as_object() else { return Ok(None) };
    let place = place(vm, iterator);
    let table = vm.heap.value(iterator, TABLE).as_object().unwrap_or(Ref::NONE);
    let mut cursor = Cursor { table, index: (place / STEP) as usize };
    let found = vm.next_entry(collection, &mut cursor)?;
    vm.heap.set_value(iterator, TABLE, Value::object(cursor.table));
    let place = place % STEP + cursor.index as i32 * STEP;
    vm.heap.set_value(iterator, PLACE, Value::small(place));
    let Some(index) = found else {
        // An exhausted iterator stays so, whatever is added later.
        vm.heap.set_value(iterator, SOURCE, Value::undefined());
        vm.heap.set_value(iterator, TABLE, Value::undefined());
        return Ok(None);
    };
    let value = vm.entry_value(collection, cursor.table, index);
    let key = vm.entry_key(collection, cursor.table, index).unwrap_or(Value::undefined());
    match place & (OF_SET - 1) {
        KEYS => Ok(Some(key)),
        VALUES => Ok(Some(value)),
        _ => {
            let mark = vm.heap.sp;
            vm.push(key)?;
            vm.push(value)?;
            let pair = vm.new_array(2)?;
            vm.push(Value::object(pair))?;
            vm.append(pair, key)?;
            vm.append(pair, value)?;
            vm.heap.sp = mark;
            Ok(Some(Value::object(pair)))
        }
    }
}
