//! Why a run ended before its end: one public type, with a position.

use core::fmt;

use scruple_bytecode::image::Position;

/// What a handler or a native returns instead of a value: the machine holds the
/// exception itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Raise(pub(crate) RaiseKind);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum RaiseKind {
    /// An exception is on its way: a script can catch it.
    Thrown,
    /// The run cannot go on: nothing catches it.
    Stopped(StopKind),
    /// Not an error: the running function's image changed.
    Switch,
    /// Not an error: the function that the host called has returned.
    Finished,
}

/// Why a run cannot go on.
///
/// As wide as a value where pointers have 32 bits: a result of either is then a
/// pair of registers, and not written to memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(target_pointer_width = "32", repr(u32))]
pub enum StopKind {
    /// The heap has no room, not even after a collection.
    Heap,
    /// The stack has no room.
    Stack,
    /// Built-ins and scripts call one another too deep.
    Nesting,
    /// The budget of operations is spent.
    Budget,
    /// The host asked for the stop.
    Host,
    /// The image does what no compiler emits, or the machine has a fault.
    Defect,
}

impl Raise {
    pub(crate) const THROWN: Raise = Raise(RaiseKind::Thrown);
    pub(crate) const SWITCH: Raise = Raise(RaiseKind::Switch);
    pub(crate) const FINISHED: Raise = Raise(RaiseKind::Finished);

    pub(crate) const fn stop(kind: StopKind) -> Raise {
        Raise(RaiseKind::Stopped(kind))
    }

    /// What only a defect leads to. The text is for the reader of the code: a
    /// reason of one byte lets the interpreter's loop keep its registers, and
    /// an error's position leads to the place.
    pub(crate) const fn internal(_what: &'static str) -> Raise {
        Raise::stop(StopKind::Defect)
    }

    /// Ends the run from a host function: no script can catch it.
    pub const fn stop_run() -> Raise {
        Raise::stop(StopKind::Host)
    }
}

/// Passes an error on from a host function that called back: an exception stays
/// one that the script can catch, a stop stays a stop. To be used before the
/// machine runs anything else: it holds the exception itself.
impl From<RunError> for Raise {
    fn from(error: RunError) -> Self {
        match error.stop {
            Some(kind) => Raise::stop(kind),
            None => Raise::THROWN,
        }
    }
}

/// Why a run ended before its end. The exception itself, where there is one,
/// is [`Vm::thrown`](crate::Vm::thrown).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RunError {
    pub(crate) stop: Option<StopKind>,
    pub(crate) position: Option<Position>,
    pub(crate) code_offset: usize,
    pub(crate) failed_bytes: usize,
}

impl RunError {
    /// Whether an exception was thrown that the script did not catch.
    pub fn is_exception(&self) -> bool {
        self.stop.is_none()
    }

    /// Why the run could not go on, if no exception ended it.
    pub fn stop(&self) -> Option<StopKind> {
        self.stop
    }

    /// Whether more memory might help: the heap or the stack had no room.
    pub fn is_out_of_memory(&self) -> bool {
        matches!(self.stop, Some(StopKind::Heap | StopKind::Stack))
    }

    /// The place in the source, unless the line table was stripped.
    pub fn position(&self) -> Option<Position> {
        self.position
    }

    /// The place in the code section of the image that was running.
    pub fn code_offset(&self) -> usize {
        self.code_offset
    }

    /// The bytes of the allocation that failed, if one did.
    pub fn failed_bytes(&self) -> Option<usize> {
        (self.failed_bytes > 0).then_some(self.failed_bytes)
    }
}

impl RunError {
    /// Why the run ended, without the place.
    pub fn reason(&self) -> impl fmt::Display {
        Reason { stop: self.stop, failed_bytes: self.failed_bytes }
    }
}

impl fmt::Display for RunError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.position {
            Some(position) => write!(f, "{position}: ")?,
            None => write!(f, "code offset {}: ", self.code_offset)?,
        }
        self.reason().fmt(f)
    }
}

struct Reason {
    stop: Option<StopKind>,
    failed_bytes: usize,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.stop {
            None => write!(f, "uncaught exception"),
            Some(StopKind::Heap) => {
                write!(f, "heap limit reached: no room for {} bytes", self.failed_bytes)
            }
            Some(StopKind::Stack) => write!(f, "stack limit reached"),
            Some(StopKind::Nesting) => write!(f, "calls through built-ins nested too deep"),
            Some(StopKind::Budget) => write!(f, "operation budget spent"),
            Some(StopKind::Host) => write!(f, "stopped by the host"),
            Some(StopKind::Defect) => write!(f, "a defect in the image or the machine"),
        }
    }
}

impl core::error::Error for RunError {}
