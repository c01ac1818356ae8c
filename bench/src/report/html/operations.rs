//! The page of `operations`: how scripts use each one, the operands they use them with, and
//! the table itself.

use super::super::operations::{CAUTION, head, left_unsaid, most_first, percent};
use super::grid::{Grid, Tone};
use super::page::Page;
use crate::operations::document::{Document, Operation, Uses};

pub(in crate::report) fn render(document: &Document) -> String {
    let mut page = Page::report("Operations".to_owned());
    page.lead(head(document).trim_end());
    if let Some(sum) = &document.sum {
        page.section("How the scripts use them");
        page.table(&uses(document, sum));
        page.paragraphs(&left_unsaid(document));
        if sum.carried_out.is_some() {
            page.caution(CAUTION.trim_end());
        }
        page.section("By operand");
        page.paragraph(
            "The operands that stand in the code most often: what short forms are chosen by. Labels \
             have none, since their distances hang on the encoding.",
        );
        page.table(&operands(document));
    }
    let mut grid = Grid::new("Scripts that are not added up");
    grid.words("script").words("why");
    for out in &document.left_out {
        grid.row().words(&out.script).toned(&out.reason, Tone::Bad);
    }
    if !grid.is_empty() {
        page.section("Left out");
        page.table(&grid);
    }
    page.section("The table");
    page.paragraph(
        "Effect: what an operation takes from the stack and leaves there, the top on the right. \
         Bytes: with the operand that takes fewest, and with the largest one.",
    );
    page.table(&reference(document));
    page.section("What was counted");
    let mut grid = Grid::new(format!("Scripts, their bytes under {}", document.encoding));
    grid.words("what").number("number");
    grid.row().words("scripts added up").number(document.scripts);
    grid.row().words("of them with no output to be compared with").number(document.unchecked);
    page.table(&grid);
    page.made_by(document.schema, &document.lab);
    page.render()
}

fn uses(document: &Document, sum: &Uses) -> Grid {
    let mut grid = Grid::new(format!("Uses, bytes under {}", document.encoding));
    grid.words("operation").words("effect");
    grid.numbers(&["in code", "per cent", "bytes", "per cent", "carried out", "per cent"]);
    let fill = |row: &mut super::grid::Row, own: &Uses| {
        row.number(own.in_code).number(percent(own.in_code, sum.in_code));
        row.number(own.bytes).number(percent(own.bytes, sum.bytes));
        row.maybe(own.carried_out);
        row.maybe(own.carried_out.zip(sum.carried_out).map(|(own, all)| percent(own, all)));
    };
    for (operation, own) in most_first(document) {
        fill(grid.row().words(&operation.name).words(&operation.effect), &own);
    }
    fill(grid.foot().words("all operations").words(""), sum);
    grid
}

fn operands(document: &Document) -> Grid {
    let mut grid = Grid::new("Uses by operand");
    grid.words("operation").words("operand is");
    grid.numbers(&["operand", "in code", "bytes", "carried out"]);
    for Operation { name, operand, commonest, others, .. } in &document.operations {
        let operand = operand.clone().unwrap_or_default();
        for own in commonest {
            let row = grid.row().words(name).words(&operand).number(own.operand);
            row.numbers([own.uses.in_code, own.uses.bytes]).maybe(own.uses.carried_out);
        }
        if let Some(others) = others {
            let row = grid.row().words(name).words(format!("{operand}, others: so many"));
            row.numbers([others.operands, others.uses.in_code, others.uses.bytes]);
            row.maybe(others.uses.carried_out);
        }
    }
    grid
}

fn reference(document: &Document) -> Grid {
    let mut grid = Grid::new("Every operation that was asked for");
    grid.number("number").words("operation").words("operand").words("effect").words("flow");
    let encodings = document.operations.first().map_or(&[][..], |first| &first.bytes);
    for own in encodings {
        grid.number(&format!("{}, least", own.encoding)).number(&format!("{}, most", own.encoding));
        grid.words(&format!("{}, of operand 0", own.encoding));
    }
    grid.words("what it does");
    for operation in &document.operations {
        let row = grid.row().number(operation.number).words(&operation.name);
        row.words(operation.operand.as_deref().unwrap_or_default());
        row.words(&operation.effect).words(&operation.flow);
        for own in &operation.bytes {
            row.numbers([own.least, own.most]).words(&own.of_zero);
        }
        row.words(&operation.does);
    }
    grid
}
