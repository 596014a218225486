//! What tells of a loss besides words: whether what was to be taken away went, by the device [TV-104] or by a gauge of the supply [TV-118].

use serde::{Deserialize, Serialize};

/// A loop current below this is gone, mA: no device lives on it (own choice).
const GONE_MA: f64 = 3.6;
/// A pressure that has fallen below this share of what it was is gone (own choice).
const GONE_SHARE: f64 = 0.5;

/// What the device, or a gauge, told at the end of a loss, just before it was given back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shown {
    /// It answered no more.
    Silent,
    /// The loop current that it still read, mA.
    CurrentMa(f64),
    /// The highest pressure that it tells, before and then.
    Pressure {
        /// Before, in the unit.
        before: f64,
        /// At the end of the loss, in the unit.
        after: f64,
        /// The device's unit, as a symbol: `bar`.
        unit: String,
    },
    /// The device tells no pressure; the gauge of the air supply as a person read it [TV-118].
    Gauge {
        /// Before, kPa, above 0.
        before_kpa: f64,
        /// At the end of the loss, kPa.
        after_kpa: f64,
    },
    /// It tells nothing of it: the loss is only said.
    Nothing,
}

impl Shown {
    /// What speaks against the loss, a few words; `None`: it came, or nothing is told of it.
    pub fn against(&self) -> Option<String> {
        match self {
            Shown::CurrentMa(ma) if *ma >= GONE_MA => Some(format!("the device still read {ma:.2} mA")),
            Shown::Pressure { before, after, unit } if *after >= GONE_SHARE * before => {
                Some(format!("the device still told {after:.2} {unit} of air ({before:.2} {unit} before)"))
            }
            Shown::Gauge { before_kpa, after_kpa } if *after_kpa >= GONE_SHARE * before_kpa => Some(format!(
                "the gauge of the air supply still showed {after_kpa} kPa ({before_kpa} kPa before)"
            )),
            _ => None,
        }
    }
}
