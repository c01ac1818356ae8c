//! `step` told by lines: what each word does, what is refused, and where runs end.

mod common;

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use common::{Outcome, folder, root, scruple_in};

/// Runs `step` in a folder and tells it these lines.
fn step_in(folder: &Path, args: &[&str], told: &str) -> Outcome {
    let mut command = Command::new(env!("CARGO_BIN_EXE_scruple"));
    command.current_dir(folder).arg("step").args(args).env_remove("NO_COLOR");
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().expect("the command line starts");
    let mut input = child.stdin.take().expect("a stream");
    // What is not read any more, because it has ended, is no fault.
    let _ = input.write_all(told.as_bytes());
    drop(input);
    let output = child.wait_with_output().expect("it ends");
    Outcome {
        code: output.status.code().expect("it ends by itself"),
        out: String::from_utf8(output.stdout).expect("it writes UTF-8"),
        err: String::from_utf8(output.stderr).expect("it writes UTF-8"),
    }
}

/// The same of a script of this text; it has to end well.
fn step(name: &str, text: &str, args: &[&str], told: &str) -> Outcome {
    let folder = folder(name, &[("a.js", text.as_bytes())]);
    let outcome = step_in(&folder, &[&["a.js"], args].concat(), told);
    assert_eq!(outcome.code, 0, "{}{}", outcome.out, outcome.err);
    outcome
}

/// The lines that say where a run is, shortened to the number, the function's name and the
/// line; and what ended it.
fn places(outcome: &Outcome) -> Vec<String> {
    let place = |line: &str| -> Option<String> {
        if let Some(end) = line.strip_prefix("ended: ") {
            return Some(format!("ended: {end}"));
        }
        let rest = line.strip_prefix("instruction ")?;
        let (number, rest) = rest.split_once(" in function ")?;
        let (function, rest) = rest.split_once(", line ")?;
        let (_, name) = function.split_once(' ')?;
        let (line, _) = rest.split_once(' ')?;
        Some(format!("{number} {name} {line}"))
    };
    outcome.out.lines().filter_map(place).collect()
}

/// Without their numbers, which hang on the encoding.
fn lines_met(outcome: &Outcome) -> Vec<String> {
    let short = |place: String| match place.split_once(' ') {
        Some((_, rest)) if !place.starts_with("ended") => rest.to_owned(),
        _ => "ended".to_owned(),
    };
    places(outcome).into_iter().map(short).collect()
}

const CALLS: &str = "\
function inner(x) {
  const y = x + 1;
  return y;
}
function outer(x) {
  const a = inner(x);
  const b = inner(a);
  return a + b;
}
const r = outer(1);
console.log(r);
";

#[test]
fn every_word_goes_where_help_says() {
    // From the first line of `outer`, under every encoding.
    for encoding in scruple_bytecode::Encoding::ALL {
        let met = |told: &str| {
            let told = format!("break 6\nrun\n{told}");
            let outcome = step("step-words", CALLS, &["--encoding", encoding.name()], &told);
            // There may be more of it than there is to go.
            let over = |line: &str| {
                line.ends_with("the run is over: there is only the way back")
                    || line.contains("the run is over: its last instruction is")
            };
            assert!(outcome.err.lines().all(over), "{}", outcome.err);
            lines_met(&outcome)[1..].to_vec()
        };
        assert_eq!(met("line\n"), ["outer 6", "inner 2"], "{}", encoding.name());
        assert_eq!(met("line\nline\n"), ["outer 6", "inner 2", "inner 3"]);
        assert_eq!(met("line\nline\nline\n"), ["outer 6", "inner 2", "inner 3", "outer 6"]);
        assert_eq!(met("line over\n"), ["outer 6", "outer 7"]);
        assert_eq!(met("line over\nline over\n"), ["outer 6", "outer 7", "outer 8"]);
        assert_eq!(met("line\nout\n"), ["outer 6", "inner 2", "outer 6"]);
        assert_eq!(met("out\n"), ["outer 6", "(script) 10"]);
        assert_eq!(met("run\n"), ["outer 6", "ended"]);
        // Over each instruction of `outer`, never in `inner`.
        let over = met(&"over\n".repeat(30));
        assert!(over.contains(&"outer 8".to_owned()) && over.contains(&"ended".to_owned()));
        assert!(!over.iter().any(|place| place.starts_with("inner")), "{over:?}");
        let steps = met(&"step\n".repeat(30));
        assert!(steps.iter().any(|place| place.starts_with("inner")), "{steps:?}");
    }
}

