//! The file of limits: TOML, read with the place of every fault, and rewritten with
//! its comments kept.
//!
//! ```toml
//! [[script]]
//! name = "samples/kernels/fib.js"     # as the report names it
//! encoding = "implied"                # every one that is measured, unless given
//! layout = "narrow"                   # narrow, unless given
//!
//! [script.limits]
//! image_bytes = 420
//! heap_high_water_bytes = { most = 800, reason = "a second queue" }
//! instructions = { was = 238962, percent = 0.5 }
//! instruction_bytes = { of = "byte", percent = 60 }
//! ```
//!
//! It refuses what it does not know. It never leaves half a file ([`files`]).

use std::fmt;
use std::fs;
use std::ops::Range;
use std::path::{Path, PathBuf};

use scruple_bytecode::Encoding;
use toml_edit::{DocumentMut, InlineTable, Item, Table, TableLike, Value};

use crate::document::Document;
use crate::files;
use crate::layout::HeapLayout;

use super::{Bound, Direction, Limit, Metric, Other, Percent, Rewriting};

/// A file of limits.
pub struct LimitFile {
    path: PathBuf,
    text: String,
    limits: Vec<Limit>,
}

/// Why a file holds no limits.
#[derive(Debug)]
pub struct LimitError(String);

impl fmt::Display for LimitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for LimitError {}

/// Text of the file, and where it is.
type Text<'a> = (&'a str, Option<Range<usize>>);

/// A fault at a place of the text.
type Fault = (Option<Range<usize>>, String);

impl LimitFile {
    /// Reads a file.
    pub fn read(path: &Path) -> Result<LimitFile, LimitError> {
        let name = path.display();
        let text = fs::read_to_string(path)
            .map_err(|error| LimitError(format!("{name}: {}", files::reason(&error))))?;
        let limits = parse(&text).map_err(|(span, message)| {
            let (line, column) = place(&text, span.map_or(0, |span| span.start));
            LimitError(format!("{name}:{line}:{column}: {message}"))
        })?;
        Ok(LimitFile { path: path.to_owned(), text, limits })
    }

    /// Its limits, in its order.
    pub fn limits(&self) -> &[Limit] {
        &self.limits
    }

    /// Rewrites the limits to what was measured, each only in the way that is asked
    /// for; a raised one gets the reason beside it. Tells how many went down and up.
    /// Where none does, the file is not touched.
    pub fn rewrite(
        &self,
        document: &Document,
        how: Rewriting,
        reason: &str,
    ) -> Result<(usize, usize), LimitError> {
        let fail = |message: String| LimitError(format!("{}: {message}", self.path.display()));
        let mut edited: DocumentMut =
            self.text.parse().map_err(|error| fail(format!("{error}")))?;
        let (mut n_down, mut n_up) = (0, 0);
        for limit in &self.limits {
            let Some((bound, direction)) = limit.rewritten(document, how) else { continue };
            let item = edited
                .get_mut("script")
                .and_then(Item::as_array_of_tables_mut)
                .and_then(|tables| tables.get_mut(limit.table))
                .and_then(|table| table.get_mut("limits")?.as_table_like_mut())
                .and_then(|limits| limits.get_mut(limit.metric.name()))
                .ok_or_else(|| fail(format!("{} is gone", limit.metric.name())))?;
            set_bound(item, bound);
            match direction {
                Direction::Down => n_down += 1,
                Direction::Up => {
                    set_reason(item, reason);
                    n_up += 1;
                }
            }
        }
        if n_down + n_up > 0 {
            files::write(&self.path, edited.to_string().as_bytes())
                .map_err(|error| fail(files::reason(&error)))?;
        }
        Ok((n_down, n_up))
    }
}

fn parse(text: &str) -> Result<Vec<Limit>, Fault> {
    let document = toml_edit::Document::parse(text)
        .map_err(|error| (error.span(), error.message().to_owned()))?;
    let root = document.as_table();
    refuse_others(root, &["script"])?;
    let Some(item) = root.get("script") else {
        return Err((None, "no [[script]] in it".to_owned()));
    };
    let Some(tables) = item.as_array_of_tables() else {
        return Err((item.span(), "script is to be an array of tables: [[script]]".to_owned()));
    };
    let mut limits = Vec::new();
    for (index, table) in tables.iter().enumerate() {
        parse_script(index, table, &mut limits)?;
    }
    Ok(limits)
}

fn parse_script(index: usize, table: &Table, limits: &mut Vec<Limit>) -> Result<(), Fault> {
    refuse_others(table, &["name", "encoding", "layout", "limits"])?;
    let Some((script, _)) = text(table, "name")? else {
        return Err((table.span(), "a script without a name".to_owned()));
    };
    let encoding = match text(table, "encoding")? {
        None => None,
        Some((name, span)) => {
            Some(Encoding::from_name(name).ok_or_else(|| (span, format!("no encoding {name}")))?)
        }
    };
    let layout = match text(table, "layout")? {
        None => HeapLayout::default(),
        Some((name, span)) => {
            HeapLayout::from_name(name).ok_or_else(|| (span, format!("no layout {name}")))?
        }
    };
    let Some(item) = table.get("limits") else {
        return Err((table.span(), "a script without limits: [script.limits]".to_owned()));
    };
    let Some(own) = item.as_table_like() else {
        return Err((item.span(), "limits is to be a table".to_owned()));
    };
    for (name, item) in own.iter() {
        let Some(metric) = Metric::from_name(name) else {
            let known: Vec<&str> = Metric::all().map(Metric::name).collect();
            let message = format!("no metric {name}: there is {}", known.join(", "));
            return Err((key_span(own, name), message));
        };
        let (bound, reason) = parse_bound(item)?;
        let script = script.to_owned();
        limits.push(Limit { table: index, script, encoding, layout, metric, bound, reason });
    }
    Ok(())
}

