//! The record of a travel test or a loop check: everything that was seen, raw and with times, so that every figure can be
//! computed again from it [TV-02].
//!
//! Times are seconds since the record's start, on the clock of the line. Travel, set points and inputs are percent: 0 closed, 100 open,
//! of the rated travel. What was asked for and not answered is kept as such; nothing is filled in.

mod check;
mod read;
#[cfg(test)]
mod tests;

pub use read::RecordError;

use super::figures::View;
use crate::commission::person::Why;
use serde::{Deserialize, Serialize};

/// The format that is written, and the newest that is read.
pub const FORMAT: u32 = 1;

/// A test, whole or as far as it came.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// The record's format, [`FORMAT`].
    pub looprig_travel: u32,
    /// Which test.
    pub test: Test,
    /// Before or after something was done to the valve.
    pub occasion: Occasion,
    /// The looprig that made it, such as `0.1.0`.
    pub looprig: String,
    /// When it was started, UTC, such as `2026-11-30 08:15:00 UTC`; empty where no clock was at hand.
    pub started: String,
    /// The line, as it was named.
    pub line: String,
    /// Who did it; may be empty.
    pub who: String,
    /// Where: works, area, permit; may be empty.
    pub site: String,
    /// The device.
    pub device: Identity,
    /// The valve.
    pub valve: Valve,
    /// Who moved the set point, in words.
    pub stimulus: String,
    /// What was to be done.
    pub plan: Plan,
    /// What was read, and where.
    pub variables: Variables,
    /// The device's own sensor of travel, as an instrument.
    pub sensor: Measure,
    /// The measurement beside it: stem scale, dial gauge, protractor. `None`: there was none.
    pub external: Option<Measure>,
    /// Test equipment.
    pub instruments: Vec<Instrument>,
    /// Pressure of the air supply, kPa above ambient; `None`: not known.
    pub supply_kpa: Option<f64>,
    /// Ambient temperature, degC; `None`: not known.
    pub ambient_c: Option<f64>,
    /// Resting places: cycles of points, or those of a loop check, in the order in which they were taken.
    pub points: Vec<Point>,
    /// Creeping reversals, for dead band and resolution.
    pub creeps: Vec<Creep>,
    /// Steps.
    pub steps: Vec<Step>,
    /// Strokes from stop to stop.
    pub strokes: Vec<Step>,
    /// What the valve did when something was taken away.
    pub fails: Vec<Fail>,
    /// The end stops, where the valve was pressed against them.
    pub ends: Vec<End>,
    /// How well the link worked.
    pub link: Link,
    /// The log that was kept, and its hash.
    pub log: Option<Log>,
    /// How it ended.
    pub ended: Ended,
    /// Where the set point was left; `None`: it was never moved.
    pub left: Option<Left>,
    /// What else is to be said, a sentence each.
    pub remarks: Vec<String>,
}

/// Which test a record is of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Test {
    /// A travel test.
    #[default]
    Travel,
    /// A loop check: set point, current, travel, the control system's value, a measurement.
    LoopCheck,
}

/// Before or after something was done to the valve.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Occasion {
    /// As found, before anything was done.
    AsFound,
    /// As left.
    AsLeft,
    /// Nobody said.
    #[default]
    Unsaid,
}

/// What the device says it is. Empty texts and `None`: not read.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Identity {
    /// Tag.
    pub tag: String,
    /// Long tag.
    pub long_tag: String,
    /// Ten hex digits.
    pub unique_address: String,
    /// Manufacturer, words and code.
    pub manufacturer: String,
    /// Device type, words and code.
    pub device_type: String,
    /// Protocol revision, 5 to 7.
    pub revision: Option<u8>,
    /// Serial number or device id.
    pub serial: String,
    /// Anything else that is worth printing: name and value as text.
    pub more: Vec<(String, String)>,
}

/// What is known of the valve. Empty texts and `None`: not said.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Valve {
    /// Tag of the valve.
    pub tag: String,
    /// How it moves.
    pub motion: Option<Movement>,
    /// Rated travel, mm of a linear valve, degrees of a part-turn one; above 0.
    pub rated_travel: Option<f64>,
    /// Where it goes without air or signal.
    pub fails_to: FailsTo,
    /// Anything else: size, packing, actuator.
    pub words: String,
}

/// How a valve moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Movement {
    /// A stem that goes up and down; travel in mm.
    Linear,
    /// A shaft that turns; travel in degrees.
    PartTurn,
}

