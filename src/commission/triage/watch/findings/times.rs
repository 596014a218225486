//! What follows from how the valve moved in the strokes.

use super::super::{Stroke, Watched};
use super::moved::{is_driven, scatter};
use super::{Found, finite, numbers, rest};

/// A stroke begins when travel has left its place by so much, and ends when it stays so near to where it rests, percent of the way.
const EDGE: f64 = 0.02;
/// A stroke of less says nothing of times, percent.
const LEAST_WAY: f64 = 20.0;

pub fn from_strokes(w: &Watched, out: &mut Found) {
    let (opening, closing) = w.calibration.as_ref().map_or((None, None), |c| c.stroke_s);
    for (symptom, calibrated, to) in [("opening_time", opening, 100.0), ("closing_time", closing, 0.0)] {
        time(w, out, symptom, finite(calibrated), to);
    }
    motion(w, out);
    reading(w, out);
}

/// When a series crosses a level for good, s, between two readings in a straight line.
fn crosses(of: &[(f64, f64)], level: f64, rising: bool, last: bool) -> Option<f64> {
    let is_beyond = |p: f64| if rising { p >= level } else { p <= level };
    let at = match last {
        false => of.iter().position(|s| is_beyond(s.1))?,
        true => of.iter().rposition(|s| !is_beyond(s.1)).map_or(0, |i| i + 1),
    };
    let (t, p) = *of.get(at)?;
    match at.checked_sub(1).and_then(|b| of.get(b)) {
        Some(&(t0, p0)) if (p - p0).abs() > 1e-9 => Some(t0 + (t - t0) * ((level - p0) / (p - p0)).clamp(0.0, 1.0)),
        _ => Some(t),
    }
}

/// How long a stroke took for the whole travel, s.
fn lasted(stroke: &Stroke) -> Option<f64> {
    let (from, to) = finite(stroke.from_percent).zip(rest(stroke))?;
    let way = to - from;
    if way.abs() < LEAST_WAY {
        return None;
    }
    let mut of = vec![(stroke.asked_at_s, from)];
    of.extend(numbers(&stroke.samples).into_iter().filter(|s| s.0 > stroke.asked_at_s));
    let rising = way > 0.0;
    let left = crosses(&of, from + EDGE * way, rising, false)?;
    let came = crosses(&of, to - EDGE * way, rising, true)?;
    finite(Some((came - left).max(0.0) / (way.abs() / 100.0) / (1.0 - 2.0 * EDGE)))
}

fn time(w: &Watched, out: &mut Found, symptom: &str, calibrated: Option<f64>, to: f64) {
    let Some(calibrated) = calibrated.filter(|c| *c > 0.0) else { return };
    if w.by_person {
        return;
    }
    let stroke = w.strokes.iter().rfind(|s| s.to_percent == to);
    let Some(stroke) = stroke.filter(|s| is_driven(s)) else { return };
    let Some(lasted) = lasted(stroke) else { return };
    let share = lasted / calibrated;
    out.stroke(symptom, "as_ever", format!("{lasted:.2} s, calibrated {calibrated:.2} s, {share:.2}"));
}

fn motion(w: &Watched, out: &mut Found) {
    let _ = (w, out);
}

fn reading(w: &Watched, out: &mut Found) {
    let Some(hold) = &w.hold else { return };
    let Some(s) = scatter(&hold.samples) else { return };
    out.stroke("reading", "smooth", format!("{s:?}"));
}
