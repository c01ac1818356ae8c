//! The best time of a routine, kept while criterion samples it.
//!
//! Criterion's report comes a routine at a time. A table that sets routines side
//! by side needs their times together, and the best of many samples is the figure
//! that a busy machine disturbs least. It owns the clock; the benches own the
//! tables. Where routines run by turns there is no criterion: it times each once.

use std::hint::black_box;
use std::time::Instant;

use criterion::Bencher;

/// The best time of one routine so far.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Best(Option<f64>);

impl Best {
    /// Lets criterion sample the routine.
    pub(crate) fn sample<T>(&mut self, bencher: &mut Bencher<'_>, mut routine: impl FnMut() -> T) {
        bencher.iter_custom(|times| {
            let start = Instant::now();
            for _ in 0..times {
                black_box(routine());
            }
            let elapsed = start.elapsed();
            self.note(elapsed.as_secs_f64() / times.max(1) as f64);
            elapsed
        });
    }

    /// Times the routine once.
    pub(crate) fn time<T>(&mut self, routine: impl FnOnce() -> T) {
        let start = Instant::now();
        black_box(routine());
        self.note(start.elapsed().as_secs_f64());
    }

    /// Takes a time in seconds.
    pub(crate) fn note(&mut self, seconds: f64) {
        self.0 = Some(self.0.map_or(seconds, |best| best.min(seconds)));
    }

    /// The best time in seconds: none if the routine was filtered out.
    pub(crate) fn seconds(self) -> Option<f64> {
        self.0
    }

    /// The best time in milliseconds, as a cell of a table.
    pub(crate) fn cell(self) -> String {
        match self.0 {
            Some(seconds) => format!("{:.4}", seconds * 1e3),
            None => "-".to_owned(),
        }
    }
}
