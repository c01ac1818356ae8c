//! `Symbol` and `Symbol.prototype` (ECMA-262, "Symbol Objects").
//!
//! A well-known symbol is a name in flash; one that a script makes takes a cell and
//! its description. The registry of `Symbol.for` shares the array that keeps the
//! template objects: a string and its symbol, beside a site and its object. So it
//! costs a machine that has none of both nothing.

use crate::Host;
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::host::Call;
use crate::layout::{Layout, Tag};
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::{NameId, names};

/// Half 1 of a symbol's block: whether the registry has it.
const REGISTERED: u32 = 1;

/// ECMA-262, Symbol ( [ description ] ).
pub(super) fn construct<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    if call.constructs {
        return Err(vm.throw_type("a symbol is no object: `new` cannot make one"));
    }
    let mut description = vm.arg(&call, 0);
    if !description.is_undefined() {
        description = vm.to_text(description)?;
    }
    vm.push(description)?;
    vm.new_symbol(description)
}

/// ECMA-262, Symbol.for ( key ).
pub(super) fn for_key<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let key = vm.to_text(vm.arg(&call, 0))?;
    vm.push(key)?;
    let kept = vm.heap.roots.templates;
    let count = if kept.is_none() { 0 } else { vm.array_len(kept) };
    let found = (0..count).step_by(2).find(|&index| {
        vm.element(kept, index)
            .is_some_and(|other| other.is_string() && vm.strictly_equal(other, key))
    });
    if let Some(symbol) = found.and_then(|index| vm.element(kept, index + 1)) {
        return Ok(symbol);
    }
    let symbol = vm.new_symbol(key)?;
    vm.push(symbol)?;
    vm.heap.set_half(Ref(symbol.payload()), 1, REGISTERED);
    if kept.is_none() {
        vm.heap.roots.templates = vm.new_array(2)?;
    }
    let kept = vm.heap.roots.templates;
    vm.append(kept, key)?;
    vm.append(kept, symbol)?;
    Ok(symbol)
}

/// ECMA-262, Symbol.keyFor ( sym ).
pub(super) fn key_for<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let symbol = vm.arg(&call, 0);
    if !symbol.is_symbol() {
        return Err(vm.throw_type("the value is not a symbol"));
    }
    let block = Ref(symbol.payload());
    Ok(match block.is_cell() && vm.heap.half(block, 1) == REGISTERED {
        true => vm.symbol_description(symbol),
        false => Value::undefined(),
    })
}

/// ECMA-262, get Symbol.prototype.description.
pub(super) fn description<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let symbol = this_symbol(vm, call.this)?;
    Ok(vm.symbol_description(symbol))
}

/// ECMA-262, Symbol.prototype.toString ( ).
pub(super) fn to_string<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let symbol = this_symbol(vm, call.this)?;
    vm.symbol_text(symbol)
}

/// ECMA-262, Symbol.prototype.valueOf ( ) and Symbol.prototype [ %Symbol.toPrimitive% ]
/// ( hint ).
pub(super) fn value_of<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    this_symbol(vm, call.this)
}

/// ECMA-262, ThisSymbolValue.
fn this_symbol<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    value: Value<L>,
) -> Result<Value<L>, Raise> {
    let value = match value.as_object() {
        Some(object) if vm.class(object) == Class::Symbol => vm.internal_value(object),
        _ => value,
    };
    if value.is_symbol() { Ok(value) } else { Err(vm.throw_type("the this value is not a symbol")) }
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// A symbol that no other value is the same as. The description is rooted.
    fn new_symbol(&mut self, description: Value<L>) -> Result<Value<L>, Raise> {
        let block = self.allocate(Kind::Symbol, 1)?;
        self.heap.set_value(block, 1, description);
        Ok(Value::tagged(Tag::Symbol, block.0))
    }

    /// A symbol's description: a string or undefined.
    pub(crate) fn symbol_description(&self, symbol: Value<L>) -> Value<L> {
        let block = Ref(symbol.payload());
        if block.is_cell() {
            return self.heap.value(block, 1);
        }
        NameId::new(symbol.payload() as usize).map_or(Value::undefined(), Value::name)
    }

    /// ECMA-262, SymbolDescriptiveString.
    pub(crate) fn symbol_text(&mut self, symbol: Value<L>) -> Result<Value<L>, Raise> {
        self.symbol_between(symbol, "Symbol(", ")")
    }

    /// What a function is named whose key is a symbol (ECMA-262, SetFunctionName).
    pub(crate) fn symbol_name(&mut self, symbol: Value<L>) -> Result<Value<L>, Raise> {
        if self.symbol_description(symbol).is_undefined() {
            return Ok(Value::name(names::EMPTY));
        }
        self.symbol_between(symbol, "[", "]")
    }

    fn symbol_between(
        &mut self,
        symbol: Value<L>,
        before: &str,
        behind: &str,
    ) -> Result<Value<L>, Raise> {
        let mark = self.heap.sp;
        self.push(symbol)?;
        let mut builder = self.text_builder()?;
        builder.push_str(self, before)?;
        let description = self.symbol_description(symbol);
        if !description.is_undefined() {
            builder.push_value(self, description)?;
        }
        builder.push_str(self, behind)?;
        let text = builder.finish(self)?;
        self.heap.sp = mark;
        Ok(text)
    }
}

impl<L: Layout, H: Host> Vm<'_, L, H> {
    /// Whether it is a symbol that no script gets again by a string (ECMA-262,
    /// KeyForSymbol is undefined).
    pub(crate) fn is_unregistered_symbol(&self, value: Value<L>) -> bool {
        let block = Ref(value.payload());
        value.is_symbol() && !(block.is_cell() && self.heap.half(block, 1) == REGISTERED)
    }
}
