//! The built-ins: objects in flash, and what their functions do.
//!
//! An intrinsic object is a row of a read-only table; its properties are rows of
//! two others. None takes heap until a script changes it. The tables are in
//! `table.rs`; the functions are beside it, one file a family, each to the
//! algorithm of ECMA-262 that its comment names.

mod array;
mod boolean;
mod buffers;
mod collections;
mod console;
mod descriptor;
mod error;
mod function;
mod global;
mod integrity;
mod iterators;
mod json;
mod math;
mod number;
mod object;
mod object_prototype;
mod reflect;
mod string;
mod sum;
mod symbol;
mod table;
mod uri;

pub(crate) use integrity::freeze_value;
pub(crate) use table::{COUNT, Intrinsic};

use crate::Host;
use crate::error::Raise;
use crate::host::Call;
pub(crate) use crate::host::NativeFn;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::Layout;
use crate::object::{Class, Own};
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::{NameId, names};
use table::{DATA, DATA_RANGES, FUNCTION_ROWS, Handlers, NATIVE_RANGES, NATIVES};

/// The global object.
pub(crate) const GLOBAL_OBJECT: Ref = Intrinsic::GlobalObject.reference();

/// A property that is a function.
pub(crate) struct NativeRow {
    owner: Intrinsic,
    name: NameId,
    length: u8,
    kind: NativeKind,
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum NativeKind {
    /// A plain function, which is an object of its own number.
    Method,
    /// The getter of an accessor property.
    Getter,
    /// The setter of the accessor property of the row before.
    Setter,
    /// A constructor, whose object is an intrinsic.
    Constructor(Intrinsic),
}

/// A property that is no function of its own row.
pub(crate) struct DataRow {
    owner: Intrinsic,
    name: NameId,
    value: FlashValue,
    attributes: u8,
}

/// The value of a property in flash.
#[derive(Clone, Copy)]
pub(crate) enum FlashValue {
    Undefined,
    /// By reference: in place it would make every row of the table three times as long.
    Number(&'static f64),
    Truth(bool),
    Text(NameId),
    Symbol(NameId),
    Object(Intrinsic),
    /// The function of that owner's row: the same object.
    Method(Intrinsic, NameId),
    /// No value: an accessor property that always throws.
    Thrower,
}

/// An object in flash: an intrinsic, or the function of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Flash {
    Intrinsic(Intrinsic),
    Native(usize),
}

impl Flash {
    /// What a reference refers to in flash.
    #[inline]
    pub(crate) fn of(object: Ref) -> Option<Flash> {
        let number = object.flash()?;
        match Intrinsic::from_number(number) {
            Some(intrinsic) => Some(Flash::Intrinsic(intrinsic)),
            None => {
                let row = number - Intrinsic::COUNT;
                (row < NATIVES.len()).then_some(Flash::Native(row))
            }
        }
    }

    const fn native(row: usize) -> Ref {
        Ref::from_flash(Intrinsic::COUNT + row)
    }

    /// The row of the function that the object is, if it is one.
    fn row(self) -> Option<usize> {
        match self {
            Flash::Native(row) => Some(row),
            Flash::Intrinsic(intrinsic) => match FUNCTION_ROWS[intrinsic as usize] {
                u16::MAX => None,
                row => Some(row as usize),
            },
        }
    }

    pub(crate) fn class(self) -> Class {
        match self {
            Flash::Intrinsic(Intrinsic::StringPrototype) => Class::Text,
            Flash::Intrinsic(Intrinsic::NumberPrototype) => Class::Number,
            Flash::Intrinsic(Intrinsic::BooleanPrototype) => Class::Boolean,
            Flash::Intrinsic(Intrinsic::FunctionPrototype | Intrinsic::ThrowTypeError) => {
                Class::Function
            }
            _ if self.row().is_some() => Class::Function,
            _ => Class::Plain,
        }
    }

    /// The value of the prototypes that are themselves a String, a Number and a
    /// Boolean object.
    pub(crate) fn internal_value<L: Layout>(self) -> Value<L> {
        match self {
            Flash::Intrinsic(Intrinsic::StringPrototype) => Value::name(names::EMPTY),
            Flash::Intrinsic(Intrinsic::NumberPrototype) => Value::small(0),
            Flash::Intrinsic(Intrinsic::BooleanPrototype) => Value::boolean(false),
            _ => Value::undefined(),
        }
    }

    pub(crate) fn prototype(self) -> Ref {
        match self {
            Flash::Native(_) => Intrinsic::FunctionPrototype.reference(),
            Flash::Intrinsic(intrinsic) => intrinsic.prototype(),
        }
    }

    pub(crate) fn constructs(self) -> bool {
        self.row().is_some_and(|row| matches!(NATIVES[row].kind, NativeKind::Constructor(_)))
    }

