//! A travel that somebody named and that is its set point [TV-107] [TV-132].

use super::Run;
use crate::commission::travel::record::{Creep, Point, Record};
use crate::commission::travel::sensing::{Rested, mean};

/// Travel equals a set point within this, percent, or the resolution of its readings where that is more (own choice).
const SAME_PERCENT: f64 = 0.05;
/// The device may hold its set point so far from what was asked for, percent [TV-22].
const ASKED_PERCENT: f64 = 1.0;
/// Moves that go less far need not get anywhere, percent (own choice).
const FAR_PERCENT: f64 = 5.0;
/// Moves that go less far are not looked at, percent (own choice).
const LEAST_PERCENT: f64 = 1.0;
/// So many moves without any lag say something of a test that ended early (own choice).
const MOVES: usize = 2;

/// What was seen of travel on its way.
#[derive(Clone, Copy, Default)]
pub(super) struct Lagless {
    /// Moves far enough that travel made in no time.
    at_once: usize,
    /// Whether it was ever seen on its way, or not where it was to go.
    lags: bool,
}

fn same_percent(record: &Record) -> f64 {
    SAME_PERCENT.max(record.sensor.resolution_percent.unwrap_or(0.0))
}

impl Run<'_> {
    /// Looks whether travel was where it was to go from the first reading after a move on.
    pub(super) fn look_for_lag(&mut self, far: Option<f64>, to: f64, rested: &Rested) {
        let held = to.clamp(0.0, 100.0);
        // The first move goes from where travel was.
        let far = far.or(self.travel.map(|from| (held - from).abs()));
        let numbers = || rested.samples.iter().filter_map(|s| s.percent);
        let Some(far) = far.filter(|far| *far >= LEAST_PERCENT && numbers().count() >= 2) else { return };
        let (least, most) = (numbers().fold(f64::MAX, f64::min), numbers().fold(f64::MIN, f64::max));
        let stays = most - least <= same_percent(&self.record);
        if far < FAR_PERCENT {
            self.lagless.lags |= !stays;
            return;
        }
        let near = |to: f64| (least - to).abs() <= ASKED_PERCENT && (most - to).abs() <= ASKED_PERCENT;
        match stays && (near(to) || near(held)) {
            true => self.lagless.at_once += 1,
            false => self.lagless.lags = true,
        }
    }

    /// Says at the end that this travel may be the set point, where nothing ever told them apart; `is_whole`: the test came to its end.
    pub(super) fn may_be_the_set_point(&mut self, is_whole: bool) {
        let record = &self.record;
        let at_once = self.lagless.at_once;
        let same = same_percent(record);
        let told =
            self.lagless.lags || rests_behind(&record.points, same) || creeps_behind(&record.creeps, same);
        let is_early = at_once < MOVES && !is_whole;
        if told || is_early || !self.tried || record.variables.travel_assumed {
            return;
        }
        let travel = &record.variables.travel;
        let words = match at_once {
            0..MOVES => format!(
                "Nothing in this test told travel as {travel} from the set point, for it was never seen on its way: nothing is judged by it. Cycles would tell."
            ),
            _ => format!(
                "Travel as {travel} was the set point at every reading, on the way of every move, too: it may be the set point, and nothing is judged by it."
            ),
        };
        self.record.variables.travel_assumed = true;
        self.remark(words);
    }
}

/// Whether travel ever rested further from what was asked than the set point that the device reads was anywhere. Not how far it is from that
/// set point: where the two were named the wrong way round, that is the valve.
fn rests_behind(points: &[Point], same: f64) -> bool {
    let driven = || points.iter().filter(|p| p.drive().wrong().is_none());
    let read = |p: &Point| p.set_point_percent.or(p.asked_ma.and(p.read_ma).map(|ma| (ma - 4.0) / 0.16));
    let away = |p: &Point, at: f64| (at - p.asked_percent.clamp(0.0, 100.0)).abs();
    let set_point = driven().filter_map(|p| Some(away(p, read(p)?))).reduce(f64::max);
    let travel = driven().filter_map(|p| Some(away(p, mean(&p.readings)?))).reduce(f64::max);
    travel.zip(set_point).is_some_and(|(travel, set_point)| travel > set_point + same)
}

/// Whether travel's distance from the input changed in a creep: a set point has none, or always the same.
fn creeps_behind(creeps: &[Creep], same: f64) -> bool {
    creeps.iter().any(|creep| {
        let away = || creep.moves.iter().filter_map(|m| Some(mean(&m.readings)? - m.input_percent));
        let (least, most) = (away().reduce(f64::min), away().reduce(f64::max));
        least.zip(most).is_some_and(|(least, most)| most - least > 2.0 * same)
    })
}
