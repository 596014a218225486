//! What a device itself tells of a loss: whether what was to be taken away went [TV-104].

use serde::{Deserialize, Serialize};

/// A loop current below this is gone, mA: no device lives on it (own choice).
const GONE_MA: f64 = 3.6;
/// A pressure that has fallen below this share of what it was is gone (own choice).
const GONE_SHARE: f64 = 0.5;

/// What the device told at the end of a loss, just before it was given back.
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
            _ => None,
        }
    }
}
