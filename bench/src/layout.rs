//! The layouts of the heap by name, for whoever chooses one while running.
//!
//! It owns the names and the order of a report. What a layout is, the machine
//! knows: here it is a type parameter there.

use scruple_vm::{Layout, Narrow, Wide, cell_bytes};
use serde::{Deserialize, Serialize};

/// A layout of the heap.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(rename_all = "lowercase")]
pub enum HeapLayout {
    /// 16-bit references, values of 4 bytes.
    #[default]
    Narrow,
    /// 32-bit references, values of 8 bytes, doubles inline.
    Wide,
}

impl HeapLayout {
    /// Every layout, in the order of a report.
    pub const ALL: &'static [HeapLayout] = &[HeapLayout::Narrow, HeapLayout::Wide];

    /// The name a command line and a report use.
    pub const fn name(self) -> &'static str {
        match self {
            HeapLayout::Narrow => Narrow::NAME,
            HeapLayout::Wide => Wide::NAME,
        }
    }

    /// The layout of a name.
    pub fn from_name(name: &str) -> Option<HeapLayout> {
        HeapLayout::ALL.iter().copied().find(|layout| layout.name() == name)
    }

    /// Bytes of a cell: what the heap's regions differ by.
    pub const fn cell_bytes(self) -> usize {
        match self {
            HeapLayout::Narrow => cell_bytes::<Narrow>(),
            HeapLayout::Wide => cell_bytes::<Wide>(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_layout_is_written_as_it_is_named() {
        for &layout in HeapLayout::ALL {
            assert_eq!(HeapLayout::from_name(layout.name()), Some(layout));
            let written = serde_json::to_string(&layout).unwrap();
            assert_eq!(written, format!("\"{}\"", layout.name()));
        }
    }
}
