//! Whether the loop carries what is asked for: the current that the device reads, and what the control system shows [TV-61] [TV-103].

use super::findings::{Finding, fault, look};
use super::words::short;
use crate::commission::travel::figures::{View, too_few};
use crate::commission::travel::limits::{Limited, Limits};
use crate::commission::travel::record::{Ended, Point, Record, Test};
use crate::report::text::plural;

/// Current that is told: asked for and read by the device, mA.
const CURRENT_MA: f64 = 0.1;
/// Value of the control system that is told where it has no limit, percent.
const SHOWN: f64 = 1.0;
/// Rounding is no difference.
const HAIR: f64 = 1e-9;

/// The control system's value at the places where somebody noted it.
pub struct Shown<'a> {
    /// Where it is furthest from the set point.
    worst: &'a Point,
    /// How far, percent.
    pub away: f64,
    /// Its limit, percent; `None`: it has none.
    pub limit: Option<f64>,
    /// How many places, and how many of them are beyond the limit.
    pub places: usize,
    pub beyond: usize,
}

/// What the control system showed; `None`: nobody noted it.
pub fn shown<'a>(record: &'a Record, limits: &Limits) -> Option<Shown<'a>> {
    let away = |p: &Point| Some((p.control_system_percent? - p.asked_percent).abs());
    let limit = limits.limit(Limited::ControlSystem, View::Sensor);
    let all: Vec<(&Point, f64)> = record.points.iter().filter_map(|p| Some((p, away(p)?))).collect();
    // Of places that are equally far the first.
    let worst = all.iter().copied().reduce(|a, b| if b.1 > a.1 + HAIR { b } else { a })?;
    let beyond = all.iter().filter(|(_, by)| limit.is_some_and(|l| *by > l + HAIR)).count();
    Some(Shown { worst: worst.0, away: worst.1, limit, places: all.len(), beyond })
}

/// What was to be typed at every place of a test, and was at too few of them or at none [TV-108] [TV-133].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct HardlyTyped {
    /// What, a few words.
    pub what: &'static str,
    at: usize,
    of: usize,
}

impl HardlyTyped {
    /// At how many places it was typed, the end of a sentence about what was asked for.
    pub fn typed(&self) -> String {
        match self.at {
            0 => "never typed".to_owned(),
            at => format!("typed at {at} of {}", plural(self.of, "place")),
        }
    }
}

/// Whether what the control system shows was noted at enough places.
pub fn is_shown(record: &Record) -> bool {
    let is_noted = |p: &Point| p.control_system_percent.is_some();
    record.points.iter().any(is_noted) && too_few(record, is_noted).is_none()
}

/// All of a test.
pub fn hardly_typed(record: &Record) -> Vec<HardlyTyped> {
    let of = |what, is_asked, is_typed: fn(&Point) -> bool| {
        let is_whole = record.ended == Ended::Whole;
        let (at, of) = too_few(record, is_typed).or_else(|| {
            let is_never = !record.points.is_empty() && !record.points.iter().any(is_typed);
            is_never.then_some((0, record.points.len()))
        })?;
        // Of a test that ended early all may have been typed.
        (is_asked && (is_whole || at < of)).then_some(HardlyTyped { what, at, of })
    };
    let control_system = of("what the control system shows", record.plan.control_system, |p| {
        p.control_system_percent.is_some()
    });
    let stem = of("the measurement at stem or shaft", record.external.is_some(), |p| p.external.is_some());
    control_system.into_iter().chain(stem).collect()
}

/// What is to be said of the loop of a test.
pub fn of(record: &Record, limits: &Limits, out: &mut Vec<Finding>) {
    let points = || record.points.iter();
    if record.test == Test::LoopCheck && !record.points.is_empty() && points().all(|p| p.asked_ma.is_none()) {
        out.push(fault(
            "The loop was not tried: the set point was moved by a command, and no current was asked for. This is no loop check.".to_owned(),
        ));
    }
    let driven = points().filter(|p| p.drive().wrong().is_none());
    let current = driven.filter_map(|p| Some((p.asked_ma?, p.read_ma?, p.asked_percent)));
    let current = current.max_by(|a, b| (a.1 - a.0).abs().total_cmp(&(b.1 - b.0).abs()));
    // A hair of rounding is no finding and hides none.
    if let Some((asked, read, at)) = current.filter(|c| (c.1 - c.0).abs() >= CURRENT_MA - HAIR) {
        out.push(look(format!(
            "The device reads {read:.2} mA where {asked:.2} mA was asked for (set point {} %).",
            short(at)
        )));
    }
    let Some(shown) = shown(record, limits) else { return };
    let p = shown.worst;
    let Some(value) = p.control_system_percent else { return };
    let told = format!(
        "The control system shows {} % where {} % was asked for ({})",
        short(value),
        short(p.asked_percent),
        p.direction.words()
    );
    match shown.limit {
        Some(limit) if shown.beyond > 0 => out.push(fault(format!(
            "{told}, limit {} %: the worst of {} beyond it, of {}. Look at its scaling, its output card and the wires.",
            short(limit),
            plural(shown.beyond, "place"),
            shown.places
        ))),
        None if shown.away >= SHOWN - HAIR => out.push(look(format!("{told}; it has no limit."))),
        _ => {}
    }
}
