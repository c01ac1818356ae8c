//! Text to number and back where the machine is not needed (ECMA-262,
//! StringToNumber and Number::toString).
//!
//! Both have two ways: by the tables of libraries, or compact, by exact arithmetic
//! with none (see [`Host::COMPACT`]). The tests here hold one against the other.

use crate::Host;
use crate::digits::Shortest;
use scruple_bytecode::exact;

/// Hands a number's text to whoever wants it (ECMA-262, Number::toString in base
/// ten).
pub(crate) fn with_text<H: Host, T>(number: f64, take: impl FnOnce(&str) -> T) -> T {
    if H::COMPACT {
        let mut line = Line { bytes: [0; Line::ROOM], len: 0 };
        line.put_number(number);
        take(core::str::from_utf8(&line.bytes[..line.len]).unwrap_or_default())
    } else {
        take(ryu_js::Buffer::new().format(number))
    }
}

/// A number's text on its way.
struct Line {
    bytes: [u8; Line::ROOM],
    len: usize,
}

impl Line {
    /// A sign, `0.00000` and 17 digits; or a sign, 17 digits, a point, `e-308`.
    const ROOM: usize = 28;

    fn put(&mut self, byte: u8) {
        if let Some(place) = self.bytes.get_mut(self.len) {
            *place = byte;
            self.len += 1;
        }
    }

    fn put_all(&mut self, text: &str) {
        for byte in text.bytes() {
            self.put(byte);
        }
    }

    fn put_number(&mut self, number: f64) {
        if number.is_nan() {
            return self.put_all("NaN");
        }
        if number < 0.0 {
            self.put(b'-');
        }
        let number = number.abs();
        if number == f64::INFINITY {
            return self.put_all("Infinity");
        }
        // A whole number that a double holds exactly: no other lies nearer.
        let whole = number as u64;
        if whole < 1 << 53 && whole as f64 == number {
            return self.put_whole(whole);
        }
        let shortest = Shortest::new(number, 10);
        let point = shortest.point();
        let mut digits = [0; 17];
        let mut len = 0;
        for (place, digit) in digits.iter_mut().zip(shortest) {
            *place = b'0' + digit;
            len += 1;
        }
        self.put_digits(&digits[..len], point);
    }

    fn put_whole(&mut self, number: u64) {
        let mut digits = [0; 16];
        let mut at = digits.len();
        let mut rest = number;
        while rest > 0 || at == digits.len() {
            at -= 1;
            digits[at] = b'0' + (rest % 10) as u8;
            rest /= 10;
        }
        for &digit in &digits[at..] {
            self.put(digit);
        }
    }

    /// Number::toString, from step 6 on: the digits of 0.d1d2… times ten to the
    /// power of `point`.
    fn put_digits(&mut self, digits: &[u8], point: i32) {
        let len = digits.len() as i32;
        let has_exponent = !(-5..=21).contains(&point);
        let point_at = if has_exponent { 1 } else { point };
        if point_at <= 0 {
            self.put_all("0.");
            for _ in point_at..0 {
                self.put(b'0');
            }
        }
        for (place, &digit) in (0..).zip(digits) {
            if place == point_at && place > 0 {
                self.put(b'.');
            }
            self.put(digit);
        }
        for _ in len..point_at {
            self.put(b'0');
        }
        if has_exponent {
            self.put_all(if point > 0 { "e+" } else { "e-" });
            self.put_whole(u64::from((point - 1).unsigned_abs()));
        }
    }
}

/// Whether a code unit is white space or a line terminator (ECMA-262,
/// WhiteSpace and LineTerminator).
pub(crate) fn is_space(unit: u16) -> bool {
    matches!(
        unit,
        0x09..=0x0d
            | 0x20
            | 0xa0
            | 0x1680
            | 0x2000..=0x200a
            | 0x2028
            | 0x2029
            | 0x202f
            | 0x205f
            | 0x3000
            | 0xfeff
    )
}

/// The longest decimal literal that is converted whole. No double needs more
/// digits to be told from its neighbours' midpoint than 767 significant ones.
const LONGEST: usize = 800;

/// ECMA-262, StringToNumber over code units.
pub(crate) fn parse<H: Host>(len: usize, unit: &dyn Fn(usize) -> u16) -> f64 {
    let mut start = 0;
    let mut end = len;
    while start < end && is_space(unit(start)) {
        start += 1;
    }
    while end > start && is_space(unit(end - 1)) {
        end -= 1;
    }
    if start == end {
        return 0.0;
    }
    if end - start > 2 && unit(start) == u16::from(b'0') {
        let radix = match u8::try_from(unit(start + 1)) {
            Ok(b'x' | b'X') => 16,
            Ok(b'o' | b'O') => 8,
            Ok(b'b' | b'B') => 2,
            _ => 0,
        };
        if radix != 0 {
            return match integer::<H>(end - start - 2, &|at| unit(start + 2 + at), radix) {
                (number, used) if used == end - start - 2 => number,
                _ => f64::NAN,
            };
        }
    }
    match decimal_prefix::<H>(end - start, &|at| unit(start + at)) {
        Some((number, used)) if used == end - start => number,
        _ => f64::NAN,
    }
}

