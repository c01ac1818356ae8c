//! A double's digits: exact ones, rounded where the caller says, and the fewest
//! that tell it from its neighbours, in any radix (ECMA-262, Number::toString and
//! what `Number.prototype` offers).
//!
//! It owns the arithmetic on numbers of over a thousand bits that this needs, and
//! refuses to know how digits become text. `core::fmt` would give exact decimal
//! digits too, but rounds a tie to the even digit, where the standard asks for
//! the larger number, and knows no other radix.

use core::cmp::Ordering;

/// Limbs of 32 bits. The largest number met is about 2^1076 times a radix.
const LIMBS: usize = 36;

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
    if ratio.is_half_or_more() {
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
        let up = high && (!low || self.ratio.is_half_or_more());
        Some(digit + u8::from(up))
    }
}

/// A number between 0 and 1 and a power of the radix.
struct Ratio {
    numerator: Big,
    denominator: Big,
    radix: u32,
    point: i32,
}

impl Ratio {
    fn new(mantissa: u64, exponent: i32, radix: u32, extra_bits: u32) -> Self {
        let mut numerator = Big::new(mantissa);
        numerator.shift_left(exponent.max(0) as u32 + extra_bits);
        let mut denominator = Big::new(1);
        denominator.shift_left((-exponent).max(0) as u32 + extra_bits);
        Ratio { numerator, denominator, radix, point: 0 }
    }

    fn exact(number: f64, radix: u32) -> Self {
        let (mantissa, exponent) = split(number);
        let mut ratio = Ratio::new(mantissa, exponent, radix, 0);
        while ratio.numerator.compare(&ratio.denominator).is_ge() {
            ratio.denominator.multiply(radix);
            ratio.point += 1;
        }
        loop {
            let numerator = ratio.numerator.clone();
            ratio.numerator.multiply(radix);
            if ratio.numerator.compare(&ratio.denominator).is_ge() {
                ratio.numerator = numerator;
                return ratio;
            }
            ratio.point -= 1;
        }
    }

    /// The next digit, which is taken off.
    fn digit(&mut self) -> u8 {
        self.numerator.multiply(self.radix);
        let mut digit = 0;
        while self.numerator.compare(&self.denominator).is_ge() {
            self.numerator.subtract(&self.denominator);
            digit += 1;
        }
        digit
    }

    /// Whether what is left is at least half a unit of the last digit.
    fn is_half_or_more(&self) -> bool {
        self.compare(&self.numerator, false).is_ge()
    }

    /// Compares numerator plus something, perhaps doubled, with the denominator.
    fn compare(&self, plus: &Big, doubled: bool) -> Ordering {
        let shift = u32::from(doubled);
        let mut carry = 0u64;
        let mut order = Ordering::Equal;
        for at in 0..LIMBS {
            let sum = u64::from(self.numerator.0[at]) + (u64::from(plus.0[at]) << shift) + carry;
            carry = sum >> 32;
            order = (sum as u32).cmp(&self.denominator.0[at]).then(order);
        }
        if carry > 0 { Ordering::Greater } else { order }
    }
}

const LEAST_EXPONENT: i32 = -1074;

/// Mantissa and binary exponent of a positive finite number.
fn split(number: f64) -> (u64, i32) {
    let bits = number.to_bits();
    let (fraction, biased) = (bits & ((1 << 52) - 1), (bits >> 52 & 0x7ff) as i32);
    match biased {
        0 => (fraction, LEAST_EXPONENT),
        _ => (fraction | 1 << 52, biased - 1075),
    }
}

/// A natural number of fixed width, least limb first.
#[derive(Clone)]
struct Big([u32; LIMBS]);

impl Big {
    fn new(number: u64) -> Big {
        let mut limbs = [0; LIMBS];
        limbs[0] = number as u32;
        limbs[1] = (number >> 32) as u32;
        Big(limbs)
    }

    fn multiply(&mut self, by: u32) {
        let mut carry = 0u64;
        for limb in &mut self.0 {
            let product = u64::from(*limb) * u64::from(by) + carry;
            *limb = product as u32;
            carry = product >> 32;
        }
        debug_assert_eq!(carry, 0);
    }

    fn shift_left(&mut self, bits: u32) {
        let (limbs, bits) = ((bits / 32) as usize, bits % 32);
        self.0.copy_within(..LIMBS - limbs, limbs);
        self.0[..limbs].fill(0);
        self.multiply(1 << bits);
    }

    fn compare(&self, other: &Big) -> Ordering {
        self.0.iter().rev().cmp(other.0.iter().rev())
    }

    fn subtract(&mut self, other: &Big) {
        let mut borrow = 0i64;
        for (limb, taken) in self.0.iter_mut().zip(other.0) {
            let difference = i64::from(*limb) - i64::from(taken) + borrow;
            *limb = difference as u32;
            borrow = difference >> 32;
        }
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
