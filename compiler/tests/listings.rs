//! The instructions of small functions, as the listing shows them. They pin
//! what the compiler makes of a construct; that it does what the construct
//! means is for the suites that run it.

use std::fmt::Write;

use insta::assert_snapshot;
use scruple_bytecode::operand::FunctionId;
use scruple_bytecode::{Encoding, Image, listing};
use scruple_compiler::{Options, compile};

/// The listing of all functions, without the script's own prologue. `byte` has
/// lengths that no choice of short forms moves; opcodes and the pictures of the
/// stack effects are the table's, and left out.
fn listed(source: &str) -> String {
    let options = Options { encoding: Encoding::Byte, ..Options::default() };
    let compiled = compile(source, &options).unwrap();
    let image = Image::open(&compiled.image).unwrap();
    let mut text = String::new();
    for index in 0..image.n_functions() {
        let id = FunctionId::new(index).unwrap();
        let is_declared_only = id == image.script() && source.starts_with("function");
        if !is_declared_only {
            listing::write_function(&mut text, &image, id, None).unwrap();
        }
    }
    let mut kept = String::new();
    for line in text.lines().filter(|line| !line.starts_with(';')) {
        let is_instruction = line.trim_start().starts_with(|ch: char| ch.is_ascii_hexdigit());
        if !line.starts_with("  ") || !is_instruction || line.starts_with("  free") {
            writeln!(kept, "{}", line.trim_end()).unwrap();
            continue;
        }
        let line = line.split(" (").next().unwrap_or(line);
        let mut words = line.split_whitespace();
        let address = words.next().unwrap_or_default();
        let is_byte =
            |word: &&str| word.len() == 2 && word.chars().all(|ch| ch.is_ascii_hexdigit());
        let shown: Vec<&str> = words.skip_while(is_byte).collect();
        writeln!(kept, "  {address:<6}{}", shown.join(" ")).unwrap();
    }
    kept
}

#[test]
fn a_loop_costs_one_branch_a_turn() {
    assert_snapshot!(listed("function f(n) { for (var i = 0; i < n; i++) g(i); }"));
    assert_snapshot!(listed("function f(a) { while (a.b && !a.c) { if (a.d) break; } }"));
}

#[test]
fn conditions_branch_to_where_they_lead_in_the_end() {
    assert_snapshot!(listed("function f(a, b, c) { if (a && (b || !c)) g(); return a || b; }"));
}

#[test]
fn a_switch_tests_first_and_holds_its_bodies_behind() {
    assert_snapshot!(listed(
        "function f(a) { switch (a) { case 1: return 'one'; default: return 'more' } }"
    ));
}

#[test]
fn a_finally_block_exists_once() {
    assert_snapshot!(listed(
        "function f(a) { for (const b of a) { try { if (b) return b; } finally { g(); } } }"
    ));
}

#[test]
fn captured_variables_are_boxed_and_others_are_not() {
    assert_snapshot!(listed(
        "function f(a, b) { let c = b; return function () { return a++ + c; }; }"
    ));
    assert_snapshot!(listed("function f(a) { for (let i = 0; i < 2; i++) a.push(() => i); }"));
}

#[test]
fn checks_stand_only_where_a_variable_may_be_uninitialised() {
    assert_snapshot!(listed("function f() { x; let x = 1; let y = x; return x + y; }"));
}

#[test]
fn a_dropped_value_takes_the_shorter_form() {
    assert_snapshot!(listed("function f(o, k) { o.a++; o[k] += 1; o.b = k = 2; return o.a++; }"));
}

#[test]
fn an_assignment_to_a_constant_fails() {
    assert_snapshot!(listed("function f() { const c = 1; c = 2; return () => { c++ } }"));
}

#[test]
fn literals_are_made_of_what_they_hold() {
    assert_snapshot!(listed(
        "x = { a: 1, 'b': -2.5, 3: [1, , 2], get d() { return this }, __proto__: y, [z]: `u${v}w` }"
    ));
}
