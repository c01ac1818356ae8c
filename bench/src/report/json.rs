//! JSON: the document as it is, or a row a line.

use serde::Serialize;

use crate::document::{Document, Lab, Row};

/// One object.
pub(super) fn render(document: &impl Serialize) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(document)?;
    text.push('\n');
    Ok(text)
}

/// One object a row, each complete by itself.
pub(super) fn render_lines(document: &Document) -> Result<String, serde_json::Error> {
    #[derive(Serialize)]
    struct Line<'a> {
        schema: u32,
        lab: &'a Lab,
        #[serde(flatten)]
        row: &'a Row,
    }
    let mut text = String::new();
    for row in &document.rows {
        let line = Line { schema: document.schema, lab: &document.lab, row };
        text.push_str(&serde_json::to_string(&line)?);
        text.push('\n');
    }
    Ok(text)
}
