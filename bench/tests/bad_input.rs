//! Whatever it is given, the command line ends by itself, with an exit code and,
//! where something is wrong, a message that says what and where.

mod common;

use common::{folder, run_text, scruple, scruple_in};

/// Runs a script that must fail, and checks the first line of what it says.
fn fails(name: &str, text: &str, args: &[&str], first: &str) {
    let outcome = run_text(name, text, args);
    assert_eq!(outcome.code, 1, "{}", outcome.err);
    assert_eq!(outcome.err.lines().next(), Some(first), "{}", outcome.err);
}

#[test]
fn a_file_that_is_no_text_is_refused_with_the_offset() {
    let files: &[(&str, &[u8])] = &[
        ("binary.js", b"\x7fELF\x02\x01\x00\x00"),
        ("latin.js", b"let a = 'caf\xe9';\n"),
        ("cut.js", b"let a = '\xe2\x82"),
    ];
    let folder = folder("no-text", files);
    let said = |file| {
        let outcome = scruple_in(&folder, &["run", file]);
        assert_eq!((outcome.code, outcome.out.as_str()), (1, ""));
        outcome.err
    };
    assert_eq!(
        said("binary.js"),
        "scruple: binary.js: a binary file, no text: a zero byte at offset 6\n"
    );
    assert_eq!(said("latin.js"), "scruple: latin.js: not UTF-8: byte 0xe9 at offset 12\n");
    assert_eq!(said("cut.js"), "scruple: cut.js: not UTF-8: byte 0xe2 at offset 9\n");
}

#[test]
fn a_path_that_leads_to_no_script_is_refused() {
    let folder = folder("no-script", &[("notes.txt", b"nothing to run")]);
    for command in ["run", "weigh", "listing", "trace"] {
        let outcome = scruple_in(&folder, &[command, "missing.js"]);
        assert_eq!(outcome.code, 1);
        assert_eq!(outcome.err, "scruple: missing.js: no such file or folder\n");
    }
    let outcome = scruple_in(&folder, &["weigh", "."]);
    assert_eq!((outcome.code, outcome.out.as_str()), (1, ""));
    assert_eq!(outcome.err, "scruple: .: no script (*.js) in this folder\n");
    let outcome = scruple_in(&folder, &["run", "."]);
    assert_eq!(outcome.code, 1);
    assert_eq!(outcome.err, "scruple: .: a folder, where a file is wanted\n");
}

#[test]
fn an_empty_file_is_a_script_that_does_nothing() {
    let outcome = run_text("empty", "", &[]);
    assert_eq!((outcome.code, outcome.out.as_str(), outcome.err.as_str()), (0, "", ""));
}

#[test]
fn usage_errors_exit_with_2_and_help_with_0() {
    assert_eq!(scruple(&[]).code, 2);
    assert_eq!(scruple(&["run"]).code, 2);
    assert_eq!(scruple(&["weigh"]).code, 2);
    assert_eq!(scruple(&["run", "a.js", "--encoding", "morse"]).code, 2);
    assert_eq!(scruple(&["weigh", "a.js", "--format", "song"]).code, 2);
    assert_eq!(scruple(&["run", "a.js", "--heap", "520193"]).code, 2);
    assert_eq!(scruple(&["run", "a.js", "--until", "9007199254740993"]).code, 2);
    assert_eq!(scruple(&["trace", "a.js", "--from", "0"]).code, 2);
    // What does not go together is told before anything is read.
    for together in [
        "sweep none.js --shard 1/2",
        "compose none.js --for leb",
        "compose none.js --encoding leb",
        "compose none.js --first none.set",
        "compose none.js --no-run --goal instructions",
        "manual nope",
    ] {
        let args: Vec<&str> = together.split(' ').collect();
        let outcome = scruple(&args);
        assert_eq!((outcome.code, outcome.out.as_str()), (2, ""), "{together}");
        assert!(!outcome.err.is_empty(), "{together}");
    }
    assert_eq!(scruple(&["compose", "none.js", "--name", ""]).code, 2);
    for command in ["run", "weigh", "listing", "trace"] {
        let outcome = scruple(&[command, "--help"]);
        assert_eq!(outcome.code, 0);
        assert!(outcome.out.contains("Examples:"), "{}", outcome.out);
    }
}

#[test]
fn a_syntax_error_is_shown_with_its_line_underlined() {
    let outcome = run_text("unterminated", "let a = 1;\nlet s = \"abc;\n", &[]);
    assert_eq!(outcome.code, 1);
    let lines: Vec<&str> = outcome.err.lines().map(str::trim_end).collect();
    assert!(lines[0].starts_with("script.js:2:9: "), "{}", outcome.err);
    let shown = lines.iter().position(|line| line.ends_with("let s = \"abc;")).unwrap();
    assert_eq!(lines[shown].find('"'), lines[shown + 1].find('^'), "{}", outcome.err);
    assert!(outcome.err.contains("ECMA-262"), "{}", outcome.err);
}

