//! What was asked for and not judged, and what was judged alone [TV-135].

use super::{Handover, One, fails};
use crate::commission::travel::figures::Definition;
use crate::commission::travel::limits::{Limited, Verdict};
use crate::commission::travel::record::Ended;
use std::collections::BTreeSet;

/// What is named where it was measured and has no limit, in this order.
const NAMED: [Limited; 12] = [
    Limited::Accuracy,
    Limited::Hysteresis,
    Limited::DeadBand,
    Limited::Resolution,
    Limited::DeadTime,
    Limited::T63,
    Limited::T86,
    Limited::Overshoot,
    Limited::Settling,
    Limited::StrokeTimeOpening,
    Limited::StrokeTimeClosing,
    Limited::LeverError,
];

/// A few words for what a limit is set for.
fn words(what: Limited) -> &'static str {
    match what {
        Limited::Accuracy => "accuracy",
        Limited::EndDeviation => "deviation at the ends",
        Limited::Hysteresis => "hysteresis",
        Limited::Repeatability => "repeatability",
        Limited::NonLinearity(_) => "non-linearity",
        Limited::DeadBand => "dead band",
        Limited::Resolution => "resolution",
        Limited::DeadTime => "dead time",
        Limited::T63 => "T63",
        Limited::T86 => "T86",
        Limited::Overshoot => "overshoot",
        Limited::Settling => "settling time",
        Limited::StrokeTimeOpening => "stroke time opening",
        Limited::StrokeTimeClosing => "stroke time closing",
        Limited::FailTime => "time to the fail position",
        Limited::LeverError => "sensor minus measurement",
        Limited::ControlSystem => "what the control system shows",
    }
}

/// Parts of a test that were asked for and mostly not judged, or not made though the test came to its end, words each.
pub fn open_parts(test: &One) -> Vec<&'static str> {
    use Definition::{DeadBand, DeadTime, Overshoot, Resolution, Settling, StrokeTime, T63, T86};
    let (plan, record) = (&test.record.plan, test.record);
    let mut out = Vec::new();
    let mut part = |words, is_asked: bool, is_made: bool, definitions: &[Definition]| {
        let all =
            test.judged.iter().filter(|j| definitions.contains(&j.figure.definition) && j.limit.is_some());
        let (mut of, mut open) = (0, 0);
        for j in all {
            of += 1;
            open += usize::from(matches!(j.verdict, Verdict::NotJudged(_)));
        }
        let is_left_out = !is_made && record.ended == Ended::Whole;
        if is_asked && (is_left_out || 2 * open > of) {
            out.push(words);
        }
    };
    let is_crept = !plan.creep_places_percent.is_empty();
    part("dead band", is_crept, !record.creeps.is_empty(), &[DeadBand, Resolution]);
    let steps = [DeadTime, T63, T86, Overshoot, Settling];
    part("steps", !plan.steps_percent.is_empty(), !record.steps.is_empty(), &steps);
    part("stroke", plan.strokes > 0, !record.strokes.is_empty(), &[StrokeTime]);
    out
}

/// How many fail actions were seen of which nobody said where the valve ought to go.
pub fn unsaid_fails(h: &Handover) -> usize {
    h.deciding().flat_map(|t| fails::actions(t.record, &t.judged)).filter(fails::Action::is_unsaid).count()
}

/// What was measured and has no limit, words each.
pub fn without_limit(h: &Handover) -> Vec<&'static str> {
    let judged = || h.deciding().flat_map(|t| &t.judged).filter(|j| j.figure.value.is_some());
    let is_open =
        |what: &Limited| judged().any(|j| j.limit.is_none() && Limited::of(&j.figure) == Some(*what));
    NAMED.into_iter().filter(is_open).map(words).collect()
}

/// What alone was judged, a few words; `None`: more than one kind of figure was, or none.
pub fn judged_alone(h: &Handover) -> Option<&'static str> {
    let judged = h.deciding().flat_map(|t| &t.judged).filter(|j| !matches!(j.verdict, Verdict::NotJudged(_)));
    let kinds: BTreeSet<Limited> = judged.filter_map(|j| Limited::of(&j.figure)).collect();
    let mut kinds = kinds.into_iter();
    kinds.next().filter(|_| kinds.next().is_none()).map(words)
}