#[test]
fn numbers_lead_on_and_back() {
    let told = "step 4\nto 9\nback\nback 3\nto 9\nback 100\nstep 2\nstart\n";
    let outcome = step("step-numbers", CALLS, &[], told);
    let numbers: Vec<String> = places(&outcome)
        .into_iter()
        .filter_map(|place| place.split(' ').next().map(str::to_owned))
        .collect();
    assert_eq!(numbers, ["1", "5", "9", "8", "5", "9", "1", "3", "1"]);
    assert_eq!(outcome.err, "");
}

#[test]
fn breakpoints_are_set_shown_met_each_time_and_removed() {
    let told = "break inner\nbreak 8\nbreak\nrun\nrun\nrun\nremove inner\nbreak\nstart\nrun\n\
                remove all\nstart\nrun\n";
    let outcome = step("step-breakpoints", CALLS, &[], told);
    assert_eq!(outcome.err, "");
    let wanted = [
        "(script) 1",
        "inner 2",
        "inner 2",
        "outer 8",
        "(script) 1",
        "outer 8",
        "(script) 1",
        "ended",
    ];
    assert_eq!(lines_met(&outcome), wanted);
    let shown: Vec<&str> =
        outcome.out.lines().filter(|line| line.starts_with("breakpoint: ")).collect();
    assert!(shown[2].starts_with("breakpoint: function inner, at "), "{shown:?}");
    assert!(shown[3].starts_with("breakpoint: line 8, at "), "{shown:?}");
    assert!(shown.contains(&"breakpoint: function inner is removed"), "{shown:?}");
    // They pause whatever goes on, but not what goes to a number.
    let over = step("step-breakpoints", CALLS, &[], "break 2\nbreak 10\nrun\nover\nover\nover\n");
    assert!(lines_met(&over).contains(&"inner 2".to_owned()), "{}", over.out);
    let to = step("step-breakpoints", CALLS, &[], "break inner\nto 1000\n");
    assert_eq!(lines_met(&to), ["(script) 1", "ended"]);
}

/// A function is come to by a call: by each, a built-in's too, and not by a loop that begins
/// where the function does.
#[test]
fn a_breakpoint_at_a_function_is_met_once_a_call() {
    let text = "\
function spin(n) {
  do { n--; } while (n > 0);
}
spin(3);
[2, 1].forEach(spin);
function deep(n) {
  return n > 0 ? deep(n - 1) + 1 : 0;
}
deep(3);
";
    for encoding in ["word", "implied", "composite", "echo"] {
        let met = |name: &str| {
            let told = format!("break {name}\n{}", "run\n".repeat(12));
            let outcome = step("step-each-call", text, &["--encoding", encoding], &told);
            lines_met(&outcome).iter().filter(|place| place.starts_with(name)).count()
        };
        assert_eq!((met("spin"), met("deep")), (3, 4), "{encoding}");
    }
    // The loop does begin there.
    let outcome = step("step-each-call", text, &[], "break spin\nrun\ncode 8\n");
    assert!(outcome.out.contains("> 0000 "), "{}", outcome.out);
    let loops = outcome.out.lines().any(|line| line.contains("branch_") && line.contains(" 0000"));
    assert!(loops, "{}", outcome.out);
}

#[test]
fn a_breakpoint_that_nothing_comes_to_is_refused() {
    let told = "break 999\nbreak 4\nbreak none\nbreak inner\nbreak inner\nremove 3\nbreak 0\nrun\n";
    let outcome = step("step-no-breakpoint", CALLS, &[], told);
    let wanted = "\
scruple: command line 1: line 999 has no instructions, nor is there a line behind it
scruple: command line 2: line 4 has no instructions: the next is line 6
scruple: command line 3: there is no function none
scruple: command line 5: there is a breakpoint at function inner already
scruple: command line 6: there is no breakpoint at line 3
scruple: command line 7: lines are numbered from 1
";
    assert_eq!(outcome.err, wanted);
    assert_eq!(lines_met(&outcome), ["(script) 1", "inner 2"]);
}

