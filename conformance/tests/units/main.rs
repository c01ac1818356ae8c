//! Parts of the runner and of what it is fed with, each by itself.
//!
//! They stand here and not beside what they test: a crate's own tests are built with a
//! second copy of it, and this one has six machines in it.

mod checkout;
mod commonjs;
mod document;
mod gaps;
mod metadata;
mod packages;
mod skips;
