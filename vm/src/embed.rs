//! The embedding interface: what the program around the machine does with it
//! once images are loaded.

use crate::Host;
use crate::error::{Raise, RunError};
use crate::heap::kinds::Kind;
use crate::layout::Layout;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// A value the host keeps from the collector.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Retained(u32);

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Runs the script of the image loaded last.
    pub fn run(&mut self) -> Result<(), RunError> {
        let Some(index) = (self.n_images as usize).checked_sub(1) else { return Ok(()) };
        let result = self.run_script(index).map(drop);
        self.conclude(result)
    }

    fn run_script(&mut self, index: usize) -> Result<Value<L>, Raise> {
        let Some(script) = self.images[index].as_ref().map(|image| image.script()) else {
            return Ok(Value::undefined());
        };
        let number = self.bases[index] as usize + script.index();
        let closure = self.allocate(Kind::Closure, 1)?;
        self.heap.set_half(closure, 1, number as u32);
        self.heap.set_child(closure, 2, Ref::NONE);
        self.heap.set_child(closure, 3, Ref::NONE);
        self.push(Value::object(closure))?;
        self.push(Value::object(crate::builtins::GLOBAL_OBJECT))?;
        self.call_pushed(0)
    }

    /// Calls a function from the host. Called outside a host function, it may move what
    /// values refer to: those from before are to be read again, from where they are kept.
    pub fn call(
        &mut self,
        function: Value<L>,
        this: Value<L>,
        args: &[Value<L>],
    ) -> Result<Value<L>, RunError> {
        // A built-in carries no operation out: a timer that calls one for ever would go on.
        let result = self.spend(1).and_then(|()| self.invoke(function, this, args));
        self.conclude(result)
    }

    /// Lets the host make and convert values outside a host function, with what
    /// gives a [`Raise`]: `vm.attempt(|vm| vm.number(0.5))`.
    pub fn attempt<T>(
        &mut self,
        work: impl FnOnce(&mut Self) -> Result<T, Raise>,
    ) -> Result<T, RunError> {
        let result = self.hold(work);
        self.conclude(result)
    }

    /// Does what holds references while a script may run: a level of nesting, so that no
    /// block moves.
    pub(crate) fn hold<T>(&mut self, work: impl FnOnce(&mut Self) -> T) -> T {
        self.nesting += 1;
        let result = work(self);
        self.nesting -= 1;
        result
    }

    /// Reads a global, whichever way it was declared.
    pub fn global(&mut self, name: &str) -> Result<Value<L>, RunError> {
        let result = self.hold(|vm| vm.key_of_str(name).and_then(|key| vm.load_global_by_key(key)));
        self.conclude(result.map(|value| value.unwrap_or(Value::undefined())))
    }

    /// Sets a global: a binding of a script, or else a property of the global
    /// object.
    pub fn set_global(&mut self, name: &str, value: Value<L>) -> Result<(), RunError> {
        let result = self.hold(|vm| vm.store_global_from_host(name, value));
        self.conclude(result)
    }

    fn store_global_from_host(&mut self, name: &str, value: Value<L>) -> Result<(), Raise> {
        self.push(value)?;
        let key = self.key_of_str(name)?;
        let stored = self.store_global_by_key(key, value)?;
        if !stored {
            self.set(crate::builtins::GLOBAL_OBJECT, key, value)?;
        }
        self.pop();
        Ok(())
    }

    /// Keeps a value from the collector until it is released.
    pub fn retain(&mut self, value: Value<L>) -> Result<Retained, RunError> {
        let result = self.retain_value(value);
        self.conclude(result)
    }

    pub(crate) fn retain_value(&mut self, value: Value<L>) -> Result<Retained, Raise> {
        self.push(value)?;
        let mut list = self.heap.roots.retained;
        let cells = list.cell().map_or(0, |cell| self.heap.block_cells(cell));
        let slots = if cells == 0 { 0 } else { 2 * cells - 2 };
        let free = (0..slots).find(|&at| self.heap.value(list, 2 + at) == Value::hole());
        let place = match free {
            Some(place) => place,
            None => {
                if cells == 0 || !self.extend(list, cells, cells + 1) {
                    let grown = self.allocate(Kind::Elements, cells.max(1) + 1)?;
                    for at in 0..slots {
                        let kept = self.heap.value(list, 2 + at);
                        self.heap.set_value(grown, 2 + at, kept);
                    }
                    list = grown;
                    self.heap.roots.retained = list;
                }
                let end = list.cell().map_or(0, |cell| 2 * self.heap.block_cells(cell) - 2);
                for at in slots..end {
                    self.heap.set_value(list, 2 + at, Value::hole());
                }
                slots
            }
        };
        self.heap.set_value(list, 2 + place, value);
        self.pop();
        Ok(Retained(place as u32))
    }

    /// A value that the host keeps; undefined once it is released.
    pub fn retained(&self, handle: Retained) -> Value<L> {
        let place = self.place_of(handle);
        let kept = place.map(|at| self.heap.value(self.heap.roots.retained, at));
        kept.filter(|&kept| kept != Value::hole()).unwrap_or(Value::undefined())
    }

    /// Lets the collector have a kept value again.
    ///
    /// A handle belongs to the machine that gave it, until it is released: another one, and
    /// one released before, may let go of what somebody else retains.
    pub fn release(&mut self, handle: Retained) {
        if let Some(place) = self.place_of(handle) {
            self.heap.set_value(self.heap.roots.retained, place, Value::hole());
        }
    }

    /// Where the list of what is retained has a handle's value.
    fn place_of(&self, handle: Retained) -> Option<usize> {
        let cell = self.heap.roots.retained.cell()?;
        let place = 2 + handle.0 as usize;
        (place < 2 * self.heap.block_cells(cell)).then_some(place)
    }
}
