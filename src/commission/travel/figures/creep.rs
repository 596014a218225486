//! Dead band and resolution from a creeping reversal [TV-12].

use super::super::plan::CREEP_MOST_PERCENT;
use super::super::record::{Creep, Move, Record};
use super::doubt::{Cause, Why};
use super::reading::{Average, Quality};
use super::{About, Definition, Figure, Uncertain, View};

/// What a move led to.
#[derive(Clone, Copy)]
struct Rested {
    input: f64,
    travel: f64,
    count: usize,
    /// What creeping may have left, percent.
    left: f64,
}

/// How long the moves of a creep waited, and what that left [TV-64].
#[derive(Debug, Default)]
pub struct Waited {
    /// Of each move, percent.
    left: Vec<f64>,
    /// Why its figures are not judged; `None`: they can be.
    doubt: Option<Why>,
}

impl Waited {
    /// Of the moves of a creep in a record.
    pub fn of(record: &Record, one: &Creep, sensor: &Quality) -> Waited {
        let mut out = Waited::default();
        let Some(first) = one.moves.first() else { return out };
        if let Some(words) = one.moves.iter().find_map(|m| record.driven_elsewhere(m.asked_at_s)) {
            out.doubt = Some(Why::new(Cause::NotDriven, words));
        }
        let Some(tail) = record.tail(first.asked_at_s) else { return out };
        if out.doubt.is_none() && tail.span_percent() > record.plan.rest.within_percent / 2.0 {
            out.doubt = Some(Why::new(Cause::NotAtRest, "it was not at rest where the creep began"));
        }
        let by = sensor.between(tail.each);
        let lag_s = tail.slowest_lag_s(by);
        let (mut left, mut input) = (0.0, None);
        for m in &one.moves {
            let middle_s = m.readings.iter().map(|s| s.at_s).sum::<f64>() / m.readings.len().max(1) as f64;
            left = match input {
                None => tail.left_percent(middle_s, by),
                // What the move before has left and what this one asks for, and of that what a lag leaves.
                Some(_) if lag_s <= 0.0 => 0.0,
                Some(before) => {
                    let asked: f64 = m.input_percent - before;
                    (left + asked.abs()) * (-(middle_s - m.asked_at_s).max(0.0) / lag_s).exp()
                }
            };
            input = Some(m.input_percent);
            out.left.push(left);
        }
        out
    }

    /// Why figures of this creep are not judged; `None`: they can be.
    pub fn doubt(&self) -> Option<&Why> {
        self.doubt.as_ref()
    }
}

/// What lies between two limits, told by its middle.
fn between(least: f64, most: f64) -> Uncertain {
    Uncertain { value: (least + most) / 2.0, by: (most - least) / 2.0 }
}

fn rested(m: &Move, left: f64, view: View) -> Option<Rested> {
    let (travel, count) = match view {
        View::Sensor => Average::of_samples(&m.readings).map(|a| (a.mean, a.count))?,
        View::External => (m.external.as_ref()?.percent, 1),
    };
    Some(Rested { input: m.input_percent, travel, count, left })
}

/// What a creep says.
#[derive(Debug, Default, PartialEq)]
struct Crept {
    /// Dead band at each reversal, percent.
    dead_bands: Vec<Uncertain>,
    /// How far the input went after a reversal without that travel followed, percent, the furthest.
    not_followed: Option<f64>,
    /// Input between one following and the next, percent.
    gaps: Vec<Uncertain>,
}

impl Crept {
    fn went_without(&mut self, far: f64) {
        self.not_followed = Some(self.not_followed.map_or(far, |before| before.max(far)));
    }
}

fn creep(moves: &[Rested], quality: &Quality) -> Crept {
    let mut out = Crept::default();
    let Some(first) = moves.first() else { return out };
    let direction =
        |a: &Rested, b: &Rested| (b.input - a.input).partial_cmp(&0.0).map_or(0.0, |o| o as i8 as f64);
    // Where the last following, the last reversal or the beginning was.
    let mut from = *first;
    let (mut way, mut follows, mut reversal) = (0.0, false, false);
    for pair in moves.windows(2) {
        let (before, now) = (&pair[0], &pair[1]);
        let turned = direction(before, now);
        if turned == 0.0 {
            continue;
        }
        if turned != way {
            if reversal && !follows {
                out.went_without((before.input - from.input).abs());
            }
            // The dead band lies wholly behind only where the valve followed up to the reversal.
            reversal = follows;
            (way, follows, from) = (turned, false, *before);
        }
        let by = quality.difference(from.count, now.count) + from.left + now.left;
        let least = 0.1f64.max(by);
        if (now.travel - from.travel) * way < least {
            continue;
        }
        let most = (now.input - from.input).abs();
        // At the move before it may have gone as far as that, and readings may have hidden more.
        let seen = between(((before.input - from.input).abs() - least - by).max(0.0), most);
        if follows {
            out.gaps.push(seen);
        } else if reversal {
            out.dead_bands.push(seen);
        }
        (follows, from) = (true, *now);
    }
    if let Some(last) = moves.last()
        && reversal
        && !follows
    {
        out.went_without((last.input - from.input).abs());
    }
    out
}

