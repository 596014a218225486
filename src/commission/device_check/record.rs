//! The record of a device check [TV-40].

use crate::commission::travel::record::{Ended, Identity, Left, Link, Rest, Sample, StatusBit};
use serde::{Deserialize, Serialize};

/// The format that is written.
pub const FORMAT: u32 = 1;

/// A device check, whole or as far as it came.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DeviceCheck {
    /// The record's format, [`FORMAT`].
    pub looprig_device_check: u32,
    /// The looprig that made it.
    pub looprig: String,
    /// When it was started, UTC; empty where no clock was at hand.
    pub started: String,
    /// The line, as it was named.
    pub line: String,
    /// Who did it; may be empty.
    pub who: String,
    /// The device.
    pub device: Identity,
    /// Who moved the set point, in words.
    pub stimulus: String,
    /// The kind of its output stage.
    pub stage: Stage,
    /// When readings count as at rest.
    pub rest: Rest,
    /// The sensor, moved by hand; `None`: it was not done.
    pub hand: Option<Hand>,
    /// Small moves of the set point, in the order in which they were made.
    pub jogs: Vec<Jog>,
    /// Whether air blows off while the valve rests; `None`: nobody looked.
    pub blows_at_rest: Option<bool>,
    /// What follows, in this order.
    pub findings: Vec<Finding>,
    /// How well the link worked.
    pub link: Link,
    /// What the device told in the second status octet of its answers [TV-110].
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub status: Vec<StatusBit>,
    /// How it ended.
    pub ended: Ended,
    /// Where the set point was left; `None`: it was never moved.
    pub left: Option<Left>,
    /// What else is to be said, a sentence each.
    pub remarks: Vec<String>,
}

/// The kind of an output stage.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Stage {
    /// What it does while the valve rests.
    pub at_rest: AtRest,
    /// How many outputs it has.
    pub acting: Acting,
}

/// What an output stage does while the valve rests.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AtRest {
    /// Its air is shut in: nothing blows off.
    Blocked,
    /// Some air blows off all the time.
    Bleeding,
    /// Nobody said.
    #[default]
    Unsaid,
}

/// How many outputs a stage has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Acting {
    /// One, against a spring.
    Single,
    /// Two, one against the other.
    Double,
    /// Nobody said.
    #[default]
    Unsaid,
}

/// What was read while a person moved the valve by hand.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Hand {
    /// At rest, closed.
    pub closed: Vec<Sample>,
    /// On the way to open.
    pub opening: Vec<Sample>,
    /// At rest, open.
    pub open: Vec<Sample>,
    /// On the way back.
    pub closing: Vec<Sample>,
    /// At rest where it began.
    pub back: Vec<Sample>,
    /// Angle of the lever at the closed and at the open end, degrees.
    pub angles_deg: (Option<f64>, Option<f64>),
}

/// A small move of the set point, and what became of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Jog {
    /// Set point before, percent.
    pub from_percent: f64,
    /// Set point after, percent.
    pub to_percent: f64,
    /// When it was asked for, s.
    pub asked_at_s: f64,
    /// Travel, from before the asking until it rested or was given up.
    pub samples: Vec<Sample>,
    /// What the person saw at the gauge of the first output.
    pub first: Option<Seen>,
    /// What the person saw at the gauge of the second output.
    pub second: Option<Seen>,
}

/// What an output pressure did.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Seen {
    /// It rose.
    Rises,
    /// It fell.
    Falls,
    /// It stayed.
    Stays,
}

/// What follows from a part of the check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// What was looked at, in a few words.
    pub about: String,
    /// What was found.
    pub found: Found,
    /// What was seen, whole sentences.
    pub words: String,
    /// What that does not prove, a sentence.
    pub not_proved: String,
}

/// Whether something is as it should be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Found {
    /// It is as expected.
    AsExpected,
    /// It is not.
    NotAsExpected,
    /// It cannot be said.
    NotJudged,
}

impl DeviceCheck {
    /// A record in which nothing has been seen yet.
    pub fn new(stage: Stage) -> DeviceCheck {
        DeviceCheck {
            looprig_device_check: FORMAT,
            looprig: env!("CARGO_PKG_VERSION").to_owned(),
            started: String::new(),
            line: String::new(),
            who: String::new(),
            device: Identity::default(),
            stimulus: String::new(),
            stage,
            rest: Rest::default(),
            hand: None,
            jogs: Vec::new(),
            blows_at_rest: None,
            findings: Vec::new(),
            link: Link::default(),
            status: Vec::new(),
            ended: Ended::Running,
            left: None,
            remarks: Vec::new(),
        }
    }
}
