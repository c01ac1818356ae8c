//! The table of operations for people: as it is, or with how scripts use it, what stands
//! in their code most often first.

use super::counted;
use super::csv::push_line;
use super::tables::{Align, Table};
use crate::operations::document::{Document, Operation, Spelling, Uses};

/// What figures of a run do not say.
pub(super) const CAUTION: &str =
    "carried out: for these inputs only, and no word about the time that one takes\n";

pub(super) fn text(document: &Document, verbose: bool) -> String {
    let mut text = head(document);
    if is_reference(document) {
        text.push_str(&reference(document).text());
        if verbose {
            text.push_str(&document.operations.iter().map(spelled).collect::<String>());
        }
        return text;
    }
    if document.sum.is_some() {
        text.push_str(&uses_table(document).text());
    }
    if verbose {
        text.push_str(&document.operations.iter().map(operands).collect::<String>());
    }
    text + &foot(document)
}

pub(super) fn markdown(document: &Document) -> String {
    if is_reference(document) {
        return reference(document).markdown();
    }
    let foot = foot(document).trim_end().replace('\n', "\n\n");
    let table = match document.sum {
        Some(_) => uses_table(document).markdown() + "\n",
        None => String::new(),
    };
    format!("{}\n{table}{foot}\n", head(document))
}

pub(super) fn csv(document: &Document) -> String {
    let mut text = String::new();
    let names = ["number", "operation", "operand", "effect", "flow", "does"];
    let mut head: Vec<String> = names.map(str::to_owned).to_vec();
    for own in encodings(document) {
        head.extend(["least", "most"].map(|which| format!("{}_{which}_bytes", own.encoding)));
    }
    head.extend(["in_code", "bytes", "carried_out"].map(str::to_owned));
    push_line(&mut text, &head);
    for operation in &document.operations {
        let Operation { number, name, operand, effect, flow, does, .. } = operation;
        let mut cells = vec![number.to_string(), name.clone(), operand.clone().unwrap_or_default()];
        cells.extend([effect, flow, does].map(Clone::clone));
        for own in &operation.bytes {
            cells.extend([own.least.to_string(), own.most.to_string()]);
        }
        let uses = operation.uses;
        cells.extend([
            uses.map(|uses| uses.in_code.to_string()).unwrap_or_default(),
            uses.map(|uses| uses.bytes.to_string()).unwrap_or_default(),
            number_or(uses.and_then(|uses| uses.carried_out), ""),
        ]);
        push_line(&mut text, &cells);
    }
    text
}

/// Whether no script was asked for.
fn is_reference(document: &Document) -> bool {
    document.sum.is_none() && document.left_out.is_empty()
}

pub(super) fn head(document: &Document) -> String {
    let sum = match document.sum {
        Some(sum) => sum,
        None if is_reference(document) => return String::new(),
        None => return "no script that could be counted\n".to_owned(),
    };
    let carried_out = match sum.carried_out {
        Some(number) => format!(", {number} carried out"),
        None => String::new(),
    };
    format!(
        "{}: {} in the code, {} under {}{carried_out}\n",
        counted(document.scripts, "script"),
        counted(sum.in_code, "operation"),
        counted(sum.bytes, "instruction byte"),
        document.encoding,
    )
}

/// The encodings that every operation tells its bytes under.
fn encodings(document: &Document) -> &[Spelling] {
    document.operations.first().map_or(&[], |first| &first.bytes)
}

/// The table itself: bytes as `least-most`.
fn reference(document: &Document) -> Table {
    let mut columns = vec![("operation", Align::Left), ("operand", Align::Left)];
    columns.extend([("effect", Align::Left), ("flow", Align::Left)]);
    columns.extend(encodings(document).iter().map(|own| (own.encoding.as_str(), Align::Right)));
    columns.push(("what it does", Align::Left));
    let mut table = Table::new(&columns);
    for operation in &document.operations {
        let Operation { name, operand, effect, flow, does, bytes, .. } = operation;
        let mut cells = vec![name.clone(), operand.clone().unwrap_or_default()];
        cells.extend([effect.clone(), flow.clone()]);
        cells.extend(bytes.iter().map(|own| match own.least == own.most {
            true => own.least.to_string(),
            false => format!("{}-{}", own.least, own.most),
        }));
        cells.push(does.clone());
        table.push(cells);
    }
    table
}

