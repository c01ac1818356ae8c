//! Where an object has what is not in its own first cell: prototype, property table and
//! flags.
//!
//! It owns the way from an object to its *holder*: the object itself, a block of its own
//! that comes with the first change to an array or a function, or the row in the list of
//! changes for an object in flash. What a table is: `properties.rs`.

use crate::Host;
use crate::builtins::{Flash, Intrinsic};
use crate::error::Raise;
use crate::heap::kinds::Kind;
use crate::layout::Layout;
use crate::object::Class;
use crate::value::{Ref, Value};
use crate::vm::Vm;

/// Flags of an object, beside its class in one half: that has the low six bits. The six
/// bits from 0x400 up count the properties in the object's own block.
pub(crate) mod flags {
    /// The class.
    pub(crate) const CLASS: u32 = 0x3f;
    /// No property can be added.
    pub(crate) const NOT_EXTENSIBLE: u32 = 0x100;
    /// The length of an array cannot change.
    pub(crate) const LENGTH_FIXED: u32 = 0x200;
    /// For the collector, while it folds: the machine's stack refers to the object.
    pub(crate) const ON_STACK: u32 = 0x80;
    /// For the collector: the object's table is about to grow.
    pub(crate) const GROWING: u32 = 0x40;
    /// Class and flags.
    pub(crate) const BESIDE_COUNT: u32 = 0x3ff;
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// The block with an object's prototype, properties and flags in its halves
    /// 1 to 3: the object itself, its extra block, or nothing. Of a record that is the
    /// record, which has a shape and values there instead: ask `prototype`, `table_of`
    /// and `has_flag`.
    #[inline]
    pub(crate) fn holder(&self, object: Ref) -> Ref {
        if !object.is_cell() {
            return self.changes_of(object);
        }
        match self.heap.kind(object) {
            Kind::Object | Kind::Record => object,
            Kind::Array | Kind::Bound => self.heap.child(object, 1),
            Kind::Closure => self.heap.child(object, 2),
            _ => Ref::NONE,
        }
    }

    fn changes_of(&self, object: Ref) -> Ref {
        let list = self.heap.roots.changes;
        if list.is_none() {
            return Ref::NONE;
        }
        let count = self.heap.half(list, 1) as usize;
        (0..count)
            .find(|&at| self.heap.child(list, 2 + 2 * at) == object)
            .map_or(Ref::NONE, |at| self.heap.child(list, 3 + 2 * at))
    }

    /// The holder, made if the object has none yet.
    pub(crate) fn make_holder(&mut self, object: Ref) -> Result<Ref, Raise> {
        let holder = self.holder(object);
        if !holder.is_none() {
            self.unfold(holder)?;
            return Ok(holder);
        }
        let place = match object.is_cell().then(|| self.heap.kind(object)) {
            None | Some(Kind::Array | Kind::Bound) => 1,
            Some(Kind::Closure) => 2,
            Some(_) => return Err(Raise::internal("no object")),
        };
        let prototype = self.prototype(object);
        let extra = self.allocate(Kind::Extra, 1)?;
        self.heap.set_child(extra, 1, prototype);
        self.heap.set_child(extra, 2, Ref::NONE);
        self.heap.set_half(extra, 3, self.class(object) as u32);
        if !object.is_cell() {
            self.push(Value::object(extra))?;
            let noted = self.note_change(object, extra);
            self.pop();
            noted?;
        } else {
            self.heap.set_child(object, place, extra);
        }
        Ok(extra)
    }

    fn note_change(&mut self, object: Ref, extra: Ref) -> Result<(), Raise> {
        let list = self.heap.roots.changes;
        let (count, cells) = match list.is_none() {
            true => (0, 0),
            false => (self.heap.half(list, 1) as usize, self.heap.cells(list)),
        };
        let mut list = list;
        if 2 * (count + 1) + 2 > 4 * cells {
            let grown = self.allocate(Kind::Changes, cells + 1)?;
            for half in 2..2 + 2 * count {
                let kept = self.heap.child(list, half);
                self.heap.set_child(grown, half, kept);
            }
            self.heap.roots.changes = grown;
            list = grown;
        }
        self.heap.set_child(list, 2 + 2 * count, object);
        self.heap.set_child(list, 3 + 2 * count, extra);
        self.heap.set_half(list, 1, count as u32 + 1);
        Ok(())
    }

    /// The prototype of an object, or `Ref::NONE`.
    #[inline]
    pub(crate) fn prototype(&self, object: Ref) -> Ref {
        if object.is_cell() && self.heap.is_kind(object, Kind::Object) {
            return self.heap.child(object, 1);
        }
        let holder = self.holder(object);
        if !holder.is_none() {
            let above = self.heap.child(holder, 1);
            return if self.is_record(holder) { self.heap.shape_prototype(above) } else { above };
        }
        if let Some(flash) = Flash::of(object) {
            return flash.prototype();
        }
        match self.class(object) {
            Class::Array => Intrinsic::ArrayPrototype.reference(),
            Class::Arguments => Intrinsic::ObjectPrototype.reference(),
            _ => Intrinsic::FunctionPrototype.reference(),
        }
    }

    /// ECMA-262, OrdinarySetPrototypeOf.
    pub(crate) fn set_prototype(&mut self, object: Ref, prototype: Ref) -> Result<bool, Raise> {
        if self.prototype(object) == prototype {
            return Ok(true);
        }
        if !self.is_extensible(object) || object == Intrinsic::ObjectPrototype.reference() {
            return Ok(false);
        }
        let mut above = prototype;
        while !above.is_none() {
            if above == object {
                return Ok(false);
            }
            self.spend(1)?;
            above = self.prototype(above);
        }
        let holder = self.make_holder(object)?;
        self.heap.set_child(holder, 1, prototype);
        Ok(true)
    }

    /// The block with the half of flags that an object has for itself: an array's are
    /// not in its extra block, and a record has none.
    fn flags_block(&self, object: Ref) -> Ref {
        if !object.is_cell() {
            return self.changes_of(object);
        }
        match self.heap.kind(object) {
            Kind::Array => object,
            Kind::Record => Ref::NONE,
            _ => self.holder(object),
        }
    }

    pub(crate) fn has_flag(&self, object: Ref, flag: u32) -> bool {
        let block = self.flags_block(object);
        !block.is_none() && self.heap.half(block, 3) & flag != 0
    }

    pub(crate) fn set_flag(&mut self, object: Ref, flag: u32) -> Result<(), Raise> {
        let mut block = self.flags_block(object);
        if block.is_none() {
            block = self.make_holder(object)?;
        }
        let bits = self.heap.half(block, 3);
        self.heap.set_half(block, 3, bits | flag);
        Ok(())
    }

    pub(crate) fn is_extensible(&self, object: Ref) -> bool {
        object.host().is_none()
            && object != Intrinsic::ThrowTypeError.reference()
            && !self.has_flag(object, flags::NOT_EXTENSIBLE)
    }
}
