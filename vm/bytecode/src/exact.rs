//! Doubles taken apart exactly, and decimal text rounded to the nearest one.
//!
//! It owns the arithmetic on numbers of over a thousand bits that this needs. It
//! is here because compiler and machine both read decimal literals. It refuses
//! tables of powers, which are a seventh of a small board's flash: a double that
//! is nearly right is compared with its neighbours' midpoints instead, digit by
//! digit, which needs half a KiB of stack and no copy of the text.

use core::cmp::Ordering;

/// Limbs of 32 bits. The largest number met is about 2^1077 times a radix.
const LIMBS: usize = 36;

/// The number that a decimal literal stands for, rounded to nearest, ties to even:
/// sign, digits, point, exponent, all but some digits optional. Other text gives
/// some number.
pub fn nearest(len: usize, byte: &dyn Fn(usize) -> u8) -> f64 {
    let literal = Literal::read(len, byte);
    let number = literal.magnitude(byte);
    if literal.is_negative { -number } else { number }
}

/// The number 0.d1d2… times ten to the power of `point`.
struct Literal {
    is_negative: bool,
    /// Where d1 is, the first digit that is not 0, and where the digits end.
    digits: (usize, usize),
    n_digits: usize,
    /// The leading digits as a number, and how many they are.
    leading: u64,
    n_leading: usize,
    point: i64,
}

/// As many digits as 64 bits always hold.
const MOST_LEADING: usize = 19;

/// Past this no exponent matters, however many digits stand before it.
const MOST_EXPONENT: i64 = 1 << 40;

impl Literal {
    fn read(len: usize, byte: &dyn Fn(usize) -> u8) -> Literal {
        let signed = |at: usize| at < len && matches!(byte(at), b'+' | b'-');
        let mut literal = Literal {
            is_negative: signed(0) && byte(0) == b'-',
            digits: (len, len),
            n_digits: 0,
            leading: 0,
            n_leading: 0,
            point: 0,
        };
        let mut at = usize::from(signed(0));
        let mut seen_point = false;
        while at < len && !matches!(byte(at), b'e' | b'E') {
            match byte(at) {
                b'.' => seen_point = true,
                b'0' if literal.n_digits == 0 => literal.point -= i64::from(seen_point),
                digit => literal.take(at, digit.wrapping_sub(b'0'), seen_point),
            }
            at += 1;
        }
        literal.digits.1 = at;
        let mut exponent = 0;
        let behind = at + 1 + usize::from(signed(at + 1));
        for at in behind..len {
            exponent = (exponent * 10 + i64::from(byte(at).wrapping_sub(b'0'))).min(MOST_EXPONENT);
        }
        let is_small = signed(at + 1) && byte(at + 1) == b'-';
        literal.point += if is_small { -exponent } else { exponent };
        literal
    }

    fn take(&mut self, at: usize, digit: u8, seen_point: bool) {
        if self.n_digits == 0 {
            self.digits.0 = at;
        }
        self.n_digits += 1;
        self.point += i64::from(!seen_point);
        if self.n_leading < MOST_LEADING {
            self.leading = self.leading * 10 + u64::from(digit);
            self.n_leading += 1;
        }
    }

    fn magnitude(&self, byte: &dyn Fn(usize) -> u8) -> f64 {
        // 2^-1075, half the least double, is above 10^-324.
        if self.n_digits == 0 || self.point < -323 {
            return 0.0;
        }
        if self.point > 309 {
            return f64::INFINITY;
        }
        let exponent = self.point as i32 - self.n_leading as i32;
        let near = scale(self.leading as f64, exponent);
        // Both exact, so one rounding: 5^22 is below 2^53.
        let is_exact = self.leading < 1 << 53 && exponent.unsigned_abs() <= 22;
        if is_exact && self.n_leading == self.n_digits {
            return near;
        }
        self.settle(near.min(f64::MAX).to_bits(), byte)
    }

    /// Goes from a number to its neighbours until the literal lies nearest.
    fn settle(&self, near: u64, byte: &dyn Fn(usize) -> u8) -> f64 {
        let mut bits = near;
        while bits < f64::INFINITY.to_bits() && self.is_beyond(bits, byte) {
            bits += 1;
        }
        if bits == near {
            while bits > 0 && !self.is_beyond(bits - 1, byte) {
                bits -= 1;
            }
        }
        f64::from_bits(bits)
    }

