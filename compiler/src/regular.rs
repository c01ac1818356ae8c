//! Whether a regular expression's pattern is one, by the grammar of ECMA-262 (Patterns)
//! with the additions that Annex B makes for patterns without the flag `u`.
//!
//! Regular expressions lie outside the subset; but a source with a wrong one is no
//! script, and must be refused as that. So the pattern is read once, from its front to
//! its end, and nothing is kept of it but its groups.
//!
//! It refuses to look into patterns with the flag `v`, and to know the names of Unicode
//! properties; names of groups may be double where the pattern has alternatives.

use alloc::vec::Vec;
use unicode_id_start::{is_id_continue, is_id_start};

/// What is wrong with a pattern.
type Fault = &'static str;

const TOO_LARGE: u32 = 0x11_0000;

/// What is wrong with the pattern under these flags, if anything is.
pub(crate) fn fault(pattern: &str, flags: &str) -> Option<Fault> {
    if flags.contains('v') {
        return None;
    }
    let unicode = flags.contains('u');
    // With the flag a pattern is made of code points, without it of code units.
    let units: Vec<u32> = match unicode {
        true => pattern.chars().map(u32::from).collect(),
        false => pattern.encode_utf16().map(u32::from).collect(),
    };
    let mut groups = Groups::default();
    // References may come before their groups: how many there are is found first.
    let mut first = Reader { units: &units, at: 0, unicode, groups: &mut groups, counts: true };
    if let Err(fault) = first.pattern() {
        return Some(fault);
    }
    let mut second = Reader { units: &units, at: 0, unicode, groups: &mut groups, counts: false };
    second.pattern().err()
}

/// What the first reading finds out.
#[derive(Default)]
struct Groups {
    n_groups: u32,
    names: Vec<Vec<u32>>,
}

struct Reader<'p, 'g> {
    units: &'p [u32],
    at: usize,
    unicode: bool,
    groups: &'g mut Groups,
    /// Whether this is the first reading.
    counts: bool,
}

/// What a member of a class is: a character, or a set that can end no range.
enum Member {
    One(u32),
    Set,
}

impl Reader<'_, '_> {
    fn peek(&self) -> Option<char> {
        self.ahead(0)
    }

    /// A character some places ahead: a lone surrogate is none that the grammar knows.
    fn ahead(&self, n: usize) -> Option<char> {
        let unit = *self.units.get(self.at + n)?;
        Some(char::from_u32(unit).unwrap_or(char::REPLACEMENT_CHARACTER))
    }

    fn eat(&mut self, wanted: &str) -> bool {
        let is_there = wanted.chars().enumerate().all(|(n, ch)| self.ahead(n) == Some(ch));
        if is_there {
            self.at += wanted.chars().count();
        }
        is_there
    }

    /// Disjunction, with its groups told from a list and not by recursion: a pattern may
    /// nest as deep as it is long.
    fn pattern(&mut self) -> Result<(), Fault> {
        // Whether a quantifier may stand behind each open group.
        let mut open: Vec<bool> = Vec::new();
        let mut may_repeat = false;
        while let Some(ch) = self.peek() {
            if let Some(is_braced) = self.quantifier()? {
                if !may_repeat {
                    return Err(match is_braced {
                        true => "there is nothing before the braces to repeat",
                        false => "there is nothing to repeat here",
                    });
                }
                may_repeat = false;
                continue;
            }
            self.at += 1;
            may_repeat = match ch {
                '^' | '$' | '|' => false,
                '(' => {
                    open.push(self.group()?);
                    false
                }
                ')' => open.pop().ok_or("a `)` without its `(`")?,
                '[' => {
                    self.class()?;
                    true
                }
                '\\' => self.escape()?,
                '{' | '}' | ']' if self.unicode => {
                    return Err("with the flag `u` this bracket needs a backslash before it");
                }
                _ => true,
            };
        }
        if open.is_empty() { Ok(()) } else { Err("a `(` without its `)`") }
    }

    /// Quantifier: whether there is one, and in braces.
    fn quantifier(&mut self) -> Result<Option<bool>, Fault> {
        let is_braced = match self.peek() {
            Some('*' | '+' | '?') => {
                self.at += 1;
                false
            }
            Some('{') => match self.braces()? {
                true => true,
                // Annex B takes the brace for itself.
                false => return Ok(None),
            },
            _ => return Ok(None),
        };
        self.eat("?");
        Ok(Some(is_braced))
    }