/// The longest prefix that is a StrDecimalLiteral: its number and its length.
pub(crate) fn decimal_prefix<H: Host>(
    len: usize,
    unit: &dyn Fn(usize) -> u16,
) -> Option<(f64, usize)> {
    let byte = |at: usize| if at < len { u8::try_from(unit(at)).unwrap_or(0) } else { 0 };
    let mut at = usize::from(matches!(byte(0), b'+' | b'-'));
    let negative = byte(0) == b'-';
    const INFINITY: &[u8] = b"Infinity";
    if (0..INFINITY.len()).all(|i| byte(at + i) == INFINITY[i]) {
        let number = if negative { f64::NEG_INFINITY } else { f64::INFINITY };
        return Some((number, at + INFINITY.len()));
    }
    let digits_from = at;
    while byte(at).is_ascii_digit() {
        at += 1;
    }
    let mut n_digits = at - digits_from;
    if byte(at) == b'.' {
        let fraction = at + 1;
        let mut end = fraction;
        while byte(end).is_ascii_digit() {
            end += 1;
        }
        if n_digits + (end - fraction) > 0 {
            n_digits += end - fraction;
            at = end;
        }
    }
    if n_digits == 0 {
        return None;
    }
    if matches!(byte(at), b'e' | b'E') {
        let mut end = at + 1 + usize::from(matches!(byte(at + 1), b'+' | b'-'));
        if byte(end).is_ascii_digit() {
            while byte(end).is_ascii_digit() {
                end += 1;
            }
            at = end;
        }
    }
    Some((if H::COMPACT { exact::nearest(at, &byte) } else { convert(at, &byte) }, at))
}

/// A decimal literal without surprises: sign, digits, point, exponent.
fn convert(len: usize, byte: &dyn Fn(usize) -> u8) -> f64 {
    let mut buffer = [0u8; LONGEST + 24];
    if len <= LONGEST {
        for (at, place) in buffer[..len].iter_mut().enumerate() {
            *place = byte(at);
        }
        let text = core::str::from_utf8(&buffer[..len]).unwrap_or_default();
        return text.parse().unwrap_or(f64::NAN);
    }
    // Longer: the leading significant digits, a digit that stands for the rest,
    // and the exponent that their places make.
    let mut used = 0;
    let mut exponent = 0i64;
    let mut seen_point = false;
    let mut rest = false;
    let mut at = 0;
    if matches!(byte(0), b'+' | b'-') {
        buffer[0] = byte(0);
        used = 1;
        at = 1;
    }
    let sign = used;
    while at < len {
        match byte(at) {
            b'.' => seen_point = true,
            digit @ b'0'..=b'9' => {
                exponent -= i64::from(seen_point);
                if used == sign && digit == b'0' {
                    // A leading zero.
                } else if used < LONGEST {
                    buffer[used] = digit;
                    used += 1;
                } else {
                    rest |= digit != b'0';
                    exponent += 1;
                }
            }
            _ => break,
        }
        at += 1;
    }
    if rest {
        buffer[used] = b'1';
        used += 1;
        exponent -= 1;
    }
    if at < len {
        let negative = byte(at + 1) == b'-';
        let mut written = 0i64;
        for i in at + 1 + usize::from(matches!(byte(at + 1), b'+' | b'-'))..len {
            written = (written * 10 + i64::from(byte(i) - b'0')).min(1 << 40);
        }
        exponent += if negative { -written } else { written };
    }
    if used == sign {
        return if sign == 1 && buffer[0] == b'-' { -0.0 } else { 0.0 };
    }
    let mut exponent_text = [0u8; 20];
    let exponent = exponent.clamp(-9_999_999, 9_999_999);
    let mut n = exponent.unsigned_abs();
    let mut i = exponent_text.len();
    loop {
        i -= 1;
        exponent_text[i] = b'0' + (n % 10) as u8;
        n /= 10;
        if n == 0 {
            break;
        }
    }
    buffer[used] = b'e';
    used += 1;
    if exponent < 0 {
        buffer[used] = b'-';
        used += 1;
    }
    let tail = &exponent_text[i..];
    buffer[used..used + tail.len()].copy_from_slice(tail);
    used += tail.len();
    core::str::from_utf8(&buffer[..used])
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(f64::NAN)
}

/// The digits of a radix at the start: their number, correctly rounded for
/// radixes that are powers of two, and how many there are.
pub(crate) fn integer<H: Host>(
    len: usize,
    unit: &dyn Fn(usize) -> u16,
    radix: u32,
) -> (f64, usize) {
    let digit =
        |at: usize| u8::try_from(unit(at)).ok().and_then(|byte| (byte as char).to_digit(radix));
    let used = (0..len).take_while(|&at| digit(at).is_some()).count();
    if radix == 10 {
        let number = decimal_prefix::<H>(used, unit).map_or(0.0, |(number, _)| number);
        return (number, used);
    }
    if radix.is_power_of_two() {
        return (power_of_two(used, |at| digit(at).unwrap_or(0), radix.trailing_zeros()), used);
    }
    let mut number = 0.0;
    for at in 0..used {
        number = number * f64::from(radix) + f64::from(digit(at).unwrap_or(0));
    }
    (number, used)
}

