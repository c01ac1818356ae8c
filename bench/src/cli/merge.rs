//! `merge`: documents of slices put together into that of one run.

use anyhow::{Result, bail};
use scruple_bench::compare::{Content, Saved};
use scruple_bench::report::{self, Format};
use scruple_bench::sets::{self, Sets};
use scruple_bench::{shard, sweep};
use scruple_bytecode::sets::SHIPPED_SETS;

use super::Verdict;
use super::args_corpus::MergeArguments;
use super::terminal::Terminal;

pub(crate) fn merge(arguments: &MergeArguments, terminal: &Terminal) -> Result<Verdict> {
    let (mut weighed, mut swept) = (Vec::new(), Vec::new());
    for file in &arguments.files {
        let Saved { name, content } = Saved::read(file)?;
        match content {
            Content::Weighed(document) => weighed.push((name, *document)),
            Content::Swept(document) => swept.push((name, *document)),
        }
    }
    if let (Some((one, _)), Some((other, _))) = (weighed.first(), swept.first()) {
        bail!("{one} is of weigh, {other} of sweep: unlike");
    }
    let (text, is_complete) = if weighed.is_empty() {
        let whole = sweep::merge(swept, sets_of(arguments)?)?;
        (report::render_sweep(&whole, arguments.format)?, whole.left_out.is_empty())
    } else {
        if arguments.format == Format::Svg {
            bail!("--format svg is for slices of sweep");
        }
        let whole = shard::merge(weighed)?;
        (report::render(&whole, arguments.format, false)?, whole.is_complete())
    };
    terminal.write(&text)?;
    Ok(if is_complete { Verdict::Fine } else { Verdict::Wrong })
}

/// The sets that images of the slices may name.
fn sets_of(arguments: &MergeArguments) -> Result<Sets> {
    let mut several = vec![SHIPPED_SETS];
    for file in &arguments.set {
        several.push(sets::read(file)?);
    }
    Ok(sets::all_of(&several))
}
