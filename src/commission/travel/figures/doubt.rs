//! Which resting places say nothing of the valve, and why; only figures that they enter are not judged [TV-66].

use super::super::record::{Ended, Point, Record};
use super::Figure;
use serde::Serialize;

/// Why a figure is not judged, by kind, so that figures can be counted by it [TV-83].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// The valve did not move while its set point did.
    NotMoved,
    /// The set point was elsewhere than asked for.
    NotDriven,
    /// The valve was not at rest.
    NotAtRest,
    /// Readings are too coarse for what is asked of them.
    TooCoarse,
    /// Nobody knows the least difference that the reading shows.
    NoResolution,
    /// The travel that was read may be the set point.
    MayBeSetPoint,
    /// The valve was not where it was to begin.
    NotThere,
    /// The valve did not get where it was to go.
    NotArrived,
    /// What was to be taken away did not go.
    NotLost,
    /// It was measured at too few places to be within a limit [TV-133].
    FewPlaces,
}

impl Cause {
    /// A few words for people.
    pub fn words(self) -> &'static str {
        match self {
            Cause::NotMoved => "the valve did not move",
            Cause::NotDriven => "set point elsewhere than asked",
            Cause::NotAtRest => "not at rest",
            Cause::TooCoarse => "readings too coarse",
            Cause::NoResolution => "resolution not known",
            Cause::MayBeSetPoint => "travel may be the set point",
            Cause::NotThere => "not where it was to begin",
            Cause::NotArrived => "did not get where it was to go",
            Cause::NotLost => "the loss did not come",
            Cause::FewPlaces => "measured at too few places",
        }
    }
}

/// Why one figure is not judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Why {
    pub cause: Cause,
    /// Where and what, a few words.
    pub words: String,
}

impl Why {
    pub fn new(cause: Cause, words: impl Into<String>) -> Why {
        Why { cause, words: words.into() }
    }
}

/// What is to be said of each point of a record, in their order.
pub struct Doubts {
    points: Vec<Option<Why>>,
    still: bool,
}

fn doubt(p: &Point) -> Option<Why> {
    let place = format!("{} % {}, cycle {}", p.asked_percent, p.direction.words(), p.cycle);
    if let Some(wrong) = p.drive().wrong() {
        return Some(Why::new(Cause::NotDriven, format!("{place}: {wrong}")));
    }
    (!p.settled).then(|| Why::new(Cause::NotAtRest, format!("{place}: it was not at rest")))
}

impl Doubts {
    /// Of the points of a record.
    pub fn of(record: &Record) -> Doubts {
        let still = matches!(record.ended, Ended::NoMovement { .. });
        Doubts { points: record.points.iter().map(doubt).collect(), still }
    }

    fn first<'a>(&'a self, of: impl Iterator<Item = &'a Why>) -> Option<Why> {
        let mut of = of;
        let first = of.next()?;
        let words = match of.count() {
            0 => first.words.clone(),
            1 => format!("{}, and 1 point more", first.words),
            n => format!("{}, and {n} points more", first.words),
        };
        Some(Why { words, ..first.clone() })
    }

    /// Why a figure of these points, counted from 0, that holds them against their set points is not judged; `None`: it can be.
    pub fn against_set_points(&self, points: impl Iterator<Item = usize>) -> Option<Why> {
        if self.still {
            return Some(Why::new(Cause::NotMoved, "the valve did not move"));
        }
        self.first(points.filter_map(|n| self.points.get(n)?.as_ref()))
    }

    /// The same of a figure that only asks where the valve stood.
    pub fn at_rest(&self, points: impl Iterator<Item = usize>) -> Option<Why> {
        let restless = |why: &&Why| why.cause != Cause::NotDriven;
        self.first(points.filter_map(|n| self.points.get(n)?.as_ref()).filter(restless))
    }
}

impl Figure {
    /// The same with why it is not judged, if it is not.
    pub(super) fn doubted(self, why: Option<Why>) -> Figure {
        let (cause, doubt) = why.map_or((None, String::new()), |why| (Some(why.cause), why.words));
        Figure { cause, doubt, ..self }
    }

    /// A figure that cannot be had, and that counts by its cause.
    pub(super) fn not_stated(self, cause: Cause) -> Figure {
        Figure { cause: Some(cause), ..self }
    }
}
