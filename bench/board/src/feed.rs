//! Sensor readings from a table in flash, and the `sensor` function.
//!
//! The table is the CSV text itself. All that is kept in RAM is where the last row
//! began: time does not go back, so the search goes on from there. It owns the search
//! and refuses to check the form, which whoever packed the parcel has done (no blanks,
//! rows in order of time); what cannot be read is a sensor without a reading. What it
//! answers is what `feed` in the measuring library answers.

use core::fmt;

use scruple_bytecode::exact;
use scruple_vm::{Call, Narrow, Raise, Value};

use crate::station::Machine;

/// The longest name of a column that can be asked for.
const LONGEST: usize = 32;

/// The search in the table, which is asked of the parcel each time: where it lies would
/// take RAM as well, in each frame that the machine passes through while it is made.
#[derive(Default)]
pub(crate) struct Feed {
    /// Where the row begins that counted last; the header before there was one.
    row: u32,
}

impl Feed {
    /// What a column read last at a time, which is no earlier than the one before.
    fn reading(&mut self, column: &[u8], time: u64) -> Option<f64> {
        let text = crate::parcel().feed;
        let place = cells(line(text, 0)).skip(1).position(|name| name == column)? + 1;
        loop {
            let next = self.row as usize + line(text, self.row as usize).len() + 1;
            if time_of(line(text, next)).is_none_or(|at| at > time) {
                break;
            }
            self.row = next as u32;
        }
        // The header alone is no reading.
        let row = (self.row > 0).then(|| line(text, self.row as usize))?;
        let cell = cells(row).nth(place)?;
        let byte = |at| cell.get(at).copied().unwrap_or_default();
        (!cell.is_empty()).then(|| exact::nearest(cell.len(), &byte))
    }
}

/// The line that begins there, without its end: empty behind the last.
fn line(text: &'static [u8], begin: usize) -> &'static [u8] {
    let rest = text.get(begin..).unwrap_or_default();
    let len = rest.iter().position(|&byte| byte == b'\n').unwrap_or(rest.len());
    &rest[..len]
}

fn cells(line: &'static [u8]) -> impl Iterator<Item = &'static [u8]> {
    line.split(|&byte| byte == b',')
}

fn time_of(row: &'static [u8]) -> Option<u64> {
    let digits = cells(row).next().filter(|digits| !digits.is_empty())?;
    digits.iter().try_fold(0u64, |time, &byte| {
        let digit = u64::from(byte.checked_sub(b'0').filter(|&digit| digit < 10)?);
        time.checked_mul(10)?.checked_add(digit)
    })
}

/// `(column)`: its last reading, or undefined.
pub(crate) fn sensor(vm: &mut Machine<'_>, call: Call<Narrow>) -> Result<Value<Narrow>, Raise> {
    let mut column = Name { bytes: [0; LONGEST], len: 0 };
    vm.write_text(vm.arg(&call, 0), &mut column)?;
    let name = column.bytes.get(..column.len).unwrap_or_default();
    let station = vm.host_mut();
    match station.feed.reading(name, station.timers.now()) {
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
