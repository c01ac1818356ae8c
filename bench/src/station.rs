//! The host that scripts run in here: output, timers, sensors, an observer.
//!
//! It owns where the output goes and how much of it is kept. It refuses to know
//! what the timers and the feed do: they bring their own functions.

use std::sync::Arc;

use scruple_vm::{Host, HostFunction, Layout, Observer};

use crate::feed::{self, Feed, HasFeed};
use crate::timers::{self, HasTimers, Timers};

/// The most bytes of output that are kept: past that a run is refused as one that
/// prints without end.
pub const MOST_OUTPUT: usize = 64 << 20;

/// Where output goes.
pub enum Output {
    /// It is kept, to be compared.
    Kept(String),
    /// It is handed on, a piece at a time.
    Passed(Box<dyn FnMut(&str) + Send>),
    /// There was more than [`MOST_OUTPUT`].
    Overflowed,
}

impl Output {
    /// Output that is to be kept.
    pub fn kept() -> Output {
        Output::Kept(String::new())
    }
}

/// The host.
pub struct Station<O> {
    /// Where output goes.
    pub output: Output,
    /// What looks on.
    pub observer: O,
    timers: Timers,
    feed: Arc<Feed>,
}

impl<O: Observer + 'static> Station<O> {
    /// A station at time 0.
    pub fn new(output: Output, observer: O, feed: Arc<Feed>) -> Self {
        Station { output, observer, timers: Timers::default(), feed }
    }

    /// Everything that scripts can call here beyond the language.
    pub fn functions<L: Layout>() -> Vec<HostFunction<L, Self>> {
        let mut functions = timers::functions();
        functions.push(feed::function());
        functions
    }
}

impl<O: Observer + 'static> Host for Station<O> {
    type Observer = O;

    fn observer(&mut self) -> &mut O {
        &mut self.observer
    }

    fn write(&mut self, text: &str) {
        match &mut self.output {
            Output::Kept(kept) if kept.len() + text.len() > MOST_OUTPUT => {
                self.output = Output::Overflowed;
            }
            Output::Kept(kept) => kept.push_str(text),
            Output::Passed(pass) => pass(text),
            Output::Overflowed => {}
        }
    }

    // What is not kept is not worth the rest of the budget.
    fn takes_more(&self) -> bool {
        !matches!(self.output, Output::Overflowed)
    }
}

impl<O> HasTimers for Station<O> {
    fn timers(&mut self) -> &mut Timers {
        &mut self.timers
    }
}

impl<O> HasFeed for Station<O> {
    fn feed(&self) -> &Arc<Feed> {
        &self.feed
    }
}
