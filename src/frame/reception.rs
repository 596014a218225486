//! What the receiver made of the octets: a good frame, a damaged one, or noise.

use super::legal::{Frame, Header};
use super::octet::{Marks, Octet};
use crate::time::Instant;
use bytes::Bytes;
use core::fmt;

/// Why a frame that began was not received whole. Positions count octets of the reception from 0,
/// preambles included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Damage {
    /// An octet of delimiter, address, expansion, command or byte count was marked: the frame
    /// cannot be trusted to end where it says [FR-11].
    Header {
        /// Which octet.
        at: usize,
        /// What was wrong with it.
        marks: Marks,
    },
    /// An octet after the byte count was marked; the frame's end is known [FR-11].
    Character {
        /// Which octet.
        at: usize,
        /// What was wrong with it.
        marks: Marks,
    },
    /// A pause of a character or more, or loss of carrier, inside the frame [LL-06].
    Gap {
        /// The octet before which it was; it belongs to what comes next.
        at: usize,
        /// Gap, lost carrier or overrun.
        marks: Marks,
    },
    /// The octets stopped before the frame's end.
    Truncated {
        /// Octets still missing by the byte count; 0 when the header is not whole.
        missing: usize,
    },
    /// The check byte is wrong [FR-09].
    Check {
        /// What it should be.
        computed: u8,
        /// What it was.
        received: u8,
    },
    /// A device's frame without room for its status octets [FR-12].
    NoStatus,
}

impl Damage {
    /// Whether the octets stopped before the frame's end: more might have come [LL-06].
    pub const fn breaks_off(&self) -> bool {
        matches!(self, Damage::Truncated { .. })
    }

    /// What happened, without where: a name to count by.
    pub const fn kind(&self) -> &'static str {
        match self {
            Damage::Header { .. } => "spoilt octet in the header",
            Damage::Character { .. } => "spoilt octet",
            Damage::Gap { .. } => "broken off by a pause",
            Damage::Truncated { .. } => "breaks off",
            Damage::Check { .. } => "wrong check byte",
            Damage::NoStatus => "no status octets",
        }
    }
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Damage::Header { at, marks } => write!(f, "{marks} at octet {at}, in the header"),
            Damage::Character { at, marks } => write!(f, "{marks} at octet {at}"),
            Damage::Gap { at, marks } => write!(f, "broken off by {marks} before octet {at}"),
            Damage::Truncated { missing: 0 } => f.write_str("breaks off inside the header"),
            Damage::Truncated { missing: 1 } => f.write_str("breaks off, 1 octet missing"),
            Damage::Truncated { missing } => write!(f, "breaks off, {missing} octets missing"),
            Damage::Check { computed, received } => {
                write!(f, "check byte {received:02X} instead of {computed:02X}")
            }
            Damage::NoStatus => f.write_str("a device's frame without its two status octets"),
        }
    }
}

/// A frame received without a fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Good {
    /// The frame.
    pub frame: Frame,
    /// How many octets of FF stood before it, at least two [FR-10].
    pub preambles: usize,
    /// Every octet, preambles included, with its time.
    pub octets: Vec<Octet>,
}

/// A frame that began and did not arrive whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damaged {
    /// What is wrong.
    pub damage: Damage,
    /// How many octets of FF stood before it, at least two.
    pub preambles: usize,
    /// Every octet, preambles included, with its time.
    pub octets: Vec<Octet>,
}

impl Damaged {
    /// Delimiter, address and command as received, when they arrived whole and unmarked [LL-08].
    pub fn header(&self) -> Option<Header> {
        if matches!(self.damage, Damage::Header { .. }) {
            return None;
        }
        let values: Vec<u8> = self.octets.iter().skip(self.preambles).take(11).map(|o| o.value).collect();
        Header::parse(&values)
    }
}

/// Octets that belong to no frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Noise {
    /// The octets with their times, never empty.
    pub octets: Vec<Octet>,
}

/// One item of the receiver's account: every octet ends in exactly one of these.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reception {
    /// A frame received without a fault.
    Good(Good),
    /// A frame that began and did not arrive whole.
    Damaged(Damaged),
    /// Octets that belong to no frame.
    Noise(Noise),
}

impl Reception {
    /// The octets with their times, never empty.
    pub fn octets(&self) -> &[Octet] {
        match self {
            Reception::Good(g) => &g.octets,
            Reception::Damaged(d) => &d.octets,
            Reception::Noise(n) => &n.octets,
        }
    }

    /// The end of the first octet.
    pub fn first_at(&self) -> Instant {
        self.octets().first().map_or(Instant::ZERO, |o| o.at)
    }

    /// The end of the last octet; of a good frame this is the check byte, where all timers start.
    pub fn last_at(&self) -> Instant {
        self.octets().last().map_or(Instant::ZERO, |o| o.at)
    }

    /// The values alone.
    pub fn values(&self) -> Bytes {
        self.octets().iter().map(|o| o.value).collect()
    }
}
