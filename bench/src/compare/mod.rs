//! Comparing two saved documents of `weigh` or of `sweep`, row by row.
//!
//! It owns what is like: the same kind of document in the form this program writes, the
//! same encodings and layouts, whole ones. It refuses unlike things with the reason, and
//! a verdict fails closed: a row that has no figure any more is not taken for a good one.

pub mod document;

use std::collections::{BTreeSet, HashMap};
use std::path::Path;

use anyhow::{Context, Result, anyhow, bail, ensure};
use scruple_bytecode::Encoding;
use serde_json::Value;

use crate::document::{Document, Row, SCHEMA as WEIGH_SCHEMA};
use crate::files;
use crate::layout::HeapLayout;
use crate::limits::{Metric, Percent};
use crate::sweep::document::{SCHEMA as SWEEP_SCHEMA, Sweep, named};
use document::{Change, Comparison, Missing, SCHEMA, Step, Sum, Verdict};

/// A saved document.
#[derive(Debug)]
pub struct Saved {
    /// Where it came from.
    pub name: String,
    /// What it holds.
    pub content: Content,
}

/// A document that was read back.
#[derive(Debug)]
pub enum Content {
    /// One of `weigh`.
    Weighed(Box<Document>),
    /// One of `sweep`.
    Swept(Box<Sweep>),
}

impl Content {
    /// Whether every script has its figures.
    pub fn is_complete(&self) -> bool {
        match self {
            Content::Weighed(document) => document.is_complete(),
            Content::Swept(sweep) => sweep.left_out.is_empty(),
        }
    }
}

/// What to compare, and what counts as worse.
#[derive(Clone, Debug, Default)]
pub struct Question {
    /// Only these encodings; all of both unless given.
    pub encodings: Vec<Encoding>,
    /// Only these layouts.
    pub layouts: Vec<HeapLayout>,
    /// Only these metrics.
    pub metrics: Vec<Metric>,
    /// How much more a figure may be, if a verdict is wanted.
    pub allowed: Option<Percent>,
}

impl Saved {
    /// Reads a file.
    pub fn read(path: &Path) -> Result<Saved> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path)
            .map_err(|error| anyhow!("{name}: {}", files::reason(&error)))?;
        Saved::parse(&name, &text)
    }

    /// Reads a text. What it is, its fields tell.
    pub fn parse(name: &str, text: &str) -> Result<Saved> {
        let value: Value = serde_json::from_str(text)
            .with_context(|| format!("{name}: no JSON of `--format json`"))?;
        let (kind, wanted) = match () {
            () if value.get("points").is_some() => ("sweep", SWEEP_SCHEMA),
            () if value.get("totals").is_some() => ("weigh", WEIGH_SCHEMA),
            () => bail!("{name}: neither a document of weigh nor one of sweep"),
        };
        let schema = value.get("schema").and_then(Value::as_u64).unwrap_or(0);
        ensure!(
            schema == u64::from(wanted),
            "{name}: {kind} in schema {schema}, this program knows {wanted}: measure it again"
        );
        ensure!(
            sum_of(&value).is_some_and(|sum| sum <= MOST_SUM),
            "{name}: figures that add up to more than {MOST_SUM}: nothing that was measured"
        );
        let wrong = || format!("{name}: no document of {kind}");
        let content = match kind {
            "sweep" => Content::Swept(serde_json::from_value(value).with_context(wrong)?),
            _ => Content::Weighed(serde_json::from_value(value).with_context(wrong)?),
        };
        Ok(Saved { name: name.to_owned(), content })
    }

    fn kind(&self) -> &'static str {
        match self.content {
            Content::Weighed(_) => "weigh",
            Content::Swept(_) => "sweep",
        }
    }

    fn rows(&self) -> &[Row] {
        match &self.content {
            Content::Weighed(document) => &document.rows,
            Content::Swept(sweep) => &sweep.rows,
        }
    }

    fn check_whole(&self) -> Result<()> {
        let shard = match &self.content {
            Content::Weighed(document) => &document.shard,
            Content::Swept(sweep) => &sweep.shard,
        };
        let name = &self.name;
        ensure!(shard.is_none(), "{name}: a slice of a measurement: `scruple merge` them first");
        Ok(())
    }
}

