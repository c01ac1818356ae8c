//! What the characters of a literal mean: numbers, escapes of strings,
//! templates and identifiers.
//!
//! It refuses to find where a literal ends (that is `lexer`) and to report:
//! it hands back what is wrong, and where.

use alloc::string::String;
use alloc::vec::Vec;

use scruple_bytecode::exact;
#[cfg(not(feature = "small"))]
use unicode_id_start::{is_id_continue, is_id_start};

#[cfg(feature = "small")]
use crate::letters::{is_id_continue, is_id_start};
use crate::narrow;

/// What is wrong with a literal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    /// A numeric separator that does not stand between digits.
    Separator,
    /// An octal escape, which strict mode code and templates refuse.
    OctalEscape,
    /// An escape of a form there is not.
    Escape,
    /// An escaped code point that no identifier can hold there.
    IdentifierPart,
}

/// NumericLiteral: the value of a literal that the lexer took whole.
pub(crate) fn number(text: &str) -> Result<f64, Fault> {
    let bytes = text.as_bytes();
    let is_digit = |at: Option<usize>| {
        at.and_then(|at| bytes.get(at)).is_some_and(|byte| byte.is_ascii_hexdigit())
    };
    let has_radix = bytes.len() > 2 && bytes[0] == b'0' && bytes[1].is_ascii_alphabetic();
    for (at, _) in text.match_indices('_') {
        let before = at.checked_sub(1);
        // `0_1` would be a legacy form, and `0x_1` follows no digit.
        let behind_prefix = (has_radix && at == 2) || (at == 1 && bytes[0] == b'0');
        let by_exponent = !has_radix
            && [before, Some(at + 1)].iter().any(|&at| {
                at.and_then(|at| bytes.get(at)).is_some_and(|b| matches!(b, b'e' | b'E'))
            });
        if behind_prefix || by_exponent || !is_digit(before) || !is_digit(Some(at + 1)) {
            return Err(Fault::Separator);
        }
    }
    if has_radix && !matches!(bytes[1], b'e' | b'E') {
        let bits = match bytes[1] {
            b'x' | b'X' => 4,
            b'o' | b'O' => 3,
            _ => 1,
        };
        return Ok(power_of_two_radix(&text[2..], bits));
    }
    let plain: String;
    let digits = if text.contains('_') {
        plain = text.chars().filter(|&ch| ch != '_').collect();
        plain.as_str()
    } else {
        text
    };
    // The lexer took only what this accepts.
    Ok(exact::nearest(digits.len(), &|at| digits.as_bytes()[at]))
}

/// Rounds to nearest, ties to even: the first 64 significant bits are kept as
/// they are, and whether any bit behind them is set.
fn power_of_two_radix(digits: &str, bits: u32) -> f64 {
    let mut kept = 0u64;
    let mut dropped_bits = 0i32;
    let mut sticky = false;
    for digit in digits.chars().filter_map(|ch| ch.to_digit(16)) {
        for bit in (0..bits).rev() {
            let bit = digit >> bit & 1;
            if kept >> 63 == 0 {
                kept = kept << 1 | u64::from(bit);
            } else {
                dropped_bits = dropped_bits.saturating_add(1);
                sticky |= bit != 0;
            }
        }
    }
    // 64 bits are more than a double keeps, so the sticky bit may replace the
    // lowest one without changing which way it rounds.
    let mut value = narrow::rounded(kept | u64::from(sticky));
    for _ in 0..dropped_bits.min(1100) {
        value *= 2.0;
    }
    value
}

/// The code units of a string's or template's characters, escapes resolved. On
/// a fault, its byte offset in the text.
pub(crate) fn text(
    text: &str,
    is_template: bool,
    units: &mut Vec<u16>,
) -> Result<(), (usize, Fault)> {
    let mut buffer = [0; 2];
    let mut rest = text;
    let mut push = |units: &mut Vec<u16>, ch: char| {
        units.extend_from_slice(ch.encode_utf16(&mut buffer));
    };
    while let Some(ch) = rest.chars().next() {
        let at = text.len() - rest.len();
        rest = &rest[ch.len_utf8()..];
        if ch == '\r' && is_template {
            // A template's value has line feeds whatever the file has.
            rest = rest.strip_prefix('\n').unwrap_or(rest);
            push(units, '\n');
            continue;
        }
        if ch != '\\' {
            push(units, ch);
            continue;
        }
        let Some(escaped) = rest.chars().next() else { return Err((at, Fault::Escape)) };
        rest = &rest[escaped.len_utf8()..];
        let next_is_digit = rest.starts_with(|ch: char| ch.is_ascii_digit());
        match escaped {
            'b' => push(units, '\u{8}'),
            't' => push(units, '\t'),
            'n' => push(units, '\n'),
            'v' => push(units, '\u{b}'),
            'f' => push(units, '\u{c}'),
            'r' => push(units, '\r'),
            '0' if !next_is_digit => push(units, '\0'),
            '0'..='9' => return Err((at, Fault::OctalEscape)),
            'x' => match hex_digits(rest, 2) {
                Some(value) => {
                    units.push(value);
                    rest = &rest[2..];
                }
                None => return Err((at, Fault::Escape)),
            },
            'u' => match unicode_escape(rest) {
                Some((UnicodeEscape::Unit(unit), length)) => {
                    units.push(unit);
                    rest = &rest[length..];
                }
                Some((UnicodeEscape::CodePoint(code), length)) => {
                    push_code_point(units, code);
                    rest = &rest[length..];
                }
                None => return Err((at, Fault::Escape)),
            },
            '\r' => rest = rest.strip_prefix('\n').unwrap_or(rest),
            '\n' | '\u{2028}' | '\u{2029}' => {}
            other => push(units, other),
        }
    }
    Ok(())
}

