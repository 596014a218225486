//! Which resting places say nothing of the valve, and why; only figures that they enter are not judged [TV-66].

use super::super::record::{Ended, Point, Record};
use super::Figure;

/// What is to be said of each point of a record, in their order.
pub struct Doubts {
    points: Vec<Option<Doubt>>,
    still: bool,
}

/// Of a point.
struct Doubt {
    /// Where, and what.
    words: String,
    /// It is the set point that was elsewhere: of where the valve stands nothing is wrong.
    drive: bool,
}

fn doubt(p: &Point) -> Option<Doubt> {
    let place = format!("{} % {}, cycle {}", p.asked_percent, p.direction.words(), p.cycle);
    if let Some(wrong) = p.drive().wrong() {
        return Some(Doubt { words: format!("{place}: {wrong}"), drive: true });
    }
    (!p.settled).then(|| Doubt { words: format!("{place}: it was not at rest"), drive: false })
}

impl Doubts {
    /// Of the points of a record.
    pub fn of(record: &Record) -> Doubts {
        let still = matches!(record.ended, Ended::NoMovement { .. });
        Doubts { points: record.points.iter().map(doubt).collect(), still }
    }

    fn words<'a>(&'a self, of: impl Iterator<Item = &'a Doubt>) -> String {
        let mut of = of;
        let Some(first) = of.next() else { return String::new() };
        match of.count() {
            0 => first.words.clone(),
            1 => format!("{}, and 1 point more", first.words),
            n => format!("{}, and {n} points more", first.words),
        }
    }

    /// Why a figure of these points, counted from 0, that holds them against their set points is not judged; empty: it can be.
    pub fn against_set_points(&self, points: impl Iterator<Item = usize>) -> String {
        if self.still {
            return "the valve did not move".to_owned();
        }
        self.words(points.filter_map(|n| self.points.get(n)?.as_ref()))
    }

    /// The same of a figure that only asks where the valve stood.
    pub fn at_rest(&self, points: impl Iterator<Item = usize>) -> String {
        self.words(points.filter_map(|n| self.points.get(n)?.as_ref()).filter(|d| !d.drive))
    }
}

impl Figure {
    /// The same with words why it is not judged.
    pub(super) fn doubted(self, doubt: String) -> Figure {
        Figure { doubt, ..self }
    }
}
