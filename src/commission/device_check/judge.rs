//! What follows from a device check [TV-40]: pure functions of its record.

use super::record::{Acting, AtRest, DeviceCheck, Finding, Found, Hand, Jog, Seen};
use super::{JOG_PERCENT, mean_of};
use crate::commission::travel::record::{Ended, Sample};
use crate::commission::travel::run::plain;
use crate::commission::travel::sensing::SEEN_PERCENT;

/// A hand is to go over so much of the range, percent (own choice).
const RANGE_PERCENT: f64 = 90.0;
/// Held at an end it reads that end within this, percent [TV-111].
pub(super) const END_PERCENT: f64 = 5.0;
/// A way from one reading to the next is a jump where it is so much longer than both beside it, percent, and so many times as long [TV-98].
const JUMP_PERCENT: f64 = 3.0;
const JUMP_TIMES: f64 = 2.0;
/// Where even ways between readings are longer than that, percent, a jump is not told from the hand [TV-98].
const FAST_PERCENT: f64 = 10.0;
/// What does not go so far says nothing of where it comes back to, percent [TV-98].
const MOVED_PERCENT: f64 = 10.0;
/// What goes no further did not move, percent [TV-156].
pub(super) const STILL_PERCENT: f64 = 2.0;
/// A small move is followed by so much of it at least and at most [TV-98].
const FOLLOWS: (f64, f64) = (0.5, 1.5);
/// It stands at its set point within this, percent [TV-97].
const STANDS_PERCENT: f64 = 5.0;
/// Readings that lie further apart in time say nothing of jumps, s (own choice).
const TOGETHER_S: f64 = 2.0;
/// A hand may slip back so far, percent (own choice).
const SLIP_PERCENT: f64 = 2.0;
/// It is back where it was within this, percent (own choice).
const BACK_PERCENT: f64 = 1.0;

/// Why the stage is not judged where it does not stand at its set point [TV-97].
const AWAY: &str = "It does not stand at its set point, so the stage drives it fully one way, and small moves say nothing of the stage.";
/// Why the stage is not judged where the sensor is not to be trusted [TV-113].
const WORN: &str =
    "Its sensor is not to be trusted, and the stage follows it: mend the sensor, then check again.";
/// What is said of a valve that a hand did not move, or whose sensor did not see it.
const DID_NOT_MOVE: &str = "It did not move";
/// What is said of jumps.
const JUMPS: &str = "sensor: jumps";
const ONE_WAY: &str = "sensor: one way";
const DEVICE_NOT: &str = "Not proved: that a device which says nothing is in order.";
const SENSOR_NOT: &str =
    "Not proved: the sensor under load, heat and vibration, and what lies between it and the stem.";
const OUTPUT_NOT: &str =
    "Not proved: full travel and thrust, times, tightness of actuator and tubing, the fail action.";

/// Every finding that a record has something for.
pub fn findings(check: &DeviceCheck) -> Vec<Finding> {
    let mut out = Vec::new();
    for (_, words) in check.status.iter().filter_map(|b| b.words()).filter(|(counts, _)| *counts) {
        add(&mut out, "device: what it says of itself", Found::NotAsExpected, words, DEVICE_NOT);
    }
    if let Some(hand) = &check.hand {
        sensor(hand, check.rest.within_percent, &mut out);
    }
    let jumps = |f: &Finding| f.about == JUMPS && f.found == Found::NotAsExpected;
    let mut is_worn = out.iter().any(jumps);
    if !check.jogs.is_empty() {
        let away = away(&check.jogs);
        if let Some((at, set_point)) = away {
            let words = format!(
                "Before the moves it stands at {at:.2} % where {set_point:.0} % is its set point: it is stuck, has no air, or does not take the set point. \
                 That comes first: mend it and check again."
            );
            add(&mut out, "outputs: where it stands", Found::NotAsExpected, words, OUTPUT_NOT);
        }
        let is_erratic = follows(&check.jogs, &mut out);
        is_worn |= is_erratic;
        let hindered = match (away.is_some(), is_worn) {
            (true, _) => Some(AWAY),
            (_, true) => Some(WORN),
            _ => None,
        };
        outputs(check, hindered, &mut out);
    }
    if let Some(blows) = check.blows_at_rest {
        at_rest(check.stage.at_rest, blows, is_worn, &mut out);
    }
    out
}

impl DeviceCheck {
    /// Whether a hand was to move it, and it did not move [TV-156].
    pub fn did_not_move(&self) -> bool {
        self.findings.iter().any(|f| f.found == Found::NotAsExpected && f.words.starts_with(DID_NOT_MOVE))
    }

