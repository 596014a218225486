//! What octets travel on: the trait [`Line`], the tap, the simulated bus, and, behind the feature
//! `io`, the ports of this machine.
//!
//! A line hands over stamped octets and knows nothing of frames. Who drives it writes one loop:
//! [`Line::wait`] until something happens or a deadline passes, on the line's own clock. On a
//! simulated line that clock is a number that jumps, so the same loop runs a bench of hours in
//! milliseconds.

mod bus;
mod carrier;
mod echo;
mod endpoint;
mod error;
mod error_counts;
mod hardware;
mod in_process;
#[cfg(feature = "io")]
pub mod io;
mod parmrk;
mod port_logic;
mod serial_options;
mod tap;

pub use bus::{Bus, CAPACITY, Delivery, Station};
pub use endpoint::{Endpoint, LOOPBACK};
pub use error::{Error, Fault};
pub use error_counts::ErrorCounts;
pub use hardware::{Hardware, Lines, Unsent};
pub use in_process::InProcess;
pub use parmrk::ParmrkDecoder;
pub use port_logic::{PortFault, PortLogic, PortOutput, PortStatus};
pub use serial_options::{EchoUse, RtsUse, SerialOptions};
pub use tap::{Direction, Tap};

use crate::frame::{Capabilities, Octet};
use crate::time::{Instant, Pace};

/// What [`Line::wait`] came back with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// Octets arrived; at least one, in order of arrival.
    Octets(Vec<Octet>),
    /// The last octet of the oldest unfinished [`Line::send`] has left.
    Sent {
        /// End of that octet.
        at: Instant,
    },
    /// The deadline passed and nothing else happened.
    TimeOut,
    /// Somebody asked the program to stop.
    Interrupted,
    /// Nothing will ever happen on this line again.
    Closed,
}

/// Something that carries octets both ways and stamps what arrives [LI-04].
pub trait Line {
    /// What this line is, for people, such as `serial:/dev/ttyUSB0, 1200 8O1`.
    fn describe(&self) -> String;

    /// What the line's stamps and octets can tell [LI-04].
    fn capabilities(&self) -> Capabilities;

    /// How fast the line's time runs against the true wire [LI-01].
    fn pace(&self) -> Pace;

    /// The time on the line's own clock, which was zero when the line was opened.
    fn now(&mut self) -> Instant;

    /// Starts to send `octets`, preambles included; [`Event::Sent`] follows when the last has left.
    /// A transmission that is started during another one waits for its end.
    ///
    /// # Errors
    /// The machine refuses: the port is lost or takes no more.
    fn send(&mut self, octets: &[u8]) -> Result<(), Error>;

    /// Lets the line's time run until something happens, at most until `until`.
    ///
    /// # Errors
    /// The machine fails: the port is lost.
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error>;
}

impl<L: Line + ?Sized> Line for Box<L> {
    fn describe(&self) -> String {
        (**self).describe()
    }
    fn capabilities(&self) -> Capabilities {
        (**self).capabilities()
    }
    fn pace(&self) -> Pace {
        (**self).pace()
    }
    fn now(&mut self) -> Instant {
        (**self).now()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        (**self).send(octets)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        (**self).wait(until)
    }
}
