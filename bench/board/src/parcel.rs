//! The parcel: a script and how to run it, as it lies in the board's flash
//! behind the program.
//!
//! It owns the form, and is one file for both sides: the firmware reads it, the
//! program that drives the board writes it. It refuses bytes that are no parcel
//! or go past their end; whether the image in it is safe is the verifier's
//! business.
//!
//! Seventeen little-endian words, then the script, padding to a word, the feed.

/// Bytes of the words before the script.
pub const HEADER: usize = 68;

/// The first word: what marks a parcel of this form.
const MARK: u32 = 0x0250_4353;

/// What is to run, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parcel<'a> {
    /// An image, or source text to compile on the board.
    pub script: &'a [u8],
    /// Whether it is source text.
    pub is_source: bool,
    /// Sensor readings as CSV, or nothing.
    pub feed: &'a [u8],
    /// The most bytes of the machine's region: `u32::MAX` for all the RAM there is.
    pub region: u32,
    /// Collect after that many bytes of allocation: `u32::MAX` for when the heap
    /// asks for it, 0 before every allocation.
    pub collect_every: u32,
    /// The most bytes of heap cells.
    pub heap_limit: u32,
    /// The most bytes of the machine's stack.
    pub stack_limit: u32,
    /// How deep built-ins and scripts may call one another.
    pub nesting_limit: u16,
    /// How many timers there is room for.
    pub n_timers: u16,
    /// How deep a source may nest.
    pub max_nesting: u32,
    /// The encoding to compile to, by its number in an image.
    pub encoding: u8,
    /// Whether the image gets a line table.
    pub lines: bool,
    /// The most operations.
    pub budget: u64,
    /// Virtual time to end at, in ms.
    pub until: u64,
}

impl<'a> Parcel<'a> {
    /// The header, for whoever writes one: the script and the feed follow it, each padded to a word.
    pub fn header(&self) -> [u8; HEADER] {
        let words = [
            MARK,
            u32::from(self.is_source),
            self.script.len() as u32,
            self.feed.len() as u32,
            self.region,
            self.collect_every,
            self.heap_limit,
            self.stack_limit,
            u32::from(self.nesting_limit),
            u32::from(self.n_timers),
            self.max_nesting,
            u32::from(self.encoding),
            u32::from(self.lines),
            self.budget as u32,
            (self.budget >> 32) as u32,
            self.until as u32,
            (self.until >> 32) as u32,
        ];
        let mut header = [0; HEADER];
        for (place, word) in header.chunks_exact_mut(4).zip(words) {
            place.copy_from_slice(&word.to_le_bytes());
        }
        header
    }

    /// Reads a parcel at the start of some bytes.
    pub fn read(bytes: &'a [u8]) -> Option<Parcel<'a>> {
        let mut words = [0u32; HEADER / 4];
        for (word, place) in words.iter_mut().zip(bytes.get(..HEADER)?.chunks_exact(4)) {
            *word = u32::from_le_bytes(place.try_into().ok()?);
        }
        let [mark, is_source, script, feed, region, collect_every, heap_limit, stack_limit, ..] =
            words;
        let [.., nesting, timers, max_nesting, encoding, lines, b0, b1, u0, u1] = words;
        if mark != MARK {
            return None;
        }
        let rest = bytes.get(HEADER..)?;
        let feed_at = (script as usize).checked_next_multiple_of(4)?;
        Some(Parcel {
            script: rest.get(..script as usize)?,
            is_source: is_source != 0,
            feed: rest.get(feed_at..)?.get(..feed as usize)?,
            region,
            collect_every,
            heap_limit,
            stack_limit,
            nesting_limit: nesting.try_into().ok()?,
            n_timers: timers.try_into().ok()?,
            max_nesting,
            encoding: encoding.try_into().ok()?,
            lines: lines != 0,
            budget: u64::from(b1) << 32 | u64::from(b0),
            until: u64::from(u1) << 32 | u64::from(u0),
        })
    }
}
