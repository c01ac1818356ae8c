//! The list of tests that are not run.

use scruple_conformance::suite::skips::Skips;

#[test]
fn a_line_names_a_test_or_a_folder_and_has_a_reason() {
    let list = "\"language/a\" = \"takes an hour\"\n\"b.js\" = \"draws\"";
    let skips = Skips::parse(list).unwrap();
    assert_eq!(skips.reason("language/a/deep/x.js"), Some("takes an hour"));
    assert_eq!(skips.reason("b.js"), Some("draws"));
    assert_eq!(skips.reason("language/abc.js"), None);
    assert!(Skips::parse("\"x.js\" = \"\"").is_err());
    assert!(Skips::parse("\"x.js\" = 5").is_err());
}
