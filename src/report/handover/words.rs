//! Words and numbers that text and page share.

use super::findings::{elsewhere, stood};
use super::{CALIBRATION, Handover, Overall, asked};
use crate::commission::travel::figures::{About, Cause, Definition, Figure, Unit, View, is_measured_at_stem};
use crate::commission::travel::limits::{Judged, Verdict};
use crate::commission::travel::record::{
    Direction, Ended, FailsTo, Movement, NotTested, Occasion, Record, Test,
};
use crate::report::plot::turns_writing;
use crate::report::text::plural;

/// Text on one line that moves no cursor and turns no writing round.
pub fn clean(text: &str) -> String {
    let harmful = |c: char| c.is_control() || turns_writing(c) || matches!(c, '\u{2028}' | '\u{2029}');
    text.chars().map(|c| if harmful(c) { ' ' } else { c }).collect()
}

/// What went wrong alone, of words with a line "next: ..." behind them: what to do is no part of a headline.
pub fn without_next(what: &str) -> String {
    clean(what.split_once("next:").map_or(what, |(wrong, _)| wrong).trim())
}

/// The same with what to do as a sentence of its own.
pub fn with_next(what: &str) -> String {
    match what.split_once("next:") {
        Some((_, next)) => format!("{}. Next: {}", without_next(what), clean(next.trim())),
        None => clean(what),
    }
}

pub fn occasion(o: Occasion) -> &'static str {
    match o {
        Occasion::AsFound => "as found",
        Occasion::AsLeft => "as left",
        Occasion::Unsaid => "test",
    }
}

pub fn test(t: Test) -> &'static str {
    match t {
        Test::Travel => "travel test",
        Test::LoopCheck => "loop check",
    }
}

/// The heads of the tests' columns: their occasions; where two would be alike, with a number.
pub fn heads(h: &Handover) -> Vec<String> {
    let name = |n: usize| {
        let r = h.tests[n].record;
        match (r.test, r.occasion) {
            (Test::LoopCheck, Occasion::Unsaid) => "loop check".to_owned(),
            (Test::LoopCheck, o) => format!("loop check, {}", occasion(o)),
            (Test::Travel, o) => occasion(o).to_owned(),
        }
    };
    let all: Vec<String> = (0..h.tests.len()).map(name).collect();
    let alike = |n: usize| all.iter().filter(|a| **a == all[n]).count() > 1;
    (0..all.len())
        .map(|n| if alike(n) { format!("{} ({})", all[n], n + 1) } else { all[n].clone() })
        .collect()
}

pub fn fails_to(f: FailsTo) -> &'static str {
    match f {
        FailsTo::Closed => "closes",
        FailsTo::Open => "opens",
        FailsTo::Stays => "stays where it is",
        FailsTo::Unsaid => "not said",
    }
}

pub fn motion(r: &Record) -> String {
    let (kind, unit) = match r.valve.motion {
        Some(Movement::Linear) => ("linear", "mm"),
        Some(Movement::PartTurn) => ("part-turn", "deg"),
        None => ("motion not said", ""),
    };
    match r.valve.rated_travel {
        Some(t) => format!("{kind}, rated travel {t} {unit}").trim_end().to_owned(),
        None => kind.to_owned(),
    }
}

/// How a test ended before its plan; `None`: it is whole.
pub fn broken_off(ended: &Ended) -> Option<String> {
    let at = |during: &String| {
        if during.trim().is_empty() { String::new() } else { format!(", during {}", clean(during)) }
    };
    Some(match ended {
        Ended::Whole => return None,
        Ended::Stopped { why, during } => format!("{}{}", why.words(), at(during)),
        Ended::Interrupted { during } => format!("it was interrupted{}", at(during)),
        Ended::Silent { during, last_heard_s } => {
            let heard = match last_heard_s {
                Some(s) => format!("; last heard {s:.1} s after the start"),
                None => "; it was never heard".to_owned(),
            };
            format!("the device fell silent{}{heard}", at(during))
        }
        Ended::NoMovement { during, .. } => format!("the valve did not move{}", at(during)),
        Ended::Stands { during, .. } => format!("the valve moved no more{}", at(during)),
        Ended::NotDriven { during, what } => {
            format!("the set point did not come{}: {}", at(during), with_next(what))
        }
        Ended::Failed { during, what } => format!("it failed{}: {}", at(during), with_next(what)),
        Ended::Running => "the record was written while the test ran, and has no end".to_owned(),
    })
}

