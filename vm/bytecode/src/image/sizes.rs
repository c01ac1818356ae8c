//! How the bytes of an image are spread over its sections.

use super::{HEADER_LEN, Image};
use crate::encoding::CODE_PADDING;

/// Bytes of an image by section. They add up to the image.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sizes {
    /// The header.
    pub header: usize,
    /// Constant entries, string order and constant text.
    pub constants: usize,
    /// Globals, function records and lists.
    pub functions: usize,
    /// Instructions.
    pub instructions: usize,
    /// The zero bytes behind the instructions.
    pub padding: usize,
    /// The line table.
    pub lines: usize,
}

impl Sizes {
    /// The sum.
    pub fn total(&self) -> usize {
        self.header
            + self.constants
            + self.functions
            + self.instructions
            + self.padding
            + self.lines
    }
}

impl Image<'_> {
    /// The bytes by section, in the order they are stored.
    pub fn sizes(&self) -> Sizes {
        Sizes {
            header: HEADER_LEN,
            constants: self.entries.len() + self.order.len() + self.text.len(),
            functions: self.globals.len() + self.records.len() + self.lists.len(),
            instructions: self.code.len() - CODE_PADDING,
            padding: CODE_PADDING,
            lines: self.lines.len(),
        }
    }
}
