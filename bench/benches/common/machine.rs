//! Running an image with counting switched on, in memory that is used again.
//!
//! It owns the host that scripts run in here: it takes what they print, and has no
//! functions of its own. It refuses to judge the output.

use scruple_bench::options::REGION;
use scruple_vm::{Counter, Host, Layout, Narrow, Options, Vm};

/// Memory for one machine after the other.
pub(crate) struct Region<L: Layout = Narrow>(Vec<L::Slot>);

/// A run that came to its end.
pub(crate) struct Run {
    /// What the script printed.
    pub(crate) printed: String,
    /// Instructions carried out.
    pub(crate) instructions: u64,
    /// Instruction bytes read.
    pub(crate) fetched_bytes: u64,
}

/// The host: it takes the text and counts.
#[derive(Default)]
struct Taker {
    counter: Counter,
    printed: String,
}

impl Host for Taker {
    type Observer = Counter;

    fn observer(&mut self) -> &mut Counter {
        &mut self.counter
    }

    fn write(&mut self, text: &str) {
        self.printed.push_str(text);
    }
}

impl<L: Layout> Region<L> {
    /// As much memory as the command line gives a script.
    pub(crate) fn new() -> Region<L> {
        Region(vec![Default::default(); REGION / L::SLOT_BYTES])
    }

    /// Loads an image into a fresh machine and runs it: what a board does after a
    /// reset, so making the machine and verifying the image are part of the time.
    pub(crate) fn run(&mut self, image: &[u8]) -> Result<Run, String> {
        let options = Options::default();
        let mut vm: Vm<'_, L, Taker> = Vm::new(&mut self.0, Taker::default(), options);
        vm.load(image).map_err(|error| error.to_string())?;
        if let Err(error) = vm.run() {
            let mut message = error.reason().to_string();
            if error.stop().is_none() {
                message.push_str(": ");
                // A String takes whatever is written.
                let _ = vm.describe(vm.thrown(), &mut message);
            }
            return Err(message);
        }
        let instructions = vm.instructions();
        let Taker { counter, printed } = vm.into_host();
        Ok(Run { printed, instructions, fetched_bytes: counter.fetched_bytes() })
    }
}
