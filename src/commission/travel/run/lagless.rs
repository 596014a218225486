//! A travel that somebody named and that is its set point [TV-107].

use super::Run;
use crate::commission::travel::record::Record;
use crate::commission::travel::sensing::{Rested, mean};

/// Travel equals a set point within this, percent, or the resolution of its readings where that is more (own choice).
const SAME_PERCENT: f64 = 0.05;
/// The device may hold its set point so far from what was asked for, percent [TV-22].
const ASKED_PERCENT: f64 = 1.0;
/// Moves that go less far are not looked at, percent (own choice).
const FAR_PERCENT: f64 = 5.0;
/// So many moves say something (own choice).
const MOVES: usize = 2;

/// How many moves there were, and how many of them travel made in no time.
#[derive(Clone, Copy, Default)]
pub(super) struct Lagless {
    moves: usize,
    at_once: usize,
}

fn same_percent(record: &Record) -> f64 {
    SAME_PERCENT.max(record.sensor.resolution_percent.unwrap_or(0.0))
}

impl Run<'_> {
    /// Looks whether travel was where it was to go from the first reading after a move on.
    pub(super) fn look_for_lag(&mut self, far: Option<f64>, to: f64, rested: &Rested) {
        let numbers = || rested.samples.iter().filter_map(|s| s.percent);
        if far.is_none_or(|far| far < FAR_PERCENT) || numbers().count() < 2 {
            return;
        }
        let (least, most) = (numbers().fold(f64::MAX, f64::min), numbers().fold(f64::MIN, f64::max));
        let is_there = [to, to.clamp(0.0, 100.0)]
            .iter()
            .any(|to| (least - to).abs() <= ASKED_PERCENT && (most - to).abs() <= ASKED_PERCENT);
        self.lagless.moves += 1;
        self.lagless.at_once += usize::from(is_there && most - least <= same_percent(&self.record));
    }

    /// Says at the end that this travel may be the set point, where nothing ever told them apart.
    pub(super) fn may_be_the_set_point(&mut self) {
        let of = self.lagless;
        let same = same_percent(&self.record);
        let differs = self.record.points.iter().any(|p| {
            let read = p.set_point_percent.or(p.asked_ma.and(p.read_ma).map(|ma| (ma - 4.0) / 0.16));
            let at = mean(&p.readings);
            at.zip(read).is_some_and(|(at, set_point)| (at - set_point).abs() > same)
        });
        if of.moves < MOVES || of.at_once < of.moves || differs || self.record.variables.travel_assumed {
            return;
        }
        self.record.variables.travel_assumed = true;
        self.remark(format!(
            "Travel as {} was the set point at every reading, on the way of every move, too: it may be the set point, and nothing is judged by it.",
            self.record.variables.travel
        ));
    }
}
