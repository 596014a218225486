//! From the loop current, or a set point by hand, to the travel that is wanted [DV-81].

use super::characteristic::Characteristic;
use super::config::{SetUpError, within};
use serde::{Deserialize, Serialize};

/// Which way the travel follows the current.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Direction {
    /// More current opens.
    #[default]
    Rising,
    /// More current closes.
    Falling,
}

/// What becomes of set points near an end stop [DV-83].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EndPosition {
    /// Whether the valve is held against its stop with all the pressure there is.
    pub held: bool,
    /// Set point at which that begins, percent.
    pub set_point_percent: f64,
}

/// How far inside of its begin a set point must come before an end position lets go, percent [DV-83].
pub const END_HYSTERESIS_PERCENT: f64 = 0.5;

/// How demand is made [DV-81].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DemandConfig {
    /// Current for a set point of 0 %, A: 4 mA, or another of 3.8 to 20.5 mA for split range.
    pub from_a: f64,
    /// Current for 100 %, A, at least 1 mA more than [`DemandConfig::from_a`].
    pub to_a: f64,
    /// Which way.
    pub direction: Direction,
    /// How travel follows the set point.
    pub characteristic: Characteristic,
    /// Least travel, percent: soft limit.
    pub lower_limit_percent: f64,
    /// Largest travel, percent: soft limit.
    pub upper_limit_percent: f64,
    /// Tight shut-off.
    pub lower_end: EndPosition,
    /// Wide opening.
    pub upper_end: EndPosition,
}

impl Default for DemandConfig {
    /// 4 to 20 mA, rising, linear, no limits; shut tightly below 0.5 %, not held at the upper end (own choices).
    fn default() -> DemandConfig {
        DemandConfig {
            from_a: 4e-3,
            to_a: 20e-3,
            direction: Direction::Rising,
            characteristic: Characteristic::Linear,
            lower_limit_percent: 0.0,
            upper_limit_percent: 100.0,
            lower_end: EndPosition { held: true, set_point_percent: 0.5 },
            upper_end: EndPosition { held: false, set_point_percent: 99.5 },
        }
    }
}

impl DemandConfig {
    /// # Errors
    /// The first value outside its range.
    pub fn check(&self) -> Result<(), SetUpError> {
        within("from_a", self.from_a, 3.8e-3..=19.5e-3)?;
        within("to_a", self.to_a, self.from_a + 0.999e-3..=20.5e-3)?;
        self.characteristic.check()?;
        within("lower_limit_percent", self.lower_limit_percent, 0.0..=100.0)?;
        within("upper_limit_percent", self.upper_limit_percent, self.lower_limit_percent..=100.0)?;
        within("lower_end", self.lower_end.set_point_percent, 0.0..=50.0)?;
        within("upper_end", self.upper_end.set_point_percent, 50.0..=100.0)?;
        if self.lower_end.set_point_percent >= self.upper_end.set_point_percent {
            let why = "the end positions meet: the upper one must begin above the lower one".to_string();
            return Err(SetUpError { field: "upper_end", why });
        }
        Ok(())
    }

    /// Set point that a loop current asks for, percent, 0 to 100.
    pub fn set_point_percent(&self, loop_current_a: f64) -> f64 {
        let share = ((loop_current_a - self.from_a) / (self.to_a - self.from_a)).clamp(0.0, 1.0);
        let share = if share.is_nan() { 0.0 } else { share };
        100.0 * if self.direction == Direction::Falling { 1.0 - share } else { share }
    }
}

/// Where the set point comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub enum Source {
    /// The loop current.
    #[default]
    Loop,
    /// Given, percent.
    ByHand(f64),
}

/// What the controller is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    /// This travel, percent.
    Travel(f64),
    /// Pressed against the closed stop.
    Shut,
    /// Pressed against the open stop.
    WideOpen,
}

/// Demand at work: it remembers which end position holds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Demand {
    at_lower: bool,
    at_upper: bool,
}

