//! Watches whether the travel stays away from where it should be [DV-85].

use super::config::{SetUpError, within};
use serde::{Deserialize, Serialize};

/// When a deviation is one to be told.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DeviationConfig {
    /// Larger than this, percent of the travel, 0.1 to 100.
    pub limit_percent: f64,
    /// For longer than this, s, 0 to 9999.
    pub time_s: f64,
}

impl Default for DeviationConfig {
    /// 2 % for 20 s (own choice).
    fn default() -> DeviationConfig {
        DeviationConfig { limit_percent: 2.0, time_s: 20.0 }
    }
}

impl DeviationConfig {
    /// # Errors
    /// A value outside its range.
    pub fn check(&self) -> Result<(), SetUpError> {
        within("deviation_limit_percent", self.limit_percent, 0.1..=100.0)?;
        within("deviation_time_s", self.time_s, 0.0..=9999.0)
    }
}

/// The watch at work.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DeviationWatch {
    beyond_s: f64,
    told: bool,
}

impl DeviationWatch {
    /// A tick of `dt_s` with the deviation, percent; whether it is to be told. It ends when the deviation is within half of
    /// the limit, so that it does not come and go.
    pub fn step(&mut self, config: &DeviationConfig, dt_s: f64, deviation_percent: f64) -> bool {
        let size = deviation_percent.abs();
        let beyond = size > config.limit_percent || size.is_nan();
        self.beyond_s = if beyond { self.beyond_s + dt_s } else { 0.0 };
        self.told = if self.told {
            size > 0.5 * config.limit_percent || size.is_nan()
        } else {
            beyond && self.beyond_s > config.time_s
        };
        self.told
    }

    /// Whether it is told.
    pub fn told(&self) -> bool {
        self.told
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn longer_than_the_time_and_gone_within_half() {
        let (config, mut watch) =
            (DeviationConfig { limit_percent: 2.0, time_s: 3.0 }, DeviationWatch::default());
        let told: Vec<bool> =
            [2.1, -2.1, 2.1, 2.1, 1.5, 1.0, 2.1].iter().map(|&x| watch.step(&config, 1.0, x)).collect();
        assert_eq!(told, [false, false, false, true, true, false, false]);
        assert!(!watch.step(&config, 1.0, 1.9), "the time begins anew");
        assert!(
            (0..4).map(|_| watch.step(&config, 1.0, f64::NAN)).any(|told| told),
            "no number is no travel"
        );
    }
}
