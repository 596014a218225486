//! What is said of resting places far from where the valve was told to go, whatever has a limit [TV-131].

use super::findings::{Finding, fault};
use super::words::{number, short};
use crate::commission::travel::figures::{Cause, Definition, THERE_PERCENT, View, rests_away};
use crate::commission::travel::limits::{Judged, Limited, Limits, Verdict};
use crate::commission::travel::record::Record;
use crate::report::text::plural;

/// Appends a fault for each view, and for sensor against measurement.
pub fn of(record: &Record, judged: &[Judged], limits: &Limits, out: &mut Vec<Finding>) {
    for view in [View::Sensor, View::External] {
        let is_said = judged.iter().any(|j| {
            let accuracy =
                matches!(j.figure.definition, Definition::AccuracyAbove | Definition::AccuracyBelow);
            accuracy && j.figure.view == view && j.verdict == Verdict::Beyond
        });
        let there = limits.limit(Limited::Accuracy, view).unwrap_or(THERE_PERCENT);
        let Some(a) = rests_away(record, view, there).filter(|_| !is_said) else { continue };
        out.push(fault(format!(
            "Told to go to {} % ({}), it came to rest at {} % {}, {} % from there, and no more than {} % are allowed: the worst of {}, of {}.",
            short(a.wanted_percent),
            a.direction.words(),
            number(a.at_percent, 1),
            view.words(),
            number((a.at_percent - a.wanted_percent).abs(), 1),
            short(there),
            plural(a.places, "such place"),
            a.of
        )));
    }
    for f in judged.iter().filter(|j| j.limit.is_none()).map(|j| &j.figure) {
        let is_open = !f.doubt.is_empty() && f.cause != Some(Cause::FewPlaces);
        let Some(value) = f.value.filter(|_| f.definition == Definition::LeverError && !is_open) else {
            continue;
        };
        if value.abs() - f.uncertainty.unwrap_or(0.0) > THERE_PERCENT {
            out.push(fault(format!(
                "Sensor and measurement are {} % of travel apart{}, and no more than {} % are allowed without a limit: lever, pin, clamp or coupling is wrong, or what was typed.",
                number(value.abs(), 1),
                f.at_percent.map_or(String::new(), |at| format!(" at {} %", short(at))),
                short(THERE_PERCENT)
            )));
        }
    }
}
