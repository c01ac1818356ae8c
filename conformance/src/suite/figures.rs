//! The figures of a whole run that the README shows, spliced in between its markers.
//!
//! It owns which parts of the suite are shown: folders and features by the suite's own
//! names, never tests by path. It refuses a run of a part of the suite, and one whose
//! revision or date is not told: a figure that nobody can take again is none.

use std::fmt::Write;

use super::SuiteError;
use super::document::{Document, Row, Sums};
use super::metadata::Flag;
use super::table::share;

const BEGIN: &str = "<!-- spliced: suite -->\n";
const END: &str = "<!-- end -->";

/// Built-ins of the subset: what they are called, and the suite's folders below
/// `built-ins` for them.
const BUILT_INS: &[(&str, &[&str])] = &[
    ("Object", &["Object"]),
    ("Function", &["Function"]),
    ("Array", &["Array", "ArrayIteratorPrototype"]),
    ("String", &["String", "StringIteratorPrototype"]),
    ("Number", &["Number"]),
    ("Boolean", &["Boolean"]),
    ("Math", &["Math"]),
    ("JSON", &["JSON"]),
    ("Error family", &["Error", "NativeErrors", "AggregateError"]),
    (
        "global functions and values",
        &[
            "decodeURI",
            "decodeURIComponent",
            "encodeURI",
            "encodeURIComponent",
            "isFinite",
            "isNaN",
            "parseFloat",
            "parseInt",
            "global",
            "Infinity",
            "NaN",
            "undefined",
        ],
    ),
    ("Symbol", &["Symbol"]),
    ("Map", &["Map", "MapIteratorPrototype"]),
    ("Set", &["Set", "SetIteratorPrototype"]),
    ("WeakMap", &["WeakMap"]),
    ("Reflect", &["Reflect"]),
    ("ArrayBuffer", &["ArrayBuffer"]),
    ("DataView", &["DataView"]),
    ("typed arrays", &["TypedArray", "TypedArrayConstructors"]),
];

/// Features of the subset, by the suite's names. Spread has none of its own but
/// `object-spread`; rest has two.
const FEATURES: &[&str] = &[
    "let",
    "const",
    "arrow-function",
    "destructuring-binding",
    "destructuring-assignment",
    "default-parameters",
    "class",
    "class-fields-public",
    "computed-property-names",
    "template",
    "for-of",
    "object-spread",
    "rest-parameters",
    "object-rest",
    "optional-chaining",
    "coalesce-expression",
    "logical-assignment-operators",
    "exponentiation",
    "new.target",
    "Symbol",
    "Symbol.iterator",
    "Map",
    "Set",
    "TypedArray",
];

/// The README with the figures of a run between its markers.
pub fn spliced(readme: &str, document: &Document) -> Result<String, SuiteError> {
    let figures = markdown(document)?;
    let start = readme.find(BEGIN).map(|at| at + BEGIN.len());
    let found = start.and_then(|start| Some((start, start + readme[start..].find(END)?)));
    let Some((start, end)) = found else {
        return Err(SuiteError::new(format!("no section between `{}` and `{END}`", BEGIN.trim())));
    };
    Ok(format!("{}\n{figures}\n{}", &readme[..start], &readme[end..]))
}

/// The figures as Markdown.
pub fn markdown(document: &Document) -> Result<String, SuiteError> {
    if !document.filters.is_empty() {
        let asked = document.filters.join(" ");
        return Err(SuiteError::new(format!("a run of a part of the suite ({asked})")));
    }
    if document.tests.iter().all(|row| row.flags.is_empty()) {
        return Err(SuiteError::new("the run was saved before runs told the flags of their tests"));
    }
    let (Some(revision), Some(date)) = (&document.revision, &document.date) else {
        return Err(SuiteError::new(
            "the checkout's revision and date are not told: --revision and --date name them",
        ));
    };
    let mut out = format!(
        "Test262 at commit {revision} of {date}, layout `{}`, at most {} operations a test.\n\n",
        document.layout, document.budget
    );
    let below = |folder: &'static str| {
        move |row: &&Row| row.path.strip_prefix(folder).is_some_and(|rest| rest.starts_with('/'))
    };
    let rows = || document.tests.iter();
    let mut table = Table::new(&mut out, "part");
    table.row("all tests", Sums::of(rows()));
    table.row("`language`", Sums::of(rows().filter(below("language"))));
    let core = "`language`, without features, not module, async or noStrict";
    table.row(core, Sums::of(rows().filter(below("language")).filter(is_core)));
    table.row("`built-ins`", Sums::of(rows().filter(below("built-ins"))));
    let listed: Vec<&str> = BUILT_INS.iter().flat_map(|(_, folders)| *folders).copied().collect();
    table.row("`built-ins`, those below", Sums::of(rows().filter(is_of(&listed))));
    for (name, folders) in BUILT_INS {
        table.row(name, Sums::of(rows().filter(is_of(folders))));
    }
    out.push('\n');
    let mut table = Table::new(&mut out, "feature");
    for feature in FEATURES {
        let has = |row: &&Row| row.features.iter().any(|name| name == feature);
        table.row(&format!("`{feature}`"), Sums::of(rows().filter(has)));
    }
    Ok(out)
}

/// Without features, and by its flags neither a module nor async nor sloppy.
fn is_core(row: &&Row) -> bool {
    let outside = |flag: &Flag| matches!(flag, Flag::Module | Flag::Async | Flag::NoStrict);
    row.features.is_empty() && !row.flags.iter().any(outside)
}

/// In one of these folders of `built-ins`.
fn is_of<'f>(folders: &'f [&'f str]) -> impl Fn(&&Row) -> bool + use<'f> {
    move |row| {
        let below = row.path.strip_prefix("built-ins/");
        let folder = below.and_then(|rest| rest.split_once('/')).map(|(folder, _)| folder);
        folder.is_some_and(|folder| folders.contains(&folder))
    }
}

/// A table that is written line by line.
struct Table<'o>(&'o mut String);

impl<'o> Table<'o> {
    fn new(out: &'o mut String, first: &str) -> Self {
        // Writing to a String cannot fail.
        let _ = writeln!(
            out,
            "| {first} | tests | passed | failed | unsupported | % of tests | crashed | over budget \
             | passed, % of supported |\n| --- |{}",
            " ---: |".repeat(8)
        );
        Table(out)
    }

    fn row(&mut self, name: &str, sums: Sums) {
        let Sums { tests, passed, failed, unsupported, crashed, over_budget } = sums;
        let _ = writeln!(
            self.0,
            "| {name} | {tests} | {passed} | {failed} | {unsupported} | {} | {crashed} \
             | {over_budget} | {} |",
            share(unsupported, tests),
            share(passed, tests - unsupported)
        );
    }
}