    /// The verdict over all findings: the worst of them; without an end or without findings it is not judged.
    pub fn verdict(&self) -> Found {
        let any = |found| self.findings.iter().any(|f| f.found == found);
        if any(Found::NotAsExpected) {
            Found::NotAsExpected
        } else if self.findings.is_empty() || any(Found::NotJudged) || self.ended != Ended::Whole {
            Found::NotJudged
        } else {
            Found::AsExpected
        }
    }
}

fn add(out: &mut Vec<Finding>, about: &str, found: Found, words: String, not_proved: &str) {
    out.push(Finding { about: about.to_owned(), found, words, not_proved: not_proved.to_owned() });
}

fn as_expected(good: bool) -> Found {
    if good { Found::AsExpected } else { Found::NotAsExpected }
}

fn sensor(hand: &Hand, within: f64, out: &mut Vec<Finding>) {
    let ends = mean_of(&hand.closed).zip(mean_of(&hand.open));
    let Some((closed, open)) = ends.map(|(closed, open)| (plain(closed), plain(open))) else {
        let words = "It was not moved from one end to the other.".to_owned();
        return add(out, "sensor: range", Found::NotJudged, words, SENSOR_NOT);
    };
    let range = (open - closed).abs();
    let mut words = format!("By hand from {closed:.2} to {open:.2} %, {range:.1} % of travel.");
    if let (Some(a), Some(b)) = hand.angles_deg {
        words += &format!(" The lever went from {a:.1} to {b:.1} degrees.");
    }
    let is_at_ends = closed.abs() <= END_PERCENT && (open - 100.0).abs() <= END_PERCENT;
    if range < STILL_PERCENT {
        words = format!(
            "{DID_NOT_MOVE}: {words} Was the hand on it, is the lever fast on the stem, does the sensor work?"
        );
    } else if range < RANGE_PERCENT {
        words +=
            " That is no whole range: was it moved to both ends, is the coupling fast, is it calibrated?";
    } else if open < closed {
        words += " It counts backwards: open is less than closed.";
    } else if !is_at_ends {
        words += &format!(
            " Held at the ends it is to read 0 and 100 % within {END_PERCENT:.0} %: look whether clamp, lever or coupling has slipped, then calibrate."
        );
    }
    add(
        out,
        "sensor: range",
        as_expected(range >= RANGE_PERCENT && open > closed && is_at_ends),
        words,
        SENSOR_NOT,
    );

    // What does not move says nothing of jumps.
    let ways = [(&hand.opening, open - closed), (&hand.closing, closed - open)];
    let moved = ways.iter().all(|(way, _)| span(way) >= range / 2.0) && range >= MOVED_PERCENT;
    if moved {
        let (found, words) = jumps(ways.map(|(way, change)| (way.as_slice(), change.signum())));
        add(out, JUMPS, found, words, SENSOR_NOT);
        let back = ways.iter().map(|(way, change)| largest_slip(way, change.signum())).fold(0.0, f64::max);
        let good = back <= SLIP_PERCENT;
        let words = match good {
            true => format!("It goes one way: {back:.2} % back at most."),
            false => format!(
                "It went {back:.1} % back on the way: the hand, or the sensor. Do it again to see which."
            ),
        };
        add(out, ONE_WAY, as_expected(good), words, SENSOR_NOT);
    } else {
        let words = match range {
            r if r < STILL_PERCENT => format!("{DID_NOT_MOVE}, so nothing would have been seen."),
            r if r < MOVED_PERCENT => format!("It went {r:.1} % only, so nothing would have been seen."),
            _ => "It was read mostly before or after it moved, so jumps would not have been seen.".to_owned(),
        };
        add(out, JUMPS, Found::NotJudged, words.clone(), SENSOR_NOT);
        if range < MOVED_PERCENT {
            add(out, ONE_WAY, Found::NotJudged, words, SENSOR_NOT);
        }
    }

    let noise = [&hand.closed, &hand.open, &hand.back].into_iter().map(|s| span(s)).fold(0.0, f64::max);
    let words = format!("Held still, readings lie within {noise:.2} %, wanted are {within:.2} %.");
    add(out, "sensor: noise", as_expected(noise <= within), words, SENSOR_NOT);
    match mean_of(&hand.back).map(plain) {
        None => {
            add(out, "sensor: back again", Found::NotJudged, "It was not moved back.".to_owned(), SENSOR_NOT)
        }
        Some(_) if range < STILL_PERCENT => {
            let words = format!("{DID_NOT_MOVE}, so where it comes back to says nothing.");
            add(out, "sensor: back again", Found::NotJudged, words, SENSOR_NOT);
        }
        Some(_) if range < MOVED_PERCENT => {
            let words = format!("It went {range:.1} % only, so where it comes back to says nothing.");
            add(out, "sensor: back again", Found::NotJudged, words, SENSOR_NOT);
        }
        Some(back) => {
            let by = (back - closed).abs();
            let mut words =
                format!("Back at the closed end it reads {back:.2} %, {by:.2} % away from before.");
            if by > BACK_PERCENT {
                words += " Was it at the end both times? Then there is play or something loose between stem and sensor, or the sensor drifts.";
            }
            add(out, "sensor: back again", as_expected(by <= BACK_PERCENT), words, SENSOR_NOT);
        }
    }
}

