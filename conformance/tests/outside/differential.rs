//! Our compiler against `oxc_parser`, over all sources at hand: both accept a source as
//! a strict script, or both refuse it.
//!
//! What lies outside the subset is not compared. Every difference is listed with its
//! reason, and a list that names one that is none any more fails as well. A checkout of
//! the official suite takes part if `SCRUPLE_SUITE` names it.

use std::collections::BTreeMap;

use super::packages;
use super::sources;
use super::verdict::{Ours, ours, theirs};

/// The differences that are known, with reasons.
fn listed() -> BTreeMap<String, String> {
    toml::from_str(include_str!("../../packages/differences.toml")).expect("the differences")
}

#[test]
fn ours_and_oxc_accept_and_refuse_the_same_sources() {
    let Some(packages) = packages() else { return };
    let mut listed = listed();
    let (mut accepted, mut refused, mut outside) = (0, 0, 0);
    let mut unlisted = Vec::new();
    let mut differences = 0;
    for source in sources::all(packages) {
        let said = ours(&source.text);
        let other = theirs(&source.text);
        let difference = match (&said, &other) {
            (Ours::Outside(_) | Ours::Module, _) => {
                outside += 1;
                continue;
            }
            (Ours::Accepted, None) => {
                accepted += 1;
                continue;
            }
            (Ours::Refused(_), Some(_)) => {
                refused += 1;
                continue;
            }
            (Ours::Accepted, Some(why)) => format!("we accept, oxc: {why}"),
            (Ours::Refused(why), None) => format!("oxc accepts, we: {why}"),
            (Ours::Limit(why), _) => format!("a limit: {why}"),
        };
        differences += 1;
        if listed.remove(&source.name).is_none() {
            unlisted.push(format!("{}: {difference}", source.name));
        }
    }
    println!(
        "both accept {accepted}, both refuse {refused}, outside the subset {outside}, \
         differences {differences}"
    );
    assert!(unlisted.is_empty(), "{} unlisted:\n{}", unlisted.len(), unlisted.join("\n"));
    // Without the suite's checkout its lines are not asked for.
    listed.retain(|name, _| !name.starts_with("test/"));
    assert!(listed.is_empty(), "listed, and no difference: {listed:?}");
}
