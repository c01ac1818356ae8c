//! Why bytes are no image, with the offset of the byte that is wrong.

use core::fmt;

use super::{HEADER_LEN, MAX_CODE, header};
use crate::names;

/// Why bytes are no image that this build can use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ImageError {
    kind: ImageErrorKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ImageErrorKind {
    TooShort,
    Magic,
    Version(u8),
    Encoding(u8),
    /// The one named, one that is there, whether there are more.
    InstructionSet(u32, Option<u32>, bool),
    StraySet(u32),
    Names(u32),
    Checksum,
    Sections,
    Code(usize),
}

impl ImageError {
    /// Whether a compiler and an interpreter of different builds met: the bytes
    /// are whole, and compiling the script again mends it.
    pub fn is_mismatch(&self) -> bool {
        matches!(
            self.kind,
            ImageErrorKind::Version(_)
                | ImageErrorKind::Encoding(_)
                | ImageErrorKind::InstructionSet(..)
                | ImageErrorKind::Names(_)
        )
    }

    /// The offset of the byte that is wrong.
    pub fn offset(&self) -> usize {
        match self.kind {
            ImageErrorKind::TooShort | ImageErrorKind::Magic => 0,
            ImageErrorKind::Version(_) => header::AT_VERSION,
            ImageErrorKind::Encoding(_) => header::AT_ENCODING,
            ImageErrorKind::InstructionSet(..) | ImageErrorKind::StraySet(_) => header::AT_SET_HASH,
            ImageErrorKind::Names(_) => header::AT_NAMES_HASH,
            ImageErrorKind::Checksum => header::AT_CHECKSUM,
            ImageErrorKind::Sections => header::AT_CONSTANTS,
            ImageErrorKind::Code(_) => header::AT_CODE,
        }
    }
}

impl From<ImageErrorKind> for ImageError {
    fn from(kind: ImageErrorKind) -> Self {
        ImageError { kind }
    }
}

impl fmt::Display for ImageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "image offset {}: ", self.offset())?;
        match self.kind {
            ImageErrorKind::TooShort => write!(f, "shorter than a header of {HEADER_LEN} bytes"),
            ImageErrorKind::Magic => write!(f, "not an image: the first four bytes are not SCRP"),
            ImageErrorKind::Version(v) => {
                write!(f, "format version {v}, this build reads {}", header::VERSION)
            }
            ImageErrorKind::Encoding(n) => {
                write!(f, "encoding number {n} is not known to this build")
            }
            ImageErrorKind::InstructionSet(h, None, _) => {
                write!(f, "instruction set {h:08x} is wanted, this machine has none")
            }
            ImageErrorKind::InstructionSet(h, Some(known), more) => {
                let others = if more { " and others" } else { "" };
                write!(f, "instruction set {h:08x} is wanted, this machine has {known:08x}{others}")
            }
            ImageErrorKind::StraySet(h) => {
                write!(f, "instruction set {h:08x} is named by an encoding that has none")
            }
            ImageErrorKind::Names(h) => write!(
                f,
                "name list {h:08x}, this build has {:08x}: compile the script again",
                names::HASH
            ),
            ImageErrorKind::Checksum => write!(f, "checksum differs: the image is damaged"),
            ImageErrorKind::Sections => write!(f, "section lengths do not add up to the image"),
            ImageErrorKind::Code(n) => {
                write!(f, "{n} bytes of instructions, at most {MAX_CODE} can be reached")
            }
        }
    }
}

impl core::error::Error for ImageError {}
