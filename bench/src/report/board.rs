//! What `board` found, for people: the host's table, which the board's figures
//! agree with, then what the board adds, the encodings, the flash.

use crate::emulated::document::{Document, OnBoard, Ram, Row};

pub(super) fn render(document: &Document, verbose: bool) -> String {
    let mut text = super::text::render(&document.weighed(), verbose);
    text.push_str(&board(document));
    text.push_str(&encodings(document));
    text.push_str(&flash(document));
    text.push_str(&document.caveat);
    text.push('\n');
    text
}

fn board(document: &Document) -> String {
    let name = |row: &Row| row.weighed.script.chars().count();
    let width = document.rows.iter().map(name).max().unwrap_or(0).max("script".len());
    let mut text = format!(
        "\non {}, {} bytes of flash, {} of RAM: the figures above are the board's too, to the \
         byte and to the instruction\n\n{:width$}  encoding         load          run   an op      RAM  = data + \
         stack + timers + region + image\n",
        document.board, document.flash, document.ram, "script"
    );
    for row in &document.rows {
        let Some(on_board) = &row.board else { continue };
        let operations = row.weighed.figures.as_ref().map_or(1, |figures| figures.operations);
        let OnBoard { load_instructions, run_instructions, .. } = on_board;
        text.push_str(&format!(
            "{:width$}  {:8} {load_instructions:>12} {run_instructions:>12} {:>7.1}",
            row.weighed.script,
            row.weighed.encoding,
            *run_instructions as f64 / operations.max(1) as f64,
        ));
        if let Some(ram) = &on_board.ram {
            text.push_str(&sum(ram));
        }
        text.push('\n');
        if let Some(instructions) = on_board.compile_instructions {
            text.push_str(&format!("    compiled on the board: {instructions} board instructions"));
            let took = on_board.ram.and_then(|ram| ram.compiling);
            if let Some((pool, stack)) = took {
                text.push_str(&format!(", {pool} bytes of its pool, {stack} of stack"));
            }
            text.push('\n');
        }
    }
    let compared = document.rows.iter().filter_map(|row| row.board.as_ref());
    let n_rows = compared.clone().count();
    let with = compared.filter(|board| board.live_peak_compared).count();
    text.push_str(&format!(
        "load, run: board instructions; an op: board instructions an operation; region: the least \
         that heap and stack of the machine do in.\nlive peak: held against the host's for {}, \
         not run on the board for {}\n",
        super::counted(with as u64, "row"),
        n_rows - with
    ));
    text
}

fn sum(ram: &Ram) -> String {
    let Ram { data, stack, timers, region, image, .. } = ram;
    let total = ram.total();
    format!(" {total:>8}  = {data} + {stack} + {timers} + {region} + {image}")
}

fn encodings(document: &Document) -> String {
    let sums = &document.encodings;
    if sums.len() < 2 {
        return String::new();
    }
    let mut text = String::from(
        "\nencoding  scripts  instruction bytes  operations  board instructions   an op\n",
    );
    for sum in sums {
        text.push_str(&format!(
            "{:8}  {:>7}  {:>17}  {:>10}  {:>18} {:>7.2}\n",
            sum.encoding,
            sum.scripts,
            sum.instruction_bytes,
            sum.operations,
            sum.board_instructions,
            sum.per_operation()
        ));
    }
    if let Some(suggestion) = suggest(document) {
        text.push_str(&suggestion);
    }
    text
}

/// Which encoding these figures speak for: the one of fewest bytes, and what it
/// costs against the one that is carried out with fewest board instructions.
pub(crate) fn suggest(document: &Document) -> Option<String> {
    let sums = &document.encodings;
    let smallest = sums.iter().min_by_key(|sum| sum.instruction_bytes)?;
    let fastest = sums.iter().min_by_key(|sum| sum.board_instructions)?;
    if smallest == fastest {
        let name = &smallest.encoding;
        return Some(format!(
            "{name} has the fewest bytes and the fewest board instructions: the default that these \
             scripts speak for\n"
        ));
    }
    let per_cent = |one: u64, other: u64| 100.0 * one as f64 / other.max(1) as f64;
    Some(format!(
        "{} has the fewest bytes: {:.1} per cent of {}'s, for {:.1} per cent of its board instructions\n",
        smallest.encoding,
        per_cent(smallest.instruction_bytes, fastest.instruction_bytes),
        fastest.encoding,
        per_cent(smallest.board_instructions, fastest.board_instructions),
    ))
}

fn flash(document: &Document) -> String {
    let mut text = String::from("\nflash of the firmware by part, bytes\n");
    for part in &document.parts.parts {
        text.push_str(&format!("{:>8}  {}\n", part.bytes, part.name));
    }
    let total = document.parts.total;
    text.push_str(&format!("{total:>8}  in all ({:.1} KiB)\n\n", total as f64 / 1024.0));
    text
}
