//! What the compiler refuses: the sort of complaint, where it points, and the
//! clause of ECMA-262 it cites. The clauses are ids of the package
//! `@tc39/ecma262-biblio`, version 2.2; the rules are those clauses' own.

use scruple_compiler::DiagnosticKind::{Limit, Strict, Syntax, Unsupported};
use scruple_compiler::{DiagnosticKind, Diagnostics, Options, compile};

fn refused(source: &str) -> Diagnostics {
    match compile(source, &Options::default()) {
        Ok(_) => panic!("accepted: {source}"),
        Err(diagnostics) => diagnostics,
    }
}

/// The first complaint of each source.
fn check(cases: &[(&str, DiagnosticKind, &str, Option<&str>)]) {
    for &(source, kind, position, clause) in cases {
        let diagnostics = refused(source);
        let first = diagnostics.first();
        assert_eq!(first.kind(), kind, "{source}: {first}");
        assert_eq!(first.position().to_string(), position, "{source}: {first}");
        assert_eq!(first.clause(), clause, "{source}: {first}");
        assert!(first.span().end <= source.len(), "{source}: {:?}", first.span());
        if kind == Unsupported {
            assert!(first.is_unsupported() && first.message().contains("unsupported"), "{first}");
        }
    }
}

// Source: ECMA-262, Scripts: a Script has no ImportDeclaration and no ExportDeclaration.
#[test]
fn what_only_a_module_has_makes_a_source_no_script() {
    check(&[
        ("import a from 'b'", Syntax, "1:1", Some("sec-imports")),
        ("export const a = 1", Syntax, "1:1", Some("sec-exports")),
    ]);
    assert!(refused("export {}").first().message().contains("modules are unsupported"));
}

// Source: ECMA-262, Primary Expression, Regular Expression Literals: Static Semantics:
// Early Errors. Patterns by themselves are tested beside the reader of them.
#[test]
fn a_regular_expression_with_a_wrong_pattern_is_a_syntax_error() {
    let early = "sec-primary-expression-regular-expression-literals-static-semantics-early-errors";
    check(&[
        ("x = /(/;", Syntax, "1:5", Some(early)),
        ("x = /a**/;", Syntax, "1:5", Some(early)),
        ("x = /{/u;", Syntax, "1:5", Some(early)),
        ("x = /[b-a]/;", Syntax, "1:5", Some(early)),
    ]);
}

#[test]
fn parts_of_the_language_outside_the_subset_are_called_unsupported() {
    let regexp = Some("sec-primary-expression-regular-expression-literals");
    let async_function = Some("sec-async-function-definitions");
    let generator = Some("sec-generator-function-definitions");
    check(&[
        ("x = /a[/]b/g;", Unsupported, "1:5", regexp),
        ("x = /=a/;", Unsupported, "1:5", regexp),
        ("f(/\\)=>/)", Unsupported, "1:3", regexp),
        ("class A { *m() {} }", Unsupported, "1:11", generator),
        ("class A { static async m() {} }", Unsupported, "1:18", async_function),
        ("x = class { accessor a; }", Unsupported, "1:13", Some("sec-class-definitions")),
        ("x = class { #a; }", Unsupported, "1:13", Some("sec-private-names")),
        ("class A { get #a() {} }", Unsupported, "1:15", Some("sec-private-names")),
        ("async function f() {}", Unsupported, "1:1", async_function),
        ("f(async x => x)", Unsupported, "1:3", async_function),
        ("f(async (x) => x)", Unsupported, "1:3", async_function),
        ("({ async f() {} })", Unsupported, "1:4", async_function),
        ("await f()", Unsupported, "1:1", async_function),
        ("function* f() {}", Unsupported, "1:9", generator),
        ("(function* () {})", Unsupported, "1:10", generator),
        ("({ *f() {} })", Unsupported, "1:4", generator),
        ("import('b')", Unsupported, "1:1", Some("sec-import-calls")),
        ("import.meta", Unsupported, "1:1", Some("sec-meta-properties")),
        ("eval('1')", Unsupported, "1:1", Some("sec-function-calls")),
        ("1n", Unsupported, "1:1", Some("sec-ecmascript-language-types-bigint-type")),
        ("a.#b", Unsupported, "1:3", Some("sec-private-names")),
        ("for await (a of b) ;", Unsupported, "1:5", Some("sec-for-in-and-for-of-statements")),
        ("<!-- a", Unsupported, "1:1", Some("sec-html-like-comments")),
        ("a\n--> b", Unsupported, "2:1", Some("sec-html-like-comments")),
    ]);
}

