//! Flash bytes by part: every symbol of the program, summed by what it serves.
//!
//! It owns the rules that tell a part by a symbol's name. Bytes that no symbol
//! claims (literals without a name, padding, the vector table) are the rest, so
//! the parts add up to what the program takes. It refuses to guess beyond names:
//! what the optimiser has put into another function is counted there.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use anyhow::{Context, Result, ensure};

/// A part's name, and words of which one stands in the symbols of the part. The
/// first rule that fits counts.
const RULES: &[(&str, &[&str])] = &[
    ("compiler", &["scruple_compiler", "bumpalo", "logos", "unicode_id_start", "hashbrown"]),
    ("compiler: allocator", &["embedded_alloc", "linked_list_allocator", "alloc::", "__rust_alloc", "__rg_"]),
    ("firmware", &["scruple_board", "cortex_m", "main", "Reset", "__pre_init", "__INTERRUPTS"]),
    ("built-ins: maths", &["builtins::math", "libm::", "numeric::power"]),
    ("built-ins: JSON", &["builtins::json"]),
    ("built-ins: array", &["builtins::array"]),
    ("built-ins: string", &["builtins::string", "unicode_data", "to_case", "core::unicode"]),
    ("built-ins: URI", &["builtins::uri"]),
    ("built-ins: number", &["builtins::number", "builtins::global::parse", "scruple_vm::digits"]),
    ("built-ins: tables", &["builtins::table", "Handlers", "names::TEXTS", "scruple_bytecode::names"]),
    ("built-ins: object and others", &["builtins::"]),
    ("number conversion", &["dec2flt", "flt2dec", "ryu_js", "scruple_vm::number", "f64 as core::str"]),
    ("soft floats, memory, division", &["compiler_builtins", "__aeabi", "memcpy", "memmove", "memset", "bcmp"]),
    ("interpreter: loop and handlers", &["dispatch_any", "run_image", "observed", "scruple_vm::interp", "run_loop"]),
    ("interpreter: verifier and image", &["scruple_bytecode"]),
    ("interpreter: heap", &["scruple_vm::heap", "heap::Heap"]),
    ("interpreter: machine", &["scruple_vm", "vm::Vm"]),
    ("standard library", &["core::", "str as ", "panic"]),
];

/// Bytes of each part, largest first; they add up to `total`.
#[derive(Clone, Debug)]
pub struct Parts {
    /// Name and bytes.
    pub parts: Vec<(String, u64)>,
    /// Bytes of flash that the program takes.
    pub total: u64,
}

impl Parts {
    /// Reads a program's symbols and sections.
    pub fn of(elf: &Path) -> Result<Parts> {
        let sections = text(Command::new("arm-none-eabi-size").arg("-A").arg(elf))?;
        let in_flash = [".vector_table", ".text", ".rodata", ".data"];
        let total = sections.lines().filter_map(|line| {
            let mut words = line.split_whitespace();
            let name = words.next()?;
            let bytes: u64 = words.next()?.parse().ok()?;
            in_flash.contains(&name).then_some(bytes)
        });
        let total: u64 = total.sum();
        let mut parts: BTreeMap<&str, u64> = BTreeMap::new();
        // Two names of one place are one symbol.
        let symbols = text(Command::new("arm-none-eabi-nm").args(["-S", "-C"]).arg(elf))?;
        let mut seen = std::collections::BTreeSet::new();
        for line in symbols.lines() {
            let words: Vec<&str> = line.splitn(4, ' ').collect();
            let &[address, bytes, kind, name] = words.as_slice() else { continue };
            if !matches!(kind, "t" | "T" | "r" | "R" | "d" | "D" | "w" | "W" | "v" | "V") || !seen.insert(address.to_owned()) {
                continue;
            }
            *parts.entry(part_of(name)).or_default() += u64::from_str_radix(bytes, 16)?;
        }
        let named: u64 = parts.values().sum();
        ensure!(named <= total, "symbols of {named} bytes in a program of {total}");
        parts.insert("without a name: literals, texts, padding", total - named);
        let mut parts: Vec<(String, u64)> =
            parts.into_iter().map(|(name, bytes)| (name.to_owned(), bytes)).collect();
        parts.sort_by_key(|&(_, bytes)| std::cmp::Reverse(bytes));
        Ok(Parts { parts, total })
    }
}

fn part_of(symbol: &str) -> &'static str {
    // What a function is generic over says nothing about what it is for.
    let name = symbol.replace("scruple_board::station::Station", "");
    let fits = |words: &[&str]| words.iter().any(|word| name.contains(word));
    RULES.iter().find(|(_, words)| fits(words)).map_or("others", |(part, _)| part)
}

fn text(command: &mut Command) -> Result<String> {
    let output = command.output().context("the package binutils-arm-none-eabi is missing")?;
    Ok(String::from_utf8_lossy(&output.stdout).into_owned())
}
