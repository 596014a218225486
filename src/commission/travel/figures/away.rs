//! Resting places that are far from where the valve was told to go [TV-131].

use super::super::record::{Direction, Ended, Record};
use super::View;
use super::cycle::{Place, places};
use super::reading::Quality;

/// The worst of such places, and how many there are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Away {
    /// Where the valve ought to be there, percent.
    pub wanted_percent: f64,
    /// From which side it was reached.
    pub direction: Direction,
    /// Where it rested, percent.
    pub at_percent: f64,
    /// How many such places there are.
    pub places: usize,
    /// Of how many in all.
    pub of: usize,
}

/// Places at rest and driven as asked that are further than `there_percent` from where the valve ought to be, what they are uncertain by taken
/// off; `None`: there is none, or this view tells nothing of it.
pub fn rests_away(record: &Record, view: View, there_percent: f64) -> Option<Away> {
    let quality = Quality::of(record, view);
    let is_open = quality.by_eye || view == View::Sensor && record.variables.travel_assumed;
    if is_open || matches!(record.ended, Ended::NoMovement { .. }) {
        return None;
    }
    let all = places(record, view);
    let is_good =
        |p: &&Place| record.points.get(p.nth).is_some_and(|p| p.settled && p.drive().wrong().is_none());
    let away = |p: &Place| (p.travel - p.wanted).abs();
    let by = |p: &Place| quality.mean(p.count) + quality.limit + p.restless;
    let far: Vec<&Place> = all.iter().filter(is_good).filter(|p| away(p) - by(p) > there_percent).collect();
    // Of places that are equally far the first.
    let worst = far.iter().rev().max_by(|a, b| away(a).total_cmp(&away(b)))?;
    Some(Away {
        wanted_percent: worst.wanted,
        direction: worst.direction,
        at_percent: worst.travel,
        places: far.len(),
        of: all.len(),
    })
}