/// What is read to its end although it is refused: the complaint behind it is told too.
/// The rules: `sec-generator-function-definitions-static-semantics-early-errors`,
/// `sec-arrow-function-definitions-static-semantics-early-errors` and the grammars with
/// their parameters.
#[test]
fn what_is_wrong_in_a_generator_or_behind_a_regular_expression_is_told_as_well() {
    for (source, kind, position) in [
        ("function* f() { yield 1; yield; yield* f(); } )", Syntax, "1:47"),
        ("function* f(a = yield) {}", Strict, "1:17"),
        ("function* f() { (a = yield) => a; }", Strict, "1:22"),
        ("function* f() { () => yield; }", Strict, "1:23"),
        ("function* f() { function g() { yield; } }", Strict, "1:32"),
        ("function* f() { var yield; }", Strict, "1:21"),
        ("function* f() { yield\n* 1; }", Syntax, "2:1"),
        ("({ *a: 1 })", Syntax, "1:6"),
        ("class A { *constructor() {} }", Syntax, "1:12"),
        ("/a/.b = ;", Syntax, "1:9"),
    ] {
        let diagnostics = refused(source);
        let told: Vec<_> = diagnostics.iter().map(|one| (one.kind(), one.position())).collect();
        assert_eq!(told[0].0, Unsupported, "{source}: {diagnostics}");
        assert!(told.len() > 1, "{source}: {diagnostics}");
        assert_eq!((told[1].0, told[1].1.to_string()), (kind, position.to_owned()), "{source}");
    }
    // Nothing is said of one that is right.
    let right =
        "function* f() { for (var x of yield* g()) { x[yield] = (yield, `${yield /}/}`); } }";
    let diagnostics = refused(right);
    assert!(diagnostics.iter().all(|one| one.kind() == Unsupported), "{diagnostics}");
}

/// The extent and the flags: `sec-literals-regular-expression-literals` and the early errors
/// of `sec-primary-expression-regular-expression-literals`.
#[test]
fn a_regular_expression_that_does_not_end_or_has_no_such_flags_is_none() {
    let literal = Some("sec-literals-regular-expression-literals");
    let flags =
        Some("sec-primary-expression-regular-expression-literals-static-semantics-early-errors");
    check(&[
        ("x = /a", Syntax, "1:5", literal),
        ("x = /a[/]", Syntax, "1:5", literal),
        ("x = /a\\\n/", Syntax, "1:5", literal),
        ("x = /a/gg", Syntax, "1:5", flags),
        ("x = /a/uv", Syntax, "1:5", flags),
        ("x = /a/x", Syntax, "1:5", flags),
        ("x = # a", Syntax, "1:5", Some("sec-ecmascript-language-lexical-grammar")),
    ]);
}

#[test]
fn what_strict_mode_code_forbids_is_refused_as_such() {
    let words = Some("sec-keywords-and-reserved-words");
    let names = Some("sec-identifiers-static-semantics-early-errors");
    let numbers = Some("sec-numeric-literals-early-errors");
    let strings = Some("sec-string-literals-early-errors");
    let delete = Some("sec-delete-operator-static-semantics-early-errors");
    let parameters = Some("sec-parameter-lists-static-semantics-early-errors");
    check(&[
        ("with (a) b", Strict, "1:1", Some("sec-with-statement-static-semantics-early-errors")),
        ("var let = 1", Strict, "1:5", words),
        ("static = 1", Strict, "1:1", words),
        ("yield", Strict, "1:1", words),
        ("function implements() {}", Strict, "1:10", words),
        ("l\\u0065t", Strict, "1:1", words),
        ("let = 1", Strict, "1:1", words),
        ("({yield})", Strict, "1:3", words),
        ("eval = 1", Strict, "1:1", names),
        ("arguments++", Strict, "1:1", names),
        ("var eval", Strict, "1:5", names),
        ("function arguments() {}", Strict, "1:10", names),
        ("(eval) => 1", Strict, "1:2", names),
        ("arguments => 1", Strict, "1:1", names),
        ("try {} catch (eval) {}", Strict, "1:15", names),
        ("for (arguments of a) ;", Strict, "1:6", names),
        ("017", Strict, "1:1", numbers),
        ("x = 09.5", Strict, "1:5", numbers),
        ("'a\\01'", Strict, "1:3", strings),
        ("'\\8'", Strict, "1:2", strings),
        ("delete a", Strict, "1:8", delete),
        ("delete ((a))", Strict, "1:8", delete),
        ("function f(a, b, a) {}", Strict, "1:18", parameters),
        ("(a, a) => 1", Strict, "1:5", parameters),
        ("if (a) function f() {}", Strict, "1:8", Some("sec-function-definitions")),
        ("a: function f() {}", Strict, "1:4", Some("sec-function-definitions")),
    ]);
}

