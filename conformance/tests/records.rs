//! Plain objects against a model in Rust: the collector folds objects with the same keys
//! into records, and unfolds one of which more changes than a value; no script may see it.
//!
//! A program is a random walk through what changes an object, over a few objects that
//! lie in an array and are often alike; the model does what ECMA-262, "Ordinary Object
//! Internal Methods and Internal Slots", says of each step. After every step all objects
//! are printed: keys in order, values, attributes, prototype, whether extensible. Under
//! both layouts, and with a collection before every allocation.

mod common;

use std::fmt::Write as _;
use std::ops::RangeInclusive;

use common::{Dice, agrees};
use rayon::prelude::*;
use scruple_conformance::{End, LayoutName, Setup, run};
use scruple_vm::HeapOptions;

/// The text of a value in a script, and as the scripts print it.
type Value = (&'static str, &'static str);

/// Values that fit a half of a record.
const SHORT: &[Value] = &[
    ("undefined", "undefined"),
    ("null", "null"),
    ("true", "true"),
    ("false", "false"),
    ("0", "0"),
    ("-8", "-8"),
    ("99", "99"),
    ("0.5", "0.5"),
    ("-0", "-0"),
    ("NaN", "NaN"),
    ("2147483648", "2147483648"),
    ("'text ' + all.length", "'text 6'"),
    ("'\\u2603' + 'xyz'.repeat(2)", "'\u{2603}xyzxyz'"),
    ("[]", "[]"),
    ("made", "made"),
    ("tag", "Symbol(tag)"),
    ("Math.max", "max"),
    ("Object.prototype", "object prototype"),
];

/// Values that do not, or only where all objects have integers.
const LONG: &[Value] = &[
    ("-9", "-9"),
    ("400", "400"),
    ("32767", "32767"),
    ("32768", "32768"),
    ("-32768", "-32768"),
    ("-32769", "-32769"),
    ("1073741823", "1073741823"),
    ("'a constant of the script'", "'a constant of the script'"),
    ("'length'", "'length'"),
    ("'x'", "'x'"),
    ("''", "''"),
    ("Symbol.iterator", "Symbol(Symbol.iterator)"),
];

/// The text of a key in a script, and as the scripts print it.
const KEYS: [(&str, &str); 8] = [
    ("'left'", "left"),
    ("'right'", "right"),
    ("'name'", "name"),
    ("'7'", "7"),
    ("tag", "Symbol(tag)"),
    ("'length'", "length"),
    ("'built ' + all.length", "built 6"),
    ("'x'", "x"),
];
const OBJECTS: usize = 6;

#[derive(Clone)]
struct Property {
    key: usize,
    /// Of an accessor, what its getter returns.
    value: Value,
    accessor: bool,
    writable: bool,
    enumerable: bool,
    configurable: bool,
}

#[derive(Clone)]
struct Object {
    properties: Vec<Property>,
    prototype: usize,
    extensible: bool,
}

impl Object {
    fn new() -> Object {
        Object { properties: Vec::new(), prototype: 0, extensible: true }
    }

    fn find(&mut self, key: usize) -> Option<&mut Property> {
        self.properties.iter_mut().find(|property| property.key == key)
    }

    /// ECMA-262, OrdinarySet, where no prototype has the key.
    fn set(&mut self, key: usize, value: Value) {
        let extensible = self.extensible;
        match self.find(key) {
            Some(property) if property.writable => property.value = value,
            Some(_) => {}
            None if extensible => self.properties.push(Property {
                key,
                value,
                accessor: false,
                writable: true,
                enumerable: true,
                configurable: true,
            }),
            None => {}
        }
    }

    /// ECMA-262, OrdinaryOwnPropertyKeys: array indexes come first, symbols last.
    fn in_order(&self) -> Vec<&Property> {
        let mut properties: Vec<&Property> = self.properties.iter().collect();
        properties.sort_by_key(|property| match KEYS[property.key].0 {
            "'7'" => 0,
            "tag" => 2,
            _ => 1,
        });
        properties
    }

    fn shown(&self) -> String {
        let mut text = format!("<{}{}", self.prototype, if self.extensible { "" } else { "!" });
        for property in self.in_order() {
            let marks = [
                (property.accessor, 'a'),
                (property.writable, 'w'),
                (property.enumerable, 'e'),
                (property.configurable, 'c'),
            ];
            let marks: String =
                marks.iter().filter(|(has, _)| *has).map(|(_, letter)| letter).collect();
            let _ = write!(text, " {}:{marks}={}", KEYS[property.key].1, property.value.1);
        }
        text + ">"
    }
}

fn any_value(dice: &mut Dice) -> Value {
    match dice.below(4) {
        0 => LONG[dice.below(LONG.len())],
        _ => SHORT[dice.below(SHORT.len())],
    }
}

