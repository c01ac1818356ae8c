//! Suites and programs from outside the project, installed from the npm registry when
//! the tests run (`scruple_conformance::packages`).
//!
//! What is expected of them lies beside the list of packages, as data. Without a network
//! these tests fail and say why; with `SCRUPLE_OFFLINE=1` in the environment they are
//! skipped, and say that.

mod differential;
mod mined;
mod parser_tests;
mod programs;
mod sources;
mod verdict;

use std::io::{self, Write as _};
use std::path::Path;
use std::sync::OnceLock;

use scruple_conformance::packages::{self, Packages};

/// The installed packages, or nothing if the tests are to be skipped.
fn packages() -> Option<&'static Packages> {
    static PACKAGES: OnceLock<Option<Packages>> = OnceLock::new();
    let installed = PACKAGES.get_or_init(|| {
        let target = Path::new(env!("CARGO_TARGET_TMPDIR"));
        packages::installed(target).unwrap_or_else(|error| panic!("{error}"))
    });
    if installed.is_none() {
        // Past the test harness, which keeps what a test that passes prints to itself.
        let _ = writeln!(io::stderr(), "skipped: {} is set", packages::OFFLINE);
    }
    installed.as_ref()
}

/// A tarball other than the one that is pinned must not come in: the hash of one package
/// under the name of another.
#[test]
fn a_package_that_does_not_have_the_pinned_hash_is_refused() {
    if packages().is_none() {
        return;
    }
    let list = packages::read_list(packages::LIST).expect("the list");
    let [pinned, other] = [&list[0], &list[1]];
    let text = format!(
        "[[package]]\nname = \"{}\"\nversion = \"{}\"\nlicence = \"\"\nwhat = \"\"\nintegrity = \"{}\"\n",
        pinned.name, pinned.version, other.integrity
    );
    let root = Path::new(env!("CARGO_TARGET_TMPDIR")).join("packages-of-another-hash");
    let error = packages::install(&text, &root).expect_err("another hash").to_string();
    assert!(error.contains("EINTEGRITY"), "{error}");
}
