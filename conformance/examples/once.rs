//! Runs a script from the command line's first argument and shows what it did.
use scruple_conformance::*;
use scruple_vm::HeapOptions;
fn main() {
    let source = std::env::args().nth(1).unwrap_or_default();
    let source = std::fs::read_to_string(&source).unwrap_or(source);
    let stress = std::env::args().nth(2).is_some();
    let heap = HeapOptions {
        collect_every: if stress { 0 } else { usize::MAX },
        ..HeapOptions::default()
    };
    let outcome = run(&[&source], &Setup { heap, ..Setup::default() });
    print!("{}", outcome.printed);
    println!(
        "{:?} instructions {} high {} live {}",
        outcome.end,
        outcome.instructions,
        outcome.ledger.high_water().total(),
        outcome.ledger.live_peak().total()
    );
}
