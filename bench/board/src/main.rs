//! Firmware that runs a script on the emulated board and says what it took.
//!
//! It owns the order: read the parcel, compile it if it is source text, load,
//! run, run the timers, write the row. What the script prints goes to the output
//! stream; the row, one line of JSON, to the error stream. It refuses to judge:
//! whoever drives the board compares output and figures.

#![no_std]
#![no_main]

#[cfg(feature = "compiler")]
extern crate alloc;

mod clock;
#[cfg(feature = "compiler")]
mod compile;
mod feed;
mod memory;
mod outside;
#[allow(unreachable_pub, dead_code, reason = "shared with the driver, which writes parcels")]
mod parcel;
mod report;
mod station;
mod timers;

use core::panic::PanicInfo;

use cortex_m::Peripherals;
use cortex_m_rt::{ExceptionFrame, entry, exception};
use scruple_vm::{HeapOptions, Options, RunError};

use clock::Clock;
use outside::{Row, Stream, leave};
use parcel::Parcel;
use report::{Ticks, report};
use station::{FUNCTIONS, Fetches, Machine, Station};
use timers::Timers;

/// What is ready to run: an image and the memory that is left for it.
struct Ready {
    image: &'static [u8],
    pool: &'static mut [u64],
    origin: Origin,
}

/// Where the image comes from.
struct Origin {
    /// Bytes of the image, if it lies in RAM.
    image_in_ram: usize,
    #[cfg(feature = "compiler")]
    compiled: Option<report::Compiled>,
}

/// The vectors of the device's interrupts. None is ever enabled; the run-time's own table
/// has 240 of them, for whatever device it may be, which is 960 bytes of flash.
#[allow(unsafe_code, reason = "the linker script looks for it by name and section")]
#[unsafe(link_section = ".vector_table.interrupts")]
#[unsafe(no_mangle)]
static __INTERRUPTS: [u32; 1] = [0];

#[entry]
fn main() -> ! {
    let Some(peripherals) = Peripherals::take() else { leave(false) };
    let clock = Clock::start(peripherals.SYST);
    let ready = prepare(&clock);
    leave(run(ready, &clock))
}

/// The parcel, read anew by each step that wants it: held by all of them it would
/// be 70 bytes of stack under the machine.
fn parcel() -> Parcel<'static> {
    match Parcel::read(memory::parcel()) {
        Some(parcel) => parcel,
        None => fail("parcel", "there is no parcel behind the program"),
    }
}

#[cfg(feature = "compiler")]
#[inline(never)]
fn prepare(clock: &Clock) -> Ready {
    let parcel = parcel();
    if !parcel.is_source {
        return in_flash(&parcel);
    }
    let begin = clock.ticks();
    match compile::build(&parcel) {
        Ok(built) => {
            let compiled = report::Compiled {
                ticks: clock.ticks() - begin,
                image: built.image.len(),
                peak: built.peak,
                reach: built.reach,
                stack_peak: memory::stack_peak(),
            };
            Ready {
                image: built.image,
                pool: built.pool,
                origin: Origin { image_in_ram: built.image.len(), compiled: Some(compiled) },
            }
        }
        Err(compile::Failure::Diagnostics(diagnostics)) => {
            fail("compile", diagnostics.first().message())
        }
        Err(compile::Failure::Parcel) => fail("parcel", "the source cannot be compiled here"),
    }
}

#[cfg(not(feature = "compiler"))]
#[inline(never)]
fn prepare(_: &Clock) -> Ready {
    let parcel = parcel();
    if parcel.is_source {
        fail("parcel", "this firmware has no compiler");
    }
    in_flash(&parcel)
}

fn in_flash(parcel: &Parcel<'static>) -> Ready {
    Ready {
        image: parcel.script,
        pool: memory::take_pool(),
        origin: Origin {
            image_in_ram: 0,
            #[cfg(feature = "compiler")]
            compiled: None,
        },
    }
}

/// Makes a machine, and lets it run in what is left of the stack.
#[inline(never)]
fn run(ready: Ready, clock: &Clock) -> bool {
    let mut room = Room::default();
    let mut vm = make(ready.pool, &mut room);
    let begin = clock.ticks();
    let loaded = load(&mut vm, ready.image);
    let middle = clock.ticks();
    let end = if loaded { carry_out(&mut vm).map_err(Some) } else { Err(None) };
    let ticks = Ticks { load: middle - begin, run: clock.ticks() - middle };
    tell(&mut vm, &room, &ready.origin, ticks, end)
}

/// What was made of the RAM.
#[derive(Default)]
struct Room {
    region_bytes: usize,
    timer_bytes: usize,
}

// Each step in a frame of its own: what one needs of the stack is not there when
// the next one runs. In one frame hello took 2,760 bytes.

#[inline(never)]
fn make(mut pool: &'static mut [u64], room: &mut Room) -> Machine<'static> {
    let parcel = parcel();
    let places = memory::carve(&mut pool, usize::from(parcel.n_timers), None);
    let timer_bytes = size_of_val(places);
    let region = memory::region(pool);
    let wanted = (parcel.region as usize / size_of::<u32>()).min(region.len());
    let (region, _) = region.split_at_mut(wanted);
    *room = Room { region_bytes: size_of_val(region), timer_bytes };
    let station = Station {
        output: Stream::output(),
        counter: Fetches::default(),
        timers: Timers::new(places),
        feed: feed::Feed::default(),
    };
    let options = Options {
        heap: HeapOptions {
            limit: parcel.heap_limit as usize,
            collect_every: parcel.collect_every as usize,
            ..HeapOptions::default()
        },
        stack_limit: parcel.stack_limit as usize,
        nesting_limit: parcel.nesting_limit,
        budget: parcel.budget,
        ..Options::default()
    };
    let mut vm = Machine::new(region, station, options);
    vm.set_host_functions(&FUNCTIONS);
    vm
}

#[inline(never)]
fn load(vm: &mut Machine<'static>, image: &'static [u8]) -> bool {
    vm.load(image).is_ok()
}

#[inline(never)]
fn carry_out(vm: &mut Machine<'static>) -> Result<(), RunError> {
    vm.run()?;
    timers::run(vm, until())
}

#[inline(never)]
fn until() -> u64 {
    parcel().until
}

#[inline(never)]
fn tell(
    vm: &mut Machine<'static>,
    room: &Room,
    origin: &Origin,
    ticks: Ticks,
    end: Result<(), Option<RunError>>,
) -> bool {
    let stack_peak = memory::stack_peak();
    let mut row = Row::begin();
    row.number("schema", 1);
    row.text("board", |out| out.write(env!("BOARD_NAME")));
    #[cfg(feature = "compiler")]
    report::compiled(&mut row, origin.compiled);
    row.number("region_bytes", room.region_bytes as u64);
    row.number("timer_bytes", room.timer_bytes as u64);
    row.number("image_in_ram", origin.image_in_ram as u64);
    report(&mut row, vm, ticks, stack_peak, end);
    row.end();
    end.is_ok() && stack_peak.is_some()
}

/// Ends a run that could not begin.
fn fail(stage: &str, message: &str) -> ! {
    let mut row = Row::begin();
    row.number("schema", 1);
    row.text("error_stage", |out| out.write(stage));
    row.text("error", |out| out.write(message));
    row.end();
    leave(false)
}

/// A panic is a defect, or a compiler without memory.
#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    fail("panic", "the program panicked")
}

#[exception]
#[allow(unsafe_code, reason = "the attribute asks for it")]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    fail("fault", "a fault of the processor: a panic, or memory that is not there")
}