/// The most that all figures of a document may add up to. No sum over some of them can then
/// wrap around, nor one over as many documents as there may be slices; a measurement of a
/// thousand scripts that each spend the usual budget is a tenth of it.
const MOST_SUM: u64 = 1 << 50;

/// All the numbers of a document added up, if that can be told.
fn sum_of(value: &Value) -> Option<u64> {
    match value {
        Value::Number(number) if number.as_i64().is_some_and(i64::is_negative) => Some(0),
        Value::Number(number) => number.as_u64(),
        Value::Array(values) => {
            values.iter().try_fold(0, |sum: u64, value| sum.checked_add(sum_of(value)?))
        }
        Value::Object(fields) => {
            fields.values().try_fold(0, |sum: u64, value| sum.checked_add(sum_of(value)?))
        }
        _ => Some(0),
    }
}

/// How a row is known in both.
type Key = (String, String, Option<String>, HeapLayout);

fn key(row: &Row) -> Key {
    (row.script.clone(), row.encoding.clone(), row.set.clone(), row.layout)
}

/// A row's encoding, with its instruction set if it has one: unlike sets are not added up.
fn name_of(row: &Row) -> String {
    named(&row.encoding, row.set.as_deref())
}

/// Sets two documents side by side.
pub fn compare(before: &Saved, after: &Saved, question: &Question) -> Result<Comparison> {
    before.check_whole()?;
    after.check_whole()?;
    if before.kind() != after.kind() {
        let (one, other) = (before.kind(), after.kind());
        bail!("{} is of {one}, {} of {other}: unlike", before.name, after.name);
    }
    check_there(before, after, question)?;
    let (old, new) = (chosen(before, question), chosen(after, question));
    check_like(before, &old, after, &new)?;
    let metrics: Vec<Metric> = match question.metrics.as_slice() {
        [] => Metric::all().collect(),
        some => some.to_vec(),
    };
    let by_key: HashMap<Key, &Row> = new.iter().map(|row| (key(row), *row)).collect();
    let mut comparison = Comparison {
        schema: SCHEMA,
        before: before.name.clone(),
        after: after.name.clone(),
        rows: 0,
        figures: 0,
        sums: Vec::new(),
        changes: Vec::new(),
        missing: Vec::new(),
        verdict: None,
    };
    for row in &old {
        compare_row(row, by_key.get(&key(row)).copied(), &metrics, question, &mut comparison);
    }
    let known: BTreeSet<Key> = old.iter().map(|row| key(row)).collect();
    for row in new.iter().filter(|row| !known.contains(&key(row))) {
        comparison.missing.push(missing(row, "only in the second".to_owned(), true));
    }
    ensure!(
        comparison.rows > 0 || old.is_empty() || !comparison.missing.iter().all(|m| m.is_new),
        "no row in common"
    );
    comparison.verdict = question.allowed.map(|allowed| judge(&comparison, &metrics, allowed));
    Ok(comparison)
}

