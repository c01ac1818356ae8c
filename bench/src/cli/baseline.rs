//! Holding a measurement against a saved one, and saving it.
//!
//! It owns the order: the baseline is read before anything is measured, the verdict is
//! reached before anything is written, and what was not measured whole is never saved. It
//! refuses to compare unlike things, as `compare` does, and then saves nothing; and to let
//! what became worse take the baseline's place: the next run would find nothing amiss.

use anyhow::{Result, bail};
use scruple_bench::compare::{Content, Question, Saved, compare};
use scruple_bench::limits::Percent;
use scruple_bench::report::{self, Format};

use super::args_corpus::Baseline;
use super::outputs::{self, is_same};
use super::terminal::Terminal;

/// The baseline, if there is one, as it was before this run.
pub(crate) fn read(arguments: &Baseline) -> Result<Option<Saved>> {
    arguments.baseline.as_deref().map(Saved::read).transpose()
}

/// Sets what was measured beside the baseline and tells whether it holds; then saves it, if
/// that is asked for. `json` is the document as it is saved.
pub(crate) fn conclude(
    arguments: &Baseline,
    baseline: Option<Saved>,
    now: Content,
    json: &str,
    format: Format,
    terminal: &Terminal,
) -> Result<bool> {
    let is_whole = now.is_complete();
    let mut holds = true;
    if let Some(before) = baseline {
        let question = Question {
            metrics: arguments.metric.clone(),
            allowed: arguments.allow.or(Percent::new(0.0)),
            ..Question::default()
        };
        let after = Saved { name: "now".to_owned(), content: now };
        let comparison = compare(&before, &after, &question)?;
        let text = report::render_comparison(&comparison, Format::Text, false)?;
        match format {
            Format::Text => terminal.write(&format!("\n{text}"))?,
            // Standard output is one document.
            _ => terminal.complain(&text),
        }
        holds = comparison.verdict.is_some_and(|verdict| verdict.holds);
    }
    if let Some(path) = &arguments.save {
        if !is_whole {
            bail!("{}: not saved: a script has no figures", path.display());
        }
        let replaces = arguments.baseline.as_deref().is_some_and(|old| is_same(old, path));
        if replaces && !holds {
            terminal.complain(&format!(
                "not saved: {0} is the baseline, which does not hold; --save {0} without --baseline \
                 accepts what was measured\n",
                path.display()
            ));
        } else {
            outputs::write(path, json.as_bytes())?;
            terminal.complain(&format!("saved: {}\n", path.display()));
        }
    }
    Ok(holds)
}
