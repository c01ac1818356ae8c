//! The remainder of a division of doubles: `%` of scripts, and the wrapping of
//! integers.
//!
//! It owns two ways to the same bits, since a remainder is always a double: that of
//! `libm`, and one of a tenth of its code for where flash is scarce. It refuses the
//! operands' conversion.

#[cfg(not(feature = "small"))]
pub(crate) use libm::fmod;
#[cfg(feature = "small")]
pub(crate) use small::fmod;

#[cfg(any(feature = "small", test))]
mod small {
    /// The bits of a double that are not its exponent or sign.
    const FRACTION: u32 = 52;

    // Long division, one bit of the quotient a turn. The operator `%` on doubles is
    // `libm`'s way as well: 3,106 bytes of Thumb-2, and 2,512 if called by name.
    pub(crate) fn fmod(number: f64, by: f64) -> f64 {
        if !number.is_finite() || by.is_nan() || by == 0.0 {
            return f64::NAN;
        }
        if number.abs() < by.abs() {
            return number;
        }
        let ((mut rest, mut exponent), (by, least)) = (parts(number), parts(by));
        // Less than the divisor from here on, even where that is subnormal.
        rest %= by;
        while exponent > least {
            rest <<= 1;
            if rest >= by {
                rest -= by;
            }
            exponent -= 1;
        }
        if rest == 0 {
            return 0.0_f64.copysign(number);
        }
        while rest >> FRACTION == 0 && exponent > 1 {
            rest <<= 1;
            exponent -= 1;
        }
        // The leading bit adds one to the exponent; a subnormal has none.
        let bits = rest + ((exponent - 1) << FRACTION);
        f64::from_bits(bits).copysign(number)
    }

    /// What it is a multiple of, as a power of two, and how often.
    fn parts(number: f64) -> (u64, u64) {
        let bits = number.to_bits();
        let fraction = bits & ((1 << FRACTION) - 1);
        match bits >> FRACTION & 0x7ff {
            0 => (fraction, 1),
            exponent => (fraction | 1 << FRACTION, exponent),
        }
    }
}

#[cfg(test)]
mod tests {
    // Source: the crate `libm`, whose remainder is exact.
    #[test]
    fn both_ways_give_the_same_bits() {
        let corners = [0.0, 5e-324, 1e-310, f64::MIN_POSITIVE, 0.1, 1.0, 1.5, 3.0, 4_294_967_296.0];
        let ends = [1e17, 1e300, f64::MAX, f64::INFINITY, f64::NAN];
        let mut numbers = [corners.as_slice(), &ends].concat();
        let mut state = 1_u64;
        for _ in 0..300 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            numbers.push(f64::from_bits(state ^ state >> 29));
        }
        for &number in &numbers {
            for &by in &numbers {
                for (number, by) in [(number, by), (-number, by), (number, -by)] {
                    let (one, other) = (super::small::fmod(number, by), libm::fmod(number, by));
                    let same = one.to_bits() == other.to_bits() || one.is_nan() && other.is_nan();
                    assert!(same, "{number:e} % {by:e}: {one:e}, {other:e}");
                }
            }
        }
    }
}
