//! HTML: a page a document, in one file that opens from a disk with no network.
//!
//! It owns the way from a document to a page, a file a document. [`markup`] is the one place
//! where text becomes markup, [`page`] what every page has, [`grid`] its tables, [`policy`] what
//! a browser may load: nothing. Every figure of a document stands in a table, whatever other
//! forms leave out.

mod bars;
pub(super) mod board;
mod code;
pub(super) mod compare;
pub(super) mod compose;
#[cfg(test)]
mod contrast;
pub(super) mod fit;
mod grid;
pub(super) mod listing;
mod markup;
pub(super) mod memory;
pub(super) mod operations;
mod page;
mod policy;
mod rows;
pub(super) mod sweep;
pub(super) mod trace;
pub(super) mod weigh;
