//! What the benches share: a machine that is used again and again, and the best
//! time of a routine beside what criterion reports.
//!
//! It owns no script and no expectation.
#![allow(dead_code, reason = "each bench uses a part of it")]

pub(crate) mod clock;
pub(crate) mod machine;

/// Whether times are asked for: `cargo bench` says so, `cargo bench -- --test` and
/// `cargo test --benches` want to know only that everything works.
pub(crate) fn is_measuring() -> bool {
    let has = |wanted| std::env::args().skip(1).any(|argument| argument == wanted);
    has("--bench") && !has("--test")
}
