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
    let said = "scruple: script.js: no such instruction: the run took 3 instructions\n";
    assert_eq!(beyond.err, said);
    assert_eq!(trace("trace-from-0", "let a = 1;\n", &["--from", "0"]).code, 2);
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

/// The numbers are those of `weigh` and `memory`: an instruction has one, however many
/// operations it is made of, and whatever is called back while it is under way.
#[test]
fn a_trace_numbers_instructions_and_shows_their_operations_as_parts() {
    let text = "let s = 0;
        for (let i = 0; i < 3; i++) { s += [1, 2, 3].map(x => x + i).length; }
        const o = { valueOf() { return s + 1; } };
        s = s + o * 2;
        try { s = [3, null].map(x => x.y + 1).length; } catch (error) { s = o + 1; }
        console.log(s);\n";
    for encoding in ["implied", "composite", "echo", "context"] {
        let with = ["--encoding", encoding, "--count", "10000"];
        let traced = trace("trace-parts", text, &with);
        assert_eq!((traced.code, traced.err.as_str()), (0, ""));
        let lines: Vec<&str> = traced.out.lines().filter(|line| !line.starts_with(';')).collect();
        let first = |line: &str| line.split_whitespace().next().unwrap_or_default().to_owned();
        let (parts, numbers): (Vec<String>, Vec<String>) =
            lines.iter().map(|line| first(line)).partition(|first| first == "+");
        let wanted: Vec<String> = (1..=numbers.len()).map(|number| number.to_string()).collect();
        assert_eq!(numbers, wanted, "{encoding}");
        assert_eq!(parts.is_empty(), encoding == "implied", "{encoding}");
        let folder = folder("trace-parts-weighed", &[("script.js", text.as_bytes())]);
        let args = ["weigh", "script.js", "--format", "json", "--encoding", encoding];
        let weighed: scruple_bench::document::Document =
            serde_json::from_str(&scruple_in(&folder, &args).out).expect("a document");
        let figures = weighed.rows[0].figures.as_ref().expect("figures");
        assert_eq!(figures.instructions, numbers.len() as u64, "{encoding}");
        assert_eq!(figures.operations, lines.len() as u64, "{encoding}");
        // A window is of whole instructions.
        for from in 1..=numbers.len() - 2 {
            let from = from.to_string();
            let some = trace(
                "trace-parts",
                text,
                &[&with[..2], &["--from", &from, "--count", "2"]].concat(),
            );
            let at = lines.iter().position(|line| first(line) == from).expect("its line");
            let place = |line: &str| line.split("  (").next().unwrap_or_default().to_owned();
            let shown: Vec<String> =
                some.out.lines().filter(|line| !line.starts_with(';')).map(place).collect();
            let n_numbers = shown.iter().filter(|line| first(line) != "+").count();
            assert_eq!(n_numbers, 2, "{encoding} {from}");
            assert_eq!(shown[0], place(lines[at]), "{encoding} {from}");
        }
    }
}

#[test]
fn a_trace_tells_the_negative_zero() {
    let traced = trace("trace-zero", "let x = -0; x = x + x; x = x + 0;\n", &[]);
    assert_eq!(traced.code, 0, "{}", traced.err);
    for wanted in ["( -- -0 )", "( -0 -0 -- -0 )", "( -0 0 -- 0 )"] {
        assert!(traced.out.contains(wanted), "{wanted}: {}", traced.out);
    }
}

/// The bytes are one column, the operation the next, however long the instruction.
#[test]
fn a_space_stands_behind_the_bytes_of_a_long_instruction() {
    let text = "let a = 60000; function f(x) { return x === 90000 ? -300000 : a; }\n\
                try { f(a).b; } catch (error) { a = null; }\n";
    let folder = folder("listing-long", &[("script.js", text.as_bytes())]);
    let mut longest = 0;
    for encoding in scruple_bytecode::Encoding::ALL {
        let args = ["listing", "script.js", "--encoding", encoding.name()];
        let listing = scruple_in(&folder, &args).out;
        for line in listing.lines().filter(|line| line.starts_with("  0")) {
            let is_byte = |word: &&str| word.len() == 2 && u8::from_str_radix(word, 16).is_ok();
            let mut words = line.split_whitespace().skip(1).skip_while(is_byte);
            let name = words.next().unwrap_or_default();
            assert!(name.chars().all(|ch| ch.is_ascii_lowercase() || ch == '_'), "{line}");
            let n_bytes = line.split_whitespace().skip(1).take_while(is_byte).count();
            longest = longest.max(n_bytes);
        }
    }
    assert!(longest > 4, "no instruction is long enough");
}

#[test]
fn the_listing_of_an_image_has_lines_and_no_text_of_them() {
    let folder = folder("listing-image", &[("a.js", b"let a = 1;\n\nlet b = 2;\n")]);
    assert_eq!(scruple_in(&folder, &["pack", "a.js", "-o", "a.img"]).code, 0);
    let listing = scruple_in(&folder, &["listing", "a.img"]).out;
    let lines: Vec<&str> = listing.lines().filter(|line| line.starts_with("; ")).skip(1).collect();
    assert_eq!(lines, ["; line 1", "; line 3"], "{listing}");
}

/// What `memory` tells of a peak by the number of its instruction can be looked up.
#[test]
fn the_instruction_of_a_peak_is_found_in_the_trace_by_its_number() {
    let text = "let s = 0;
        for (let i = 0; i < 3; i++) { s += [1, 2, 3].map(x => x + i).length; }
        try { null.x; } catch (error) { s = 1; }\n";
    let folder = folder("trace-peak", &[("script.js", text.as_bytes())]);
    for encoding in ["implied", "composite", "echo", "context"] {
        let run = |args: &[&str]| {
            let outcome = scruple_in(&folder, &[args, &["--encoding", encoding]].concat());
            assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
            outcome.out
        };
        let memory = run(&["memory", "script.js", "--format", "json"]);
        let memory: scruple_bench::memory::document::Document =
            serde_json::from_str(&memory).expect("a document");
        let number = memory.peak.instructions.to_string();
        // The error is the last thing that is made, and nothing was freed before.
        let traced = run(&["trace", "script.js", "--from", &number, "--count", "1"]);
        assert!(traced.contains("read_field"), "{encoding}: {traced}");
        assert!(traced.contains("( null -- (throws) TypeError"), "{encoding}: {traced}");
    }
}
