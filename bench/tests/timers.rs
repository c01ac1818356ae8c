//! Timers, the virtual clock and the sensors, as scripts see them.

mod common;

use common::{folder, run_text, scruple_in};

fn prints(name: &str, text: &str, args: &[&str], expected: &str) {
    let outcome = run_text(name, text, args);
    assert_eq!(outcome.out, expected, "{}", outcome.err);
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
}

#[test]
fn callbacks_run_by_time_and_then_by_creation() {
    prints(
        "order",
        "const note = (a, b, c) => console.log(clock(), a, b, c);
         setTimeout(note, 20, 'c', 1);
         setTimeout(note, 10, 'a');
         setTimeout(note, 10, 'b', 2, 3);
         setTimeout(note, -5, 'negative');
         setTimeout(note, NaN, 'no number');
         setTimeout(note);
         note('script');",
        &[],
        "0 script undefined undefined\n0 negative undefined undefined\n\
         0 no number undefined undefined\n0 undefined undefined undefined\n\
         10 a undefined undefined\n10 b 2 3\n20 c 1 undefined\n",
    );
}

#[test]
fn an_interval_repeats_until_it_is_cleared_even_by_itself() {
    prints(
        "interval",
        "let n = 0;
         const timer = setInterval(() => {
           n++;
           console.log(clock(), n);
           if (n === 3) { clearInterval(timer); }
         }, 50);",
        &[],
        "50 1\n100 2\n150 3\n",
    );
}

#[test]
fn an_endless_interval_ends_with_the_time_and_what_is_due_then_runs() {
    let text = "let n = 0; setInterval(() => { n++; }, 10); setTimeout(() => console.log(n), 40);";
    // The interval was created first, so at 40 it goes first, each time round.
    prints("until", text, &["--until", "40"], "4\n");
    prints("until-before", text, &["--until", "39"], "");
    // An interval of 0 counts as one of 1 ms; without --until a day goes by.
    prints(
        "until-zero",
        "let n = 0; setInterval(() => { n++; }, 0); setTimeout(() => console.log(n), 1000);",
        &["--until", "1000"],
        "1000\n",
    );
    prints(
        "until-day",
        "let n = 0; setInterval(() => { n++; if (n === 24) { console.log(clock()); } }, 3600000);",
        &[],
        "86400000\n",
    );
}

#[test]
fn cleared_timers_do_not_run_and_odd_numbers_are_let_pass() {
    prints(
        "clear",
        "const timer = setTimeout(() => console.log('never'), 5);
         clearTimeout(timer);
         clearTimeout(timer);
         clearTimeout(undefined);
         clearTimeout(-1);
         clearTimeout(1e300);
         clearInterval('x');
         setTimeout(() => console.log('later'), 6);",
        &[],
        "later\n",
    );
}

#[test]
fn callbacks_and_arguments_outlive_collections() {
    prints(
        "retained",
        "function make(i) { return () => 'closure ' + i; }
         for (let i = 0; i < 30; i++) {
           setTimeout((f, object) => console.log(f(), object.text), i, make(i), { text: 'n' + i });
         }
         let waste = [];
         for (let i = 0; i < 2000; i++) { waste = [i, waste.length, { i: i }]; }",
        &["--heap", "8000"],
        &(0..30).map(|i| format!("closure {i} n{i}\n")).collect::<String>(),
    );
}

#[test]
fn a_timer_that_cannot_call_throws_where_it_is_set() {
    let outcome = run_text("not-callable", "let a = 1;\nsetTimeout(5, 10);\n", &[]);
    assert_eq!(outcome.code, 1);
    let first = "script.js:2:1: uncaught exception: TypeError: a timer needs a function to call\n";
    assert!(outcome.err.starts_with(first), "{}", outcome.err);
    prints(
        "not-callable-caught",
        "try { setInterval('code', 10); } catch (error) { console.log(error.name); }",
        &[],
        "TypeError\n",
    );
}

#[test]
fn an_exception_in_a_callback_ends_the_run() {
    let text = "setTimeout(() => { throw new Error('late'); }, 5);\nsetTimeout(() => console.log('never'), 6);\n";
    let outcome = run_text("late", text, &[]);
    assert_eq!((outcome.code, outcome.out.as_str()), (1, ""));
    assert!(outcome.err.contains("uncaught exception: Error: late"), "{}", outcome.err);
}

#[test]
fn sensors_read_the_last_row_that_is_not_later() {
    let script = "// scruple: --until 100 --feed level.csv
        const note = () => console.log(clock(), sensor('level'), sensor('wind'), sensor('none'));
        note();
        setInterval(note, 10);";
    let files: &[(&str, &[u8])] = &[
        ("script.js", script.as_bytes()),
        ("level.csv", b"time_ms,level,wind\n10,5,1.5\n25,6,\n"),
        ("other.csv", b"time_ms,level\n0,-1\n"),
    ];
    let folder = folder("sensors", files);
    let outcome = scruple_in(&folder, &["run", "script.js", "--until", "30"]);
    assert_eq!(
        outcome.out,
        "0 undefined undefined undefined\n10 5 1.5 undefined\n20 5 1.5 undefined\n\
         30 6 undefined undefined\n"
    );
    let outcome = scruple_in(&folder, &["run", "script.js", "--until", "0", "--feed", "other.csv"]);
    assert_eq!(outcome.out, "0 -1 undefined undefined\n");
}

/// Past 2^53 ms a clock can no longer be told exactly: runs end there, and delays too.
#[test]
fn the_longest_delay_is_due_at_the_latest_end_of_a_run_and_no_later() {
    let text = "setInterval(() => console.log(clock()), 1e300);";
    prints("longest", text, &["--until", "9007199254740992"], "9007199254740992\n");
    prints("longest-before", text, &["--until", "9007199254740991"], "");
    assert_eq!(run_text("too-late", text, &["--until", "18446744073709551615"]).code, 2);
    // Whoever embeds the timers may ask for more, and the run ends all the same.
    let script = scruple_bench::script::Script::from_text("a.js", text, None);
    let built = scruple_bench::build::build(&script, scruple_bytecode::Encoding::Leb).unwrap();
    let mut limits = script.options.limits(1_000_000);
    limits.until = u64::MAX;
    let setup = scruple_bench::machine::Setup {
        image: &built.image,
        region: scruple_bench::options::REGION,
        feed: script.feed.clone(),
        limits,
        collect_every: usize::MAX,
        output: scruple_bench::station::Output::kept(),
        observer: scruple_vm::Counter::default(),
    };
    let run = scruple_bench::machine::count(scruple_bench::layout::HeapLayout::Narrow, setup);
    assert_eq!(run.end, Ok(()));
    let scruple_bench::station::Output::Kept(printed) = run.output else { panic!("no output") };
    assert_eq!(printed, "9007199254740992\n");
}

/// A built-in carries no operation out, and a call of one from a timer counts all the same.
#[test]
fn a_timer_that_calls_a_built_in_for_ever_is_stopped_by_the_budget() {
    let folder = folder("timer-native", &[("a.js", b"setInterval(isNaN, 0);")]);
    let outcome = scruple_in(&folder, &["run", "a.js", "--budget", "1000"]);
    assert_eq!(outcome.code, 1, "{}{}", outcome.out, outcome.err);
    assert!(outcome.err.contains("budget spent"), "{}", outcome.err);
}
