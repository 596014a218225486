//! The record of a travel test or a loop check: everything that was seen, raw and with times, so that every figure can be
//! computed again from it [TV-02].
//!
//! Times are seconds since the record's start, on the clock of the line. Travel, set points and inputs are percent: 0 closed, 100 open,
//! of the rated travel. What was asked for and not answered is kept as such; nothing is filled in.

pub(in crate::commission) mod check;
mod drive;
mod ended;
mod planned;
mod read;
mod seen;
mod shown;
mod tail;
#[cfg(test)]
mod tests;
mod told;
mod untested;

pub use drive::{Drive, Elsewhere};
pub use ended::{Ended, Left, Link, Log, Stood};
pub use planned::{Plan, Rest};
pub use read::RecordError;
pub use seen::{Creep, Direction, End, External, Fail, Loss, Move, Point, Sample, Step, Watch};
pub use shown::Shown;
pub use tail::Tail;
pub use told::StatusBit;
pub use untested::NotTested;

use super::figures::View;
use serde::{Deserialize, Serialize};

/// The format that is written, and the newest that is read.
pub const FORMAT: u32 = 1;

/// The name under which a record has what the device tells of its last calibration, among what else is known of it
/// ([`Identity::more`]).
pub const CALIBRATION: &str = "calibration";

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
    /// Steps, strokes, moves of creeps and ways to a stop whose set point the device read elsewhere: they are not judged.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub elsewhere: Vec<Elsewhere>,
    /// How waits for rest ended, those of points and of the ways to where a creep or a step begins.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tails: Vec<Tail>,
    /// What the valve did when something was taken away.
    pub fails: Vec<Fail>,
    /// Losses that were planned and not tried, as far as it came to them, and why [TV-117].
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_tested: Vec<NotTested>,
    /// The end stops, where the valve was pressed against them.
    pub ends: Vec<End>,
    /// How well the link worked.
    pub link: Link,
    /// What the device told in the second status octet of its answers, while nothing was taken away [TV-110].
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub status: Vec<StatusBit>,
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

/// A valve that ends within so much of a place went there, percent of travel [TV-72].
pub const WENT_PERCENT: f64 = 5.0;

impl FailsTo {
    /// How far a travel in the end is from where the valve goes in this way, percent; `from_percent` is where it was let go. `None`: nobody said.
    pub fn away_percent(self, at_percent: f64, from_percent: f64) -> Option<f64> {
        Some(match self {
            FailsTo::Closed => at_percent,
            FailsTo::Open => 100.0 - at_percent,
            FailsTo::Stays => (at_percent - from_percent).abs(),
            FailsTo::Unsaid => return None,
        })
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
    /// Nobody has said that this travel is measured: it was taken for want of another, and may be the set point [TV-20]; or it was the set
    /// point at every reading, whoever named it [TV-107].
    pub travel_assumed: bool,
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
            elsewhere: Vec::new(),
            tails: Vec::new(),
            fails: Vec::new(),
            not_tested: Vec::new(),
            ends: Vec::new(),
            link: Link::default(),
            status: Vec::new(),
            log: None,
            ended: Ended::Running,
            left: None,
            remarks: Vec::new(),
        }
    }

    /// What the device read elsewhere after the asking at a moment, s, a few words; `None`: it read what was asked, or nobody looked [TV-22].
    pub fn driven_elsewhere(&self, asked_at_s: f64) -> Option<String> {
        self.elsewhere.iter().find(|e| e.asked_at_s == asked_at_s)?.drive.wrong()
    }

    /// How the wait ended that began with the asking at a moment, s.
    pub fn tail(&self, asked_at_s: f64) -> Option<&Tail> {
        self.tails.iter().find(|t| t.asked_at_s == asked_at_s)
    }

    /// What measures travel in a view; `None` where there is nothing.
    pub fn measure(&self, view: View) -> Option<&Measure> {
        match view {
            View::Sensor => Some(&self.sensor),
            View::External => self.external.as_ref(),
        }
    }
}
