//! What compiling costs and survives: memory by nesting and not by length, tokens read by
//! length, and any text whatever.

mod cases;

use cases::ACCEPTED;
use scruple_compiler::{Options, compile};

/// Functions side by side, each of the same shape, up to a length.
fn flat_functions(length: usize) -> String {
    let mut source = String::new();
    let mut n = 0;
    while source.len() < length {
        source.push_str(&format!(
            "function part{n}(a, b) {{\n  let sum = 0;\n  for (let i = a; i < b; i++) {{\n    \
             if (i % 3 === 0 || i % 5 === 0) sum += i; else sum ^= a[i].value;\n  }}\n  \
             return b.map(x => x + sum).join('-') + `${{sum}} of ${{a}}`;\n}}\n"
        ));
        n += 1;
    }
    source
}

// The design's claim: the working set grows with nesting, not with length.
#[test]
fn the_scratch_peak_is_the_same_for_short_and_long_sources() {
    let short = compile(&flat_functions(10_000), &Options::default()).unwrap();
    let long = compile(&flat_functions(1_000_000), &Options::default()).unwrap();
    println!("scratch peak {} and {}", short.scratch_peak, long.scratch_peak);
    assert_eq!(short.scratch_peak, long.scratch_peak);
    assert!(long.scratch_peak < 16 * 1024, "{}", long.scratch_peak);
}

/// Makes a source of about a length.
type Shape = fn(usize) -> String;

/// Sources in which much begins alike, so that there is much to look ahead for.
const SHAPES: [(&str, Shape); 13] = [
    ("flat functions", flat_functions),
    ("one line", |n| "a(1);".repeat(n / 5)),
    ("one function of many names", |n| {
        let uses: String = (0..n / 12).map(|n| format!("name{n} = 1;")).collect();
        format!("function f() {{ {uses} }}")
    }),
    ("parentheses", |n| "(a = (b)) ".repeat(n / 10).replace(") (", ")+(")),
    ("one parenthesis around all", |n| {
        format!("({{ a: [{}] }})", "(b, c), x => x, ".repeat(n / 16))
    }),
    // Literals and patterns begin alike: each is looked ahead over.
    ("nested literals", |n| {
        let one = format!("x = {}1{};", "[{ a: ".repeat(40), " }]".repeat(40));
        one.repeat(n / one.len())
    }),
    ("one literal of patterns", |n| {
        format!("x = [{}];", "[a, { b: [c] }] = [{}], {}.d, ".repeat(n / 30))
    }),
    ("nested patterns", |n| {
        let one = format!("{}a{} = b;", "[c, ...[d, ".repeat(20), "]]".repeat(20));
        one.repeat(n / one.len())
    }),
    ("parameters", |n| {
        "function f(a = 1, { b, c: [d] = [] }, ...e) { var a; var g; }".repeat(n / 61)
    }),
    ("branches", |n| format!("function f() {{ {} }}", "if (a && b) c(); ".repeat(n / 17))),
    ("one switch", |n| {
        let cases: String = (0..n / 14).map(|n| format!("case {n}: a();")).collect();
        format!("function f() {{ switch (x) {{ {cases} }} }}")
    }),
    ("labels", |n| (0..n / 8).map(|n| format!("l{n}: x();")).collect()),
    ("closures", |n| format!("function f() {{ {} }}", "x = () => y; ".repeat(n / 13))),
];

// The design's claim: looking ahead is remembered, so a token is read a few times, however
// long the source and however deep the brackets. What else compiling takes is measured by
// `cargo bench -p scruple-bench --bench compile`.
#[test]
fn a_token_is_read_a_few_times_however_long_the_source() {
    for (name, shape) in SHAPES {
        let read = |length| {
            let source = shape(length);
            let compiled = compile(&source, &Options::default());
            let compiled = compiled.unwrap_or_else(|wrong| panic!("{name}: {wrong}"));
            compiled.tokens_read as f64 / source.len() as f64
        };
        let (short, long) = (read(50_000), read(200_000));
        println!("{name}: {short:.3} and {long:.3} tokens read for each byte");
        assert!(long < 1.02 * short, "{name}: {short} and {long}");
        // Most tokens have a byte here, or two.
        assert!(long < 2.0, "{name}: {long}");
    }
}

/// The most a thread gets by default on the usual hosts.
const STACK: usize = 2 * 1024 * 1024;

