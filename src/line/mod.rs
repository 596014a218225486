//! What octets travel on: the trait [`Line`], the tap, the simulated bus, and, behind the feature
//! `io`, the ports of this machine.
//!
//! A line hands over stamped octets and knows nothing of frames. Who drives it writes one loop:
//! [`Line::wait`] until something happens or a deadline passes, on the line's own clock. On a
//! simulated line that clock is a number that jumps, so the same loop runs a bench of hours in
//! milliseconds.

mod bus;
mod carrier;
mod dice;
mod echo;
mod endpoint;
mod error;
mod error_counts;
mod hardware;
mod hart_ip;
mod in_process;
#[cfg(feature = "io")]
pub mod io;
mod parmrk;
mod port_logic;
mod serial_options;
mod tap;
mod wire_fault;

pub use bus::{Around, Begun, Bus, CAPACITY, Clock, Delivery, Reach, Source, Station, Traffic};
pub use dice::Dice;
pub use endpoint::{Endpoint, LOOPBACK};
pub use error::{Error, Fault};
pub use error_counts::ErrorCounts;
pub use hardware::{Hardware, Lines, Unsent};
pub use hart_ip::{HartIpClient, HartIpServer, MOST_SESSIONS};
pub use in_process::InProcess;
pub use parmrk::ParmrkDecoder;
pub use port_logic::{PortFault, PortLogic, PortOutput, PortStatus};
pub use serial_options::{EchoUse, RtsUse, SerialOptions};
pub use tap::{Direction, Tap};
pub use wire_fault::{FaultKind, FaultOf, WireFault};

use crate::frame::{Capabilities, Octet, RawFrame};
use crate::time::{Instant, Pace};
use crate::wave::Remark;

/// Which faults a line can put into what it sends [LI-24].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SendsFaults {
    /// A wrong parity bit.
    pub bad_parity: bool,
    /// A pause of any length between two octets.
    pub gaps: bool,
}

impl SendsFaults {
    /// What a frame needs.
    pub fn needed(frame: &RawFrame) -> SendsFaults {
        SendsFaults {
            bad_parity: frame.octets.iter().any(|o| o.bad_parity),
            gaps: frame.octets.iter().any(|o| !o.gap_before.is_zero()),
        }
    }

    /// Whether all of `needed` can be done.
    pub const fn can(self, needed: SendsFaults) -> bool {
        (self.bad_parity || !needed.bad_parity) && (self.gaps || !needed.gaps)
    }
}

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
    /// On a line of whole messages: the other end has told that the oldest unanswered [`Line::send`] will have no
    /// answer, or the line knows that by now [IP-12].
    NoAnswer {
        /// When that was known.
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

    /// Whether it ends by its nature, as a recording does, so that [`Event::Closed`] is no loss.
    fn is_recording(&self) -> bool {
        false
    }

    /// What is to be known of the wave that octets up to [`Line::now`] were read from; nothing on lines without one.
    fn take_remarks(&mut self) -> Vec<Remark> {
        Vec::new()
    }

    /// Starts to send `octets`, preambles included; [`Event::Sent`] follows when the last has left.
    /// A transmission that is started during another one waits for its end.
    ///
    /// # Errors
    /// The machine refuses: the port is lost or takes no more.
    fn send(&mut self, octets: &[u8]) -> Result<(), Error>;

    /// Which faults [`Line::send_raw`] can send; none unless the line says otherwise.
    fn sends_faults(&self) -> SendsFaults {
        SendsFaults::default()
    }

    /// Like [`Line::send`], with wrong parity and pauses where the frame has them.
    ///
    /// # Errors
    /// As [`Line::send`], and the line cannot send such faults: nothing is sent then.
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        if SendsFaults::needed(frame) == SendsFaults::default() {
            return self.send(&frame.values());
        }
        let what = "wrong parity bits and pauses inside a frame";
        Err(Error::new("sending", &self.describe(), Fault::CannotSend, what))
    }

    /// Lets the line's time run until something happens, at most until `until`.
    ///
    /// # Errors
    /// The machine fails: the port is lost.
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error>;
}

/// Inside an `impl Line`: what a line says of itself is what the line in the field `$of` says. Whoever stands around a line adds what
/// it does otherwise.
#[macro_export]
macro_rules! says_as_line {
    ($of:tt) => {
        fn describe(&self) -> String {
            self.$of.describe()
        }
        fn capabilities(&self) -> $crate::frame::Capabilities {
            self.$of.capabilities()
        }
        fn pace(&self) -> $crate::time::Pace {
            self.$of.pace()
        }
        fn now(&mut self) -> $crate::time::Instant {
            self.$of.now()
        }
    };
}
pub use says_as_line;

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
    fn is_recording(&self) -> bool {
        (**self).is_recording()
    }
    fn take_remarks(&mut self) -> Vec<Remark> {
        (**self).take_remarks()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        (**self).send(octets)
    }
    fn sends_faults(&self) -> SendsFaults {
        (**self).sends_faults()
    }
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        (**self).send_raw(frame)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        (**self).wait(until)
    }
}
