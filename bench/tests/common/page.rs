//! A page as a browser reads it.
//!
//! It owns no expectation. What reads is `html5ever`, which does what the HTML standard
//! (WHATWG, "Parsing HTML documents") says and tells its parse errors.

use std::collections::HashMap;

use html5ever::tendril::TendrilSink;
use html5ever::tokenizer::TokenizerOpts;
use html5ever::{ParseOpts, parse_document};
use markup5ever_rcdom::{Handle, NodeData, RcDom};

/// A page.
pub(crate) struct Page {
    document: Handle,
    /// What the standard calls errors in it.
    pub(crate) errors: Vec<String>,
}

/// An element.
#[derive(Clone)]
pub(crate) struct Element(Handle);

impl Page {
    pub(crate) fn parse(html: &str) -> Page {
        let tokenizer = TokenizerOpts { exact_errors: true, ..TokenizerOpts::default() };
        let options = ParseOpts { tokenizer, ..ParseOpts::default() };
        let dom = parse_document(RcDom::default(), options).one(html);
        let errors = dom.errors.borrow().iter().map(ToString::to_string).collect();
        Page { document: dom.document.clone(), errors }
    }

    /// Every element, in order.
    pub(crate) fn all(&self) -> Vec<Element> {
        let mut found = Vec::new();
        collect(&self.document, &mut found);
        found
    }

    /// Every element of a name, in order.
    pub(crate) fn named(&self, name: &str) -> Vec<Element> {
        self.all().into_iter().filter(|element| element.name() == name).collect()
    }

    /// The element of an id.
    pub(crate) fn by_id(&self, id: &str) -> Option<Element> {
        self.all().into_iter().find(|element| element.attribute("id").as_deref() == Some(id))
    }

    /// Elements by their ids; an id given twice is a fault.
    pub(crate) fn ids(&self) -> HashMap<String, Element> {
        let mut ids = HashMap::new();
        for element in self.all() {
            if let Some(id) = element.attribute("id") {
                assert!(ids.insert(id.clone(), element).is_none(), "{id} is an id twice");
            }
        }
        ids
    }
}

impl Element {
    pub(crate) fn name(&self) -> String {
        match &self.0.data {
            NodeData::Element { name, .. } => name.local.to_string(),
            _ => String::new(),
        }
    }

    pub(crate) fn attributes(&self) -> Vec<(String, String)> {
        match &self.0.data {
            NodeData::Element { attrs, .. } => {
                let attributes = attrs.borrow();
                let pair =
                    |a: &html5ever::Attribute| (a.name.local.to_string(), a.value.to_string());
                attributes.iter().map(pair).collect()
            }
            _ => Vec::new(),
        }
    }

    pub(crate) fn attribute(&self, name: &str) -> Option<String> {
        self.attributes().into_iter().find(|(own, _)| own == name).map(|(_, value)| value)
    }

    pub(crate) fn has_class(&self, class: &str) -> bool {
        self.attribute("class").is_some_and(|all| all.split(' ').any(|own| own == class))
    }

    /// Elements inside, in order.
    pub(crate) fn inside(&self, name: &str) -> Vec<Element> {
        let mut found = Vec::new();
        for child in self.0.children.borrow().iter() {
            collect(child, &mut found);
        }
        found.into_iter().filter(|element| element.name() == name).collect()
    }

    /// Elements right in it, in order.
    pub(crate) fn children(&self) -> Vec<Element> {
        let children = self.0.children.borrow();
        let elements = children.iter().filter(|c| matches!(c.data, NodeData::Element { .. }));
        elements.cloned().map(Element).collect()
    }

    /// The text of each cell of a row, with spaces between.
    pub(crate) fn text_of_cells(&self) -> String {
        self.children().iter().map(Element::text).collect::<Vec<_>>().join(" ")
    }

    /// All text in it; an end of a line where the page has one.
    pub(crate) fn text(&self) -> String {
        let mut text = String::new();
        push_text(&self.0, &mut text);
        text
    }
}

fn collect(node: &Handle, found: &mut Vec<Element>) {
    if matches!(node.data, NodeData::Element { .. }) {
        found.push(Element(node.clone()));
    }
    for child in node.children.borrow().iter() {
        collect(child, found);
    }
}

fn push_text(node: &Handle, text: &mut String) {
    match &node.data {
        NodeData::Text { contents } => text.push_str(&contents.borrow()),
        NodeData::Element { name, .. } if &*name.local == "br" => text.push('\n'),
        _ => {}
    }
    for child in node.children.borrow().iter() {
        push_text(child, text);
    }
}
