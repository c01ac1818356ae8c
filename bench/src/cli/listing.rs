//! `listing`: a script's instructions with the source lines they are of, as text or as a page.

use anyhow::{Context, Result, bail};
use scruple_bench::listed::Listed;
use scruple_bench::report::{self, Format};
use scruple_bench::trace::functions_named;
use scruple_bytecode::listing;
use scruple_bytecode::operand::FunctionId;

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
    let named = arguments.function.as_deref().map(|name| functions_named(&image, name));
    if let (Some([]), Some(name)) = (named.as_deref(), &arguments.function) {
        bail!("{}: {}", script.name, super::no_function(&image, name));
    }
    let mut text = String::new();
    match (arguments.format, named) {
        (Format::Html, named) => {
            let functions: Vec<FunctionId> = match named {
                Some(named) => named.into_iter().map(|(id, _)| id).collect(),
                None => (0..image.n_functions()).filter_map(FunctionId::new).collect(),
            };
            let listed = Listed::new(&script.name, &image, functions, source);
            text = report::render_listing(&listed);
        }
        (_, None) => listing::write(&mut text, &image, source)?,
        (_, Some(named)) => {
            for (id, _) in named {
                listing::write_function(&mut text, &image, id, source)?;
            }
        }
    }
    terminal.write(&text)?;
    Ok(Verdict::Fine)
}
