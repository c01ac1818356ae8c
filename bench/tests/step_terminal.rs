//! `step` on a terminal: keys typed at it and what it draws, through a pseudo-terminal that
//! CPython opens (`common/terminal.py`); and the terminal's modes behind it, whichever way it
//! ended.
#![cfg(unix)]

mod common;

use std::io::Write;
use std::process::{Command, Stdio};

use common::{folder, root};
use serde_json::{Value, json};

struct Seen {
    screens: Vec<String>,
    last: String,
    code: i64,
    styles: Vec<String>,
}

/// Runs the command line on a terminal of that size. However it ends, the terminal has to be
/// as it was.
fn on_terminal(arguments: &[&str], size: (u16, u16), environment: Value, steps: Value) -> Seen {
    let mut command = vec![env!("CARGO_BIN_EXE_scruple")];
    command.extend(arguments);
    let asked = json!({
        "command": command,
        "folder": root(),
        "size": [size.0, size.1],
        "environment": environment,
        "steps": steps,
    });
    let script = root().join("bench/tests/common/terminal.py");
    let mut python = Command::new("python3")
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3, which this test wants");
    python.stdin.take().unwrap().write_all(asked.to_string().as_bytes()).unwrap();
    let output = python.wait_with_output().unwrap();
    assert!(output.status.success(), "{arguments:?}: what it says is above");
    let seen: Value = serde_json::from_slice(&output.stdout).expect("what was seen");
    assert_eq!(seen["is_as_before"], true, "the modes of the terminal");
    assert_eq!(seen["is_other_screen"], false, "the other screen is left");
    assert_eq!(seen["has_cursor"], true, "the cursor is there");
    let texts = |value: &Value| -> Vec<String> {
        let values = value.as_array().expect("a list").iter();
        values.map(|text| text.as_str().expect("a text").to_owned()).collect()
    };
    Seen {
        screens: texts(&seen["screens"]),
        last: seen["last"].as_str().expect("a text").to_owned(),
        code: seen["code"].as_i64().expect("a code"),
        styles: texts(&seen["styles"]),
    }
}

const FIB: &str = "samples/kernels/fib.js";

#[test]
fn keys_go_on_and_back_and_the_screen_follows_its_size() {
    let steps = json!([
        { "until": "instruction 1 " },
        { "keys": "\x1b[C\r ", "until": "instruction 4 " },
        { "keys": "\x1b[D", "until": "instruction 3 " },
        { "keys": "\x7f", "until": "instruction 2 " },
        { "keys": ":break fib\r", "until": "function fib is set" },
        { "keys": "r", "until": "at the breakpoint: function fib" },
        { "resize": [120, 40], "until": "at the breakpoint" },
        { "resize": [20, 4], "until": "at the breakpoint:" },
        { "resize": [80, 24], "until": "at the breakpoint" },
        { "keys": "?", "until": "one instruction back" },
        { "keys": "\x1b", "until": "─ code ─" },
        { "keys": "q" },
    ]);
    let seen = on_terminal(&["step", FIB], (80, 24), json!({}), steps);
    assert_eq!(seen.code, 0);
    assert!(seen.screens[0].contains("─[source]─"), "{}", seen.screens[0]);
    assert_eq!(seen.screens[6].lines().count(), 40);
    assert_eq!(seen.screens[7].lines().count(), 4, "{}", seen.screens[7]);
    assert!(seen.screens[7].contains("─[source]"), "{}", seen.screens[7]);
    assert!(seen.screens[5].lines().any(|line| line.starts_with(">*")), "{}", seen.screens[5]);
}

#[test]
fn a_run_that_goes_on_can_be_paused() {
    let endless = folder("step-endless", &[("a.js", b"let n = 0;\nwhile (true) { n += 1; }\n")]);
    let path = endless.join("a.js");
    let steps = json!([
        { "until": "instruction 1 " },
        { "keys": "r", "until": "so far; Esc pauses" },
        { "keys": "\x1b", "until": "paused" },
        { "keys": "r", "until": "so far; Esc pauses" },
        { "keys": "\x03", "until": "paused" },
        { "keys": "\x03" },
    ]);
    let arguments = ["step", path.to_str().unwrap()];
    let seen = on_terminal(&arguments, (80, 24), json!({}), steps);
    assert_eq!(seen.code, 0);
}

