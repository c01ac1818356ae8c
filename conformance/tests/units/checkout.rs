//! Filters of paths.

use scruple_conformance::suite::checkout::matches_path;

#[test]
fn a_filter_names_a_folder_or_a_file_and_no_beginning_of_a_name() {
    assert!(matches_path("language/types/null/S1.js", "language/types"));
    assert!(matches_path("language/types/null/S1.js", "language/types/"));
    assert!(matches_path("language/types/null/S1.js", "language/types/null/S1.js"));
    assert!(!matches_path("built-ins/ArrayBuffer/x.js", "built-ins/Array"));
}