/// What of the plan of a test that came to its end was not tested; `None`: nothing [TV-117].
fn left_out(r: &Record) -> Option<String> {
    let all = r.losses_not_tested();
    let said = |n: &NotTested| format!("{} was not tested, {}", n.loss.words(), clean(&n.why));
    (!all.is_empty()).then(|| all.iter().map(said).collect::<Vec<_>>().join("; "))
}

/// How a test ended before its plan, or what of it was left out; `None`: it is whole.
fn short_of_plan(r: &Record) -> Option<String> {
    broken_off(&r.ended).or_else(|| left_out(r))
}

/// Of every test that ended before its plan, how; of every other what was left out.
pub fn not_whole(h: &Handover) -> Vec<String> {
    let tests = h.tests.iter().zip(heads(h));
    let said = tests.filter_map(|(test, head)| {
        let why = short_of_plan(test.record)?;
        Some(if h.tests.len() > 1 {
            format!("NOT WHOLE ({head}): {why}.")
        } else {
            format!("NOT WHOLE: {why}.")
        })
    });
    let checks = h.beside.checks.iter().filter(|c| c.ended_early);
    let checks = checks.filter_map(|c| Some(format!("{}: {}", clean(&c.title), clean(c.lines.first()?))));
    said.chain(checks).collect()
}

/// Of every test that does not decide, how it came out.
pub fn compared(h: &Handover) -> Vec<String> {
    let tests = h.tests.iter().zip(heads(h)).filter(|(t, _)| !t.decides);
    let said = tests.map(|(test, head)| {
        let beyond = test.judged.iter().filter(|j| j.verdict == Verdict::Beyond).count();
        let told = match beyond {
            0 => "no figure beyond its limit".to_owned(),
            1 => "1 figure beyond its limit".to_owned(),
            n => format!("{n} figures beyond their limits"),
        };
        format!("For comparison, not part of the verdict: {head}, {told}.")
    });
    said.collect()
}

/// Where the set point was left, a sentence.
pub fn left(r: &Record) -> String {
    match &r.left {
        Some(l) if r.ended == Ended::Running => {
            format!("not known, for the test was cut off. {}", clean(&l.words))
        }
        Some(l) if !l.words.trim().is_empty() => clean(&l.words),
        Some(l) => l.percent.map_or("not known".to_owned(), |p| format!("set point {} %", number(p, 1))),
        None if r.ended == Ended::Running => {
            "not known: the test was cut off before that was written. A set point by command stays in force; look what the device and the calibrator have"
                .to_owned()
        }
        None => "the set point was never moved".to_owned(),
    }
}

/// Where the set point was left when the last of the tests had begun, and what each one before it could not say for sure: air that was shut in a test
/// that was cut off may still be shut. `None`: there is no test.
pub fn left_last(h: &Handover) -> Option<String> {
    // Of those that began at once, or at nobody knows when, the last that was given.
    let last = h.tests.iter().max_by(|a, b| a.record.started.cmp(&b.record.started))?;
    let is_sure =
        |r: &Record| r.ended != Ended::Running && r.left.as_ref().is_none_or(|l| l.percent.is_some());
    let before = h.tests.iter().map(|t| t.record).filter(|r| !core::ptr::eq(*r, last.record) && !is_sure(r));
    let before = before.map(|r| {
        let began = if r.started.is_empty() { "another time".to_owned() } else { clean(&r.started) };
        format!(" Of the test that began at {began}: {}", left(r))
    });
    Some(left(last.record) + &before.collect::<String>())
}

