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