/// The program so far, what it must print, and the objects as the standard has them.
struct Walk {
    dice: Dice,
    script: String,
    printed: String,
    all: Vec<Object>,
}

impl Walk {
    fn step(&mut self) {
        let (at, key) = (self.dice.below(OBJECTS), self.dice.below(KEYS.len()));
        let value = any_value(&mut self.dice);
        let code = match self.dice.below(18) {
            // Alike with others in many cases.
            0..=3 => {
                let n_keys = 1 + self.dice.below(KEYS.len());
                let mut object = Object::new();
                let mut code = String::new();
                for (key, (name, _)) in KEYS.iter().enumerate().take(n_keys) {
                    let value = any_value(&mut self.dice);
                    object.set(key, value);
                    let (open, close) = if name.ends_with('\'') { ("", "") } else { ("[", "]") };
                    let _ = write!(code, "{open}{name}{close}: {}, ", value.0);
                }
                self.all[at] = object;
                format!("all[{at}] = {{ {code} }}")
            }
            4 | 5 => {
                let other = any_value(&mut self.dice);
                self.all[at] = Object { prototype: 1, ..Object::new() };
                self.all[at].set(0, value);
                self.all[at].set(1, other);
                format!("all[{at}] = new Pair({}, {})", value.0, other.0)
            }
            6..=9 => {
                self.all[at].set(key, value);
                format!("attempt(() => {{ all[{at}][{}] = {}; }})", KEYS[key].0, value.0)
            }
            10 => {
                let kept = |property: &Property| property.key != key || !property.configurable;
                self.all[at].properties.retain(kept);
                format!("attempt(() => delete all[{at}][{}])", KEYS[key].0)
            }
            11 | 12 => {
                let hidden = self.dice.below(2) == 0;
                let fixed = self.dice.below(2) == 0;
                let accessor = self.dice.below(4) == 0;
                let object = &mut self.all[at];
                let defined = Property {
                    key,
                    value,
                    accessor,
                    writable: !fixed && !accessor,
                    enumerable: !hidden,
                    configurable: !fixed,
                };
                let extensible = object.extensible;
                match object.find(key) {
                    Some(property) if property.configurable => *property = defined,
                    None if extensible => object.properties.push(defined),
                    // What is not configurable here is not writable either, and stays.
                    _ => {}
                }
                // The getter has the value at hand, not its text: it gives the same one.
                let what = match accessor {
                    true => format!("get: (v => () => v)({})", value.0),
                    false => format!("value: {}, writable: {}", value.0, !fixed),
                };
                format!(
                    "attempt(() => Object.defineProperty(all[{at}], {}, {{ {what}, \
                     enumerable: {}, configurable: {} }}))",
                    KEYS[key].0, !hidden, !fixed
                )
            }
            13 => {
                let object = &mut self.all[at];
                object.extensible = false;
                for property in &mut object.properties {
                    property.writable = false;
                    property.configurable = false;
                }
                format!("Object.freeze(all[{at}])")
            }
            14 => {
                let prototype = self.dice.below(3);
                if self.all[at].extensible {
                    self.all[at].prototype = prototype;
                }
                format!("attempt(() => Object.setPrototypeOf(all[{at}], prototypes[{prototype}]))")
            }
            15 | 16 => {
                let from = self.dice.below(OBJECTS);
                let mut object = Object::new();
                let source = self.all[from].clone();
                for property in source.in_order().iter().filter(|each| each.enumerable) {
                    object.set(property.key, property.value);
                }
                self.all[at] = object;
                format!("all[{at}] = {{ ...all[{from}] }}")
            }
            _ => "gc('x'.repeat(50) + all.length)".to_owned(),
        };
        let _ = writeln!(self.script, "{code}; show();");
        let shown: Vec<String> = self.all.iter().map(Object::shown).collect();
        let _ = writeln!(self.printed, "{}", shown.join(" "));
    }
}

const SHOW: &str = "
    function Pair(left, right) { this.left = left; this.right = right; }
    const made = { made: 1 };
    const tag = Symbol('tag');
    const prototypes = [Object.prototype, Pair.prototype, null];
    const all = [{}, {}, {}, {}, {}, {}];
    function gc(text) { return [text, text + 1]; }
    function attempt(change) {
        try { change(); } catch (error) { if (!(error instanceof TypeError)) throw error; }
    }
    function text(value) {
        if (value === made) return 'made' + (made.made === 1 ? '' : '?');
        if (value === Math.max) return 'max';
        if (value === Object.prototype) return 'object prototype';
        if (Array.isArray(value)) return '[]';
        if (Object.is(value, -0)) return '-0';
        return typeof value === 'string' ? \"'\" + value + \"'\" : String(value);
    }
    function one(object) {
        let line = '<' + prototypes.indexOf(Object.getPrototypeOf(object));
        if (!Object.isExtensible(object)) line += '!';
        for (const key of Reflect.ownKeys(object)) {
            const own = Object.getOwnPropertyDescriptor(object, key);
            const value = own.get ? own.get() : own.value;
            line += ' ' + String(key) + ':' + (own.get ? 'a' : '') + (own.writable ? 'w' : '') +
                (own.enumerable ? 'e' : '') + (own.configurable ? 'c' : '') + '=' + text(value);
            if (!Object.is(object[key], value)) line += '?';
        }
        return line + '>';
    }
    function show() { console.log(all.map(one).join(' ')); }