#[test]
fn a_signal_that_ends_it_leaves_the_terminal_as_it_was() {
    for signal in [1, 2, 3, 15] {
        let steps = json!([{ "until": "instruction 1 " }, { "signal": signal }]);
        let seen = on_terminal(&["step", FIB], (80, 24), json!({}), steps);
        // As the signal ends any program.
        assert_eq!(seen.code, -signal);
    }
}

/// Signals 20 and 18 are SIGTSTP and SIGCONT on Linux.
#[test]
fn a_program_that_was_stopped_draws_again_when_it_goes_on() {
    let steps = json!([
        { "until": "instruction 1 " },
        { "signal": 20, "until_other_screen_is_left": true },
        { "signal": 18, "until": "instruction 1 " },
        { "keys": "\x1b[C", "until": "instruction 2 " },
        { "keys": "q" },
    ]);
    let seen = on_terminal(&["step", FIB], (80, 24), json!({}), steps);
    assert_eq!(seen.code, 0);
}

#[test]
fn an_uncaught_exception_stays_on_the_screen_and_there_is_a_way_back() {
    let text = b"function f(x) {\n  return x.y.z;\n}\nf({});\n";
    let path = folder("step-thrown", &[("a.js", text)]).join("a.js");
    let steps = json!([
        { "keys": "r", "until": "2:14: uncaught exception: TypeError" },
        { "keys": "\x1b[D", "until": "instruction 8 " },
        { "keys": "q" },
    ]);
    let seen = on_terminal(&["step", path.to_str().unwrap()], (80, 24), json!({}), steps);
    assert_eq!(seen.code, 0);
    assert!(seen.screens[1].contains("parameter 0: (object)"), "{}", seen.screens[1]);
}

/// ISO 6429 (SGR): 30 to 37 and 38 are colours of characters; 1 and 7, which are bold and
/// negative, are none.
#[test]
fn colours_are_left_out_where_they_are_not_wanted() {
    let coloured = |arguments: &[&str], environment: Value| {
        let steps = json!([{ "until": "instruction 1 " }, { "keys": "q" }]);
        let seen = on_terminal(arguments, (80, 24), environment, steps);
        assert_eq!(seen.code, 0);
        let is_colour = |style: &String| {
            style.parse().is_ok_and(|number: u8| (30..=38).contains(&number) || number > 89)
        };
        seen.styles.iter().any(is_colour)
    };
    assert!(coloured(&["step", FIB], json!({})));
    assert!(!coloured(&["step", FIB], json!({ "NO_COLOR": "1" })));
    assert!(!coloured(&["--color", "never", "step", FIB], json!({})));
    assert!(coloured(&["--color", "always", "step", FIB], json!({ "NO_COLOR": "1" })));
}

#[test]
fn lines_are_read_on_a_terminal_if_asked_for() {
    for (arguments, environment) in [
        (&["step", "--plain", FIB][..], json!({})),
        (&["step", FIB][..], json!({ "TERM": "dumb" })),
    ] {
        let steps = json!([
            { "until": "step>" },
            { "keys": "step 6\n", "until": "instruction 7 " },
            { "keys": "quit\n" },
        ]);
        let seen = on_terminal(arguments, (80, 24), environment, steps);
        assert_eq!(seen.code, 0);
        assert!(seen.styles.is_empty() && !seen.last.contains('─'), "{}", seen.last);
    }
}

#[test]
fn what_does_not_compile_is_said_where_it_can_be_read() {
    let path = folder("step-wrong", &[("a.js", b"let = 5;\n")]).join("a.js");
    let arguments = ["step", path.to_str().unwrap()];
    let seen = on_terminal(&arguments, (80, 24), json!({}), json!([]));
    assert_eq!(seen.code, 1);
    assert!(seen.last.contains("`let` is a reserved word"), "{}", seen.last);
}
