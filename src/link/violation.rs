//! What a peer did against a requirement, and the frames that show it.

use crate::frame::Frame;
use crate::time::Instant;
use core::fmt;

/// A frame that shows a violation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Evidence {
    /// Whose frame it is or what part it plays, in words, such as `our request`.
    pub part: &'static str,
    /// The end of its check byte; `None` where that is not known.
    pub ended_at: Option<Instant>,
    /// The frame.
    pub frame: Frame,
}

impl fmt::Display for Evidence {
    /// Part, octets from the delimiter on in hex, command and address in words, time.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:", self.part)?;
        for octet in self.frame.encode() {
            write!(f, " {octet:02X}")?;
        }
        write!(f, " ({}", Words(&self.frame))?;
        match self.ended_at {
            Some(at) => write!(f, ", ended at {at} s)"),
            None => f.write_str(")"),
        }
    }
}

/// A peer breaks a requirement: whose fault is the peer's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// The requirement's id, a heading in `protocol-notes/`.
    pub requirement: &'static str,
    /// What was being done and what was seen, in words, one line.
    pub what: String,
    /// The frames that show it: at a second master first our own request, if there was any, then the
    /// other's [HO-03]; else in the order of their times. Never empty.
    pub evidence: Vec<Evidence>,
}

impl fmt::Display for Violation {
    /// What was seen with the requirement, and a line for each frame.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} [{}]", self.what, self.requirement)?;
        self.evidence.iter().try_for_each(|e| write!(f, "\n  {e}"))
    }
}

/// A frame's command and address in words, such as `command 3 to 3D71003104`.
pub(super) struct Words<'a>(pub &'a Frame);

impl fmt::Display for Words<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use crate::frame::{FrameType, Target};
        let way = match self.0.frame_type() {
            FrameType::Stx => "to",
            FrameType::Ack | FrameType::Back => "from",
        };
        let target = self.0.address().target;
        let form = match target {
            Target::Polling(_) => "polling address ",
            Target::Unique(u) if u.is_broadcast() => "",
            Target::Unique(_) => "unique address ",
        };
        write!(f, "command {} {way} {form}{target}", self.0.command())
    }
}
