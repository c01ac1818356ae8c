//! Stepping as the library has it: what a pause shows does not hang on the way there, and
//! looking on changes nothing.
//!
//! What a stepped run is held against is a run that nobody steps through (`machine::count`)
//! and, for what each instruction did, `trace`, which has an observer of its own.

mod common;

use std::collections::{HashMap, HashSet, VecDeque};
use std::sync::{Arc, Mutex};

use common::{folder, root, scruple};
use scruple_bench::build;
use scruple_bench::layout::HeapLayout;
use scruple_bench::machine::{self, Setup};
use scruple_bench::options::{REGION, RunOptions};
use scruple_bench::script::Script;
use scruple_bench::station::Output;
use scruple_bench::step::breakpoints::{Breakpoints, Spot};
use scruple_bench::step::code::Code;
use scruple_bench::step::view::{MOST_CALLS, MOST_VALUES, View, Why};
use scruple_bench::step::{self, Command, Goal, Pause, Pilot, Program, text};
use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;
use scruple_vm::{Category, Counter};

/// A pilot that a function is.
struct By<F>(F);

impl<F: FnMut(&Pause, &mut Breakpoints) -> Command + Send> Pilot for By<F> {
    fn ask(&mut self, pause: &Pause, breakpoints: &mut Breakpoints) -> Command {
        (self.0)(pause, breakpoints)
    }
}

struct Stepped {
    program: Program,
    code: Arc<Code>,
}

impl Stepped {
    fn new(script: &Script, encoding: Encoding, layout: HeapLayout) -> Stepped {
        let built = build::build(script, encoding).expect("a script that compiles");
        let dense = build::with_every_place(script, &built, encoding).expect("every place");
        let dense = Image::open(&dense).expect("an image");
        let image = Image::open(&built.image).expect("an image");
        let code = Arc::new(Code::new(&image, Some(&dense)));
        let program = Program {
            feed: script.feed.clone(),
            limits: script.options.limits(1_000_000_000),
            layout,
            image: built.image,
        };
        Stepped { program, code }
    }

    fn of_text(text: &str, encoding: Encoding) -> Stepped {
        Stepped::new(&Script::from_text("a.js", text, None), encoding, HeapLayout::Narrow)
    }

    /// Every pause, as long as there are commands.
    fn pauses(
        &self,
        mut next: impl FnMut(&Pause, &mut Breakpoints) -> Command + Send + 'static,
    ) -> Vec<Pause> {
        let seen = Arc::new(Mutex::new(Vec::new()));
        let kept = Arc::clone(&seen);
        let pilot = By(move |pause: &Pause, breakpoints: &mut Breakpoints| {
            kept.lock().unwrap().push(pause.clone());
            next(pause, breakpoints)
        });
        build::on_large_stack(|| step::run(&self.program, &self.code, Box::new(pilot)))
            .expect("a thread");
        let seen = seen.lock().unwrap();
        seen.clone()
    }

    /// The pauses that these commands lead to, the one at the start first.
    fn led(&self, commands: &[Command]) -> Vec<Pause> {
        let mut commands = VecDeque::from(commands.to_vec());
        self.pauses(move |_, _| commands.pop_front().unwrap_or(Command::Quit))
    }
}

fn sample(name: &str) -> Script {
    Script::read(&root().join("samples").join(name), &RunOptions::default()).expect("a sample")
}

const STEP: Command = Command::Go(Goal::Operation);

