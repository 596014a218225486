//! Finished results: what reports are made of.

use super::case::{Case, Strength};
use super::heard::Words;
use super::identify::Found;
use super::known::Known;
use super::verdict::Verdict;
use crate::time::Instant;
use core::fmt;
use core::time::Duration;

/// How often a case was run, and how often it failed: more than once where the wires may have a hand in it [CO-08].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Times {
    /// Runs that failed, 0 to 3.
    pub failed: usize,
    /// All runs, 1 to 3.
    pub run: usize,
}

impl Times {
    /// Such as `failed 2 of 3 times`; `None` where it was run once.
    pub fn words(self) -> Option<String> {
        (self.run > 1).then(|| format!("failed {} of {} times", self.failed, self.run))
    }
}

/// What became of one case.
#[derive(Clone, Debug)]
pub struct CaseResult {
    /// The case.
    pub case: Case,
    /// Its verdict.
    pub verdict: Verdict,
    /// How often it was run for that.
    pub times: Times,
    /// The reason that was given beforehand, if the fail is a known deviation.
    pub known: Option<String>,
    /// What a list of known deviations accepts as observed, if the case is in it and fails otherwise.
    pub otherwise: Option<String>,
    /// When it began and ended on the line's clock, which is that of a log kept meanwhile.
    pub span: (Instant, Instant),
    /// What passed on the line, oldest first; only kept for a fail and a bench error.
    pub words: Vec<Words>,
    /// What could not be put back, with what a person has to send.
    pub not_put_back: Vec<String>,
}

impl CaseResult {
    /// Whether it is a fail that counts: not one that was known, nor a mere advice unless `strict`. One that was known and fails
    /// otherwise counts always.
    pub fn counts_as_fail(&self, strict: bool) -> bool {
        let fail = matches!(self.verdict, Verdict::Fail { .. });
        fail && self.known.is_none()
            && (strict || self.case.strength != Strength::Advice || self.otherwise.is_some())
    }
}

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum End {
    /// Every selected case was run.
    Complete,
    /// The line was lost in the middle; the machine's words.
    LineLost(String),
    /// Somebody asked the program to stop.
    Interrupted,
}

/// How many cases ended how.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Passed.
    pub passed: usize,
    /// Failed, and counts.
    pub failed: usize,
    /// Failed and was known.
    pub known: usize,
    /// Failed in a case that is an advice and counts for nothing.
    pub advised: usize,
    /// Skipped.
    pub skipped: usize,
    /// Without judgement.
    pub inconclusive: usize,
    /// Spoilt by something besides the device.
    pub bench_errors: usize,
}

impl Counts {
    /// How many were judged.
    pub const fn judged(&self) -> usize {
        self.passed + self.failed + self.known + self.advised
    }
}

/// What a run found out.
#[derive(Clone, Debug)]
pub struct Results {
    /// The line, in words.
    pub line: String,
    /// The device.
    pub device: Found,
    /// Every case that was begun, in the order of the suite.
    pub cases: Vec<CaseResult>,
    /// Cases that were selected and not begun, since the run ended before.
    pub not_run: Vec<Case>,
    /// Known deviations whose case passed: the list is out of date, which counts as a fail.
    pub stale: Vec<Known>,
    /// How it ended.
    pub end: End,
    /// Requests that were sent.
    pub requests: u64,
    /// Frames that arrived damaged, also where that was provoked.
    pub damaged: u64,
    /// How long it took by the line's clock.
    pub lasted: Duration,
    /// Whether inconclusive cases and advice count.
    pub strict: bool,
}

impl Results {
    /// How many cases ended how.
    pub fn counts(&self) -> Counts {
        let mut counts = Counts::default();
        for c in &self.cases {
            match c.verdict {
                Verdict::Pass => counts.passed += 1,
                Verdict::Fail { .. } if c.counts_as_fail(self.strict) => counts.failed += 1,
                Verdict::Fail { .. } if c.known.is_some() => counts.known += 1,
                Verdict::Fail { .. } => counts.advised += 1,
                Verdict::Skip(_) => counts.skipped += 1,
                Verdict::Inconclusive(_) => counts.inconclusive += 1,
                Verdict::BenchError(_) => counts.bench_errors += 1,
            }
        }
        counts
    }

    /// What could not be put back in the device.
    pub fn not_put_back(&self) -> impl Iterator<Item = &String> {
        self.cases.iter().flat_map(|c| &c.not_put_back)
    }

    /// The exit code: 1 for any fail that counts, a known deviation that is none any more, or, where strict, anything
    /// inconclusive; else 2 for a bench error, a run that did not end, something not put back, or nothing judged; else 0.
    pub fn exit_code(&self) -> u8 {
        let counts = self.counts();
        if counts.failed > 0 || !self.stale.is_empty() || self.strict && counts.inconclusive > 0 {
            return 1;
        }
        let whole = self.end == End::Complete && counts.bench_errors == 0 && counts.judged() > 0;
        if whole && self.not_put_back().next().is_none() { 0 } else { 2 }
    }

    /// Whether everything is as it should be: exit code 0.
    pub fn passed(&self) -> bool {
        self.exit_code() == 0
    }
}

impl fmt::Display for Results {
    /// For a test's message: each fail and bench error in two lines, then the counts.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for c in &self.cases {
            match &c.verdict {
                Verdict::Fail { expected, observed } if c.known.is_none() => {
                    writeln!(
                        f,
                        "{} [{}] {}: expected {expected}",
                        c.case.id,
                        c.case.requirement,
                        c.case.strength.name()
                    )?;
                    writeln!(f, "  observed {observed}")?;
                    if let Some(otherwise) = &c.otherwise {
                        writeln!(f, "  the list of known deviations accepts: {otherwise}")?;
                    }
                }
                Verdict::BenchError(why) => writeln!(f, "{}: bench error: {why}", c.case.id)?,
                _ => {}
            }
        }
        for known in &self.stale {
            writeln!(f, "{}: known deviation, and the case passes: {}", known.id, known.reason)?;
        }
        for left in self.not_put_back() {
            writeln!(f, "not put back: {left}")?;
        }
        match &self.end {
            End::Complete => {}
            End::LineLost(why) => writeln!(f, "the line was lost: {why}")?,
            End::Interrupted => writeln!(f, "interrupted")?,
        }
        let c = self.counts();
        write!(
            f,
            "device {}: {} passed, {} failed, {} known, {} advised, {} skipped, {} inconclusive, {} bench errors",
            self.device, c.passed, c.failed, c.known, c.advised, c.skipped, c.inconclusive, c.bench_errors
        )
    }
}
