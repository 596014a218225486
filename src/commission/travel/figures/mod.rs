//! Figures of a travel test, computed from a [`Record`] alone: pure functions [TV-01].
//!
//! Every figure says whose view it is and how uncertain it is. What cannot be had is a figure without value that says why.

mod arrived;
mod away;
mod course;
mod creep;
mod cycle;
mod definition;
mod doubt;
mod ends;
mod few;
mod motion;
mod reading;
mod straight;

pub use arrived::{NotArrived, THERE_PERCENT, not_arrived};
pub use away::{Away, rests_away};
pub use creep::stands;
pub use definition::{Definition, Line, Runs, Unit};
pub use doubt::Cause;
pub use few::{is_measured_at_stem, too_few};
pub(in crate::commission::travel) use motion::IN_THE_MIDDLE_PERCENT;
pub use reading::Uncertain;
pub use straight::{Straight, straight};

use doubt::Why;
use reading::Quality;

use super::record::{Direction, Loss, Record};
use crate::commission::person::capital;
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
    /// Why it is not judged though it has a value, a few words; empty: it can be.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub doubt: String,
    /// Of what kind that is, or why a figure without value has none, where it is of one of these kinds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cause: Option<Cause>,
}

impl Figure {
    /// A figure with its value; one that is no finite number has none.
    fn new(definition: Definition, about: About, view: View, found: Uncertain) -> Figure {
        if !found.value.is_finite() {
            return Figure::none(definition, about, view, "The numbers are too large to reckon with.");
        }
        let uncertainty = Some(found.by).filter(|by| by.is_finite());
        Figure { uncertainty, ..Figure::told(definition, about, view, found.value) }
    }

    /// A figure of which nobody knows how uncertain it is.
    fn told(definition: Definition, about: About, view: View, value: f64) -> Figure {
        let value = Some(value).filter(|v| v.is_finite());
        Figure {
            definition,
            about,
            view,
            value,
            uncertainty: None,
            at_percent: None,
            remark: String::new(),
            doubt: String::new(),
            cause: None,
        }
    }

    /// A figure that cannot be had.
    fn none(definition: Definition, about: About, view: View, why: impl Into<String>) -> Figure {
        Figure {
            definition,
            about,
            view,
            value: None,
            uncertainty: None,
            at_percent: None,
            remark: why.into(),
            doubt: String::new(),
            cause: None,
        }
    }
}

/// Every figure that a record has something for: static terms in both views, creeps, steps, strokes, fail actions, angles, in this
/// order. Of parts that were not done there are none.
pub fn figures(record: &Record) -> Vec<Figure> {
    figures_within(record, THERE_PERCENT)
}

/// The same, where a step counts as one only if it rests within so many percent of its target [TV-105].
pub fn figures_within(record: &Record, there_percent: f64) -> Vec<Figure> {
    let sensor = Quality::of(record, View::Sensor);
    let external = Quality::of(record, View::External);
    let of = |view| if view == View::Sensor { &sensor } else { &external };
    let rest = &record.plan.rest;
    let mut out = Vec::new();
    for view in [View::Sensor, View::External] {
        cycle::add(record, view, of(view), &mut out);
    }
    for one in &record.creeps {
        let before = out.len();
        let waited = creep::Waited::of(record, one, &sensor);
        for view in [View::Sensor, View::External] {
            creep::add(one, view, of(view), &waited, &mut out);
        }
        doubt_all(&mut out[before..], waited.doubt());
    }
    for (list, is_stroke) in [(&record.steps, false), (&record.strokes, true)] {
        for step in list {
            let before = out.len();
            let quality = of(step.watch.view);
            match is_stroke {
                true => motion::add_stroke(step, rest, quality, &mut out),
                false => motion::add_step(step, rest, quality, &mut out),
            }
            match not_arrived(record, step, is_stroke, there_percent) {
                Some(short) if short.cause == Cause::NotArrived => {
                    doubt_all(&mut out[before..], Some(&Why::new(short.cause, short.words)));
                }
                Some(short) => unstate(&mut out[before..], &short),
                None => {}
            }
            // By a set point that was elsewhere the valve is not measured [TV-22].
            let wrong = record.driven_elsewhere(step.watch.asked_at_s);
            doubt_all(&mut out[before..], wrong.map(|words| Why::new(Cause::NotDriven, words)).as_ref());
        }
    }
    record.fails.iter().for_each(|f| motion::add_fail(f, rest, of(f.watch.view), &mut out));
    ends::add(record, &mut out);
    if record.variables.travel_assumed {
        // A primary variable that is the set point follows it without fail [TV-20].
        let doubtful = out.iter_mut().filter(|f| f.view == View::Sensor && f.doubt.is_empty());
        doubtful.for_each(|f| {
            f.doubt = "nothing says that this travel is measured".to_owned();
            f.cause = Some(Cause::MayBeSetPoint);
        });
    }
    out
}

/// Takes the value of what was watched of a stroke that was still moving: it is of a part of one [TV-116].
fn unstate(figures: &mut [Figure], why: &NotArrived) {
    for figure in figures.iter_mut().filter(|f| f.view == View::Sensor) {
        let words = format!("{}.", capital(&why.words));
        *figure = Figure::none(figure.definition, figure.about, figure.view, words).not_stated(why.cause);
    }
}

/// Says of figures that have a value why they are not judged.
fn doubt_all(figures: &mut [Figure], why: Option<&Why>) {
    let Some(why) = why else { return };
    for figure in figures {
        figure.doubt.clone_from(&why.words);
        figure.cause = Some(why.cause);
    }
}