/// Paused before each operation, a run has the counts, the output and the books of one that
/// nobody looks at.
#[test]
fn a_run_that_is_stepped_through_has_the_figures_of_one_that_is_not() {
    for name in ["marrow-brook/telemetry.js", "marrow-brook/tide_marks.js"] {
        let script = sample(name);
        for &encoding in Encoding::ALL {
            for &layout in HeapLayout::ALL {
                let stepped = Stepped::new(&script, encoding, layout);
                let run = machine::count(
                    layout,
                    Setup {
                        image: &stepped.program.image,
                        region: REGION,
                        feed: script.feed.clone(),
                        limits: stepped.program.limits,
                        collect_every: usize::MAX,
                        output: Output::kept(),
                        observer: Counter::default(),
                    },
                );
                let last = Arc::new(Mutex::new(None));
                let (kept, mut n_pauses) = (Arc::clone(&last), 0);
                let pilot = By(move |pause: &Pause, _: &mut Breakpoints| {
                    if !pause.view.is_over {
                        n_pauses += 1;
                        return STEP;
                    }
                    *kept.lock().unwrap() = Some((pause.clone(), n_pauses));
                    Command::Quit
                });
                build::on_large_stack(|| {
                    step::run(&stepped.program, &stepped.code, Box::new(pilot))
                })
                .expect("a thread");
                let (Pause { view, why }, n_pauses) = last.lock().unwrap().take().expect("an end");
                let what = format!("{name} {} {}", encoding.name(), layout.name());
                assert_eq!((&why, &run.end), (&Why::Ended, &Ok(())), "{what}");
                assert_eq!(n_pauses, run.operations, "{what}");
                assert_eq!(view.counts.instructions, run.instructions, "{what}");
                assert_eq!(view.counts.operations, run.operations, "{what}");
                let fetched = run.observer.fetched_bytes();
                assert_eq!(view.counts.fetched_bytes, fetched, "{what}");
                let Output::Kept(printed) = run.output else { panic!("no output") };
                assert_eq!(view.output, printed, "{what}");
                assert_eq!(Some(&printed), script.expected.as_ref(), "{what}");
                let ledger = &run.ledger;
                let memory = &view.memory;
                for (book, seen) in
                    [(ledger.now(), &memory.now), (ledger.high_water(), &memory.high_water)]
                {
                    assert_eq!(u64::from(book.total()), seen.total, "{what}");
                    assert_eq!(u64::from(book.bytes(Category::Objects)), seen.objects, "{what}");
                    assert_eq!(u64::from(book.bytes(Category::Strings)), seen.strings, "{what}");
                }
                let seen = (memory.allocations, memory.allocated_bytes, memory.collections);
                let counted = (ledger.allocations(), ledger.allocated(), ledger.collections());
                assert_eq!(seen, counted, "{what}");
                assert_eq!(memory.stack_peak, u64::from(ledger.stack_peak()), "{what}");
            }
        }
    }
}

/// A pseudo-random number below `n` (a linear congruential generator, common practice).
fn below(state: &mut u64, n: u64) -> u64 {
    *state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
    (*state >> 33) % n
}

#[test]
fn a_pause_that_was_come_to_going_back_is_the_one_that_was_come_to_going_on() {
    const SEEN: u64 = 600;
    let names = [
        "kernels/closures.js",
        "kernels/json_records.js",
        "marrow-brook/command_line.js",
        "marrow-brook/night_watch.js",
    ];
    for name in names {
        let script = sample(name);
        for encoding in [Encoding::Implied, Encoding::Composite, Encoding::Echo] {
            let stepped = Stepped::new(&script, encoding, HeapLayout::Narrow);
            let forward: Vec<Command> = (2..=SEEN).map(Command::To).collect();
            let forward = stepped.led(&forward);
            assert_eq!(forward.len() as u64, SEEN);
            let numbers: Vec<u64> = forward.iter().map(|pause| pause.view.number).collect();
            assert_eq!(numbers, (1..=SEEN).collect::<Vec<_>>(), "{name}");
            // From each the way to another one, on or back.
            let (mut state, mut at) = (7, 1);
            let mut wanted = vec![1];
            for _ in 0..60 {
                let next = 1 + below(&mut state, SEEN);
                wanted.extend((next != at).then_some(next));
                at = next;
            }
            // One by one as well.
            wanted.extend((at.saturating_sub(20).max(1)..at).rev());
            let commands: Vec<Command> = wanted[1..].iter().copied().map(Command::To).collect();
            let n_back = wanted.windows(2).filter(|pair| pair[1] < pair[0]).count();
            assert!(n_back > 25, "{n_back}");
            let pauses = stepped.led(&commands);
            assert_eq!(pauses.len(), wanted.len());
            for (pause, &number) in pauses.iter().zip(&wanted) {
                let what = format!("{name} {} {number}", encoding.name());
                assert_eq!(pause.view, forward[number as usize - 1].view, "{what}");
            }
        }
    }
}

