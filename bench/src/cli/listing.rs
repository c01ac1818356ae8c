//! `listing`: a script's instructions as text, with the source lines they are of.

use anyhow::{Context, Result, bail};
use scruple_bench::trace::functions_named;
use scruple_bytecode::listing;

use super::args::ListingArguments;
use super::terminal::Terminal;
use super::{Verdict, build_or_explain, options_with, read_script};

pub(crate) fn listing(arguments: &ListingArguments, terminal: &Terminal) -> Result<Verdict> {
    let script = read_script(&arguments.script, &options_with(&arguments.set)?)?;
    let Some(built) = build_or_explain(&script, &arguments.encoding, terminal)? else {
        return Ok(Verdict::Wrong);
    };
    let image = script.options.open(&built.image).context("the compiler's image")?;
    let source = script.packed.is_none().then_some(script.text.as_str());
    let mut text = String::new();
    match &arguments.function {
        None => listing::write(&mut text, &image, source)?,
        Some(name) => {
            let functions = functions_named(&image, name);
            if functions.is_empty() {
                bail!("{}: {}", script.name, super::no_function(&image, name));
            }
            for (id, _) in functions {
                listing::write_function(&mut text, &image, id, source)?;
            }
        }
    }
    terminal.write(&text)?;
    Ok(Verdict::Fine)
}