/// A number with so many digits behind the point, without minus nought.
pub fn number(x: f64, digits: usize) -> String {
    let text = format!("{x:.digits$}");
    if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

/// A limit as it was given, at most four digits behind the point.
pub fn short(x: f64) -> String {
    let text = number(x, 4);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Value and uncertainty of a figure.
pub fn value(j: &Judged, plus_minus: &str) -> Option<String> {
    let f = &j.figure;
    let v = f.value?;
    // What is a hair beyond its limit must not read as if it were the limit.
    let close = j.limit.is_some_and(|l| (v.abs() - l).abs() < 0.01 && v.abs() != l);
    let fine = f.uncertainty.is_some_and(|u| u > 0.0 && u < 0.01);
    let digits = match (f.definition.unit(), close || fine) {
        (Unit::Degrees, _) => 1,
        (_, false) => 2,
        (_, true) => 3,
    };
    let mut text = number(v, digits);
    if is_signed(f.definition) && v > 0.0 && text.chars().any(|c| matches!(c, '1'..='9')) {
        text.insert(0, '+');
    }
    Some(match f.uncertainty {
        Some(u) => format!("{text} {plus_minus}{}", number(u, digits)),
        None => text,
    })
}

fn is_signed(d: Definition) -> bool {
    use Definition::*;
    matches!(d, AccuracyAbove | AccuracyBelow | DeviationClosed | DeviationOpen | LeverError)
}

/// A figure's name with what it is about.
pub fn figure(f: &Figure) -> String {
    match about(f) {
        a if a.is_empty() => f.definition.words().to_owned(),
        a => format!("{}, {a}", f.definition.words()),
    }
}

/// What a figure is about, if not the whole test.
pub fn about(f: &Figure) -> String {
    match f.about {
        About::Whole => String::new(),
        About::Place(p) => format!("about {} %", short(p)),
        About::Step(a, b) => format!("{} to {} %", short(a), short(b)),
        About::Stroke(d) => stroke(d).to_owned(),
        About::Loss(l) => l.words().to_owned(),
        About::End(open) => if open { "open" } else { "closed" }.to_owned(),
    }
}

pub fn stroke(d: Direction) -> &'static str {
    if d == Direction::Up { "opening" } else { "closing" }
}

pub fn unit(f: &Figure) -> &'static str {
    match f.definition.unit() {
        Unit::PercentOfStep => "% of step",
        u => u.symbol(),
    }
}

/// One word for the view.
pub fn view(v: View) -> &'static str {
    match v {
        View::Sensor => "sensor",
        View::External => "measured",
    }
}

/// One word for a verdict; empty where there is no limit.
pub fn verdict(j: &Judged) -> &'static str {
    match (&j.verdict, j.figure.value, j.limit) {
        (Verdict::Within, ..) => "ok",
        (Verdict::Beyond, ..) => "BEYOND",
        (Verdict::NotJudged(_), _, None) => "",
        (Verdict::NotJudged(_), None, _) => "not measured",
        (Verdict::NotJudged(_), ..) => "not decided",
    }
}

/// Why a figure that has a limit has no verdict, a few words [TV-86].
fn why(cause: Option<Cause>) -> &'static str {
    cause.map_or("limit within the uncertainty", Cause::words)
}

/// The reasons for which figures of these tests have no verdict, for a legend; empty where there are none.
pub fn reasons(h: &Handover) -> String {
    let all = h.tests.iter().flat_map(|t| &t.judged).filter(|j| {
        let open = matches!(j.verdict, Verdict::NotJudged(_)) && j.limit.is_some();
        open && (j.figure.value.is_some() || j.figure.cause.is_some())
    });
    let causes: std::collections::BTreeSet<Option<Cause>> = all.map(|j| j.figure.cause).collect();
    causes.into_iter().map(why).collect::<Vec<_>>().join("; ")
}

/// What is worse than any figure: a valve that did not move, or moves no more; a set point that did not come [TV-83].
fn first_of_all(h: &Handover) -> Option<String> {
    h.deciding().find_map(|test| {
        if let Ended::NotDriven { what, .. } = &test.record.ended {
            return Some(format!("NOT DRIVEN AS ASKED: {}", without_next(what)));
        }
        let words = stood(&test.record.ended)?;
        let (is, rest) = words.split_once(':').unwrap_or((&words, ""));
        Some(if rest.is_empty() { is.to_uppercase() } else { format!("{}:{rest}", is.to_uppercase()) })
    })
}

/// A test that decides, or a check, ended before its plan.
fn ended_early(h: &Handover) -> bool {
    h.deciding().any(|t| t.record.ended != Ended::Whole) || h.beside.checks.iter().any(|c| c.ended_early)
}

