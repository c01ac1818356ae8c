//! LEB128 and zigzag: the variable-length integers of the `leb` family and of
//! the image's tables. The worked examples of DWARF 4 (figures 22 and 23) and of
//! the Protocol Buffers encoding page are this module's tests.

/// The most bytes a 32-bit number takes.
pub const MAX_BYTES: usize = 5;

/// Maps a signed number to an unsigned one so that small magnitudes stay small.
#[inline(always)]
pub const fn zigzag(value: i32) -> u32 {
    ((value << 1) ^ (value >> 31)) as u32
}

/// The inverse of [`zigzag`].
#[inline(always)]
pub const fn unzigzag(value: u32) -> i32 {
    (value >> 1) as i32 ^ -((value & 1) as i32)
}

/// Writes an unsigned LEB128 number into a buffer and returns its length.
pub fn write_unsigned(mut value: u32, out: &mut [u8; MAX_BYTES]) -> usize {
    let mut length = 0;
    loop {
        let low = (value & 0x7f) as u8;
        value >>= 7;
        if value == 0 {
            out[length] = low;
            return length + 1;
        }
        out[length] = low | 0x80;
        length += 1;
    }
}

/// How many bytes an unsigned LEB128 number takes.
pub const fn unsigned_len(value: u32) -> usize {
    let bits = 32 - value.leading_zeros() as usize;
    if bits == 0 { 1 } else { bits.div_ceil(7) }
}

/// Reads an unsigned LEB128 number: the value and the position behind it, or
/// nothing if the bytes end early or the number does not fit 32 bits.
pub fn read_unsigned(bytes: &[u8], at: usize) -> Option<(u32, usize)> {
    let mut value = 0u32;
    for index in 0..MAX_BYTES {
        let byte = *bytes.get(at + index)?;
        let low = u32::from(byte & 0x7f);
        if index == MAX_BYTES - 1 && low > 0xf {
            return None;
        }
        value |= low << (7 * index);
        if byte & 0x80 == 0 {
            return Some((value, at + index + 1));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unsigned(value: u32) -> std::vec::Vec<u8> {
        let mut out = [0; MAX_BYTES];
        let length = write_unsigned(value, &mut out);
        assert_eq!(length, unsigned_len(value));
        out[..length].to_vec()
    }

    // Source: DWARF Debugging Information Format, version 4, figure 22.
    #[test]
    fn unsigned_numbers_match_dwarf_figure_22() {
        for (value, bytes) in [
            (2, &[0x02][..]),
            (127, &[0x7f]),
            (128, &[0x80, 0x01]),
            (129, &[0x81, 0x01]),
            (130, &[0x82, 0x01]),
            (12857, &[0xb9, 0x64]),
        ] {
            assert_eq!(unsigned(value), bytes);
            assert_eq!(read_unsigned(bytes, 0), Some((value, bytes.len())));
        }
    }

    // Source: Protocol Buffers, encoding: signed integers; varint 150.
    #[test]
    fn zigzag_and_varint_match_the_protocol_buffers_page() {
        for (value, mapped) in [(0, 0), (-1, 1), (1, 2), (-2, 3)] {
            assert_eq!(zigzag(value), mapped);
            assert_eq!(unzigzag(mapped), value);
        }
        assert_eq!(unsigned(150), [0x96, 0x01]);
        assert_eq!(unzigzag(zigzag(i32::MIN)), i32::MIN);
        assert_eq!(unzigzag(zigzag(i32::MAX)), i32::MAX);
    }

    #[test]
    fn numbers_that_end_early_or_overflow_are_refused() {
        assert_eq!(read_unsigned(&[0x80], 0), None);
        assert_eq!(read_unsigned(&[], 0), None);
        assert_eq!(read_unsigned(&[0xff, 0xff, 0xff, 0xff, 0x1f], 0), None);
        assert_eq!(read_unsigned(&unsigned(u32::MAX), 0), Some((u32::MAX, 5)));
    }
}
