//! What is to be said of tests in sentences [TV-61].

use super::fails::{Came, actions};
use super::words::{clean, figure, heads, number, occasion, short, value};
use super::{Beside, Calibrated, Handover, loops};
use crate::commission::travel::figures::{
    Cause, Definition, THERE_PERCENT, View, is_measured_at_stem, not_arrived, stands,
};
use crate::commission::travel::limits::{Judged, Limited, Limits, Verdict};
use crate::commission::travel::record::{Direction, Ended, Record, Stood};
use crate::report::text::plural;

/// How a sentence begins that says that the device's set point is elsewhere, while its current is as asked.
const SET_POINT: &str = "the device's set point";
/// Share of the limit that an instrument's error ought to be below [TV-05].
const QUARTER: f64 = 0.25;
/// Share by which two supply pressures may differ.
const SUPPLY: f64 = 0.05;

/// A sentence about a test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Whether it counts as a fault.
    pub counts: bool,
    /// Whether it says of a figure that it is beyond its limit.
    pub is_figure: bool,
    pub words: String,
}

pub(super) fn fault(words: String) -> Finding {
    Finding { counts: true, is_figure: false, words }
}

pub(super) fn look(words: impl Into<String>) -> Finding {
    Finding { counts: false, is_figure: false, words: words.into() }
}

/// Everything about one test; faults first.
pub fn of(record: &Record, judged: &[Judged], limits: &Limits) -> Vec<Finding> {
    let mut out = Vec::new();
    let status = record.status.iter().filter(|b| !b.is_said_by(&record.status));
    let (broken, told): (Vec<_>, Vec<_>) = status.filter_map(|b| b.words()).partition(|(counts, _)| *counts);
    out.extend(broken.into_iter().map(|(_, words)| fault(words)));
    for j in judged.iter().filter(|j| j.verdict == Verdict::Beyond) {
        let (Some(told), Some(limit)) = (value(j, "+/- "), j.limit) else { continue };
        let f = &j.figure;
        let at = f.at_percent.map_or(String::new(), |p| format!(" at {} %", short(p)));
        let unit = f.definition.unit().symbol();
        let words =
            format!("{}: {told} {unit}{at}, limit {} {unit} ({}).", figure(f), short(limit), f.view.words());
        out.push(Finding { is_figure: true, ..fault(words) });
    }
    fails(record, judged, &mut out);
    not_driven(record, &mut out);
    not_there(record, limits, &mut out);
    super::away::of(record, judged, limits, &mut out);
    out.extend(stood(&record.ended).map(|words| fault(words + ".")));
    let restless = record.points.iter().filter(|p| !p.settled).count();
    if restless > 0 {
        out.push(look(format!(
            "{} did not come to rest: no figure that {} is judged. Wait longer, by --rest-most.",
            plural(restless, "point"),
            if restless == 1 { "it enters" } else { "they enter" },
        )));
    }
    let unsettled = judged
        .iter()
        .filter(|j| j.figure.definition == Definition::Settling && j.figure.cause == Some(Cause::NotAtRest))
        .count();
    if unsettled > 0 {
        out.push(look(format!(
            "{} did not come to rest: neither settling nor overshoot is stated. Watch longer, by --watch.",
            plural(unsettled, "step")
        )));
    }
    for hardly in loops::hardly_typed(record) {
        out.push(look(format!(
            "Asked for and {}: {}. Both ends and a place between are wanted: nothing is within a limit by it.",
            hardly.typed(),
            hardly.what
        )));
    }
    out.extend(told.into_iter().map(|(_, words)| look(words)));
    loops::of(record, limits, &mut out);
    link(record, &mut out);
    equipment(record, limits, &mut out);
    out
}

/// That the valve did not move, or moves no more, where that ended the test: without a stop at its end [TV-83].
pub fn stood(ended: &Ended) -> Option<String> {
    let while_set = |s: &Stood| {
        let (from, to) = (number(s.from_percent, 1), number(s.to_percent, 1));
        format!(
            "at {} % by its sensor, while the set point went from {from} to {to} %",
            number(s.at_percent, 1)
        )
    };
    match ended {
        Ended::NoMovement { stood: Some(s), .. } => {
            Some(format!("The valve did not move: it stood {}", while_set(s)))
        }
        Ended::NoMovement { stood: None, .. } => Some("The valve did not move".to_owned()),
        Ended::Stands { stood: s, .. } => {
            Some(format!("The valve moves no more: it has stood {}", while_set(s)))
        }
        _ => None,
    }
}