fn spelled(operation: &Operation) -> String {
    let own = operation.bytes.iter().map(|own| format!("{} {}", own.encoding, own.of_zero));
    let what = if operation.operand.is_some() { "with operand 0" } else { "its bytes" };
    format!("{}, {what}: {}\n", operation.name, own.collect::<Vec<_>>().join(", "))
}

fn uses_table(document: &Document) -> Table {
    let sum = document.sum.unwrap_or_default();
    let runs = sum.carried_out.is_some();
    let mut columns = vec![("operation", Align::Left), ("operand", Align::Left)];
    columns.push(("effect", Align::Left));
    for name in ["in code", "%", "bytes", "%"] {
        columns.push((name, Align::Right));
    }
    if runs {
        columns.extend([("carried out", Align::Right), ("%", Align::Right)]);
    }
    let mut table = Table::new(&columns);
    for (operation, uses) in most_first(document).into_iter().filter(|(_, own)| own.in_code > 0) {
        let operand = operation.operand.clone().unwrap_or_default();
        let mut cells = vec![operation.name.clone(), operand, operation.effect.clone()];
        cells.extend([uses.in_code.to_string(), percent(uses.in_code, sum.in_code)]);
        cells.extend([uses.bytes.to_string(), percent(uses.bytes, sum.bytes)]);
        if let (Some(own), Some(all)) = (uses.carried_out, sum.carried_out) {
            cells.extend([own.to_string(), percent(own, all)]);
        }
        table.push(cells);
    }
    table
}

/// The operations by how often they stand in the code, the commonest first.
pub(super) fn most_first(document: &Document) -> Vec<(&Operation, Uses)> {
    let with_uses = document.operations.iter().filter_map(|own| Some((own, own.uses?)));
    let mut sorted: Vec<_> = with_uses.collect();
    sorted.sort_by_key(|(own, uses)| (std::cmp::Reverse(uses.in_code), own.number));
    sorted
}

fn operands(operation: &Operation) -> String {
    if operation.commonest.is_empty() {
        return String::new();
    }
    let uses_text = |uses: &Uses| match uses.carried_out {
        Some(times) => format!("{} ({times} carried out)", uses.in_code),
        None => uses.in_code.to_string(),
    };
    let one_by_one = operation.commonest.iter();
    let mut list: Vec<String> =
        one_by_one.map(|own| format!("{}: {}", own.operand, uses_text(&own.uses))).collect();
    if let Some(others) = &operation.others {
        list.push(format!(
            "others: {} of {}",
            uses_text(&others.uses),
            counted(others.operands, "operand")
        ));
    }
    format!("{} by operand: {}\n", operation.name, list.join(", "))
}

fn foot(document: &Document) -> String {
    let mut text = left_unsaid(document);
    for out in &document.left_out {
        text.push_str(&format!("left out: {}: {}\n", out.script, out.reason));
    }
    if document.sum.is_some_and(|sum| sum.carried_out.is_some()) {
        text.push_str(CAUTION);
    }
    text
}

/// What the tables have no row for.
pub(super) fn left_unsaid(document: &Document) -> String {
    let mut text = String::new();
    let unused: Vec<&str> = document
        .operations
        .iter()
        .filter(|own| own.uses.is_some_and(|uses| uses.in_code == 0))
        .map(|own| own.name.as_str())
        .collect();
    if !unused.is_empty() {
        let n = counted(unused.len() as u64, "operation");
        text.push_str(&format!("in none of these scripts: {n}: {}\n", unused.join(", ")));
    }
    if document.unchecked > 0 {
        let n = counted(document.unchecked, "script");
        text.push_str(&format!("{n} without a file of that name with .out: answer not checked\n"));
    }
    text
}

fn number_or(number: Option<u64>, otherwise: &str) -> String {
    number.map_or_else(|| otherwise.to_owned(), |number| number.to_string())
}

pub(super) fn percent(part: u64, all: u64) -> String {
    if all == 0 { "-".to_owned() } else { format!("{:.1}", part as f64 * 100.0 / all as f64) }
}