/// What is asked for must be there: of what neither has, nothing differs, and a verdict on it
/// would be one on nothing.
fn check_there(before: &Saved, after: &Saved, question: &Question) -> Result<()> {
    let rows = || before.rows().iter().chain(after.rows());
    let absent = |what: &str, name: &str| {
        format!("no row of {what} {name} in {} or in {}", before.name, after.name)
    };
    for encoding in question.encodings.iter().map(|encoding| encoding.name()) {
        ensure!(rows().any(|row| row.encoding == encoding), absent("encoding", encoding));
    }
    for &layout in &question.layouts {
        ensure!(rows().any(|row| row.layout == layout), absent("layout", layout.name()));
    }
    let has_any = [before, after].iter().any(|saved| !chosen(saved, question).is_empty());
    ensure!(has_any, "no row of what is asked for in {} or in {}", before.name, after.name);
    for &metric in &question.metrics {
        let has_metric = |row: &Row| {
            // A row that failed has none of its figures: that is not the metric's fault.
            row.figures.as_ref().is_none_or(|figures| metric.read(figures).is_some())
        };
        ensure!(rows().any(has_metric), absent("metric", metric.name()));
    }
    Ok(())
}

fn chosen<'a>(saved: &'a Saved, question: &Question) -> Vec<&'a Row> {
    let is_wanted = |row: &&Row| {
        let encodings = &question.encodings;
        (encodings.is_empty() || encodings.iter().any(|one| one.name() == row.encoding))
            && (question.layouts.is_empty() || question.layouts.contains(&row.layout))
    };
    saved.rows().iter().filter(is_wanted).collect()
}

/// Sums over unlike encodings or layouts would be of unlike things.
fn check_like(before: &Saved, old: &[&Row], after: &Saved, new: &[&Row]) -> Result<()> {
    fn names<'a>(rows: &[&'a Row], name: fn(&'a Row) -> &'a str) -> BTreeSet<&'a str> {
        rows.iter().map(|row| name(row)).collect()
    }
    fn listed(names: &BTreeSet<&str>) -> String {
        if names.is_empty() {
            return "none".to_owned();
        }
        names.iter().copied().collect::<Vec<_>>().join(", ")
    }
    type Check = (&'static str, &'static str, fn(&Row) -> &str);
    let checks: [Check; 3] = [
        ("encodings", "--encoding", |row| &row.encoding),
        ("sets", "--encoding", |row| row.set.as_deref().unwrap_or("no set")),
        ("layouts", "--layout", |row| row.layout.name()),
    ];
    for (what, option, name) in checks {
        let (one, other) = (names(old, name), names(new, name));
        ensure!(
            one == other,
            "unlike {what}: {} has {}, {} has {}; {option} compares some of them",
            before.name,
            listed(&one),
            after.name,
            listed(&other)
        );
    }
    Ok(())
}

fn compare_row(
    old: &Row,
    new: Option<&Row>,
    metrics: &[Metric],
    question: &Question,
    comparison: &mut Comparison,
) {
    let reason = match (old, new) {
        (_, None) => Some("only in the first".to_owned()),
        (Row { error: Some(error), .. }, _) => Some(format!("before: {}", error.describe())),
        (_, Some(Row { error: Some(error), .. })) => Some(format!("after: {}", error.describe())),
        (Row { answer_checked: true, .. }, Some(Row { answer_checked: false, .. })) => {
            Some("its answer was checked before and is not now".to_owned())
        }
        _ => None,
    };
    if let Some(reason) = reason {
        comparison.missing.push(missing(old, reason, false));
        return;
    }
    let (Some(before), Some(after)) =
        (old.figures.as_ref(), new.and_then(|row| row.figures.as_ref()))
    else {
        comparison.missing.push(missing(old, "a row without figures".to_owned(), false));
        return;
    };
    comparison.rows += 1;
    for &metric in metrics {
        let (Some(before), Some(after)) = (metric.read(before), metric.read(after)) else {
            continue;
        };
        comparison.figures += 1;
        add(&mut comparison.sums, old, metric, before, after);
        if before != after {
            let allowed = question.allowed;
            let is_worse =
                allowed.is_some_and(|allowed| after > before.saturating_add(allowed.of(before)));
            comparison.changes.push(Change {
                script: old.script.clone(),
                encoding: name_of(old),
                layout: old.layout,
                metric: metric.name().to_owned(),
                step: Step::new(before, after),
                is_worse,
            });
        }
    }
}