/// Appends what follows from a creep in a view; nothing where it has no readings in it.
pub fn add(one: &Creep, view: View, quality: &Quality, waited: &Waited, out: &mut Vec<Figure>) {
    let moves: Vec<Rested> = {
        let left = waited.left.iter().copied().chain(core::iter::repeat(0.0));
        one.moves.iter().zip(left).filter_map(|(m, left)| rested(m, left, view)).collect()
    };
    if moves.len() < 2 {
        return;
    }
    let crept = creep(&moves, quality);
    let about = About::Place(one.place_percent);
    let largest = |list: &[Uncertain]| list.iter().copied().max_by(|a, b| a.value.total_cmp(&b.value));
    let mut add = |definition, found: Option<Uncertain>, why: String| {
        out.push(match found {
            Some(found) => {
                let figure = Figure::new(definition, about, view, found);
                Figure { at_percent: Some(one.place_percent), remark: quality.unknown(), ..figure }
            }
            None => Figure::none(definition, about, view, why),
        });
    };
    let band = largest(&crept.dead_bands);
    let (band, why) = match crept.not_followed {
        Some(far) if band.is_none_or(|b| b.value < far) => {
            (None, format!("It is more than {far:.2} %: travel did not follow so far."))
        }
        _ => (band, "Travel did not follow on one side of a reversal, or there was none.".to_owned()),
    };
    add(Definition::DeadBand, band, why);
    let why = "Travel did not follow twice in the same direction.".to_owned();
    add(Definition::Resolution, largest(&crept.gaps), why);
}