    /// Whether the literal belongs to a number above this one: it is past the
    /// middle between it and the next, or in the middle and the next is even.
    fn is_beyond(&self, bits: u64, byte: &dyn Fn(usize) -> u8) -> bool {
        let (mantissa, exponent) = split(f64::from_bits(bits));
        let middle = Ratio::reduced(2 * mantissa + 1, exponent - 1, 10);
        match self.compare(middle, byte) {
            Ordering::Greater => true,
            Ordering::Equal => bits & 1 == 1,
            Ordering::Less => false,
        }
    }

    fn compare(&self, mut middle: Ratio, byte: &dyn Fn(usize) -> u8) -> Ordering {
        let order = self.point.cmp(&i64::from(middle.point));
        if order.is_ne() {
            return order;
        }
        for at in self.digits.0..self.digits.1 {
            let digit = byte(at);
            if digit == b'.' {
                continue;
            }
            let order = digit.wrapping_sub(b'0').cmp(&middle.digit());
            if order.is_ne() {
                return order;
            }
        }
        if middle.numerator.is_zero() { Ordering::Equal } else { Ordering::Less }
    }
}

/// A number times a power of ten: exact where both are and the exponent is at most
/// 22, else off by a few units of the last place.
fn scale(number: f64, exponent: i32) -> f64 {
    const POWERS: [f64; 9] = [1e256, 1e128, 1e64, 1e32, 1e16, 1e8, 1e4, 1e2, 1e1];
    let mut rest = exponent.unsigned_abs();
    if rest <= 22 {
        let small = |factor: f64, (bit, power): (usize, &f64)| {
            if rest >> (8 - bit) & 1 == 1 { factor * power } else { factor }
        };
        let factor = POWERS.iter().enumerate().fold(1.0, small);
        return if exponent < 0 { number / factor } else { number * factor };
    }
    let mut number = number;
    for (bit, power) in POWERS.iter().enumerate() {
        let weight = 1 << (8 - bit);
        if rest >= weight {
            rest -= weight;
            number = if exponent < 0 { number / power } else { number * power };
        }
    }
    number
}

/// A number between 0 and 1 and a power of the radix.
pub struct Ratio {
    /// What is divided.
    pub numerator: Big,
    /// What it is divided by.
    pub denominator: Big,
    /// The radix.
    pub radix: u32,
    /// The power of the radix.
    pub point: i32,
}

impl Ratio {
    /// A mantissa times two to a power, both parts shifted further left alike. It
    /// need not lie between 0 and 1 yet.
    pub fn new(mantissa: u64, exponent: i32, radix: u32, extra_bits: u32) -> Self {
        let mut numerator = Big::new(mantissa);
        numerator.shift_left(exponent.max(0) as u32 + extra_bits);
        let mut denominator = Big::new(1);
        denominator.shift_left((-exponent).max(0) as u32 + extra_bits);
        Ratio { numerator, denominator, radix, point: 0 }
    }

    /// A positive finite number, exactly: its first digit is not 0.
    pub fn exact(number: f64, radix: u32) -> Self {
        let (mantissa, exponent) = split(number);
        Ratio::reduced(mantissa, exponent, radix)
    }

