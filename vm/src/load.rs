//! Loading an image: it is verified where it lies, and its globals are made.

use core::fmt;

use crate::Host;
use crate::heap::kinds::Kind;
use crate::keys::{Key, attributes};
use crate::layout::Layout;
use crate::value::{MAX_CONSTANTS, Ref, Value};
use crate::vm::{MAX_IMAGES, Vm};
use scruple_bytecode::image::{Field, GlobalKind, Image};
use scruple_bytecode::names;
use scruple_bytecode::operand::{FieldId, FunctionId, GlobalId};
use scruple_bytecode::verify::{Scratch, VerifyError, verify_with};

/// Why an image could not be loaded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LoadError {
    /// The image is not safe to run.
    Verify(VerifyError),
    /// [`MAX_IMAGES`] images are loaded already.
    TooManyImages,
    /// The image's encoding is not that of the first one loaded.
    MixedEncodings,
    /// The image has more constants or functions than the layout can refer to.
    TooLarge,
    /// There is no room for the image's globals.
    NoRoom,
    /// A `let`, `const` or function of the image clashes with a binding that is
    /// there already (ECMA-262, GlobalDeclarationInstantiation).
    Redeclared(GlobalId),
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            LoadError::Verify(error) => error.fmt(f),
            LoadError::TooManyImages => write!(f, "more than {MAX_IMAGES} images"),
            LoadError::MixedEncodings => write!(f, "images of different encodings"),
            LoadError::TooLarge => write!(f, "more constants or functions than can be referred to"),
            LoadError::NoRoom => write!(f, "no room for the script's globals"),
            LoadError::Redeclared(id) => write!(f, "global {} is declared already", id.index()),
        }
    }
}

impl core::error::Error for LoadError {}

impl From<VerifyError> for LoadError {
    fn from(error: VerifyError) -> Self {
        LoadError::Verify(error)
    }
}

impl<'m, L: Layout, H: Host> Vm<'m, L, H> {
    /// Verifies an image and makes its globals. The image is used where it lies.
    pub fn load(&mut self, bytes: &'m [u8]) -> Result<(), LoadError> {
        let index = self.n_images as usize;
        if index == MAX_IMAGES {
            return Err(LoadError::TooManyImages);
        }
        let image = {
            // Between the cells in use and the stack lies memory that nothing
            // uses now: enough to verify with.
            let (floor, top) = (self.heap.stack_floor(), self.heap.sp);
            let free = self.heap.mem.get_mut(floor..top).unwrap_or_default();
            verify_with(bytes, self.sets, &mut FreeSlots::<L>(free))?
        };
        if self.image(0).is_some_and(|first| first.encoding() != image.encoding()) {
            return Err(LoadError::MixedEncodings);
        }
        let base = match index.checked_sub(1).and_then(|last| Some((last, self.image(last)?))) {
            Some((last, before)) => self.bases[last] as usize + before.n_functions(),
            None => 0,
        };
        let functions_fit = base + image.n_functions() <= 1 << L::HALF_BITS.min(16);
        if !functions_fit || image.n_constants() > MAX_CONSTANTS {
            return Err(LoadError::TooLarge);
        }
        let deepest = (0..image.n_functions())
            .filter_map(|i| image.function(FunctionId::new(i)?))
            .map(|function| function.depth as usize)
            .max();
        let reserve = self.heap.reserve;
        self.heap.reserve = reserve.max(deepest.unwrap_or(0) + RESERVE);
        self.images[index] = Some(image);
        self.bases[index] = base as u16;
        self.pushes[index] = (0..image.n_constants())
            .filter_map(FieldId::new)
            .find(|&field| image.field(field) == Some(Field::Name(names::PUSH)));
        self.n_images += 1;
        let loaded = self.instantiate_globals(index, &image);
        if loaded.is_err() {
            self.heap.reserve = reserve;
            self.heap.roots.globals[index] = Ref::NONE;
            self.images[index] = None;
            self.n_images -= 1;
        }
        loaded
    }

    /// ECMA-262, GlobalDeclarationInstantiation: `let`, `const` and functions are
    /// uninitialised until the script runs; names it only uses stand for what is
    /// there, or for a look-up by name.
    fn instantiate_globals(&mut self, index: usize, image: &Image<'m>) -> Result<(), LoadError> {
        let n_globals = image.n_globals();
        let before = self.current;
        self.set_current(index);
        let result = self.make_globals(index, image, n_globals);
        self.set_current(before);
        result
    }

