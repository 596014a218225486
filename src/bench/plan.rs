//! What a bench consists of, once it is known to make sense.

use crate::device::DeviceConfig;
use crate::line::{Endpoint, SerialOptions};
use crate::time::{Instant, Pace};
use std::path::PathBuf;

/// A bench: every device and every line shares one pair of wires [LI-05].
#[derive(Clone, Debug, PartialEq)]
pub struct BenchPlan {
    /// The bench file, as it was named.
    pub path: PathBuf,
    /// How fast the wires run [LI-01].
    pub pace: Pace,
    /// At least one; polling addresses and unique addresses are all different.
    pub devices: Vec<DevicePlan>,
    /// Access points for software outside; at least one.
    pub lines: Vec<LinePlan>,
    /// What changes while the bench runs, in order of time.
    pub events: Vec<EventPlan>,
}

/// A mock device.
#[derive(Clone, Debug, PartialEq)]
pub struct DevicePlan {
    /// How it is set up; its `check` passes.
    pub config: DeviceConfig,
    /// The file of its memory image [DV-03]; without one it forgets when the bench ends.
    pub memory: Option<PathBuf>,
}

/// An access point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinePlan {
    /// As it stands in the bench file, such as `pty:`.
    pub at: String,
    /// What that means.
    pub kind: LineKind,
}

/// What an access point is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LineKind {
    /// A new pseudo-terminal [LI-02], with a symbolic link to it if one is named.
    Pty(Option<PathBuf>),
    /// A serial port of this machine [LI-03], and how its lines and its echo are used [LI-06] [LI-08].
    Serial(String, SerialOptions),
    /// A TCP port where software connects [LI-12].
    TcpListen(Endpoint),
    /// A connection to somebody who listens [LI-12].
    Tcp(Endpoint),
}

/// Something that changes at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EventPlan {
    /// When, on the bench's clock, which the pace does not scale.
    pub at: Instant,
    /// What.
    pub change: Change,
}

/// A change of what the devices measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// The current in the loop, mA.
    LoopCurrentMa(f64),
    /// The supply pressure of every device, bar.
    SupplyPressureBar(f64),
}

#[cfg(feature = "bench-file")]
impl LineKind {
    /// Whether both are the same place, so that only one of them can be had. What gets a place of its
    /// own each time is never the same.
    pub(super) fn is_same_place(&self, other: &LineKind) -> bool {
        match (self, other) {
            (LineKind::Pty(None), _) | (LineKind::TcpListen(Endpoint { port: 0, .. }), _) => false,
            (LineKind::Serial(a, _), LineKind::Serial(b, _)) => a == b,
            _ => self == other,
        }
    }
}

impl core::fmt::Display for Change {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Change::LoopCurrentMa(ma) => write!(f, "loop current {ma} mA"),
            Change::SupplyPressureBar(bar) => write!(f, "supply pressure {bar} bar"),
        }
    }
}