fn numbers(samples: &[Sample]) -> Vec<(f64, f64)> {
    samples.iter().filter_map(|s| Some((s.at_s, s.percent?))).collect()
}

/// Largest less smallest, percent.
fn span(samples: &[Sample]) -> f64 {
    let of = numbers(samples);
    let (least, most) = of.iter().fold((f64::MAX, f64::MIN), |a, s| (a.0.min(s.1), a.1.max(s.1)));
    (most - least).max(0.0)
}

/// Whether a sensor that was moved both ways jumped; `ways`: readings, and the sign of the way.
fn jumps(ways: [(&[Sample], f64); 2]) -> (Found, String) {
    // Of each way between two readings that has one before and one behind it: itself, the longer of these two, and where.
    let (mut jump, mut even): (Option<(f64, f64, f64)>, Option<f64>) = (None, None);
    for (samples, sign) in ways {
        for w in numbers(samples).windows(4) {
            if w.windows(2).any(|p| p[1].0 - p[0].0 > TOGETHER_S) {
                continue;
            }
            let way = |n: usize| (w[n + 1].1 - w[n].1) * sign;
            let beside = way(0).max(way(2)).max(0.0);
            if way(1) - beside > JUMP_PERCENT && way(1) > JUMP_TIMES * beside {
                if jump.is_none_or(|j| way(1) - beside > j.0 - j.1) {
                    jump = Some((way(1), beside, (w[1].1 + w[2].1) / 2.0));
                }
            } else {
                even = Some(even.unwrap_or(0.0).max(way(1)));
            }
        }
    }
    match jump {
        Some((long, beside, at)) => (
            Found::NotAsExpected,
            format!(
                "A jump of {long:.1} % near {at:.0} %, where the ways before and behind it are {beside:.1} % at most. Do it again, slowly and evenly there: \
                 if it comes at the same place, the sensor or its wiring is worn."
            ),
        ),
        _ if even.is_none() => (
            Found::NotJudged,
            "It was read too seldom for jumps: readings lie more than 2 s apart.".to_owned(),
        ),
        None if even > Some(FAST_PERCENT) => (
            Found::NotJudged,
            format!(
                "It was moved so fast that up to {:.1} % lie between two readings: a jump would not have been seen. Do it again, in about 20 s.",
                even.unwrap_or_default()
            ),
        ),
        None => (
            Found::AsExpected,
            format!(
                "No jump: up to {:.1} % from one reading to the next, and none is {JUMP_PERCENT:.0} % longer than those beside it and twice as long.",
                even.unwrap_or_default()
            ),
        ),
    }
}

/// Where it stood before the small moves and what its set point was, percent, where the two do not go together.
fn away(jogs: &[Jog]) -> Option<(f64, f64)> {
    let first = jogs.first()?;
    let before: Vec<Sample> = first.samples.iter().copied().filter(|s| s.at_s <= first.asked_at_s).collect();
    let at = mean_of(&before)?;
    ((at - first.from_percent).abs() > STANDS_PERCENT).then_some((at, first.from_percent))
}

/// How far it went against its way at most, percent.
fn largest_slip(samples: &[Sample], way: f64) -> f64 {
    let (mut furthest, mut slip) = (f64::MIN, 0.0f64);
    for (_, p) in numbers(samples) {
        furthest = furthest.max(p * way);
        slip = slip.max(furthest - p * way);
    }
    slip
}

/// Travel after a small move less travel before it, percent.
fn change(jog: &Jog) -> Option<f64> {
    let before: Vec<Sample> = jog.samples.iter().copied().filter(|s| s.at_s <= jog.asked_at_s).collect();
    let last = numbers(&jog.samples).last().copied()?;
    (last.0 > jog.asked_at_s).then(|| mean_of(&before).map(|b| last.1 - b)).flatten()
}

