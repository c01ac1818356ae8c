//! Source lines of a run that is stepped through: none is shown that the run does not carry
//! out, and a breakpoint at one that it does is met.
//!
//! What a run carries out is told by the run: lines print their numbers, first thing.

mod common;

use std::collections::BTreeSet;
use std::sync::{Arc, Mutex};

use common::root;
use scruple_bench::build;
use scruple_bench::layout::HeapLayout;
use scruple_bench::options::RunOptions;
use scruple_bench::script::Script;
use scruple_bench::step::breakpoints::Breakpoints;
use scruple_bench::step::code::Code;
use scruple_bench::step::{self, Command, Goal, Pause, Pilot, Program};
use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;

/// Of a run that goes on for longer the beginning is enough.
const MOST_PAUSES: usize = 1500;

/// Lines of a run that were shown, and lines that printed their numbers.
#[derive(Debug, Default)]
struct Met {
    shown: BTreeSet<u32>,
    printed: BTreeSet<u32>,
    is_over: bool,
    n_pauses: usize,
}

struct Walker {
    met: Arc<Mutex<Met>>,
    code: Arc<Code>,
}

impl Pilot for Walker {
    fn ask(&mut self, pause: &Pause, _: &mut Breakpoints) -> Command {
        let mut met = self.met.lock().unwrap();
        let view = &pause.view;
        let printed =
            view.output.lines().filter_map(|line| line.strip_prefix("@")?.parse::<u32>().ok());
        met.printed.extend(printed);
        met.is_over = view.is_over;
        met.n_pauses += 1;
        // What was shown last has printed its number by now.
        if view.is_over || met.n_pauses == MOST_PAUSES {
            return Command::Quit;
        }
        met.shown.extend(view.position(&self.code).map(|position| position.line));
        Command::Go(Goal::Line { over: false })
    }
}

/// What can be stepped through.
fn code_of(script: &Script, encoding: Encoding) -> (Program, Arc<Code>) {
    let built = build::build(script, encoding).unwrap_or_else(|_| panic!("{}", script.text));
    let dense = build::with_every_place(script, &built, encoding).expect("every place");
    let image = script.options.open(&built.image).expect("an image");
    let code = Arc::new(Code::new(&image, Some(&Image::open(&dense).expect("an image"))));
    let program = Program {
        feed: script.feed.clone(),
        limits: script.options.limits(20_000_000),
        layout: HeapLayout::Narrow,
        image: built.image,
    };
    (program, code)
}

/// Goes line by line.
fn walk(script: &Script, encoding: Encoding) -> Met {
    let met = Arc::new(Mutex::new(Met::default()));
    build::on_large_stack(|| {
        let (program, code) = code_of(script, encoding);
        let walker = Walker { met: Arc::clone(&met), code: Arc::clone(&code) };
        step::run(&program, &code, Box::new(walker));
    })
    .expect("a thread");
    Arc::into_inner(met).expect("the run has ended").into_inner().unwrap()
}

/// Each case as a script; `@` is a call that prints the number of its line, and has no value.
const CASES: &[&str] = &[
    "try {\n@; null.x;\n@;\n} catch (e) {\n@;\n}\n@;",
    "try {\n@; null.x;\n@;\n} catch {\n@;\n}\n@;",
    "try {\n@; throw 1;\n@;\n} catch ({ name = \n@ }) {\n@;\n} finally {\n@;\n}\n@;",
    "let y = 1;\ntry {\n@;\n} catch (q) {\n@;\n} finally {\n@;\nif (!y) {\n@;\n}\n}\n@;",
    "function g() {\ntry {\n@; throw 1;\n@;\n} catch {\n@; return 2;\n@;\n} finally {\n@;\n}\n@;\n}\ng();",
    "function g() {\nfor (const k of [1, 2]) {\ntry {\n@; continue;\n@;\n} finally {\nif (k > 1)\n@;\n}\n}\n}\ng();",
    "function g(x) {\ntry {\nif (x) {\n@;\n}\n} catch {\n@;\n}\n}\ng(0);",
    "function g(x) {\nif (x) {\n@;\n}\n}\ng(0);\n@;",
    "function g(x) {\nif (x) {\n@;\n} else if (!x) {\n@;\n} else {\n@;\n}\n}\ng(0);\ng(1);",
    "let x = 0;\nconst z = x ?\n@ :\n4;\nconst w = !x ?\n5 :\n@;",
    "let x = 0, y;\nx ||\n(y = 2);\ny = y ||\n@;\ny = x &&\n@;\ny = y ?? 3 ??\n@;",
    "let y, x = 1, o = { p: 1 };\nx ||=\n@;\nx &&= x\n+ 1;\no.p ??=\n@;\ny = x;\no[\"p\"] ||=\n@;",
    "let d, y;\ny = d?.\nfoo(\n@);\ny = d?.\nfoo[\n@];\ny = (d?.\nfoo.bar)?.(\n@);\ny = delete d?.\n[\n@];",
    "let d, y = { f() {} };\ny = y?.f?.(\nd?.g(() => y?.h(\n@),\n@))\n;",
    "function h(p = 1,\nq =\n@) {\nreturn p;\n}\nh(1, 2);\nh(1);",
    "const { a =\n@\n, b =\n@\n} = { a: 1 };\nconst [c =\n@\n] = [5];\nlet e;\n({ e =\n@\n} = { e: 1 });",
    "let n = 0;\nwhile (n) {\n@;\n}\ndo {\n@; n++;\nif (n < 3) continue;\n@; break;\n@;\n} while (\nn < 9);\n@;",
    "for (let i = 0; i < 0; i++) {\n@;\n}\nfor (;;\n@) {\n@; break;\n}\n@;",
    "const fs = [];\nfor (let i = 0; i < 2;\ni++) {\nfs.push(() => i);\nif (i) continue;\n@; continue;\n@;\n}\n@;",
    "function f() {\nfor (let i = 0;;\n@) {\nif (i < 3) {\n@; return;\n}\n@;\n}\n}\nf();",
    "function f(list) {\nfor (const e of list) {\n@;\nif (e > 1) {\n@; break;\n@;\n}\n}\n}\nf([]);\nf([1, 2, 3]);",
    "function f(list) {\nfor (const e in list) {\nif (e !== \"a\")\ncontinue;\n@;\n}\n}\nf({});\nf({ b: 1 });",
    "function f(y) {\nswitch (y) {\ncase 1:\n@; break;\n@;\ncase 2:\n@;\ncase 3:\n@; return;\ndefault:\n@;\n}\n}\nf(2);\nf(4);",
    "function f(y) {\nswitch (y) {\ncase 1:\n@;\ncase\n@:\nreturn 1;\n}\n}\nf(1);\n@;",
    "lab: {\n@; break lab;\n@;\n}\n@;",
    "function f(x) {\nlab: {\nif (!x) break lab;\n@;\n}\n}\nf(0);",
    "class A { constructor(x) {\nif (x) {\n@;\n}\n}\n}\nclass B extends A { constructor(x) {\nsuper(x);\nif (x) {\n@;\n}\n}\n}\nnew B(0);",
];