#[test]
fn from_the_end_the_last_instruction_is_one_back() {
    let texts = [
        "let a = 1;\nlet b = a + 1;\nconsole.log(b);\n",
        "function f(x) { return x.y.z; }\nf({});\n",
        "setTimeout(() => { throw new Error('late'); }, 5);\n",
        "throw 5;\n",
    ];
    for text in texts {
        for &encoding in Encoding::ALL {
            let stepped = Stepped::of_text(text, encoding);
            let to_end = stepped.led(&[Command::Go(Goal::Run)]);
            let end = &to_end[1].view;
            assert!(end.is_over && end.calls.is_empty() && end.operands.is_empty());
            let n = end.counts.instructions;
            let back = stepped.led(&[Command::Go(Goal::Run), Command::To(end.before())]);
            let straight = stepped.led(&[Command::To(n)]);
            assert_eq!(back[2].view.number, n, "{text}");
            assert_eq!(back[2].view, straight[1].view, "{text}");
            // And what comes behind it is the same end.
            let again = stepped.led(&[Command::To(n), Command::To(n + 1)]);
            assert_eq!((&again[2].view, &again[2].why), (end, &to_end[1].why), "{text}");
        }
    }
}

/// What `trace` says of each operation, by its number and part.
fn traced(file: &str, encoding: Encoding) -> Vec<((u64, usize), String)> {
    let args = ["trace", file, "--count", "100000", "--encoding", encoding.name()];
    let outcome = scruple(&args);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let (mut number, mut part) = (0, 0);
    let lines = outcome.out.lines().filter(|line| !line.starts_with(';'));
    let lines = lines.map(|line| {
        let line = line.trim_start();
        let (first, rest) = line.split_once("  ").expect("a number and the rest");
        match first.parse() {
            Ok(own) => (number, part) = (own, 0),
            Err(_) => part += 1,
        }
        ((number, part), rest.split_whitespace().collect::<Vec<_>>().join(" "))
    });
    lines.collect()
}

/// Numbers whose texts ECMA-262 gives (Number::toString): the stepper makes them itself.
const NUMBERS: &str = "\
const all = [0, -0, 1e21, 1e-7, 123456789012345680000, 5e-324, 0.1 + 0.2, 2 ** 31, -1.5, NaN, 1 / 0];
let last = '';
for (const one of all) { last = [one, -one, one * 2, String(one), one > 1, null, undefined]; }
const calls = all.map((one, index) => { return { at: index, half: one / 2 }; });
";

#[test]
fn what_a_pause_says_was_done_is_what_a_trace_says() {
    let numbers = folder("step-numbers-traced", &[("a.js", NUMBERS.as_bytes())]).join("a.js");
    let sample = root().join("samples/marrow-brook/radio_schedule.js");
    for (path, at_least) in [(sample, 2000), (numbers, 200)] {
        let script = Script::read(&path, &RunOptions::default()).expect("a script");
        for encoding in [Encoding::Word, Encoding::Implied, Encoding::Composite, Encoding::Echo] {
            let traced = traced(path.to_str().expect("a path"), encoding);
            assert!(traced.len() > at_least, "{}", traced.len());
            told_as_traced(&Stepped::new(&script, encoding, HeapLayout::Narrow), &traced);
        }
    }
}