#[test]
fn early_errors_are_refused_with_their_clause() {
    let declared = Some("sec-block-static-semantics-early-errors");
    let assignment = Some("sec-assignment-operators-static-semantics-early-errors");
    let update = Some("sec-update-expressions-static-semantics-early-errors");
    let breaks = Some("sec-break-statement-static-semantics-early-errors");
    let continues = Some("sec-continue-statement-static-semantics-early-errors");
    let lexical = Some("sec-let-and-const-declarations");
    let for_in_of = Some("sec-for-in-and-for-of-statements-static-semantics-early-errors");
    check(&[
        ("let a; let a", Syntax, "1:12", declared),
        ("let a; var a", Syntax, "1:12", declared),
        ("var a; let a", Syntax, "1:12", declared),
        ("let a; function a() {}", Syntax, "1:17", declared),
        ("let a; { var a }", Syntax, "1:14", declared),
        ("{ var a } let a", Syntax, "1:15", declared),
        ("{ let a; { var a } }", Syntax, "1:16", declared),
        ("{ { var a } let a }", Syntax, "1:17", declared),
        ("{ { { var a } } let a }", Syntax, "1:21", declared),
        ("{ function a() {} function a() {} }", Syntax, "1:28", declared),
        ("{ function a() {} var a }", Syntax, "1:23", declared),
        ("function f(a) { let a }", Syntax, "1:21", declared),
        ("function f() { let a; { { var a } } }", Syntax, "1:31", declared),
        ("function f() { { var a } let a }", Syntax, "1:30", declared),
        ("function f() { { { var a } let a } }", Syntax, "1:32", declared),
        ("switch (a) { case 1: let b; case 2: let b }", Syntax, "1:41", declared),
        ("try {} catch (a) { let a }", Syntax, "1:24", declared),
        ("for (let a, a;;) ;", Syntax, "1:13", declared),
        ("for (async of b) ;", Syntax, "1:6", Some("sec-for-in-and-for-of-statements")),
        ("for (let a of b) { var a }", Syntax, "1:24", declared),
        ("a() = 1", Syntax, "1:1", assignment),
        ("x; (a, b) = 1", Syntax, "1:4", assignment),
        ("a + b = 1", Syntax, "1:1", assignment),
        ("(a = b) = 1", Syntax, "1:1", assignment),
        ("1 = 1", Syntax, "1:1", assignment),
        ("this += 1", Syntax, "1:1", assignment),
        ("({a: 1}) = 1", Syntax, "1:1", assignment),
        ("a++ = 1", Syntax, "1:1", assignment),
        ("a()++", Syntax, "1:1", update),
        ("++a++", Syntax, "1:3", update),
        ("--1", Syntax, "1:3", update),
        ("for (a() of b) ;", Syntax, "1:6", for_in_of),
        ("for (a + b in c) ;", Syntax, "1:6", for_in_of),
        ("break", Syntax, "1:1", breaks),
        ("for (;;) { (function () { break }) }", Syntax, "1:27", breaks),
        ("continue", Syntax, "1:1", continues),
        ("switch (a) { case 1: continue }", Syntax, "1:22", continues),
        ("a: { continue a }", Syntax, "1:15", continues),
        ("a: { for (;;) continue a }", Syntax, "1:24", continues),
        ("for (;;) break a", Syntax, "1:16", Some("sec-labelled-statements")),
        (
            "a: { a: ; }",
            Syntax,
            "1:6",
            Some("sec-labelled-statements-static-semantics-early-errors"),
        ),
        ("return", Syntax, "1:1", Some("sec-return-statement")),
        ("throw\na", Syntax, "2:1", Some("sec-throw-statement")),
        ("const a", Syntax, "1:7", lexical),
        ("for (const a;;) ;", Syntax, "1:12", lexical),
        ("if (a) let b", Syntax, "1:8", lexical),
        ("while (a) const b = 1", Syntax, "1:11", lexical),
        ("switch (a) { default: default: }", Syntax, "1:23", Some("sec-switch-statement")),
        ("-a ** b", Syntax, "1:1", Some("sec-exp-operator")),
        (
            "({__proto__: a, '__proto__': b})",
            Syntax,
            "1:30",
            Some("sec-object-initializer-static-semantics-early-errors"),
        ),
        ("({get a(b) {}})", Syntax, "1:8", Some("sec-method-definitions")),
        ("({set a() {}})", Syntax, "1:8", Some("sec-method-definitions")),
        ("var if", Syntax, "1:5", Some("sec-keywords-and-reserved-words")),
        ("({if})", Syntax, "1:3", Some("sec-keywords-and-reserved-words")),
        ("v\\u0061r", Syntax, "1:1", Some("sec-identifiers-static-semantics-early-errors")),
        ("a\n=> 1", Syntax, "2:1", Some("sec-arrow-function-definitions")),
        ("\\u0030a", Syntax, "1:1", Some("sec-identifier-names-static-semantics-early-errors")),
    ]);
}