/// The verdict in a few words, and what else is to be said of it.
pub fn headline(h: &Handover) -> (Overall, String, String) {
    let n = h.counts();
    let judged = n.within + n.beyond;
    let words = match h.overall() {
        Overall::Beyond if first_of_all(h).is_some() => first_of_all(h).unwrap_or_default(),
        Overall::Beyond if n.beyond > 0 => {
            format!("BEYOND LIMITS: {} of {}", n.beyond, plural(judged, "judged figure"))
        }
        Overall::Beyond => match h.deciding().find_map(|t| elsewhere(t.record).into_iter().next()) {
            Some(wrong) => format!("NOT DRIVEN AS ASKED: {wrong}"),
            None => format!("NOT IN ORDER: {}", plural(n.faults, "fault")),
        },
        Overall::Partial if ended_early(h) => "NOT COMPLETE: the test ended before its plan".to_owned(),
        Overall::Partial => format!("NOT COMPLETE: {} not tested", h.not_tested().join(", ")),
        Overall::NotJudged => match h.unjudged() {
            open if open.is_empty() || n.within + n.as_said == 0 => {
                "NO VERDICT: nothing could be judged".to_owned()
            }
            open => format!("NO VERDICT: {} could not be judged", open.join(" and ")),
        },
        Overall::Within => match judged {
            0 if n.as_said > 0 => format!("IN ORDER: {} as said", plural(n.as_said, "fail action")),
            0 => {
                let good = h.beside.checks.iter().filter(|c| c.is_good == Some(true));
                format!("IN ORDER: {}", good.map(|c| clean(&c.title)).collect::<Vec<_>>().join(", "))
            }
            _ => {
                let all = match judged {
                    1 => "the one judged figure".to_owned(),
                    n => format!("all {n} judged figures"),
                };
                let alone = asked::judged_alone(h).map_or(String::new(), |what| format!(", {what} alone"));
                format!("WITHIN LIMITS: {all}{alone}")
            }
        },
    };
    let mut more = Vec::new();
    if n.beyond > 0 && n.faults > 0 {
        more.push(format!("{} besides", plural(n.faults, "fault")));
    }
    if h.overall() == Overall::Partial && judged > 0 {
        more.push(format!("{} within limits so far", plural(n.within, "figure")));
    }
    if h.overall() == Overall::NotJudged && n.within > 0 {
        more.push(format!("{} within limits besides", plural(n.within, "figure")));
    }
    if n.as_said > 0 && (judged > 0 || h.overall() != Overall::Within) {
        more.push(format!("{} as said", plural(n.as_said, "fail action")));
    }
    if !h.not_tested().is_empty() && (h.overall() != Overall::Partial || ended_early(h)) {
        more.push(format!("{} not tested", h.not_tested().join(", ")));
    }
    if n.open_fails > 0 {
        more.push(format!("{} not judged", plural(n.open_fails, "fail action")));
    }
    if let unsaid @ 1.. = asked::unsaid_fails(h) {
        let fails = plural(unsaid, "fail action");
        more.push(format!("{fails} not judged: nobody said where it ought to go (--fails-to)"));
    }
    let reasons: Vec<(&str, usize)> = n.undecided.iter().map(|(cause, n)| (why(*cause), *n)).collect();
    let figures = plural(reasons.iter().map(|r| r.1).sum(), "figure");
    match reasons[..] {
        [] => {}
        [(reason, _)] => more.push(format!("{figures} not decided: {reason}")),
        _ => {
            let all: Vec<String> = reasons.iter().map(|(reason, n)| format!("{n} {reason}")).collect();
            more.push(format!("{figures} not decided: {}", all.join(", ")));
        }
    }
    if n.without > 0 {
        let has = if n.without == 1 { "has" } else { "have" };
        more.push(format!("{} {has} a limit but no value", plural(n.without, "figure")));
    }
    let without = asked::without_limit(h);
    if !without.is_empty() {
        more.push(format!("no limit, so not judged: {}", without.join(", ")));
    }
    let hardly: std::collections::BTreeSet<_> =
        h.deciding().flat_map(|t| super::loops::hardly_typed(t.record)).collect();
    more.extend(hardly.into_iter().map(|h| format!("{}: asked for and {}", h.what, h.typed())));
    more.extend(h.deciding().filter_map(|t| super::loops::shown(t.record, h.limits)).filter_map(|s| {
        let limit = s.limit.filter(|_| s.beyond == 0)?;
        let (away, limit) = (short(s.away), short(limit));
        Some(format!("control system {away} % off at most at {}, limit {limit} %", plural(s.places, "place")))
    }));
    // What a check beside leaves open is not to be looked for further down.
    let open = h.beside.checks.iter().filter(|c| c.is_good.is_none() && !c.ended_early);
    more.extend(open.map(|c| {
        let why = c.lines.first().map_or(String::new(), |l| format!(": {}", clean(l).trim_end_matches('.')));
        format!("{} without a verdict{why}", clean(&c.title))
    }));
    (h.overall(), words, more.join("; "))
}

