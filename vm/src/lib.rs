//! Runs an image over a counting heap, in one region of memory that it is given.
//!
//! No std, no alloc. It never sees source text: an image comes from the compiler
//! or lies in flash. The public interface is for the program around it: it gives
//! the machine memory, output and functions, loads an image, runs it, and calls
//! what the script has defined.
//!
//! ```
//! use scruple_vm::{Call, Host, HostFunction, Layout, Narrow, Options, Raise, Value, Vm};
//!
//! /// The program around the machine: it takes what scripts print, and has a
//! /// gate that they can work.
//! #[derive(Default)]
//! struct Station {
//!     observer: (),
//!     printed: String,
//!     open_percent: f64,
//! }
//!
//! impl Host for Station {
//!     type Observer = ();
//!
//!     fn observer(&mut self) -> &mut () {
//!         &mut self.observer
//!     }
//!
//!     fn write(&mut self, text: &str) {
//!         self.printed.push_str(text);
//!     }
//! }
//!
//! /// A function that scripts call as `openGate(percent)`. An error that it
//! /// throws is one that the script can catch.
//! fn open_gate<L: Layout>(
//!     vm: &mut Vm<'_, L, Station>,
//!     call: Call<L>,
//! ) -> Result<Value<L>, Raise> {
//!     let percent = vm.to_number(vm.arg(&call, 0))?;
//!     if !(0.0..=100.0).contains(&percent) {
//!         return Err(vm.throw_range("a gate opens from 0 to 100 per cent"));
//!     }
//!     let before = core::mem::replace(&mut vm.host_mut().open_percent, percent);
//!     vm.number(before)
//! }
//!
//! // The script, compiled. On a board the image would lie in flash.
//! let source = "
//!     let limit = 80;
//!     function work(level) {
//!         if (level < 0) {
//!             throw new TypeError('no level');
//!         }
//!         openGate(level > limit ? 100 : 0);
//!         return level - limit;
//!     }
//!     openGate(50);
//!     console.log('ready at', limit);
//! ";
//! let options = scruple_compiler::Options::default();
//! let image = scruple_compiler::compile(source, &options).expect("a script").image;
//!
//! // All the memory that the machine will ever use: 8 KiB.
//! let mut region = [0u32; 2048];
//! let functions = [HostFunction { name: "openGate", length: 1, call: open_gate }];
//! let mut vm: Vm<'_, Narrow, Station> =
//!     Vm::new(&mut region, Station::default(), Options::default());
//! vm.set_host_functions(&functions);
//! vm.load(&image)?;
//! vm.run()?;
//! assert_eq!(vm.host().printed, "ready at 80\n");
//! assert_eq!(vm.host().open_percent, 50.0);
//!
//! // A global is read and set, whichever way the script declared it.
//! let limit = vm.global("limit")?;
//! assert_eq!(vm.as_number(limit), Some(80.0));
//! let limit = vm.attempt(|vm| vm.number(92.5))?;
//! vm.set_global("limit", limit)?;
//!
//! // A function of the script is called. The function is retained: between runs
//! // nothing else need keep it from the collector.
//! let work = vm.global("work")?;
//! let work = vm.retain(work)?;
//! let level = vm.attempt(|vm| vm.number(93.0))?;
//! let result = vm.call(vm.retained(work), Value::undefined(), &[level])?;
//! assert_eq!(vm.as_number(result), Some(0.5));
//! assert_eq!(vm.host().open_percent, 100.0);
//!
//! // An exception that the script does not catch comes out as an error with a
//! // place in the source; the machine is fit for more.
//! let level = vm.attempt(|vm| vm.number(-1.0))?;
//! let error = vm.call(vm.retained(work), Value::undefined(), &[level]).unwrap_err();
//! assert!(error.is_exception());
//! assert_eq!(error.position().map(|position| position.line), Some(5));
//! let mut text = String::new();
//! vm.describe(vm.thrown(), &mut text)?;
//! assert_eq!(text, "TypeError: no level");
//!
//! // An error of a host function is thrown into the script, and comes out here
//! // only because nothing there catches it.
//! let open_gate = vm.global("openGate")?;
//! let percent = vm.attempt(|vm| vm.number(101.0))?;
//! let error = vm.call(open_gate, Value::undefined(), &[percent]).unwrap_err();
//! assert!(error.is_exception() && error.stop().is_none());
//! vm.release(work);
//!
//! // Bytes that are no image are refused before anything runs.
//! assert!(vm.load(b"no image").is_err());
//!
//! // The ledger knows what all this took.
//! assert!(vm.ledger().audit() && vm.ledger().high_water().total() < 8 * 1024);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # What the program around it has to keep
//!
//! An image may be any bytes: what the verifier accepts stays within its bounds. A
//! [`Value`], a [`Call`] and a handle of [`Vm::retain`] are plain numbers that belong to
//! the machine that gave them, the values until a script has run, the handle until it is
//! released. One of another machine, or one that is out of date, is not told from a good one:
//! what is done with it may be done to another object, or to the machine's own stack, whose
//! links the optimised loop trusts. The feature `checked` has every access bounded, as builds
//! with debug assertions have: while a host is being written, a panic is then the worst that
//! comes of a mistake.

#![cfg_attr(not(test), no_std)]

mod array;
mod builtins;
mod bytes;
mod call;
mod compaction;
mod construct;
mod convert;
mod define;
mod digits;
mod elements;
mod embed;
mod entries;
mod error;
mod fold;
mod globals;
mod heap;
mod holders;
mod host;
mod inspect;
mod interp;
mod iterate;
mod keys;
mod layout;
mod load;
mod memory;
mod number;
mod object;
mod properties;
mod remainder;
mod text;
mod throw;
mod value;
mod views;
mod vm;

pub use embed::Retained;
pub use error::{Raise, RunError, StopKind};
pub use heap::HeapOptions;
pub use heap::kinds::{Category, Kind};
pub use heap::ledger::{Book, Ledger};
pub use host::{
    Call, Changes, Counter, Counts, Families, Host, HostFunction, NativeFn, Observer, Outcome,
    Step, Steps, Wanted,
};
pub use inspect::Frame;
pub use layout::{Layout, Narrow, Wide, cell_bytes};
pub use load::LoadError;
pub use memory::{Block, Booking, Change};
pub use value::{Ref, Value};
pub use vm::{MAX_HOST_FUNCTIONS, MAX_IMAGES, Options, Vm};
