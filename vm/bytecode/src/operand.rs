//! Operand kinds and the newtypes that carry them: no naked integer crosses a
//! crate boundary.

use crate::leb128;

/// What an operation's operand is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum OperandKind {
    /// No operand.
    None,
    /// A slot of the frame.
    Slot,
    /// A free variable of the function.
    FreeId,
    /// A global of the script.
    GlobalId,
    /// A constant.
    ConstId,
    /// A string constant that names a property or a variable.
    FieldId,
    /// A function of the image.
    FunctionId,
    /// A number of properties or elements.
    Count,
    /// A number of arguments.
    Argc,
    /// A signed integer.
    Int,
    /// A signed distance from behind the instruction to a label.
    Displacement,
}

impl OperandKind {
    /// The operand that a decoder's raw bits stand for.
    pub const fn from_bits(self, bits: u32, zigzag: bool) -> i32 {
        match self {
            OperandKind::None => 0,
            OperandKind::Int | OperandKind::Displacement => signed(bits, zigzag),
            _ => (bits & MAX_UNSIGNED) as i32,
        }
    }

    /// Whether the operand can be negative.
    pub const fn is_signed(self) -> bool {
        matches!(self, OperandKind::Int | OperandKind::Displacement)
    }
}

/// The largest operand an instruction can carry: the `word` encoding gives it 24
/// bits, and no encoding may take what another refuses.
pub const MAX_UNSIGNED: u32 = (1 << 24) - 1;
/// The largest signed operand.
pub const MAX_SIGNED: i32 = (1 << 23) - 1;
/// The smallest signed operand.
pub const MIN_SIGNED: i32 = -(1 << 23);

#[inline(always)]
const fn signed(bits: u32, zigzag: bool) -> i32 {
    if zigzag { leb128::unzigzag(bits) } else { bits as i32 }
}

macro_rules! unsigned_operands {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(u32);

        impl $name {
            /// The index as an operand, unless it is too large for one.
            pub const fn new(index: usize) -> Option<Self> {
                if index <= MAX_UNSIGNED as usize { Some($name(index as u32)) } else { None }
            }

            /// From an operand the decoder fetched.
            #[inline(always)]
            pub const fn from_operand(raw: i32) -> Self {
                $name(raw as u32)
            }

            /// From the raw bits that a decoder fetched.
            #[inline(always)]
            pub const fn from_bits(bits: u32, _zigzag: bool) -> Self {
                $name(bits & MAX_UNSIGNED)
            }

            /// As an operand for the encoder.
            pub const fn operand(self) -> i32 {
                self.0 as i32
            }

            /// As an index.
            #[inline(always)]
            pub const fn index(self) -> usize {
                self.0 as usize
            }
        }
    )*};
}

unsigned_operands! {
    /// A slot of the frame: parameters first, then local variables.
    Slot;
    /// A free variable of a function.
    FreeId;
    /// A global of a script.
    GlobalId;
    /// A constant of an image.
    ConstId;
    /// A string constant of an image.
    FieldId;
    /// A function of an image.
    FunctionId;
    /// A number of properties or elements.
    Count;
    /// A number of arguments.
    Argc;
}

impl From<FieldId> for ConstId {
    fn from(field: FieldId) -> Self {
        ConstId(field.0)
    }
}

macro_rules! signed_operands {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(i32);

        impl $name {
            /// The value as an operand, unless it is out of an operand's range.
            pub const fn new(value: i32) -> Option<Self> {
                if value >= MIN_SIGNED && value <= MAX_SIGNED { Some($name(value)) } else { None }
            }

            /// From an operand the decoder fetched.
            #[inline(always)]
            pub const fn from_operand(raw: i32) -> Self {
                $name(raw)
            }

            /// From the raw bits that a decoder fetched.
            #[inline(always)]
            pub const fn from_bits(bits: u32, zigzag: bool) -> Self {
                $name(signed(bits, zigzag))
            }

            /// The value.
            #[inline(always)]
            pub const fn get(self) -> i32 {
                self.0
            }
        }
    )*};
}

signed_operands! {
    /// A small integer.
    Int;
    /// A distance in bytes from behind the instruction to its label.
    Displacement;
}