fn add(sums: &mut Vec<Sum>, row: &Row, metric: Metric, before: u64, after: u64) {
    let is_like = |sum: &Sum| {
        sum.metric == metric.name() && sum.encoding == name_of(row) && sum.layout == row.layout
    };
    let index = sums.iter().position(is_like).unwrap_or_else(|| {
        sums.push(Sum {
            encoding: name_of(row),
            layout: row.layout,
            metric: metric.name().to_owned(),
            is_largest: !metric.has_sum(),
            step: Step::new(0, 0),
            rows: 0,
            less: 0,
            more: 0,
        });
        sums.len() - 1
    });
    let sum = &mut sums[index];
    let Step { before: old, after: new, .. } = sum.step;
    sum.step = if sum.is_largest {
        Step::new(old.max(before), new.max(after))
    } else {
        Step::new(old + before, new + after)
    };
    sum.rows += 1;
    sum.less += u64::from(after < before);
    sum.more += u64::from(after > before);
}

fn missing(row: &Row, reason: String, is_new: bool) -> Missing {
    Missing {
        script: row.script.clone(),
        encoding: name_of(row),
        layout: row.layout,
        reason,
        is_new,
    }
}

fn judge(comparison: &Comparison, metrics: &[Metric], allowed: Percent) -> Verdict {
    let worse = comparison.changes.iter().filter(|change| change.is_worse).count() as u64;
    let not_measured = comparison.missing.iter().filter(|row| !row.is_new).count() as u64;
    Verdict {
        metrics: metrics.iter().map(|metric| metric.name().to_owned()).collect(),
        allowed_thousandths: allowed.thousandths(),
        worse,
        not_measured,
        holds: worse == 0 && not_measured == 0 && comparison.rows > 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::{RowError, Stage};
    use crate::measure::{Plan, weigh};
    use crate::script::Script;

    fn document(encodings: &[Encoding]) -> Document {
        let scripts = [("a.js", "console.log(1);"), ("b.js", "console.log([1, 2].length);")];
        let candidates = scripts.map(|(name, text)| Script::from_text(name, text, None).into());
        let plan = Plan { encodings: encodings.to_vec(), ..Plan::default() };
        weigh(&candidates, &plan, &|| ())
    }

    fn saved(name: &str, document: &Document) -> Saved {
        Saved::parse(name, &serde_json::to_string(document).unwrap()).unwrap()
    }

    fn strict() -> Question {
        Question { allowed: Percent::new(0.0), ..Question::default() }
    }

    #[test]
    fn the_same_twice_differs_in_nothing() {
        let saved = saved("a", &document(&[Encoding::Leb]));
        let comparison = compare(&saved, &saved, &strict()).unwrap();
        assert_eq!((comparison.rows, comparison.changes.len()), (2, 0));
        assert!(comparison.verdict.unwrap().holds);
        assert!(comparison.sums.iter().all(|sum| sum.rows == 2 && sum.step.difference == 0));
    }

    #[test]
    fn what_takes_more_is_told_with_difference_and_per_cent_and_is_worse() {
        let old = document(&[Encoding::Leb]);
        let mut new = old.clone();
        let figures = new.rows[1].figures.as_mut().unwrap();
        let before = figures.instructions;
        figures.instructions += 1;
        figures.allocations -= 1;
        let (old, new) = (saved("old", &old), saved("new", &new));
        let comparison = compare(&old, &new, &strict()).unwrap();
        let [more, less] = comparison.changes.as_slice() else { panic!("two changes") };
        assert_eq!((more.script.as_str(), more.metric.as_str()), ("b.js", "instructions"));
        assert_eq!((more.step.before, more.step.difference, more.is_worse), (before, 1, true));
        assert_eq!(more.step.percent_hundredths, Some(10_000 / before as i64));
        assert_eq!((less.step.difference, less.is_worse), (-1, false));
        let verdict = comparison.verdict.unwrap();
        assert_eq!((verdict.worse, verdict.holds), (1, false));
        let lenient = Question { allowed: Percent::new(100.0), ..Question::default() };
        assert!(compare(&old, &new, &lenient).unwrap().verdict.unwrap().holds);
        let other =
            Question { metrics: vec![Metric::from_name("instruction_bytes").unwrap()], ..strict() };
        assert!(compare(&old, &new, &other).unwrap().verdict.unwrap().holds);
    }

    #[test]
    fn a_row_that_is_lost_or_failed_fails_closed_and_a_new_one_does_not() {
        let old = document(&[Encoding::Leb]);
        let mut fewer = old.clone();
        fewer.rows.pop();
        let mut failed = old.clone();
        failed.rows[1].figures = None;
        failed.rows[1].error = Some(RowError::new(Stage::Answer, "wrong answer".to_owned()));
        let (old, fewer, failed) =
            (saved("old", &old), saved("fewer", &fewer), saved("failed", &failed));
        let verdict = |before, after| compare(before, after, &strict()).unwrap().verdict.unwrap();
        assert_eq!((verdict(&old, &fewer).not_measured, verdict(&old, &fewer).holds), (1, false));
        assert!(!verdict(&old, &failed).holds);
        assert!(!verdict(&failed, &old).holds, "there is no baseline to hold it against");
        assert!(verdict(&fewer, &old).holds, "a new script is no loss");
    }

    #[test]
    fn unlike_things_are_refused_with_the_reason() {
        let leb = document(&[Encoding::Leb]);
        let both = saved("both", &document(&[Encoding::Leb, Encoding::Byte]));
        let one = saved("one", &leb);
        let refusal = |a: &Saved, b: &Saved, question: &Question| {
            compare(a, b, question).unwrap_err().to_string()
        };
        assert_eq!(
            refusal(&both, &one, &strict()),
            "unlike encodings: both has byte, leb, one has leb; --encoding compares some of them"
        );
        let some = Question { encodings: vec![Encoding::Leb], ..strict() };
        assert_eq!(compare(&both, &one, &some).unwrap().rows, 2);
        let wide = Question { layouts: vec![HeapLayout::Wide], ..strict() };
        assert_eq!(refusal(&one, &one, &wide), "no row of layout wide in one or in one");
        let word = Question { encodings: vec![Encoding::Leb, Encoding::Word], ..strict() };
        assert_eq!(refusal(&both, &one, &word), "no row of encoding word in both or in one");
        let metric = Metric::from_name("compile_peak_asked_bytes").unwrap();
        let packed = {
            let mut packed = document(&[Encoding::Leb]);
            for row in &mut packed.rows {
                row.figures.as_mut().unwrap().compile_peak.asked = None;
            }
            saved("packed", &packed)
        };
        let asked = Question { metrics: vec![metric], ..Question::default() };
        let said = "no row of metric compile_peak_asked_bytes in packed or in packed";
        assert_eq!(refusal(&packed, &packed, &asked), said);
        let none = saved("none", &Document::new(Vec::new()));
        assert!(refusal(&none, &none, &Question::default()).starts_with("no row"));
        let parse = |text: &str| Saved::parse("x", text).unwrap_err().to_string();
        let mut large = leb.clone();
        for row in &mut large.rows {
            row.figures.as_mut().unwrap().instructions = u64::MAX / 2 + 1;
        }
        let large = serde_json::to_string(&large).unwrap();
        assert!(
            parse(&large).starts_with("x: figures that add up to more than"),
            "{}",
            parse(&large)
        );
        assert!(parse("{").starts_with("x: no JSON"));
        assert_eq!(parse("{}"), "x: neither a document of weigh nor one of sweep");
        let old = serde_json::to_string(&Document { schema: 1, ..leb }).unwrap();
        assert_eq!(parse(&old), "x: weigh in schema 1, this program knows 2: measure it again");
    }
}
