//! The host that scripts run in on the board: output, timers, sensors, counts.
//!
//! It owns what scripts can call beyond the language, the same functions as the
//! measuring library's station has. It refuses to keep what is printed.

use scruple_vm::{Counts, Families, Host, HostFunction, Narrow, Observer, Vm};

use crate::feed::{self, Feed};
use crate::outside::Stream;
use crate::timers::{self, Timers};

/// The machine on the board.
pub(crate) type Machine<'m> = Vm<'m, Narrow, Station>;

/// The host.
pub(crate) struct Station {
    pub(crate) output: Stream,
    pub(crate) counter: Fetches,
    pub(crate) timers: Timers,
    pub(crate) feed: Feed,
}

impl Host for Station {
    type Observer = Fetches;
    const COMPACT: bool = true;
    const COMPOSITES: bool =
        cfg!(any(feature = "composite", feature = "echo", feature = "context"));
    const FAMILIES: Families = Families {
        arrays: cfg!(feature = "arrays"),
        strings: cfg!(feature = "strings"),
        maths: cfg!(feature = "maths"),
        json: cfg!(feature = "json"),
        collections: cfg!(feature = "collections"),
        buffers: cfg!(feature = "buffers"),
        reflect: cfg!(feature = "reflect"),
    };

    fn observer(&mut self) -> &mut Fetches {
        &mut self.counter
    }

    fn write(&mut self, text: &str) {
        self.output.write(text);
    }
}

/// Counts fetched bytes.
#[derive(Default)]
pub(crate) struct Fetches {
    pub(crate) bytes: u64,
}

impl Observer for Fetches {
    type Tally = u64;
    type Wants = Counts;

    #[inline(always)]
    fn count(tally: &mut u64, bytes: usize) {
        *tally += bytes as u64;
    }

    fn absorb(&mut self, tally: u64) {
        self.bytes += tally;
    }
}

/// What scripts can call: a table in flash.
pub(crate) static FUNCTIONS: [HostFunction<Narrow, Station>; 6] = [
    HostFunction { name: "setTimeout", length: 2, call: timers::set_timeout },
    HostFunction { name: "setInterval", length: 2, call: timers::set_interval },
    HostFunction { name: "clearTimeout", length: 1, call: timers::clear },
    HostFunction { name: "clearInterval", length: 1, call: timers::clear },
    HostFunction { name: "clock", length: 0, call: timers::clock },
    HostFunction { name: "sensor", length: 1, call: feed::sensor },
];
