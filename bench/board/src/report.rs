//! The row: everything that a run took, as fields of one JSON object.
//!
//! It owns the names of the fields. Bytes and counts only; the heap's books have
//! the names that the measuring library's document gives them. It refuses to add
//! up what lies in RAM: the driver does, from the parts.

use scruple_vm::{Book, Category, RunError, StopKind};

use crate::memory;
use crate::outside::Row;
use crate::station::Machine;

/// Ticks of the board's clock.
#[derive(Clone, Copy)]
pub(crate) struct Ticks {
    /// Verifying the image and making its globals.
    pub(crate) load: u64,
    /// Running the script and its timers.
    pub(crate) run: u64,
}

/// What compiling took.
#[cfg(feature = "compiler")]
#[derive(Clone, Copy)]
pub(crate) struct Compiled {
    pub(crate) ticks: u64,
    pub(crate) image: usize,
    pub(crate) peak: usize,
    pub(crate) reach: usize,
    pub(crate) stack_peak: Option<u32>,
}

#[cfg(feature = "compiler")]
pub(crate) fn compiled(row: &mut Row, compiled: Option<Compiled>) {
    let Some(compiled) = compiled else { return };
    row.number("compile_ticks", compiled.ticks);
    row.number("compile_image_bytes", compiled.image as u64);
    row.number("compile_peak", compiled.peak as u64);
    row.number("compile_reach", compiled.reach as u64);
    row.number("compile_machine_stack_peak", compiled.stack_peak.unwrap_or(u32::MAX).into());
}

/// Writes the fields of a run that came to some end: an error is nothing where
/// the image could not be loaded.
pub(crate) fn report(
    row: &mut Row,
    vm: &mut Machine<'_>,
    ticks: Ticks,
    stack_peak: Option<u32>,
    end: Result<(), Option<RunError>>,
) {
    let clock_hz =
        env!("BOARD_CLOCK_HZ").bytes().fold(0, |n, digit| n * 10 + u64::from(digit & 15));
    row.number("clock_hz", clock_hz);
    row.number("load_ticks", ticks.load);
    row.number("run_ticks", ticks.run);
    row.number("static_bytes", memory::static_bytes().into());
    row.number("vm_bytes", size_of::<Machine<'_>>() as u64);
    if let Some(peak) = stack_peak {
        row.number("machine_stack_peak", peak.into());
    }
    row.number("timers_peak", vm.host().timers.peak() as u64);
    row.number("instructions", vm.instructions());
    row.number("operations", vm.operations());
    row.number("fetched_bytes", vm.host().counter.bytes);
    let ledger = vm.ledger();
    row.number("stack_peak", ledger.stack_peak().into());
    row.number("allocations", ledger.allocations());
    row.number("allocated_bytes", ledger.allocated());
    row.number("collections", ledger.collections());
    row.number("adds_up", ledger.audit().into());
    book(row, "heap_high_water", ledger.high_water());
    book(row, "live_peak", ledger.live_peak());
    match end {
        Ok(()) if stack_peak.is_some() => {}
        Ok(()) => error(row, "stack", "the program's own stack has grown past its end"),
        Err(None) => error(row, "load", "the image was refused, or there is no room for it"),
        Err(Some(end)) => run_error(row, vm, end),
    }
}

fn book(row: &mut Row, key: &str, book: &Book) {
    row.open(key);
    row.number("total", book.total().into());
    for category in Category::ALL {
        row.number(field(category), book.bytes(category).into());
    }
    row.close();
}

fn field(category: Category) -> &'static str {
    match category {
        Category::Numbers => "boxed_numbers",
        _ => category.name(),
    }
}

fn error(row: &mut Row, stage: &str, message: &str) {
    row.text("error_stage", |out| out.write(stage));
    row.text("error", |out| out.write(message));
}

fn run_error(row: &mut Row, vm: &mut Machine<'_>, end: RunError) {
    row.text("error_stage", |out| out.write("run"));
    row.text("error", |out| match end.stop() {
        None => {
            let thrown = vm.thrown();
            // The stream takes whatever is written.
            let _ = vm.describe(thrown, out);
        }
        Some(StopKind::Heap) => out.write("no room in the heap"),
        Some(StopKind::Stack) => out.write("no room for the machine's stack"),
        Some(StopKind::Nesting) => out.write("calls through built-ins nested too deep"),
        Some(StopKind::Budget) => out.write("operation budget spent"),
        Some(_) => out.write("stopped"),
    });
    if let Some(bytes) = end.failed_bytes() {
        row.number("failed_bytes", bytes as u64);
    }
    if let Some(position) = end.position() {
        row.number("line", position.line.into());
        row.number("column", position.column.into());
    }
}