fn fails(record: &Record, judged: &[Judged], out: &mut Vec<Finding>) {
    for a in actions(record, judged) {
        let elsewhere = a.was_elsewhere() && a.is_asked() || a.never_came();
        match &a.came {
            Came::Otherwise(all) => out.extend(all.iter().cloned().map(fault)),
            Came::NotJudged(why) if elsewhere => {
                out.push(fault(format!("{}: the fail action is not judged, {why}.", a.loss.words())));
            }
            Came::NotJudged(why) if a.is_asked() => {
                out.push(look(format!("{}: the fail action is not judged, {why}.", a.loss.words())));
            }
            _ => {}
        }
        if a.only_said() {
            out.push(look(format!("{}: the loss was not seen, only said.", a.loss.words())));
        }
        if a.is_still_taken() {
            out.push(fault(format!("{}: what was taken away was not given back.", a.loss.words())));
        }
    }
}

/// Steps and strokes that did not get where they were to go, and creeps that nothing followed [TV-105] [TV-106].
fn not_there(record: &Record, limits: &Limits, out: &mut Vec<Finding>) {
    let there = limits.limit(Limited::Accuracy, View::Sensor).unwrap_or(THERE_PERCENT);
    for step in &record.steps {
        if let Some(missed) = not_arrived(record, step, false, there) {
            let (from, to) = (short(step.from_percent), short(step.to_percent));
            out.push(fault(format!("Step from {from} to {to} %: {}. It is not judged.", missed.words)));
        }
    }
    for stroke in &record.strokes {
        let Some(missed) = not_arrived(record, stroke, true, there) else { continue };
        let way = super::words::stroke(stroke.direction());
        let said = format!("Stroke, {way}: {}", missed.words);
        if missed.cause == Cause::NotArrived {
            out.push(fault(format!("{said}. It is not judged.")));
            continue;
        }
        let limited = match stroke.direction() {
            Direction::Up => Limited::StrokeTimeOpening,
            Direction::Down => Limited::StrokeTimeClosing,
        };
        let passed =
            limits.limit(limited, View::Sensor).filter(|l| missed.under_way_s.is_some_and(|s| s > *l));
        out.push(match passed {
            Some(limit) => fault(format!("{said}. That is longer than its limit of {} s.", short(limit))),
            None => look(format!("{said}. It is not judged.")),
        });
    }
    for creep in &record.creeps {
        if let Some((at, least, most)) = stands(record, creep) {
            out.push(fault(format!(
                "Creeping at {} %: the valve did not follow; it stood at {} % by its sensor, while the set point went from {} to {} %.",
                short(creep.place_percent),
                number(at, 1),
                number(least, 1),
                number(most, 1)
            )));
        }
    }
}

/// Points, steps and strokes whose set point was elsewhere: that is no fault of the valve, but the test is none [TV-22].
fn not_driven(record: &Record, out: &mut Vec<Finding>) {
    let wrong = elsewhere(record);
    if let Some(first) = wrong.first() {
        // The current comes, and the device does not follow it.
        let look = match first.starts_with(SET_POINT) {
            true => {
                "Look whether the device is on local (its selector or its keys), whether a command holds its set point, or whether it restarted and has forgotten the command."
            }
            false => "Look at the source, the wiring and the selector.",
        };
        out.push(fault(format!(
            "Not driven as asked, {}, and not judged: {first}. {look}",
            plural(wrong.len(), "place")
        )));
    }
}

/// What the device read of set points that were elsewhere than asked for, words each.
pub fn elsewhere(record: &Record) -> Vec<String> {
    let points = record.points.iter().map(|p| p.drive());
    let all = points.chain(record.elsewhere.iter().map(|e| e.drive));
    let mut wrong: Vec<String> = all.filter_map(|d| d.wrong()).collect();
    if let (true, Ended::NotDriven { what, .. }) = (wrong.is_empty(), &record.ended) {
        wrong.push(super::words::without_next(what));
    }
    wrong
}

fn link(record: &Record, out: &mut Vec<Finding>) {
    let l = &record.link;
    let unanswered = l.requests.saturating_sub(l.answered);
    if unanswered > 0 || l.damaged > 0 {
        out.push(look(format!(
            "Communication: {unanswered} of {} not answered, {}, {}. `looprig wiring` and `looprig wave` help to find why.",
            plural(l.requests as usize, "request"),
            plural(l.damaged as usize, "damaged frame"),
            plural(l.retries as usize, "repeat")
        )));
    }
}

