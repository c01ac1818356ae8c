//! Globals by name: the slots of every loaded script, the global object behind
//! them, and the host's functions.

use crate::Host;
use crate::builtins;
use crate::error::Raise;
use crate::keys::{Key, KeyKind, attributes};
use crate::layout::{Layout, Tag};
use crate::object::Own;
use crate::value::{Ref, Value};
use crate::vm::Vm;
use scruple_bytecode::image::GlobalKind;
use scruple_bytecode::operand::GlobalId;

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// A script's `var` or function, or a host function, as a property of the
    /// global object.
    pub(crate) fn global_own(&mut self, key: Key) -> Option<Own<L>> {
        if let Some((at, kind)) = self.find_global(key) {
            let value = Value(self.heap.mem[at]);
            return match kind {
                GlobalKind::Var | GlobalKind::Function => Some(Own::Data {
                    value,
                    attributes: attributes::WRITABLE | attributes::ENUMERABLE,
                }),
                GlobalKind::Undeclared => Some(Own::Data { value, attributes: attributes::HIDDEN }),
                GlobalKind::Let | GlobalKind::Const => None,
            };
        }
        self.host_global(key).map(|value| Own::Data { value, attributes: attributes::HIDDEN })
    }

    pub(crate) fn host_global(&self, key: Key) -> Option<Value<L>> {
        let functions = self.host_functions;
        let found = functions.iter().position(|function| self.key_is_str(key, function.name))?;
        Some(Value::object(Ref::from_host(found)))
    }

    fn key_is_str(&self, key: Key, text: &str) -> bool {
        match key.kind() {
            KeyKind::Index(_) => false,
            KeyKind::Name(name) => !name.is_symbol() && name.text() == text,
            KeyKind::Constant(constant) => {
                self.is_text(Value::tagged(Tag::ImageText, constant.payload()), text)
            }
            KeyKind::Text(_) if self.is_symbol_key(key) => false,
            KeyKind::Text(block) => self.is_text(Value::tagged(Tag::HeapText, block.0), text),
        }
    }

    /// The slot and kind of a global that an image holds, whichever it is.
    pub(crate) fn find_global(&self, key: Key) -> Option<(usize, GlobalKind)> {
        for image in 0..self.n_images() {
            let globals = self.heap.roots.globals[image];
            if globals.is_none() {
                continue;
            }
            let names = self.image(image)?;
            for at in 0..names.n_globals() {
                let value = self.heap.value(globals, 2 + at);
                if value == Value::elsewhere() {
                    continue;
                }
                let (kind, name) = names.global(GlobalId::new(at)?)?;
                if self.field_key_in(image, name) == Some(key) {
                    return Some((self.heap.slot_of(globals) + 2 + at, kind));
                }
            }
        }
        None
    }

    /// The value of a global by name: a binding of a script, or a property of
    /// the global object or its prototype.
    pub(crate) fn load_global_by_key(&mut self, key: Key) -> Result<Option<Value<L>>, Raise> {
        if let Some((at, _)) = self.find_global(key) {
            let value: Value<L> = Value(self.heap.mem[at]);
            if value == Value::uninitialised() {
                return Err(self.throw_uninitialised(key));
            }
            return Ok(Some(value));
        }
        let object = builtins::GLOBAL_OBJECT;
        if !self.has_property(object, key)? {
            return Ok(None);
        }
        self.get(object, key).map(Some)
    }

    /// Sets a global by name, or tells that there is none.
    pub(crate) fn store_global_by_key(&mut self, key: Key, value: Value<L>) -> Result<bool, Raise> {
        if let Some((at, kind)) = self.find_global(key) {
            if self.heap.mem[at] == Value::<L>::uninitialised().0 {
                return Err(self.throw_uninitialised(key));
            }
            if kind == GlobalKind::Const {
                return Err(self.throw_constant(key));
            }
            self.heap.mem[at] = value.0;
            return Ok(true);
        }
        let object = builtins::GLOBAL_OBJECT;
        if !self.has_property(object, key)? {
            return Ok(false);
        }
        self.set(object, key, value).map(|()| true)
    }

    /// What a name that a script only uses stands for from the start: a writable
    /// built-in or a host function.
    pub(crate) fn flash_global(&mut self, key: Key) -> Option<Value<L>> {
        if self.holder(builtins::GLOBAL_OBJECT).is_cell() {
            return None;
        }
        match self.get_own(builtins::GLOBAL_OBJECT, key) {
            Ok(Some(Own::Data { value, attributes })) if attributes & attributes::WRITABLE != 0 => {
                Some(value)
            }
            _ => None,
        }
    }

    /// The key of a field of any image, if it is a string constant.
    pub(crate) fn field_key_in(
        &self,
        image: usize,
        field: scruple_bytecode::operand::FieldId,
    ) -> Option<Key> {
        let lies = crate::value::ImageConst { image, constant: field.into() };
        match self.image(image)?.constant(field.into())? {
            scruple_bytecode::image::Constant::Name(name) => Some(Key::name(name)),
            _ => self.find_key(Value::tagged(Tag::ImageText, lies.payload())),
        }
    }
}
