//! `compare`: two saved documents, side by side.

use anyhow::Result;
use scruple_bench::compare::{self as library, Question, Saved};
use scruple_bench::limits::Percent;
use scruple_bench::report;

use super::Verdict;
use super::args_corpus::CompareArguments;
use super::terminal::Terminal;

pub(crate) fn compare(arguments: &CompareArguments, terminal: &Terminal) -> Result<Verdict> {
    let (before, after) = (Saved::read(&arguments.before)?, Saved::read(&arguments.after)?);
    let allowed = arguments.allow.or(Percent::new(0.0)).filter(|_| arguments.fail_on_worse);
    let question = Question {
        encodings: arguments.encoding.clone(),
        layouts: arguments.layout.clone(),
        metrics: arguments.metric.clone(),
        allowed,
    };
    let comparison = library::compare(&before, &after, &question)?;
    let text = report::render_comparison(&comparison, arguments.format, arguments.verbose)?;
    terminal.write(&text)?;
    let holds = comparison.verdict.as_ref().is_none_or(|verdict| verdict.holds);
    Ok(if holds { Verdict::Fine } else { Verdict::Exceeded })
}