/// Rounds to nearest, ties to even, however many bits there are.
fn power_of_two(len: usize, digit: impl Fn(usize) -> u32, bits_a_digit: u32) -> f64 {
    let mut mantissa = 0u64;
    let mut dropped = 0i32;
    let mut half = false;
    let mut sticky = false;
    for at in 0..len {
        for bit in (0..bits_a_digit).rev() {
            let bit = digit(at) >> bit & 1;
            if mantissa >> 52 != 0 {
                sticky |= half;
                half = bit == 1;
                dropped = dropped.saturating_add(1);
            } else {
                mantissa = mantissa << 1 | u64::from(bit);
            }
        }
    }
    if half && (sticky || mantissa & 1 == 1) {
        mantissa += 1;
    }
    libm::scalbn(mantissa as f64, dropped)
}

#[cfg(test)]
mod tests {
    use super::*;

    use std::string::{String, ToString};

    struct Listener<const COMPACT: bool>(());

    impl<const COMPACT: bool> Host for Listener<COMPACT> {
        type Observer = ();
        const COMPACT: bool = COMPACT;

        fn observer(&mut self) -> &mut () {
            &mut self.0
        }

        fn write(&mut self, _: &str) {}
    }

    /// Both ways, which must agree.
    fn of(text: &str) -> f64 {
        let units: std::vec::Vec<u16> = text.encode_utf16().collect();
        let by_tables = parse::<Listener<false>>(units.len(), &|at| units[at]);
        let compact = parse::<Listener<true>>(units.len(), &|at| units[at]);
        assert_eq!(by_tables.to_bits(), compact.to_bits(), "{text:?}");
        by_tables
    }

    // The reference is the library `ryu-js`, which the conformance tests hold
    // against RFC 8785.
    #[test]
    fn both_ways_to_text_give_the_same() {
        let text = |number| {
            let by_tables = with_text::<Listener<false>, _>(number, str::to_string);
            let compact = with_text::<Listener<true>, String>(number, str::to_string);
            assert_eq!(by_tables, compact, "{number:e}");
        };
        let edges = [
            0.0,
            -0.0,
            1.0,
            1e-6,
            1e-7,
            9.5e-7,
            1.5e-6,
            1e20,
            1e21,
            1.5e21,
            123456789012345680000.0,
            9007199254740992.0,
            9007199254740991.0,
            5e-324,
            f64::MAX,
            f64::MIN_POSITIVE,
            0.1,
            1.5,
            f64::NAN,
            f64::INFINITY,
            295147905179352830000.0,
        ];
        for number in edges {
            text(number);
            text(-number);
        }
        let mut state = 1u64;
        for _ in 0..5000 {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            text(f64::from_bits(state));
            text((state >> 30) as f64 / 1000.0);
        }
    }

    // Source: ECMA-262, StringToNumber and its grammar, StringNumericLiteral.
    #[test]
    fn strings_convert_as_the_grammar_says() {
        for (text, number) in [
            ("", 0.0),
            ("  \n\u{feff}12.5 ", 12.5),
            ("0x1F", 31.0),
            ("0b101", 5.0),
            ("0o17", 15.0),
            (".5", 0.5),
            ("5.", 5.0),
            ("-Infinity", f64::NEG_INFINITY),
            ("1e3", 1000.0),
            ("1E-2", 0.01),
        ] {
            assert_eq!(of(text).to_bits(), number.to_bits(), "{text:?}");
        }
        for text in ["1_0", "0x", "-0x1", "1e", ".", "e5", "infinity", "1 2", "0b2", "+"] {
            assert!(of(text).is_nan(), "{text:?}");
        }
        assert_eq!(of("-0").to_bits(), (-0.0f64).to_bits());
    }

    // The reference is Rust's own conversion, which is correctly rounded.
    #[test]
    fn digits_past_the_buffer_still_round_right() {
        let mut long = std::string::String::from("9007199254740993.");
        long.push_str(&"0".repeat(1000));
        assert_eq!(of(&long), 9007199254740992.0);
        long.push('1');
        assert_eq!(of(&long), 9007199254740994.0);
        let tiny = std::format!("0.{}1e{}", "0".repeat(2000), 2001);
        assert_eq!(of(&tiny), 1.0);
        let huge = std::format!("1{}", "0".repeat(400));
        assert_eq!(of(&huge), f64::INFINITY);
    }

    #[test]
    fn long_hexadecimal_rounds_to_even() {
        assert_eq!(of("0x20000000000001"), 9007199254740992.0);
        assert_eq!(of("0x20000000000003"), 9007199254740996.0);
        assert_eq!(of("0x200000000000011"), 144115188075855904.0);
    }
}
