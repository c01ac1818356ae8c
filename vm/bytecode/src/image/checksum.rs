//! The checksum of an image, which tells a damaged one from a whole one. Against somebody
//! who damages it on purpose there is the verifier alone.

/// CRC-32 (the polynomial of IEEE 802.3, reflected). Bit by bit: an image is
/// checked once, and a table would cost a kibibyte of flash.
pub fn checksum(bytes: &[u8]) -> u32 {
    let mut crc = !0u32;
    for &byte in bytes {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = (crc >> 1) ^ (0xedb8_8320 & (crc & 1).wrapping_neg());
        }
    }
    !crc
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the usual check value of CRC-32.
    #[test]
    fn the_checksum_of_the_nine_digits_is_the_usual_check_value() {
        assert_eq!(checksum(b"123456789"), 0xcbf4_3926);
    }
}