#[test]
fn what_is_no_word_is_refused_and_nothing_is_lost() {
    let told = "step 3\nstpe\nstep x\nstep 0\nto\nline into\nback 2 3\n\n  \nstep\nquit\nstep\n";
    let outcome = step("step-unknown", CALLS, &[], told);
    let wanted = "\
scruple: command line 2: no command \"stpe\": help tells the words
scruple: command line 3: step needs a whole number from 1, not \"x\": help tells the words
scruple: command line 4: step needs a whole number from 1, not \"0\": help tells the words
scruple: command line 5: not so: it is to N
scruple: command line 6: not so: it is line, or line over
scruple: command line 7: not so: it is back [N]
";
    assert_eq!(outcome.err, wanted);
    let numbers: Vec<String> = places(&outcome).iter().map(|place| place[..1].to_owned()).collect();
    assert_eq!(numbers, ["1", "4", "5"]);
    // A line that is no text is one that is not known.
    let folder = folder("step-bytes", &[("a.js", CALLS.as_bytes())]);
    let mut command = Command::new(env!("CARGO_BIN_EXE_scruple"));
    command.current_dir(&folder).args(["step", "a.js"]);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    child.stdin.take().unwrap().write_all(b"\xff\xfe\0\nstep\n").unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&output.stderr).contains("command line 1: no command"));
    assert!(String::from_utf8_lossy(&output.stdout).contains("instruction 2 in"));
}

/// Each word that `help` tells is one.
#[test]
fn help_tells_words_that_are_there() {
    let outcome = step("step-help", CALLS, &[], "help\n");
    let words: Vec<String> = outcome
        .out
        .lines()
        .filter(|line| line.len() > 18 && line.as_bytes()[17] == b' ' && !line.contains(':'))
        .map(|line| line[..18].trim_end())
        .filter(|usage| usage.starts_with(|ch: char| ch.is_ascii_lowercase()))
        .map(|usage| {
            usage
                .replace("break function N", "break function 0")
                .replace("LINE|NAME", "all")
                .replace("LINE", "6")
                .replace("NAME", "inner")
                .replace(['[', ']'], "")
                .replace('N', "2")
        })
        .collect();
    assert!(words.len() > 18, "{words:?}");
    for word in words {
        let told = format!("step 6\n{word}\n");
        let outcome = step("step-help", CALLS, &[], &told);
        assert_eq!(outcome.err, "", "{word}");
    }
}

#[test]
fn a_run_that_fails_says_where_and_one_can_go_back_from_there() {
    let text = "function f(x) {\n  return x.y.z;\n}\nconsole.log('before');\nf({});\n";
    let outcome = step("step-throws", text, &[], "run\nback\nslots\nrun\nrun\n");
    let said: Vec<&str> =
        outcome.out.lines().filter(|line| line.starts_with("ended: a.js:2:")).collect();
    assert_eq!(said.len(), 2, "{}", outcome.out);
    assert!(said[0].contains("uncaught exception: TypeError"), "{}", said[0]);
    assert!(outcome.out.contains("did: ") && outcome.out.contains("(throws) TypeError"));
    assert_eq!(lines_met(&outcome), ["(script) 1", "ended", "f 2", "ended"]);
    assert!(outcome.out.contains("slot 0, a parameter: (object)\n"), "{}", outcome.out);
    let over = "the run is over: there is only the way back";
    assert_eq!(outcome.err, format!("scruple: command line 5: {over}\n"));
}

#[test]
fn a_run_that_is_stopped_says_why_and_one_can_go_back_from_there() {
    let endless = "let n = 0;\nwhile (true) {\n  n++;\n}\n";
    let list = "const l = [];\nwhile (true) {\n  l.push({ a: 1 });\n}\n";
    let deep = "function f(n) {\n  return f(n + 1) + 1;\n}\nf(0);\n";
    for (text, args, why) in [
        (endless, ["--budget", "1000"], "operation budget spent"),
        (list, ["--heap", "3000"], "heap limit reached"),
        (deep, ["--stack", "2000"], "stack limit reached"),
    ] {
        for encoding in ["implied", "composite", "echo"] {
            let args = [&args[..], &["--encoding", encoding]].concat();
            let outcome = step("step-stops", text, &args, "run\nback\nback\nstep\nstep\n");
            let places = places(&outcome);
            assert_eq!(places.len(), 6, "{}{}", outcome.out, outcome.err);
            assert!(places[1].starts_with("ended: a.js:") && places[1].contains(why), "{places:?}");
            assert_eq!(places[1], places[5], "{encoding}");
            assert_eq!(places[2], places[4], "{encoding}");
        }
    }
}

