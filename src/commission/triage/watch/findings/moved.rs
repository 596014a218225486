//! What follows from where the valve went in the strokes.

use super::super::strokes::{MIDDLE, STEP};
use super::super::{Stroke, Watched};
use super::read::supply_at_rest;
use super::{Found, finite, median, rest};

/// The current that the device reads may be so far from what was sent, mA.
const CURRENT_MA: f64 = 0.15;
/// Error at rest of a valve that follows, percent.
const FOLLOWS_PERCENT: f64 = 1.0;
/// A small step by which travel went less was not followed, percent.
const STANDS_PERCENT: f64 = 1.0;
/// At an end it is within so much of it, percent of the travel that it was calibrated for.
const END_PERCENT: f64 = 2.0;
/// A long stroke in which it went less was none, percent.
const NO_MOVE_PERCENT: f64 = 2.0;
/// The device's own set point is where it was asked for within so much; else strokes say nothing of the valve, percent.
const DRIVEN_PERCENT: f64 = 2.0;
/// Travel that went so far the wrong way went the wrong way, percent.
const WRONG_PERCENT: f64 = 5.0;
/// The least supply pressure in strokes is no lower than this share of that at rest.
const SAGS: f64 = 0.9;

/// Whether the device's own set point came where it was asked for, as far as it tells that.
pub fn is_driven(s: &Stroke) -> bool {
    match (finite(s.set_point_percent), finite(s.read_ma).zip(finite(s.asked_ma))) {
        (Some(at), _) => (at - s.to_percent).abs() <= DRIVEN_PERCENT,
        (None, Some((read, asked))) => (read - asked).abs() <= 0.16 * DRIVEN_PERCENT,
        (None, None) => true,
    }
}

pub fn from_strokes(w: &Watched, out: &mut Found) {
    current(w, out);
    deviation(w, out);
    small_step(w, out);
    ends(w, out);
    direction(w, out);
    supply(w, out);
}

fn current(w: &Watched, out: &mut Found) {
    let of = w.strokes.iter().filter_map(|s| finite(s.read_ma).zip(finite(s.asked_ma)));
    let worst = of.max_by(|a, b| (a.0 - a.1).abs().total_cmp(&(b.0 - b.1).abs()));
    let Some((read, asked)) = worst else { return };
    let value = match read - asked {
        d if d > CURRENT_MA => "more",
        d if d < -CURRENT_MA => "less",
        _ => "as_sent",
    };
    out.stroke("current", value, format!("the device reads {read:.2} mA where {asked:.2} mA were sent"));
}

/// Travel told less travel wanted, percent.
fn error(s: &Stroke) -> Option<f64> {
    finite(s.deviation_percent).or_else(|| Some(rest(s)? - finite(s.set_point_percent)?))
}

fn deviation(w: &Watched, out: &mut Found) {
    let of: Vec<f64> = w.strokes.iter().filter(|s| s.to_percent == MIDDLE).filter_map(error).collect();
    let Some(error) = median(of) else { return };
    let value = match error {
        e if e > FOLLOWS_PERCENT => "high",
        e if e < -FOLLOWS_PERCENT => "low",
        _ => "none",
    };
    let way = if error < 0.0 { "less" } else { "more" };
    let words = format!("at rest at {MIDDLE} % it tells {:.1} % {way} travel than wanted", error.abs());
    out.stroke("deviation", value, words);
}

fn small_step(w: &Watched, out: &mut Found) {
    let Some(at) = w.strokes.iter().position(|s| s.to_percent == STEP) else { return };
    let Some((up, back)) = w.strokes.get(at).zip(w.strokes.get(at + 1)) else { return };
    if !is_driven(up) || !is_driven(back) {
        return;
    }
    let Some((at_step, at_back)) = rest(up).zip(rest(back)) else { return };
    let from = finite(up.from_percent).unwrap_or(at_back);
    let moved = (at_step - from).abs().max((at_step - at_back).abs());
    let Some((first, second)) = error(up).zip(error(back)) else { return };
    let worst = if first.abs() > second.abs() { first } else { second };
    let value = match worst.abs() <= FOLLOWS_PERCENT {
        _ if moved < STANDS_PERCENT => "no_move",
        true => "follows",
        false => "misses",
    };
    let words = format!(
        "from {from:.1} % asked to {STEP} % it rested at {at_step:.1} %, asked back to {MIDDLE} % at {at_back:.1} %; wrong by {:.1} % at most",
        worst.abs()
    );
    out.stroke("small_step", value, words);
}

