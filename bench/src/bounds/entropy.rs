//! Entropy of a stream of symbols, empirical: its own frequencies are the model.
//!
//! It owns the two orders. Order 0 takes each symbol by itself, order 1 knows the one
//! before. A model's own bytes are not in it, which is why order 1 over a small corpus
//! says less than any code could reach. It refuses to guess at symbols that it has not
//! seen.

use std::collections::BTreeMap;

/// Frequencies of a stream's symbols, and of the pairs of neighbours. Sorted maps: sums
/// of fractions then have one order, and the figures are the same on every run.
#[derive(Clone, Debug, Default)]
pub struct Frequencies<S> {
    symbols: BTreeMap<S, u64>,
    pairs: BTreeMap<(Option<S>, S), u64>,
    n_symbols: u64,
}

impl<S: Ord + Copy> Frequencies<S> {
    /// Those of nothing yet.
    pub fn new() -> Frequencies<S> {
        Frequencies { symbols: BTreeMap::new(), pairs: BTreeMap::new(), n_symbols: 0 }
    }

    /// Counts a run of symbols; nothing stands before its first.
    pub fn add(&mut self, run: impl IntoIterator<Item = S>) {
        let mut before = None;
        for symbol in run {
            *self.symbols.entry(symbol).or_default() += 1;
            *self.pairs.entry((before, symbol)).or_default() += 1;
            self.n_symbols += 1;
            before = Some(symbol);
        }
    }

    /// How many symbols were counted.
    pub fn n_symbols(&self) -> u64 {
        self.n_symbols
    }

    /// How many of them are different.
    pub fn n_distinct(&self) -> u64 {
        self.symbols.len() as u64
    }

    /// Bits of the stream if each symbol is told by itself, by a code that is best for
    /// these frequencies: n times Shannon's H (A Mathematical Theory of Communication,
    /// 1948, section 6).
    pub fn order_0_bits(&self) -> f64 {
        bits(self.symbols.values().copied(), self.n_symbols)
    }

    /// Bits of the stream if whoever reads a symbol knows the one before: n times
    /// Shannon's conditional entropy (same paper, section 6).
    pub fn order_1_bits(&self) -> f64 {
        let mut sum = 0.0;
        let mut rest = self.pairs.iter().peekable();
        while let Some((&(before, _), &first)) = rest.next() {
            let mut counts = vec![first];
            while let Some((_, &count)) = rest.next_if(|((context, _), _)| *context == before) {
                counts.push(count);
            }
            let n = counts.iter().sum();
            sum += bits(counts.into_iter(), n);
        }
        sum
    }
}

fn bits(counts: impl Iterator<Item = u64>, n: u64) -> f64 {
    counts.map(|count| count as f64 * (n as f64 / count as f64).log2()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Frequencies<char> {
        let mut frequencies = Frequencies::new();
        frequencies.add(text.chars());
        frequencies
    }

    // Shannon 1948, section 7 (a source with probabilities 1/2, 1/4, 1/8, 1/8 and
    // H = 7/4 bits a symbol), from memory.
    #[test]
    fn order_0_is_shannons_example() {
        let source = of("AAAABBCD");
        assert_eq!(source.order_0_bits(), 8.0 * 7.0 / 4.0);
        assert_eq!((source.n_symbols(), source.n_distinct()), (8, 4));
    }

    // From the definition alone: a fair coin takes a bit a toss; one face none.
    #[test]
    fn a_fair_coin_is_a_bit_and_a_single_face_nothing() {
        assert_eq!(of("HTTHTHHT").order_0_bits(), 8.0);
        assert_eq!(of("HHHHHHHH").order_0_bits(), 0.0);
        assert_eq!(of("").order_0_bits(), 0.0);
        assert_eq!(of("").order_1_bits(), 0.0);
    }

    // From the definition: the sum over neighbours x y of -log2 p(y|x), told one by one.
    #[test]
    fn order_1_is_the_sum_over_neighbours() {
        let text = "abracadabra_abracadabra_alakazam";
        let symbols: Vec<char> = text.chars().collect();
        let mut wanted = 0.0;
        for index in 1..symbols.len() {
            let before = symbols[index - 1];
            let pairs = || symbols.windows(2).filter(|pair| pair[0] == before);
            let same = pairs().filter(|pair| pair[1] == symbols[index]).count();
            wanted -= (same as f64 / pairs().count() as f64).log2();
        }
        let found = of(text).order_1_bits();
        assert!((found - wanted).abs() < 1e-9, "{found} {wanted}");
        assert!(found < of(text).order_0_bits());
        // Where each symbol tells the next, nothing is left but the first of a run.
        assert_eq!(of("abcabcabc").order_1_bits(), 0.0);
    }

    #[test]
    fn what_is_counted_in_two_runs_has_no_pair_across() {
        let mut two = Frequencies::new();
        two.add("ab".chars());
        two.add("ab".chars());
        assert_eq!(two.order_1_bits(), 0.0);
        assert!(of("abab").order_1_bits() == 0.0 && of("abba").order_1_bits() > 0.0);
    }
}
