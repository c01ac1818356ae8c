//! Runs an image over a counting heap, in one region of memory that it is given.
//!
//! No std, no alloc. It never sees source text: an image comes from the compiler
//! or lies in flash. The public interface is for the program around it.
//!
//! ```
//! use scruple_vm::{Call, Host, Narrow, Options, Raise, Value, Vm};
//!
//! /// Collects what scripts print.
//! #[derive(Default)]
//! struct Station {
//!     printed: String,
//! }
//!
//! impl Host for Station {
//!     type Observer = ();
//!     fn observer(&mut self) -> &mut () {
//!         Box::leak(Box::new(()))
//!     }
//!     fn write(&mut self, text: &str) {
//!         self.printed.push_str(text);
//!     }
//! }
//!
//! let mut region = vec![0u32; 1024];
//! let mut vm: Vm<'_, Narrow, Station> =
//!     Vm::new(&mut region, Station::default(), Options::default());
//! assert_eq!(vm.instructions(), 0);
//! ```

#![cfg_attr(not(test), no_std)]

mod array;
mod builtins;
mod call;
mod convert;
mod digits;
mod error;
mod heap;
mod host;
mod interp;
mod keys;
mod layout;
mod number;
mod object;
mod text;
mod throw;
mod value;
mod vm;

pub use error::{Raise, RunError, StopKind};
pub use heap::HeapOptions;
pub use heap::kinds::{Category, Kind};
pub use heap::ledger::{Book, Ledger};
pub use host::{Call, Counter, Host, HostFunction, Observer, Outcome, Step};
pub use layout::{Layout, Narrow, Wide, cell_bytes};
pub use value::{Ref, Value};
pub use vm::{LoadError, MAX_IMAGES, Options, Retained, Vm};
