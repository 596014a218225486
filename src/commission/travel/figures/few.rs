//! Whether something was measured or typed at enough places to be judged [TV-133].

use super::super::record::{Point, Record};

/// Two levels that are nearer than that are one, percent.
const SAME: f64 = 1e-6;

/// At how few places something was noted, and of how many; `None`: at enough, which are the lowest and the highest point of the plan and one
/// between where it has one, or there was no place.
pub fn too_few(record: &Record, is_noted: impl Fn(&Point) -> bool) -> Option<(usize, usize)> {
    let levels = &record.plan.levels_percent;
    let (first, last) = (levels.first()?, levels.last()?);
    let noted: Vec<&Point> = record.points.iter().filter(|p| is_noted(p)).collect();
    let at = |level: f64| noted.iter().any(|p| (p.asked_percent - level).abs() <= SAME);
    let between = noted.iter().any(|p| is_between(levels, p.asked_percent));
    let is_enough = at(*first) && at(*last) && (between || levels.len() < 3);
    (!is_enough && !record.points.is_empty()).then_some((noted.len(), record.points.len()))
}

/// Whether a place lies between the ends of the plan; where that has no place between, every place does.
pub fn is_between(levels: &[f64], percent: f64) -> bool {
    match levels {
        [first, _, .., last] => percent > first + SAME && percent < last - SAME,
        _ => true,
    }
}

/// Whether travel was measured at stem or shaft at enough places to say what lies between sensor and valve.
pub fn is_measured_at_stem(record: &Record) -> bool {
    let is_noted = |p: &Point| p.external.is_some();
    record.points.iter().any(is_noted) && too_few(record, is_noted).is_none()
}
