//! What a line that hears the tones themselves tells beside the octets [WV-03] [WV-06]; a log keeps it [LG-05].

use crate::time::Instant;
use core::fmt;

/// What a receiver must understand, V peak to peak [WV-03].
pub const MUST_UNDERSTAND_V: f64 = 0.120;
/// What a receiver must ignore, V peak to peak [WV-03].
pub const MUST_IGNORE_V: f64 = 0.080;

/// Something about a transmission.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Remark {
    /// When that began.
    pub at: Instant,
    /// Until when it was so.
    pub until: Instant,
    /// What it is.
    pub what: Noticed,
}

/// What was noticed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Noticed {
    /// Two talked at once, as far as that shows [WV-06].
    TwoTalkers,
    /// A tone was weaker than what a receiver must understand [WV-03].
    Weak {
        /// The weaker tone, V peak to peak.
        peak_to_peak_v: f64,
    },
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.what {
            Noticed::TwoTalkers => write!(f, "two talk at once until {} s: do not trust it", self.until),
            Noticed::Weak { peak_to_peak_v: v } if v < MUST_IGNORE_V => {
                write!(f, "weak, {:.0} mV peak to peak: a receiver ignores 80", v * 1e3)
            }
            Noticed::Weak { peak_to_peak_v: v } => {
                write!(f, "weak, {:.0} mV peak to peak: a receiver may need 120", v * 1e3)
            }
        }
    }
}