#[test]
fn a_declaration_with_using_is_unsupported_and_using_is_else_a_name() {
    let using = Some("sec-let-and-const-declarations");
    check(&[
        ("using a = b", Unsupported, "1:1", using),
        ("for (using a = b;;) ;", Unsupported, "1:6", using),
        ("for (using a of b) ;", Unsupported, "1:6", using),
    ]);
    for source in ["using\na = 1", "using = 1", "for (using of b) ;", "using: ;"] {
        assert!(compile(source, &Options::default()).is_ok(), "{source}");
    }
}

#[test]
fn broken_tokens_are_named() {
    check(&[
        ("x = 'a\n'", Syntax, "1:5", Some("sec-literals-string-literals")),
        ("x = 'a", Syntax, "1:5", Some("sec-literals-string-literals")),
        ("x = '\\x4'", Syntax, "1:6", Some("sec-literals-string-literals")),
        ("x = `a", Syntax, "1:5", Some("sec-template-literals")),
        ("x = `\u{e9}\\01`", Syntax, "1:7", Some("sec-template-literals")),
        ("x /* a", Syntax, "1:3", Some("sec-comments")),
        ("3in []", Syntax, "1:1", Some("sec-literals-numeric-literals")),
        ("1_", Syntax, "1:1", Some("sec-literals-numeric-literals")),
        ("0x", Syntax, "1:1", Some("sec-literals-numeric-literals")),
        ("a\\b", Syntax, "1:1", Some("sec-names-and-keywords")),
        ("\u{e9} \u{2603}", Syntax, "1:3", Some("sec-ecmascript-language-lexical-grammar")),
        ("a @", Syntax, "1:3", Some("sec-ecmascript-language-lexical-grammar")),
    ]);
}

#[test]
fn a_complaint_says_what_was_expected_and_what_was_found() {
    for (source, shown) in [
        ("f(a b)", "1:5: expected `,` or `)` behind an argument, found `b`"),
        ("if a", "1:4: expected `(` behind `if`, found `a`"),
        ("a b", "1:3: expected `;` or a new line, found `b`"),
        ("var x = ;", "1:9: expected an expression, found `;`"),
        (
            "function f() {",
            "1:15: expected `}` behind the function's body, found the end of the source",
        ),
        ("try {}", "1:7: expected `catch` or `finally`, found the end of the source"),
        ("a.1", "1:2: expected `;` or a new line, found a number"),
        ("a.'b'", "1:3: expected a property name, found a string"),
        ("()", "1:2: expected an expression, found `)`"),
        ("a => {} ()", "1:9: expected `;` or a new line, found `(`"),
        ("}", "1:1: expected an expression, found `}`"),
    ] {
        assert_eq!(refused(source).first().to_string(), shown, "{source}");
    }
}

#[test]
fn one_run_tells_several_complaints_in_order() {
    let source =
        "var x = ;\nfunction f() {\n  let y y;\n  return 1 +;\n}\nclass A { m() { a b } }\nif (\n";
    let shown = refused(source).to_string();
    let positions: Vec<&str> = shown.lines().map(|line| line.split(": ").next().unwrap()).collect();
    assert_eq!(positions, ["1:9", "3:9", "4:13", "6:19", "8:1"], "{shown}");
    let many = "var = 1;\n".repeat(100);
    assert_eq!(refused(&many).iter().count(), scruple_compiler::MAX_DIAGNOSTICS);
}

