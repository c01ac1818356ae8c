//! `pack`: compiles a script and writes its image to a file.
//!
//! It refuses to write over the script, and to pack what is packed.

use std::fs;

use anyhow::{Context, Result, bail};
use scruple_bench::build;
use scruple_bench::document::ImageBytes;

use super::args::PackArguments;
use super::terminal::Terminal;
use super::{Verdict, complain_of, options_with, read_script};

pub(crate) fn pack(arguments: &PackArguments, terminal: &Terminal) -> Result<Verdict> {
    let script = read_script(&arguments.script, &options_with(&arguments.set)?)?;
    if script.packed.is_some() {
        bail!("{}: an image already", script.name);
    }
    let to = &arguments.output;
    if is_same(&arguments.script, to) {
        bail!("{}: the image would take the place of the script", to.display());
    }
    let encoding = arguments.encoding.encoding;
    let [set, ..] = script.options.sets() else { bail!("no instruction set") };
    let compile = || build::compile_with(&script.text, encoding, set, !arguments.strip);
    let built = build::on_large_stack(compile).context("no thread to compile on")?;
    let built = match built {
        Ok(built) => built,
        Err(wrong) => {
            complain_of(&script, &wrong, terminal);
            return Ok(Verdict::Wrong);
        }
    };
    fs::write(to, &built.image).with_context(|| to.display().to_string())?;
    let image = script.options.open(&built.image).context("the compiler's image")?;
    let sizes = ImageBytes::from(image.sizes());
    terminal.write(&format!(
        "{}: {}, {} bytes = header {} + constants {} + functions {} + instructions {} + padding {} \
         + lines {}\n",
        to.display(),
        encoding.name(),
        sizes.total,
        sizes.header,
        sizes.constants,
        sizes.functions,
        sizes.instructions,
        sizes.padding,
        sizes.lines
    ))?;
    Ok(Verdict::Fine)
}

/// Whether two paths lead to one file. A path that leads nowhere yet does not.
fn is_same(one: &std::path::Path, other: &std::path::Path) -> bool {
    match (fs::canonicalize(one), fs::canonicalize(other)) {
        (Ok(one), Ok(other)) => one == other,
        _ => false,
    }
}