/// Each operation is the one at hand once, and behind it told as done, in the words of a trace.
fn told_as_traced(stepped: &Stepped, traced: &[((u64, usize), String)]) {
    let pauses = stepped.pauses(|pause, _| match pause.view.is_over {
        true => Command::Quit,
        false => STEP,
    });
    let at_hand: Vec<(u64, usize)> = pauses
        .iter()
        .filter(|pause| !pause.view.is_over)
        .map(|pause| (pause.view.number, pause.view.part))
        .collect();
    let wanted: Vec<(u64, usize)> = traced.iter().map(|&(place, _)| place).collect();
    assert_eq!(at_hand, wanted);
    let traced: HashMap<(u64, usize), &str> =
        traced.iter().map(|(place, text)| (*place, text.as_str())).collect();
    let mut told = HashSet::new();
    for line in pauses.iter().flat_map(|pause| &pause.view.last) {
        let said = text::did(line, &stepped.code);
        if !said.contains("(under way)") {
            let said: Vec<&str> = said.split_whitespace().skip(1).collect();
            assert_eq!(said.join(" "), traced[&(line.number, line.part)]);
            told.insert((line.number, line.part));
        }
    }
    assert_eq!(told.len(), traced.len());
}

/// The slots, captures and calls of a function that the test knows.
#[test]
fn a_pause_tells_slots_captures_this_and_calls() {
    let text = "\
let total = 7;
function outer(a, b) {
  let kept = a * 10;
  const add = (x) => {
    let sum = x + kept;
    return sum;
  };
  return [b].map(add)[0];
}
class Gate {
  constructor(width) { this.width = width; }
  open(by) { return outer(by, this.width); }
}
new Gate(4).open(3);
";
    for &encoding in Encoding::ALL {
        let stepped = Stepped::of_text(text, encoding);
        let pauses = stepped.pauses(|pause, _| match pause.view.is_over {
            true => Command::Quit,
            false => Command::Go(Goal::Line { over: false }),
        });
        let at = |line: u32| -> &View {
            let found = pauses.iter().find(|pause| {
                !pause.view.is_over
                    && pause.view.position(&stepped.code).is_some_and(|own| own.line == line)
            });
            &found.unwrap_or_else(|| panic!("line {line}")).view
        };
        let inner = at(6);
        assert_eq!(inner.slots, ["4", "34"], "{}", encoding.name());
        assert_eq!(inner.captures, ["30"]);
        assert_eq!(inner.this, None, "an arrow function has none");
        let names: Vec<(&str, bool, Option<u32>)> = inner
            .calls
            .iter()
            .map(|call| {
                let line = call.position.map(|position| position.line);
                (call.name.as_str(), call.is_called_back, line)
            })
            .collect();
        let wanted = [
            ("add", true, Some(6)),
            ("outer", false, Some(8)),
            ("open", false, Some(12)),
            ("(script)", false, Some(14)),
        ];
        assert_eq!(names, wanted);
        let global = ("total".to_owned(), "7".to_owned());
        assert!(inner.globals.contains(&global), "{:?}", inner.globals);
        // Of a captured variable the slot tells the value, and not the box.
        let outer = at(8);
        assert_eq!(&outer.slots[..3], ["3", "4", "30"]);
        assert_eq!(outer.slots[3], "(function)");
        let made = at(11);
        assert!(made.calls[0].constructs && !made.calls[1].constructs);
        assert_eq!(made.this.as_deref(), Some("(object)"));
    }
}

