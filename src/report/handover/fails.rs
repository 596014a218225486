//! Fail actions: what became of the valve when something was taken away, and whether that is as it is said [TV-72].

use super::words::{clean, fails_to, number, short, value};
use super::{Handover, One, words};
use crate::commission::travel::figures::{Cause, Definition};
use crate::commission::travel::limits::Judged;
use crate::commission::travel::record::{Fail, FailsTo, Loss, Record, Shown};
use crate::report::plot::plain;
use core::fmt::Write;
use serde_json::{Value, json};

/// By how much a valve may be away from its end when it is said to have gone there, percent.
const AT_END: f64 = 5.0;

/// Whether a valve went where it is said to go.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Came {
    AsSaid,
    /// What was seen instead, a sentence each.
    Otherwise(Vec<String>),
    /// It cannot be said, and why.
    NotJudged(String),
    /// It was asked for and not tried, and why [TV-117].
    NotTested(String),
}

/// A fail action that was asked for in a test.
pub struct Action<'a> {
    pub loss: Loss,
    /// What was seen; `None`: it was not tested.
    fail: Option<&'a Fail>,
    said: FailsTo,
    place: Option<&'a Judged>,
    /// As the device told it.
    pub time: Option<&'a Judged>,
    /// By a stop watch.
    by_hand: Option<&'a Judged>,
    pub came: Came,
}

/// The fail actions of a record, in its order, and behind them those that were planned and not tested.
pub fn actions<'a>(record: &'a Record, judged: &'a [Judged]) -> Vec<Action<'a>> {
    // Every fail has one figure of its place; in front of it stands the time, behind it the one by a stop watch, if there is one.
    let mut places = (0..judged.len()).filter(|n| judged[*n].figure.definition == Definition::FailPlace);
    let time_at = |n: Option<usize>| {
        judged.get(n?).filter(|j| j.figure.definition == Definition::FailTime && j.figure.value.is_some())
    };
    let mut of = |fail: &'a Fail| {
        let at = places.next();
        let place = at.map(|n| &judged[n]);
        let time = time_at(at.and_then(|n| n.checked_sub(1)));
        let by_hand = fail.watch.by_hand_s.and_then(|_| time_at(at.map(|n| n + 1)));
        let said = record.valve.fails_to;
        Action {
            loss: fail.loss,
            fail: Some(fail),
            said,
            place,
            time,
            by_hand,
            came: came(fail, said, place),
        }
    };
    let mut all: Vec<Action> = record.fails.iter().map(&mut of).collect();
    all.extend(record.losses_not_tested().into_iter().map(|n| Action {
        loss: n.loss,
        fail: None,
        said: record.valve.fails_to,
        place: None,
        time: None,
        by_hand: None,
        came: Came::NotTested(clean(&n.why)),
    }));
    all
}