/// Gives whether it went otherwise than a stage by itself makes it go: too far, or the wrong way in part.
fn follows(jogs: &[Jog], out: &mut Vec<Finding>) -> bool {
    let about = "outputs: travel follows";
    let changes: Vec<(f64, f64)> =
        jogs.iter().filter_map(|j| Some((j.to_percent - j.from_percent, change(j)?))).collect();
    let shares: Vec<f64> = changes.iter().map(|(asked, came)| came / asked).collect();
    let list: Vec<String> =
        changes.iter().map(|(asked, came)| format!("{asked:+.0} % gave {came:+.2} %")).collect();
    let mut words = format!("{}.", list.join(", "));
    let mut is_erratic = false;
    let found = if changes.len() < 4 {
        words += " Not all of the small moves were made.";
        Found::NotJudged
    } else if changes.iter().any(|(asked, came)| came * asked.signum() < -SEEN_PERCENT) {
        let all = changes.iter().all(|(asked, came)| came * asked.signum() < SEEN_PERCENT);
        is_erratic = !all;
        words += match all {
            true => " It moves the wrong way: tubing, spring side, or the direction that is set.",
            false => {
                " Not always the right way: a sensor that is worn there, or something that sticks. Check the sensor by hand."
            }
        };
        Found::NotAsExpected
    } else if shares.iter().any(|s| *s > FOLLOWS.1) {
        is_erratic = true;
        words += " It goes further than it was told: a sensor that is worn there, or something that sticks and slips. Check the sensor by hand.";
        Found::NotAsExpected
    } else if shares.iter().any(|s| *s < FOLLOWS.0) {
        words += " It does not follow as far as it should: air, friction, or the output stage.";
        Found::NotAsExpected
    } else {
        Found::AsExpected
    };
    add(out, about, found, words.trim_start_matches('.').trim().to_owned(), OUTPUT_NOT);
    is_erratic
}

/// What a gauge does for a set point that rises: 1, -1, or 0 where it stays.
fn sense(seen: Seen, jog: &Jog) -> i8 {
    let way = if jog.to_percent > jog.from_percent { 1 } else { -1 };
    match seen {
        Seen::Rises => way,
        Seen::Falls => -way,
        Seen::Stays => 0,
    }
}

fn outputs(check: &DeviceCheck, hindered: Option<&str>, out: &mut Vec<Finding>) {
    let about = "outputs: pattern";
    let first: Option<Vec<i8>> = check.jogs.iter().map(|j| j.first.map(|s| sense(s, j))).collect();
    let second: Option<Vec<i8>> = check.jogs.iter().map(|j| j.second.map(|s| sense(s, j))).collect();
    let one_way = |of: &[i8]| of.first().is_some_and(|f| *f != 0 && of.iter().all(|s| s == f));
    let whole = check.jogs.len() == 4;
    if let (Some(why), true) = (hindered, whole && check.stage.acting != Acting::Unsaid) {
        return add(out, about, Found::NotJudged, why.to_owned(), OUTPUT_NOT);
    }
    let (found, words) = match (check.stage.acting, first, second) {
        (Acting::Unsaid, ..) => {
            (Found::NotJudged, "Whether it is single- or double-acting is not known.".to_owned())
        }
        _ if !whole => (Found::NotJudged, "Not all of the small moves were made.".to_owned()),
        (_, None, _) | (Acting::Double, _, None) => {
            (Found::NotJudged, "Not every gauge was looked at, or there is none.".to_owned())
        }
        (Acting::Single, Some(first), _) if one_way(&first) => {
            let way = if first[0] > 0 { "rises" } else { "falls" };
            (Found::AsExpected, format!("The output {way} when the set point rises, and the other way back."))
        }
        (Acting::Single, Some(_), _) => (
            Found::NotAsExpected,
            format!(
                "The output does not go with the set point at each of the moves of {JOG_PERCENT} %: supply, filter, converter, output stage, or a leak."
            ),
        ),
        (Acting::Double, Some(first), Some(second)) => {
            let (good, is_unseen) = against(&first, &second);
            let mut words = match good {
                true => "One output rises while the other falls, and the other way back.",
                false => {
                    "The outputs do not go one against the other at each of the moves: tubing, output stage, or its balance."
                }
            }
            .to_owned();
            if good && is_unseen {
                words += " What the gauges did where it went on the way of before is not counted: without a spring it need not tell anything.";
            }
            (as_expected(good), words)
        }
    };
    add(out, about, found, words, OUTPUT_NOT);
}

