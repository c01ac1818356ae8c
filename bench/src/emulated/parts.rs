//! Flash bytes by part: every symbol of the program, summed by what it serves.
//!
//! It owns the rules that tell a part by a symbol's name. Bytes that no symbol
//! claims (literals without a name, padding) come last, so the parts add up to what
//! the program takes. It refuses to guess beyond names: what the optimiser has put
//! into another function is counted there.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

use anyhow::{Context, Result, ensure};
use serde::{Deserialize, Serialize};

/// A part's name, and words of which one stands in the symbols of the part. The
/// first rule that fits counts.
const RULES: &[(&str, &[&str])] = &[
    ("compiler: which characters are letters", &["scruple_compiler::letters"]),
    ("compiler", &["scruple_compiler", "bumpalo", "hashbrown", "scruple_board::prepare"]),
    (
        "compiler: allocator",
        &["embedded_alloc", "linked_list_allocator", "alloc::", "__rust_alloc"],
    ),
    // The machine's `load` with all of the verifier is inlined there.
    ("interpreter: image and verifier", &["scruple_board::load"]),
    (
        "firmware",
        &["scruple_board", "cortex_m", "Reset", "__pre_init", "__INTERRUPTS", "__EXCEPTIONS"],
    ),
    (
        "number conversion",
        &["scruple_bytecode::exact", "scruple_vm::digits", "scruple_vm::number", "number_text"],
    ),
    ("tables: names and built-ins", &["scruple_bytecode::names", "builtins::table"]),
    ("built-ins: maths", &["scruple_vm::builtins::math", "libm::"]),
    ("built-ins: JSON", &["scruple_vm::builtins::json"]),
    ("built-ins: array", &["scruple_vm::builtins::array"]),
    ("built-ins: collections", &["scruple_vm::builtins::collections", "scruple_vm::entries"]),
    (
        "built-ins: buffers",
        &["scruple_vm::builtins::buffers", "scruple_vm::bytes", "scruple_vm::views"],
    ),
    (
        "built-ins: string",
        &["scruple_vm::builtins::string", "unicode_data", "to_case", "core::unicode"],
    ),
    ("built-ins: number", &["scruple_vm::builtins::number", "scruple_vm::builtins::global"]),
    ("built-ins: URI", &["scruple_vm::builtins::uri"]),
    ("built-ins: object, function, error, others", &["scruple_vm::builtins::"]),
    (
        "interpreter: loop and handlers",
        &[
            "run_compact",
            "dispatch",
            "HandlerTable",
            "scruple_vm::interp",
            "run_loop",
            "encoding::rows",
        ],
    ),
    ("interpreter: image and verifier", &["scruple_bytecode", "scruple_vm::load"]),
    ("interpreter: heap", &["scruple_vm::heap"]),
    ("interpreter: objects, calls, conversions", &["scruple_vm"]),
    (
        "soft floats, memory, division",
        &["compiler_builtins", "__aeabi", "memcpy", "memmove", "memset"],
    ),
    ("code that the compiler shares between functions", &["OUTLINED_FUNCTION"]),
];

/// The part of symbols that no rule fits.
const OTHERS: &str = "others: the standard library";

/// The part of bytes without a symbol.
const NAMELESS: &str = "others: literals without a name, padding";

/// Bytes of each part; they add up to the total.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Parts {
    /// By size, what belongs to no part last.
    pub parts: Vec<Part>,
    /// Bytes of flash that the program takes.
    pub total: u64,
}

/// A part of the program.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Part {
    /// What it is.
    pub name: String,
    /// Its bytes.
    pub bytes: u64,
}

impl Parts {
    /// Reads a program's symbols and sections.
    pub fn of(elf: &Path) -> Result<Parts> {
        let sections = text(Command::new("arm-none-eabi-size").arg("-A").arg(elf))?;
        let symbols = text(Command::new("arm-none-eabi-nm").args(["-S", "-C"]).arg(elf))?;
        Parts::new(&sections, &symbols)
    }

    fn new(sections: &str, symbols: &str) -> Result<Parts> {
        let in_flash = [".vector_table", ".text", ".rodata", ".data"];
        let sizes = sections.lines().filter_map(|line| {
            let mut words = line.split_whitespace();
            let name = words.next()?;
            let bytes: u64 = words.next()?.parse().ok()?;
            in_flash.contains(&name).then_some(bytes)
        });
        let total: u64 = sizes.sum();
        let mut named: BTreeMap<&str, u64> = BTreeMap::new();
        // Two names of one place are one symbol.
        let mut seen = BTreeSet::new();
        for line in symbols.lines() {
            let words: Vec<&str> = line.splitn(4, ' ').collect();
            let &[address, bytes, kind, name] = words.as_slice() else { continue };
            let Ok(bytes) = u64::from_str_radix(bytes, 16) else { continue };
            let is_in_flash = matches!(kind, "t" | "T" | "r" | "R" | "d" | "D" | "w" | "W");
            if is_in_flash && seen.insert(address) {
                *named.entry(part_of(name)).or_default() += bytes;
            }
        }
        let sum: u64 = named.values().sum();
        ensure!(sum <= total, "symbols of {sum} bytes in a program of {total}");
        let others = named.remove(OTHERS).unwrap_or_default();
        let part = |(name, bytes): (&str, u64)| Part { name: name.to_owned(), bytes };
        let mut parts: Vec<Part> = named.into_iter().map(part).collect();
        parts.sort_by_key(|part| std::cmp::Reverse(part.bytes));
        parts.extend([(OTHERS, others), (NAMELESS, total - sum)].map(part));
        Ok(Parts { parts, total })
    }
}

fn part_of(symbol: &str) -> &'static str {
    // What a function is generic over says nothing about what it is for.
    let name = symbol.replace("scruple_board::station::Station", "");
    let fits = |words: &[&str]| words.iter().any(|word| name.contains(word));
    RULES.iter().find(|(_, words)| fits(words)).map_or(OTHERS, |(part, _)| part)
}

fn text(command: &mut Command) -> Result<String> {
    let output = command.output().context("the package binutils-arm-none-eabi is missing")?;
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_add_up_and_one_place_counts_once() {
        let sections = "x :\nsection size addr\n.text 100 0\n.rodata 20 100\n.bss 8 0\n";
        let symbols = "00000000 00000010 t scruple_vm::builtins::math::sin::<Station>\n\
            00000000 00000010 T another_name\n00000010 00000004 t something\n         U none\n\
            20000000 00000008 b zeroed\n";
        let parts = Parts::new(sections, symbols).unwrap();
        let pairs: Vec<_> = parts.parts.iter().map(|part| (&*part.name, part.bytes)).collect();
        assert_eq!(pairs, [("built-ins: maths", 16), (OTHERS, 4), (NAMELESS, 100)]);
        assert_eq!(parts.total, 120);
        assert!(Parts::new(".text 8 0\n", symbols).is_err());
    }
}