    /// `{n}`, `{n,}` or `{n,m}`: nothing is read where it is none of them.
    fn braces(&mut self) -> Result<bool, Fault> {
        let begin = self.at;
        self.at += 1;
        let least = self.digits();
        let most = if self.eat(",") { self.digits() } else { None };
        if least.is_none() || !self.eat("}") {
            self.at = begin;
            return Ok(false);
        }
        match (least, most) {
            (Some(least), Some(most)) if least > most => {
                Err("the numbers of this quantifier are out of order")
            }
            _ => Ok(true),
        }
    }

    /// Decimal digits: their value, or as good as endless.
    fn digits(&mut self) -> Option<u64> {
        let mut value: Option<u64> = None;
        while let Some(digit) = self.peek().and_then(|ch| ch.to_digit(10)) {
            value = Some(value.unwrap_or(0).saturating_mul(10).saturating_add(u64::from(digit)));
            self.at += 1;
        }
        value
    }

    /// What follows a `(`: whether a quantifier may stand behind the group.
    fn group(&mut self) -> Result<bool, Fault> {
        if !self.eat("?") {
            self.groups.n_groups += u32::from(self.counts);
            return Ok(true);
        }
        if self.eat(":") {
            return Ok(true);
        }
        if self.eat("=") || self.eat("!") {
            // Annex B: QuantifiableAssertion.
            return Ok(!self.unicode);
        }
        if self.eat("<=") || self.eat("<!") {
            return Ok(false);
        }
        if self.eat("<") {
            let name = self.name()?;
            if self.counts {
                self.groups.n_groups += 1;
                let has_alternatives = self.units.contains(&u32::from('|'));
                if self.groups.names.contains(&name) && !has_alternatives {
                    return Err("two groups of this name");
                }
                self.groups.names.push(name);
            }
            return Ok(true);
        }
        self.modifiers()
    }

    /// `(?ims-ims:`
    fn modifiers(&mut self) -> Result<bool, Fault> {
        let mut seen: Vec<char> = Vec::new();
        let mut removes = false;
        let mut n_read = 0;
        loop {
            match self.peek() {
                Some(':') if n_read > 0 && !(removes && seen.is_empty()) => {
                    self.at += 1;
                    return Ok(true);
                }
                Some('-') if !removes => removes = true,
                Some(ch @ ('i' | 'm' | 's')) if !seen.contains(&ch) => seen.push(ch),
                _ => return Err("this is no group: `(?` begins it"),
            }
            n_read += 1;
            self.at += 1;
        }
    }

    /// GroupName behind its `<`.
    fn name(&mut self) -> Result<Vec<u32>, Fault> {
        const WRONG: Fault = "this is no name of a group";
        let mut name = Vec::new();
        loop {
            let mut unit = *self.units.get(self.at).ok_or(WRONG)?;
            self.at += 1;
            match char::from_u32(unit) {
                Some('>') if !name.is_empty() => return Ok(name),
                Some('\\') => {
                    if !self.eat("u") {
                        return Err(WRONG);
                    }
                    unit = self.code_point(true).ok_or(WRONG)?;
                }
                // Two code units of one character, where the pattern is made of those.
                None => {
                    let low = self.units.get(self.at).copied().ok_or(WRONG)?;
                    unit = joined(unit, low).ok_or(WRONG)?;
                    self.at += 1;
                }
                _ => {}
            }
            let ch = char::from_u32(unit).ok_or(WRONG)?;
            let fits = match name.is_empty() {
                true => is_id_start(ch) || matches!(ch, '$' | '_'),
                false => is_id_continue(ch) || matches!(ch, '$' | '\u{200c}' | '\u{200d}'),
            };
            if !fits {
                return Err(WRONG);
            }
            name.push(unit);
        }
    }

    /// What follows a backslash outside a class: whether a quantifier may stand behind.
    fn escape(&mut self) -> Result<bool, Fault> {
        match self.peek().ok_or("a `\\` at the end")? {
            'b' | 'B' => {
                self.at += 1;
                Ok(false)
            }
            'k' if self.unicode || !self.groups.names.is_empty() => {
                self.at += 1;
                if !self.eat("<") {
                    return Err("`\\k` needs the name of a group");
                }
                let name = self.name()?;
                if !self.counts && !self.groups.names.contains(&name) {
                    return Err("no group has this name");
                }
                Ok(true)
            }
            '1'..='9' => {
                let group = self.digits().unwrap_or(0);
                if self.unicode && !self.counts && group > u64::from(self.groups.n_groups) {
                    return Err("there is no group of this number");
                }
                Ok(true)
            }
            _ => self.character_escape(false).map(|_| true),
        }
    }

