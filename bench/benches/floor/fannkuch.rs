//! Pancake flips over all permutations, as in the Computer Language Benchmarks
//! Game.
//!
//! It owns the order of the permutations, which the checksum's signs depend on.

use std::hint::black_box;

/// Checksum and most flips for seven.
pub(crate) fn run() -> String {
    let n = black_box(7);
    let mut permutation: Vec<usize> = (0..n).collect();
    let mut counts = vec![0; n];
    let (mut checksum, mut most, mut is_even) = (0i64, 0, true);
    loop {
        let flips = count_flips(&permutation);
        checksum += if is_even { flips } else { -flips };
        most = most.max(flips);
        is_even = !is_even;
        if !advance(&mut permutation, &mut counts) {
            return format!("{checksum}\nPfannkuchen({n}) = {most}\n");
        }
    }
}

fn count_flips(permutation: &[usize]) -> i64 {
    let mut stack = permutation.to_vec();
    let mut flips = 0;
    while stack[0] != 0 {
        let first = stack[0];
        stack[..=first].reverse();
        flips += 1;
    }
    flips
}

/// Steps to the next permutation; false after the last one.
fn advance(permutation: &mut [usize], counts: &mut [usize]) -> bool {
    for length in 1..permutation.len() {
        permutation[..=length].rotate_left(1);
        counts[length] += 1;
        if counts[length] <= length {
            return true;
        }
        counts[length] = 0;
    }
    false
}