    pub(crate) fn call<L: Layout, H: Host>(
        self,
        vm: &mut Vm<'_, L, H>,
        call: Call<L>,
    ) -> Result<Value<L>, Raise> {
        match self.row() {
            Some(row) => (Handlers::<L, H>::ALL[row])(vm, call),
            None if self == Flash::Intrinsic(Intrinsic::ThrowTypeError) => {
                Err(vm.throw_type("strict mode code cannot ask who calls it, or with what"))
            }
            None => Ok(Value::undefined()),
        }
    }

    /// Whether the object has a property of this name in flash.
    pub(crate) fn has_name(self, name: NameId) -> bool {
        let is_function = self.class() == Class::Function;
        if is_function && (name == names::LENGTH || name == names::NAME) {
            return true;
        }
        let Flash::Intrinsic(owner) = self else { return false };
        find_native(owner, name).is_some() || find_data(owner, name).is_some()
    }

    /// The names of its properties in flash, by index.
    pub(crate) fn name_at(self, index: usize) -> Option<NameId> {
        let mut index = index;
        if self.class() == Class::Function {
            match index {
                0 => return Some(names::LENGTH),
                1 => return Some(names::NAME),
                _ => index -= 2,
            }
        }
        let Flash::Intrinsic(owner) = self else { return None };
        let (start, end) = NATIVE_RANGES[owner as usize];
        // A setter's row is no property of its own.
        for row in &NATIVES[start as usize..end as usize] {
            match index {
                _ if row.kind == NativeKind::Setter => {}
                0 => return Some(row.name),
                _ => index -= 1,
            }
        }
        let (start, end) = DATA_RANGES[owner as usize];
        DATA[start as usize..end as usize].get(index).map(|row| row.name)
    }

    /// An own property in flash.
    pub(crate) fn own<L: Layout, H: Host>(
        self,
        vm: &mut Vm<'_, L, H>,
        key: Key,
    ) -> Result<Option<Own<L>>, Raise> {
        let KeyKind::Name(name) = key.kind() else { return Ok(None) };
        if self.class() == Class::Function {
            // ECMA-262, %ThrowTypeError%: that one can be changed in no way.
            let changes = self != Flash::Intrinsic(Intrinsic::ThrowTypeError);
            let attributes = if changes { attributes::CONFIGURABLE } else { 0 };
            if name == names::LENGTH {
                let length = self.row().map_or(0, |row| NATIVES[row].length);
                let value = Value::small(i32::from(length));
                return Ok(Some(Own::Data { value, attributes }));
            }
            if name == names::NAME {
                let value = self.function_name(vm)?;
                return Ok(Some(Own::Data { value, attributes }));
            }
        }
        let Flash::Intrinsic(owner) = self else { return Ok(None) };
        if let Some(row) = find_native(owner, name) {
            return Ok(Some(match NATIVES[row].kind {
                NativeKind::Method => Own::Data {
                    value: Value::object(Flash::native(row)),
                    attributes: method_attributes(name),
                },
                NativeKind::Constructor(intrinsic) => Own::Data {
                    value: Value::object(intrinsic.reference()),
                    attributes: attributes::HIDDEN,
                },
                NativeKind::Getter | NativeKind::Setter => {
                    let (getter, setter) = accessor_rows(row);
                    Own::Accessor {
                        getter: getter.map_or(Ref::NONE, Flash::native),
                        setter: setter.map_or(Ref::NONE, Flash::native),
                        attributes: attributes::CONFIGURABLE,
                    }
                }
            }));
        }
        let Some(row) = find_data(owner, name) else { return Ok(None) };
        let value = match row.value {
            FlashValue::Undefined => Value::undefined(),
            FlashValue::Number(&number) => vm.number(number)?,
            FlashValue::Truth(truth) => Value::boolean(truth),
            FlashValue::Text(name) => Value::name(name),
            FlashValue::Symbol(name) => Value::symbol(name),
            FlashValue::Object(intrinsic) => Value::object(intrinsic.reference()),
            FlashValue::Method(owner, name) => method_of(owner, name),
            FlashValue::Thrower => return Ok(Some(Own::thrower(row.attributes))),
        };
        Ok(Some(Own::Data { value, attributes: row.attributes }))
    }

