//! Text that becomes part of HTML, of SVG, or of a line, in the one way there is.
//!
//! It owns which characters stand for themselves there. What XML (1.0, "Characters") and HTML
//! refuse, a name or a message may have all the same.

/// A text as HTML and SVG take it, in an element or in the quotes of an attribute: what would be
/// markup is a reference to a character; what no reader sees, or what makes text seem to stand
/// elsewhere than it does, is told by its number, as a script would write it.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for ch in text.chars() {
        push(ch, &mut out);
    }
    out
}

/// A text that is of one line, and in which nothing moves a terminal's cursor or seems to stand
/// elsewhere than it does.
pub fn visible(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for ch in text.chars() {
        match ch {
            '\t' => out.push_str("    "),
            _ if is_hidden(ch) => out.extend(ch.escape_unicode()),
            _ => out.push(ch),
        }
    }
    out
}

fn push(ch: char, out: &mut String) {
    match ch {
        '&' => out.push_str("&amp;"),
        '<' => out.push_str("&lt;"),
        '>' => out.push_str("&gt;"),
        '"' => out.push_str("&quot;"),
        '\'' => out.push_str("&#39;"),
        '\n' | '\t' => out.push(ch),
        _ if is_hidden(ch) => out.extend(ch.escape_unicode()),
        _ => out.push(ch),
    }
}

/// Control characters and noncharacters, which HTML (the living standard, "Preprocessing the
/// input stream") calls errors; line ends of ECMA-262 that HTML does not know; and the marks of
/// Unicode's bidirectional algorithm (UAX #9, "Directional Formatting Characters") with which
/// code can be made to look like other code.
fn is_hidden(ch: char) -> bool {
    let is_noncharacter =
        ('\u{fdd0}'..='\u{fdef}').contains(&ch) || u32::from(ch) & 0xfffe == 0xfffe;
    ch.is_control()
        || is_noncharacter
        || matches!(ch, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        || matches!(ch, '\u{61c}' | '\u{200e}' | '\u{200f}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_markup_in_a_name_is_escaped() {
        assert_eq!(escaped("a<b> & \"c\" 'd'"), "a&lt;b&gt; &amp; &quot;c&quot; &#39;d&#39;");
    }

    #[test]
    fn what_is_not_seen_is_told_by_its_number() {
        let text = "a\u{0}\u{1b}[31m\u{202e}b\u{2028}\u{ffff}\u{1fffe}\u{85}\r";
        assert_eq!(
            escaped(text),
            "a\\u{0}\\u{1b}[31m\\u{202e}b\\u{2028}\\u{ffff}\\u{1fffe}\\u{85}\\u{d}"
        );
        assert_eq!(escaped("\u{65e5}\t\u{1f980}\n"), "\u{65e5}\t\u{1f980}\n");
    }
}
