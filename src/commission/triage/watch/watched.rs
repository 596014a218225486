//! What was collected, raw: everything that [`super::findings()`] judges, and nothing that it concludes.

use crate::commission::travel::record::{Ended, Identity, Left, Link, Sample};
use serde::{Deserialize, Serialize};

/// The format that is written.
pub const FORMAT: u32 = 1;

/// What the bus told, whole or as far as it came. Times are seconds since its part began, the
/// looking or the strokes; travel and set points percent.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Watched {
    /// The record's format, [`FORMAT`].
    pub looprig_watched: u32,
    /// Whom it was to be, in words: "polling address 0".
    pub to: String,
    /// Requests one after the other, each repeated where no answer came.
    pub asked: Vec<Asked>,
    /// Nothing says that who answers is the one that was looked for: nothing is moved [TG-31].
    pub is_unsure: bool,
    /// Who answers where that is not sure, a sentence without a point; kept when it is sure.
    pub who_answers: String,
    /// Leave to move the valve was asked for and not given.
    #[serde(default)]
    pub is_refused: bool,
    /// Devices that answered elsewhere; `None`: nobody looked.
    pub elsewhere: Option<Vec<Elsewhere>>,
    /// Why the host had to stop for good: another master with our bit [HO-03].
    pub stopped: Option<String>,
    /// What others said.
    pub others: Heard,
    /// The device says that it is in burst mode; `None`: no answer.
    pub burst_mode: Option<bool>,
    /// The device.
    pub device: Identity,
    /// Its second status octet [ST-02].
    pub status: Option<u8>,
    /// Write protect as command 15 tells it: yes or no; `None`: it does not say.
    pub write_protect: Option<bool>,
    /// Bits that are set in command 48 and in the state of travel, by their names.
    pub told: Vec<String>,
    /// Whether the device's own bits of command 48 have names that are known, so that what is not there is not told.
    pub told_has_own: bool,
    /// What it tells of its calibration.
    pub calibration: Option<Calibration>,
    /// Supply pressure.
    pub supply: Supply,
    /// Nobody has said that what was read is the travel: nothing is judged by it.
    pub travel_assumed: bool,
    /// One set point for a while.
    pub hold: Option<Hold>,
    /// Who moved the set point, in words; empty: nobody.
    pub stimulus: String,
    /// A person moved it, so moments are not known well.
    pub by_person: bool,
    /// The strokes, in the order in which they were made.
    pub strokes: Vec<Stroke>,
    /// How well the link worked while the device was read.
    pub link: Link,
    /// How it ended.
    pub ended: Ended,
    /// Where the set point was left; `None`: it was never moved.
    pub left: Option<Left>,
    /// What else is to be said, a sentence each.
    pub remarks: Vec<String>,
}

/// A request, and how often it had to be made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Asked {
    /// Tries, the first among them.
    pub tries: u32,
    /// Whether the last one was answered.
    pub answered: bool,
}

/// A device that answered at another place than it was looked for.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Elsewhere {
    /// Its polling address; `None`: it answered to its tag.
    pub address: Option<u8>,
    /// Its unique address, ten hex digits.
    pub unique_address: String,
    /// Its tag; may be empty.
    pub tag: String,
    /// Its tag is not the one that is looked for.
    pub is_another: bool,
}

/// What others said on the line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Heard {
    /// Requests with our own master bit that were not ours.
    pub same_role: u32,
    /// Requests of a master with the other bit.
    pub other_role: u32,
    /// Messages of devices in burst mode.
    pub bursts: u32,
    /// Damaged frames, and noise.
    pub damaged: u32,
}

/// What a device tells of its calibration.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Calibration {
    /// How the last one ended, in the device's words.
    pub state: String,
    /// Why it failed, in the device's words.
    pub fault: String,
    /// Lever angle closed and open, degrees; `None`: none was learned.
    pub angles_deg: Option<(f64, f64)>,
    /// Stroke times, s: opening and closing.
    pub stroke_s: (Option<f64>, Option<f64>),
}

/// Supply pressures, kPa above ambient, each with its time, s.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Supply {
    /// What plate or person say it should be, kPa.
    pub plate_kpa: Option<f64>,
    /// At rest.
    pub at_rest: Vec<(f64, Option<f64>)>,
    /// In strokes of half the travel and more.
    pub in_strokes: Vec<(f64, Option<f64>)>,
}

/// One set point for a while.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Hold {
    /// The set point that the device told, percent.
    pub set_point_percent: Option<f64>,
    /// By how much the set point moved meanwhile, as far as the device told it, percent.
    pub set_point_spans_percent: f64,
    /// Readings of travel.
    pub samples: Vec<Sample>,
}

/// A stroke.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Stroke {
    /// Where the set point was to go, percent.
    pub to_percent: f64,
    /// The current that was asked for, mA; `None`: the set point was given otherwise.
    pub asked_ma: Option<f64>,
    /// When it was asked for, s.
    pub asked_at_s: f64,
    /// Travel before; `None`: not known.
    pub from_percent: Option<f64>,
    /// Readings of travel since.
    pub samples: Vec<Sample>,
    /// Those at rest, the last ones.
    pub at_rest: Vec<Sample>,
    /// Whether it came to rest.
    pub settled: bool,
    /// Loop current that the device reads, mA.
    pub read_ma: Option<f64>,
    /// Set point that the device tells, percent.
    pub set_point_percent: Option<f64>,
    /// Travel told less travel wanted, as the device tells it, percent.
    pub deviation_percent: Option<f64>,
    /// Angle of the lever, degrees.
    pub angle_deg: Option<f64>,
}

impl Watched {
    /// The record as JSON, indented, with a line end.
    pub fn to_json(&self) -> String {
        // Only maps with keys that are no text and failing writers can fail, and there are none.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// Reads a record again.
    ///
    /// # Errors
    /// What is wrong: no JSON, or no record of this format.
    pub fn from_json(text: &str) -> Result<Watched, String> {
        let watched: Watched =
            serde_json::from_str(text).map_err(|e| format!("this is no record of what a line told: {e}"))?;
        match watched.looprig_watched {
            FORMAT => Ok(watched),
            other => Err(format!("this is format {other} of what a line told, and {FORMAT} is read")),
        }
    }
}