fn came(fail: &Fail, said: FailsTo, place: Option<&Judged>) -> Came {
    let not_judged = |why: &str| Came::NotJudged(why.to_owned());
    // Whatever was seen of a loss that never came [TV-104].
    if let Some(why) = fail.shown.as_ref().and_then(Shown::against) {
        return Came::NotJudged(why);
    }
    if said == FailsTo::Unsaid {
        return not_judged("nobody said where it ought to go: --fails-to");
    }
    let of = |cause| place.filter(|j| j.figure.cause == Some(cause)).map(|j| j.figure.doubt.as_str());
    // One that stands at its end, or that is stuck, goes nowhere whatever is taken away [TV-84].
    if let Some(why) = of(Cause::NotThere) {
        return not_judged(why);
    }
    let what = fail.loss.words();
    let seen = fail.seen.filter(|s| *s != FailsTo::Unsaid);
    let mut otherwise = Vec::new();
    if let Some(seen) = seen.filter(|s| *s != said) {
        let (seen, said) = (fails_to(seen), fails_to(said));
        otherwise
            .push(format!("{what}: the person saw that the valve {seen}, and it is said that it {said}."));
    }
    // A travel that may be the set point tells nothing of the valve.
    let told = place.filter(|j| j.figure.doubt.is_empty()).map(|j| &j.figure);
    let told = told.and_then(|f| Some((f.value?, f.uncertainty.unwrap_or(0.0))));
    let away = told.map(|(at, by)| match said {
        FailsTo::Open => (100.0 - at, by),
        FailsTo::Stays => ((at - fail.from_percent).abs(), by),
        _ => (at, by),
    });
    if let (Some((at, _)), Some((away, by))) = (told, away)
        && away - by > AT_END
    {
        otherwise.push(format!(
            "{what}: the device tells {} % in the end, and it is said that the valve {}.",
            short((at * 100.0).round() / 100.0),
            fails_to(said)
        ));
    }
    match (otherwise.is_empty(), seen, away) {
        (false, ..) => Came::Otherwise(otherwise),
        _ if of(Cause::NotAtRest).is_some() => not_judged(of(Cause::NotAtRest).unwrap_or("")),
        (_, Some(_), _) => Came::AsSaid,
        (_, _, Some((away, by))) if away + by <= AT_END => Came::AsSaid,
        (_, _, Some(_)) => not_judged("the device's travel is not known well enough"),
        _ => not_judged("neither a person nor the device told where it went"),
    }
}

impl Action<'_> {
    /// Somebody said where it ought to go.
    pub fn is_asked(&self) -> bool {
        self.said != FailsTo::Unsaid
    }

    /// It was not in the middle before, so that nothing is said of where it goes.
    pub fn was_elsewhere(&self) -> bool {
        self.place.is_some_and(|j| j.figure.cause == Some(Cause::NotThere))
    }

    /// The device itself told that what was to be taken away had not gone [TV-104].
    pub fn never_came(&self) -> bool {
        self.fail.and_then(|f| f.shown.as_ref()).is_some_and(|s| s.against().is_some())
    }

    /// That nothing but words tells of the loss [TV-104].
    pub fn only_said(&self) -> bool {
        self.fail.is_some_and(|f| f.shown == Some(Shown::Nothing))
    }

    /// It was tried, and what was taken away was not given back.
    pub fn is_still_taken(&self) -> bool {
        self.fail.is_some_and(|f| !f.restored)
    }

    /// It was seen, and nobody said where it ought to go [TV-135].
    pub fn is_unsaid(&self) -> bool {
        self.fail.is_some() && !self.is_asked() && !self.never_came()
    }

    /// Somebody said where it ought to go, and whether it went there could not be told.
    pub fn is_open(&self) -> bool {
        self.is_asked() && matches!(self.came, Came::NotJudged(_))
    }

    /// The verdict: class of the colour, a word for a column and one for programs.
    fn verdict(&self) -> (&'static str, &'static str, &'static str) {
        match self.came {
            Came::AsSaid => ("ok", "as said", "as_said"),
            Came::Otherwise(_) => ("bad", "NOT AS SAID", "not_as_said"),
            Came::NotJudged(_) => ("look", "not judged", "not_judged"),
            Came::NotTested(_) => ("look", "NOT TESTED", "not_tested"),
        }
    }

    /// Where the device tells that it went, percent.
    fn told(&self) -> Option<String> {
        Some(number(self.place?.figure.value?, 2))
    }

    /// How long it took, s.
    fn took(&self, plus_minus: &str) -> Option<String> {
        let of = |j: &Judged| value(j, plus_minus);
        let by_hand = || Some(format!("{} (stop watch)", self.by_hand.and_then(of)?));
        self.time.and_then(of).or_else(by_hand)
    }

    fn seen(&self) -> Option<&'static str> {
        self.fail?.seen.filter(|s| *s != FailsTo::Unsaid).map(fails_to)
    }

    /// Why there is no verdict.
    fn why(&self) -> Option<&str> {
        match &self.came {
            Came::NotJudged(why) | Came::NotTested(why) => Some(why),
            _ => None,
        }
    }

    /// All of it in a sentence.
    fn words(&self) -> String {
        let mut out = self.loss.words().to_owned();
        if let Some(at) = self.told() {
            let _ = write!(out, ", {at} % in the end by the device");
        }
        if let Some(seen) = self.seen() {
            let _ = write!(out, ", it {seen} by the eye of a person");
        }
        if let Some(took) = self.took("+/- ") {
            let _ = write!(out, ", after {took} s");
        }
        if let Some(Shown::Gauge { before_kpa, after_kpa }) = self.fail.and_then(|f| f.shown.as_ref()) {
            let (before, after) = (short(*before_kpa), short(*after_kpa));
            let _ = write!(out, ", with {after} kPa at the gauge of the supply ({before} kPa before)");
        }
        match &self.came {
            Came::AsSaid => out += ": as said",
            Came::Otherwise(_) => out += ": NOT as said",
            Came::NotJudged(why) => _ = write!(out, ": not judged, {why}"),
            Came::NotTested(why) => _ = write!(out, ": not tested, {why}"),
        }
        out + "."
    }
}

