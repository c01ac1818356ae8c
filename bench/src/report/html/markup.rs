//! Markup: what is HTML already, and the one way that text becomes it.
//!
//! It owns elements and attributes. A [`Markup`] is made of text that is escaped here
//! ([`super::super::escape`]), of elements made here, or of a picture that a renderer of this program drew: so no
//! name, source or message can become markup by being forgotten.

use super::super::escape::escaped;

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
        Markup(escaped(text))
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
        out.push_str(&escaped(value));
        out.push('"');
    }
    out.push('>');
    out
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
}
