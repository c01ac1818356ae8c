//! `weigh`: gathers scripts, measures them, and writes the report.

use anyhow::{Result, ensure};
use scruple_bench::compare::Content;
use scruple_bench::document::Document;
use scruple_bench::limits::file::LimitFile;
use scruple_bench::limits::{self, Rewriting};
use scruple_bench::measure::{self, Plan};
use scruple_bench::report::{self, Format};
use scruple_bench::script;

use super::args::WeighArguments;
use super::terminal::Terminal;
use super::{Verdict, baseline, outputs, with_set};

/// How many sites `-v` shows of each peak.
const SITES: usize = 10;

pub(crate) fn weigh(arguments: &WeighArguments, terminal: &Terminal) -> Result<Verdict> {
    // A file that is wrong ends this before anything is measured.
    let before = baseline::read(&arguments.baseline)?;
    let limit_file = arguments.limits.as_deref().map(LimitFile::read).transpose()?;
    let mut candidates = script::gather(
        &arguments.paths,
        &with_set(arguments.options.to_options(), &arguments.set)?,
    )?;
    let settings = [arguments.limits.as_deref(), arguments.set.set.as_deref()];
    let inputs = outputs::files_of(&candidates).chain(settings.into_iter().flatten());
    outputs::refuse_inputs(arguments.baseline.save.as_deref(), inputs)?;
    super::note_ignored(&candidates, &arguments.encoding, terminal);
    let mut plan = Plan { layouts: arguments.layouts.chosen(), ..Plan::default() };
    plan.sites = arguments.verbose.then_some(SITES);
    if !arguments.encoding.is_empty() {
        plan.encodings = super::each_once(&arguments.encoding);
    }
    let slice = arguments.shard.map(|shard| shard.cut(&mut candidates, &plan));
    let n_rows: usize = candidates.iter().map(|one| plan.ways_of(one).len()).sum();
    let progress = terminal.progress(n_rows as u64, "weighing");
    let mut document = measure::weigh(&candidates, &plan, &|| progress.inc(1));
    progress.finish_and_clear();
    document.shard = slice;
    ensure!(document.adds_up(), "the figures do not add up: they are not shown");
    document.checks = limit_file.as_ref().map(|file| limits::judge(file.limits(), &document));
    terminal.write(&report::render(&document, arguments.format, arguments.verbose)?)?;
    if arguments.format != Format::Text {
        super::complain_of_rows(&document.rows, terminal);
        if let Some(checks) = &document.checks {
            terminal.complain(&report::render_checks(checks, false));
        }
    }
    // The verdict is of the limits and the baseline as they were.
    let json = report::render(&document, Format::Json, false)?;
    let now = Content::Weighed(Box::new(document.clone()));
    let holds =
        baseline::conclude(&arguments.baseline, before, now, &json, arguments.format, terminal)?;
    let verdict = match &limit_file {
        _ if !holds => Verdict::Exceeded,
        Some(_) if !document.keeps_limits() => Verdict::Exceeded,
        _ if !document.is_complete() => Verdict::Wrong,
        _ => Verdict::Fine,
    };
    if let Some(file) = &limit_file {
        rewrite(file, &document, arguments, terminal)?;
    }
    Ok(verdict)
}

/// Rewrites the limits, if that was asked for, and says so.
fn rewrite(
    file: &LimitFile,
    document: &Document,
    arguments: &WeighArguments,
    terminal: &Terminal,
) -> Result<()> {
    let how = Rewriting { tighten: arguments.tighten, loosen: arguments.loosen };
    if how == Rewriting::default() {
        return Ok(());
    }
    let reason = arguments.reason.as_deref().unwrap_or_default();
    let (n_down, n_up) = file.rewrite(document, how, reason)?;
    terminal.complain(&format!("limits rewritten: {n_down} tightened, {n_up} loosened\n"));
    Ok(())
}
