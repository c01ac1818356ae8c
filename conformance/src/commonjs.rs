//! Programs in files that `require` each other, as one script for a machine that knows
//! no modules: a prelude, the text of each file as it is, and a line that starts them.
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

/// The script of a program. `main` is the path of the file to start with.
///
/// A file's text is a function's body: its variables are its own, and `return` would be
/// allowed outside its functions.
pub fn script(files: &[File], main: &str) -> String {
    let mut script = PRELUDE.to_owned();
    let quoted = |path: &str| serde_json::Value::from(path).to_string();
    for File { path, text } in files {
        let path = quoted(path);
        script.push_str(&format!(
            "commonjs.define({path}, function (module, exports, require) {{{text}\n}});\n"
        ));
    }
    script.push_str(&format!("commonjs.start({});\n", quoted(main)));
    script
}

#[cfg(test)]
mod tests {
    use super::{File, script};
    use crate::{End, Outcome, Setup, run};

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
}