#[test]
fn a_line_that_is_not_carried_out_is_never_shown_and_one_that_is_always_is() {
    let mut n_never = 0;
    for (index, case) in CASES.iter().enumerate() {
        let numbered: Vec<String> = case
            .lines()
            .zip(1..)
            .map(|(line, number)| line.replace('@', &format!("console.log(\"@{number}\")")))
            .collect();
        let marked: BTreeSet<u32> = (1..)
            .zip(case.lines())
            .filter(|(_, line)| line.contains('@'))
            .map(|(n, _)| n)
            .collect();
        let script = Script::from_text("a.js", &numbered.join("\n"), None);
        for &encoding in Encoding::ALL {
            let met = walk(&script, encoding);
            let told = format!("case {index}, {}: {met:?}\n{}", encoding.name(), script.text);
            assert!(met.is_over, "{told}");
            let never: Vec<u32> = marked.difference(&met.printed).copied().collect();
            let wrong: Vec<&u32> = never.iter().filter(|&line| met.shown.contains(line)).collect();
            assert!(wrong.is_empty(), "{wrong:?} never ran: {told}");
            assert!(met.printed.is_subset(&met.shown), "not shown: {told}");
            n_never += never.len();
        }
    }
    assert!(n_never > 40 * Encoding::ALL.len(), "{n_never}");
}

/// Statements of the samples print the numbers of their lines.
#[test]
fn of_the_samples_no_line_is_shown_that_is_not_carried_out() {
    let found = scruple_bench::script::gather(&[root().join("samples")], &RunOptions::default());
    let (mut n_never, mut n_printed) = (0, 0);
    for script in found.expect("samples").into_iter().filter_map(|found| found.script.ok()) {
        let (text, marked) = numbered(&script.text);
        let script = Script { text, ..script };
        let met = walk(&script, Encoding::Implied);
        let told = format!("{}: {met:?}", script.name);
        let never: Vec<u32> = marked.difference(&met.printed).copied().collect();
        let wrong: Vec<&u32> = never.iter().filter(|&line| met.shown.contains(line)).collect();
        assert!(wrong.is_empty(), "{wrong:?} never ran: {told}");
        assert!(met.printed.is_subset(&met.shown), "not shown: {told}");
        n_never += never.len();
        n_printed += met.printed.len();
    }
    assert!(n_never > 50 && n_printed > 500, "{n_never} {n_printed}");
}

/// A text whose statements print the numbers of their lines, where a line begins with what
/// can be nothing but a statement; and the numbers of these lines.
fn numbered(text: &str) -> (String, BTreeSet<u32>) {
    let words = ["return", "const", "let", "throw", "if", "for", "while", "switch", "continue"];
    let (mut out, mut marked) = (String::new(), BTreeSet::new());
    let mut before = ';';
    for (line, number) in text.lines().zip(1..) {
        let bare = line.trim_start();
        let word = bare.split(|ch: char| !ch.is_alphanumeric()).next().unwrap_or_default();
        let is_call = bare.ends_with(");") && bare.contains('(') && !bare.contains(['{', '`', '=']);
        let is_statement = words.contains(&word)
            || is_call && word.starts_with(|ch: char| ch.is_ascii_lowercase()) && word != "super";
        if is_statement && matches!(before, ';' | '{' | '}') && line.len() > bare.len() {
            out.push_str(&format!("console.log(\"@{number}\"); "));
            marked.insert(number);
        }
        out.push_str(line);
        out.push('\n');
        if !bare.is_empty() && !bare.starts_with("//") {
            before = bare.chars().next_back().unwrap_or(';');
        }
    }
    (out, marked)
}