/// Where a valve goes when something is taken away.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FailsTo {
    /// It closes.
    Closed,
    /// It opens.
    Open,
    /// It stays where it is.
    Stays,
    /// Nobody said.
    #[default]
    Unsaid,
}

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

/// Which variables were read, in words: `command 130, travel`. Empty: none.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Variables {
    /// The set point that the device follows.
    pub set_point: String,
    /// The travel by the device's sensor.
    pub travel: String,
    /// The loop current that the device reads.
    pub current: String,
    /// The angle of the lever.
    pub angle: String,
}

/// Something that measures travel.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Measure {
    /// What it is, in words: "the device's own sensor", "dial gauge".
    pub name: String,
    /// Least difference it shows, percent of travel; `None`: not known.
    pub resolution_percent: Option<f64>,
    /// Its error limit, percent of travel; `None`: not known. Of the device's own sensor it is never known: that is the view.
    pub limit_percent: Option<f64>,
    /// Which of the record's instruments, from 0.
    pub instrument: Option<usize>,
}

/// Test equipment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Instrument {
    /// What it is: "dial gauge".
    pub name: String,
    /// Serial number.
    pub serial: String,
    /// When it was calibrated, as on its label.
    pub calibrated: String,
    /// Its error limit with unit, as on its label: `0.02 mm`.
    pub limit: String,
}

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

/// How well the link worked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Link {
    /// Requests, repeats not counted.
    pub requests: u32,
    /// Requests that were answered.
    pub answered: u32,
    /// Repeats.
    pub retries: u32,
    /// Damaged frames.
    pub damaged: u32,
    /// Longest time until an answer began, s.
    pub slowest_s: Option<f64>,
}

impl From<crate::host::LinkQuality> for Link {
    fn from(q: crate::host::LinkQuality) -> Link {
        Link {
            requests: q.requests,
            answered: q.answered,
            retries: q.retries,
            damaged: q.damaged,
            slowest_s: q.slowest.map(|d| d.as_secs_f64()),
        }
    }
}

/// A log that was kept beside the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Log {
    /// Its file name.
    pub name: String,
    /// Its hash with the name of the method in front.
    pub hash: String,
}

/// How a test ended.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "how", deny_unknown_fields)]
pub enum Ended {
    /// Everything that was planned was done.
    Whole,
    /// Somebody or nobody: the person ended it, or there was none any more.
    Stopped {
        /// Why.
        why: Why,
        /// What was being done.
        during: String,
    },
    /// Ctrl-C, or whatever asks a program to end.
    Interrupted {
        /// What was being done.
        during: String,
    },
    /// The device does not answer any more.
    Silent {
        /// What was being done.
        during: String,
        /// When it was last heard, s; `None`: never.
        last_heard_s: Option<f64>,
    },
    /// The valve does not move.
    NoMovement {
        /// What was being done.
        during: String,
    },
    /// Something else failed.
    Failed {
        /// What was being done.
        during: String,
        /// What happened, and what to do next.
        what: String,
    },
    /// It has not ended yet: a record that is kept while the test runs.
    #[default]
    Running,
}

/// Where the set point was left.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Left {
    /// Percent of its range; `None`: not known.
    pub percent: Option<f64>,
    /// A sentence for people.
    pub words: String,
}

impl Record {
    /// A record in which nothing has been seen yet.
    pub fn new(test: Test, plan: Plan) -> Record {
        Record {
            looprig_travel: FORMAT,
            test,
            occasion: Occasion::default(),
            looprig: env!("CARGO_PKG_VERSION").to_owned(),
            started: String::new(),
            line: String::new(),
            who: String::new(),
            site: String::new(),
            device: Identity::default(),
            valve: Valve::default(),
            stimulus: String::new(),
            plan,
            variables: Variables::default(),
            sensor: Measure { name: "the device's own sensor".to_owned(), ..Measure::default() },
            external: None,
            instruments: Vec::new(),
            supply_kpa: None,
            ambient_c: None,
            points: Vec::new(),
            creeps: Vec::new(),
            steps: Vec::new(),
            strokes: Vec::new(),
            fails: Vec::new(),
            ends: Vec::new(),
            link: Link::default(),
            log: None,
            ended: Ended::Running,
            left: None,
            remarks: Vec::new(),
        }
    }

    /// What measures travel in a view; `None` where there is nothing.
    pub fn measure(&self, view: View) -> Option<&Measure> {
        match view {
            View::Sensor => Some(&self.sensor),
            View::External => self.external.as_ref(),
        }
    }
}