/// What these tests do not show, each a sentence.
pub fn does_not_prove(h: &Handover) -> Vec<String> {
    let any = |f: fn(&Record) -> bool| h.deciding().any(|t| f(t.record));
    let mut out = vec![
        "How tight the valve shuts, and how it moves under process pressure and flow, if it was tested without them.",
        "That a trip or safety function works: that has its own test, by those who answer for it.",
        "That it stays like this: packing, friction, air and weather change.",
    ];
    if !any(is_measured_at_stem) {
        out.push(
            "What lies between sensor and valve: a wrong lever, pin, clamp or coupling. Only a measurement at stem or shaft shows that.",
        );
    }
    if !any(|r| !r.fails.is_empty()) {
        out.push("Where the valve goes when air, current or a trip takes it: that was not tried.");
    }
    if !any(super::loops::is_shown) {
        out.push("That the control system shows what the valve does: its value was not noted, or at too few places.");
    }
    let mut out: Vec<String> = out.into_iter().map(str::to_owned).collect();
    if any(|r| !r.fails.is_empty()) {
        let not = h.not_tested().into_iter();
        out.extend(
            not.map(|loss| format!("Where the valve goes at a {loss}: that was asked for and not tested.")),
        );
    }
    for line in h.beside.checks.iter().flat_map(|c| &c.does_not_prove) {
        let line = clean(line);
        if !out.contains(&line) {
            out.push(line);
        }
    }
    out
}

/// One reading every so many seconds after the asking, on average; `None`: fewer than two.
pub fn interval_s(w: &crate::commission::travel::record::Watch) -> Option<f64> {
    let times: Vec<f64> =
        w.samples.iter().filter(|s| s.at_s >= w.asked_at_s && s.percent.is_some()).map(|s| s.at_s).collect();
    let (first, last) = (times.first()?, times.last()?);
    (times.len() > 1).then(|| (last - first) / (times.len() - 1) as f64)
}

/// How close the readings of several watches stand; `None` where none has two.
pub fn every(all: &[&crate::commission::travel::record::Watch]) -> Option<String> {
    let found: Vec<f64> = all.iter().filter_map(|w| interval_s(w)).collect();
    let least = found.iter().copied().reduce(f64::min)?;
    let most = found.iter().copied().reduce(f64::max)?;
    let (least, most) = (number(least, 2), number(most, 2));
    Some(if least == most {
        format!("a reading every {least} s")
    } else {
        format!("a reading every {least} to {most} s")
    })
}

/// The valve in a line.
pub fn valve(r: &Record) -> String {
    let v = &r.valve;
    let mut parts = vec![motion(r), format!("without air or signal it {}", fails_to(v.fails_to))];
    if v.fails_to == FailsTo::Unsaid {
        parts[1] = "fail action not said".to_owned();
    }
    if !v.words.trim().is_empty() {
        parts.push(clean(v.words.trim()));
    }
    parts.join("; ")
}

/// Supply and ambient in a line.
pub fn surroundings(r: &Record) -> String {
    let supply = r.supply_kpa.map_or("not noted".to_owned(), |p| format!("{} kPa", short(p)));
    let ambient = r.ambient_c.map_or("not noted".to_owned(), |t| format!("{} degC", short(t)));
    format!("air supply {supply}, ambient {ambient}")
}

/// How well the device could be talked to, in a line.
pub fn link(r: &Record) -> String {
    let l = &r.link;
    if l.requests == 0 {
        return "link: no request was sent".to_owned();
    }
    let slowest = l.slowest_s.map_or(String::new(), |s| format!(", slowest answer {s:.2} s"));
    format!(
        "link: {} of {} answered, {}, {}{slowest}",
        l.answered,
        plural(l.requests as usize, "request"),
        plural(l.retries as usize, "repeat"),
        plural(l.damaged as usize, "damaged frame")
    )
}