/// Where a valve stood while it was crept over 5 % and did not follow at all, percent: travel, least and most input; `None`: it followed, or
/// the creep was given up before [TV-106].
pub fn stands(record: &Record, one: &Creep) -> Option<(f64, f64, f64)> {
    if one.moves.iter().any(|m| record.driven_elsewhere(m.asked_at_s).is_some()) {
        return None;
    }
    let inputs = || one.moves.iter().map(|m| m.input_percent);
    let (least, most) = (inputs().fold(f64::INFINITY, f64::min), inputs().fold(f64::NEG_INFINITY, f64::max));
    let places = one.moves.iter().filter_map(|m| Some(Average::of_samples(&m.readings)?.mean));
    let at = Average::of(places)?;
    // The last move that would go beyond it is not made.
    let is_far = most - least >= CREEP_MOST_PERCENT - record.plan.creep_increment_percent - 1e-6;
    (is_far && at.span < Quality::of(record, View::Sensor).seen()).then_some((at.mean, least, most))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commission::travel::record::{Sample, Tail};
    use proptest::prelude::*;

    /// A creep of `up` moves up and `down` moves down of a valve that follows by the rule given.
    fn crept(increment: f64, up: usize, down: usize, valve: &mut dyn FnMut(f64) -> f64) -> Creep {
        let inputs = (0..=up).map(|n| 50.0 + increment * n as f64);
        let back = (1..=down).map(|n| 50.0 + increment * (up as f64 - n as f64));
        let moves = inputs.chain(back).enumerate().map(|(n, input)| Move {
            input_percent: input,
            asked_at_s: n as f64,
            readings: vec![Sample::new(n as f64, valve(input))],
            external: None,
        });
        Creep { place_percent: 50.0, moves: moves.collect() }
    }

    /// A valve with play: it stays where it is while the input is within half of the dead band on either side.
    fn play(band: f64, start: f64) -> impl FnMut(f64) -> f64 {
        let mut at = start;
        move |input: f64| {
            at = at.clamp(input - band / 2.0, input + band / 2.0);
            at
        }
    }

    fn value(creep: &Creep, definition: Definition, quality: &Quality) -> (Option<f64>, Option<f64>) {
        let mut out = Vec::new();
        add(creep, View::Sensor, quality, &Waited::default(), &mut out);
        let f = out.into_iter().find(|f| f.definition == definition).expect("the figure");
        (f.value, f.uncertainty)
    }

    /// Play of 0.43 %, moves of 0.1 %: on the way down the input has to go 0.43 + 0.1 until travel has changed by 0.1, which is seen at 0.6
    /// and not at 0.5: between 0.5 - 0.1 and 0.6. Every move beyond is followed: resolution between 0 and 0.1.
    #[test]
    fn play_by_hand() {
        let creep = crept(0.1, 10, 10, &mut play(0.43, 50.0));
        let near =
            |a: Option<f64>, b: f64| assert!((a.expect("a value") - b).abs() < 1e-9, "{a:?} is not {b}");
        let (band, by) = value(&creep, Definition::DeadBand, &Quality::default());
        near(band, 0.5);
        near(by, 0.1);
    }

    /// The same with a sensor in steps of 0.05 %, of which two readings differ by 0.05 uncertainty: between 0.5 - 0.1 - 0.05 and 0.6.
    #[test]
    fn readings_may_hide_a_following() {
        let creep = crept(0.1, 10, 10, &mut play(0.43, 50.0));
        let quality = Quality { resolution: Some(0.05), sigma: Some(0.0), ..Quality::default() };
        let (band, by) = value(&creep, Definition::DeadBand, &quality);
        assert!((band.expect("a value") - 0.475).abs() < 1e-9 && (by.expect("a value") - 0.125).abs() < 1e-9);
    }

    #[test]
    fn what_does_not_follow_is_said() {
        let creep = crept(0.1, 10, 10, &mut play(2.0, 49.0));
        let mut out = Vec::new();
        add(&creep, View::Sensor, &Quality::default(), &Waited::default(), &mut out);
        assert_eq!(out[0].value, None);
        assert!(out[0].remark.contains("more than 1.00 %"), "{}", out[0].remark);
        // It never followed on the way up, so the way back says nothing.
        let creep = crept(0.1, 10, 10, &mut play(9.0, 50.0));
        out.clear();
        add(&creep, View::Sensor, &Quality::default(), &Waited::default(), &mut out);
        assert!(
            out[0].value.is_none() && out[0].remark.contains("one side of a reversal"),
            "{}",
            out[0].remark
        );
    }

    /// Moves of 0.1 % each second behind a lag of 2 s: the first way left 0.1; then each leaves exp(-1/2) of what was left and asked for: (0.1 + 0.1) x 0.6065
    /// = 0.1213, then 0.1342. By the tail the lag is 2 s: 10 % came in 20 s, of which 10 exp(-16/2) - 10 exp(-18.4/2) are seen at the end.
    #[test]
    fn what_moves_leave() {
        let mut record = Record::new(crate::commission::travel::record::Test::Travel, Default::default());
        let lag = |t: f64| Sample::new(t, 40.0 + 10.0 * (1.0 - (-t / 2.0).exp()));
        let tail = Tail::of(
            &(1..=200).map(|n| lag(0.1 * f64::from(n))).collect::<Vec<_>>(),
            0.0,
            Some(40.0),
            &record.plan.rest,
        );
        assert!((tail.slowest_lag_s(0.0) - 2.0).abs() < 0.1, "{}", tail.slowest_lag_s(0.0));
        let made = |n: u32| Move {
            input_percent: 50.0 + 0.1 * f64::from(n),
            asked_at_s: 20.0 * f64::from(n),
            readings: vec![Sample::new(20.0 * f64::from(n) + 1.0, 50.0)],
            external: None,
        };
        let mut one = Creep { place_percent: 50.0, moves: (0..3).map(made).collect() };
        one.moves[0].readings = vec![Sample::new(20.0, 50.0)];
        record.tails = vec![tail];
        let waited = Waited::of(&record, &one, &Quality::default());
        assert_eq!(waited.doubt(), None);
        let first = waited.left[0];
        let expected = [(first + 0.1) * 0.6065, ((first + 0.1) * 0.6065 + 0.1) * 0.6065];
        for (found, expected) in waited.left[1..].iter().zip(expected) {
            assert!((found - expected).abs() < 0.01, "{waited:?} is not {expected}");
        }
        // Not at rest where it began.
        record.tails[0].parts[0].percent = Some(45.0);
        let waited = Waited::of(&record, &one, &Quality::default());
        assert!(waited.doubt().is_some_and(|w| w.words.contains("not at rest")));
    }

    proptest! {
        /// Whatever play a valve has, what is stated holds it, and is no wider than 0.3 %.
        #[test]
        fn play_is_found(band in 0.0f64..1.5, increment in 0.05f64..0.3) {
            let creep = crept(increment, (3.0 / increment) as usize, (3.0 / increment) as usize, &mut play(band, 50.0));
            let (found, by) = value(&creep, Definition::DeadBand, &Quality::default());
            let (found, by) = found.zip(by).unwrap();
            prop_assert!((found - band).abs() <= by + 1e-9 && by <= 0.3, "{} +- {}, not {}", found, by, band);
        }

        /// A valve that jumps: it stays until the input is `stick` away and then goes there.
        #[test]
        fn jumps_are_found(stick in 0.2f64..1.5, increment in 0.05f64..0.2) {
            let mut at = 50.0f64;
            let mut valve = |input: f64| {
                if (input - at).abs() >= stick {
                    at = input;
                }
                at
            };
            let creep = crept(increment, (5.0 / increment) as usize, 3, &mut valve);
            let (found, by) = value(&creep, Definition::Resolution, &Quality::default());
            let (found, by) = found.zip(by).unwrap();
            prop_assert!((found - stick).abs() <= by + 1e-9 && by <= 0.3, "{} +- {}, not {}", found, by, stick);
        }
    }
}