#[test]
fn a_run_that_never_began_says_so() {
    let outcome = step("step-no-room", CALLS, &["--heap", "8"], "step\nback\nstart\nrun\n");
    assert!(outcome.out.starts_with("ended: a.js"), "{}", outcome.out);
    let none = "no instruction was carried out";
    let wanted: String = [none, none, none, "the run is over: there is only the way back"]
        .iter()
        .zip(1..)
        .map(|(reason, line)| format!("scruple: command line {line}: {reason}\n"))
        .collect();
    assert_eq!(outcome.err, wanted);
}

#[test]
fn a_script_that_does_not_compile_is_refused_as_elsewhere() {
    let folder = folder("step-refused", &[("a.js", b"let = 5;\n"), ("b.img", b"scrpx")]);
    let outcome = step_in(&folder, &["a.js"], "step\n");
    let run = scruple_in(&folder, &["run", "a.js"]);
    assert_eq!((outcome.code, &outcome.err), (1, &run.err));
    assert_eq!(outcome.out, "");
    let none = step_in(&folder, &["none.js"], "");
    assert_eq!(none.code, 1);
    let stream = step_in(&folder, &["-"], "step\n");
    assert_eq!(stream.code, 2);
    assert!(stream.err.contains("standard input is for commands"), "{}", stream.err);
}

#[test]
fn an_image_is_stepped_through_without_its_source() {
    let folder = folder("step-image", &[("a.js", CALLS.as_bytes())]);
    let pack = |args: &[&str]| {
        let args = [&["pack", "a.js", "-o", "a.img"], args].concat();
        assert_eq!(scruple_in(&folder, &args).code, 0);
    };
    pack(&[]);
    let outcome = step_in(&folder, &["a.img"], "break 3\nbreak 7\nrun\nsource\n");
    let wanted = "scruple: command line 1: line 3 is not in the image's line table, which has what \
                  can fail: the next is line 6\n";
    assert_eq!((outcome.code, outcome.err.as_str()), (0, wanted));
    assert_eq!(lines_met(&outcome), ["(script) 1", "outer 7"]);
    assert!(outcome.out.contains("source: not at hand"), "{}", outcome.out);
    pack(&["--strip"]);
    let outcome = step_in(&folder, &["a.img"], "line\nbreak 3\nbreak inner\nrun\nout\n");
    assert_eq!(outcome.code, 0);
    let wanted = "scruple: command line 1: the image has no line table: go by instruction\n\
                  scruple: command line 2: the image has no line table: break at a function\n";
    assert_eq!(outcome.err, wanted);
    assert!(outcome.out.contains("in function 0 inner\n"), "{}", outcome.out);
}

#[test]
fn output_is_told_where_it_is_printed_and_cannot_move_a_cursor() {
    let text = "console.log('one');\nconsole.log('\\x1b[2Jtwo\\u202e');\n";
    let outcome = step("step-output", text, &[], "line\nline\nrun\nstart\noutput\n");
    let told: Vec<&str> =
        outcome.out.lines().filter(|line| line.starts_with("printed: ")).collect();
    assert_eq!(told, ["printed: one", "printed: \\u{1b}[2Jtwo\\u{202e}", "printed: nothing"]);
    assert!(!outcome.out.contains('\x1b'));
}

#[test]
fn operations_of_one_instruction_are_steps_of_their_own_if_asked_for() {
    let args = ["--encoding", "composite"];
    let outcome = step("step-operations", CALLS, &args, &"operation\n".repeat(200));
    let parts: Vec<&str> = outcome
        .out
        .lines()
        .filter(|line| line.starts_with("instruction ") && line.contains(", operation "))
        .collect();
    assert!(parts.len() > 5, "{}", outcome.out);
    // Back from within an instruction is its beginning.
    let first = parts[0].split([' ', ',']).nth(1).expect("a number");
    let n_before = outcome
        .out
        .lines()
        .filter(|line| line.starts_with("instruction "))
        .position(|line| line == parts[0])
        .expect("its place");
    let told = format!("{}back\n", "operation\n".repeat(n_before));
    let outcome = step("step-operations", CALLS, &args, &told);
    let last = places(&outcome).pop().expect("a place");
    assert!(last.starts_with(&format!("{first} ")), "{last} {first}");
}

