//! Arrays against a model in Rust: the machine packs elements as narrowly as the
//! values allow and widens the block when one does not fit, and no script may see it.
//!
//! A program is a random walk through what changes an array, with values that need
//! more and more bits; the model holds a list of values and does what ECMA-262,
//! "Array Exotic Objects" and "Properties of the Array Prototype Object", says of each
//! step. After every step the whole array is printed, holes told from `undefined` and
//! -0 from 0. Under both layouts, and with a collection before every allocation.

mod common;

use std::fmt::Write as _;

use common::{Dice, agrees};
use rayon::prelude::*;
use scruple_conformance::{End, LayoutName, Setup, run};
use scruple_vm::HeapOptions;

/// What an element is: the text of it in a script, and as the scripts print it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Value {
    script: &'static str,
    shown: &'static str,
}

const fn value(script: &'static str, shown: &'static str) -> Value {
    Value { script, shown }
}

const UNDEFINED: Value = value("undefined", "undefined");

/// Values by how many bits they need: at the ends of each range, and behind them.
const LEVELS: [&[Value]; 4] = [
    &[
        value("0", "0"),
        value("-1", "-1"),
        value("9", "9"),
        value("3", "3"),
        value("true", "true"),
        value("false", "false"),
        value("null", "null"),
        UNDEFINED,
    ],
    &[value("10", "10"), value("127", "127"), value("128", "128"), value("249", "249")],
    &[
        value("-2", "-2"),
        value("250", "250"),
        value("255", "255"),
        value("256", "256"),
        value("32767", "32767"),
        value("-32763", "-32763"),
    ],
    &[
        value("32768", "32768"),
        value("-32764", "-32764"),
        value("-0", "-0"),
        value("NaN", "NaN"),
        value("0.5", "0.5"),
        value("2147483648", "2147483648"),
        value("-1073741825", "-1073741825"),
        value("'text ' + b.length", "'text 0'"),
        value("[]", "[]"),
    ],
];

/// The program so far, what it must print, and the array as the standard has it.
struct Walk {
    dice: Dice,
    level: usize,
    script: String,
    printed: String,
    array: Vec<Option<Value>>,
}

impl Walk {
    fn value(&mut self) -> Value {
        if self.dice.below(12) == 0 {
            self.level = (self.level + 1).min(LEVELS.len() - 1);
        }
        let level = self.dice.below(self.level + 1);
        LEVELS[level][self.dice.below(LEVELS[level].len())]
    }

    fn values(&mut self, most: usize) -> Vec<Value> {
        (0..self.dice.below(most + 1)).map(|_| self.value()).collect()
    }

    fn step(&mut self) {
        let length = self.array.len();
        let at = self.dice.below(length + 1);
        let to = at + self.dice.below(length + 1 - at);
        let code = match self.dice.below(20) {
            0 => {
                let (at, value) = (length + self.dice.below(4), self.value());
                self.array.resize(at + 1, None);
                self.array[at] = Some(value);
                format!("a[{at}] = {}", value.script)
            }
            1..=3 if at < length => {
                let value = self.value();
                self.array[at] = Some(value);
                format!("a[{at}] = {}", value.script)
            }
            4 => {
                self.array.pop();
                "a.pop()".into()
            }
            5 => {
                if length > 0 {
                    self.array.remove(0);
                }
                "a.shift()".into()
            }
            6 => {
                let values = self.values(3);
                self.array.splice(0..0, values.iter().copied().map(Some));
                format!("a.unshift({})", list(&values))
            }
            7 | 8 => {
                let values = self.values(5);
                self.array.splice(at..to, values.iter().copied().map(Some));
                format!("a.splice({at}, {}{}{})", to - at, comma(&values), list(&values))
            }
            9 => {
                let length = self.dice.below(length + 6);
                self.array.resize(length, None);
                format!("a.length = {length}")
            }
            10 if at < length => {
                self.array[at] = None;
                format!("delete a[{at}]")
            }
            11 => {
                let value = self.value();
                self.array[at..to].fill(Some(value));
                format!("a.fill({}, {at}, {to})", value.script)
            }
            12 => {
                self.array.reverse();
                "a.reverse()".into()
            }
            13 => {
                let target = self.dice.below(length + 1);
                let count = (to - at).min(length - target);
                let part = self.array[at..at + count].to_vec();
                self.array.splice(target..target + count, part);
                format!("a.copyWithin({target}, {at}, {to})")
            }
            14 => {
                self.array.truncate(to);
                self.array.drain(..at);
                format!("a = a.slice({at}, {to})")
            }
            15 => {
                let values = self.values(3);
                self.array.extend(values.iter().copied().map(Some));
                format!("a = a.concat([{}])", list(&values))
            }
            16 => {
                self.array.iter_mut().for_each(|element| {
                    element.get_or_insert(UNDEFINED);
                });
                ["a = [...a]", "a = Array.from(a)", "a = a.toSpliced(0, 0)"][self.dice.below(3)]
                    .into()
            }
            17 => {
                self.array.retain(Option::is_some);
                "a = a.filter(() => true)".into()
            }
            18 => {
                let value = self.value();
                self.array = vec![Some(value); length];
                format!("a = new Array({length}).fill({})", value.script)
            }
            19 => "a = a.map((value) => value)".into(),
            _ => {
                let values = self.values(4);
                self.array.extend(values.iter().copied().map(Some));
                let pushes = values.iter().map(|value| format!("a.push({}); ", value.script));
                pushes.collect()
            }
        };
        let _ = writeln!(self.script, "{code}; show(a);");
        let shown = self.array.iter().map(|element| element.map_or("hole", |value| value.shown));
        let _ = writeln!(self.printed, "{}", shown.collect::<Vec<_>>().join(" "));
    }
}

