//! How a test ended, where the set point was left, how the link was [TV-02].

use crate::host::stimulus::Why;
use serde::{Deserialize, Serialize};

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
    /// The valve does not move: its sensor saw nothing since the start, though the set point went where it was asked for.
    NoMovement {
        /// What was being done.
        during: String,
        /// Where it stood meanwhile; records of before have it not.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        stood: Option<Stood>,
    },
    /// The valve moved before, and moves no more.
    Stands {
        /// What was being done.
        during: String,
        /// Where it stood meanwhile.
        stood: Stood,
    },
    /// The set point did not go where it was asked for, again and again: of the valve nothing is said.
    NotDriven {
        /// What was being done.
        during: String,
        /// What the device read instead, a few words.
        what: String,
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

/// Where a valve stood while its set point went on, percent [TV-83].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stood {
    /// Travel, by the device's own sensor.
    pub at_percent: f64,
    /// The set point when it came there.
    pub from_percent: f64,
    /// The set point in the end.
    pub to_percent: f64,
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