#[test]
fn several_errors_are_shown_in_one_run_without_colour_when_piped() {
    let outcome = run_text("several", "let a = ;\nlet b = 1;\nlet c = ];\n", &[]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.contains("script.js:1:9: "), "{}", outcome.err);
    assert!(outcome.err.contains("script.js:3:9: "), "{}", outcome.err);
    assert!(!outcome.err.contains('\x1b'));
    let coloured = run_text("several-coloured", "let a = ;\n", &["--color", "always"]);
    assert!(coloured.err.contains('\x1b'), "{}", coloured.err);
}

#[test]
fn deep_nesting_is_refused_with_a_place() {
    for (name, text) in [
        ("parentheses", "(".repeat(100_000)),
        ("brackets", "[".repeat(100_000)),
        ("braces", "{".repeat(100_000)),
        ("functions", "function f(){".repeat(100_000)),
        ("negations", "!".repeat(100_000)),
    ] {
        let outcome = run_text(name, &text, &[]);
        assert_eq!(outcome.code, 1, "{name}: {}", outcome.err);
        assert!(outcome.err.starts_with("script.js:1:"), "{name}: {}", outcome.err);
        assert!(outcome.err.len() < 10_000, "{name}: {} bytes of error", outcome.err.len());
    }
}

#[test]
fn nesting_within_the_limit_compiles_and_runs() {
    let text = format!("console.log({}7{});", "(".repeat(900), ")".repeat(900));
    let outcome = run_text("nesting-within", &text, &[]);
    assert_eq!((outcome.code, outcome.out.as_str()), (0, "7\n"), "{}", outcome.err);
}

#[test]
fn a_line_of_ten_megabytes_is_answered_in_a_few_words() {
    let text = format!("let a = \"{}\";", "x".repeat(10_000_000));
    let outcome = run_text("long-line", &text, &[]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.starts_with("script.js:1:"), "{}", &outcome.err[..200]);
    assert!(outcome.err.len() < 1000);
    // Within the compiler's limit, but with an error in the middle of the line.
    let text = format!("{} = ; {}", "a; ".repeat(500_000), "a; ".repeat(500_000));
    let outcome = run_text("long-line-error", &text, &[]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.starts_with("script.js:1:1500002: "), "{}", outcome.err);
    assert!(outcome.err.len() < 1000);
}

#[test]
fn an_uncaught_exception_ends_the_run_with_its_place() {
    let text = "function check(x) {\n  throw new RangeError(\"bad \" + x);\n}\nconsole.log(\"before\");\ncheck(5);\n";
    let outcome = run_text("uncaught", text, &[]);
    assert_eq!((outcome.code, outcome.out.as_str()), (1, "before\n"));
    assert!(
        outcome.err.starts_with("script.js:2:9: uncaught exception: RangeError: bad 5\n"),
        "{}",
        outcome.err
    );
    assert!(outcome.err.contains("throw new RangeError"), "{}", outcome.err);
}

#[test]
fn what_would_not_end_is_stopped() {
    fails(
        "endless-recursion",
        "function f() {\n  return f();\n}\nf();\n",
        &[],
        "script.js:2:10: stack limit reached",
    );
    fails(
        "endless-string",
        "let s = 'ab';\nwhile (true) {\n  s = s + s;\n}\n",
        &[],
        "script.js:3:9: heap limit reached: no room for 262152 bytes",
    );
    let text = "let i = 0;\nwhile (true) {\n  i++;\n}\n";
    let endless = run_text("endless-loop", text, &["--budget", "100000"]);
    assert_eq!(endless.code, 1);
    let first = endless.err.lines().next().unwrap_or_default();
    assert!(first.starts_with("script.js:3:3: "), "{first}");
    assert!(first.ends_with("operation budget spent (100000 operations)"), "{first}");
    let one = run_text("endless-loop", text, &["--budget", "1"]);
    assert!(one.err.contains("budget spent (1 operation)"), "{}", one.err);
    fails(
        "endless-callbacks",
        "const o = { toString: function () { return '' + o; } };\n'' + o;\n",
        &[],
        "script.js:1:47: calls through built-ins nested too deep",
    );
}

