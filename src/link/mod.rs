//! The roles on a link as state machines without I/O: what goes in carries its time.

mod master;
mod slave;
mod timers;

pub use master::{Master, MasterConfig, Output, Refused};
pub use slave::{Call, Slave};
pub use timers::Timers;

use crate::frame::Frame;
use core::fmt;

/// A peer breaks a requirement: whose fault is the peer's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// The requirement's id, a heading in `protocol-notes/`.
    pub requirement: &'static str,
    /// What was seen, in words.
    pub what: String,
    /// The frame that shows it.
    pub evidence: Option<Frame>,
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} [{}]", self.what, self.requirement)
    }
}
