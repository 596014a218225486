//! A loop current that the device makes: fixed by a master, and trimmed [DV-62].

use serde::{Deserialize, Serialize};

/// Most that a trim may correct, mA [DV-62].
pub(in crate::device) const MOST_CORRECTION_MA: f32 = 1.0;

/// What can be sent.
pub(in crate::device) struct OutputRules {
    /// Least and most current, mA.
    pub least_ma: f64,
    pub most_ma: f64,
}

/// What a master makes of the output; forgotten at power-up and reset.
#[derive(Clone, Copy, Debug, Default)]
pub(in crate::device) struct Output {
    /// The current that command 40 has fixed, mA.
    pub fixed_ma: Option<f64>,
}

/// What is added to the current that the device means to send, mA at 4 and at 20 mA, and in a straight line through
/// both [DV-62].
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutputTrim {
    /// At 4 mA, −1 to 1.
    pub at_4_ma: f32,
    /// At 20 mA, −1 to 1.
    pub at_20_ma: f32,
}

impl OutputTrim {
    /// What is added where `ma` is meant.
    pub fn at(&self, ma: f64) -> f64 {
        let (low, high) = (f64::from(self.at_4_ma), f64::from(self.at_20_ma));
        low + (high - low) * (ma - 4.0) / 16.0
    }

    /// Whether commands 45 and 46 can have made it.
    pub(in crate::device) fn can_be_written(&self) -> bool {
        [self.at_4_ma, self.at_20_ma].iter().all(|x| x.abs() <= MOST_CORRECTION_MA)
    }
}
