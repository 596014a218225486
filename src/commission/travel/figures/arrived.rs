//! Steps and strokes that did not get where they were to go [TV-105], and strokes that were still moving [TV-116].

use super::super::record::{Record, Step};
use super::motion::{Ends, ends};
use super::reading::Quality;
use super::{Cause, View};

/// How far from where it was to go a valve may end where accuracy has no limit, and a stroke from the ends of travel, percent (own choice).
pub const THERE_PERCENT: f64 = 5.0;
/// How far a stroke must have come before anything is said of its pace, percent [TV-116].
const PACE_PERCENT: f64 = 1.0;

/// That a step or a stroke did not get where it was to go.
#[derive(Clone, Debug, PartialEq)]
pub struct NotArrived {
    /// [`Cause::NotArrived`] where it rests elsewhere, which is a fault; [`Cause::NotAtRest`] of a stroke that was still moving when it was watched
    /// no longer, and [`Cause::NotThere`] of one that was still on its way from before when it was asked for: of these nothing is known.
    pub cause: Cause,
    /// What was seen, and what to do about it; a few words.
    pub words: String,
    /// How long a stroke that was still moving had been under way at least, s.
    pub under_way_s: Option<f64>,
}

/// What is wrong with a step that rests further from its target than `there_percent`, or with a stroke that does not go from end to end;
/// `None`: it got there, or that is not known.
pub fn not_arrived(record: &Record, step: &Step, is_stroke: bool, there_percent: f64) -> Option<NotArrived> {
    // By a set point that was elsewhere nothing is said of the valve [TV-22].
    if record.driven_elsewhere(step.watch.asked_at_s).is_some() {
        return None;
    }
    let quality = Quality::of(record, View::Sensor);
    let m = ends(&step.watch, &record.plan.rest, &quality)?;
    if is_stroke {
        return still_moving(&m, step).or_else(|| no_full_stroke(&m));
    }
    let away = (m.to.value - step.to_percent.clamp(0.0, 100.0)).abs();
    let is_elsewhere = m.is_at_rest && away - m.to.by > there_percent;
    is_elsewhere.then(|| NotArrived {
        cause: Cause::NotArrived,
        words: format!(
            "it came to rest at {:.1} %, {away:.1} % from where it was to go, and no more than {there_percent} % are allowed",
            m.to.value
        ),
        under_way_s: None,
    })
}

/// A stroke whose time ran out, or that began before the valve was at its end [TV-116].
fn still_moving(m: &Ends, stroke: &Step) -> Option<NotArrived> {
    let away = |at: f64, wanted: f64| (at - wanted.clamp(0.0, 100.0)).abs();
    let (from, to) = (m.from.value, m.to.value);
    if !m.was_at_rest && away(from, stroke.from_percent) > THERE_PERCENT {
        let words = format!(
            "it was still on its way from before when it was told to go, at {from:.1} % by its sensor: watch longer, by --watch, and wait longer, by --rest-most"
        );
        return Some(NotArrived { cause: Cause::NotThere, words, under_way_s: None });
    }
    if m.is_at_rest || away(to, stroke.to_percent) <= THERE_PERCENT {
        return None;
    }
    let came = (to - from).abs();
    let pace = match came >= PACE_PERCENT {
        true => format!("; at that pace all of it takes about {:.0} s", m.watched_s * 100.0 / came),
        false => String::new(),
    };
    let words = format!(
        "it was still moving {:.1} s after it was told to go, and had come from {from:.1} to {to:.1} % by its sensor: watch longer, by --watch{pace}",
        m.watched_s
    );
    Some(NotArrived { cause: Cause::NotAtRest, words, under_way_s: m.under_way_s })
}

fn no_full_stroke(m: &Ends) -> Option<NotArrived> {
    let (low, high) = if m.from.value <= m.to.value { (m.from, m.to) } else { (m.to, m.from) };
    let is_short = low.value - low.by > THERE_PERCENT || high.value + high.by < 100.0 - THERE_PERCENT;
    is_short.then(|| NotArrived {
        cause: Cause::NotArrived,
        words: format!(
            "it went from {:.1} to {:.1} % by its sensor, which is no full stroke",
            m.from.value, m.to.value
        ),
        under_way_s: None,
    })
}
