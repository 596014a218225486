//! What a calibration has learned: a value that is replaced as a whole, or not at all [DV-90].

use super::config::{Config, Lever};
use crate::plant::linearise::Straightened;
use serde::{Deserialize, Serialize};

/// How the valve moves, learned or assumed [DV-90]. "Opening" pressure and drive are those that push towards open.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Learned {
    /// Speed with the drive all open, percent/s.
    pub opening_percent_per_s: f64,
    /// Speed with the drive all the other way, percent/s.
    pub closing_percent_per_s: f64,
    /// What the valve still runs when the drive has ended, as time at its speed, s.
    pub run_on_s: f64,
    /// Opening drive beyond which air goes in the way that opens.
    pub opening_drive: f64,
    /// Opening drive below which air goes in the way that closes.
    pub closing_drive: f64,
    /// Half of the difference between the opening pressures that just open and just close, Pa.
    pub friction_pa: f64,
    /// Least way of a single move, percent.
    pub jump_percent: f64,
    /// Rise of the opening pressure while the valve sticks, Pa/s for the drive all open.
    pub rise_pa_per_s: f64,
    /// Opening pressure from stop to stop with one output, the supply with two, Pa.
    pub span_pa: f64,
    /// Opening pressures that hold the valve at its closed and at its open stop without friction, Pa.
    pub balance_pa: (f64, f64),
    /// Noise of the sensed travel, rms, percent.
    pub noise_percent: f64,
}

impl Default for Learned {
    /// Cautious: a valve of 10 %/s with some friction (own choices).
    fn default() -> Learned {
        Learned {
            opening_percent_per_s: 10.0,
            closing_percent_per_s: 10.0,
            run_on_s: 0.1,
            opening_drive: 0.02,
            closing_drive: -0.02,
            friction_pa: 5e3,
            jump_percent: 0.2,
            rise_pa_per_s: 2e4,
            span_pa: 1e5,
            balance_pa: (0.0, 0.0),
            noise_percent: 0.02,
        }
    }
}

/// All that is kept of a calibration [DV-90].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Calibrated {
    /// The lever's kind at that time.
    pub lever: Lever,
    /// Sensed angle at the closed stop, rad.
    pub closed_rad: f64,
    /// Sensed angle at the open stop, rad.
    pub open_rad: f64,
    /// Time of a stroke from the closed stop to the open one, s, if it was measured.
    pub opening_s: Option<f64>,
    /// Time of a stroke from the open stop to the closed one, s.
    pub closing_s: Option<f64>,
    /// Friction as a pressure in the actuator, Pa, if it was measured.
    pub friction_pa: Option<f64>,
    /// How the valve moves.
    pub learned: Learned,
}

impl Calibrated {
    /// From a sensed angle to the travel; `None` where the angles make no travel (a spoilt memory).
    pub fn straightened(&self) -> Option<Straightened> {
        let (closed, open) = (self.closed_rad, self.open_rad);
        // A shaft's zero is where it was mounted; a lever's is where it is square, which its sensor knows.
        Straightened::new(self.lever.law(), closed, open, 0.0).ok()
    }

    /// Sensed travel at an angle, percent.
    pub fn travel_percent(&self, lever_rad: f64) -> Option<f64> {
        self.straightened().map(|s| 100.0 * s.share(lever_rad)).filter(|x| x.is_finite())
    }

    /// Whether it may be used by a positioner with this set-up: its lever must be of the same kind.
    pub fn fits(&self, config: &Config) -> bool {
        self.lever == config.lever && self.straightened().is_some()
    }
}
