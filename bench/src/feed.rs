//! Sensor readings from a table, and the `sensor` function that gives them to a
//! script.
//!
//! It owns the CSV form: a header line whose first column is `time_ms`, then rows
//! of numbers with times that never go back. It refuses everything else with the
//! line at fault. A cell left empty is a sensor that gave no reading.
//!
//! Like [`timers`](crate::timers), it is written on the machine's public
//! interface alone.

use std::fmt;
use std::sync::Arc;

use scruple_vm::{Call, Host, HostFunction, Layout, Raise, Value, Vm};

use crate::timers::HasTimers;

/// Readings by time and column.
#[derive(Debug, Default)]
pub struct Feed {
    columns: Vec<String>,
    times: Vec<u64>,
    /// Row by row, as many as there are columns.
    readings: Vec<Option<f64>>,
}

/// A feed that is no feed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeedError {
    line: usize,
    message: String,
}

impl FeedError {
    /// The line at fault, from 1.
    pub fn line(&self) -> usize {
        self.line
    }

    /// What is wrong with it.
    pub fn message(&self) -> &str {
        &self.message
    }
}

impl fmt::Display for FeedError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.message)
    }
}

impl std::error::Error for FeedError {}

/// A host that has a feed and a clock to read it by.
pub trait HasFeed: HasTimers {
    /// Its feed.
    fn feed(&self) -> &Arc<Feed>;
}

impl Feed {
    /// Reads the CSV form.
    pub fn parse(text: &str) -> Result<Feed, FeedError> {
        let mut lines = text.lines().enumerate().map(|(index, line)| (index + 1, line));
        let fail = |line, message: String| Err(FeedError { line, message });
        let Some((_, header)) = lines.next() else {
            return fail(1, "no header: the first column must be time_ms".to_owned());
        };
        let mut names = header.split(',').map(str::trim);
        let first = names.next().unwrap_or_default();
        if first != "time_ms" {
            return fail(1, format!("the first column must be time_ms, not {first:?}"));
        }
        let mut feed = Feed::default();
        for name in names {
            if name.is_empty() || feed.columns.iter().any(|other| other == name) {
                return fail(1, format!("a column needs a name of its own, not {name:?}"));
            }
            feed.columns.push(name.to_owned());
        }
        for (line, row) in lines.filter(|(_, row)| !row.trim().is_empty()) {
            if let Err(message) = feed.read_row(row) {
                return fail(line, message);
            }
        }
        Ok(feed)
    }

    /// The CSV form of these readings: nothing where there is no column.
    pub fn to_csv(&self) -> String {
        if self.columns.is_empty() {
            return String::new();
        }
        let mut text = format!("time_ms,{}\n", self.columns.join(","));
        for (time, row) in self.times.iter().zip(self.readings.chunks(self.columns.len())) {
            text.push_str(&time.to_string());
            for reading in row {
                text.push(',');
                // Rust writes the fewest digits that give the number back.
                text.push_str(&reading.map(|number| number.to_string()).unwrap_or_default());
            }
            text.push('\n');
        }
        text
    }

    fn read_row(&mut self, row: &str) -> Result<(), String> {
        let mut cells = row.split(',').map(str::trim);
        let time = cells.next().unwrap_or_default();
        let time: u64 =
            time.parse().map_err(|_| format!("{time:?} is no time in whole milliseconds"))?;
        if let Some(&before) = self.times.last().filter(|&&before| before > time) {
            return Err(format!("time {time} comes before {before}, the row above"));
        }
        let before = self.readings.len();
        for cell in cells {
            let reading = match cell {
                "" => None,
                _ => match cell.parse::<f64>() {
                    Ok(number) if number.is_finite() => Some(number),
                    _ => return Err(format!("{cell:?} is no number")),
                },
            };
            self.readings.push(reading);
        }
        let n_cells = self.readings.len() - before;
        if n_cells != self.columns.len() {
            let wanted = self.columns.len() + 1;
            return Err(format!("{} cells in a table of {wanted} columns", n_cells + 1));
        }
        self.times.push(time);
        Ok(())
    }

    /// What a column read last at a time: nothing before the first row, where
    /// the cell is empty, or where there is no such column.
    pub fn reading(&self, column: &str, time: u64) -> Option<f64> {
        let column = self.columns.iter().position(|name| name == column)?;
        let row = self.times.partition_point(|&at| at <= time).checked_sub(1)?;
        self.readings.get(row * self.columns.len() + column).copied().flatten()
    }
}

/// The function, to be handed to [`Vm::set_host_functions`].
pub fn function<L: Layout, H: Host + HasFeed>() -> HostFunction<L, H> {
    HostFunction { name: "sensor", length: 1, call: sensor }
}

/// `(column)`: its last reading, or undefined.
fn sensor<L: Layout, H: Host + HasFeed>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let mut column = String::new();
    vm.write_text(vm.arg(&call, 0), &mut column)?;
    let now = vm.host_mut().timers().now();
    match vm.host().feed().reading(&column, now) {
        Some(reading) => vm.number(reading),
        None => Ok(Value::undefined()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_row_that_is_not_later_counts() {
        let feed = Feed::parse("time_ms,a,b\n10,1,2.5\n20,3,\n20,4,-5\n").unwrap();
        assert_eq!(feed.reading("a", 9), None);
        assert_eq!(feed.reading("a", 10), Some(1.0));
        assert_eq!(feed.reading("b", 19), Some(2.5));
        assert_eq!(feed.reading("a", 20), Some(4.0));
        assert_eq!(feed.reading("b", u64::MAX), Some(-5.0));
        assert_eq!(feed.reading("c", 20), None);
    }

    #[test]
    fn a_feed_written_and_read_again_is_the_same() {
        let text = "time_ms,a,b\n10,1,2.5\n20,,-0.001\n20,4,-5\n";
        assert_eq!(Feed::parse(text).unwrap().to_csv(), text);
        assert_eq!(Feed::default().to_csv(), "");
    }

    #[test]
    fn a_table_that_is_no_feed_is_refused_with_its_line() {
        let line = |text: &str| Feed::parse(text).map_err(|error| error.line()).err();
        assert_eq!(line(""), Some(1));
        assert_eq!(line("time,a\n"), Some(1));
        assert_eq!(line("time_ms,a,a\n"), Some(1));
        assert_eq!(line("time_ms,a\n0,1\nx,2\n"), Some(3));
        assert_eq!(line("time_ms,a\n0,1\n5\n"), Some(3));
        assert_eq!(line("time_ms,a\n0,1,2\n"), Some(2));
        assert_eq!(line("time_ms,a\n0,one\n"), Some(2));
        assert_eq!(line("time_ms,a\n0,inf\n"), Some(2));
        assert_eq!(line("time_ms,a\n\n5,1\n4,1\n"), Some(4));
        assert_eq!(line("time_ms,a\n0,\n"), None);
        assert_eq!(line("time_ms\n0\n"), None);
    }
}
