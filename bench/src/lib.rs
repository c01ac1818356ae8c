//! The measuring library: a script in, a document out.
//!
//! It owns the way from a script on disk to figures: [`script`] reads it with its options
//! and its expected output, [`build`] compiles it and keeps the compile peak, [`machine`]
//! runs the image in a [`station`] whose [`timers`] and [`feed`] are written on the
//! machine's public interface alone, [`measure`] checks the answer and keeps the books,
//! [`document`] is what goes out, and [`report`] renders it. [`sets`] reads instruction
//! sets, [`files`] writes files. [`fit`] finds the least RAM a script runs in and holds
//! it against a [`board`], [`limits`] holds figures against a file. [`memory`] tells
//! where the bytes are. [`listed`] is a listing as data, [`trace`] looks at a window of a
//! run, [`diagnose`] shows what went wrong where. [`operations`] is the operation table as a
//! reference, and how often scripts use it. [`streams`] takes images apart into operations:
//! [`bounds`] says what these could take at the least, [`sweep`] sets every encoding and
//! layout side by side, [`compose`] mines instruction sets from them. [`compare`] sets two saved documents
//! side by side, [`shard`] cuts the work into slices and puts them together.
//!
//! It refuses to print: measuring and rendering return values, and only the
//! command line writes. It refuses to weigh a wrong answer: a run that did not
//! print what it must is a row with an error and without figures.
//!
//! ```
//! use scruple_bench::measure::{Plan, weigh};
//! use scruple_bench::script::Script;
//!
//! let script = Script::from_text("greeting.js", "console.log('hello');", Some("hello\n"));
//! let document = weigh(&[script.into()], &Plan::default(), &|| ());
//! assert!(document.rows.iter().all(|row| row.error.is_none()));
//! assert!(document.adds_up());
//! ```

pub mod allocator;
pub mod board;
pub mod bounds;
pub mod build;
pub mod compare;
pub mod compose;
pub mod diagnose;
pub mod document;
pub mod emulated;
pub mod feed;
pub mod files;
pub mod fit;
pub mod layout;
pub mod limits;
pub mod listed;
pub mod machine;
pub mod measure;
pub mod memory;
pub mod operations;
pub mod options;
pub mod report;
pub mod script;
pub mod sets;
pub mod shard;
pub mod station;
pub mod step;
pub mod streams;
pub mod sweep;
pub mod timers;
pub mod trace;