/// Where a stroke ended, percent of the calibrated travel: by the angle of the lever, which is not clipped, else as told.
fn place(w: &Watched, s: &Stroke) -> Option<(f64, bool)> {
    let ends = w.calibration.as_ref().and_then(|c| c.angles_deg);
    let by_angle = ends.filter(|(a, b)| (b - a).abs() > 1.0).zip(finite(s.angle_deg));
    match by_angle {
        Some(((closed, open), angle)) => {
            finite(Some((angle - closed) / (open - closed) * 100.0)).map(|p| (p, true))
        }
        None => rest(s).map(|p| (p, false)),
    }
}

fn ends(w: &Watched, out: &mut Found) {
    for (symptom, to) in [("opens", 100.0), ("shuts", 0.0)] {
        let Some(at) = w.strokes.iter().rposition(|s| s.to_percent == to) else { continue };
        let Some((stroke, before)) = w.strokes.get(at).zip(at.checked_sub(1).and_then(|b| w.strokes.get(b)))
        else {
            continue;
        };
        if !is_driven(stroke) || !is_driven(before) {
            continue;
        }
        let Some(((place, by_angle), (was, _))) = self::place(w, stroke).zip(self::place(w, before)) else {
            continue;
        };
        let moved = (place - was).abs();
        // Beyond the end, away from the middle.
        let beyond = (place - to) * (to - MIDDLE).signum();
        let value = match beyond {
            _ if moved < NO_MOVE_PERCENT => "no_move",
            b if b > END_PERCENT => "beyond",
            b if b < -END_PERCENT => "short",
            _ => "full",
        };
        // The travel that it tells ends at 0 and 100 %, and is straightened; the angle is neither.
        let told = rest(stroke).filter(|_| by_angle).map_or_else(String::new, |t| {
            format!(" (it tells {:.1} %)", if t.abs() < 0.05 { 0.0 } else { t })
        });
        let [place, moved] = [place, moved].map(|x| if x.abs() < 0.05 { 0.0 } else { x });
        let how = if by_angle { "by the angle of its lever" } else { "as it tells" };
        out.stroke(
            symptom,
            value,
            format!("at set point {to} % it stands at {place:.1} % {how}{told}, and went {moved:.1} %"),
        );
    }
}

fn direction(w: &Watched, out: &mut Found) {
    let moves: Vec<(f64, f64)> = w
        .strokes
        .windows(2)
        .filter(|pair| is_driven(&pair[0]) && is_driven(&pair[1]))
        .filter_map(|pair| Some((pair[1].to_percent - pair[0].to_percent, rest(&pair[1])? - rest(&pair[0])?)))
        .filter(|(asked, came)| asked.abs() > 5.0 && came.abs() >= WRONG_PERCENT)
        .collect();
    if moves.is_empty() {
        return;
    }
    let wrong = moves.iter().filter(|(asked, came)| asked * came < 0.0).count();
    let value = if 2 * wrong > moves.len() { "wrong" } else { "right" };
    out.stroke("direction", value, format!("{wrong} of {} moves went against the set point", moves.len()));
}

fn supply(w: &Watched, out: &mut Found) {
    let least = w.supply.in_strokes.iter().filter_map(|s| finite(s.1)).min_by(f64::total_cmp);
    let Some((rest, least)) = supply_at_rest(w).filter(|r| *r > 0.0).zip(least) else { return };
    let value = if least < SAGS * rest { "sags" } else { "steady" };
    out.stroke(
        "stroke_supply",
        value,
        format!("in the strokes it tells {least:.0} kPa of supply at least, {rest:.0} kPa at rest"),
    );
}
