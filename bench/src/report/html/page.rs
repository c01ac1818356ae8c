//! A page: what every document has around its own sections.
//!
//! It owns the frame (policy, style, title, list of sections, script) and the order things are
//! written in. A page is one file: what it is made of lies in `bench/page` and is taken in
//! when this is compiled. It refuses to tell when it was made: the same document gives the same
//! bytes. All figures stand in it before any script runs; scripts only sort, filter and step.

use super::grid::Grid;
use super::markup::Markup;
use super::policy::policy;
use crate::document::Lab;

/// The one style sheet.
const STYLE: &str = include_str!("../../../page/style.css");
/// Sorts and filters the tables of reports.
const TABLES: &str = include_str!("../../../page/tables.js");
/// Steps through a trace.
const STEPS: &str = include_str!("../../../page/steps.js");

/// A page that is being made.
pub(super) struct Page {
    title: String,
    lead: Markup,
    sections: Vec<(String, Markup)>,
    /// Style sheets that pictures brought with them.
    styles: Vec<String>,
    script: Option<&'static str>,
    n_tables: usize,
    is_wide: bool,
}

impl Page {
    /// A page of a report: its tables can be sorted and filtered.
    pub(super) fn report(title: String) -> Page {
        Page { script: Some(TABLES), ..Page::plain(title) }
    }

    /// A page whose steps can be gone through.
    pub(super) fn steps(title: String) -> Page {
        Page { script: Some(STEPS), ..Page::plain(title) }
    }

    /// A page without a script.
    pub(super) fn plain(title: String) -> Page {
        Page {
            title,
            lead: Markup::default(),
            sections: Vec::new(),
            styles: Vec::new(),
            script: None,
            n_tables: 0,
            is_wide: false,
        }
    }

    /// With the width of the window: for what stands side by side.
    pub(super) fn wide(self) -> Page {
        Page { is_wide: true, ..self }
    }

    /// A paragraph below the title: what was found, in a sentence.
    pub(super) fn lead(&mut self, text: &str) {
        self.lead.push(Markup::element("p", &[("class", "summary")], text));
    }

    /// Begins a section; what comes next stands in it.
    pub(super) fn section(&mut self, heading: &str) {
        self.sections.push((heading.to_owned(), Markup::default()));
    }

    /// Anything, in the section at hand.
    pub(super) fn push(&mut self, content: Markup) {
        match self.sections.last_mut() {
            Some((_, section)) => section.push(content),
            None => self.lead.push(content),
        }
    }

    /// A paragraph.
    pub(super) fn paragraph(&mut self, text: impl Into<Markup>) {
        self.push(Markup::element("p", &[], text));
    }

    /// A paragraph a line.
    pub(super) fn paragraphs(&mut self, text: &str) {
        for line in text.lines() {
            self.paragraph(line);
        }
    }

    /// What the figures beside it do not say.
    pub(super) fn caution(&mut self, text: &str) {
        let mut inside = Markup::element("strong", &[], "Mind: ");
        inside.push(text);
        self.push(Markup::element("p", &[("class", "caution")], inside));
    }

    /// Paragraphs of a list, if there are any.
    pub(super) fn list(&mut self, items: impl IntoIterator<Item = Markup>) {
        let items: Markup =
            items.into_iter().map(|item| Markup::element("li", &[], item)).collect();
        if !items.is_empty() {
            self.push(Markup::element("ul", &[], items));
        }
    }

    /// A table, unless it has no rows.
    pub(super) fn table(&mut self, grid: &Grid) {
        if !grid.is_empty() {
            self.n_tables += 1;
            let content = grid.markup(&format!("table-{}", self.n_tables));
            self.push(content);
        }
    }

    /// A picture. Its own style sheet is known to the policy.
    pub(super) fn picture(&mut self, svg: &str) {
        const BEGIN: &str = "<style>";
        for style in svg.split(BEGIN).skip(1) {
            let style = style.split("</style>").next().unwrap_or_default();
            if !self.styles.iter().any(|known| known == style) {
                self.styles.push(style.to_owned());
            }
        }
        // Which way to scroll a picture is seen; that one can is told to the keyboard.
        let attributes = [("class", "scroll"), ("aria-label", "picture"), ("tabindex", "0")];
        let inside = Markup::element("section", &attributes, Markup::picture(svg));
        self.push(Markup::element("figure", &[], inside));
    }

    /// What made the document, as the last section.
    pub(super) fn made_by(&mut self, schema: u32, lab: &Lab) {
        self.section("What made this");
        let mut grid = Grid::new("Versions");
        grid.words("what").number("version");
        for (what, version) in [
            ("scruple", lab.version.clone()),
            ("form of the document", schema.to_string()),
            ("image format", lab.image_format.to_string()),
        ] {
            grid.row().words(what).number(version);
        }
        self.table(&grid);
    }

    /// The file.
    pub(super) fn render(self) -> String {
        let Page { title, lead, sections, styles, script, is_wide, .. } = self;
        let styles = std::iter::once(STYLE).chain(styles.iter().map(String::as_str));
        let policy = policy(styles, script);
        let mut head = Markup::void("meta", &[("charset", "utf-8")]);
        head.push(Markup::void(
            "meta",
            &[("http-equiv", "Content-Security-Policy"), ("content", &policy)],
        ));
        let width = "width=device-width, initial-scale=1";
        head.push(Markup::void("meta", &[("name", "viewport"), ("content", width)]));
        head.push(Markup::element("title", &[], title.as_str()));
        head.push(Markup::raw("style", STYLE));

        let mut above = Markup::element("h1", &[], title.as_str());
        above.push(lead);
        let mut body = Markup::element("header", &[], above);
        let name = |number: usize| format!("section-{}", number + 1);
        if sections.len() > 1 {
            let links = sections.iter().enumerate().map(|(number, (heading, _))| {
                let to = format!("#{}", name(number));
                let link = Markup::element("a", &[("href", &to)], heading.as_str());
                Markup::element("li", &[], link)
            });
            let list = Markup::element("ul", &[], links.collect::<Markup>());
            body.push(Markup::element("nav", &[("aria-label", "Sections")], list));
        }
        let sections = sections.into_iter().enumerate().map(|(number, (heading, content))| {
            let id = name(number);
            let mut inside = Markup::element("h2", &[("id", &id)], heading.as_str());
            inside.push(content);
            Markup::element("section", &[("aria-labelledby", &id)], inside)
        });
        body.push(Markup::element("main", &[], sections.collect::<Markup>()));
        if let Some(script) = script {
            body.push(Markup::raw("script", script));
        }
        let class: &[(&str, &str)] = if is_wide { &[("class", "wide")] } else { &[] };
        let mut page = Markup::element("head", &[], head);
        page.push(Markup::element("body", class, body));
        let page = Markup::element("html", &[("lang", "en")], page);
        format!("<!DOCTYPE html>\n{}\n", page.into_string())
    }
}
