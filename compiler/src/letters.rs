//! Which characters an identifier may begin and go on with, where flash is scarce.
//!
//! It owns the table of runs that the build script writes, and going through it:
//! a byte holds a run's class (two bits: neither, begins and goes on, goes on only),
//! the low five bits of its length, and whether a byte of seven more bits follows.
//! The first run begins behind ASCII. It refuses to be fast: a letter of the far
//! planes costs a walk over the whole table, which a table of 10,784 bytes in flash
//! (that of `unicode-id-start`, which the host uses) saves.

const BYTES: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/letters.bin"));

// An array has a symbol, by which the reports of flash know it.
static RUNS: [u8; BYTES.len()] = {
    let mut runs = [0; BYTES.len()];
    runs.copy_from_slice(BYTES);
    runs
};

/// Whether an identifier may begin with the character: ID_Start of UAX #31.
pub(crate) fn is_id_start(ch: char) -> bool {
    if ch.is_ascii() { ch.is_ascii_alphabetic() } else { class(ch) == 1 }
}

/// Whether an identifier may go on with the character: ID_Continue of UAX #31.
pub(crate) fn is_id_continue(ch: char) -> bool {
    if ch.is_ascii() { ch.is_ascii_alphanumeric() || ch == '_' } else { class(ch) != 0 }
}

fn class(ch: char) -> u8 {
    let mut behind = u32::from(ch) - 0x80;
    let mut bytes = RUNS.iter();
    while let Some(&first) = bytes.next() {
        let (mut length, mut shift) = (u32::from(first >> 2 & 31), 5);
        let mut byte = first;
        while byte & 128 != 0 {
            let Some(&next) = bytes.next() else { return 0 };
            byte = next;
            length |= u32::from(byte & 127) << shift;
            shift += 7;
        }
        if behind < length {
            return first & 3;
        }
        behind -= length;
    }
    0
}

#[cfg(test)]
mod tests {
    // The planes from four on hold no letter but those of the fourteenth; a walk to them
    // is the longest there is, so of these only every fiftieth is asked for.
    #[test]
    fn every_character_is_what_the_fast_table_says() {
        let far = ('\u{40000}'..=char::MAX).step_by(50);
        for ch in ('\0'..'\u{40000}').chain('\u{e0000}'..'\u{e0200}').chain(far) {
            assert_eq!(super::is_id_start(ch), unicode_id_start::is_id_start(ch), "{ch:?}");
            assert_eq!(super::is_id_continue(ch), unicode_id_start::is_id_continue(ch), "{ch:?}");
        }
    }

    #[test]
    fn the_table_takes_a_quarter_of_the_fast_one() {
        assert!(super::RUNS.len() < 10_784 / 4, "{}", super::RUNS.len());
    }
}
