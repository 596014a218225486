//! What is handed over when a valve is finished: the verdict of one test or of several, as text, as JSON and as a page to print [TV-60].

mod asked;
mod away;
mod beside;
mod dates;
mod device_check;
mod fails;
mod findings;
mod html;
mod json;
mod loops;
mod plots;
mod points;
mod rows;
mod same;
mod sheet;
mod svg;
#[cfg(test)]
mod tests;
mod text;
mod words;

pub use dates::Calibrated;
pub use html::html;
pub use json::json;
pub use sheet::sheet;
pub use text::text;

pub use words::{clean, with_next};

use super::wiring::WiringReport;
use crate::commission::settings::Settings;
use crate::commission::travel::figures::{Cause, Definition, THERE_PERCENT, View, figures_within};
use crate::commission::travel::limits::{Judged, Limited, Limits, Verdict, judge};
use crate::commission::travel::record::{Ended, Occasion, Record, Test};
use crate::commission::worksheet::Outcome;
use findings::Finding;
use std::collections::BTreeMap;

/// Said on every report.
const CAUTIONS: [&str; 3] = [
    "A valve that is tested moves without warning: keep hands and tools off stem, lever and linkage until air and signal are isolated \
     and stored energy is let off.",
    "The valve is not in service by this report alone: loop, trip and interlocks are given back under the permit, by those who answer \
     for them.",
    "Hazardous areas, certificates and the process are not judged here. Local codes, the maker's instructions and licensed people decide.",
];

pub use crate::commission::travel::record::CALIBRATION;

/// What a report shows besides the tests. All of it may be missing.
#[derive(Clone, Default)]
pub struct Beside<'a> {
    /// What the device is set to, and where that comes from: a file's name, or "read from the device".
    pub settings: Option<(&'a Settings, &'a str)>,
    /// The loop as a circuit with its verdict, and the sheet's name.
    pub wiring: Option<(&'a WiringReport<'a>, &'a str)>,
    /// Other checks that were made at the same valve, such as of its parts, in the order in which they are shown.
    pub checks: Vec<OtherCheck>,
    /// When the report is made, UTC, such as `2026-11-30 09:40:00 UTC`; may be empty.
    pub made: &'a str,
}

/// A check that is no travel test, told in sentences.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OtherCheck {
    /// Its name, for a heading.
    pub title: String,
    /// Whether all is in order; `None`: it came to no verdict. What is not in order counts as a fault.
    pub is_good: Option<bool>,
    /// What was found, a sentence each; the first goes beside the verdict.
    pub lines: Vec<String>,
    /// What of it counts as a fault, a sentence each; empty: it counts as one where it is not in order.
    pub bad: Vec<String>,
    /// What it does not prove, a sentence each.
    pub does_not_prove: Vec<String>,
    /// It ended before its plan.
    pub ended_early: bool,
    /// What is known of device and check beside that: a name and its words each.
    pub about: Vec<(String, String)>,
    /// The tag by which the device is known; may be empty.
    pub tag: String,
}

/// The verdict of all tests together [TV-60].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Overall {
    /// Whatever was judged is within its limit, and the tests are whole.
    Within,
    /// Something is beyond its limit, or there is a finding that counts as a fault.
    Beyond,
    /// Nothing is beyond its limit, but a test ended before its plan, or a loss of its plan was not tested.
    Partial,
    /// Nothing could be judged, or not what the test was made for [TV-84].
    NotJudged,
}

impl Overall {
    /// The exit code that goes with it: 0 within, 1 beyond or not whole, 2 nothing, or not what was asked, was judged.
    pub fn exit_code(self) -> u8 {
        match self {
            Overall::Within => 0,
            Overall::Beyond | Overall::Partial => 1,
            Overall::NotJudged => 2,
        }
    }

    /// Its name for programs.
    pub fn id(self) -> &'static str {
        match self {
            Overall::Within => "within",
            Overall::Beyond => "beyond",
            Overall::Partial => "partial",
            Overall::NotJudged => "not_judged",
        }
    }
}

/// The verdict of all tests together. Records may come in any order.
pub fn overall(records: &[&Record], limits: &Limits, beside: &Beside) -> Overall {
    Handover::new(records, limits, beside).overall()
}