/// A fact of a test: its name and its words, empty where nothing was noted.
type Fact = (&'static str, fn(&Record) -> String);

/// What is told of every test beside its figures.
pub const FACTS: [Fact; 26] = [
    ("test", |r| test(r.test).to_owned()),
    ("started", |r| r.started.clone()),
    ("by", |r| r.who.clone()),
    ("where", |r| r.site.clone()),
    ("valve", |r| r.valve.tag.clone()),
    ("its motion", valve),
    ("device's tag", |r| r.device.tag.clone()),
    ("device's long tag", |r| r.device.long_tag.clone()),
    ("device", |r| listed(&[&r.device.manufacturer, &r.device.device_type])),
    ("unique address", |r| r.device.unique_address.clone()),
    ("serial number", |r| r.device.serial.clone()),
    ("protocol revision", |r| r.device.revision.map_or(String::new(), |v| v.to_string())),
    ("besides", |r| {
        let more = r.device.more.iter().filter(|(n, _)| n != CALIBRATION);
        more.map(|(n, v)| format!("{n} {v}")).collect::<Vec<_>>().join("; ")
    }),
    ("its last calibration", |r| {
        let told = r.device.more.iter().filter(|(n, _)| n == CALIBRATION);
        told.map(|(_, v)| v.as_str()).collect::<Vec<_>>().join("; ")
    }),
    ("line", |r| r.line.clone()),
    ("who moved the set point", |r| r.stimulus.clone()),
    ("what was read", read_from),
    ("what measured travel", measured_by),
    ("plan", plan),
    ("air supply", |r| r.supply_kpa.map_or(String::new(), |p| format!("{} kPa", short(p)))),
    ("ambient", |r| r.ambient_c.map_or(String::new(), |t| format!("{} \u{b0}C", short(t)))),
    ("communication", |r| link(r).trim_start_matches("link: ").to_owned()),
    ("log", |r| r.log.as_ref().map_or(String::new(), |l| format!("{}, {}", l.name, l.hash))),
    ("how it ended", |r| {
        short_of_plan(r).unwrap_or_else(|| "whole: everything that was planned was done".to_owned())
    }),
    ("set point left", left),
    ("remarks", |r| r.remarks.join(" ")),
];

fn listed(parts: &[&String]) -> String {
    let parts: Vec<&str> = parts.iter().map(|p| p.trim()).filter(|p| !p.is_empty()).collect();
    parts.join(", ")
}

fn read_from(r: &Record) -> String {
    let v = &r.variables;
    let all =
        [("set point", &v.set_point), ("travel", &v.travel), ("current", &v.current), ("angle", &v.angle)];
    let told = all.iter().filter(|(_, words)| !words.trim().is_empty());
    told.map(|(name, words)| format!("{name}: {words}")).collect::<Vec<_>>().join("; ")
}

fn measured_by(r: &Record) -> String {
    let of = |m: &crate::commission::travel::record::Measure| {
        let shows = m
            .resolution_percent
            .map_or("resolution not known".to_owned(), |v| format!("shows {} %", short(v)));
        let wrong = m.limit_percent.map_or(String::new(), |v| format!(", error limit {} %", short(v)));
        format!("{}: {shows}{wrong}", m.name)
    };
    core::iter::once(&r.sensor).chain(&r.external).map(of).collect::<Vec<_>>().join("; ")
}

fn plan(r: &Record) -> String {
    let p = &r.plan;
    let mut parts = Vec::new();
    if p.cycles > 0 && !p.levels_percent.is_empty() {
        let cycles = plural(p.cycles as usize, "cycle");
        parts.push(format!("{cycles} of {}", plural(p.levels_percent.len(), "point")));
    }
    if !p.creep_places_percent.is_empty() {
        let places = plural(p.creep_places_percent.len(), "creeping reversal");
        parts.push(format!("{places} by {} %", short(p.creep_increment_percent)));
    }
    if !p.steps_percent.is_empty() {
        parts.push(plural(p.steps_percent.len(), "step"));
    }
    if p.strokes > 0 {
        parts.push(format!("{} each way", plural(p.strokes as usize, "stroke")));
    }
    parts.extend(p.losses.iter().map(|l| l.words().to_owned()));
    parts.push(format!("at rest: within {} % for {} s", short(p.rest.within_percent), short(p.rest.for_s)));
    parts.join("; ")
}
