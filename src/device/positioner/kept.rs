//! What a positioner with electronics stores, as it stands in the memory image [DV-88].

use super::config::{Config, SetUpError, within};
use super::{
    Calibrated, Characteristic, Counters, DeviationConfig, EndPosition, Kept, Outcome, POINTS, RANGEABILITY,
};
use serde::{Deserialize, Serialize};

/// Most faults that are kept, the newest first [DV-89].
pub const MOST_FAULTS: usize = 16;

/// A fault as the history keeps it [DV-89].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FaultEntry {
    /// Its code, 1 to 8: see [`Alarm`](super::Alarm).
    pub fault: u8,
    /// Day, month, year less 1900, by the device's clock.
    pub date: [u8; 3],
    /// Time of day, 1/32 ms.
    pub time: u32,
    /// Sensed travel, percent; `None` where it was not known.
    pub travel_percent: Option<f32>,
}

/// How the last calibration ended, and on which day.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ended {
    /// How.
    pub outcome: Outcome,
    /// Day, month, year less 1900, by the device's clock.
    pub date: [u8; 3],
    /// Whether somebody at the device took note of it; images from before this was stored lack it.
    #[serde(default)]
    pub is_noted: bool,
}

/// Everything that a positioner with electronics stores beside what every device does [DV-88].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredPositioner {
    /// What a calibration has learned; none: never calibrated.
    pub calibrated: Option<Calibrated>,
    /// How the last calibration ended.
    pub ended: Option<Ended>,
    /// What the valve has done, as it was stored last.
    pub counters: Counters,
    /// The characteristic in force.
    pub characteristic: Characteristic,
    /// Ratio of the flows at 100 % and 0 %, as command 138 wrote it last, 2 to 200.
    pub rangeability: f32,
    /// Set point and travel, percent, as command 140 wrote them; they are in force once they rise [DV-82].
    pub points: [(f32, f32); POINTS],
    /// Tight shut-off.
    pub lower_end: EndPosition,
    /// Wide opening.
    pub upper_end: EndPosition,
    /// Least travel, percent.
    pub lower_limit_percent: f64,
    /// Largest travel, percent.
    pub upper_limit_percent: f64,
    /// When a deviation is told.
    pub deviation: DeviationConfig,
    /// Faults, the newest first, 16 at most.
    pub faults: Vec<FaultEntry>,
}

impl Default for StoredPositioner {
    /// As delivered: never calibrated, linear.
    fn default() -> StoredPositioner {
        let config = Config::default();
        StoredPositioner {
            calibrated: None,
            ended: None,
            counters: Counters::default(),
            characteristic: Characteristic::Linear,
            rangeability: 50.0,
            points: core::array::from_fn(|n| (10.0 * n as f32, 10.0 * n as f32)),
            lower_end: config.demand.lower_end,
            upper_end: config.demand.upper_end,
            lower_limit_percent: config.demand.lower_limit_percent,
            upper_limit_percent: config.demand.upper_limit_percent,
            deviation: config.deviation,
            faults: Vec::new(),
        }
    }
}

impl StoredPositioner {
    /// A set-up with what is stored in place of what a master can write.
    pub fn over(&self, set_up: &Config) -> Config {
        let mut config = set_up.clone();
        config.demand.characteristic = self.characteristic.clone();
        (config.demand.lower_end, config.demand.upper_end) = (self.lower_end, self.upper_end);
        config.demand.lower_limit_percent = self.lower_limit_percent;
        config.demand.upper_limit_percent = self.upper_limit_percent;
        config.deviation = self.deviation;
        config
    }

    /// What the electronics begin with at power-up.
    pub fn kept(&self, set_up: &Config) -> Kept {
        Kept {
            config: self.over(set_up),
            calibrated: self.calibrated,
            outcome: self.ended.map(|e| e.outcome),
            counters: self.counters,
        }
    }

    /// The points as a characteristic, if they rise from 0 to 100 %.
    pub fn characteristic_by_points(&self) -> Option<Characteristic> {
        let share = |(x, y): (f32, f32)| (f64::from(x) / 100.0, f64::from(y) / 100.0);
        Characteristic::by_points(self.points.map(share)).ok()
    }

    /// Whether every value is one that the device can hold: what it would refuse to have written it cannot have [DV-04].
    ///
    /// # Errors
    /// The first that is not.
    pub fn check(&self, set_up: &Config) -> Result<(), SetUpError> {
        self.over(set_up).check()?;
        let numbers = [self.counters.travel_strokes, self.counters.near_closed_s, self.counters.in_service_s];
        if numbers.iter().any(|x| !(*x >= 0.0 && x.is_finite())) {
            return Err(SetUpError { field: "counters", why: "a count below 0 is none".into() });
        }
        within("rangeability", self.rangeability.into(), RANGEABILITY)?;
        match &self.characteristic {
            Characteristic::EqualPercentage { rangeability } => {
                within("characteristic", *rangeability, RANGEABILITY)?;
            }
            Characteristic::ByPoints(points) if Characteristic::by_points(*points).is_err() => {
                return Err(SetUpError { field: "characteristic", why: "its points do not rise".into() });
            }
            _ => {}
        }
        for (x, y) in self.points {
            within("points", x.into(), 0.0..=100.0)?;
            within("points", y.into(), 0.0..=100.0)?;
        }
        if self.calibrated.is_some_and(|c| c.straightened().is_none()) {
            return Err(SetUpError { field: "calibrated", why: "its angles make no travel".into() });
        }
        if self.faults.len() > MOST_FAULTS {
            let why = format!("{} faults are more than {MOST_FAULTS}", self.faults.len());
            return Err(SetUpError { field: "faults", why });
        }
        Ok(())
    }
}
