//! What a calibration accepts [DV-92].

use super::super::config::{SetUpError, within};
use serde::{Deserialize, Serialize};

/// Limits of a calibration; every one is configurable [DV-92].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Least angle from stop to stop of a lever, degrees. Usual 25 (common practice, no source).
    pub least_angle_deg: f64,
    /// Largest angle of a lever to either side of square, degrees. Usual 30 (common practice, no source); the default leaves
    /// 3 for mounting.
    pub most_lever_deg: f64,
    /// Least angle from stop to stop on the shaft of a part-turn valve, degrees.
    pub least_turn_deg: f64,
    /// Largest one, degrees.
    pub most_turn_deg: f64,
    /// How far from square the lever may be at mid travel, degrees.
    pub most_off_square_deg: f64,
    /// Least supply, Pa gauge.
    pub least_supply_gauge_pa: f64,
    /// Share of the supply that may be lost while the valve strokes.
    pub most_supply_sag: f64,
    /// Longest stroke, s.
    pub most_stroke_s: f64,
    /// Longest calibration, s. Usual 240 (common practice, no source).
    pub most_time_s: f64,
    /// Largest friction as a share of the pressure from stop to stop (one output) or of the supply (two outputs): whole
    /// band.
    pub most_friction_share: f64,
    /// Largest drive that may be needed to keep the pressure at mid travel.
    pub most_holding_drive: f64,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            least_angle_deg: 25.0,
            most_lever_deg: 33.0,
            least_turn_deg: 75.0,
            most_turn_deg: 105.0,
            most_off_square_deg: 6.0,
            least_supply_gauge_pa: 1.0e5,
            most_supply_sag: 0.3,
            most_stroke_s: 60.0,
            most_time_s: 240.0,
            most_friction_share: 0.35,
            most_holding_drive: 0.065,
        }
    }
}

impl Limits {
    /// # Errors
    /// The first value outside its range.
    pub fn check(&self) -> Result<(), SetUpError> {
        within("least_angle_deg", self.least_angle_deg, 5.0..=120.0)?;
        within("most_lever_deg", self.most_lever_deg, 0.5 * self.least_angle_deg..=75.0)?;
        within("least_turn_deg", self.least_turn_deg, 5.0..=350.0)?;
        within("most_turn_deg", self.most_turn_deg, self.least_turn_deg..=350.0)?;
        within("most_off_square_deg", self.most_off_square_deg, 0.5..=45.0)?;
        within("least_supply_gauge_pa", self.least_supply_gauge_pa, 1e4..=1e6)?;
        within("most_supply_sag", self.most_supply_sag, 0.01..=0.95)?;
        within("most_stroke_s", self.most_stroke_s, 1.0..=600.0)?;
        within("most_time_s", self.most_time_s, 10.0..=3600.0)?;
        within("most_friction_share", self.most_friction_share, 0.01..=1.0)?;
        within("most_holding_drive", self.most_holding_drive, 0.01..=0.4)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_hold_and_each_limit_is_checked() {
        assert!(Limits::default().check().is_ok());
        assert!(
            Limits { most_lever_deg: 12.0, ..Limits::default() }.check().is_err(),
            "25 degrees do not fit in"
        );
        assert!(Limits { most_time_s: f64::NAN, ..Limits::default() }.check().is_err());
    }
}