#[test]
fn timers_and_sensors_are_those_of_a_run() {
    let args = ["samples/marrow-brook/gate_control.js"];
    let outcome = step_in(&root(), &args, "run\noutput\n");
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    let path = root().join("samples/marrow-brook/gate_control.out");
    let wanted = std::fs::read_to_string(path).expect("what it must print");
    let printed: Vec<&str> =
        outcome.out.lines().filter_map(|line| line.strip_prefix("printed: ")).collect();
    let half = printed.len() / 2;
    assert_eq!(printed[..half].to_vec(), wanted.lines().collect::<Vec<_>>());
    assert_eq!(printed[..half], printed[half..]);
}

#[test]
fn the_session_in_the_readme_is_what_comes() {
    let readme = std::fs::read_to_string(root().join("README.md")).expect("the README");
    let mut lines = readme.lines().skip_while(|line| !line.starts_with("    $ printf 'break "));
    let command = lines.next().expect("a session");
    let told = command.split('\'').nth(1).expect("what is told").replace("\\n", "\n");
    let shown: Vec<&str> = lines.map_while(|line| line.strip_prefix("    ")).collect();
    assert!(command.ends_with(&format!("| tail -n {}", shown.len())), "{command}");
    let outcome = step_in(&root(), &["samples/kernels/fib.js"], &told);
    let all: Vec<&str> = outcome.out.lines().collect();
    assert_eq!(all[all.len() - shown.len()..], shown);
}

#[test]
fn a_plain_session_looks_like_this() {
    let args = ["samples/kernels/fib.js", "--encoding", "composite"];
    let told = "break fib\nrun\nstep\noperation\ncalls\ncode 3\nsource 2\nback\n";
    let outcome = step_in(&root(), &args, told);
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    insta::assert_snapshot!(outcome.out);
}

#[test]
fn a_breakpoint_at_a_line_is_met_whatever_leads_there() {
    let cases = [
        ("function a() { return true; }\nif (a() ||\n    false) console.log(\"here\");\n", 3, 1),
        ("let n = 2;\nwhile (n) n--;\nn;\n", 2, 3),
        ("for (let i = 0;\n     i < 3;\n     i++) {\n  i;\n}\n", 3, 3),
        ("switch (1) {\n  case 1:\n    1;\n  case 2:\n    console.log(2);\n}\n", 5, 1),
        // What a call returns to is no coming.
        ("function f() {\n  return 1;\n}\nlet a; a =\n  f() + f();\na;\n", 5, 1),
        ("function f() {\n  return 1;\n}\n[1, 2].map(f);\n", 2, 2),
    ];
    for encoding in ["word", "implied", "composite", "echo"] {
        for (text, line, n_times) in cases {
            let told = format!("break {line}\n{}", "run\n".repeat(9));
            let outcome = step("step-lines-met", text, &["--encoding", encoding], &told);
            let met = format!("breakpoint: line {line}");
            let count = outcome.out.lines().filter(|told| *told == met).count();
            assert_eq!(count, n_times, "{encoding}: {text}{}", outcome.out);
        }
    }
}

/// Whatever a script throws, names or holds, its texts are of one line.
#[test]
fn no_text_of_a_script_is_taken_for_a_line_of_the_session() {
    let text = "const s = Symbol('a\\nnext: 9 forged');\n\
                function f(x) { throw new Error('b\\nnext: 9 forged\\u2028\\x1b[2J\\u200f'); }\nf(s);\n";
    let told = "break \x1b[2J\nrun\nback\nslots\nglobals\nback\noperation\n";
    let outcome = step("step-forged", text, &[], told);
    let all = format!("{}{}", outcome.out, outcome.err);
    assert!(all.contains("forged"), "{all}");
    assert!(!all.lines().any(|line| line.starts_with("next: 9 forged")), "{all}");
    let is_raw = |ch: char| (ch.is_control() && ch != '\n') || "\u{2028}\u{200f}".contains(ch);
    assert!(!all.contains(is_raw), "{all:?}");
    let folder = folder("step-forged", &[("a.js", text.as_bytes())]);
    let traced = scruple_in(&folder, &["trace", "a.js"]);
    assert!(traced.out.contains("forged"), "{}", traced.out);
    assert!(!traced.out.contains(is_raw), "{:?}", traced.out);
    assert!(!traced.out.lines().any(|line| line.starts_with("next: 9")), "{}", traced.out);
}

