//! Figures of a travel test, computed from a [`Record`] alone: pure functions [TV-01].
//!
//! Every figure says whose view it is and how uncertain it is. What cannot be had is a figure without value that says why.

mod definition;
mod reading;

pub use definition::{Definition, Line, Runs, Unit};
pub use reading::Uncertain;

use super::record::{Direction, Loss, Record};
use serde::{Deserialize, Serialize};

/// Whose view of the travel a figure is [TV-05].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum View {
    /// The device's own sensor: what is between sensor and valve (lever, clamp, coupling) is not seen.
    Sensor,
    /// A measurement at stem or shaft that is not the device's.
    External,
}

impl View {
    /// A few words for people.
    pub fn words(self) -> &'static str {
        match self {
            View::Sensor => "by the device's own sensor",
            View::External => "by the measurement at stem or shaft",
        }
    }
}

/// What of the test a figure is about.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum About {
    /// The whole test.
    Whole,
    /// A place of a creep, percent.
    Place(f64),
    /// A step, from and to, percent.
    Step(f64, f64),
    /// A stroke.
    Stroke(Direction),
    /// Something that was taken away.
    Loss(Loss),
    /// The end stop: true is the open one.
    End(bool),
}

/// A figure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figure {
    /// What it is.
    pub definition: Definition,
    /// Of what.
    pub about: About,
    /// Whose view.
    pub view: View,
    /// The number in [`Definition::unit`], finite; `None`: it could not be had, and `remark` says why.
    pub value: Option<f64>,
    /// By how much it may be wrong, either way, in the same unit, 0 or more [TV-06]; `None` where there is no value, or where too
    /// little is known to say it.
    pub uncertainty: Option<f64>,
    /// Where it was found, percent, for the largest of several.
    pub at_percent: Option<f64>,
    /// What else is to be said, a sentence; may be empty.
    pub remark: String,
}

/// Every figure that a record has something for: static terms in both views, creeps, steps, strokes, fail actions, ends, in this
/// order. Of parts that were not planned and not done there are none.
pub fn figures(record: &Record) -> Vec<Figure> {
    let _ = record;
    Vec::new()
}