/// How one record comes out by itself, for a worksheet that is filled in from it [TV-153].
pub fn outcome(record: &Record, limits: &Limits) -> Outcome {
    let beside = Beside::default();
    let h = Handover::new(&[record], limits, &beside);
    let (overall, words, _) = words::headline(&h);
    let faults = findings::told(&h).into_iter().filter(|f| f.counts).map(|f| f.words).collect();
    let verdict = format!("{words} ({})", clean(&limits.whose));
    Outcome { verdict, is_good: overall == Overall::Within, faults }
}

/// The figures that are asked of a record, with limits and verdicts: all of them, but of a loop check no repeatability, for it goes up and
/// down once and that wants three cycles.
pub fn judged(record: &Record, limits: &Limits) -> Vec<Judged> {
    let there_percent = limits.limit(Limited::Accuracy, View::Sensor).unwrap_or(THERE_PERCENT);
    let mut judged = judge(figures_within(record, there_percent), limits);
    judged.retain(|j| {
        record.test != Test::LoopCheck
            || j.figure.value.is_some()
            || j.figure.definition != Definition::Repeatability
    });
    judged
}

/// A test with all that follows from it.
struct One<'a> {
    record: &'a Record,
    judged: Vec<Judged>,
    findings: Vec<Finding>,
    /// Whether the verdict is about this test.
    decides: bool,
}

/// Tests in their order, with limits and verdicts.
struct Handover<'a> {
    tests: Vec<One<'a>>,
    limits: &'a Limits,
    beside: &'a Beside<'a>,
    /// What is to be said of the tests beside each other, and of what is shown beside them.
    between: Vec<Finding>,
}

/// How many figures of the tests that decide came out how.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Counts {
    within: usize,
    beyond: usize,
    /// There is a limit and no verdict, by the reason [TV-86]; `None`: the limit lies within the uncertainty.
    undecided: BTreeMap<Option<Cause>, usize>,
    /// There is a limit and no value, for no such reason.
    without: usize,
    /// Fail actions that were as they are said to be.
    as_said: usize,
    /// Fail actions of which it is said where the valve goes, and that could not be judged.
    open_fails: usize,
    /// Other checks that are in order.
    checks: usize,
    /// Findings that count, figures beyond their limits left out.
    faults: usize,
}