    /// An escape for one character or a set, its backslash read.
    fn character_escape(&mut self, in_class: bool) -> Result<Member, Fault> {
        let unit = *self.units.get(self.at).ok_or("a `\\` at the end")?;
        let ch = char::from_u32(unit).unwrap_or(char::REPLACEMENT_CHARACTER);
        self.at += 1;
        const WRONG: Fault = "this is no escape of a regular expression";
        Ok(Member::One(match ch {
            'd' | 'D' | 's' | 'S' | 'w' | 'W' => return Ok(Member::Set),
            'p' | 'P' if self.unicode => return self.property().map(|()| Member::Set),
            'f' => 0x0c,
            'n' => 0x0a,
            'r' => 0x0d,
            't' => 0x09,
            'v' => 0x0b,
            'b' if in_class => 0x08,
            '-' if in_class => unit,
            'c' => match self.peek() {
                Some(letter) if letter.is_ascii_alphabetic() => {
                    self.at += 1;
                    u32::from(letter) % 32
                }
                // Annex B: digits and the underscore in a class; else the backslash itself.
                Some(letter)
                    if in_class && !self.unicode && (letter.is_ascii_digit() || letter == '_') =>
                {
                    self.at += 1;
                    u32::from(letter) % 32
                }
                _ if self.unicode => return Err(WRONG),
                _ => {
                    self.at -= 1;
                    u32::from('\\')
                }
            },
            '0' if !matches!(self.peek(), Some('0'..='9')) => 0,
            '0'..='9' if self.unicode => return Err(WRONG),
            // Annex B: LegacyOctalEscapeSequence; 8 and 9 stand for themselves.
            '0'..='7' => self.octal(unit - u32::from('0')),
            'x' => match self.hex(2) {
                Some(value) => value,
                None if self.unicode => return Err(WRONG),
                None => unit,
            },
            'u' => match self.code_point(self.unicode) {
                Some(value) => value,
                None if self.unicode => return Err(WRONG),
                None => unit,
            },
            _ if self.unicode && !"^$\\.*+?()[]{}|/".contains(ch) => return Err(WRONG),
            _ => unit,
        }))
    }

    /// The digits behind the first one of at most three, below 256.
    fn octal(&mut self, first: u32) -> u32 {
        let mut value = first;
        while let Some(digit) = self.peek().and_then(|ch| ch.to_digit(8)) {
            if value * 8 + digit > 0xff {
                break;
            }
            value = value * 8 + digit;
            self.at += 1;
        }
        value
    }

    /// That many hexadecimal digits.
    fn hex(&mut self, n: usize) -> Option<u32> {
        let mut value = 0;
        for ahead in 0..n {
            value = value * 16 + self.ahead(ahead)?.to_digit(16)?;
        }
        self.at += n;
        Some(value)
    }

    /// What follows `\u`; braces and pairs of surrogates only where they are known.
    fn code_point(&mut self, is_long: bool) -> Option<u32> {
        if is_long && self.peek() == Some('{') {
            let begin = self.at;
            self.at += 1;
            let mut value = 0u32;
            while let Some(digit) = self.peek().and_then(|ch| ch.to_digit(16)) {
                value = value.saturating_mul(16).saturating_add(digit).min(TOO_LARGE);
                self.at += 1;
            }
            let is_whole = self.at > begin + 1 && value < TOO_LARGE && self.eat("}");
            if !is_whole {
                self.at = begin;
            }
            return is_whole.then_some(value);
        }
        let high = self.hex(4)?;
        let behind = self.at;
        if is_long
            && self.eat("\\u")
            && let Some(pair) = self.hex(4).and_then(|low| joined(high, low))
        {
            return Some(pair);
        }
        self.at = behind;
        Some(high)
    }

    /// `{Name}` or `{Name=Value}`: whether the property exists is not looked up.
    fn property(&mut self) -> Result<(), Fault> {
        const WRONG: Fault = "this is no Unicode property";
        if !self.eat("{") {
            return Err(WRONG);
        }
        let is_part = |ch: char| ch.is_ascii_alphanumeric() || ch == '_';
        let (mut n_signs, mut n_letters) = (0, 0);
        loop {
            let ch = self.peek().ok_or(WRONG)?;
            self.at += 1;
            match ch {
                '}' if n_letters > 0 => return Ok(()),
                '=' if n_signs == 0 && n_letters > 0 => (n_signs, n_letters) = (1, 0),
                ch if is_part(ch) => n_letters += 1,
                _ => return Err(WRONG),
            }
        }
    }