/// Frames of every shape: with an arguments object, made by `new`, of a constructor that has no
/// this value yet, of a function that asks for `new.target`, called by a getter and by a timer.
#[test]
fn the_calls_are_told_through_frames_of_every_shape() {
    let text = "\
function probe() { let z = 1; return z; }
function counted() { return arguments.length + probe(); }
class Base { constructor() { this.n = counted(1, 2, 3); } }
class Derived extends Base { constructor(by) { super(by); } }
function Old() { this.made = new.target === Old ? new Derived(5) : null; }
const o = { get value() { return new Old(); } };
function late(first) { return first + o.value; }
setTimeout(late, 5, 'x');
";
    for &encoding in Encoding::ALL {
        for &layout in HeapLayout::ALL {
            let stepped = Stepped::new(&Script::from_text("a.js", text, None), encoding, layout);
            let code = Arc::clone(&stepped.code);
            let pauses = stepped.pauses(move |pause, breakpoints| {
                // Set again at the next pause, which is refused.
                let _ = breakpoints.add(&code, Spot::Function("probe".to_owned()));
                match pause.why {
                    Why::Breakpoint(_) => Command::Quit,
                    _ => Command::Go(Goal::Run),
                }
            });
            let view = &pauses.last().expect("a pause").view;
            let told: Vec<(&str, bool, bool)> = view
                .calls
                .iter()
                .map(|call| (call.name.as_str(), call.constructs, call.is_called_back))
                .collect();
            let wanted = [
                ("probe", false, false),
                ("counted", false, false),
                ("Base", true, false),
                ("Derived", true, false),
                ("Old", true, false),
                ("get value", false, true),
                ("late", false, false),
            ];
            let what = format!("{} {}", encoding.name(), layout.name());
            assert_eq!(told, wanted, "{what}");
            let lines: Vec<Option<u32>> =
                view.calls.iter().map(|call| call.position.map(|own| own.line)).collect();
            assert_eq!(lines, [1, 2, 3, 4, 5, 6, 7].map(Some), "{what}");
        }
    }
}

#[test]
fn of_calls_and_values_without_end_the_first_are_told_and_how_many_more() {
    let many: Vec<String> = (0..300).map(|n| n.to_string()).collect();
    let text = format!(
        "function many() {{}}\nfunction deep(n) {{ return n > 0 ? deep(n - 1) : many({}); }}\ndeep(400);\n",
        many.join(", ")
    );
    let stepped = Stepped::of_text(&text, Encoding::Implied);
    let pauses = stepped.pauses(|pause, _| match pause.view.is_over {
        true => Command::Quit,
        false => STEP,
    });
    let fullest = pauses.iter().map(|pause| &pause.view).max_by_key(|view| view.more_operands);
    let view = fullest.expect("a pause");
    assert_eq!((view.operands.len(), view.more_operands), (MOST_VALUES, 301 - MOST_VALUES));
    assert_eq!(view.operands.last().map(String::as_str), Some("299"));
    assert_eq!((view.calls.len(), view.more_calls), (MOST_CALLS, 402 - MOST_CALLS));
    let made = pauses.iter().flat_map(|pause| &pause.view.last).max_by_key(|line| line.taken.len());
    let made = made.expect("an operation");
    assert_eq!(made.taken[0], "(269 more)");
    assert_eq!(made.taken.last().map(String::as_str), Some("299"));
}

/// The line table of every place is of code that is the same, so that what is stepped through
/// is what is measured.
#[test]
fn every_place_of_the_samples_and_cases_is_known_for_the_same_code() {
    let found = scruple_bench::script::gather(&[root().join("samples")], &RunOptions::default());
    let mut scripts: Vec<Script> =
        found.expect("samples").into_iter().filter_map(|found| found.script.ok()).collect();
    let folder = std::fs::read_dir(root().join("conformance/cases")).expect("cases");
    for file in folder {
        let path = file.expect("a file").path();
        let text = std::fs::read_to_string(&path).expect("a text");
        let table: toml::Table = toml::from_str(&text).expect("a table");
        let cases = table.values().filter_map(toml::Value::as_array).flatten();
        for (index, case) in cases.enumerate() {
            if let Some(source) = case.get("source").and_then(toml::Value::as_str) {
                let name = format!("{} {index}", path.display());
                scripts.push(Script::from_text(&name, source, None));
            }
        }
    }
    assert!(scripts.len() > 500, "{}", scripts.len());
    for &encoding in Encoding::ALL {
        let mut n_same = 0;
        for script in &scripts {
            let Ok(Ok(built)) = build::on_large_stack(|| build::build(script, encoding)) else {
                continue;
            };
            let dense = build::on_large_stack(|| build::with_every_place(script, &built, encoding));
            let dense = dense.expect("a thread");
            assert!(dense.is_some(), "{} {}", script.name, encoding.name());
            n_same += 1;
        }
        assert!(n_same > 600, "{n_same}");
    }
}
