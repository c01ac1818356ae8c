//! Folders of the report.

use scruple_conformance::suite::document::folder;

#[test]
fn a_folder_is_cut_at_its_depth() {
    assert_eq!(folder("language/types/null/S1.js", 2), "language/types");
    assert_eq!(folder("language/types/S1.js", 3), "language/types");
    assert_eq!(folder("S1.js", 2), "");
}