/// Whether two outputs go one against the other at both moves that turn round, always the same way, and not the other way at the moves that go on; and whether
/// nothing of that was seen at one of these [TV-112].
fn against(first: &[i8], second: &[i8]) -> (bool, bool) {
    let pairs: Vec<(i8, i8)> = first.iter().copied().zip(second.iter().copied()).collect();
    let (turns, goes_on): (Vec<_>, Vec<_>) = pairs.iter().enumerate().partition(|(n, _)| n % 2 == 1);
    let Some((_, wanted)) = turns.first().copied().filter(|(_, (a, b))| *a != 0 && *a == -*b) else {
        return (false, false);
    };
    let is_other = |p: (i8, i8)| p == (wanted.1, wanted.0);
    let good = turns.iter().all(|(_, p)| *p == wanted) && goes_on.iter().all(|(_, p)| !is_other(**p));
    (good, goes_on.iter().any(|(_, p)| **p != *wanted))
}

fn at_rest(kind: AtRest, blows: bool, is_worn: bool, out: &mut Vec<Finding>) {
    let (found, words) = match (kind, blows) {
        (AtRest::Unsaid, _) => (Found::NotJudged, "Which kind of output stage it has is not known."),
        // Whatever way it is: a stage that hunts behind its sensor is never at rest.
        _ if is_worn => (Found::NotJudged, WORN),
        (AtRest::Blocked, false) => {
            (Found::AsExpected, "Nothing blows off at rest, as in a stage that shuts its air in.")
        }
        (AtRest::Blocked, true) => (
            Found::NotAsExpected,
            "Air blows off at rest, though the stage shuts its air in: a leak, dirt in it, or a seal.",
        ),
        (AtRest::Bleeding, true) => {
            (Found::AsExpected, "Some air blows off at rest, as in a stage that bleeds.")
        }
        (AtRest::Bleeding, false) => (
            Found::NotAsExpected,
            "Nothing blows off at rest, though the stage bleeds: no supply, or a nozzle or hole is blocked.",
        ),
    };
    add(out, "outputs: at rest", found, words.to_owned(), "Not proved: how much air it takes.");
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(places: &[f64], apart_s: f64) -> (Found, String) {
        let way = |sign: f64| -> Vec<Sample> {
            let at = |(n, p): (usize, &f64)| {
                Sample::new(n as f64 * apart_s, if sign > 0.0 { *p } else { 100.0 - p })
            };
            places.iter().enumerate().map(at).collect()
        };
        let (up, down) = (way(1.0), way(-1.0));
        jumps([(&up, 1.0), (&down, -1.0)])
    }

    #[test]
    fn no_minus_nought() {
        assert_eq!(format!("{:.2} {:.2}", plain(-0.004), plain(-0.006)), "0.00 -0.01");
    }

    /// [TV-98] by hand: ways of 2.5 % each 0.5 s are even; one reading that is 4 % wrong makes a way of 6.5 % beside 2.5 %: 4 % longer, 2.6 times as long. One that is
    /// 2.9 % wrong is less than 3 % longer. A hand that rests and goes on at 5 % a reading makes none: beside its first way is another of 5 %. At 12 % a reading nothing would
    /// be seen, and with 3 s between readings neither.
    #[test]
    fn jumps_by_hand() {
        let even: Vec<f64> = (0..=40).map(|n| 2.5 * f64::from(n)).collect();
        assert_eq!(told(&even, 0.5).0, Found::AsExpected);
        assert!(told(&even, 0.5).1.contains("up to 2.5 %"));
        let wrong = |by: f64| {
            let mut places = even.clone();
            places[20] += by;
            told(&places, 0.5)
        };
        assert!(
            wrong(4.0).0 == Found::NotAsExpected && wrong(4.0).1.starts_with("A jump of 6.5 % near 51 %"),
            "{}",
            wrong(4.0).1
        );
        assert_eq!(wrong(-4.0).0, Found::NotAsExpected, "the next way is too long then");
        assert_eq!(wrong(2.9).0, Found::AsExpected);
        let rests = [0.0, 5.0, 10.0, 15.0, 15.0, 15.0, 15.0, 20.0, 25.0, 30.0];
        assert_eq!(told(&rests, 0.5).0, Found::AsExpected);
        let fast: Vec<f64> = (0..=8).map(|n| 12.0 * f64::from(n)).collect();
        assert_eq!(told(&fast, 0.5).0, Found::NotJudged);
        assert_eq!(told(&even, 3.0).0, Found::NotJudged);
    }
}
