//! Markup: what is HTML already, and the one way that text becomes it.
//!
//! It owns escaping, of text and of attributes. A [`Markup`] is made of text that is escaped
//! here, of elements made here, or of a picture that a renderer of this program drew: so no
//! name, source or message can become markup by being forgotten.

/// Elements that end a line, so that a page can be read as text.
const BLOCKS: &[&str] = &[
    "header", "nav", "main", "footer", "section", "h1", "h2", "h3", "p", "ul", "li", "dl", "div",
    "table", "caption", "thead", "tbody", "tfoot", "tr", "figure", "pre", "script", "style",
];

/// HTML.
#[derive(Clone, Debug, Default)]
pub(super) struct Markup(String);

impl Markup {
    /// A text.
    pub(super) fn text(text: &str) -> Markup {
        let mut out = String::with_capacity(text.len());
        for ch in text.chars() {
            push_escaped(ch, &mut out);
        }
        Markup(out)
    }

    /// A picture, as a renderer drew it.
    pub(super) fn picture(svg: &str) -> Markup {
        Markup(svg.to_owned())
    }

    /// An element with these attributes around a content.
    pub(super) fn element(
        name: &'static str,
        attributes: &[(&'static str, &str)],
        content: impl Into<Markup>,
    ) -> Markup {
        let mut out = tag(name, attributes);
        out.push_str(&content.into().0);
        out.push_str("</");
        out.push_str(name);
        out.push('>');
        if BLOCKS.contains(&name) {
            out.push('\n');
        }
        Markup(out)
    }

    /// An element that has no content, and no end.
    pub(super) fn void(name: &'static str, attributes: &[(&'static str, &str)]) -> Markup {
        Markup(tag(name, attributes) + "\n")
    }

    /// A style sheet or a script of this program: text that HTML takes as it is.
    ///
    /// Such an element ends at the first `</`, which none of ours has.
    pub(super) fn raw(name: &'static str, content: &'static str) -> Markup {
        debug_assert!(!content.contains("</") && !content.contains("<!--"));
        Markup(format!("<{name}>{content}</{name}>\n"))
    }

    /// More behind it.
    pub(super) fn push(&mut self, more: impl Into<Markup>) {
        self.0.push_str(&more.into().0);
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// As text of a file.
    pub(super) fn into_string(self) -> String {
        self.0
    }
}

impl From<&str> for Markup {
    fn from(text: &str) -> Markup {
        Markup::text(text)
    }
}

impl From<&String> for Markup {
    fn from(text: &String) -> Markup {
        Markup::text(text)
    }
}

impl From<String> for Markup {
    fn from(text: String) -> Markup {
        Markup::text(&text)
    }
}

impl FromIterator<Markup> for Markup {
    fn from_iter<I: IntoIterator<Item = Markup>>(parts: I) -> Markup {
        Markup(parts.into_iter().map(|part| part.0).collect())
    }
}

fn tag(name: &'static str, attributes: &[(&'static str, &str)]) -> String {
    let mut out = format!("<{name}");
    for (attribute, value) in attributes {
        out.push(' ');
        out.push_str(attribute);
        // One that is there or not has no value.
        if value.is_empty() {
            continue;
        }
        out.push_str("=\"");
        for ch in value.chars() {
            push_escaped(ch, &mut out);
        }
        out.push('"');
    }
    out.push('>');
    out
}

/// What would be markup is a reference to a character; what no reader sees, or what makes text
/// seem to stand elsewhere than it does, is told by its number, as a script would write it.
fn push_escaped(ch: char, out: &mut String) {
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
    fn text_cannot_become_markup_nor_leave_an_attribute() {
        let hostile = "</td><script>'\"&amp;";
        let made = Markup::element("td", &[("title", hostile)], hostile).into_string();
        let escaped = "&lt;/td&gt;&lt;script&gt;&#39;&quot;&amp;amp;";
        assert_eq!(made, format!("<td title=\"{escaped}\">{escaped}</td>"));
    }

    #[test]
    fn what_is_not_seen_is_told_by_its_number() {
        let text = "a\u{0}\u{1b}[31m\u{202e}b\u{2028}\u{ffff}\u{1fffe}\u{85}\r";
        assert_eq!(
            Markup::text(text).into_string(),
            "a\\u{0}\\u{1b}[31m\\u{202e}b\\u{2028}\\u{ffff}\\u{1fffe}\\u{85}\\u{d}"
        );
        assert_eq!(Markup::text("\u{65e5}\t\u{1f980}\n").into_string(), "\u{65e5}\t\u{1f980}\n");
    }
}
