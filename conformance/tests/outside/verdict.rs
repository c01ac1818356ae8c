//! Whether a source is a strict script: what our compiler says, and what `oxc_parser`
//! with the static rules of `oxc_semantic` says.
//!
//! It refuses to say who is right.

use oxc_allocator::Allocator;
use oxc_parser::{ParseOptions, Parser};
use oxc_semantic::SemanticBuilder;
use oxc_span::SourceType;
use scruple_compiler::{DiagnosticKind, Options, compile};

/// What the compiler says of a source: its complaint that decides.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Ours {
    /// It is a script.
    Accepted,
    /// It is none.
    Refused(String),
    /// It lies outside the subset, by the compiler's own word.
    Outside(String),
    /// It is none because of what only a module has: modules are another goal of the
    /// grammar, which neither side here is asked for.
    Module(String),
    /// It passes a limit of the compiler.
    Limit(String),
}

fn is_module(clause: Option<&str>) -> bool {
    matches!(clause, Some("sec-imports" | "sec-exports"))
}

impl Ours {
    /// In one word, for tables.
    pub(crate) fn word(&self) -> &'static str {
        match self {
            Ours::Accepted => "accepted",
            Ours::Refused(_) => "refused",
            Ours::Outside(_) => "unsupported",
            Ours::Module(_) => "module syntax",
            Ours::Limit(_) => "limit",
        }
    }
}

/// What our compiler says of a source.
pub(crate) fn ours(source: &str) -> Ours {
    match compile(source, &Options::default()) {
        Ok(_) => Ours::Accepted,
        Err(diagnostics) => {
            let decides = diagnostics.decisive();
            let text = decides.to_string();
            match decides.kind() {
                DiagnosticKind::Syntax if is_module(decides.clause()) => Ours::Module(text),
                DiagnosticKind::Syntax | DiagnosticKind::Strict => Ours::Refused(text),
                DiagnosticKind::Unsupported => Ours::Outside(text),
                DiagnosticKind::Limit => Ours::Limit(text),
            }
        }
    }
}

/// What oxc says of a source as strict mode code: its first complaint, or nothing.
///
/// A directive makes it strict, before the source or, where that begins with a hashbang
/// comment, behind it. The module goal would be strict too, and is another grammar.
pub(crate) fn theirs(source: &str) -> Option<String> {
    let (head, body) = match source.starts_with("#!") {
        true => source.split_at(source.find(['\n', '\r', '\u{2028}', '\u{2029}'])?),
        false => ("", source),
    };
    // A line of its own: a comment such as `-->` stands only at the beginning of one.
    let strict = format!("{head}\n\"use strict\";\n{body}");
    let strict = strict.strip_prefix('\n').unwrap_or(&strict);
    let arena = Allocator::default();
    let options = ParseOptions { parse_regular_expression: true, ..Default::default() };
    let source_type = SourceType::cjs().with_script(true);
    let parsed = Parser::new(&arena, strict, source_type).with_options(options).parse();
    if let Some(error) = parsed.errors.first() {
        return Some(error.to_string());
    }
    if parsed.panicked {
        return Some("it gave up".to_owned());
    }
    let checked = SemanticBuilder::new().with_check_syntax_error(true).build(&parsed.program);
    checked.errors.first().map(ToString::to_string)
}

/// Both sides can be told apart: a check that neither could fail would prove nothing.
#[test]
fn both_sides_know_strict_mode_and_the_static_rules() {
    for source in ["var a = [1, ...b];", "#!/bin/run\nvar a;", "label: for (;;) break label;"] {
        assert_eq!((ours(source), theirs(source)), (Ours::Accepted, None), "{source}");
    }
    // A grammar, a static rule, and two rules of strict mode.
    for source in ["var 1a;", "let a; var a;", "with (a) b;", "var let;", "delete a;"] {
        assert!(matches!(ours(source), Ours::Refused(_)), "{source}: {:?}", ours(source));
        assert!(theirs(source).is_some(), "{source}");
    }
    // What is read to its end although it lies outside, without and with a fault.
    for source in [
        "/a/",
        "function* f() { (yield /[)]/); yield; yield* f(); }",
        "({ *f() {} })",
        "/(?<a>.)\\k<a>/u",
    ] {
        assert!(matches!(ours(source), Ours::Outside(_)), "{source}: {:?}", ours(source));
        assert_eq!(theirs(source), None, "{source}");
    }
    for source in
        ["/a/; )", "function* f(a = yield) {}", "function* f() { () => yield; }", "/a", "/{/u"]
    {
        assert!(matches!(ours(source), Ours::Refused(_)), "{source}: {:?}", ours(source));
        assert!(theirs(source).is_some(), "{source}");
    }
}