    fn make_globals(
        &mut self,
        index: usize,
        image: &Image<'m>,
        n_globals: usize,
    ) -> Result<(), LoadError> {
        let no_room = |_| LoadError::NoRoom;
        let cells = 1 + n_globals.div_ceil(2);
        let globals = self.allocate(Kind::Globals, cells).map_err(no_room)?;
        self.heap.set_slot(globals, 1, L::from_bits(n_globals as u64));
        for at in 0..n_globals {
            self.heap.set_value(globals, 2 + at, Value::elsewhere());
        }
        // What follows may allocate: the block is a root from here on. It is no image's yet,
        // so that nothing looks in it for names: each would be compared with all before it.
        self.push(Value::object(globals)).map_err(no_room)?;
        let made = self.fill_globals(image, globals);
        self.pop();
        self.heap.roots.globals[index] = globals;
        made
    }

    fn fill_globals(&mut self, image: &Image<'m>, globals: Ref) -> Result<(), LoadError> {
        for at in 0..image.n_globals() {
            let Some(id) = GlobalId::new(at) else { return Err(LoadError::TooLarge) };
            let Some((kind, name)) = image.global(id) else { continue };
            let key = self.field_key(name).map_err(|_| LoadError::TooLarge)?;
            let there = self.find_global(key);
            let value = match kind {
                GlobalKind::Undeclared if there.is_some() => Value::elsewhere(),
                GlobalKind::Undeclared => self.flash_global(key).unwrap_or(Value::elsewhere()),
                GlobalKind::Var if there.is_some() || self.has_own_global(key) => {
                    Value::elsewhere()
                }
                GlobalKind::Var => Value::undefined(),
                GlobalKind::Function if there.is_some() => Value::elsewhere(),
                GlobalKind::Function => Value::undefined(),
                GlobalKind::Let | GlobalKind::Const => {
                    if there.is_some_and(|(_, kind)| kind != GlobalKind::Undeclared)
                        || self.is_restricted_global(key)
                    {
                        return Err(LoadError::Redeclared(id));
                    }
                    Value::uninitialised()
                }
            };
            self.heap.set_value(globals, 2 + at, value);
        }
        Ok(())
    }

    /// The key of a global that an image declares as a property.
    pub(crate) fn declared_global(&self, image: usize, at: usize) -> Option<Key> {
        let (kind, name) = self.image(image)?.global(GlobalId::new(at)?)?;
        let declared = matches!(kind, GlobalKind::Var | GlobalKind::Function);
        if declared { self.field_key_in(image, name) } else { None }
    }

    /// ECMA-262, HasRestrictedGlobalProperty.
    fn is_restricted_global(&mut self, key: Key) -> bool {
        let own = self.get_own(crate::builtins::GLOBAL_OBJECT, key);
        matches!(own, Ok(Some(own)) if !own.is(attributes::CONFIGURABLE))
    }

    pub(crate) fn has_own_global(&mut self, key: Key) -> bool {
        matches!(self.get_own(crate::builtins::GLOBAL_OBJECT, key), Ok(Some(_)))
            && !key.is_name(names::UNDEFINED)
    }
}

/// Slots kept free between the heap and the stack besides what frames need: what
/// natives push without asking.
const RESERVE: usize = 4;

struct FreeSlots<'a, L: Layout>(&'a mut [L::Slot]);

impl<L: Layout> Scratch for FreeSlots<'_, L> {
    fn capacity(&self) -> usize {
        self.0.len() * (L::SLOT_BYTES / 2)
    }

    fn get(&self, index: usize) -> u16 {
        let per = L::SLOT_BYTES / 2;
        (L::bits(self.0[index / per]) >> (16 * (index % per))) as u16
    }

    fn set(&mut self, index: usize, value: u16) {
        let per = L::SLOT_BYTES / 2;
        let shift = 16 * (index % per);
        let slot = &mut self.0[index / per];
        *slot = L::from_bits(L::bits(*slot) & !(0xffffu64 << shift) | u64::from(value) << shift);
    }
}
