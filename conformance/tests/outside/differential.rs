//! Our compiler against `oxc_parser`, over all sources at hand: both accept a source as
//! a strict script, or both refuse it.
//!
//! What lies outside the subset is not compared. Every difference is listed with its
//! reason, and a list that names one that is none any more fails as well. A checkout of
//! the official suite takes part if `SCRUPLE_SUITE` names it.

use std::collections::{BTreeMap, BTreeSet};

use super::packages;
use super::sources;
use super::verdict::{Ours, ours, theirs};

/// The differences that are known, with reasons. A `*` in a name stands for any text.
fn listed() -> BTreeMap<String, String> {
    toml::from_str(include_str!("../../packages/differences.toml")).expect("the differences")
}

fn is_named_by(name: &str, pattern: &str) -> bool {
    match pattern.split_once('*') {
        None => name == pattern,
        Some((begin, end)) => name.strip_prefix(begin).is_some_and(|rest| rest.ends_with(end)),
    }
}

#[test]
fn ours_and_oxc_accept_and_refuse_the_same_sources() {
    let Some(packages) = packages() else { return };
    let listed = listed();
    assert!(listed.values().all(|reason| !reason.is_empty()), "a difference without a reason");
    let mut met = BTreeSet::new();
    let (mut accepted, mut refused, mut outside) = (0, 0, 0);
    let mut unlisted = Vec::new();
    let mut differences = 0;
    for source in sources::all(packages) {
        let said = ours(&source.text);
        let other = theirs(&source.text);
        let difference = match (&said, &other) {
            (Ours::Outside(_), _) => {
                outside += 1;
                continue;
            }
            (Ours::Accepted, None) => {
                accepted += 1;
                continue;
            }
            (Ours::Refused(_) | Ours::Module(_), Some(_)) => {
                refused += 1;
                continue;
            }
            (Ours::Accepted, Some(why)) => format!("we accept, oxc: {why}"),
            (Ours::Refused(why) | Ours::Module(why), None) => format!("oxc accepts, we: {why}"),
            (Ours::Limit(why), _) => format!("a limit: {why}"),
        };
        differences += 1;
        match listed.keys().find(|pattern| is_named_by(&source.name, pattern)) {
            Some(pattern) => _ = met.insert(pattern),
            None => unlisted.push(format!("{}: {difference}", source.name)),
        }
    }
    println!(
        "both accept {accepted}, both refuse {refused}, outside the subset {outside}, \
         differences {differences}"
    );
    assert!(unlisted.is_empty(), "{} unlisted:\n{}", unlisted.len(), unlisted.join("\n"));
    // Without the suite's checkout its lines are not asked for.
    let has_suite = std::env::var_os("SCRUPLE_SUITE").is_some();
    let asked = |name: &&String| has_suite || !name.starts_with("test/");
    let stale: Vec<_> = listed.keys().filter(asked).filter(|name| !met.contains(name)).collect();
    assert!(stale.is_empty(), "listed, and no difference: {stale:?}");
}
