//! What was seen of a valve: readings, resting places, motions [TV-02].

use super::{FailsTo, Shown};
use crate::commission::travel::figures::View;
use serde::{Deserialize, Serialize};

/// One reading of travel, written as a pair `[s, percent]`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "(f64, Option<f64>)", into = "(f64, Option<f64>)")]
pub struct Sample {
    /// When it was read, s: halfway between the end of the request and the begin of the answer where a line is between.
    pub at_s: f64,
    /// Travel, percent; `None`: asked, and no number came.
    pub percent: Option<f64>,
}

impl Sample {
    /// A reading.
    pub fn new(at_s: f64, percent: f64) -> Sample {
        Sample { at_s, percent: Some(percent).filter(|p| p.is_finite()) }
    }
}

impl From<(f64, Option<f64>)> for Sample {
    fn from((at_s, percent): (f64, Option<f64>)) -> Sample {
        Sample { at_s, percent }
    }
}

impl From<Sample> for (f64, Option<f64>) {
    fn from(s: Sample) -> Self {
        (s.at_s, s.percent)
    }
}

/// A reading of the measurement beside the device's, as it was typed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct External {
    /// As typed.
    pub value: f64,
    /// Its unit: `mm`, `deg`, `%`.
    pub unit: String,
    /// The same in percent of the rated travel.
    pub percent: f64,
}

/// Which way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Towards open.
    Up,
    /// Towards closed.
    Down,
}

impl Direction {
    /// "up" or "down".
    pub fn words(self) -> &'static str {
        match self {
            Direction::Up => "up",
            Direction::Down => "down",
        }
    }
}

/// A resting place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Point {
    /// Which cycle, from 1.
    pub cycle: u32,
    /// From which side it was reached.
    pub direction: Direction,
    /// The set point that was asked for, percent of the set point's range.
    pub asked_percent: f64,
    /// The current that was asked for, mA; `None`: the set point was given otherwise.
    pub asked_ma: Option<f64>,
    /// Where the valve ought to be then, percent of travel: the set point itself for a linear characteristic.
    pub wanted_percent: f64,
    /// When the set point was asked for, s.
    pub asked_at_s: f64,
    /// How long was waited, s.
    pub dwell_s: f64,
    /// Whether the valve came to rest.
    pub settled: bool,
    /// The readings taken at rest, the device's own sensor; of one that did not settle the last ones.
    pub readings: Vec<Sample>,
    /// Loop current that the device read, mA.
    pub read_ma: Option<f64>,
    /// Set point that the device read, percent.
    pub set_point_percent: Option<f64>,
    /// Angle of the lever, degrees.
    pub angle_deg: Option<f64>,
    /// The measurement beside it.
    pub external: Option<External>,
    /// What the control system shows, percent.
    pub control_system_percent: Option<f64>,
}

/// A creeping reversal: little moves one way until the valve follows, then back until it follows again. Which way a move
/// went is seen from the inputs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Creep {
    /// About where, percent.
    pub place_percent: f64,
    /// The little moves, in the order in which they were made. The first is where the valve rested before.
    pub moves: Vec<Move>,
}

/// A little move of the set point, and what was read after it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Move {
    /// The set point, percent.
    pub input_percent: f64,
    /// When it was asked for, s.
    pub asked_at_s: f64,
    /// The readings taken when the valve rested again, the device's own sensor.
    pub readings: Vec<Sample>,
    /// The measurement beside it.
    pub external: Option<External>,
}

/// How travel was watched after something was asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Watch {
    /// When it was asked, s: a moment of the samples' clock.
    pub asked_at_s: f64,
    /// By how much that moment may be wrong, either way, s.
    pub asked_uncertain_s: f64,
    /// By how much the samples' times may be wrong, either way, s: half of the time between a request's end and its answer's begin.
    pub samples_uncertain_s: f64,
    /// Whose readings the samples are.
    pub view: View,
    /// Readings in order of time, from before the asking until the valve rested or was given up.
    pub samples: Vec<Sample>,
    /// The time that a person took by a stop watch, s.
    pub by_hand_s: Option<f64>,
}

/// A step or a stroke.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Set point before, percent.
    pub from_percent: f64,
    /// Set point after, percent; beyond 0 or 100 where a stroke is to reach the stop.
    pub to_percent: f64,
    /// What was seen.
    pub watch: Watch,
}

impl Step {
    /// Which way.
    pub fn direction(&self) -> Direction {
        if self.to_percent >= self.from_percent { Direction::Up } else { Direction::Down }
    }
}

/// What is taken away from a valve.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Loss {
    /// The loop current.
    Current,
    /// The supply of air.
    Air,
    /// A trip was called for.
    Trip,
}

impl Loss {
    /// A few words.
    pub fn words(self) -> &'static str {
        match self {
            Loss::Current => "loss of current",
            Loss::Air => "loss of air",
            Loss::Trip => "trip",
        }
    }
}

/// What the valve did when something was taken away.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fail {
    /// What was taken away.
    pub loss: Loss,
    /// Where it was before, set point, percent.
    pub from_percent: f64,
    /// What was seen; a device without current says nothing, so the samples may be few.
    pub watch: Watch,
    /// Where the person saw it go; `None`: nobody looked.
    pub seen: Option<FailsTo>,
    /// Whether what was taken away was given back.
    pub restored: bool,
    /// What the device itself told of the loss; `None`: nobody looked, as at a trip [TV-104].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shown: Option<Shown>,
}

/// An end stop.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct End {
    /// The open end; else the closed one.
    pub open: bool,
    /// The readings taken there, the device's own sensor, percent.
    pub readings: Vec<Sample>,
    /// Angle of the lever, degrees.
    pub angle_deg: Option<f64>,
    /// The measurement beside it.
    pub external: Option<External>,
}