impl<'a> Handover<'a> {
    fn new(records: &[&'a Record], limits: &'a Limits, beside: &'a Beside<'a>) -> Handover<'a> {
        let mut sorted = records.to_vec();
        sorted.sort_by_key(|r| match r.occasion {
            Occasion::AsFound => 0,
            Occasion::Unsaid => 1,
            Occasion::AsLeft => 2,
        });
        let all_found = sorted.iter().all(|r| r.occasion == Occasion::AsFound);
        let one = |record: &&'a Record| {
            let judged = judged(record, limits);
            let findings = findings::of(record, &judged, limits);
            let decides = all_found || record.occasion != Occasion::AsFound;
            One { record, judged, findings, decides }
        };
        let mut between = findings::beside(beside);
        between.extend(same::valves(&sorted, &beside.checks));
        between.extend(same::order(&sorted));
        between.extend(same::beside(&sorted, beside));
        between.extend(findings::between(&sorted));
        Handover { tests: sorted.iter().map(one).collect(), limits, beside, between }
    }

    fn deciding(&self) -> impl Iterator<Item = &One<'a>> {
        self.tests.iter().filter(|t| t.decides)
    }

    fn counts(&self) -> Counts {
        let mut n = Counts::default();
        for test in self.deciding() {
            for j in &test.judged {
                match (&j.verdict, j.figure.value, j.limit) {
                    (Verdict::Within, ..) => n.within += 1,
                    (Verdict::Beyond, ..) => n.beyond += 1,
                    (Verdict::NotJudged(_), None, Some(_)) if j.figure.cause.is_none() => n.without += 1,
                    (Verdict::NotJudged(_), _, Some(_)) => {
                        *n.undecided.entry(j.figure.cause).or_default() += 1;
                    }
                    (Verdict::NotJudged(_), _, None) => {}
                }
            }
            let actions = fails::actions(test.record, &test.judged);
            n.as_said += actions.iter().filter(|a| a.came == fails::Came::AsSaid).count();
            n.open_fails += actions.iter().filter(|a| a.is_open()).count();
            n.faults += test.findings.iter().filter(|f| f.counts && !f.is_figure).count();
        }
        n.checks = self.beside.checks.iter().filter(|c| c.is_good == Some(true)).count();
        n.faults += self.between.iter().filter(|f| f.counts).count();
        n
    }

    fn overall(&self) -> Overall {
        let n = self.counts();
        if n.beyond + n.faults > 0 {
            Overall::Beyond
        } else if self.deciding().any(|t| t.record.ended != Ended::Whole)
            || !self.not_tested().is_empty()
            || self.beside.checks.iter().any(|c| c.ended_early)
        {
            Overall::Partial
        } else if !self.unjudged().is_empty()
            || n.within + n.as_said == 0 && (n.checks == 0 || !self.tests.is_empty())
        {
            Overall::NotJudged
        } else {
            Overall::Within
        }
    }

    /// What the tests that decide were made for and could not be judged, words each: cycles for accuracy and hysteresis, strokes for the whole
    /// way, losses for where the valve goes [TV-85].
    fn unjudged(&self) -> Vec<&'static str> {
        use Definition::{AccuracyAbove, AccuracyBelow, Hysteresis};
        let mut out = Vec::new();
        for test in self.deciding() {
            let mut open = |words, definitions: &[Definition]| {
                let mut of = test
                    .judged
                    .iter()
                    .filter(|j| definitions.contains(&j.figure.definition) && j.limit.is_some())
                    .peekable();
                let is_asked = test.record.plan.cycles > 0 && of.peek().is_some();
                let is_open = of.all(|j| matches!(j.verdict, Verdict::NotJudged(_)));
                if is_asked && is_open && !out.contains(&words) {
                    out.push(words);
                }
            };
            open("accuracy", &[AccuracyAbove, AccuracyBelow]);
            open("hysteresis", &[Hysteresis]);
            for part in asked::open_parts(test) {
                if !out.contains(&part) {
                    out.push(part);
                }
            }
            // Asked for at every place [TV-133].
            for hardly in loops::hardly_typed(test.record) {
                if !out.contains(&hardly.what) {
                    out.push(hardly.what);
                }
            }
            // Each of them was asked for from end to end [TV-116].
            let unseen = |j: &Judged| {
                j.figure.definition == Definition::StrokeTime
                    && matches!(j.figure.cause, Some(Cause::NotAtRest | Cause::NotThere))
            };
            if test.judged.iter().any(unseen) && !out.contains(&"stroke") {
                out.push("stroke");
            }
            let actions = fails::actions(test.record, &test.judged);
            // Each of them was asked for [TV-104].
            let is_open = |a: &fails::Action| a.is_open() || a.is_unsaid();
            if actions.iter().any(is_open) && !out.contains(&"fail action") {
                out.push("fail action");
            }
        }
        out
    }

    /// What the tests that decide were to take away and did not, words each [TV-117].
    fn not_tested(&self) -> Vec<&'static str> {
        let all = self.deciding().flat_map(|t| t.record.losses_not_tested());
        let mut out: Vec<&str> = Vec::new();
        for words in all.map(|n| n.loss.words()) {
            if !out.contains(&words) {
                out.push(words);
            }
        }
        out
    }

    /// The tag by which people know the valve: the valve's own, else the device's; never empty.
    fn tag(&self) -> &'a str {
        let names = self.tests.iter().rev().flat_map(|t| {
            [&t.record.valve.tag, &t.record.device.tag, &t.record.device.long_tag].map(String::as_str)
        });
        let checks = self.beside.checks.iter().map(|c| c.tag.as_str());
        names.chain(checks).map(str::trim).find(|n| !n.is_empty()).unwrap_or("valve without a tag")
    }

    /// The tag, and behind it the device's long tag where that says more.
    fn title(&self) -> String {
        let tag = self.tag();
        // Never the name of one valve behind the tag of another.
        let same = self.tests.iter().rev().map(|t| t.record);
        let same = same
            .filter(|r| [&r.valve.tag, &r.device.tag, &r.device.long_tag].iter().any(|n| n.trim() == tag));
        let long = same.map(|r| r.device.long_tag.trim());
        match long.into_iter().find(|l| !l.is_empty() && *l != tag) {
            Some(long) => format!("{tag}, {long}"),
            None => tag.to_owned(),
        }
    }
}
