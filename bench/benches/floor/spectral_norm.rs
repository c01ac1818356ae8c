//! The spectral norm by the power method, as in the Computer Language Benchmarks
//! Game.
//!
//! It owns the matrix, which is worked out entry by entry and never stored.

use std::hint::black_box;

/// The norm for n = 2 and n = 100.
pub(crate) fn run() -> String {
    black_box([2, 100]).map(|n| format!("{:.9}\n", spectral_norm(n))).concat()
}

/// In floating point, as the sample's.
fn entry(row: usize, column: usize) -> f64 {
    let (row, column) = (row as f64, column as f64);
    1.0 / ((row + column) * (row + column + 1.0) / 2.0 + row + 1.0)
}

fn multiply(vector: &[f64], result: &mut [f64]) {
    for (i, sum) in result.iter_mut().enumerate() {
        *sum = vector.iter().enumerate().map(|(j, value)| entry(i, j) * value).sum();
    }
}

fn multiply_transposed(vector: &[f64], result: &mut [f64]) {
    for (i, sum) in result.iter_mut().enumerate() {
        *sum = vector.iter().enumerate().map(|(j, value)| entry(j, i) * value).sum();
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn spectral_norm(n: usize) -> f64 {
    let (mut u, mut v, mut held) = (vec![1.0; n], vec![0.0; n], vec![0.0; n]);
    for _ in 0..10 {
        multiply(&u, &mut held);
        multiply_transposed(&held, &mut v);
        multiply(&v, &mut held);
        multiply_transposed(&held, &mut u);
    }
    (dot(&u, &v) / dot(&v, &v)).sqrt()
}
