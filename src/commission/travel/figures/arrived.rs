//! Steps and strokes that did not get where they were to go [TV-105].

use super::super::record::{Record, Step};
use super::View;
use super::motion::ends;
use super::reading::Quality;

/// How far from where it was to go a valve may end where accuracy has no limit, and a stroke from the ends of travel, percent (own choice).
pub const THERE_PERCENT: f64 = 5.0;

/// What is wrong with a step that rests further from its target than `there_percent`, or with a stroke that does not go from end to end, a few
/// words; `None`: it got there, or that is not known.
pub fn not_arrived(record: &Record, step: &Step, is_stroke: bool, there_percent: f64) -> Option<String> {
    // By a set point that was elsewhere nothing is said of the valve [TV-22].
    if record.driven_elsewhere(step.watch.asked_at_s).is_some() {
        return None;
    }
    let quality = Quality::of(record, View::Sensor);
    let m = ends(&step.watch, &record.plan.rest, &quality)?;
    if is_stroke {
        let (low, high) = if m.from.value <= m.to.value { (m.from, m.to) } else { (m.to, m.from) };
        let is_short = low.value - low.by > THERE_PERCENT || high.value + high.by < 100.0 - THERE_PERCENT;
        return is_short.then(|| {
            format!(
                "it went from {:.1} to {:.1} % by its sensor, which is no full stroke",
                m.from.value, m.to.value
            )
        });
    }
    let away = (m.to.value - step.to_percent.clamp(0.0, 100.0)).abs();
    (m.is_at_rest && away - m.to.by > there_percent).then(|| {
        format!(
            "it came to rest at {:.1} %, {away:.1} % from where it was to go, and no more than {there_percent} % are allowed",
            m.to.value
        )
    })
}
