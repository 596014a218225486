//! What was to be done in a test [TV-02].

use super::Loss;
use serde::{Deserialize, Serialize};

/// What was to be done. A part that was not wanted is empty.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Plan {
    /// Set points of a cycle on the way up, percent, rising: 0, 25, 50, 75, 100. The way down is the same backwards.
    pub levels_percent: Vec<f64>,
    /// Cycles, 1 to 5; 0: none.
    pub cycles: u32,
    /// When the valve counts as at rest.
    pub rest: Rest,
    /// Places of creeping reversals, percent.
    pub creep_places_percent: Vec<f64>,
    /// How far each little move of a creep goes, percent, above 0.
    pub creep_increment_percent: f64,
    /// Steps, from and to, percent.
    pub steps_percent: Vec<(f64, f64)>,
    /// How long a step is watched, s.
    pub step_watch_s: f64,
    /// Strokes each way.
    pub strokes: u32,
    /// Whether somebody was to type what the control system shows at every resting place.
    #[serde(skip_serializing_if = "core::ops::Not::not")]
    pub control_system: bool,
    /// What is taken away.
    pub losses: Vec<Loss>,
}

/// When the valve counts as at rest: readings stay within `within_percent` of each other for `for_s`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rest {
    /// Percent of travel.
    pub within_percent: f64,
    /// s.
    pub for_s: f64,
    /// It is not waited longer than that, s.
    pub most_s: f64,
}

impl Default for Rest {
    /// 0.2 % for 2 s, 30 s at most: our own choice.
    fn default() -> Rest {
        Rest { within_percent: 0.2, for_s: 2.0, most_s: 30.0 }
    }
}
