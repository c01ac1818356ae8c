//! A mined instruction set as tables: its entries, and what it is worth in sample and
//! held out.

use super::counted;
use super::sweep::ratio;
use super::tables::{Align, Table};
use crate::compose::document::{Composition, Elsewhere, Entry, Row, Stranger, Trial, Trials};

/// What its tables tell, and what they do not.
pub(super) const ABOUT: &str = "\
in sample: the set above; held out: for each script a set that was mined from all others. \
All of it is compiled and, unless scripts are only compiled, run in a machine that was \
given the set; but for what is said to be by the model, which chose the entries: it joins \
over the script's own statements where the compiler does not. Entries are weighed by it, \
too. The table held out is the largest of those sets'. Counts of these scripts with these \
inputs: other scripts will save less or more. A shared table is flash that every build \
carries.";

/// How many scripts of an entry are named without `verbose`.
const SHOWN: usize = 2;

pub(super) fn text(composition: &Composition, verbose: bool) -> String {
    let mut text = head(composition);
    text.push_str(&format!("\n{}", entry_table(composition, verbose).text()));
    text.push_str(&stopped(composition));
    for table in tables(composition, verbose) {
        text.push_str(&format!("\n{}", table.text()));
    }
    text.push_str(&foot(composition));
    text
}

pub(super) fn markdown(composition: &Composition, verbose: bool) -> String {
    let mut text = head(composition);
    text.push_str(&format!("\n{}", entry_table(composition, verbose).markdown()));
    text.push_str(&format!("\n{}", stopped(composition)));
    for table in tables(composition, verbose) {
        text.push_str(&format!("\n{}", table.markdown()));
    }
    text.push_str(&format!("\n{}", foot(composition)));
    text
}

pub(super) fn head(composition: &Composition) -> String {
    let Composition { candidates, rows, model, least_programs, .. } = composition;
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
    let goal = goal(composition);
    format!(
        "set {:08x}: {} of {} in {}; goal: {goal}\n\
         An entry takes an opcode byte of {} and {} + {} bytes an operation of a table that all \
         images share; it stands in {} at least{share}.\n{second}",
        composition.set_hash,
        counted(composition.entries.len() as u64, "entry"),
        counted(*candidates, "candidate"),
        counted(rows.len() as u64, "script"),
        model.entries,
        model.table_bytes_an_entry,
        model.table_bytes_a_part,
        counted(*least_programs, "script"),
    )
}

/// What the set is to save.
pub(super) fn goal(composition: &Composition) -> String {
    match composition.goal_bytes_percent {
        100 => "instruction bytes".to_owned(),
        0 => "instructions carried out".to_owned(),
        n => format!("{n} % instruction bytes, {} % instructions carried out", 100 - n),
    }
}

