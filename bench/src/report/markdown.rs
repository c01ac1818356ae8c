//! A Markdown table, a row a script and encoding, and the sums below.

use super::columns::{COLUMNS, LEGEND};
use super::tables::markdown_cell;
use crate::document::{Document, Row};

pub(super) fn render(document: &Document) -> String {
    let columns = || COLUMNS.iter().filter_map(|c| c.heading.map(|heading| (heading, c.read)));
    let mut text = String::from("| script | encoding | layout | answer |");
    let mut rule = String::from("| --- | --- | --- | --- |");
    for (heading, _) in columns() {
        text.push_str(&format!(" {heading} |"));
        rule.push_str(" ---: |");
    }
    text.push_str(&format!("\n{rule}\n"));
    for row in &document.rows {
        text.push_str(&format!(
            "| {} | {} | {} | {} |",
            markdown_cell(&row.script),
            row.encoding,
            row.layout.name(),
            answer(row)
        ));
        for (_, read) in columns() {
            let number = row.figures.as_ref().and_then(read);
            text.push_str(&number.map_or_else(|| " – |".to_owned(), |n| format!(" {n} |")));
        }
        text.push('\n');
    }
    text.push_str(
        "\n| sum | layout | scripts | failed | image | header | const | func | instr | pad | lines \
         | instructions | operations | fetched |\n| --- | --- |",
    );
    text.push_str(&" ---: |".repeat(12));
    text.push('\n');
    for total in &document.totals {
        let image = &total.image;
        let numbers = [
            total.scripts,
            total.failed,
            image.total,
            image.header,
            image.constants,
            image.functions,
            image.instructions,
            image.padding,
            image.lines,
            total.instructions,
            total.operations,
            total.fetched_bytes,
        ];
        text.push_str(&format!("| {} | {} |", total.encoding, total.layout.name()));
        for number in numbers {
            text.push_str(&format!(" {number} |"));
        }
        text.push('\n');
    }
    text.push_str(&format!("\n{LEGEND}\n"));
    text
}

fn answer(row: &Row) -> String {
    match &row.error {
        Some(error) => markdown_cell(&error.describe()),
        None if row.answer_checked => "checked".to_owned(),
        None => "not checked".to_owned(),
    }
}
