//! Every way of carrying an instruction out gives the same counts where memory is short,
//! too: a collection, a fold or a move of the blocks comes at the same moment, so a figure
//! of a host's run is the board's, and looking on changes none. Differential, against
//! ourselves: no source outside knows these counts.

use std::fs;
use std::path::Path;

use rayon::prelude::*;
use scruple_conformance::{LayoutName, Outcome, Setup, Way, run};

/// Kernels of the samples that make numbers, strings, arrays, objects and closures.
const KERNELS: [&str; 5] = ["partitions", "sha256", "json_records", "closures", "binary_trees"];

/// Regions in slots: some are too small.
const SLOTS: [usize; 6] = [600, 900, 1100, 1500, 2300, 4100];

fn counts(outcome: &Outcome) -> String {
    let ledger = &outcome.ledger;
    format!(
        "{:?} {} {} {:?} {:?} {} {}",
        outcome.end,
        outcome.instructions,
        outcome.operations,
        ledger.high_water(),
        ledger.live_peak(),
        ledger.stack_peak(),
        ledger.collections(),
    )
}

#[test]
fn counts_are_the_same_each_way_in_regions_of_every_size() {
    let kernels = Path::new(env!("CARGO_MANIFEST_DIR")).join("../samples/kernels");
    let runs: Vec<_> = KERNELS.iter().flat_map(|name| SLOTS.map(|slots| (name, slots))).collect();
    runs.into_par_iter().for_each(|(name, slots)| {
        let source = fs::read_to_string(kernels.join(format!("{name}.js"))).expect("a sample");
        for layout in [LayoutName::Narrow, LayoutName::Wide] {
            let [quick, compact, stepped] = [Way::Quick, Way::Compact, Way::Stepped].map(|way| {
                let setup = Setup { layout, slots, way, budget: 400_000, ..Setup::default() };
                counts(&run(&[&source], &setup))
            });
            assert_eq!(quick, compact, "{name}, {layout:?}, {slots} slots: compact");
            assert_eq!(quick, stepped, "{name}, {layout:?}, {slots} slots: stepped");
        }
    });
}
