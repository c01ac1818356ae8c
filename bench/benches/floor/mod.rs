//! The kernels in plain Rust: the floor under every interpreter's time.
//!
//! Each module solves the problem of the sample script with its name, at the same
//! size and with the same output, straight from the published algorithm: no
//! library, no trick with wide registers, no second thread. Sizes and messages go
//! through `black_box`, so that nothing is worked out when the bench is built.
//!
//! It refuses to be clever: a floor is what a programmer writes down first.

pub(crate) mod base64;
pub(crate) mod crc32;
pub(crate) mod fannkuch;
pub(crate) mod mandelbrot;
pub(crate) mod nbody;
pub(crate) mod queens;
pub(crate) mod sha256;
pub(crate) mod spectral_norm;

/// The bytes as hexadecimal digits.
fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
