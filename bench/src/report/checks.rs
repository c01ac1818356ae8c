//! Limits held against figures, for people: a line each that is not kept.

use crate::limits::Check;

pub(super) fn render(checks: &[Check], verbose: bool) -> String {
    let mut text = String::new();
    for check in checks.iter().filter(|check| verbose || !check.holds) {
        text.push_str(&line(check));
    }
    let n_missing = checks.iter().filter(|check| is_missing(check)).count();
    let n_over = checks.iter().filter(|check| !check.holds && !is_missing(check)).count();
    let n_kept = checks.len() - n_missing - n_over;
    text.push_str(&format!("limits: {n_kept} kept, {n_over} exceeded, {n_missing} not measured\n"));
    text
}

fn is_missing(check: &Check) -> bool {
    check.measured.is_none() || check.most.is_none()
}

fn line(check: &Check) -> String {
    let encoding = check.encoding.as_deref().unwrap_or("any encoding");
    let what = format!("{}, {encoding}, {}: {}", check.script, check.layout.name(), check.metric);
    let reason = check.reason.as_ref().map(|reason| format!(" ({reason})")).unwrap_or_default();
    match (check.measured, check.most) {
        (Some(measured), Some(most)) if check.holds => {
            format!(
                "limit kept: {what} {measured}, at most {most}, {} less{reason}\n",
                most - measured
            )
        }
        (Some(measured), Some(most)) => format!(
            "limit exceeded: {what} {measured}, at most {most}, {} more{reason}\n",
            measured - most
        ),
        (Some(_), None) => {
            format!("limit not kept: {what}: what it is a share of is not measured\n")
        }
        (None, _) => format!("limit not kept: {what} is not measured\n"),
    }
}