/// What is skipped of a statement ends with it, whatever was open where it was given up:
/// no complaint is about what follows from another one.
#[test]
fn a_statement_that_is_given_up_is_complained_of_once() {
    for (source, places) in [
        ("class A { #x = 1; }\nlet y y;", &["1:11", "2:7"][..]),
        (
            "class A {\n  #n = 1;\n  inc() { return 1; }\n  get value() { return 2; }\n}\nlet y y;",
            &["2:3", "6:7"],
        ),
        ("class A { *g() { yield; } }\nlet y y;", &["1:11", "2:7"]),
        ("class A { constructor() {} constructor() {} m() {} }\nlet y y;", &["1:28", "2:7"]),
        ("var o = { async f() { await 1; } };\nlet y y;", &["1:11", "2:7"]),
        ("var o = { __proto__: a, __proto__: b, c: 1 };\nlet y y;", &["1:36", "2:7"]),
        ("var o = ({a b});\nlet y y;", &["1:13", "2:7"]),
        ("function f(a = 1) { \"use strict\"; return a; }\nlet y y;", &["1:21", "2:7"]),
        ("var s = `a${ { b c } }}` + '}';\nlet y y;", &["1:18", "2:7"]),
        ("f(function () { let y y; return 1; }, { a b });\nlet y y;", &["1:23", "1:43", "2:7"]),
        // What is missing may be a parenthesis: the next statement begins all the same.
        ("f(a b\nlet y y;\nlet z z;", &["1:5", "2:7", "3:7"]),
        ("if (a { b(); }\nlet y y;", &["1:7", "2:7"]),
    ] {
        let shown = refused(source).to_string();
        let found: Vec<&str> = shown.lines().map(|line| line.split(": ").next().unwrap()).collect();
        assert_eq!(found, places, "{source}\n{shown}");
    }
}

// Our own statement (see `compile`): nesting has a limit, which is clear.
#[test]
fn nesting_past_the_limit_is_a_complaint_about_a_limit() {
    let deep = |open: &str, close: &str| format!("{}1{}", open.repeat(5000), close.repeat(5000));
    for (open, close) in [
        ("(", ")"),
        ("[", "]"),
        ("{", "}"),
        ("f(", ")"),
        ("!", ""),
        ("- -", ""),
        ("a[", "]"),
        ("({a: ", "})"),
        ("`${", "}`"),
        ("x => ", ""),
        ("() => {", "}"),
        ("(function () {", "})"),
        ("a = ", ""),
        ("a ** ", ""),
        ("if (a) ", ""),
        ("for (;;) ", ""),
        ("a ? ", " : 1"),
        ("new ", ""),
        ("(a = ", ") => 1"),
        ("switch (a) { case 1: ", "}"),
        ("try {", "} finally { }"),
    ] {
        let source = deep(open, close);
        let diagnostics = refused(&source);
        let first = diagnostics.first();
        let is_known = first.is_limit() || open.contains('=') && first.is_unsupported();
        assert!(is_known, "{open}: {first}");
        if first.is_limit() {
            assert_eq!(first.kind(), Limit);
            assert!(first.span().start > 200, "{open}: {first}");
        }
    }
}

#[test]
fn chains_that_need_no_nesting_have_no_limit() {
    for (first, more) in [
        ("a", " + a"),
        ("a", " && a"),
        ("a", ", a"),
        ("a", ".b"),
        ("a", "()"),
        ("a", "[0]"),
        ("a", " ? b : c"),
        ("if (a) b", "; else if (c) d"),
        ("switch (a) { case 0:", " case 1: b;"),
        ("[", "[],"),
    ] {
        let close = if first.starts_with("switch") {
            "}"
        } else if first == "[" {
            "]"
        } else {
            ""
        };
        let source = format!("{first}{}{close}", more.repeat(2000));
        assert!(compile(&source, &Options::default()).is_ok(), "{first}{more}");
    }
}

#[test]
fn counts_past_what_an_image_holds_are_limits() {
    let parameters: Vec<String> = (0..256).map(|n| format!("p{n}")).collect();
    let many = format!("function f({}) {{}}", parameters.join(","));
    assert!(refused(&many).first().is_limit());
    let arguments = "1,".repeat(40_000);
    assert!(refused(&format!("f({arguments})")).first().is_limit());
    let variables: String = (0..40_000).map(|n| format!("let v{n};")).collect();
    assert!(refused(&format!("function f() {{ {variables} }}")).first().is_limit());
    let frees: String = (0..40_000).map(|n| format!("v{n};")).collect();
    assert!(refused(&format!("{{ () => {{ {frees} }} }}")).first().is_limit());
    let long = " ".repeat(scruple_compiler::MAX_SOURCE + 1);
    assert!(refused(&long).first().is_limit());
}

// Our own statement (see `close`): what cannot be compiled right is refused.
#[test]
fn a_constant_declared_behind_the_function_that_assigns_it_is_unsupported() {
    check(&[
        (
            "function f() { function g() { x = 1 } const x = 2 }",
            Unsupported,
            "1:31",
            Some("sec-let-and-const-declarations"),
        ),
        (
            "function f() { const x = 1; { function g() { x = 2 } let x } }",
            Unsupported,
            "1:46",
            Some("sec-let-and-const-declarations"),
        ),
    ]);
}
