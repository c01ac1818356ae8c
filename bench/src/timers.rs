//! Timers on a virtual clock: `setTimeout`, `setInterval`, `clearTimeout`,
//! `clearInterval` and `clock`.
//!
//! It owns the order in which callbacks run, by time and then by creation, and
//! the end of a run: no timer is left, or the next is due later than asked for.
//! It refuses to wait: the clock jumps from one due time to the next, so a run
//! has no time of its own and is the same on every machine.
//!
//! It is written on the machine's public interface alone, and serves as the
//! example of it: host functions that check their arguments and throw, values
//! retained between runs, and callbacks called from Rust.

use std::collections::{BTreeMap, HashMap};

use scruple_vm::{Call, Host, HostFunction, Layout, Raise, Retained, RunError, Value, Vm};

/// How long a run with timers goes on unless asked otherwise: a day. An endless
/// `setInterval` ends then.
pub const DEFAULT_UNTIL: u64 = 24 * 60 * 60 * 1000;

/// The longest delay and the latest end of a run, in ms: whole numbers up to here are exact
/// in a script, and no sum of a time and a delay overflows.
pub const LONGEST: u64 = 1 << 53;

/// The timers of one machine.
#[derive(Debug, Default)]
pub struct Timers {
    /// Virtual time, in ms since the start.
    now: u64,
    /// Timers created so far: the last one's number.
    created: u32,
    /// What is due, by time and then by number.
    waiting: BTreeMap<(u64, u32), Timer>,
    /// When each timer is due.
    due: HashMap<u32, u64>,
}

/// What to call when a timer is due.
#[derive(Debug)]
struct Timer {
    callback: Retained,
    args: Vec<Retained>,
    /// The period, if it is an interval.
    every: Option<u64>,
}

/// A host that has timers.
pub trait HasTimers {
    /// Its timers.
    fn timers(&mut self) -> &mut Timers;
}

impl Timers {
    /// Virtual time, in ms since the start.
    pub fn now(&self) -> u64 {
        self.now
    }

    fn start(&mut self, due: u64, number: u32, timer: Timer) {
        self.waiting.insert((due, number), timer);
        self.due.insert(number, due);
    }

    fn stop(&mut self, number: u32) -> Option<Timer> {
        let due = self.due.remove(&number)?;
        self.waiting.remove(&(due, number))
    }

    /// Goes to the next due time, unless that is later than `until`, and takes
    /// the timer that is due.
    fn take_next(&mut self, until: u64) -> Option<(u32, Timer)> {
        let (&(due, number), _) = self.waiting.first_key_value()?;
        if due > until {
            return None;
        }
        self.now = due;
        self.stop(number).map(|timer| (number, timer))
    }
}

/// The functions, to be handed to [`Vm::set_host_functions`].
pub fn functions<L: Layout, H: Host + HasTimers>() -> Vec<HostFunction<L, H>> {
    vec![
        HostFunction { name: "setTimeout", length: 2, call: set_timeout },
        HostFunction { name: "setInterval", length: 2, call: set_interval },
        HostFunction { name: "clearTimeout", length: 1, call: clear },
        HostFunction { name: "clearInterval", length: 1, call: clear },
        HostFunction { name: "clock", length: 0, call: clock },
    ]
}

/// Runs callbacks in the order they are due, up to and including those due at
/// `until`, which is [`LONGEST`] at the latest: there a clock ends that would otherwise stand
/// still. To be called when the script itself has run.
pub fn run<L: Layout, H: Host + HasTimers>(
    vm: &mut Vm<'_, L, H>,
    until: u64,
) -> Result<(), RunError> {
    let until = until.min(LONGEST);
    while let Some((number, timer)) = vm.host_mut().timers().take_next(until) {
        let callback = vm.retained(timer.callback);
        let args: Vec<Value<L>> = timer.args.iter().map(|&arg| vm.retained(arg)).collect();
        match timer.every {
            // Started again before the call, so that the callback can clear it.
            Some(every) => {
                let due = vm.host_mut().timers().now.saturating_add(every);
                vm.host_mut().timers().start(due, number, timer);
            }
            // The call itself keeps the function and its arguments.
            None => release(vm, &timer),
        }
        vm.call(callback, Value::undefined(), &args)?;
    }
    Ok(())
}

fn set_timeout<L: Layout, H: Host + HasTimers>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    set(vm, call, false)
}

fn set_interval<L: Layout, H: Host + HasTimers>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    set(vm, call, true)
}

/// `(callback, delay, ...args)`; gives the timer's number.
fn set<L: Layout, H: Host + HasTimers>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
    repeats: bool,
) -> Result<Value<L>, Raise> {
    if !vm.is_callable(vm.arg(&call, 0)) {
        return Err(vm.throw_type("a timer needs a function to call"));
    }
    // The conversion may run script code, so it comes before anything is kept.
    let delay = vm.to_number(vm.arg(&call, 1))?;
    // Rust's cast does what is wanted: NaN and negative numbers become 0.
    let delay = (delay as u64).min(LONGEST);
    let Some(number) = vm.host_mut().timers().created.checked_add(1) else {
        return Err(vm.throw_range("too many timers"));
    };
    let callback = vm.retain(vm.arg(&call, 0))?;
    let mut args = Vec::new();
    for index in 2..call.argc() {
        args.push(vm.retain(vm.arg(&call, index))?);
    }
    // An interval of 0 would never let the clock go on.
    let every = repeats.then_some(delay.max(1));
    let timers = vm.host_mut().timers();
    timers.created = number;
    let due = timers.now.saturating_add(every.unwrap_or(delay));
    timers.start(due, number, Timer { callback, args, every });
    vm.number(f64::from(number))
}

/// `(number)`: what is no number of a waiting timer is let pass.
fn clear<L: Layout, H: Host + HasTimers>(
    vm: &mut Vm<'_, L, H>,
    call: Call<L>,
) -> Result<Value<L>, Raise> {
    let number = vm.as_number(vm.arg(&call, 0));
    let number = number.filter(|&number| f64::from(number as u32) == number);
    if let Some(timer) = number.and_then(|number| vm.host_mut().timers().stop(number as u32)) {
        release(vm, &timer);
    }
    Ok(Value::undefined())
}

/// `()`: virtual time, in ms since the start.
fn clock<L: Layout, H: Host + HasTimers>(
    vm: &mut Vm<'_, L, H>,
    _: Call<L>,
) -> Result<Value<L>, Raise> {
    let now = vm.host_mut().timers().now;
    vm.number(now as f64)
}

fn release<L: Layout, H: Host>(vm: &mut Vm<'_, L, H>, timer: &Timer) {
    vm.release(timer.callback);
    for &arg in &timer.args {
        vm.release(arg);
    }
}