";

#[test]
fn no_script_sees_how_objects_are_folded() {
    (0..64u64).into_par_iter().for_each(|seed| {
        let mut walk = Walk {
            dice: Dice(seed),
            script: SHOW.into(),
            printed: String::new(),
            all: vec![Object::new(); OBJECTS],
        };
        for _ in 0..50 {
            walk.step();
        }
        for layout in [LayoutName::Narrow, LayoutName::Wide] {
            for (collect_every, thorough) in
                [(usize::MAX, false), (256, false), (0, false), (256, true), (0, true)]
            {
                let heap = HeapOptions { collect_every, thorough, ..HeapOptions::default() };
                let setup = Setup { layout, heap, ..Setup::default() };
                let first = SHOW.lines().count();
                agrees(&format!("walk {seed}"), &walk.script, first, &walk.printed, &setup);
            }
            // Where there is too little room, the run may end, but says nothing wrong before.
            let mut end = End::Finished;
            for slots in SMALL.step_by(if seed % 4 == 0 { 50 } else { 500 }) {
                let setup = Setup { layout, slots, ..Setup::default() };
                let outcome = run(&[&walk.script], &setup);
                assert!(
                    walk.printed.starts_with(&outcome.printed),
                    "walk {seed}, {layout:?}, {slots} slots: {}",
                    outcome.printed
                );
                assert!(outcome.ledger.audit(), "walk {seed}");
                end = outcome.end;
            }
            assert_eq!(end, End::Finished, "walk {seed}, {layout:?}");
        }
    });
}

/// Regions from too small to large enough, in slots.
const SMALL: RangeInclusive<usize> = 500..=3000;

/// Live bytes of a script that keeps `n` objects.
fn live(n: usize, make: &str, layout: LayoutName) -> f64 {
    let source = format!(
        "const keep = new Array({n});\n\
         for (let i = 0; i < {n}; i++) {{ keep[i] = [{{}}][0]; keep[i] = {make}; }}\n\
         let end = {{}}; end = {{}};"
    );
    let heap = HeapOptions { collect_every: 0, ..HeapOptions::default() };
    let outcome = run(&[&source], &Setup { layout, heap, ..Setup::default() });
    assert_eq!(outcome.end, End::Finished, "{make}");
    f64::from(outcome.ledger.now().total())
}

/// The figures of `heap/records.rs`: a half or a slot a value, behind two halves, and the
/// collector's two bits a cell. The reference in the array is a slot.
#[test]
fn a_record_takes_as_much_as_its_widest_value_needs() {
    let cells = |make: &str| {
        [(LayoutName::Narrow, 8.25, 4.125), (LayoutName::Wide, 16.25, 8.125)].map(
            |(layout, cell, slot)| {
                let grown = live(1024, make, layout) - live(512, make, layout);
                (grown / 512.0 - slot) / cell
            },
        )
    };
    for (make, expected) in [
        ("{ a: null }", 1.0),
        ("{ a: 400 }", 1.0),
        ("{ a: null, b: keep }", 1.0),
        ("{ a: 99, b: -8 }", 1.0),
        ("{ a: 32767, b: -32768 }", 1.0),
        ("i % 2 ? { a: 99, b: -8 } : { a: null, b: -8 }", 1.0),
        ("{ a: 'constant', b: -8 }", 2.0),
        ("{ a: true, b: false, c: undefined }", 2.0),
        ("{ a: 1, b: 2, c: 3, d: 4, e: 5, f: 6 }", 2.0),
        ("{ a: 1, b: 2, c: 3, d: 4, e: 5, f: 600 }", 2.0),
        ("{ a: 1, b: 2, c: 3, d: 4, e: 5, f: 'constant' }", 4.0),
        ("Object.freeze({ a: 1, b: 2 })", 3.0),
        // Equal strings are kept once, and so are numbers that have a cell; but for some
        // made since the last new height.
        ("{ a: 'gauge ' + i % 7, b: [i % 9 + 0.5][0] > 0 }", 1.0),
        ("['gauge ' + i % 7, [i % 9 + 0.5][0]]", 3.0),
    ] {
        let ours = cells(make);
        assert!(ours.iter().all(|ours| (ours - expected).abs() < 0.1), "{make}: {ours:?}");
    }
}
