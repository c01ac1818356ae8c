//! `sweep`: every encoding over every layout on a corpus, with the bounds.

use std::path::PathBuf;

use anyhow::Result;
use scruple_bench::compare::Content;
use scruple_bench::layout::HeapLayout;
use scruple_bench::measure::Plan;
use scruple_bench::options::RunOptions;
use scruple_bench::report::{self, Format};
use scruple_bench::sets::{self, Sets};
use scruple_bench::{script, sweep as library};
use scruple_bytecode::sets::SHIPPED_SETS;

use super::args_corpus::SweepArguments;
use super::terminal::Terminal;
use super::{Verdict, baseline, outputs, usage};

pub(crate) fn sweep(arguments: &SweepArguments, terminal: &Terminal) -> Result<Verdict> {
    let is_json = arguments.format == Format::Json;
    usage(arguments.shard.is_none() || is_json, "--shard wants --format json: see merge")?;
    let before = baseline::read(&arguments.baseline)?;
    let sets: Vec<Sets> = match arguments.set.as_slice() {
        [] => vec![SHIPPED_SETS],
        files => files.iter().map(|file| sets::read(file)).collect::<Result<_, _>>()?,
    };
    let sets = sets::each_once(&sets);
    let options = RunOptions { sets: sets.first().copied(), ..arguments.options.to_options() };
    let mut candidates = script::gather(&arguments.paths, &options)?;
    let settings = arguments.set.iter().map(PathBuf::as_path);
    let inputs = outputs::files_of(&candidates).chain(settings);
    outputs::refuse_inputs(arguments.baseline.save.as_deref(), inputs)?;
    let mut plan = Plan { layouts: HeapLayout::ALL.to_vec(), ..Plan::default() };
    if !arguments.encoding.is_empty() {
        plan.encodings = super::each_once(&arguments.encoding);
    }
    if !arguments.layout.is_empty() {
        plan.layouts = super::each_once(&arguments.layout);
    }
    let slice = arguments.shard.map(|shard| shard.cut(&mut candidates, &plan));
    let n_rows: usize = candidates.iter().map(|one| plan.ways_of(one).len()).sum();
    let progress = terminal.progress(n_rows as u64, "sweeping");
    let document = library::sweep(&candidates, &plan, slice, &sets, &|| progress.inc(1));
    progress.finish_and_clear();
    let mut document = document?;
    if let Some(rounds) = arguments.time.filter(|_| !document.points.is_empty()) {
        let progress = terminal.progress(u64::from(rounds), "timing");
        library::add_times(&mut document, &candidates, &sets, rounds, &|| progress.inc(1))?;
        progress.finish_and_clear();
    }
    terminal.write(&report::render_sweep(&document, arguments.format)?)?;
    if arguments.format != Format::Text {
        super::complain_of_rows(&document.rows, terminal);
    }
    let is_complete = document.left_out.is_empty();
    let json = report::render_sweep(&document, Format::Json)?;
    let now = Content::Swept(Box::new(document));
    let holds =
        baseline::conclude(&arguments.baseline, before, now, &json, arguments.format, terminal)?;
    Ok(match (holds, is_complete) {
        (false, _) => Verdict::Exceeded,
        (_, false) => Verdict::Wrong,
        _ => Verdict::Fine,
    })
}
