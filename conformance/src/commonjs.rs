//! Programs in files that `require` each other, as scripts for a machine that knows no
//! modules: a prelude, a script a file with the file's text as it is, and one that
//! starts the program.
//!
//! It owns `module`, `exports`, and the `require` of a program's own files (CommonJS
//! Modules/1.1). It refuses everything else: a `require` of what is no file of the
//! program throws, as where nothing else is installed, and there is no `process`, no
//! `Buffer`, no `window`.

/// A file of a program, under the path that others require it by.
#[derive(Clone, Debug)]
pub struct File {
    /// The path, such as `lib/heap.js`.
    pub path: String,
    /// The text, unmodified.
    pub text: String,
}

const PRELUDE: &str = include_str!("commonjs.js");

/// The scripts of a program, to be run one after the other in one context. `main` is
/// the path of the file to start with.
///
/// A file's first line stays its first line; its text is a function's body, so that its
/// variables are its own, and `return` would be allowed.
pub fn scripts(files: &[File], main: &str) -> Vec<String> {
    let mut scripts = vec![PRELUDE.to_owned()];
    for File { path, text } in files {
        let path = serde_json::Value::from(path.as_str());
        scripts.push(format!(
            "commonjs.define({path}, function (module, exports, require) {{{text}\n}});"
        ));
    }
    scripts.push(format!("commonjs.start({});", serde_json::Value::from(main)));
    scripts
}

#[cfg(test)]
mod tests {
    use super::{File, scripts};
    use crate::{End, Outcome, Setup, run};

    fn outcome(files: &[(&str, &str)], main: &str) -> Outcome {
        let file = |&(path, text): &(&str, &str)| File { path: path.into(), text: text.into() };
        let files: Vec<File> = files.iter().map(file).collect();
        let scripts = scripts(&files, main);
        let scripts: Vec<&str> = scripts.iter().map(String::as_str).collect();
        run(&scripts, &Setup::default())
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
}
