//! What is told while a bench runs.

use super::Change;
use super::driven::{SnapshotState, TimeState};
use super::memory::MemoryError;
use super::places::PortPlace;
use crate::device::{ImageError, PositionerNews};
use crate::line::io::PeerNews;
use crate::line::{self, Reach};
use crate::sim::{PowerNews, Supplied};
use crate::time::Instant;
use std::path::PathBuf;

/// Something to be told while the bench runs. Devices and lines are named by their index in the plan.
#[derive(Clone, Debug, PartialEq)]
pub enum Notice {
    /// Every port is open, and the devices answer.
    Ready {
        /// In the order of the plan's lines.
        ports: Vec<PortPlace>,
    },
    /// A program has opened a pseudo-terminal.
    PeerCame {
        /// Which line.
        line: usize,
    },
    /// A pseudo-terminal that a program has open is not at 1200 bit/s, 1 stop bit, raw [LI-11]; or the
    /// program has put that right.
    #[cfg(unix)]
    PeerSettings {
        /// Which line.
        line: usize,
        /// What can be seen of them: parity cannot.
        settings: line::io::PeerSettings,
    },
    /// The last program has closed a pseudo-terminal.
    PeerGone {
        /// Which line.
        line: usize,
        /// It was killed and left the terminal locked: nobody but root can open it again.
        locked: bool,
    },
    /// Something about a peer of a listening TCP port [LI-12].
    Peer {
        /// Which line.
        line: usize,
        /// The peer's address and port.
        peer: String,
        /// What.
        news: PeerNews,
    },
    /// What passed on the wires, with bench time; only after [`Bench::listen_in`](super::Bench::listen_in).
    Heard(Vec<line::Delivery>),
    /// A port is lost; the others go on.
    PortLost {
        /// Which line.
        line: usize,
        /// What the machine said.
        error: line::Error,
    },
    /// A memory image could not be used and was kept under another name [DV-04].
    MemoryCorrupt {
        /// Which device.
        device: usize,
        /// What is wrong with it.
        error: ImageError,
        /// Where it is now.
        kept: PathBuf,
    },
    /// What a device stores has changed and is in its file.
    MemorySaved {
        /// Which device.
        device: usize,
    },
    /// It could not be written; the next change, or the end, tries again.
    MemoryNotSaved {
        /// Which device.
        device: usize,
        /// Why.
        error: MemoryError,
    },
    /// An event of the plan has happened.
    EventDone {
        /// Its index in the plan.
        event: usize,
        /// When it was due.
        at: Instant,
        /// To which device, by its index in the plan; `None` to every one.
        device: Option<usize>,
        /// What it changed.
        change: Change,
    },
    /// Somebody has changed something by an order [BA-05].
    Ordered {
        /// When, bench time.
        at: Instant,
        /// At which device, by its index in the plan; `None` at every one.
        device: Option<usize>,
        /// What.
        change: Change,
    },
    /// Somebody has time go otherwise [BA-02].
    Time(TimeState),
    /// Somebody has put the bench back to a snapshot: sessions on its lines are over [BA-06].
    Restored(SnapshotState),
    /// What the loop gives a device after an event of the loop, and who hears whom [WI-14]; not where the event has just
    /// taken its power or given it back, which is told as [`Notice::Power`].
    Supplied {
        /// When the last of the events was due.
        at: Instant,
        /// Which device.
        device: usize,
        /// What.
        supplied: Supplied,
        /// How requests from the lines of the bench reach it, and how its answers reach them.
        reach: (Reach, Reach),
    },
    /// Something happened to a positioner whose valve is computed [DV-80].
    Positioner {
        /// Which device.
        device: usize,
        /// When, by the device's clock.
        at: Instant,
        /// What.
        news: PositionerNews,
    },
    /// The power of a device has gone or come back, or the device has started [DV-51].
    Power {
        /// Which device.
        device: usize,
        /// What.
        news: PowerNews,
    },
}
