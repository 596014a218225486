//! What the loop gives a device, and whether that is enough [DV-51].

use crate::time::Instant;
use core::fmt;

/// Why a device is without power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Dark {
    /// Too few volts are left between its terminals, when the peak of the signal is taken off [WI-02].
    Volts {
        /// What is left, V.
        volts_v: f64,
        /// What the signal takes off that at its peak, V.
        peak_v: f64,
        /// At which current, A.
        current_a: f64,
        /// What it needs at that current, V.
        needs_v: f64,
    },
    /// Too little current flows that somebody else makes.
    Current {
        /// What flows, A.
        current_a: f64,
        /// What it needs, A.
        needs_a: f64,
        /// What was to flow, A.
        wanted_a: f64,
    },
    /// Its wires are the wrong way round.
    Reversed,
    /// The loop is open.
    Open,
}

/// Digits that a person reads.
fn short(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

impl fmt::Display for Dark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Dark::Volts { volts_v, peak_v, current_a, needs_v } => {
                let (volts, needs) = (short(volts_v, 2), short(needs_v, 2));
                write!(f, "{volts} V at {} mA, it needs {needs} V", short(current_a * 1e3, 2))?;
                if peak_v >= 0.005 {
                    write!(f, " and {} V for the signal", short(peak_v, 2))?;
                }
                Ok(())
            }
            Dark::Current { current_a, needs_a, wanted_a } => {
                let (current, needs) = (short(current_a * 1e3, 2), short(needs_a * 1e3, 2));
                write!(f, "{current} mA, it needs {needs} mA")?;
                // What leaks away is told as what flows.
                if wanted_a > current_a + 1e-5 {
                    write!(f, "; {} mA were to flow", short(wanted_a * 1e3, 2))?;
                }
                Ok(())
            }
            Dark::Reversed => f.write_str("plus and minus have changed places on the way"),
            Dark::Open => f.write_str("the loop is open"),
        }
    }
}

/// Whether a device has power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Power {
    /// It has, and works.
    On,
    /// It has, and starts: it is silent until then.
    Starting {
        /// When it works, true time.
        until: Instant,
    },
    /// It has none.
    Off(Dark),
}

/// What the loop gives a device.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supplied {
    /// Whether it has power.
    pub power: Power,
    /// Volts between its terminals; 0 where no current can flow.
    pub volts_v: f64,
    /// Its current, A.
    pub current_a: f64,
    /// Volts that could be missing before it is without power, or on a card before less current flows than is
    /// wanted; below 0 they are missing. The peak of the signal is taken off [WI-02].
    pub margin_v: f64,
}

/// Power that has gone, or come back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerNews {
    /// When, true time.
    pub at: Instant,
    /// What the loop gives it from then on.
    pub supplied: Supplied,
}
