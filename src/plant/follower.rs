//! A plain follower of a set point, for runs without electronics [PL-36].

use super::ConfigError;

/// Proportional with a dead band, on the sensed travel, and nothing else: no integral, no characteristic, no
/// tight shut-off. It is no positioner, and what error it leaves is not what one would leave [PL-36].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Follower {
    /// Drive for each percent of the stroke that the travel is short of the set point, 0.001 to 10.
    pub gain_per_percent: f64,
    /// Error within which the drive is 0, percent of the stroke, 0 to 50.
    pub dead_band_percent: f64,
}

impl Default for Follower {
    /// Full drive at an error of 10 %, rest within 0.3 %.
    fn default() -> Self {
        Follower { gain_per_percent: 0.1, dead_band_percent: 0.3 }
    }
}

impl Follower {
    /// Whether its numbers are within their ranges.
    ///
    /// # Errors
    /// Names the field that is not.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("gain_per_percent", self.gain_per_percent, 1e-3..=10.0)?;
        ConfigError::unless_in("dead_band_percent", self.dead_band_percent, 0.0..=50.0)?;
        Ok(())
    }

    /// The drive for a set point and a sensed travel, both percent of the stroke: -1 to 1, positive opens. Anything
    /// that is no number drives to -1, as no current would.
    pub fn drive(&self, set_point_percent: f64, sensed_percent: f64) -> f64 {
        let error = set_point_percent - sensed_percent;
        if error.is_nan() {
            return -1.0;
        }
        if error.abs() <= self.dead_band_percent {
            return 0.0;
        }
        (error * self.gain_per_percent).clamp(-1.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// [PL-36]: 5 % short at 0.1 a percent is 0.5; within the dead band 0; never beyond 1.
    #[test]
    fn proportional_with_a_dead_band() {
        let f = Follower::default();
        assert_eq!(f.drive(55.0, 50.0), 0.5);
        assert_eq!(f.drive(50.0, 55.0), -0.5);
        assert_eq!(f.drive(50.2, 50.0), 0.0);
        assert_eq!(f.drive(100.0, 0.0), 1.0);
        assert_eq!(f.drive(50.0, f64::NAN), -1.0);
        assert!(Follower { gain_per_percent: 0.0, ..f }.check().is_err());
    }
}
