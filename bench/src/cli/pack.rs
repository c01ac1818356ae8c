//! `pack`: compiles a script and writes its image to a file.
//!
//! It refuses to write over the script and its instruction set, and to pack what is packed.

use std::path::Path;

use anyhow::{Context, Result, bail};
use scruple_bench::build;
use scruple_bench::document::ImageBytes;

use super::args::PackArguments;
use super::terminal::Terminal;
use super::{Verdict, complain_of, options_with, outputs, read_script};

pub(crate) fn pack(arguments: &PackArguments, terminal: &Terminal) -> Result<Verdict> {
    let script = read_script(&arguments.script, &options_with(&arguments.set)?)?;
    if script.packed.is_some() {
        bail!("{}: an image already", script.name);
    }
    let to = &arguments.output;
    let is_stream = to == Path::new("-");
    if !is_stream {
        let inputs = outputs::files_of_script(&script).chain(arguments.set.set.as_deref());
        outputs::refuse_inputs(Some(to), inputs)?;
    }
    let encoding = arguments.encoding.chosen();
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
    let image = script.options.open(&built.image).context("the compiler's image")?;
    let sizes = ImageBytes::from(image.sizes());
    let report = format!(
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
    );
    if is_stream {
        terminal.write_bytes(&built.image)?;
        terminal.complain(&report);
    } else {
        outputs::write(to, &built.image)?;
        terminal.write(&report)?;
    }
    Ok(Verdict::Fine)
}
