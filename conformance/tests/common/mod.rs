//! What random walks against a model have in common: the dice, and the comparison of what
//! a script printed with what the model says, step by step.

use scruple_conformance::{End, Setup, run};

/// A linear congruential generator (Knuth's constants).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        ((self.0 >> 33) as usize) % n
    }
}

/// Runs a script that prints a line a step behind its first lines, and names the step
/// behind which it differs from the model.
pub(crate) fn agrees(walk: &str, script: &str, n_first_lines: usize, model: &str, setup: &Setup) {
    let outcome = run(&[script], setup);
    let layout = setup.layout;
    assert_eq!(outcome.end, End::Finished, "{walk}, {layout:?}\n{script}");
    let steps = script.lines().skip(n_first_lines);
    for ((ours, model), code) in outcome.printed.lines().zip(model.lines()).zip(steps) {
        assert_eq!(ours, model, "{walk}, {layout:?}, after {code}");
    }
    assert_eq!(outcome.printed, model, "{walk}, {layout:?}");
    assert!(outcome.ledger.audit(), "{walk}");
}
