//! What becomes of a case.

use core::fmt;

/// What a case found out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The device does as required.
    Pass,
    /// It does not.
    Fail {
        /// What the requirement wants, in words, octets in hex.
        expected: String,
        /// What the device did.
        observed: String,
    },
    /// The case does not concern this device, or nobody allowed what it needs.
    Skip(String),
    /// It concerns the device, but this line or this device's state allows no judgement.
    Inconclusive(String),
    /// Something besides the device went wrong, such as another master on the line.
    BenchError(String),
}

impl Verdict {
    /// One word: `pass`, `fail`, `skip`, `inconclusive`, `bench error`.
    pub const fn name(&self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Fail { .. } => "fail",
            Verdict::Skip(_) => "skip",
            Verdict::Inconclusive(_) => "inconclusive",
            Verdict::BenchError(_) => "bench error",
        }
    }

    /// Whether the device was judged: pass or fail.
    pub const fn is_judged(&self) -> bool {
        matches!(self, Verdict::Pass | Verdict::Fail { .. })
    }
}

/// Why a case ends before its end; each is a [`Verdict`] but the last two, which end the run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stop {
    /// The device does not do as required.
    Fail {
        /// What the requirement wants.
        expected: String,
        /// What the device did.
        observed: String,
    },
    /// The case does not concern this device.
    Skip(String),
    /// No judgement is possible.
    Inconclusive(String),
    /// Something besides the device is wrong.
    Bench(String),
    /// The line is lost; the machine's words.
    Lost(String),
    /// Somebody asked the program to stop.
    Interrupted,
}

impl Stop {
    /// The verdict on the case in which it happened.
    pub fn verdict(self) -> Verdict {
        match self {
            Stop::Fail { expected, observed } => Verdict::Fail { expected, observed },
            Stop::Skip(why) => Verdict::Skip(why),
            Stop::Inconclusive(why) => Verdict::Inconclusive(why),
            Stop::Bench(why) => Verdict::BenchError(why),
            Stop::Lost(why) => Verdict::BenchError(format!("the line was lost: {why}")),
            Stop::Interrupted => Verdict::Inconclusive("interrupted".to_owned()),
        }
    }

    /// Whether nothing more can be done on the line.
    pub const fn ends_run(&self) -> bool {
        matches!(self, Stop::Lost(_) | Stop::Interrupted)
    }
}

impl fmt::Display for Stop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Stop::Fail { expected, observed } => write!(f, "expected {expected}; observed {observed}"),
            Stop::Skip(why) | Stop::Inconclusive(why) | Stop::Bench(why) | Stop::Lost(why) => {
                f.write_str(why)
            }
            Stop::Interrupted => f.write_str("interrupted"),
        }
    }
}

/// How a case ends: `Ok` is a pass.
pub type Outcome = Result<(), Stop>;

/// A fail with what was expected and observed.
///
/// # Errors
/// Always.
pub fn fail<T>(expected: impl Into<String>, observed: impl Into<String>) -> Result<T, Stop> {
    Err(Stop::Fail { expected: expected.into(), observed: observed.into() })
}

/// Goes on if `so`; else a fail.
///
/// # Errors
/// It is not so.
pub fn expect(so: bool, expected: impl Into<String>, observed: impl Into<String>) -> Outcome {
    if so { Ok(()) } else { fail(expected, observed) }
}
