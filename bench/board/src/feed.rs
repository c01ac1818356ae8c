//! Sensor readings from a table in flash, and the `sensor` function.
//!
//! The table is the CSV text itself, read anew at every call: it takes no RAM at
//! all. It owns the search and refuses to check the form, which whoever packed
//! the parcel has done; what cannot be read is a sensor without a reading. What
//! it answers is what `feed` in the measuring library answers.

use core::fmt;

use scruple_bytecode::exact;
use scruple_vm::{Call, Narrow, Raise, Value};

use crate::station::Machine;

/// The longest name of a column that can be asked for.
const LONGEST: usize = 32;

/// What a column read last at a time.
fn reading(feed: &str, column: &str, time: u64) -> Option<f64> {
    let mut lines = feed.lines().filter(|line| !line.trim().is_empty());
    let mut names = lines.next()?.split(',').map(str::trim);
    names.next();
    let place = names.position(|name| name == column)? + 1;
    let is_past = |row: &&str| time_of(row).is_some_and(|at| at <= time);
    let row = lines.take_while(is_past).last()?;
    let cell = row.split(',').nth(place)?.trim().as_bytes();
    let byte = |at| cell.get(at).copied().unwrap_or_default();
    (!cell.is_empty()).then(|| exact::nearest(cell.len(), &byte))
}

fn time_of(row: &str) -> Option<u64> {
    row.split(',').next()?.trim().parse().ok()
}

/// `(column)`: its last reading, or undefined.
pub(crate) fn sensor(vm: &mut Machine<'_>, call: Call<Narrow>) -> Result<Value<Narrow>, Raise> {
    let mut column = Name { bytes: [0; LONGEST], len: 0 };
    vm.write_text(vm.arg(&call, 0), &mut column)?;
    let name = column.bytes.get(..column.len).unwrap_or_default();
    let name = core::str::from_utf8(name).unwrap_or_default();
    let station = vm.host();
    match reading(station.feed, name, station.timers.now()) {
        Some(reading) => vm.number(reading),
        None => Ok(Value::undefined()),
    }
}

/// A column's name as it is written. One past the longest is no name.
struct Name {
    bytes: [u8; LONGEST],
    len: usize,
}

impl fmt::Write for Name {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        let end = self.len + text.len();
        if let Some(place) = self.bytes.get_mut(self.len..end) {
            place.copy_from_slice(text.as_bytes());
        }
        self.len = end;
        Ok(())
    }
}