#[test]
fn the_deepest_nesting_fits_the_stack_of_a_thread() {
    let deep = |open: &str, close: &str| {
        let n = 300;
        format!("{}1{}", open.repeat(n), close.repeat(n))
    };
    let sources = [
        deep("(", ")"),
        deep("[", "]"),
        deep("{", "}"),
        deep("(function () { return ", "})"),
        deep("() => ", ""),
        deep("switch (a) { case 1: ", "}"),
        deep("({ a: ", "})"),
        deep("new (", ")"),
        deep("`${", "}`"),
        deep("for (const a of ", ") ;"),
        deep("try { ", "} catch (e) { } finally { }"),
        deep("a ? ", " : b"),
        deep("f(a, b.c[", "])"),
        deep("-", ""),
    ];
    let thread = std::thread::Builder::new().stack_size(STACK).spawn(move || {
        for source in &sources {
            let _ = compile(source, &Options::default());
        }
        sources.len()
    });
    assert_eq!(thread.unwrap().join().unwrap(), 14);
}

/// A linear congruential generator: Knuth's constants, from memory.
struct Random(u64);

impl Random {
    fn below(&mut self, n: usize) -> usize {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % n
    }
}

const TOKENS: &[&str] = &[
    "{",
    "}",
    "(",
    ")",
    "[",
    "]",
    ".",
    "...",
    ";",
    ",",
    "<",
    "=>",
    "=",
    "==",
    "===",
    "+",
    "-",
    "*",
    "/",
    "%",
    "**",
    "++",
    "--",
    "&&",
    "||",
    "??",
    "?",
    "?.",
    ":",
    "!",
    "~",
    "+=",
    "a",
    "b",
    "eval",
    "arguments",
    "async",
    "of",
    "get",
    "set",
    "await",
    "1",
    "0x1f",
    "07",
    "1n",
    "'s'",
    "'\\u{1}'",
    "`t`",
    "`t${",
    "}`",
    "`",
    "\n",
    " ",
    "break",
    "case",
    "catch",
    "class",
    "const",
    "continue",
    "debugger",
    "default",
    "delete",
    "do",
    "else",
    "export",
    "false",
    "finally",
    "for",
    "function",
    "if",
    "import",
    "in",
    "instanceof",
    "new",
    "null",
    "return",
    "super",
    "switch",
    "this",
    "throw",
    "true",
    "try",
    "typeof",
    "var",
    "void",
    "while",
    "with",
    "let",
    "static",
    "yield",
    "/*",
    "//",
    "#a",
    "\\",
    "\"",
    "<!--",
    "\u{2028}",
    "\u{e9}",
    "x = function () {",
    "x => {",
    "for (let i of a) {",
    "try {",
    "} finally {",
    "} catch (e) {",
    "switch (a) { case b:",
    "let c = 1;",
    "() => c;",
    "{ var d }",
    "extends",
    "constructor",
    "target",
    "class A {",
    "class B extends A {",
    "constructor() {",
    "static {",
    "m() { super.a",
];

#[test]
fn random_tokens_end_in_an_image_or_in_complaints() {
    let mut random = Random(1);
    let mut accepted = 0;
    for _ in 0..20_000 {
        let mut source = String::new();
        for _ in 0..1 + random.below(40) {
            source.push_str(TOKENS[random.below(TOKENS.len())]);
            if random.below(4) > 0 {
                source.push(' ');
            }
        }
        // In a debug build the compiler verifies what it makes.
        accepted += usize::from(compile(&source, &Options::default()).is_ok());
    }
    assert!(accepted > 20, "{accepted}");
}

/// Mutations of sound sources come further than random tokens.
#[test]
fn sources_with_tokens_exchanged_end_in_an_image_or_in_complaints() {
    let mut random = Random(2);
    let mut accepted = 0;
    for _ in 0..20_000 {
        let source = ACCEPTED[random.below(ACCEPTED.len())];
        let other = ACCEPTED[random.below(ACCEPTED.len())];
        let cut = |random: &mut Random, text: &str| {
            let at = random.below(text.len() + 1);
            (at..=text.len()).find(|&at| text.is_char_boundary(at)).unwrap_or(text.len())
        };
        let (from, to) = (cut(&mut random, source), cut(&mut random, source));
        let (start, end) = (from.min(to), from.max(to));
        let piece = match random.below(3) {
            0 => TOKENS[random.below(TOKENS.len())],
            1 => &other[..cut(&mut random, other)],
            _ => &other[cut(&mut random, other)..],
        };
        let mutated = format!("{}{piece}{}", &source[..start], &source[end..]);
        accepted += usize::from(compile(&mutated, &Options::default()).is_ok());
    }
    assert!(accepted > 100, "{accepted}");
}
