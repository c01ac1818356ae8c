//! The list of packages.

use scruple_conformance::packages::{LIST, read_list};

const ONE: &str = "[[package]]\nname = \"a\"\nversion = \"1.0.0\"\nlicence = \"MIT\"\n\
                   what = \"a test\"\nintegrity = \"sha512-";

fn one(hash: &str) -> String {
    format!("{ONE}{hash}\"\n")
}

#[test]
fn the_list_pins_each_package() {
    assert!(read_list(LIST).unwrap().len() > 20);
    assert!(read_list(&one(&"A".repeat(88))).is_ok());
}

#[test]
fn what_pins_no_package_is_refused() {
    let good = one(&"A".repeat(88));
    for (from, to, complaint) in [
        ("1.0.0", "^1.0.0", "no exact version"),
        ("1.0.0", "1.x", "no exact version"),
        ("sha512", "sha1", "no SHA-512"),
        ("AAAA", "", "no SHA-512"),
    ] {
        let error = read_list(&good.replacen(from, to, 1)).unwrap_err().to_string();
        assert!(error.contains(complaint), "{error}");
    }
    let twice = format!("{good}{good}");
    assert!(read_list(&twice).unwrap_err().to_string().contains("twice"));
}