#[test]
fn limits_of_heap_and_stack_are_kept() {
    let grow = "const list = [];\nfor (let i = 0; i < 5000; i++) {\n  list.push(i);\n}\nconsole.log(list.length);\n";
    let outcome = run_text("heap-enough", grow, &["--heap", "60000"]);
    assert_eq!((outcome.code, outcome.out.as_str()), (0, "5000\n"), "{}", outcome.err);
    let outcome = run_text("heap-short", grow, &["--heap", "6000"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.starts_with("script.js:3:"), "{}", outcome.err);
    let deep = "function f(n) { return n === 0 ? 0 : 1 + f(n - 1); }\nconsole.log(f(200));\n";
    assert_eq!(run_text("stack-enough", deep, &["--stack", "20000"]).out, "200\n");
    let outcome = run_text("stack-short", deep, &["--stack", "2000"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.contains("stack limit reached"), "{}", outcome.err);
}

#[test]
fn a_feed_or_header_that_is_wrong_is_refused_with_its_line() {
    let files: &[(&str, &[u8])] = &[
        ("feed.js", b"// scruple: --feed bad.csv\n"),
        ("bad.csv", b"time_ms,level\n0,1\n5,high\n"),
        ("lost.js", b"// scruple: --feed lost.csv\n"),
        ("header.js", b"// a demo\n// scruple: --speed 5\n"),
    ];
    let folder = folder("wrong-feed", files);
    let said = |file| scruple_in(&folder, &["run", file]).err;
    assert_eq!(
        said("feed.js"),
        "scruple: feed.js: its feed bad.csv is wrong in line 3: \"high\" is no number\n"
    );
    assert_eq!(
        said("lost.js"),
        "scruple: lost.js: its feed lost.csv cannot be read: no such file or folder\n"
    );
    assert!(said("header.js").starts_with("scruple: header.js:2: no option --speed"));
}

#[test]
fn a_global_that_is_there_already_is_named_with_its_place() {
    let text = "// One that everyone has.\nlet a = 1;\nconst undefined = a;\n";
    fails("redeclared", text, &[], "script.js:3:7: global undefined is declared already");
    let text = "function f() {\n  return NaN;\n}\nlet NaN = f;\n";
    fails("redeclared-late", text, &[], "script.js:2:10: global NaN is declared already");
    let files: &[(&str, &[u8])] = &[("a.js", b"let undefined = 1;\n")];
    let folder = folder("redeclared-row", files);
    let row = scruple_in(&folder, &["weigh", "a.js", "--encoding", "composite"]).out;
    assert!(row.contains("error: 1:5: global undefined is declared already"), "{row}");
    assert_eq!(scruple_in(&folder, &["pack", "a.js", "-o", "a.img", "--strip"]).code, 0);
    let image = scruple_in(&folder, &["run", "a.img"]);
    assert_eq!(image.err, "a.img: global undefined is declared already\n");
}

#[test]
fn a_header_that_is_not_quite_one_is_refused_and_not_passed_over() {
    let files: &[(&str, &[u8])] = &[
        ("near.js", b"//scruple: --until=5\nsetTimeout(() => console.log('late'), 6);\n"),
        ("case.js", b"\n// Scruple: --until 5\n"),
        ("block.js", b"/* scruple: --until 5 */\n"),
        ("long.js", b"// scruple: --until 18446744073709551615\n"),
    ];
    let folder = folder("near-header", files);
    let near = scruple_in(&folder, &["run", "near.js"]);
    assert_eq!((near.code, near.out.as_str(), near.err.as_str()), (0, "", ""));
    let own = "options are asked for in a line of their own, // scruple:";
    for (file, said) in [
        ("case.js", format!("case.js:2: {own}")),
        ("block.js", format!("block.js:1: {own}")),
        ("long.js", "long.js:1: --until is 9007199254740992 at the latest".to_owned()),
    ] {
        let outcome = scruple_in(&folder, &["run", file]);
        assert_eq!((outcome.code, outcome.err), (1, format!("scruple: {said}\n")));
    }
}

/// Every file that is missing is missing in the same words.
#[test]
fn a_missing_file_is_told_in_one_way() {
    let folder = folder("missing", &[("a.js", b"console.log(1);\n")]);
    for (args, file) in [
        (&["run", "none.js"][..], "none.js"),
        (&["run", "a.js", "--set", "none.set"], "none.set"),
        (&["weigh", "a.js", "--limits", "none.toml"], "none.toml"),
        (&["weigh", "a.js", "--baseline", "none.json"], "none.json"),
        (&["compare", "none.json", "none.json"], "none.json"),
        (&["merge", "none.json"], "none.json"),
        (&["fit", "a.js", "--board", "none.toml"], "none.toml"),
        (&["compose", "a.js", "--for", "context", "--first", "none.set"], "none.set"),
        (&["pack", "a.js", "-o", "none/a.img"], "none/a.img"),
    ] {
        let outcome = scruple_in(&folder, args);
        let said = format!("scruple: {file}: no such file or folder\n");
        assert_eq!((outcome.code, outcome.err), (1, said), "{args:?}");
    }
}

#[test]
fn help_tells_the_budget_of_a_run_that_asks_for_none() {
    let budget = scruple_bench::measure::BUDGET.to_string();
    for command in ["run", "weigh", "fit", "memory", "sweep", "compose", "trace", "step", "board"] {
        let help = scruple(&[command, "--help"]).out;
        let words: Vec<&str> = help.split_whitespace().collect();
        let said = format!("[default: {budget}; none for run, trace and step]");
        assert!(words.join(" ").contains(&said), "{command}: {help}");
    }
    assert!(scruple(&["pack", "--help"]).out.contains("run, weigh, fit, memory,"));
}
