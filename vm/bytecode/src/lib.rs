//! What a compiled script is made of: the operation table, the encodings, the
//! image format, the verifier and the listing; and how decimal text becomes a double.
//!
//! No std, no alloc, no dependency: the compiler and the interpreter share this
//! crate and do not see each other. It refuses to run or to translate anything.

#![cfg_attr(not(test), no_std)]

pub mod encoding;
pub mod exact;
pub mod image;
pub mod leb128;
pub mod listing;
pub mod names;
pub mod operand;
pub mod ops;
pub mod sets;
pub mod verify;

pub use encoding::{Decoder, Encoding};
pub use image::{Image, ImageError};
pub use names::NameId;
pub use ops::{Handlers, Op, Opcode, dispatch};
pub use sets::InstructionSet;
pub use verify::{VerifyError, verify, verify_with};