    /// The `name` of a function, which says what an accessor is (ECMA-262,
    /// "ECMAScript Standard Built-in Objects").
    fn function_name<L: Layout, H: Host>(self, vm: &mut Vm<'_, L, H>) -> Result<Value<L>, Raise> {
        let Some(row) = self.row() else { return Ok(Value::name(names::EMPTY)) };
        let NativeRow { name, kind, .. } = NATIVES[row];
        let prefix = match kind {
            NativeKind::Getter => "get ",
            NativeKind::Setter => "set ",
            _ if kind == NativeKind::Constructor(Intrinsic::TypedArray) => {
                return Ok(Value::name(names::TYPED_ARRAY));
            }
            _ if name.is_symbol() => "",
            _ => return Ok(Value::name(name)),
        };
        let (before, behind) = if name.is_symbol() { ("[", "]") } else { ("", "") };
        let mark = vm.heap.sp;
        let mut builder = vm.text_builder()?;
        for part in [prefix, before, name.text(), behind] {
            builder.push_str(vm, part)?;
        }
        let text = builder.finish(vm)?;
        vm.heap.sp = mark;
        Ok(text)
    }
}

/// The attributes of a property that is a method: the standard has two that
/// differ.
fn method_attributes(name: NameId) -> u8 {
    match name {
        names::SYMBOL_HAS_INSTANCE => 0,
        names::SYMBOL_TO_PRIMITIVE => attributes::CONFIGURABLE,
        _ => attributes::HIDDEN,
    }
}

/// The rows of the getter and the setter of an accessor property, of which one
/// row was found.
fn accessor_rows(row: usize) -> (Option<usize>, Option<usize>) {
    let NativeRow { owner, name, kind, .. } = NATIVES[row];
    let pairs = |other: &usize| {
        NATIVES.get(*other).is_some_and(|found| found.owner == owner && found.name == name)
    };
    if kind == NativeKind::Setter {
        (row.checked_sub(1).filter(pairs), Some(row))
    } else {
        (Some(row), Some(row + 1).filter(pairs))
    }
}

/// Hands each value of an iterable on, rooted; what the function pushes goes when it
/// returns. If it throws, the iterator is closed.
fn iterate<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    iterable: Value<L>,
    mut take: impl FnMut(&mut Vm<'_, L, H>, Value<L>) -> Result<(), Raise>,
) -> Result<(), Raise> {
    let before = vm.heap.sp;
    vm.push(iterable)?;
    let iterator = vm.values_of(iterable)?;
    vm.push(Value::object(iterator))?;
    let mark = vm.heap.sp;
    while let Some(value) = vm.advance(iterator)? {
        vm.spend(1)?;
        vm.push(value)?;
        let taken = take(vm, value);
        vm.or_close(iterator, taken)?;
        vm.heap.sp = mark;
    }
    vm.heap.sp = before;
    Ok(())
}

/// The function of a row, as scripts get it until they change its owner.
pub(crate) fn method_of<L: Layout>(owner: Intrinsic, name: NameId) -> Value<L> {
    match find_native(owner, name) {
        Some(row) => Value::object(Flash::native(row)),
        None => Value::undefined(),
    }
}

/// Rows of one owner stand together, sorted by name.
fn find_native(owner: Intrinsic, name: NameId) -> Option<usize> {
    let (start, end) = NATIVE_RANGES[owner as usize];
    let rows = &NATIVES[start as usize..end as usize];
    rows.binary_search_by_key(&name, |row| row.name).ok().map(|found| start as usize + found)
}

/// `Array.prototype.push`, which the interpreter knows: filling an array is what
/// scripts call a built-in for most often.
pub(crate) const ARRAY_PUSH: Option<Ref> = {
    let (start, end) = NATIVE_RANGES[Intrinsic::ArrayPrototype as usize];
    let (mut row, mut found) = (start as usize, None);
    while row < end as usize {
        if NATIVES[row].name.index() == names::PUSH.index() {
            found = Some(Flash::native(row));
        }
        row += 1;
    }
    found
};

/// The function that an intrinsic has under a name.
pub(crate) fn find_method(owner: Intrinsic, name: NameId) -> Option<Ref> {
    let row = find_native(owner, name)?;
    (NATIVES[row].kind == NativeKind::Method).then(|| Flash::native(row))
}

fn find_data(owner: Intrinsic, name: NameId) -> Option<&'static DataRow> {
    let (start, end) = DATA_RANGES[owner as usize];
    let rows = &DATA[start as usize..end as usize];
    rows.binary_search_by_key(&name, |row| row.name).ok().map(|found| &rows[found])
}

/// A table that is out of order finds nothing: the build refuses it.
const fn sorted(owner: usize, before: usize, name: NameId, name_before: NameId) -> bool {
    owner > before || owner == before && name.index() > name_before.index()
}

/// A position counted from the start, or from the end if it is negative, within
/// the length; the default where the argument is undefined.
fn relative<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
    length: f64,
    default: f64,
) -> Result<f64, Raise> {
    if value.is_undefined() {
        return Ok(default);
    }
    let position = vm.to_integer(value)?;
    let position = if position < 0.0 { position + length } else { position };
    Ok(position.clamp(0.0, length))
}

/// The argument that must be a function.
fn callback<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: &Call<L>,
    index: usize,
) -> Result<Value<L>, Raise> {
    let function = vm.arg(call, index);
    if vm.is_callable(function) {
        Ok(function)
    } else {
        Err(vm.throw_type("the argument is not a function"))
    }
}
