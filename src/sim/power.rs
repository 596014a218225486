//! What the loop gives a device, and whether that is enough [DV-51].

use crate::time::Instant;
use crate::wiring::digits;
use core::fmt;

/// So much more than the least there must be before power counts as back, V and A: our choice, so that nothing
/// flickers at the limit.
pub(super) const BACK_V: f64 = 0.5;
pub(super) const BACK_A: f64 = 0.2e-3;
/// Currents that differ by less are the same to a reader, A.
const SAME_A: f64 = 1e-5;

/// What a card can do of what it is told [WI-14].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CardDrives {
    /// The most volts that it has.
    pub compliance_v: f64,
    /// The current that it is told to drive, A.
    pub wanted_a: f64,
    /// The volts that the loop takes at that current.
    pub needs_v: f64,
    /// The current that it drives, A.
    pub carried_a: f64,
}

impl CardDrives {
    /// Whether its volts end before the current that is wanted flows.
    pub fn is_short(&self) -> bool {
        self.carried_a + SAME_A < self.wanted_a
    }
}

/// Why a device is without power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Dark {
    /// Too few volts are left between its terminals, when the peak of the signal is taken off [WI-02].
    Volts {
        /// What is left, V; 0 where nothing is.
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
        /// What its card does; `None` on a supply.
        card: Option<CardDrives>,
    },
    /// Its wires are the wrong way round.
    Reversed,
    /// The loop is open.
    Open,
}

fn short(x: f64) -> String {
    digits(x, 2)
}

impl Dark {
    /// What would bring the power back, such as "it starts again from 3.8 mA"; `None` where the reason says it itself.
    pub fn starts_again(&self) -> Option<String> {
        match *self {
            Dark::Volts { needs_v, peak_v, .. } => {
                Some(format!("it starts again from {} V", short(needs_v + peak_v + BACK_V)))
            }
            Dark::Current { needs_a, .. } => {
                Some(format!("it starts again from {} mA", short((needs_a + BACK_A) * 1e3)))
            }
            Dark::Reversed | Dark::Open => None,
        }
    }
}

impl fmt::Display for Dark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Dark::Volts { volts_v, peak_v, current_a, needs_v } => {
                let (volts, needs, ma) = (short(volts_v), short(needs_v), short(current_a * 1e3));
                match volts_v > 0.0 {
                    true => write!(f, "{volts} V at {ma} mA, it needs {needs} V")?,
                    false => write!(f, "no volts are left at {ma} mA, it needs {needs} V")?,
                }
                if peak_v >= 0.005 {
                    write!(f, " and {} V for the signal", short(peak_v))?;
                }
                Ok(())
            }
            Dark::Current { current_a, needs_a, wanted_a, card } => {
                write!(f, "{} mA, it needs {} mA", short(current_a * 1e3), short(needs_a * 1e3))?;
                let wanted = short(wanted_a * 1e3);
                let flows_a = card.map_or(wanted_a, |c| c.carried_a);
                if let Some(card) = card.filter(CardDrives::is_short) {
                    let (has, needs) = (short(card.compliance_v), short(card.needs_v));
                    let carried = short(card.carried_a * 1e3);
                    write!(f, "; the card's {has} V carry {carried} of {wanted} mA")?;
                    write!(f, "; this loop needs {needs} V at {wanted} mA")?;
                }
                if flows_a > current_a + SAME_A {
                    write!(f, "; a leak takes {} mA", short((flows_a - current_a) * 1e3))?;
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
    /// Volts between its terminals; 0 where no current can flow or none are left, below 0 where its wires are the wrong
    /// way round.
    pub volts_v: f64,
    /// Its current, A.
    pub current_a: f64,
    /// Volts that could be missing before it is without power, or on a card before less current flows than is
    /// wanted; below 0 they are missing. The peak of the signal is taken off [WI-02].
    pub margin_v: f64,
    /// What its card does; `None` on a supply, and where no current can flow.
    pub card: Option<CardDrives>,
}

/// Power that has gone, or come back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerNews {
    /// When, true time.
    pub at: Instant,
    /// What the loop gives it from then on.
    pub supplied: Supplied,
}