    /// A mantissa above 0 times two to a power: its first digit is not 0.
    fn reduced(mantissa: u64, exponent: i32, radix: u32) -> Self {
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
    pub fn digit(&mut self) -> u8 {
        self.numerator.multiply(self.radix);
        let mut digit = 0;
        while self.numerator.compare(&self.denominator).is_ge() {
            self.numerator.subtract(&self.denominator);
            digit += 1;
        }
        digit
    }

    /// Compares what is left with half a unit of the last digit.
    pub fn compare_half(&self) -> Ordering {
        self.compare(&self.numerator, false)
    }

    /// Compares numerator plus something, perhaps doubled, with the denominator.
    pub fn compare(&self, plus: &Big, doubled: bool) -> Ordering {
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

/// The binary exponent of the least numbers.
pub const LEAST_EXPONENT: i32 = -1074;

/// Mantissa and binary exponent of a positive finite number.
pub fn split(number: f64) -> (u64, i32) {
    let bits = number.to_bits();
    let (fraction, biased) = (bits & ((1 << 52) - 1), (bits >> 52 & 0x7ff) as i32);
    match biased {
        0 => (fraction, LEAST_EXPONENT),
        _ => (fraction | 1 << 52, biased - 1075),
    }
}

/// A natural number of fixed width, least limb first.
#[derive(Clone)]
pub struct Big([u32; LIMBS]);

impl Big {
    /// A number of 64 bits.
    pub fn new(number: u64) -> Big {
        let mut limbs = [0; LIMBS];
        limbs[0] = number as u32;
        limbs[1] = (number >> 32) as u32;
        Big(limbs)
    }

    /// Multiplies, less what overflows: nothing does in what this is for.
    pub fn multiply(&mut self, by: u32) {
        let mut carry = 0u64;
        for limb in &mut self.0 {
            let product = u64::from(*limb) * u64::from(by) + carry;
            *limb = product as u32;
            carry = product >> 32;
        }
        debug_assert_eq!(carry, 0);
    }

    /// Multiplies by a power of two.
    pub fn shift_left(&mut self, bits: u32) {
        let (limbs, bits) = ((bits / 32) as usize, bits % 32);
        self.0.copy_within(..LIMBS - limbs, limbs);
        self.0[..limbs].fill(0);
        self.multiply(1 << bits);
    }

    /// Compares.
    pub fn compare(&self, other: &Big) -> Ordering {
        self.0.iter().rev().cmp(other.0.iter().rev())
    }

    fn is_zero(&self) -> bool {
        self.0.iter().all(|&limb| limb == 0)
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
    use std::string::{String, ToString};

    fn of(text: &str) -> f64 {
        nearest(text.len(), &|at| text.as_bytes()[at])
    }

    fn agrees(text: &str) {
        let expected: f64 = text.parse().unwrap();
        assert_eq!(of(text).to_bits(), expected.to_bits(), "{text}");
    }

    // The reference here and below is Rust's own conversion, which is correctly
    // rounded (documentation of `f64::from_str`).
    #[test]
    fn literals_of_every_form_round_to_the_nearest() {
        for text in [
            "0",
            "-0",
            "0.0",
            "000",
            ".5",
            "5.",
            "-12.5",
            "+3",
            "1e3",
            "1E-2",
            "0.1",
            "1e22",
            "1e23",
            "123456789012345678901234567890",
            "9007199254740993",
            "9007199254740991",
            "9007199254740992.5",
            "1.7976931348623157e308",
            "1.7976931348623158e308",
            "1.7976931348623159e308",
            "1e309",
            "1e-400",
            "4.9e-324",
            "2.5e-324",
            "2.4e-324",
            "2.4703282292062327e-324",
            "2.4703282292062328e-324",
            "2.2250738585072011e-308",
            "2.2250738585072014e-308",
            "1e99999999999999999999",
            "1e-99999999999999999999",
            "0e999999999999",
            "179769313486231580793728971405301e276",
        ] {
            agrees(text);
        }
    }

    // Halves, written out in full, are ties; a digit at the end decides them.
    #[test]
    fn a_tie_goes_to_the_even_number_however_long_the_text() {
        let mut state = 7u64;
        for _ in 0..300 {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            let bits = state >> 2;
            let (mantissa, exponent) = split(f64::from_bits(bits));
            let mut middle = Ratio::reduced(2 * mantissa + 1, exponent - 1, 10);
            let mut text = String::from("0.");
            let point = middle.point;
            while !middle.numerator.is_zero() {
                text.push(char::from(b'0' + middle.digit()));
            }
            let even = bits + (bits & 1);
            let with = |tail: &str| of(&std::format!("{text}{tail}e{point}")).to_bits();
            assert_eq!(with(""), even, "{text}");
            assert_eq!(with("000001"), bits + 1, "{text}");
            let below = text.len() - 1;
            let last = text.as_bytes()[below] - 1;
            text.truncate(below);
            text.push(char::from(last));
            assert_eq!(of(&std::format!("{text}9e{point}")).to_bits(), bits, "{text}");
        }
    }

    #[test]
    fn random_texts_round_as_the_usual_conversion_does() {
        let mut state = 1u64;
        let mut random = || {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            state
        };
        for _ in 0..20_000 {
            let number = f64::from_bits(random() >> 1);
            if number.is_finite() {
                agrees(&std::format!("{number:e}"));
                agrees(&number.to_string());
            }
            let exponent = (random() >> 40) as i64 % 700 - 360;
            agrees(&std::format!("{}.{}e{exponent}", random() >> 20, random() >> 7));
        }
    }
}