impl Demand {
    /// What a set point, percent, asks for. A soft limit goes before the end position beyond it [DV-83].
    pub fn wanted(&mut self, config: &DemandConfig, set_point_percent: f64) -> Wanted {
        let sp = if set_point_percent.is_nan() { 0.0 } else { set_point_percent.clamp(0.0, 100.0) };
        let more = |on: bool| if on { END_HYSTERESIS_PERCENT } else { 0.0 };
        let (lower, upper) = (config.lower_end, config.upper_end);
        self.at_lower = lower.held && sp <= lower.set_point_percent + more(self.at_lower);
        self.at_upper = upper.held && !self.at_lower && sp >= upper.set_point_percent - more(self.at_upper);
        let travel = 100.0 * config.characteristic.travel(sp / 100.0);
        if self.at_lower && config.lower_limit_percent <= 0.0 {
            return Wanted::Shut;
        }
        if self.at_upper && config.upper_limit_percent >= 100.0 {
            return Wanted::WideOpen;
        }
        Wanted::Travel(travel.clamp(config.lower_limit_percent, config.upper_limit_percent))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Demand whose travel is rounded, so that it can be compared.
    #[derive(Default)]
    struct Rounded(Demand);

    impl Rounded {
        fn wanted(&mut self, config: &DemandConfig, set_point: f64) -> Wanted {
            match self.0.wanted(config, set_point) {
                Wanted::Travel(x) => Wanted::Travel((x * 1e9).round() / 1e9),
                other => other,
            }
        }
    }

    /// [DV-81]: of a split range of 12 to 20 mA 14 mA are a quarter, falling three quarters.
    #[test]
    fn split_range_and_direction() {
        let mut c = DemandConfig { from_a: 12e-3, ..DemandConfig::default() };
        assert!((c.set_point_percent(14e-3) - 25.0).abs() < 1e-9);
        assert_eq!(c.set_point_percent(4e-3), 0.0);
        assert_eq!(c.set_point_percent(21e-3), 100.0);
        c.direction = Direction::Falling;
        assert!((c.set_point_percent(14e-3) - 75.0).abs() < 1e-9);
        assert!(DemandConfig { to_a: 4.5e-3, ..DemandConfig::default() }.check().is_err());
        assert!(DemandConfig::default().check().is_ok());
    }

    /// [DV-83]: begins at 0.5 %, lets go above 1.0 %.
    #[test]
    fn tight_shut_off_with_hysteresis() {
        let (c, mut d) = (DemandConfig::default(), Rounded::default());
        assert_eq!(d.wanted(&c, 0.9), Wanted::Travel(0.9));
        assert_eq!(d.wanted(&c, 0.5), Wanted::Shut);
        assert_eq!(d.wanted(&c, 0.9), Wanted::Shut);
        assert_eq!(d.wanted(&c, 1.1), Wanted::Travel(1.1));
        assert_eq!(d.wanted(&c, 0.9), Wanted::Travel(0.9));
        assert_eq!(d.wanted(&c, 100.0), Wanted::Travel(100.0));
        let wide = DemandConfig { upper_end: EndPosition { held: true, set_point_percent: 98.0 }, ..c };
        assert_eq!(d.wanted(&wide, 98.0), Wanted::WideOpen);
        assert_eq!(d.wanted(&wide, 97.6), Wanted::WideOpen);
        assert_eq!(d.wanted(&wide, 97.4), Wanted::Travel(97.4));
    }

    #[test]
    fn soft_limits_go_before_end_positions() {
        let c =
            DemandConfig { lower_limit_percent: 10.0, upper_limit_percent: 80.0, ..DemandConfig::default() };
        let mut d = Rounded::default();
        assert_eq!(d.wanted(&c, 0.0), Wanted::Travel(10.0));
        assert_eq!(d.wanted(&c, 100.0), Wanted::Travel(80.0));
        assert_eq!(d.wanted(&c, f64::NAN), Wanted::Travel(10.0));
    }
}
