//! Finding the smallest size that will do.
//!
//! It owns the search alone: sizes are numbers, and a trial says of each whether
//! it will do. It refuses to believe that a larger size always does where a
//! smaller one did. Halving alone was tried and is wrong for half of the samples:
//! a block that lives high up can be in the stack's way where it cannot be moved, and
//! where it lies depends on when the collections come. The border is therefore
//! looked at from both sides, and size by size where that can be paid for.

use std::collections::BTreeMap;

/// How many sizes on each side of the border are tried at least.
pub const NEIGHBOURS: usize = 16;

/// What a trial says of a size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome<W> {
    /// It does, but the size was felt.
    Does,
    /// It does as if there were no limit: every larger size will.
    DoesFreely,
    /// It does not.
    Fails(W),
}

/// Where the sizes that do begin.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Border<W> {
    /// The smallest size that did.
    pub least: usize,
    /// Every size tried from here on did.
    pub steady: usize,
    /// The largest size that did not, and why.
    pub witness: Option<(usize, W)>,
    /// Whether every size was tried, up to one that does freely.
    pub is_exhaustive: bool,
    /// Sizes tried.
    pub n_tries: usize,
}

/// Searches from 0 to a size that is known to do: by halving and among the
/// neighbours, or through every size if `thorough`. An error of the trial ends the
/// search.
pub fn search<W, E>(
    most: usize,
    thorough: bool,
    trial: impl FnMut(usize) -> Result<Outcome<W>, E>,
) -> Result<Border<W>, E> {
    let mut tried = Tried { trial, sizes: BTreeMap::new() };
    let (mut low, mut high) = (0, most);
    while low < high {
        let middle = low.midpoint(high);
        if tried.does(middle)? {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    let reach = if thorough { usize::MAX } else { NEIGHBOURS };
    let least = tried.last_below(high, reach)?;
    let steady = tried.first_above(high, most, reach)?;
    let n_tries = tried.sizes.len();
    let mut failures = tried.sizes.into_iter().rev().filter_map(|(size, outcome)| match outcome {
        Outcome::Fails(why) => Some((size, why)),
        _ => None,
    });
    Ok(Border { least, steady, witness: failures.next(), is_exhaustive: thorough, n_tries })
}

/// What has been tried.
struct Tried<T, W> {
    trial: T,
    sizes: BTreeMap<usize, Outcome<W>>,
}

impl<W, E, T: FnMut(usize) -> Result<Outcome<W>, E>> Tried<T, W> {
    fn outcome(&mut self, size: usize) -> Result<&Outcome<W>, E> {
        match self.sizes.entry(size) {
            std::collections::btree_map::Entry::Occupied(known) => Ok(known.into_mut()),
            std::collections::btree_map::Entry::Vacant(new) => Ok(new.insert((self.trial)(size)?)),
        }
    }

    fn does(&mut self, size: usize) -> Result<bool, E> {
        Ok(!matches!(self.outcome(size)?, Outcome::Fails(_)))
    }

    /// Goes down until so many in a row do not.
    fn last_below(&mut self, from: usize, reach: usize) -> Result<usize, E> {
        let (mut least, mut size) = (from, from);
        while size > 0 && least - size < reach {
            size -= 1;
            if self.does(size)? {
                least = size;
            }
        }
        Ok(least)
    }

    /// Goes up until so many in a row do, or one does freely.
    fn first_above(&mut self, from: usize, most: usize, reach: usize) -> Result<usize, E> {
        let mut steady = from;
        for size in from..=most {
            if size - from.max(steady) > reach {
                break;
            }
            match self.outcome(size)? {
                Outcome::Does => {}
                Outcome::DoesFreely => break,
                Outcome::Fails(_) => steady = size + 1,
            }
        }
        Ok(steady)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From 900 on sizes are no longer felt.
    fn search_where(thorough: bool, does: impl Fn(usize) -> bool) -> Border<&'static str> {
        let trial = |size| {
            Ok::<_, ()>(match size {
                900.. => Outcome::DoesFreely,
                _ if does(size) => Outcome::Does,
                _ => Outcome::Fails("small"),
            })
        };
        search(1000, thorough, trial).unwrap()
    }

    #[test]
    fn the_border_of_a_monotonous_trial_is_exact() {
        for border in [0, 1, 2, 15, 16, 17, 499, 500, 501, 899, 900] {
            for thorough in [false, true] {
                let found = search_where(thorough, |size| size >= border);
                assert_eq!((found.least, found.steady), (border, border));
                let witness = border.checked_sub(1).map(|size| (size, "small"));
                assert_eq!(found.witness, witness);
                let most = if thorough { 910 } else { 11 + 2 * NEIGHBOURS };
                assert!(found.n_tries <= most, "{} tries", found.n_tries);
            }
        }
    }

    #[test]
    fn an_island_below_the_border_is_found_and_told() {
        let found = search_where(false, |size| size >= 300 || size == 290);
        assert_eq!((found.least, found.steady), (290, 300));
        assert_eq!(found.witness, Some((299, "small")));
    }

    #[test]
    fn a_hole_above_the_border_is_found_and_told() {
        let found = search_where(false, |size| size >= 300 && size != 310 && size != 326);
        assert_eq!((found.least, found.steady), (300, 327));
        assert_eq!(found.witness, Some((326, "small")));
    }

    #[test]
    fn only_a_thorough_search_sees_what_lies_far_from_the_border() {
        let does = |size| size >= 300 && size != 400 || size == 100;
        let found = search_where(false, does);
        assert_eq!((found.least, found.steady, found.is_exhaustive), (300, 300, false));
        let found = search_where(true, does);
        assert_eq!((found.least, found.steady, found.is_exhaustive), (100, 401, true));
        assert_eq!(found.witness, Some((400, "small")));
    }

    #[test]
    fn an_error_ends_the_search() {
        assert_eq!(search::<(), _>(8, false, |_| Err("broken")), Err("broken"));
    }
}