fn equipment(record: &Record, limits: &Limits, out: &mut Vec<Finding>) {
    let measured = is_measured_at_stem(record);
    if !measured && !record.points.is_empty() {
        out.push(look(
            "Nothing but the device's own sensor measured travel: a wrong lever, pin or clamp would not be seen.",
        ));
    }
    if let (Some(m), Some(limit)) = (&record.external, limits.limit(Limited::Accuracy, View::External))
        && measured
    {
        match m.limit_percent {
            Some(error) if error > QUARTER * limit => out.push(look(format!(
                "The measurement at stem or shaft may be wrong by {} %, more than a quarter of the limit of accuracy ({} %).",
                short(error),
                short(limit)
            ))),
            None => out.push(look("The error limit of the measurement at stem or shaft is not known.")),
            Some(_) => {}
        }
    }
    for i in record.instruments.iter().filter(|i| i.calibrated.trim().is_empty()) {
        let name = format!("{} {}", clean(&i.name), clean(&i.serial));
        out.push(look(format!("No date of calibration is noted for: {}.", name.trim())));
    }
    for i in &record.instruments {
        let wrong = Calibrated::read(&i.calibrated).ok().and_then(|c| c.wrong(&record.started));
        if let Some(wrong) = wrong {
            let name = format!("{} {}", clean(&i.name), clean(&i.serial));
            out.push(look(format!("{}: {wrong}.", name.trim())));
        }
    }
}

/// What is to be said of what is shown beside the tests.
pub fn beside(beside: &Beside) -> Vec<Finding> {
    let mut out = Vec::new();
    for check in &beside.checks {
        let words = |what: &str| {
            let first = check.lines.first().map_or(String::new(), |l| format!(": {}", clean(l)));
            format!("{}: {what}{first}", clean(&check.title))
        };
        match check.is_good {
            Some(true) => {}
            // As many as the check itself counts [TV-99].
            Some(false) if !check.bad.is_empty() => {
                out.extend(check.bad.iter().map(|b| fault(format!("{}: {}", clean(&check.title), clean(b)))));
            }
            Some(false) => out.push(fault(words("not in order"))),
            None => out.push(look(words("no verdict"))),
        }
    }
    if let Some((report, sheet)) = beside.wiring {
        let all = &report.judged.checks;
        let failing = all.iter().filter(|c| c.is_bad()).count();
        if failing > 0 {
            out.push(fault(format!(
                "The loop as it stands in {} is NOT GOOD: {failing} of {} checks fail, as computed. `looprig wiring` says what helps.",
                clean(sheet),
                all.len()
            )));
        }
    }
    out
}

/// All that people are told, and whether it counts; what counts stands first. What a test for comparison had beyond its limits stands
/// in the tables.
pub fn told(h: &Handover) -> Vec<Finding> {
    let heads = heads(h);
    let several = h.tests.len() > 1;
    let of_tests = h.tests.iter().zip(&heads).flat_map(|(t, head)| {
        let lead = if several { format!("{head}: ") } else { String::new() };
        let told = t.findings.iter().filter(|f| t.decides || !f.is_figure);
        told.map(move |f| Finding {
            counts: f.counts && t.decides,
            words: format!("{lead}{}", f.words),
            ..*f
        })
    });
    let between = h.between.iter().cloned();
    let mut all: Vec<Finding> = of_tests.chain(between).collect();
    all.sort_by_key(|f| !f.counts);
    all
}

/// What is to be said of tests beside each other.
pub fn between(records: &[&Record]) -> Vec<Finding> {
    let mut out = Vec::new();
    let supplies = || records.iter().filter_map(|r| Some((r.supply_kpa?, occasion(r.occasion))));
    let by = |a: &(f64, &str), b: &(f64, &str)| a.0.total_cmp(&b.0);
    if let (Some(low), Some(high)) = (supplies().min_by(by), supplies().max_by(by))
        && high.0 - low.0 > SUPPLY * high.0
    {
        out.push(look(format!(
            "The air supply was {} kPa ({}) and {} kPa ({}): stroke times and steps do not compare.",
            short(low.0),
            low.1,
            short(high.0),
            high.1
        )));
    }
    out
}