fn parse_bound(item: &Item) -> Result<(Bound, Option<String>), Fault> {
    const FORMS: &str = "a limit is a whole number, { most = N }, { was = N, percent = P }, or \
                         { of = \"an encoding or a layout\", percent = P }";
    if item.as_integer().is_some() {
        return Ok((Bound::Most(whole(item)?), None));
    }
    let Some(table) = item.as_table_like() else { return Err((item.span(), FORMS.to_owned())) };
    refuse_others(table, &["most", "was", "of", "percent", "reason"])?;
    let reason = text(table, "reason")?.map(|(reason, _)| reason.to_owned());
    let percent = table.get("percent").map(percent).transpose()?;
    let bound = match (table.get("most"), table.get("was"), text(table, "of")?, percent) {
        (Some(most), None, None, None) => Bound::Most(whole(most)?),
        (None, Some(was), None, Some(percent)) => Bound::Growth { was: whole(was)?, percent },
        (None, None, Some((name, span)), Some(percent)) => {
            let encoding = Encoding::from_name(name).map(Other::Encoding);
            let other = encoding.or(HeapLayout::from_name(name).map(Other::Layout));
            let of = other.ok_or_else(|| (span, format!("no encoding or layout {name}")))?;
            Bound::Share { of, percent }
        }
        _ => return Err((item.span(), FORMS.to_owned())),
    };
    Ok((bound, reason))
}

fn refuse_others(table: &dyn TableLike, known: &[&str]) -> Result<(), Fault> {
    match table.iter().find(|(name, _)| !known.contains(name)) {
        None => Ok(()),
        Some((name, _)) => {
            let message = format!("unknown name {name}: there is {}", known.join(", "));
            Err((key_span(table, name), message))
        }
    }
}

fn key_span(table: &dyn TableLike, name: &str) -> Option<Range<usize>> {
    let (key, item) = table.get_key_value(name)?;
    key.span().or(item.span())
}

fn text<'a>(table: &'a dyn TableLike, name: &str) -> Result<Option<Text<'a>>, Fault> {
    let Some(item) = table.get(name) else { return Ok(None) };
    match item.as_str() {
        Some(text) => Ok(Some((text, item.span()))),
        None => Err((item.span(), format!("{name} is to be text"))),
    }
}

fn whole(item: &Item) -> Result<u64, Fault> {
    let number = item.as_integer().and_then(|number| u64::try_from(number).ok());
    number.ok_or_else(|| (item.span(), "a whole number from 0 on is wanted".to_owned()))
}

fn percent(item: &Item) -> Result<Percent, Fault> {
    let number = item.as_float().or(item.as_integer().map(|number| number as f64));
    let percent = number.and_then(Percent::new);
    percent.ok_or_else(|| (item.span(), "per cent are wanted, from 0 to 1000000".to_owned()))
}

/// Line and column of a byte, both from 1, the column in code points.
fn place(text: &str, at: usize) -> (usize, usize) {
    // A span begins at a character; what would not is told as the first place.
    let before = text.get(..at).unwrap_or("");
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (line, column)
}

/// Sets the number of a limit, and nothing else of it.
fn set_bound(item: &mut Item, bound: Bound) {
    let (name, value) = match bound {
        Bound::Most(most) => ("most", integer(most)),
        Bound::Growth { was, .. } => ("was", integer(was)),
        Bound::Share { percent, .. } if percent.get().fract() == 0.0 => {
            ("percent", integer(percent.get() as u64))
        }
        Bound::Share { percent, .. } => ("percent", Value::from(percent.get())),
    };
    let old = match item.as_table_like_mut() {
        Some(table) => table.get_mut(name).and_then(Item::as_value_mut),
        None => item.as_value_mut(),
    };
    if let Some(old) = old {
        keep_around(old, value);
    }
}

/// Writes the reason beside a limit; a bare number becomes a table for it.
fn set_reason(item: &mut Item, reason: &str) {
    if item.as_table_like().is_none()
        && let Some(value) = item.as_value_mut()
    {
        let mut table = InlineTable::new();
        let mut most = value.clone();
        most.decor_mut().clear();
        table.insert("most", most);
        keep_around(value, Value::InlineTable(table));
    }
    let Some(table) = item.as_table_like_mut() else { return };
    match table.get_mut("reason").and_then(Item::as_value_mut) {
        Some(old) => keep_around(old, Value::from(reason)),
        None => {
            // What stood before the closing brace now stands before a comma.
            if let Some(last) = table.iter_mut().last().and_then(|(_, item)| item.as_value_mut())
                && is_blank(last.decor().suffix())
            {
                last.decor_mut().set_suffix("");
            }
            table.insert("reason", toml_edit::value(reason));
        }
    }
}

fn is_blank(around: Option<&toml_edit::RawString>) -> bool {
    around.and_then(|raw| raw.as_str()).is_some_and(|text| text.trim_matches(' ').is_empty())
}

/// Replaces a value and keeps the space and the comment around it.
fn keep_around(old: &mut Value, new: Value) {
    let decor = old.decor().clone();
    *old = new;
    *old.decor_mut() = decor;
}

fn integer(number: u64) -> Value {
    Value::from(i64::try_from(number).unwrap_or(i64::MAX))
}