    /// CharacterClass behind its `[`.
    fn class(&mut self) -> Result<(), Fault> {
        self.eat("^");
        loop {
            if self.eat("]") {
                return Ok(());
            }
            let first = self.member()?;
            if self.peek() != Some('-') || matches!(self.ahead(1), Some(']') | None) {
                continue;
            }
            self.at += 1;
            match (first, self.member()?) {
                (Member::One(first), Member::One(last)) if first > last => {
                    return Err("the ends of this range are out of order");
                }
                (Member::One(_), Member::One(_)) => {}
                _ if self.unicode => return Err("a set of characters ends no range"),
                _ => {}
            }
        }
    }

    fn member(&mut self) -> Result<Member, Fault> {
        let unit = *self.units.get(self.at).ok_or("a `[` without its `]`")?;
        self.at += 1;
        if unit == u32::from('\\') { self.character_escape(true) } else { Ok(Member::One(unit)) }
    }
}

/// The code point of two surrogates.
fn joined(high: u32, low: u32) -> Option<u32> {
    let fits = (0xd800..0xdc00).contains(&high) && (0xdc00..0xe000).contains(&low);
    fits.then(|| 0x1_0000 + ((high - 0xd800) << 10) + (low - 0xdc00))
}

#[cfg(test)]
mod tests {
    use super::fault;

    // Source: ECMA-262, Patterns and Patterns: Static Semantics: Early Errors; Annex B,
    // Regular Expressions Patterns, for those without a flag.
    #[test]
    fn patterns_of_the_grammar_are_let_pass() {
        let both = [
            "",
            "a|b",
            "(?:a)*?",
            "(a)\\1",
            "\\1(a)",
            "[a-z]",
            "[^]",
            "[]",
            "a{2,3}",
            "^$\\b\\B",
            "(?=a)b",
            "(?<=a)b",
            "(?<x>a)\\k<x>",
            "\\k<x>(?<x>a)",
            "\\cA",
            "\\0",
            "[\\b\\-]",
            "\\u0041\\x41",
            "(?<a>x)|(?<a>y)",
            "(?i-s:a)",
            "(?-i:a)",
            "[\\d\\w]",
            "(?<\\u{61}b>.)",
        ];
        for pattern in both {
            assert_eq!((fault(pattern, ""), fault(pattern, "u")), (None, None), "{pattern}");
        }
        for pattern in
            ["\u{1f600}", "\\u{10ffff}", "[\u{1f600}-\u{1f601}]", "\\p{L}", "\\p{Script=Greek}"]
        {
            assert_eq!(fault(pattern, "u"), None, "{pattern}");
        }
        for pattern in [
            "{", "}", "]", "a{", "a{1", "(?=a)*", "\\1", "\\k", "\\a", "\\u{1}", "[\\d-z]", "\\c",
            "[\\c_]", "\\8", "\\p{",
        ] {
            assert_eq!(fault(pattern, ""), None, "{pattern}");
        }
    }

    #[test]
    fn what_is_no_pattern_is_refused() {
        let both = [
            "*",
            "a**",
            "+",
            "?",
            "a???",
            "{1}",
            "^*",
            "(",
            ")",
            "(?a)",
            "[",
            "[b-a]",
            "a{3,2}",
            "(?<a",
            "(?<>a)",
            "(?<1>a)",
            "(?<a>.)(?<a>.)",
            "(?<a>.)\\k<b>",
            "(?<a>.)\\k",
            "\\",
            "(?<=a)*",
            "(?-:a)",
            "(?ii:a)",
            "a|*",
            "\\b+",
            "(?i-i:a)",
        ];
        for pattern in both {
            assert!(fault(pattern, "").is_some(), "{pattern}");
            assert!(fault(pattern, "u").is_some(), "{pattern}");
        }
        let unicode = [
            "{",
            "}",
            "]",
            "a{1",
            "(?=a)*",
            "(?!.){0,}?",
            "\\1",
            "\\2(a)",
            "\\k",
            "\\a",
            "\\u{110000}",
            "\\u{}",
            "\\u00",
            "[\\d-z]",
            "\\c",
            "\\00",
            "\\p",
            "\\p{}",
            "\\p{a=}",
            "\\-",
            "\\x1",
            "[a-\\w]",
            "{*",
        ];
        for pattern in unicode {
            assert!(fault(pattern, "u").is_some(), "{pattern}");
        }
        // By code units these ends are out of order: the second one begins with the same.
        assert!(fault("[\u{1f600}-\u{1f601}]", "").is_some());
    }
}
