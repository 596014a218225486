//! The strokes that a watch makes, for a bench whose device does not answer: what people see is wanted all the same.

use super::seen::{Record, Sample, Watched};
use crate::line::{Error, Line};
use core::time::Duration;

/// The hold at the beginning.
const HOLDS: Duration = Duration::from_secs(25);
/// At rest travel stays within so much for so long.
const REST_PERCENT: f64 = 0.3;
const REST: Duration = Duration::from_secs(3);
/// Even a big valve's air has begun to move it by then.
const LEAST: Duration = Duration::from_secs(8);
/// Where the set point goes, and how long it is waited for rest at most, s.
const STROKES: [(f64, u64); 7] =
    [(50.0, 40), (60.0, 60), (50.0, 60), (100.0, 60), (0.0, 60), (100.0, 60), (50.0, 60)];
/// The step for whoever looks at the output's gauge, and how long it is looked at.
const JOG_PERCENT: f64 = 55.0;
const JOG: Duration = Duration::from_secs(12);

/// Whether the set point went through all its strokes in what was seen.
pub fn is_whole(record: &Record) -> bool {
    Strokes::of(record).is_some()
}

fn rest(line: &mut Watched, time: Duration) -> Result<(), Error> {
    let until = line.now() + time;
    while line.now() < until {
        line.wait(Some(until))?;
    }
    Ok(())
}

fn is_at_rest(record: &[Sample]) -> bool {
    let Some(last) = record.last() else { return false };
    let late = record.iter().rev().take_while(|s| last.at.since(s.at) <= REST);
    let (low, high) = late.fold((f64::MAX, f64::MIN), |(l, h), s| (l.min(s.travel), h.max(s.travel)));
    high - low < REST_PERCENT
}

/// Strokes the valve as a watch does.
///
/// # Errors
/// A line of this process has none.
pub fn stroke(line: &mut Watched) -> Result<(), Error> {
    let mut drive = line.drive();
    for (i, (to, most_s)) in STROKES.into_iter().enumerate() {
        let began = line.now();
        let _ = drive.to(began, to);
        rest(line, LEAST)?;
        while line.now().since(began) < Duration::from_secs(most_s)
            && !line.with_record(|r| is_at_rest(&r.samples))
        {
            rest(line, Duration::from_millis(500))?;
        }
        if i == 0 {
            rest(line, HOLDS)?;
        }
    }
    Ok(())
}

/// A small step, for whoever looks at the output's gauge, and back to 50 %.
///
/// # Errors
/// A line of this process has none.
pub fn jog(line: &mut Watched) -> Result<(), Error> {
    let mut drive = line.drive();
    let now = line.now();
    let _ = drive.to(now, 50.0);
    rest(line, JOG)?;
    let now = line.now();
    let _ = drive.to(now, JOG_PERCENT);
    rest(line, JOG)?;
    let now = line.now();
    let _ = drive.to(now, 50.0);
    rest(line, JOG)
}

/// What was seen while the set point stood at one place.
pub type Phase<'a> = &'a [Sample];

/// The strokes in what was seen.
#[derive(Clone, Copy, Debug)]
pub struct Strokes<'a> {
    /// At 50 %, from the beginning on.
    pub hold: Phase<'a>,
    /// At 60 %.
    pub up: Phase<'a>,
    /// At 50 % again.
    pub back: Phase<'a>,
    /// At 100 %, from 50.
    pub open: Phase<'a>,
    /// At 0 %, from 100.
    pub shut: Phase<'a>,
    /// At 100 % again, from 0: the whole travel.
    pub again: Phase<'a>,
    /// From 50 to 55 %; empty where nobody has done it.
    pub jog: Phase<'a>,
}

impl<'a> Strokes<'a> {
    /// The last whole set of strokes in what was seen.
    pub fn of(record: &'a Record) -> Option<Strokes<'a>> {
        let moves = &record.moves;
        let is = |i: usize, percent: f64| moves.get(i).is_some_and(|m| (m.1 - percent).abs() < 0.5);
        let wanted = [50.0, 60.0, 50.0, 100.0, 0.0, 100.0, 50.0];
        let first =
            (0..moves.len()).rev().find(|&i| wanted.iter().enumerate().all(|(k, &p)| is(i + k, p)))?;
        let phase = |i: usize| {
            let from = moves.get(i).map(|m| m.0);
            let to = moves.get(i + 1).map(|m| m.0);
            let begin = from.map_or(0, |t| record.samples.partition_point(|s| s.at < t));
            let end = to.map_or(record.samples.len(), |t| record.samples.partition_point(|s| s.at < t));
            record.samples.get(begin..end.max(begin)).unwrap_or_default()
        };
        let jog = (first + 6..moves.len()).find(|&i| is(i, JOG_PERCENT)).map_or(&[][..], phase);
        let all = Strokes {
            hold: phase(first),
            up: phase(first + 1),
            back: phase(first + 2),
            open: phase(first + 3),
            shut: phase(first + 4),
            again: phase(first + 5),
            jog,
        };
        [all.hold, all.up, all.back, all.open, all.shut, all.again]
            .iter()
            .all(|p| !p.is_empty())
            .then_some(all)
    }
}

/// The last part of a phase.
pub fn late(phase: Phase<'_>, time: Duration) -> Phase<'_> {
    let Some(last) = phase.last() else { return phase };
    let from = phase.partition_point(|s| last.at.since(s.at) > time);
    &phase[from..]
}

/// The mean of what there is of a value in a part.
pub fn mean(phase: Phase<'_>, of: impl Fn(&Sample) -> Option<f64>) -> Option<f64> {
    let (sum, n) = phase.iter().filter_map(of).fold((0.0, 0.0), |(s, n), x| (s + x, n + 1.0));
    (n > 0.0).then(|| sum / n)
}

/// The least and the largest of it.
pub fn span(phase: Phase<'_>, of: impl Fn(&Sample) -> Option<f64>) -> Option<(f64, f64)> {
    let all = phase.iter().filter_map(of);
    all.fold(None, |acc, x| acc.map_or(Some((x, x)), |(l, h): (f64, f64)| Some((l.min(x), h.max(x)))))
}
