//! The emulated board: firmware built for it, scripts run on it, and every figure
//! held against the host's.
//!
//! [`firmware`] owns the outside tools (compiler, linker, emulator), [`row`] what
//! the board writes, [`parts`] where the flash goes, [`parity`] the comparison, and
//! [`document`] what goes out. It refuses to be a time: see [`CAVEAT`].

pub mod boards;
pub mod document;
pub mod firmware;
pub mod parity;
pub mod parts;
pub mod row;

#[path = "../../board/src/parcel.rs"]
#[allow(clippy::missing_errors_doc, reason = "shared with the firmware")]
pub mod parcel;

/// What is to stand beside every figure of an emulated board.
pub const CAVEAT: &str = "\
The counts are exact for an emulator and no promise about a board: it enforces no flash wait states, \
and its instruction clock is no cycle count. Stack and heap are those of the inputs that ran: leave \
headroom.";
