//! The suite's harness, compiled: one image for each set of files that tests ask for.
//!
//! The files stand in one image and the test in another of the same context: the
//! compiler judges a test's source alone, and positions in it are right. A machine
//! holds four images, and a test may include more files than that.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use scruple_compiler::{DiagnosticKind, Diagnostics};

use super::checkout::Checkout;
use super::gaps::named_globals;
use super::hooks;

/// What every test needs that is not raw (INTERPRETING.md, "Test262-Defined Bindings").
const USUAL: [&str; 2] = ["assert.js", "sta.js"];

/// A compiled harness.
#[derive(Debug)]
pub struct Harness {
    /// The image.
    pub image: Vec<u8>,
    /// The globals that the included files name and do not declare.
    pub names: Vec<String>,
    /// Whether the host's hooks are in it.
    pub has_hooks: bool,
}

/// Why there is no harness for a test.
#[derive(Clone, Debug)]
pub enum Lack {
    /// A file lies outside the language.
    Unsupported(String),
    /// A file is missing, or refused as wrong.
    Wrong(String),
}

type Made = Arc<Result<Harness, Lack>>;

/// Compiles harnesses, each once.
#[derive(Debug)]
pub struct Harnesses<'a> {
    checkout: &'a Checkout,
    options: scruple_compiler::Options,
    made: Mutex<HashMap<(Vec<String>, bool), Made>>,
}

impl<'a> Harnesses<'a> {
    /// None made yet.
    pub fn new(checkout: &'a Checkout, options: scruple_compiler::Options) -> Self {
        Harnesses { checkout, options, made: Mutex::default() }
    }

    /// The harness with these files besides the usual ones, in this order.
    pub fn with(&self, includes: &[String], test_has_hooks: bool) -> Made {
        let key = (includes.to_vec(), test_has_hooks);
        let lock = || self.made.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(made) = lock().get(&key) {
            return Arc::clone(made);
        }
        // Two threads may make the same one: that costs less than a lock held long.
        let made = Arc::new(self.make(includes, test_has_hooks));
        Arc::clone(lock().entry(key).or_insert(made))
    }

    fn make(&self, includes: &[String], test_has_hooks: bool) -> Result<Harness, Lack> {
        let mut text = String::new();
        let mut names = Vec::new();
        let usual = USUAL.iter().map(|&name| (name, true));
        let asked = includes.iter().map(|name| (name.as_str(), false));
        for (name, is_usual) in usual.chain(asked) {
            let source = self
                .checkout
                .read_harness(name)
                .map_err(|error| Lack::Wrong(format!("harness: {error}")))?;
            // Alone first: a diagnostic then has its place in that file.
            let image = self.compile(name, &source)?;
            if !is_usual {
                names.extend(named_globals(&image));
            }
            text.push_str(&source);
            text.push('\n');
        }
        let has_hooks = test_has_hooks || text.contains(hooks::NAME);
        if has_hooks {
            text.insert_str(0, hooks::PRELUDE);
        }
        let image = self.compile("harness", &text)?;
        Ok(Harness { image, names, has_hooks })
    }

    fn compile(&self, name: &str, source: &str) -> Result<Vec<u8>, Lack> {
        match scruple_compiler::compile(source, &self.options) {
            Ok(compiled) => Ok(compiled.image),
            Err(diagnostics) => Err(lack(name, &diagnostics)),
        }
    }
}

fn lack(name: &str, diagnostics: &Diagnostics) -> Lack {
    let first = diagnostics.decisive();
    match first.kind() {
        DiagnosticKind::Unsupported => {
            Lack::Unsupported(format!("harness {name}: {}", first.message()))
        }
        _ => Lack::Wrong(format!("harness {name}: {first}")),
    }
}