fn list(values: &[Value]) -> String {
    values.iter().map(|value| value.script).collect::<Vec<_>>().join(", ")
}

fn comma(values: &[Value]) -> &'static str {
    if values.is_empty() { "" } else { ", " }
}

const SHOW: &str = "
    let a = [];
    const b = [];
    function text(value) {
        if (Array.isArray(value)) return '[]';
        if (Object.is(value, -0)) return '-0';
        return typeof value === 'string' ? \"'\" + value + \"'\" : String(value);
    }
    function show(array) {
        const parts = [];
        for (let i = 0; i < array.length; i++) parts.push(i in array ? text(array[i]) : 'hole');
        console.log(parts.join(' '));
    }
";

#[test]
fn no_script_sees_how_elements_are_packed() {
    (0..96u64).into_par_iter().for_each(|seed| {
        let mut walk = Walk {
            dice: Dice(seed),
            level: 0,
            script: SHOW.into(),
            printed: String::new(),
            array: Vec::new(),
        };
        for _ in 0..60 {
            walk.step();
        }
        for layout in [LayoutName::Narrow, LayoutName::Wide] {
            for (collect_every, thorough) in [(usize::MAX, false), (0, false), (0, true)] {
                let heap = HeapOptions { collect_every, thorough, ..HeapOptions::default() };
                let setup = Setup { layout, heap, ..Setup::default() };
                let first = SHOW.lines().count();
                agrees(&format!("walk {seed}"), &walk.script, first, &walk.printed, &setup);
            }
        }
    });
}

/// Live bytes of a script that keeps one array of `n` elements.
fn live(n: usize, make: &str, layout: LayoutName) -> f64 {
    let source = format!("const n = {n}; const a = {make}; let end = {{}}; end = {{}};");
    let heap = HeapOptions { collect_every: 0, ..HeapOptions::default() };
    let outcome = run(&[&source], &Setup { layout, heap, ..Setup::default() });
    assert_eq!(outcome.end, End::Finished, "{make}");
    f64::from(outcome.ledger.now().total())
}

/// The figures of `kinds.rs`: 4, 8 or 16 bits or a slot an element, and the
/// collector's two bits a cell.
#[test]
fn an_element_takes_as_many_bits_as_the_widest_beside_it_needs() {
    let each = |make: &str| {
        [(LayoutName::Narrow, 8.25 / 64.0), (LayoutName::Wide, 16.25 / 128.0)].map(
            |(layout, bit)| {
                ((live(2048, make, layout) - live(1024, make, layout)) / 1024.0 / bit).round()
            },
        )
    };
    let slots = [32.0, 64.0];
    for (make, bits) in [
        ("new Array(n)", [4.0; 2]),
        ("new Array(n).fill(true)", [4.0; 2]),
        ("new Array(n).fill(-1).fill(null, 1)", [4.0; 2]),
        ("Array.from({ length: n }, (_, i) => i % 10)", [4.0; 2]),
        ("new Array(n).fill(10)", [8.0; 2]),
        ("Array.from({ length: n }, (_, i) => 10 + i % 240)", [8.0; 2]),
        // What outgrows 4 bits is not copied to 8.
        ("new Array(n).fill(0).map((_, i) => i % 250)", [16.0; 2]),
        ("new Array(n).fill(250)", [16.0; 2]),
        ("new Array(n).fill(-32763).fill(32767, 1)", [16.0; 2]),
        ("new Array(n).fill(1).concat([32768])", slots),
        ("new Array(n).fill(-32764)", slots),
        ("new Array(n).fill('a')", slots),
        ("new Array(n).fill([])", slots),
    ] {
        assert_eq!(each(make), bits, "{make}");
    }
}
