//! A mined instruction set as tables: its entries, and what it is worth in sample and
//! held out.

use super::sweep::ratio;
use super::tables::{Align, Table};
use crate::compose::document::{Composition, Entry, Figures};

/// How many scripts of an entry are named without `verbose`.
const SHOWN: usize = 2;

pub(super) fn text(composition: &Composition, verbose: bool) -> String {
    let mut text = head(composition);
    text.push_str(&format!("\n{}", entry_table(composition, verbose).text()));
    text.push_str(&stopped(composition));
    text.push_str(&format!("\n{}", row_table(composition).text()));
    text.push_str(&format!("\n{}", sum_table(composition).text()));
    text.push_str(&foot(composition));
    text
}

pub(super) fn markdown(composition: &Composition, verbose: bool) -> String {
    let mut text = head(composition);
    text.push_str(&format!("\n{}", entry_table(composition, verbose).markdown()));
    text.push_str(&format!("\n{}", stopped(composition)));
    text.push_str(&format!("\n{}", row_table(composition).markdown()));
    text.push_str(&format!("\n{}", sum_table(composition).markdown()));
    text.push_str(&format!("\n{}", foot(composition)));
    text
}

fn head(composition: &Composition) -> String {
    let Composition { goal_bytes_percent, candidates, rows, model, least_programs, .. } =
        composition;
    let share = match composition.table_percent {
        100 => String::new(),
        n => format!("; {n} % of that it must pay"),
    };
    let second = match composition.encoding.as_str() {
        "context" => {
            "Entries with `then` count behind entries that leave a value, and take the bytes of the \
             first table's last ones there.\n"
        }
        _ => "",
    };
    let goal = match goal_bytes_percent {
        100 => "instruction bytes".to_owned(),
        0 => "instructions carried out".to_owned(),
        n => format!("{n} % instruction bytes, {} % instructions carried out", 100 - n),
    };
    format!(
        "set {:08x}: {} entries of {candidates} candidates in {} scripts; goal: {goal}\n\
         An entry takes an opcode byte of {} and {} + {} bytes an operation of a table that all \
         images share; it stands in {least_programs} scripts at least{share}.\n{second}",
        composition.set_hash,
        composition.entries.len(),
        rows.len(),
        model.entries,
        model.table_bytes_an_entry,
        model.table_bytes_a_part,
    )
}

fn entry_table(composition: &Composition, verbose: bool) -> Table {
    let mut table = Table::new(&[
        ("", Align::Right),
        ("entry", Align::Left),
        ("saves bytes", Align::Right),
        ("table", Align::Right),
        ("saves instructions", Align::Right),
        ("uses", Align::Right),
        ("scripts", Align::Right),
        ("most in", Align::Left),
    ]);
    for (number, entry) in composition.entries.iter().enumerate() {
        table.push(vec![
            (number + 1).to_string(),
            entry.text.clone(),
            entry.saved_bytes.to_string(),
            entry.table_bytes.to_string(),
            entry.saved_instructions.to_string(),
            entry.uses.to_string(),
            entry.places.len().to_string(),
            places(entry, verbose),
        ]);
    }
    let sum = |read: fn(&Entry) -> i64| composition.entries.iter().map(read).sum::<i64>();
    table.push(vec![
        String::new(),
        "all".to_owned(),
        sum(|entry| entry.saved_bytes).to_string(),
        composition.table_bytes.to_string(),
        sum(|entry| entry.saved_instructions).to_string(),
        sum(|entry| entry.uses as i64).to_string(),
        String::new(),
        String::new(),
    ]);
    table
}

fn places(entry: &Entry, verbose: bool) -> String {
    let n_shown = if verbose { entry.places.len() } else { entry.places.len().min(SHOWN) };
    let (shown, others) = entry.places.split_at(n_shown);
    let mut parts: Vec<String> =
        shown.iter().map(|place| format!("{} {}", place.script, place.uses)).collect();
    if !others.is_empty() {
        let uses: u64 = others.iter().map(|place| place.uses).sum();
        parts.push(format!("{} others {uses}", others.len()));
    }
    parts.join(", ")
}