#[test]
fn of_output_that_is_cut_it_is_said_how_much_came_before() {
    let text = "for (let i = 0; i < 20000; i++) console.log('line ' + i);\n";
    let outcome = step("step-cut", text, &[], "run\n");
    let mut told = outcome.out.lines().skip_while(|line| !line.starts_with("printed"));
    let before = told.next().and_then(|line| line.strip_prefix("printed before: ")).expect("cut");
    let before: usize = before.trim_end_matches(" bytes").parse().expect("bytes");
    let rest: Vec<&str> = told.map_while(|line| line.strip_prefix("printed: ")).collect();
    let whole: String = (0..20000).map(|i| format!("line {i}\n")).collect();
    assert_eq!(whole[before..], rest.iter().map(|line| format!("{line}\n")).collect::<String>());
    assert!(before > 0 && whole.as_bytes()[before - 1] == b'\n');
}

#[test]
fn functions_are_called_by_any_name_that_is_shown_and_by_number() {
    let text = "const o = { get x() {\n  return 1;\n}, 'a b'() {\n  return 2;\n} };\n\
                o.x;\no['a b']();\nsetTimeout(function tick() {\n  o.x;\n}, 5);\n";
    let outcome = step("step-names", text, &[], "break get x\nrun\nremove get x\nrun\n");
    assert_eq!(lines_met(&outcome), ["(script) 1", "get x 2", "ended"], "{}", outcome.err);
    let outcome = step("step-names", text, &[], "break function 1\nbreak function 77\nrun\n");
    let met = outcome.out.lines().any(|line| line.contains(" in function 1 "));
    assert!(met && outcome.err.ends_with("there is no function 77\n"), "{}", outcome.err);
    let outcome = step("step-names", text, &[], "break tick\nrun\ncalls\n");
    let by = outcome
        .out
        .lines()
        .any(|line| line.starts_with("call: ") && line.ends_with(", by a timer"));
    assert!(by, "{}", outcome.out);
}

#[test]
fn a_line_of_megabytes_is_not_written_back_whole() {
    let outcome = step("step-long", CALLS, &[], &"x".repeat(3_000_000));
    assert!(outcome.err.contains("no command") && outcome.err.len() < 1000);
}

/// The usual line table has what can fail: the first instruction of a handler cannot, and is
/// not of the line that stands before it in the table.
#[test]
fn without_every_place_a_handler_is_of_no_line_of_what_it_guards() {
    let text = b"try {\n  null.x;\n  console.log(1);\n} catch (e) {\n  console.log(2);\n}\n";
    let folder = folder("step-handler", &[("a.js", text)]);
    let page = scruple_in(&folder, &["trace", "--format", "html", "a.js"]).out;
    let of = |line: u32| page.matches(&format!("data-line=\"line-{line}\"")).count();
    // Rows of the listing have it too.
    assert!(page.contains("data-line=\"line-5\""));
    let steps: Vec<&str> = page.split("<tr ").filter(|row| row.contains("id=\"step-")).collect();
    assert!(steps.len() > 5 && of(2) > 0, "{}", steps.len());
    assert!(!steps.iter().any(|row| row.contains("data-line=\"line-3\"")), "{steps:?}");
    assert_eq!(scruple_in(&folder, &["pack", "a.js", "-o", "a.img"]).code, 0);
    let outcome = step_in(&folder, &["a.img"], &"step\n".repeat(12));
    assert!(outcome.out.contains(", line 5 "), "{}{}", outcome.out, outcome.err);
    assert!(!outcome.out.contains(", line 3 "), "{}", outcome.out);
}
