//! A double's digits: exact ones, rounded where the caller says, and the fewest
//! that tell it from its neighbours, in any radix (ECMA-262, Number::toString and
//! what `Number.prototype` offers).
//!
//! It owns what is done with the exact digits, which `exact` in the bytecode crate
//! takes out of a double, and refuses to know how digits become text. `core::fmt` would give exact decimal
//! digits too, but rounds a tie to the even digit, where the standard asks for
//! the larger number, and knows no other radix.

use core::cmp::Ordering;

use scruple_bytecode::exact::{Big, LEAST_EXPONENT, Ratio, split};

/// The most digits that [`round`] gives: 21 before the point and 100 behind it,
/// and one that a carry may add.
pub(crate) const MOST_DIGITS: usize = 122;

/// Where digits are cut off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Cut {
    /// After that many digits, the first of which is not 0.
    Significant(usize),
    /// After that many digits behind the point.
    Fraction(usize),
}

/// Decimal digits d1 d2 …: the number 0.d1d2… times ten to the power of `point`.
#[derive(Debug)]
pub(crate) struct Rounded {
    digits: [u8; MOST_DIGITS],
    len: usize,
    /// Digits before the decimal point, if not negative.
    pub(crate) point: i32,
}

impl Rounded {
    /// The digits, as ASCII.
    pub(crate) fn digits(&self) -> &[u8] {
        &self.digits[..self.len]
    }
}

/// The decimal digits of a positive finite number, cut off where they should be:
/// of two candidates equally near, the larger.
pub(crate) fn round(number: f64, cut: Cut) -> Rounded {
    let mut ratio = Ratio::exact(number, 10);
    let mut rounded = Rounded { digits: [b'0'; MOST_DIGITS], len: 0, point: ratio.point };
    let wish = match cut {
        Cut::Significant(count) => count as i32,
        Cut::Fraction(count) => ratio.point + count as i32,
    };
    if wish < 0 {
        return rounded;
    }
    rounded.len = (wish as usize).min(MOST_DIGITS - 1);
    for place in &mut rounded.digits[..rounded.len] {
        *place = b'0' + ratio.digit();
    }
    if ratio.compare_half().is_ge() {
        carry(&mut rounded, cut);
    }
    rounded
}

/// Adds one to the last digit.
fn carry(rounded: &mut Rounded, cut: Cut) {
    for at in (0..rounded.len).rev() {
        if rounded.digits[at] < b'9' {
            rounded.digits[at] += 1;
            return;
        }
        rounded.digits[at] = b'0';
    }
    // All nines, or no digit at all: a 1 before them.
    rounded.digits[0] = b'1';
    rounded.point += 1;
    if let Cut::Fraction(_) = cut {
        rounded.digits[rounded.len] = b'0';
        rounded.len += 1;
        rounded.digits[0] = b'1';
    }
}

/// The fewest digits of a positive finite number that give it back.
pub(crate) struct Shortest {
    ratio: Ratio,
    /// Half the distance to the number below, in the ratio's measure.
    below: Big,
    /// The distance to the number above is twice as large.
    uneven: bool,
    /// A number in the middle between two doubles reads as this one.
    even: bool,
    done: bool,
}

impl Shortest {
    /// Begins with the first digit, which is not 0.
    pub(crate) fn new(number: f64, radix: u32) -> Self {
        let (mantissa, exponent) = split(number);
        // The lowest of its binade has a nearer neighbour below.
        let uneven = mantissa == 1 << 52 && exponent > LEAST_EXPONENT;
        let mut ratio = Ratio::new(mantissa, exponent, radix, 1 + u32::from(uneven));
        let mut below = Big::new(1);
        below.shift_left(exponent.max(0) as u32);
        let even = mantissa & 1 == 0;
        let reaches = |ratio: &Ratio, below: &Big| match ratio.compare(below, uneven) {
            Ordering::Greater => true,
            Ordering::Equal => even,
            Ordering::Less => false,
        };
        while reaches(&ratio, &below) {
            ratio.denominator.multiply(radix);
            ratio.point += 1;
        }
        loop {
            let (numerator, lower) = (ratio.numerator.clone(), below.clone());
            ratio.numerator.multiply(radix);
            below.multiply(radix);
            if reaches(&ratio, &below) {
                (ratio.numerator, below) = (numerator, lower);
                break;
            }
            ratio.point -= 1;
        }
        Shortest { ratio, below, uneven, even, done: false }
    }

    /// Digits before the point, if not negative.
    pub(crate) fn point(&self) -> i32 {
        self.ratio.point
    }
}

impl Iterator for Shortest {
    type Item = u8;

