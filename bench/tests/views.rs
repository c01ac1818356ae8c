//! `listing` and `trace`: choosing functions and windows, and what values look
//! like.

mod common;

use common::{folder, scruple, scruple_in};

#[test]
fn a_listing_shows_one_function_by_name_or_number() {
    let by_name = scruple(&["listing", "samples/kernels/fib.js", "--function", "fibByLoop"]);
    let by_number = scruple(&["listing", "samples/kernels/fib.js", "--function", "1"]);
    assert_eq!((by_name.code, by_number.code), (0, 0));
    assert_eq!(by_name.out, by_number.out);
    assert!(by_name.out.starts_with("function 1 fibByLoop: "), "{}", by_name.out);
    let none = scruple(&["listing", "samples/kernels/fib.js", "--function", "fob"]);
    assert_eq!(none.code, 1);
    assert_eq!(
        none.err,
        "scruple: samples/kernels/fib.js: no function fob: there is fib, fibByLoop, firstNumbers, (script)\n"
    );
}

#[test]
fn a_listing_shows_the_source_line_of_each_instruction() {
    let text = "let a = 1;\r\nfunction f(x) {\r\n  const y = x;\r\n  return y.z;\r\n}\r\nconsole.log(a);\r\n";
    let folder = folder("listing-lines", &[("script.js", text.as_bytes())]);
    let outcome = scruple_in(&folder, &["listing", "script.js"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let lines: Vec<&str> =
        outcome.out.lines().filter(|line| line.starts_with("; ")).skip(1).collect();
    let wanted =
        ["; 2: function f(x) {", "; 4: return y.z;", "; 1: let a = 1;", "; 6: console.log(a);"];
    assert_eq!(lines, wanted);
}

#[test]
fn every_encoding_lists_the_same_instructions() {
    let mnemonics = |encoding| {
        let outcome = scruple(&["listing", "samples/kernels/md5.js", "--encoding", encoding]);
        assert_eq!(outcome.code, 0, "{}", outcome.err);
        let lines = outcome.out.lines().filter(|line| line.starts_with("  0"));
        lines.map(|line| line[21..].split(' ').next().unwrap_or("").to_owned()).collect::<Vec<_>>()
    };
    let leb = mnemonics("leb");
    assert!(leb.len() > 300 && leb.contains(&"make_array".to_owned()), "{leb:?}");
    assert_eq!(mnemonics("implied"), leb);
    assert_eq!(mnemonics("word"), leb);
    // A wide instruction may push the columns to the right, not more.
    assert_eq!(mnemonics("byte").len(), leb.len());
}

fn trace(name: &str, text: &str, args: &[&str]) -> common::Outcome {
    let folder = folder(name, &[("script.js", text.as_bytes())]);
    scruple_in(&folder, &[&["trace", "script.js"], args].concat())
}

#[test]
fn a_trace_shows_what_was_taken_and_left() {
    let text = "function twice(x) { return x + x; }\nlet s = twice('ab');\ns = 2 - 5;\n";
    let outcome = trace("trace", text, &[]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let has = |what: &str, effect: &str| {
        let mut lines = outcome.out.lines();
        assert!(
            lines.any(|line| line.contains(what) && line.ends_with(effect)),
            "{what} {effect}\n{}",
            outcome.out
        );
    };
    has("add", "( \"ab\" \"ab\" -- \"abab\" )");
    has("return_value", "( \"abab\" -- (returns) \"abab\" )");
    has("subtract", "( 2 5 -- -3 )");
    assert!(outcome.out.contains("(enters)") && outcome.out.contains("; in function 0 twice"));
    let numbers: Vec<u64> = outcome
        .out
        .lines()
        .filter(|line| !line.starts_with(';'))
        .map(|line| line.split_whitespace().next().and_then(|n| n.parse().ok()).unwrap())
        .collect();
    assert!(numbers.iter().zip(1..).all(|(&number, wanted)| number == wanted), "{numbers:?}");
}

#[test]
fn a_trace_shows_callbacks_within_the_call_that_made_them() {
    let text = "const list = [1, 2].map(function f(x) { return x * 10; });\n";
    let outcome = trace("trace-callback", text, &[]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let lines: Vec<&str> = outcome.out.lines().collect();
    let call = lines
        .iter()
        .position(|line| line.contains("call") && line.contains("(array of 2)"))
        .unwrap();
    assert!(lines[call].ends_with("-- (array of 2) )"), "{}", outcome.out);
    let inner = lines.iter().position(|line| line.contains("multiply")).unwrap();
    assert!(inner > call, "{}", outcome.out);
}

#[test]
fn a_window_is_what_was_asked_for() {
    let text = "let n = 0;\nfor (let i = 0; i < 1000; i++) { n += i; }\n";
    let outcome = trace("trace-window", text, &["--from", "500", "--count", "3"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let numbers: Vec<&str> =
        outcome.out.lines().skip(1).filter_map(|line| line.split_whitespace().next()).collect();
    assert_eq!(numbers, ["500", "501", "502"]);
    let beyond = trace("trace-beyond", "let a = 1;\n", &["--from", "500"]);
    assert_eq!(beyond.code, 1);
    assert!(beyond.err.contains("no such operation: the run took"), "{}", beyond.err);
}

#[test]
fn a_trace_up_to_an_exception_shows_it() {
    let text = "function f() { null.x; }\ntry { f(); } catch (error) { }\nf();\n";
    let outcome = trace("trace-throws", text, &["--function", "f"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.out.contains("(throws) TypeError"), "{}", outcome.out);
    assert!(outcome.err.starts_with("script.js:1:"), "{}", outcome.err);
    assert!(outcome.out.lines().skip(1).all(|line| !line.contains("(script)")));
}
