//! `Math.sumPrecise`: the sum of numbers, rounded once.
//!
//! The sum is kept exactly, as one integer that counts in 2^-1074, the smallest number
//! there is: 272 bytes of the host program's stack, for as long as the call takes.

use crate::Host;
use crate::error::Raise;
use crate::host::Call;
use crate::layout::Layout;
use crate::value::Value;
use crate::vm::Vm;

/// Bits for the largest number, and for adding 2^53 of them, with a sign.
const WORDS: usize = (1074 + 1024 + 53 + 1usize).div_ceil(32);

/// A whole number of 2^-1074, in two's complement, lowest word first.
struct Exact([u32; WORDS]);

impl Exact {
    /// Adds a finite number.
    fn add(&mut self, number: f64) {
        let bits = number.to_bits();
        let field = (bits >> 52 & 0x7ff) as usize;
        let fraction = bits & ((1 << 52) - 1);
        let size = if field == 0 { fraction } else { fraction | 1 << 52 };
        let place = field.max(1) - 1;
        let mut rest = u128::from(size) << (place % 32);
        let mut carry = 0i64;
        for word in &mut self.0[place / 32..] {
            let part = i64::from(rest as u32);
            let total =
                i64::from(*word) + carry + if number.is_sign_negative() { -part } else { part };
            *word = total as u32;
            carry = total >> 32;
            rest >>= 32;
            if rest == 0 && carry == 0 {
                break;
            }
        }
    }

    fn bit(&self, place: usize) -> bool {
        self.0[place / 32] >> (place % 32) & 1 != 0
    }

    /// The nearest number, ties to even.
    fn round(mut self) -> f64 {
        let negative = self.bit(32 * WORDS - 1);
        if negative {
            let mut carry = true;
            for word in &mut self.0 {
                (*word, carry) = (!*word).overflowing_add(u32::from(carry));
            }
        }
        let Some(top) = (0..32 * WORDS).rev().find(|&place| self.bit(place)) else { return 0.0 };
        let lowest = top.saturating_sub(52);
        let size = (lowest..=top).rev().fold(0u64, |bits, at| bits << 1 | u64::from(self.bit(at)));
        // The bits of a number of up to 53 bits are that number of 2^-1074. Another
        // place for the lowest of 53 bits is another exponent.
        let mut bits = size + ((lowest as u64) << 52);
        if lowest > 0 && self.bit(lowest - 1) {
            let more = (0..lowest - 1).any(|place| self.bit(place));
            bits += u64::from(more || size & 1 == 1);
        }
        let magnitude = f64::from_bits(bits.min(f64::INFINITY.to_bits()));
        if negative { -magnitude } else { magnitude }
    }
}

/// ECMA-262, Math.sumPrecise ( items ).
pub(super) fn sum_precise<L: Layout, H: Host>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let items = vm.arg(&call, 0);
    if items.is_nullish() {
        return Err(vm.throw_type("undefined and null have no numbers to add"));
    }
    let mut exact = Exact([0; WORDS]);
    // What is not finite decides alone; until there is anything but -0, that is the sum.
    let (mut infinite, mut only_minus_zero) = (None, true);
    super::iterate(vm, items, |vm, value| {
        let Some(number) = vm.as_number(value) else {
            return Err(vm.throw_type("only numbers can be added"));
        };
        if number.is_finite() {
            only_minus_zero &= number == 0.0 && number.is_sign_negative();
            exact.add(number);
        } else {
            infinite = Some(infinite.map_or(number, |sum: f64| sum + number));
        }
        Ok(())
    })?;
    let sum = match infinite {
        Some(sum) => sum,
        None if only_minus_zero => -0.0,
        None => exact.round(),
    };
    vm.number(sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sum(numbers: &[f64]) -> f64 {
        let mut exact = Exact([0; WORDS]);
        numbers.iter().for_each(|&number| exact.add(number));
        exact.round()
    }

    /// IEEE 754: one addition rounds once, so a sum of two must be the same.
    #[test]
    fn a_sum_of_two_is_their_addition() {
        let numbers =
            [0.1, -0.3, 1e308, -1e308, 5e-324, 2.5, f64::MAX, f64::MIN_POSITIVE, -1.0, 1e-310];
        for a in numbers {
            for b in numbers {
                assert_eq!(sum(&[a, b]).to_bits(), (a + b + 0.0).to_bits(), "{a} + {b}");
            }
        }
    }

    /// By arithmetic: what cancels leaves the rest, which additions one by one lose.
    #[test]
    fn a_sum_rounds_once() {
        assert_eq!(sum(&[1e20, 0.1, -1e20]), 0.1);
        assert_eq!(
            sum(&[1e308, 1e308, 0.1, 0.1, 1e30, 0.1, -1e30, -1e308, -1e308]),
            0.30000000000000004
        );
        assert_eq!(sum(&[f64::MAX, f64::MAX]), f64::INFINITY);
    }
}
