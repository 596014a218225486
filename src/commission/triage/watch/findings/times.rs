//! What follows from how the valve moved in the strokes.

use super::super::strokes::{MIDDLE, STEP};
use super::super::{Stroke, Watched};
use super::moved::is_driven;
use super::{Found, finite, numbers, rest};
use crate::commission::travel::record::Sample;

/// A stroke has come when it stays so near to where it rests, share of the way.
const EDGE: f64 = 0.02;
/// A stroke of less says nothing of times, percent.
const LEAST_WAY: f64 = 20.0;
/// A stroke of more is one over the whole travel, percent.
const WHOLE_PERCENT: f64 = 90.0;
/// A valve that was given up so far from where it was asked to is on its way, if it went so far, percent.
const ON_ITS_WAY_PERCENT: f64 = 5.0;
/// Shares of the calibrated time: less is shorter. A calibration closes from the open stop, where all the air is in that goes
/// in; at 100 % there is less, so closing takes 0.70 of it and more on healthy mocks, opening 0.96 and more.
const OPENS_SHORTER: f64 = 0.85;
const CLOSES_SHORTER: f64 = 0.6;
/// More is longer, and more than this much longer; healthy mocks have 1.04 at most where readings are not too far apart.
const LONGER: f64 = 1.2;
const MUCH_LONGER: f64 = 2.5;
/// Readings are so far apart that a moment may be wrong by this, s.
const READ_S: f64 = 0.3;
/// From one reading to the next, percent: more is a jump where it stood before.
const JUMPS_PERCENT: f64 = 8.0;
/// Readings within so much stand, percent.
const STANDS_PERCENT: f64 = 0.3;
/// Standing so far beyond what was asked is an overshoot, percent.
const OVERSHOOTS_PERCENT: f64 = 2.0;
/// A motion of so many times the speed of its fastest stroke is none of its own; leaving a stop healthy mocks have twice it.
const TOO_FAST: f64 = 2.8;
/// A reading so far from both of its neighbours, percent, is a spike.
const SPIKE_PERCENT: f64 = 0.7;
/// So many spikes at one set point are scatter.
const SPIKES: usize = 3;

/// How many readings lie on one side of both of their neighbours, far away.
fn spikes(samples: &[Sample]) -> usize {
    let of = numbers(samples);
    let is_spike = |p: &&[(f64, f64)]| {
        let (before, after) = (p[1].1 - p[0].1, p[1].1 - p[2].1);
        before.abs().min(after.abs()) > SPIKE_PERCENT && before * after > 0.0
    };
    of.windows(3).filter(is_spike).count()
}

pub fn from_strokes(w: &Watched, out: &mut Found) {
    time(w, out, 100.0);
    time(w, out, 0.0);
    motion(w, out);
    reading(w, out);
}

/// When a series crosses a level for good, s, between two readings in a straight line.
fn crosses(of: &[(f64, f64)], level: f64, rising: bool) -> Option<f64> {
    let is_beyond = |p: f64| if rising { p >= level } else { p <= level };
    let at = of.iter().rposition(|s| !is_beyond(s.1)).map_or(0, |i| i + 1);
    let (t, p) = *of.get(at)?;
    match at.checked_sub(1).and_then(|b| of.get(b)) {
        Some(&(t0, p0)) if (p - p0).abs() > 1e-9 => {
            Some(t0 + (t - t0) * ((level - p0) / (p - p0)).clamp(0.0, 1.0))
        }
        _ => Some(t),
    }
}

/// When a series is first beyond a level, s, between two readings in a straight line.
fn leaves(of: &[(f64, f64)], level: f64, rising: bool) -> Option<f64> {
    let is_beyond = |s: &(f64, f64)| if rising { s.1 >= level } else { s.1 <= level };
    let at = of.iter().position(is_beyond)?;
    crosses(of.get(..=at)?, level, rising)
}

/// How long a stroke would take for the whole travel, s; `None`: it went too little to say.
struct Lasted {
    s: f64,
    /// From the asking, over the whole travel; else from where it left its place, for how long air takes to come or go before
    /// has nothing to do with the way.
    is_whole: bool,
}

/// Of a stroke that was given up on its way it is at least as long as it was watched.
fn lasted(stroke: &Stroke) -> Option<Lasted> {
    let (from, to) = finite(stroke.from_percent).zip(rest(stroke))?;
    let way = to - from;
    let mut of = vec![(stroke.asked_at_s, from)];
    of.extend(numbers(&stroke.samples).into_iter().filter(|s| s.0 > stroke.asked_at_s));
    let is_on_its_way = !stroke.settled && (to - stroke.to_percent).abs() > ON_ITS_WAY_PERCENT;
    if way.abs() < if is_on_its_way { ON_ITS_WAY_PERCENT } else { LEAST_WAY } {
        return None;
    }
    let rising = way > 0.0;
    let came = match is_on_its_way {
        true => of.last()?.0,
        false => crosses(&of, to - EDGE * way, rising)?,
    };
    let is_whole = way.abs() >= WHOLE_PERCENT;
    let began = match is_whole {
        true => stroke.asked_at_s,
        false => leaves(&of, from + EDGE * way, rising)?,
    };
    let s = finite(Some((came - began).max(0.0) / (way.abs() / 100.0)))?;
    Some(Lasted { s, is_whole })
}

