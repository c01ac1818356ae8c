//! The sources at hand: ours, and those of the packages.
//!
//! A source has a name that does not depend on where it was found.

use std::fs;
use std::path::{Path, PathBuf};

use oxc_allocator::Allocator;
use oxc_parser::Parser;
use oxc_span::{GetSpan, SourceType};
use scruple_conformance::packages::{self, Packages};
use serde::Deserialize;

/// A source and its name.
pub(crate) struct Source {
    pub(crate) name: String,
    pub(crate) text: String,
}

/// All sources at hand, sorted by name.
pub(crate) fn all(packages: &Packages) -> Vec<Source> {
    let mut sources = Vec::new();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    for folder in ["samples", "conformance/yardstick", "bench/yardstick"] {
        below(&root, folder, &mut sources);
    }
    cases(&root.join("conformance/cases"), &mut sources);
    let list = packages::read_list(packages::LIST).expect("the list");
    for package in &list {
        below(packages.folder("").as_path(), &package.name, &mut sources);
    }
    sources.extend(everything(packages).into_iter().flat_map(|(_, pieces)| pieces));
    if let Some(checkout) = std::env::var_os("SCRUPLE_SUITE") {
        below(Path::new(&checkout), "test", &mut sources);
    }
    sources.sort_by(|a, b| a.name.cmp(&b.name));
    sources
}

/// The files of `everything.js` in pieces: their statements, as oxc cuts them apart in
/// sloppy mode, which the files are written for.
pub(crate) fn everything(packages: &Packages) -> Vec<(&'static str, Vec<Source>)> {
    let script = SourceType::cjs().with_script(true);
    let files =
        [("es5.js", script), ("es2015-script.js", script), ("es2015-module.js", SourceType::mjs())];
    let pieces = |(file, goal): (&'static str, SourceType)| {
        let text = packages.read("everything.js", file).expect("the file");
        let arena = Allocator::default();
        let parsed = Parser::new(&arena, &text, goal).parse();
        assert!(!parsed.panicked, "{file}: {:?}", parsed.errors);
        let spans = parsed.program.body.iter().map(GetSpan::span);
        let pieces = spans.enumerate().map(|(n, span)| Source {
            name: format!("everything.js/{file}, statement {n}"),
            text: text[span.start as usize..span.end as usize].to_owned(),
        });
        (file, pieces.collect())
    };
    files.map(pieces).into()
}

/// The scripts in a folder and below it. What is no UTF-8 is no source text of ours, nor
/// of oxc's: neither is asked.
fn below(root: &Path, folder: &str, sources: &mut Vec<Source>) {
    for path in scripts(&root.join(folder)) {
        let name = path.strip_prefix(root).expect("below").to_string_lossy().into_owned();
        if let Ok(text) = fs::read_to_string(&path) {
            sources.push(Source { name, text });
        }
    }
}

fn scripts(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let entries = fs::read_dir(folder).unwrap_or_else(|error| panic!("{folder:?}: {error}"));
    for entry in entries {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.extend(scripts(&path));
        } else if path.extension().is_some_and(|end| end == "js" || end == "cjs") {
            found.push(path);
        }
    }
    found
}

/// The sources of the cases.
fn cases(folder: &Path, sources: &mut Vec<Source>) {
    #[derive(Deserialize)]
    struct File {
        case: Vec<Case>,
    }
    #[derive(Deserialize)]
    struct Case {
        name: String,
        source: String,
    }
    for entry in fs::read_dir(folder).expect("the cases") {
        let path = entry.expect("an entry").path();
        let text = fs::read_to_string(&path).expect("cases");
        let file: File = toml::from_str(&text).expect("a file of cases");
        let stem = path.file_stem().expect("a name").to_string_lossy().into_owned();
        sources.extend(file.case.into_iter().map(|Case { name, source }| Source {
            name: format!("cases/{stem}: {name}"),
            text: source,
        }));
    }
}