pub(super) fn entry_table(composition: &Composition, verbose: bool) -> Table {
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
    table.push_foot(vec![
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

pub(super) fn stopped(composition: &Composition) -> String {
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

/// Script by script, all together, and on scripts of another origin.
fn tables(composition: &Composition, verbose: bool) -> Vec<Table> {
    let best = best(composition);
    let mut tables = Vec::new();
    for (number, trials) in composition.sum_trials.iter().enumerate() {
        if verbose || number == best {
            tables.push(row_table(composition, number, &trials.encoding));
        }
    }
    tables.push(sum_table(composition));
    tables.extend(composition.elsewhere.as_ref().map(elsewhere_table));
    tables
}

/// The encoding with the fewest bytes held out.
fn best(composition: &Composition) -> usize {
    let sums = composition.sum_trials.iter().enumerate();
    let best = sums.min_by_key(|(_, trials)| trials.held_out.instruction_bytes);
    best.map_or(0, |(number, _)| number)
}

pub(super) fn row_table(composition: &Composition, number: usize, encoding: &str) -> Table {
    let mut table = Table::new(&[
        (encoding, Align::Left),
        ("byte", Align::Right),
        ("implied", Align::Right),
        ("in sample", Align::Right),
        ("of byte", Align::Right),
        ("held out", Align::Right),
        ("of byte", Align::Right),
        ("operations", Align::Right),
        ("instructions in sample", Align::Right),
        ("held out", Align::Right),
        ("of implied", Align::Right),
    ]);
    let Composition { rows, sum, sum_trials, .. } = composition;
    for Row { script, answer_checked, figures, trials } in rows {
        let mark = if *answer_checked { "" } else { " ?" };
        let before = (figures.byte, figures.implied, figures.operations);
        table.push(cells(format!("{script}{mark}"), before, &trials[number]));
    }
    let before = (sum.byte, sum.implied, sum.operations);
    table.push_foot(cells("sum".to_owned(), before, &sum_trials[number]));
    table
}

fn cells(name: String, before: (u64, u64, u64), trials: &Trials) -> Vec<String> {
    let (byte, implied, operations) = before;
    let Trials { in_sample, held_out, .. } = trials;
    vec![
        name,
        byte.to_string(),
        implied.to_string(),
        in_sample.instruction_bytes.to_string(),
        ratio(in_sample.instruction_bytes, byte),
        held_out.instruction_bytes.to_string(),
        ratio(held_out.instruction_bytes, byte),
        count(held_out.instructions.map(|_| operations)),
        count(in_sample.instructions),
        count(held_out.instructions),
        share(held_out.instructions, operations),
    ]
}

fn count(number: Option<u64>) -> String {
    number.map_or_else(|| "-".to_owned(), |number| number.to_string())
}

fn share(part: Option<u64>, whole: u64) -> String {
    part.map_or_else(|| "-".to_owned(), |part| ratio(part, whole))
}

pub(super) fn sum_table(composition: &Composition) -> Table {
    let Composition { sum, table_bytes, held_out_table_bytes, .. } = composition;
    let ran = composition.sum_trials.iter().any(|trials| trials.in_sample.instructions.is_some());
    let mut table = Table::new(&[
        ("over all scripts", Align::Left),
        ("instr bytes", Align::Right),
        ("of byte", Align::Right),
        ("with table once", Align::Right),
        ("of byte", Align::Right),
        ("images", Align::Right),
        ("with table once", Align::Right),
        ("of byte", Align::Right),
        ("instructions", Align::Right),
        ("of implied", Align::Right),
    ]);
    let mut line = |name: String, trial: Trial, image: Option<u64>, shared: u64| {
        let with_table = trial.instruction_bytes + shared;
        let of_byte = image.map(|image| image + shared);
        table.push(vec![
            name,
            trial.instruction_bytes.to_string(),
            ratio(trial.instruction_bytes, sum.byte),
            with_table.to_string(),
            ratio(with_table, sum.byte),
            count(image),
            count(of_byte),
            share(of_byte, sum.byte_image),
            count(trial.instructions),
            share(trial.instructions, sum.operations),
        ]);
    };
    let counted = |instructions| Some(instructions).filter(|_| ran);
    let trial = |instruction_bytes, image_bytes, instructions| Trial {
        instruction_bytes,
        image_bytes,
        instructions: counted(instructions),
    };
    let byte = trial(sum.byte, sum.byte_image, sum.operations);
    line("byte".to_owned(), byte, Some(byte.image_bytes), 0);
    let implied = trial(sum.implied, sum.implied_image, sum.operations);
    line("implied".to_owned(), implied, Some(implied.image_bytes), 0);
    for Trials { encoding, in_sample, held_out } in &composition.sum_trials {
        let images = (in_sample.image_bytes, held_out.image_bytes);
        line(format!("{encoding}, in sample"), *in_sample, Some(images.0), *table_bytes);
        line(format!("{encoding}, held out"), *held_out, Some(images.1), *held_out_table_bytes);
    }
    let model = trial(sum.in_sample, 0, sum.dispatched_in_sample);
    line("by the model, in sample".to_owned(), model, None, *table_bytes);
    let model = trial(sum.held_out, 0, sum.dispatched_held_out);
    line("by the model, held out".to_owned(), model, None, *held_out_table_bytes);
    table
}

/// What the set is worth on scripts of another origin.
pub(super) fn elsewhere_table(elsewhere: &Elsewhere) -> Table {
    let mut columns = vec![
        ("elsewhere".to_owned(), Align::Left),
        ("byte".to_owned(), Align::Right),
        ("implied".to_owned(), Align::Right),
        ("of byte".to_owned(), Align::Right),
    ];
    for abroad in &elsewhere.sum.trials {
        for name in [&abroad.encoding, "of byte", "instructions", "of implied"] {
            columns.push((name.to_owned(), Align::Right));
        }
    }
    let columns: Vec<(&str, Align)> =
        columns.iter().map(|(name, align)| (name.as_str(), *align)).collect();
    let mut table = Table::new(&columns);
    let rows = elsewhere.rows.iter().map(|row| (row, false));
    for (row, is_sum) in rows.chain([(&elsewhere.sum, true)]) {
        let Stranger { script, answer_checked, byte, implied, operations, trials } = row;
        let mark = if *answer_checked { "" } else { " ?" };
        let mut cells = vec![
            format!("{script}{mark}"),
            byte.to_string(),
            implied.to_string(),
            ratio(*implied, *byte),
        ];
        for trial in trials.iter().map(|abroad| &abroad.trial) {
            cells.push(trial.instruction_bytes.to_string());
            cells.push(ratio(trial.instruction_bytes, *byte));
            cells.push(count(trial.instructions));
            cells.push(share(trial.instructions, *operations));
        }
        if is_sum { table.push_foot(cells) } else { table.push(cells) }
    }
    table
}

fn foot(composition: &Composition) -> String {
    let mut text = format!("{ABOUT}\n");
    if composition.rows.iter().any(|row| !row.answer_checked) {
        text.push_str("? answer not checked\n");
    }
    let elsewhere = composition.elsewhere.iter().flat_map(|elsewhere| &elsewhere.left_out);
    for out in composition.left_out.iter().chain(elsewhere) {
        text.push_str(&format!("left out: {}: {}\n", out.script, out.reason));
    }
    text
}
