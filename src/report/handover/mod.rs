//! What is handed over when a valve is finished: the verdict of one test or of several, as text, as JSON and as a page to print [TV-60].

mod findings;
mod html;
mod json;
mod plots;
mod points;
mod rows;
mod svg;
#[cfg(test)]
mod tests;
mod text;
mod words;

pub use html::html;
pub use json::json;
pub use text::text;

use super::wiring::WiringReport;
use crate::commission::settings::Settings;
use crate::commission::travel::figures::figures;
use crate::commission::travel::limits::{Judged, Limits, Verdict, judge};
use crate::commission::travel::record::{Ended, Occasion, Record};
use findings::Finding;

/// What a report shows besides the tests. All of it may be missing.
#[derive(Default)]
pub struct Beside<'a> {
    /// What the device is set to, and where that comes from.
    pub settings: Option<(&'a Settings, &'a str)>,
    /// The loop as a circuit, and the sheet's name.
    pub wiring: Option<(&'a WiringReport<'a>, &'a str)>,
    /// When the report is made, UTC, such as `2026-11-30 09:40:00 UTC`; may be empty.
    pub made: &'a str,
}

/// The verdict of all tests together [TV-60].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Overall {
    /// Whatever was judged is within its limit, and the tests are whole.
    Within,
    /// Something is beyond its limit, or there is a finding that counts as a fault.
    Beyond,
    /// Nothing is beyond its limit, but a test ended before its plan.
    Partial,
    /// Nothing could be judged.
    NotJudged,
}

/// The verdict of all tests together. Records may come in any order.
pub fn overall(records: &[&Record], limits: &Limits) -> Overall {
    Handover::new(records, limits).overall()
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
    /// What is to be said of the tests beside each other.
    between: Vec<Finding>,
}

/// How many figures of the tests that decide came out how.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Counts {
    within: usize,
    beyond: usize,
    /// The limit lies within the uncertainty.
    undecided: usize,
    /// There is a limit and no value.
    without: usize,
    /// Findings that count, figures beyond their limits left out.
    faults: usize,
}

impl<'a> Handover<'a> {
    fn new(records: &[&'a Record], limits: &'a Limits) -> Handover<'a> {
        let mut sorted = records.to_vec();
        sorted.sort_by_key(|r| match r.occasion {
            Occasion::AsFound => 0,
            Occasion::Unsaid => 1,
            Occasion::AsLeft => 2,
        });
        let all_found = sorted.iter().all(|r| r.occasion == Occasion::AsFound);
        let one = |record: &&'a Record| {
            let judged = judge(figures(record), limits);
            let findings = findings::of(record, &judged, limits);
            let decides = all_found || record.occasion != Occasion::AsFound;
            One { record, judged, findings, decides }
        };
        let between = findings::between(&sorted);
        Handover { tests: sorted.iter().map(one).collect(), limits, between }
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
                    (Verdict::NotJudged(_), Some(_), Some(_)) => n.undecided += 1,
                    (Verdict::NotJudged(_), None, Some(_)) => n.without += 1,
                    (Verdict::NotJudged(_), _, None) => {}
                }
            }
            n.faults += test.findings.iter().filter(|f| f.counts && !f.is_figure).count();
        }
        n
    }

    fn overall(&self) -> Overall {
        let n = self.counts();
        if n.beyond + n.faults > 0 {
            Overall::Beyond
        } else if self.deciding().any(|t| t.record.ended != Ended::Whole) {
            Overall::Partial
        } else if n.within == 0 {
            Overall::NotJudged
        } else {
            Overall::Within
        }
    }

    /// The tag by which people know the valve: the valve's own, else the device's; never empty.
    fn tag(&self) -> &'a str {
        let names = self.tests.iter().rev().flat_map(|t| {
            [&t.record.valve.tag, &t.record.device.long_tag, &t.record.device.tag].map(String::as_str)
        });
        names.map(str::trim).find(|n| !n.is_empty()).unwrap_or("valve without a tag")
    }
}
