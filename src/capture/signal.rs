//! What was noticed of the signal of receptions, as a log keeps it [LG-05].

use crate::time::Instant;

/// Something noticed of the signal, with its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SignalRemark {
    /// When that began.
    pub at: Instant,
    /// Until when it was so; not before `at`.
    pub until: Instant,
    /// What it is.
    pub what: SignalNotice,
}

/// What was noticed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SignalNotice {
    /// Two talked at once [WV-06].
    TwoTalkers,
    /// A tone was weaker than what a receiver must understand [WV-03].
    Weak {
        /// The weaker tone, V peak to peak; 0 or more.
        peak_to_peak_v: f64,
    },
}
