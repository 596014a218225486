//! One character as the line delivered it, and what a line is able to tell about characters.

use crate::time::Instant;
use core::fmt;
use core::ops::{BitOr, BitOrAssign};
use core::time::Duration;

/// What was wrong with, or just before, one character. A set of bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Marks(pub u8);

impl Marks {
    /// Nothing remarkable.
    pub const NONE: Marks = Marks(0);
    /// The parity bit was wrong [ST-01].
    pub const PARITY: Marks = Marks(1);
    /// The stop bit was missing [ST-01].
    pub const FRAMING: Marks = Marks(2);
    /// Idle time of a character or more stood before this one [LL-06].
    pub const GAP: Marks = Marks(4);
    /// The carrier was lost since the character before [FR-11].
    pub const CARRIER_LOST: Marks = Marks(8);
    /// Characters were lost before this one: the port ran over [ST-01].
    pub const OVERRUN: Marks = Marks(16);

    /// Every mark with its letter in a log and its name in text.
    pub const ALL: [(Marks, char, &'static str); 5] = [
        (Marks::PARITY, 'p', "parity error"),
        (Marks::FRAMING, 'f', "framing error"),
        (Marks::GAP, 'g', "gap"),
        (Marks::CARRIER_LOST, 'c', "carrier lost"),
        (Marks::OVERRUN, 'o', "overrun"),
    ];

    /// Whether no mark is set.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether every mark of `other` is set here.
    pub const fn contains(self, other: Marks) -> bool {
        self.0 & other.0 == other.0
    }
}

impl BitOr for Marks {
    type Output = Marks;
    fn bitor(self, o: Marks) -> Marks {
        Marks(self.0 | o.0)
    }
}

impl BitOrAssign for Marks {
    fn bitor_assign(&mut self, o: Marks) {
        self.0 |= o.0;
    }
}

impl fmt::Display for Marks {
    /// The names of the marks that are set, with `, ` between them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut first = true;
        for (mark, _, name) in Marks::ALL {
            if self.contains(mark) {
                if !first {
                    f.write_str(", ")?;
                }
                f.write_str(name)?;
                first = false;
            }
        }
        Ok(())
    }
}

/// One character off the line with the time at which its stop bit ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Octet {
    /// End of the character.
    pub at: Instant,
    /// The eight data bits.
    pub value: u8,
    /// What was wrong with it or before it.
    pub marks: Marks,
}

impl Octet {
    /// A clean character that ended at `at`.
    pub const fn clean(at: Instant, value: u8) -> Self {
        Octet { at, value, marks: Marks::NONE }
    }
}

/// What a line's stamps stand for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StampUnit {
    /// Each character has a time of its own.
    Octets,
    /// A frame arrives whole and has one time.
    Frames,
}

/// What a line can tell and do; a judgement that needs more ends inconclusive [LI-04].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Capabilities {
    /// What one stamp covers.
    pub unit: StampUnit,
    /// Largest error of a stamp that the line admits.
    pub stamp_error: Duration,
    /// Whether a wrong parity bit is seen on reception.
    pub parity_seen: bool,
    /// Whether loss of carrier is seen.
    pub carrier_seen: bool,
    /// Whether our own transmission comes back to us.
    pub echo: bool,
}
