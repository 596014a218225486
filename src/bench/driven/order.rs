//! What may be asked of a running bench, and what it answers [BA-01].

use super::clock::Going;
use super::quantity::Reading;
use super::trace::{Reader, Sample, TracePlan};
use crate::device::Response;
use crate::sim::Change;
use crate::time::Instant;
use core::time::Duration;

/// Something that a bench is asked for.
pub enum Order {
    /// How time goes.
    Time,
    /// Time is to stand.
    Pause,
    /// Time is to run.
    Run {
        /// So many times as fast as the wall clock, 0.01 to 1000.
        speed: f64,
    },
    /// Time is to go on by so much, as fast as the machine computes; for a bench that is paused.
    Step {
        /// 1 ns to 600 s.
        by: Duration,
    },
    /// What the displays of the devices show now.
    Displays,
    /// All quantities as they are now, or those.
    Read {
        /// Full names; `None` for all.
        names: Option<Vec<String>>,
    },
    /// Something changes now, as by an event of the bench file.
    Change {
        /// At which device, by its index in the plan; `None` at every one.
        device: Option<usize>,
        /// What; it is within its range.
        change: Change,
    },
    /// Which snapshots there are.
    Snapshots,
    /// A snapshot is to be taken.
    Take {
        /// What it is called.
        name: String,
    },
    /// The world is to be as in a snapshot.
    Restore {
        /// Which.
        name: String,
    },
    /// A snapshot is no longer wanted.
    Forget {
        /// Which.
        name: String,
    },
    /// From now on these are recorded, in place of what was before.
    Record {
        /// Full names of quantities.
        quantities: Vec<String>,
        /// How often.
        period: Duration,
    },
    /// No more is recorded, and what was is dropped.
    StopRecording,
    /// A window of the recording.
    Recording {
        /// Samples from then on.
        from: Instant,
        /// Samples up to then.
        to: Instant,
        /// At most so many, the oldest of the window.
        most: usize,
    },
    /// A stream of samples.
    Stream {
        /// Full names of quantities.
        quantities: Vec<String>,
        /// How often.
        period: Duration,
        /// Whom to.
        reader: Box<dyn Reader>,
    },
}

/// How time goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeState {
    /// Bench time.
    pub at: Instant,
    /// How it goes.
    pub going: Going,
    /// What was lost because the machine could not keep up.
    pub behind: Duration,
    /// Octets from outside that were dropped because time did not run at speed 1 [BA-03].
    pub dropped_in: u64,
    /// Octets that no line heard for the same reason.
    pub dropped_out: u64,
}

/// A snapshot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SnapshotState {
    /// What it is called.
    pub name: String,
    /// Its bench time.
    pub at: Instant,
}

/// A window of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// What is recorded, if anything is.
    pub plan: Option<TracePlan>,
    /// Samples in the window, the oldest first.
    pub samples: Vec<Sample>,
    /// How many are in the window beyond these.
    pub more: usize,
    /// How many were dropped from the recording because there was no room.
    pub dropped: u64,
}

/// What became of an order.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// How time goes now.
    Time(TimeState),
    /// Quantities at a time, with their full names.
    Read {
        /// Bench time.
        at: Instant,
        /// In the order of the bench, or as asked.
        readings: Vec<(String, Reading)>,
    },
    /// Something has changed.
    Changed {
        /// When, bench time.
        at: Instant,
        /// What devices make of it, by their keys, where that is their own affair: a key, or a calibration asked for.
        became: Vec<(String, Response)>,
    },
    /// What displays show, of every device that has one.
    Displays {
        /// Bench time.
        at: Instant,
        /// Each with its device's key.
        displays: Vec<(String, Display)>,
    },
    /// The snapshots, in the order in which they were taken.
    Snapshots(Vec<SnapshotState>),
    /// A snapshot was taken, restored or dropped.
    Snapshot(SnapshotState),
    /// A window of the recording.
    Window(Window),
    /// A trace begins.
    Tracing(TracePlan),
}

/// What the display of a device shows [DV-99].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Display {
    /// Its lines, the first at the top; without power there are none.
    pub lines: Vec<String>,
}

/// What kind of reason a refusal has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// There is no such thing.
    NotFound,
    /// Not as the bench is now.
    NotNow,
    /// It cannot be.
    CannotBe,
    /// There is no room.
    NoRoom,
}

/// Why an order is not done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// What kind of reason.
    pub reason: Reason,
    /// What is wrong.
    pub wrong: String,
    /// What to do next.
    pub next: String,
}

impl Refusal {
    /// One.
    pub fn new(reason: Reason, wrong: impl Into<String>, next: impl Into<String>) -> Refusal {
        Refusal { reason, wrong: wrong.into(), next: next.into() }
    }
}

/// Where the answer goes.
pub type Reply = Box<dyn FnOnce(Result<Answer, Refusal>) + Send>;

/// Something that was done by an order, for whoever watches the bench.
#[derive(Clone, Debug, PartialEq)]
pub enum Done {
    /// Time goes otherwise.
    Time(TimeState),
    /// Something has changed.
    Changed {
        /// When, bench time.
        at: Instant,
        /// At which device; `None` at every one.
        device: Option<usize>,
        /// What.
        change: Change,
    },
    /// The world is as in that snapshot.
    Restored(SnapshotState),
}