/// The name an identifier with escapes stands for.
pub(crate) fn identifier(text: &str) -> Result<String, (usize, Fault)> {
    let mut name = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(ch) = rest.chars().next() {
        let at = text.len() - rest.len();
        rest = &rest[ch.len_utf8()..];
        let mut meant = Some(ch);
        if ch == '\\' {
            let escape = rest.strip_prefix('u').and_then(unicode_escape);
            let Some((escape, length)) = escape else { return Err((at, Fault::Escape)) };
            rest = &rest[1 + length..];
            meant = char::from_u32(match escape {
                UnicodeEscape::Unit(unit) => u32::from(unit),
                UnicodeEscape::CodePoint(code) => code,
            });
        }
        let fits = |ch: char| {
            let begins = is_id_start(ch) || matches!(ch, '$' | '_');
            begins
                || !name.is_empty() && (is_id_continue(ch) || matches!(ch, '\u{200c}' | '\u{200d}'))
        };
        match meant {
            Some(ch) if fits(ch) => name.push(ch),
            _ => return Err((at, Fault::IdentifierPart)),
        }
    }
    Ok(name)
}

enum UnicodeEscape {
    Unit(u16),
    CodePoint(u32),
}

/// What follows the `u` of an escape, and its length.
fn unicode_escape(rest: &str) -> Option<(UnicodeEscape, usize)> {
    let Some(braced) = rest.strip_prefix('{') else {
        return hex_digits(rest, 4).map(|unit| (UnicodeEscape::Unit(unit), 4));
    };
    let length = braced.find('}')?;
    let digits = &braced[..length];
    let mut code = 0u32;
    for ch in digits.chars() {
        code = code.checked_mul(16)?.checked_add(ch.to_digit(16)?)?;
        if code > 0x10_ffff {
            return None;
        }
    }
    (length > 0).then_some((UnicodeEscape::CodePoint(code), length + 2))
}

fn hex_digits(rest: &str, n: usize) -> Option<u16> {
    let mut value = 0;
    let bytes = rest.as_bytes().get(..n)?;
    for &byte in bytes {
        let digit = u16::try_from(char::from(byte).to_digit(16)?).ok()?;
        value = value << 4 | digit;
    }
    Some(value)
}

fn push_code_point(units: &mut Vec<u16>, code: u32) {
    match char::from_u32(code) {
        Some(ch) => units.extend_from_slice(ch.encode_utf16(&mut [0; 2])),
        // A surrogate: one unit as it is.
        None => units.extend(u16::try_from(code)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cooked(source: &str) -> Result<Vec<u16>, (usize, Fault)> {
        let mut units = Vec::new();
        text(source, false, &mut units).map(|()| units)
    }

    // Source: ECMA-262, sec-literals-numeric-literals; values by the definition
    // of the Number type (2^53 + 1 lies halfway and rounds to even).
    #[test]
    fn numbers_have_the_value_of_their_digits() {
        for (source, value) in [
            ("0", 0.0),
            ("1_000.5", 1000.5),
            ("1e3", 1000.0),
            ("0e1", 0.0),
            (".5E-1", 0.05),
            ("5.", 5.0),
            ("0xfF", 255.0),
            ("0b1_01", 5.0),
            ("0o17", 15.0),
            ("0x20000000000001", 9_007_199_254_740_992.0),
            ("0x20000000000003", 9_007_199_254_740_996.0),
            ("0x40000000000002000000001", 1_237_940_039_285_380_549_777_031_168.0),
        ] {
            assert_eq!(number(source), Ok(value), "{source}");
        }
        let mut long = String::from("0x1");
        long.extend(core::iter::repeat_n('0', 256));
        assert_eq!(number(&long), Ok(f64::INFINITY));
    }

    // Source: ECMA-262, sec-literals-numeric-literals, NumericLiteralSeparator.
    #[test]
    fn separators_stand_between_digits() {
        for source in ["1_", "1__0", "1_.5", "1._5", "1_e3", "1e_3", "0x_1", "0x1_", "0_1"] {
            assert_eq!(number(source), Err(Fault::Separator), "{source}");
        }
        assert_eq!(number("0xe_e"), Ok(238.0));
    }

    // Source: ECMA-262, sec-literals-string-literals.
    #[test]
    fn escapes_stand_for_code_units() {
        assert_eq!(cooked(r"a\n\x41\u0042\u{43}\0"), Ok("a\nABC\0".encode_utf16().collect()));
        assert_eq!(cooked(r"\u{1F600}"), Ok(std::vec![0xd83d, 0xde00]));
        assert_eq!(cooked(r"\ud83d"), Ok(std::vec![0xd83d]));
        assert_eq!(cooked("a\\\r\nb\\\u{2028}c\\q"), Ok("abcq".encode_utf16().collect()));
        assert_eq!(cooked(r"x\x4"), Err((1, Fault::Escape)));
        assert_eq!(cooked(r"\u{110000}"), Err((0, Fault::Escape)));
        assert_eq!(cooked(r"\01"), Err((0, Fault::OctalEscape)));
        assert_eq!(cooked(r"ab\8"), Err((2, Fault::OctalEscape)));
    }

    // Source: ECMA-262, sec-identifier-names-static-semantics-early-errors.
    #[test]
    fn escapes_in_identifiers_stand_for_identifier_characters() {
        assert_eq!(identifier(r"\u0061b\u{63}").as_deref(), Ok("abc"));
        assert_eq!(identifier(r"\u0030b"), Err((0, Fault::IdentifierPart)));
        assert_eq!(identifier(r"a\u0030").as_deref(), Ok("a0"));
        assert_eq!(identifier(r"a\u002b"), Err((1, Fault::IdentifierPart)));
    }
}
