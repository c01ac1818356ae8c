//! The front matter of tests.

use scruple_conformance::suite::metadata::{Flag, Metadata};

// Forms of front matter: the suite's CONTRIBUTING.md, "Frontmatter".

#[test]
fn lists_are_read_in_brackets_and_line_by_line() {
    let source = "// Copyright\n/*---\ndescription: >\n  Two:\n  lines\nesid: sec-x\n\
        includes: [a.js, b.js]\nfeatures:\n  - let\n  - arrow-function\n\
        flags: [onlyStrict, generated]\n---*/\nvar x;";
    let metadata = Metadata::of(source).unwrap();
    assert_eq!(metadata.includes, ["a.js", "b.js"]);
    assert_eq!(metadata.features, ["let", "arrow-function"]);
    assert!(metadata.has(Flag::OnlyStrict) && !metadata.has(Flag::Raw));
    assert_eq!(metadata.esid.as_deref(), Some("sec-x"));
    assert_eq!(metadata.negative, None);
}

#[test]
fn a_negative_test_names_its_phase_and_its_error() {
    let source = "/*---\r\nnegative:\r\n  phase: parse\r\n  type: SyntaxError\r\n---*/\r\n";
    let metadata = Metadata::of(source).unwrap();
    assert!(metadata.must_not_parse());
    assert_eq!(metadata.negative.unwrap().error, "SyntaxError");
}

#[test]
fn what_is_no_front_matter_is_refused() {
    assert!(Metadata::of("var x;").is_err());
    assert!(Metadata::of("/*--- flags: [raw]").is_err());
    assert!(Metadata::of("/*---\nflags: {\n---*/").is_err());
    assert!(Metadata::of("/*---\nnegative: {phase: soon, type: X}\n---*/").is_err());
}
