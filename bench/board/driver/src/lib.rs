//! Driving the emulated board: build the firmware, run a script on it, read the
//! row back.
//!
//! It owns the commands of the outside tools and what their absence is called.
//! It refuses to judge figures: [`parity`] holds them against the host's.

#[path = "../../src/parcel.rs"]
mod parcel;

pub mod firmware;
pub mod parity;
pub mod parts;
pub mod row;
