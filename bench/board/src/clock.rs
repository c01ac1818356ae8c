//! The board's clock: ticks of SysTick since the start.
//!
//! Under a fixed instruction clock an instruction takes a nanosecond of virtual
//! time, so ticks count instructions, to within one tick's worth. It refuses to
//! be a time: the emulator knows no wait states and no cycles.

use core::sync::atomic::{AtomicU32, Ordering};

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::exception;

/// SysTick counts down from here.
const RELOAD: u32 = 0x00ff_ffff;

/// How often it has come to its end. The handler takes a score of instructions
/// each time, one in some ten million.
static WRAPS: AtomicU32 = AtomicU32::new(0);

/// The running clock.
pub(crate) struct Clock(());

impl Clock {
    pub(crate) fn start(mut syst: SYST) -> Clock {
        syst.set_clock_source(SystClkSource::Core);
        syst.set_reload(RELOAD);
        syst.clear_current();
        syst.enable_interrupt();
        syst.enable_counter();
        Clock(())
    }

    /// Ticks since the start.
    pub(crate) fn ticks(&self) -> u64 {
        loop {
            let wraps = WRAPS.load(Ordering::Relaxed);
            let ticks = RELOAD - SYST::get_current();
            if wraps == WRAPS.load(Ordering::Relaxed) {
                return u64::from(wraps) * u64::from(RELOAD + 1) + u64::from(ticks);
            }
        }
    }
}

#[exception]
fn SysTick() {
    WRAPS.store(WRAPS.load(Ordering::Relaxed).wrapping_add(1), Ordering::Relaxed);
}
