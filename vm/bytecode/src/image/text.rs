//! The text of string constants, where it lies.

use core::cmp::Ordering;
use core::fmt;

/// The text of a string constant.
#[derive(Clone, Copy, Debug)]
pub enum Text<'a> {
    /// One byte a code unit.
    Latin1(&'a [u8]),
    /// Two little-endian bytes a code unit.
    Utf16(&'a [u8]),
}

impl<'a> Text<'a> {
    /// Length in code units.
    #[allow(clippy::len_without_is_empty, reason = "a length in code units, not a container")]
    pub fn len(self) -> usize {
        match self {
            Text::Latin1(bytes) => bytes.len(),
            Text::Utf16(bytes) => bytes.len() / 2,
        }
    }

    /// The code unit at an index below the length.
    pub fn unit(self, index: usize) -> u16 {
        match self {
            Text::Latin1(bytes) => u16::from(bytes[index]),
            Text::Utf16(bytes) => u16::from_le_bytes([bytes[2 * index], bytes[2 * index + 1]]),
        }
    }

    /// The code units.
    pub fn units(self) -> impl Iterator<Item = u16> + use<'a> {
        (0..self.len()).map(move |index| self.unit(index))
    }

    /// The order of the string-order section: by code units.
    pub fn order(self, other: Text<'_>) -> Ordering {
        if let (Text::Latin1(a), Text::Latin1(b)) = (self, other) {
            return a.cmp(b);
        }
        self.units().cmp(other.units())
    }
}

impl fmt::Display for Text<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for unit in char::decode_utf16(self.units()) {
            fmt::Write::write_char(f, unit.unwrap_or(char::REPLACEMENT_CHARACTER))?;
        }
        Ok(())
    }
}