fn stopped(composition: &Composition) -> String {
    let stopped = &composition.stopped;
    let next = match (stopped.next_gain_hundredths, stopped.next_table_bytes) {
        (Some(gain), Some(table)) => format!(
            ": the next would gain {:.2} bytes of the goal and take {table} of the table",
            gain as f64 / 100.0
        ),
        _ => ": there is no other candidate".to_owned(),
    };
    let why = if stopped.is_full { "no opcode byte is left" } else { "nothing more pays" };
    format!(
        "{why}{next}\nsaves: behind the entries above it, all scripts weighed whole; uses: with \
         all entries\n"
    )
}

fn row_table(composition: &Composition) -> Table {
    let mut table = Table::new(&[
        ("script", Align::Left),
        ("byte", Align::Right),
        ("leb", Align::Right),
        ("implied", Align::Right),
        ("in sample", Align::Right),
        ("of byte", Align::Right),
        ("held out", Align::Right),
        ("of byte", Align::Right),
        ("operations", Align::Right),
        ("instructions in sample", Align::Right),
        ("held out", Align::Right),
        ("of them", Align::Right),
    ]);
    for row in &composition.rows {
        let mark = if row.answer_checked { "" } else { " ?" };
        table.push(cells(&format!("{}{mark}", row.script), &row.figures));
    }
    table.push(cells("sum", &composition.sum));
    table
}

fn cells(name: &str, figures: &Figures) -> Vec<String> {
    vec![
        name.to_owned(),
        figures.byte.to_string(),
        figures.leb.to_string(),
        figures.implied.to_string(),
        figures.in_sample.to_string(),
        ratio(figures.in_sample, figures.byte),
        figures.held_out.to_string(),
        ratio(figures.held_out, figures.byte),
        figures.operations.to_string(),
        figures.dispatched_in_sample.to_string(),
        figures.dispatched_held_out.to_string(),
        ratio(figures.dispatched_held_out, figures.operations),
    ]
}

fn sum_table(composition: &Composition) -> Table {
    let Figures { byte, implied, in_sample, held_out, rest_of_image, .. } = composition.sum;
    let Figures { compiled_in_sample, compiled_held_out, .. } = composition.sum;
    let mut table = Table::new(&[
        ("over all scripts", Align::Left),
        ("instr bytes", Align::Right),
        ("of byte", Align::Right),
        ("with table once", Align::Right),
        ("of byte", Align::Right),
        ("images", Align::Right),
        ("with table once", Align::Right),
        ("of byte", Align::Right),
    ]);
    let lines = [
        ("byte", byte, 0),
        ("implied", implied, 0),
        ("model, in sample", in_sample, composition.table_bytes),
        ("model, held out", held_out, composition.held_out_table_bytes),
        ("compiled, in sample", compiled_in_sample, composition.table_bytes),
        ("compiled, held out", compiled_held_out, composition.held_out_table_bytes),
    ];
    for (name, bytes, shared) in lines {
        table.push(vec![
            name.to_owned(),
            bytes.to_string(),
            ratio(bytes, byte),
            (bytes + shared).to_string(),
            ratio(bytes + shared, byte),
            (bytes + rest_of_image).to_string(),
            (bytes + rest_of_image + shared).to_string(),
            ratio(bytes + rest_of_image + shared, byte + rest_of_image),
        ]);
    }
    table
}

fn foot(composition: &Composition) -> String {
    let mut text = format!(
        "in sample: the set above; held out: for each script a set that was mined from all others. \
         Images are counted with header, constants, functions and lines as under leb. Rows, \
         entries and the choice are by a model of the encoding {}, which joins over the \
         script's own statements where the compiler does not: above stands what is compiled, too. Counts of these scripts with these \
         inputs: other scripts will save less or more. A shared table is flash that every build \
         carries.\n",
        composition.encoding
    );
    if composition.rows.iter().any(|row| !row.answer_checked) {
        text.push_str("? answer not checked\n");
    }
    for out in &composition.left_out {
        text.push_str(&format!("left out: {}: {}\n", out.script, out.reason));
    }
    text
}
