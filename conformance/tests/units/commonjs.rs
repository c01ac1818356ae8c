//! Programs of several files, put together.

use scruple_conformance::commonjs::{File, script};
use scruple_conformance::{End, Outcome, Setup, run};

fn outcome(files: &[(&str, &str)], main: &str) -> Outcome {
    let file = |&(path, text): &(&str, &str)| File { path: path.into(), text: text.into() };
    let files: Vec<File> = files.iter().map(file).collect();
    run(&[&script(&files, main)], &Setup::default())
}

/// CommonJS Modules/1.1, "Module Context" 1 to 3 and "Module Identifiers" 1 to 6.
#[test]
fn files_require_each_other_as_the_specification_says() {
    let files = [
        (
            "main.js",
            "var a = require('./lib/a'); var b = require('./lib/b.js');\
             console.log(a.name, b(2), a === require('./lib/../lib/a'), this === exports, \
             typeof a.early, module.exports === exports);",
        ),
        // A cycle: what requires a module that is not done gets what there is of it.
        ("lib/a.js", "exports.early = 1; exports.name = 'a' + require('./').n;"),
        ("lib/b.js", "module.exports = function (n) { return n * require('../k').k; };"),
        ("lib/index.js", "exports.n = require('./a').early;"),
        ("k.js", "exports.k = 21"),
    ];
    let outcome = outcome(&files, "main.js");
    assert_eq!(outcome.end, End::Finished);
    assert_eq!(outcome.printed, "a1 42 true true number true\n");
}

#[test]
fn what_is_no_file_of_the_program_cannot_be_required() {
    for name in ["crypto", "./absent", "../main.js"] {
        let text = format!("require('{name}')");
        let outcome = outcome(&[("main.js", &text)], "main.js");
        let End::Threw(error) = outcome.end else { panic!("{name}: {:?}", outcome.end) };
        assert!(error.contains("Cannot find module"), "{error}");
    }
}