fn time(w: &Watched, out: &mut Found, to: f64) {
    let (opening, closing) = w.calibration.as_ref().map_or((None, None), |c| c.stroke_s);
    let (symptom, calibrated, least) = match to {
        100.0 => ("opening_time", opening, OPENS_SHORTER),
        _ => ("closing_time", closing, CLOSES_SHORTER),
    };
    let Some(calibrated) = finite(calibrated).filter(|c| *c > 0.0) else { return };
    // When a person has set the current is not known well enough.
    if w.by_person {
        return;
    }
    let stroke = w.strokes.iter().rfind(|s| s.to_percent == to);
    let Some(Lasted { s: lasted, is_whole }) = stroke.filter(|s| is_driven(s)).and_then(lasted) else {
        return;
    };
    let value = match lasted {
        t if is_whole && t < least * calibrated - READ_S => "shorter",
        t if t <= LONGER * calibrated + READ_S => "as_ever",
        t if t <= MUCH_LONGER * calibrated + READ_S => "longer",
        _ => "much_longer",
    };
    let words = format!(
        "a stroke over the whole travel takes {lasted:.1} s, {:.2} times the {calibrated:.1} s of its calibration",
        lasted / calibrated
    );
    out.stroke(symptom, value, words);
}

/// Stands, goes far in one go, and stands again beyond where it was asked to, or goes faster than its strokes.
fn motion(w: &Watched, out: &mut Found) {
    let (opening, closing) = w.calibration.as_ref().map_or((None, None), |c| c.stroke_s);
    let fastest_s =
        finite(opening).into_iter().chain(finite(closing)).filter(|t| *t > 0.0).fold(f64::MAX, f64::min);
    let mut has_moved = false;
    let mut worst: Option<(f64, f64)> = None;
    for stroke in w.strokes.iter().filter(|s| is_driven(s)) {
        let of: Vec<(f64, f64)> =
            numbers(&stroke.samples).into_iter().filter(|s| s.0 > stroke.asked_at_s).collect();
        has_moved |= super::span(&of) > JUMPS_PERCENT;
        let is_small = stroke.to_percent == STEP || stroke.to_percent == MIDDLE;
        for four in of.windows(4) {
            let [before, stood, came, then] = four else { continue };
            let went = came.1 - stood.1;
            let stands = |a: &(f64, f64), b: &(f64, f64)| (a.1 - b.1).abs() <= STANDS_PERCENT;
            if !stands(before, stood) || went.abs() <= JUMPS_PERCENT {
                continue;
            }
            let beyond = (came.1 - stroke.to_percent) * went.signum();
            let overshot = is_small && stands(came, then) && beyond > OVERSHOOTS_PERCENT;
            let too_fast = went.abs() > TOO_FAST * 100.0 / fastest_s * (came.0 - stood.0);
            if (overshot || too_fast) && worst.is_none_or(|(w, _)| went.abs() > w) {
                worst = Some((went.abs(), stood.1));
            }
        }
    }
    match worst {
        Some((went, at)) => {
            let words =
                format!("it stood at {at:.1} % and then went {went:.1} % from one reading to the next");
            out.stroke("motion", "jumps", words);
        }
        None if has_moved => out.stroke("motion", "smooth", "it moved without jumps".to_owned()),
        None => {}
    }
}

/// Whether single readings lie far off in the middle, where a sensor wears, and not a little beside it.
fn reading(w: &Watched, out: &mut Found) {
    let Some(beside) = w.strokes.iter().find(|s| s.to_percent == STEP && is_driven(s)) else { return };
    let Some(hold) = w.hold.as_ref().filter(|h| !h.samples.is_empty()) else { return };
    let (middle, beside) = (spikes(&hold.samples), spikes(&beside.at_rest));
    let value = if middle >= SPIKES && beside == 0 { "scatters" } else { "smooth" };
    let all = hold.samples.len();
    let far = "far from those before and behind";
    let words = match (middle, beside) {
        (0, 0) => format!("at {MIDDLE} % none of {all} readings lay {far}, and none at {STEP} %"),
        _ => format!("at {MIDDLE} % {middle} of {all} readings lay {far}, at {STEP} % {beside}"),
    };
    out.stroke("reading", value, words);
}
