//! The narrowing casts of the compiler, each under a name that says what may be
//! lost. No other module casts to a narrower type.
//!
//! It refuses to decide what happens to a number that does not fit: it either
//! hands back nothing or states its bound.

/// A count or offset as 32 bits. Sources are refused past [`crate::MAX_SOURCE`]
/// bytes before anything is counted, and every count here is bounded by a small
/// multiple of the source's length, so the saturation is never reached.
pub(crate) fn to_u32(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// A number in two bytes; saturates where it does not fit.
pub(crate) fn to_u16(n: u32) -> u16 {
    u16::try_from(n).unwrap_or(u16::MAX)
}

/// A count as an operand; saturates at the largest `i32`, which every encoder
/// refuses as out of range.
pub(crate) fn to_operand(n: u32) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

/// The integer an operand can carry, if the number is one: not `-0`, which no
/// integer operand can stand for.
pub(crate) fn small_int(number: f64) -> Option<i32> {
    let limit = f64::from(scruple_bytecode::operand::MAX_SIGNED);
    if !(-limit - 1.0..=limit).contains(&number) {
        return None;
    }
    let int = number as i32;
    let exact = f64::from(int) == number && (int != 0 || number.is_sign_positive());
    exact.then_some(int)
}

/// The nearest double, ties to even.
pub(crate) fn rounded(n: u64) -> f64 {
    n as f64
}

/// A code unit as a Latin-1 byte, if it is one.
pub(crate) fn latin1(unit: u16) -> Option<u8> {
    u8::try_from(unit).ok()
}

/// The opcode byte of a draft word.
pub(crate) fn low_byte(word: u32) -> u8 {
    (word & 0xff) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: ECMA-262, The Number Type: -0 and +0 are different values.
    #[test]
    fn small_integers_exclude_minus_zero_and_fractions() {
        assert_eq!(small_int(0.0), Some(0));
        assert_eq!(small_int(-0.0), None);
        assert_eq!(small_int(0.5), None);
        assert_eq!(small_int(f64::NAN), None);
        assert_eq!(small_int(8_388_607.0), Some(8_388_607));
        assert_eq!(small_int(8_388_608.0), None);
        assert_eq!(small_int(-8_388_608.0), Some(-8_388_608));
        assert_eq!(small_int(-8_388_609.0), None);
    }
}