/// Of every test that lost something, what became of it; for the screen: whether it is good, and the sentence.
pub fn screen(h: &Handover) -> Vec<(Came, String)> {
    let heads = words::heads(h);
    let several = h.tests.len() > 1;
    let lines = h.tests.iter().zip(heads).flat_map(|(test, head)| {
        let lead = if several { format!("{head}: ") } else { String::new() };
        let all = actions(test.record, &test.judged);
        all.into_iter().map(move |a| (a.came.clone(), format!("{lead}{}", a.words()))).collect::<Vec<_>>()
    });
    lines.collect()
}

/// The fail actions as a table of the page; nothing where nothing was to be taken away.
pub fn table(h: &Handover, out: &mut String) {
    if h.tests.iter().all(|t| actions(t.record, &t.judged).is_empty()) {
        return;
    }
    out.push_str(
        "<h2>Fail action</h2>\n<div class=\"scroll\"><table class=\"plain\"><thead><tr><th>taken away</th><th>it is said that it</th>\
         <th class=\"n\">device tells, %</th><th>person saw that it</th><th class=\"n\">time, s</th><th></th></tr></thead><tbody>\n",
    );
    let heads = words::heads(h);
    for (test, head) in h.tests.iter().zip(&heads) {
        let of = if h.tests.len() > 1 { format!(" ({head})") } else { String::new() };
        for a in actions(test.record, &test.judged) {
            let (class, word, _) = a.verdict();
            let why = a.why().map_or(String::new(), |why| format!(": {why}"));
            let or = |none| if a.fail.is_some() { none } else { "-" };
            let _ = writeln!(
                out,
                "<tr><td>{}</td><td>{}</td><td class=\"n\">{}</td><td>{}</td><td class=\"n\">{}</td><td><span class=\"{class}\">{word}</span>{}</td></tr>",
                plain(&clean(&format!("{}{of}", a.loss.words()))),
                fails_to(a.said),
                a.told().unwrap_or_else(|| or("nothing").to_owned()),
                a.seen().unwrap_or(or("nobody looked")),
                plain(&a.took("\u{b1} ").unwrap_or_else(|| or("not known").to_owned())),
                plain(&why)
            );
        }
    }
    out.push_str(
        "</tbody></table></div>\n<p class=\"quiet\">As said: within 5 % of travel of where it is said to go, by the device, or by the eye of a person.</p>\n",
    );
}

/// The fail actions of a test for programs.
pub fn values(one: &One) -> Value {
    let all = actions(one.record, &one.judged);
    let of = |a: &Action| {
        json!({
            "loss": a.loss, "said": a.said, "seen": a.fail.and_then(|f| f.seen), "verdict": a.verdict().2, "why": a.why(), "words": a.words(),
            "place_percent": a.place.and_then(|j| j.figure.value), "time_s": a.time.or(a.by_hand).and_then(|j| j.figure.value),
            "given_back": a.fail.map(|f| f.restored),
        })
    };
    Value::Array(all.iter().map(of).collect())
}