    fn next(&mut self) -> Option<u8> {
        if self.done {
            return None;
        }
        let digit = self.ratio.digit();
        self.below.multiply(self.ratio.radix);
        let within = |order: Ordering| match order {
            Ordering::Less => true,
            Ordering::Equal => self.even,
            Ordering::Greater => false,
        };
        let low = within(self.ratio.numerator.compare(&self.below));
        let high = within(self.ratio.compare(&self.below, self.uneven).reverse());
        self.done = low || high;
        // Of two candidates equally near, the even one (ECMA-262, Number::toString).
        let nearer = match self.ratio.compare_half() {
            Ordering::Equal => digit % 2 == 1,
            order => order.is_gt(),
        };
        let up = high && (!low || nearer);
        Some(digit + u8::from(up))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::string::String;
    use std::vec::Vec;

    fn rounded(number: f64, cut: Cut) -> (String, i32) {
        let rounded = round(number, cut);
        (String::from_utf8(rounded.digits().to_vec()).unwrap(), rounded.point)
    }

    // Source: exact arithmetic on the doubles, done with CPython's decimal module
    // and ROUND_HALF_UP.
    #[test]
    fn a_tie_goes_to_the_larger_number_and_what_only_looks_like_one_does_not() {
        assert_eq!(rounded(0.5, Cut::Fraction(0)), ("1".into(), 1));
        assert_eq!(rounded(2.5, Cut::Fraction(0)), ("3".into(), 1));
        assert_eq!(rounded(1.005, Cut::Fraction(2)), ("100".into(), 1));
        assert_eq!(rounded(1.45, Cut::Fraction(1)), ("14".into(), 1));
        assert_eq!(rounded(8.345, Cut::Fraction(2)), ("835".into(), 1));
        assert_eq!(rounded(0.000001, Cut::Fraction(7)), ("10".into(), -5));
        assert_eq!(rounded(0.04, Cut::Fraction(1)), ("".into(), -1));
        assert_eq!(rounded(0.05, Cut::Fraction(1)), ("1".into(), 0));
        assert_eq!(rounded(999.95, Cut::Fraction(1)), ("10000".into(), 4));
        assert_eq!(rounded(99.5, Cut::Significant(2)), ("10".into(), 3));
        assert_eq!(rounded(1e21, Cut::Significant(3)), ("100".into(), 22));
        assert_eq!(rounded(5e-324, Cut::Significant(4)), ("4941".into(), -323));
        assert_eq!(rounded(f64::MAX, Cut::Significant(5)), ("17977".into(), 309));
    }

    // The reference is Rust's own conversion, which gives exact digits; ties,
    // where it may differ, do not occur past the digits that a double has.
    #[test]
    fn a_hundred_digits_are_exact() {
        for number in [0.1, 1.0 / 3.0, 1e-7, 123456.789, 1e-300, 4.9e-324, 1.7e308] {
            let (digits, _) = rounded(number, Cut::Significant(101));
            let wish = std::format!("{number:.100e}");
            let wish: String =
                wish.chars().take_while(|&c| c != 'e').filter(|&c| c != '.').collect();
            assert_eq!(digits, wish, "{number}");
        }
    }

    // The reference is Rust's own shortest conversion.
    #[test]
    fn the_fewest_decimal_digits_are_those_of_the_usual_conversion() {
        let mut state = 1u64;
        for _ in 0..2000 {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            let number = f64::from_bits(state >> 1);
            if !number.is_finite() {
                continue;
            }
            let digits: Vec<u8> = Shortest::new(number, 10).map(|digit| digit + b'0').collect();
            let wish = std::format!("{number:e}");
            let wish: Vec<u8> =
                wish.bytes().take_while(|&b| b != b'e').filter(|&b| b != b'.').collect();
            assert_eq!(digits, wish, "{number:e}");
        }
    }

    #[test]
    fn the_fewest_digits_of_any_radix_give_the_number_back() {
        for radix in [2, 3, 7, 16, 36] {
            for number in [0.5, 0.1, 255.0, 1.0 / 3.0, 1e21, 5e-324, f64::MAX, 2f64.powi(60)] {
                let shortest = Shortest::new(number, radix);
                let point = shortest.point();
                let digits: Vec<u8> = shortest.collect();
                assert!(digits.iter().all(|&digit| u32::from(digit) < radix));
                assert_ne!(digits[0], 0);
                assert_ne!(digits[digits.len() - 1], 0);
                if radix.is_power_of_two() {
                    let bits = radix.trailing_zeros() as i32;
                    let sum: f64 = (0i32..)
                        .zip(&digits)
                        .map(|(at, &digit)| libm::scalbn(f64::from(digit), (point - 1 - at) * bits))
                        .sum();
                    assert_eq!(sum, number, "radix {radix}");
                }
            }
        }
    }
}
