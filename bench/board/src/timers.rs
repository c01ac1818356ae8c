//! Timers on a virtual clock: `setTimeout`, `setInterval`, `clearTimeout`,
//! `clearInterval` and `clock`.
//!
//! Their order and their end are those of `timers` in the measuring library, and
//! so is what they retain in the heap, in the same order: figures can be held
//! against it. Here the timers lie in a list of fixed size that the parcel asks
//! for, with a few arguments each; beyond that a script gets a RangeError.

use scruple_vm::{Call, Narrow, Raise, Retained, RunError, Value};

use crate::station::Machine;

/// The most arguments that a timer hands to its callback.
const MOST_ARGS: usize = 3;

/// The longest delay, in ms, as the measuring library has it.
const LONGEST: u64 = 1 << 53;

/// What to call when it is due.
#[derive(Clone, Copy)]
pub(crate) struct Timer {
    due: u64,
    number: u32,
    /// The period of an interval.
    every: Option<u64>,
    callback: Retained,
    args: [Option<Retained>; MOST_ARGS],
}

/// The timers of the machine.
pub(crate) struct Timers {
    now: u64,
    created: u32,
    places: &'static mut [Option<Timer>],
    /// Most of them waiting at once.
    peak: usize,
}

impl Timers {
    pub(crate) fn new(places: &'static mut [Option<Timer>]) -> Self {
        Timers { now: 0, created: 0, places, peak: 0 }
    }

    pub(crate) fn now(&self) -> u64 {
        self.now
    }

    pub(crate) fn peak(&self) -> usize {
        self.peak
    }

    /// Whether there was room for it.
    fn start(&mut self, timer: Timer) -> bool {
        match self.places.iter_mut().find(|place| place.is_none()) {
            Some(place) => *place = Some(timer),
            None => return false,
        }
        let waiting = self.places.iter().flatten().count();
        self.peak = self.peak.max(waiting);
        true
    }

    fn is_full(&self) -> bool {
        self.places.iter().all(Option::is_some)
    }

    fn stop(&mut self, number: u32) -> Option<Timer> {
        let is_it = |place: &&mut Option<Timer>| place.is_some_and(|timer| timer.number == number);
        self.places.iter_mut().find(is_it)?.take()
    }

    fn take_next(&mut self, until: u64) -> Option<Timer> {
        let next = self.places.iter().flatten().min_by_key(|timer| (timer.due, timer.number));
        let Timer { due, number, .. } = *next?;
        if due > until {
            return None;
        }
        self.now = due;
        self.stop(number)
    }
}

/// Runs callbacks in the order they are due, up to and including those due at
/// `until`. In a frame of its own: a script without timers does not have it.
#[inline(never)]
pub(crate) fn run(vm: &mut Machine<'_>, until: u64) -> Result<(), RunError> {
    // So no sum of it and a delay can overflow.
    let until = until.min(LONGEST);
    while let Some(mut timer) = vm.host_mut().timers.take_next(until) {
        let callback = vm.retained(timer.callback);
        let mut args = [Value::undefined(); MOST_ARGS];
        let mut n_args = 0;
        for (place, &arg) in args.iter_mut().zip(timer.args.iter().flatten()) {
            *place = vm.retained(arg);
            n_args += 1;
        }
        match timer.every {
            // Started again before the call, so that the callback can clear it.
            Some(every) => {
                timer.due = vm.host().timers.now + every;
                vm.host_mut().timers.start(timer);
            }
            None => release(vm, &timer),
        }
        vm.call(callback, Value::undefined(), args.get(..n_args).unwrap_or_default())?;
    }
    Ok(())
}

pub(crate) fn set_timeout(
    vm: &mut Machine<'_>,
    call: Call<Narrow>,
) -> Result<Value<Narrow>, Raise> {
    set(vm, call, false)
}

pub(crate) fn set_interval(
    vm: &mut Machine<'_>,
    call: Call<Narrow>,
) -> Result<Value<Narrow>, Raise> {
    set(vm, call, true)
}

/// `(callback, delay, ...args)`; gives the timer's number.
fn set(vm: &mut Machine<'_>, call: Call<Narrow>, repeats: bool) -> Result<Value<Narrow>, Raise> {
    if !vm.is_callable(vm.arg(&call, 0)) {
        return Err(vm.throw_type("a timer needs a function to call"));
    }
    // The conversion may run script code, so it comes before anything is kept.
    let delay = vm.to_number(vm.arg(&call, 1))?;
    let delay = (delay as u64).min(LONGEST);
    let Some(number) = vm.host().timers.created.checked_add(1) else {
        return Err(vm.throw_range("too many timers"));
    };
    if vm.host().timers.is_full() || call.argc() > 2 + MOST_ARGS {
        return Err(vm.throw_range("this board has no room for the timer"));
    }
    let callback = vm.retain(vm.arg(&call, 0))?;
    let mut args = [None; MOST_ARGS];
    for (place, index) in args.iter_mut().zip(2..call.argc()) {
        *place = Some(vm.retain(vm.arg(&call, index))?);
    }
    // An interval of 0 would never let the clock go on.
    let every = repeats.then_some(delay.max(1));
    let timers = &mut vm.host_mut().timers;
    timers.created = number;
    let due = timers.now + every.unwrap_or(delay);
    timers.start(Timer { due, number, every, callback, args });
    vm.number(f64::from(number))
}

/// `(number)`: what is no number of a waiting timer is let pass.
pub(crate) fn clear(vm: &mut Machine<'_>, call: Call<Narrow>) -> Result<Value<Narrow>, Raise> {
    let number = vm.as_number(vm.arg(&call, 0));
    let number = number.filter(|&number| f64::from(number as u32) == number);
    if let Some(timer) = number.and_then(|number| vm.host_mut().timers.stop(number as u32)) {
        release(vm, &timer);
    }
    Ok(Value::undefined())
}

/// `()`: virtual time, in ms since the start.
pub(crate) fn clock(vm: &mut Machine<'_>, _: Call<Narrow>) -> Result<Value<Narrow>, Raise> {
    let now = vm.host().timers.now;
    vm.number(now as f64)
}

fn release(vm: &mut Machine<'_>, timer: &Timer) {
    vm.release(timer.callback);
    for &arg in timer.args.iter().flatten() {
        vm.release(arg);
    }
}
