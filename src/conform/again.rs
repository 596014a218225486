//! A case that fails is run again where the wires may have a hand in it [CO-08].

use super::case::Case;
use super::heard::Words;
use super::probe::Probe;
use super::results::{CaseResult, End, Times};
use super::verdict::Verdict;
use crate::time::Instant;

/// How often a case is run at most.
const MOST_RUNS: usize = 3;

/// One run of a case, and what it changed put back.
pub(super) struct Once {
    pub verdict: Verdict,
    pub end: Option<End>,
    pub span: (Instant, Instant),
    pub words: Vec<Words>,
    pub not_put_back: Vec<String>,
    /// Something came in it, or failed to come or came late, which may be the doing of the wires or of this machine.
    pub doubtful: bool,
    /// Nothing of that but requests without an answer.
    pub lost: bool,
    /// The device was silent for a while in it, whatever it was asked.
    pub was_gone: bool,
}

impl Once {
    fn is_fail(&self) -> bool {
        matches!(self.verdict, Verdict::Fail { .. })
    }

    /// What was expected says on what it failed. Numbers and octets in it may be others the next time.
    fn failed_on(&self) -> Option<Vec<&str>> {
        let Verdict::Fail { expected, .. } = &self.verdict else { return None };
        let is_number = |w: &&str| w.contains(|c: char| c.is_ascii_digit()) || is_octet(w);
        Some(expected.split_whitespace().filter(|w| !is_number(w)).collect())
    }

    /// Nothing more may be sent, or the device is not as it was.
    fn ends(&self) -> bool {
        self.end.is_some() || !self.not_put_back.is_empty()
    }

    fn result(self, case: &Case, times: Times) -> CaseResult {
        let Once { verdict, span, words, not_put_back, .. } = self;
        CaseResult { case: *case, verdict, times, known: None, otherwise: None, span, words, not_put_back }
    }
}

/// `FE`, or `FE,`.
fn is_octet(word: &str) -> bool {
    let digits = word.trim_end_matches([',', ';', '.', ':']);
    digits.len() == 2 && digits.chars().all(|c| c.is_ascii_digit() || ('A'..='F').contains(&c))
}

/// Runs a case until it is known what becomes of it; with how the whole run ends, if it does.
pub(super) fn judged(
    probe: &mut Probe<'_>,
    case: &Case,
    mut once: impl FnMut(&mut Probe<'_>) -> Once,
) -> (CaseResult, Option<End>) {
    // A device that had no supply for a while is judged when it is back.
    let mut run = |probe: &mut Probe<'_>| {
        let first = once(probe);
        if first.was_gone && !first.ends() { once(probe) } else { first }
    };
    let mut runs = vec![run(probe)];
    let mut is_confirmed = !runs[0].is_fail() || !runs[0].doubtful;
    while let Some(last) = runs.last()
        && !is_confirmed
        && !last.ends()
        && runs.len() < MOST_RUNS
    {
        let next = run(probe);
        // On wires that spoil octets two fails are the same only where they are about the same thing.
        let same = |earlier: &Once| earlier.failed_on() == next.failed_on() || !probe.wires.spoil_octets();
        let again = next.is_fail() && runs.iter().any(|r| r.is_fail() && same(r));
        if !next.is_fail() && runs.iter().all(|r| r.lost) {
            probe.wires.lost_one();
        }
        runs.push(next);
        // Wires may lose requests without spoiling an octet that is heard: where one of twenty is lost some case fails twice of three
        // times.
        let may_be_lost = runs.iter().all(|r| !r.is_fail() || r.lost);
        let each_time = runs.len() == MOST_RUNS && runs.iter().all(Once::is_fail);
        is_confirmed = again && (each_time || !may_be_lost);
    }
    conclude(probe, case, runs, is_confirmed)
}

fn conclude(
    probe: &Probe<'_>,
    case: &Case,
    mut runs: Vec<Once>,
    is_confirmed: bool,
) -> (CaseResult, Option<End>) {
    let times = Times { failed: runs.iter().filter(|r| r.is_fail()).count(), run: runs.len() };
    let not_put_back: Vec<String> =
        runs.iter_mut().flat_map(|r| core::mem::take(&mut r.not_put_back)).collect();
    let end = runs.iter().find_map(|r| r.end.clone());
    let passed = runs.iter().any(|r| r.verdict == Verdict::Pass);
    let bench_error = runs.iter().position(|r| matches!(r.verdict, Verdict::BenchError(_)));
    // Where it could not be done again the one fail stands, unless octets are spoilt.
    let stands = !passed && bench_error.is_none() && (runs.len() == 1 || !probe.wires.spoil_octets());
    let of = match (is_confirmed, stands, bench_error) {
        (true, ..) => runs.len() - 1,
        (false, true, _) => 0,
        (false, false, Some(at)) => at,
        (false, false, None) => {
            let span = (runs[0].span.0, runs[runs.len() - 1].span.1);
            let verdict = Verdict::Inconclusive(words(&runs[0].verdict, times, probe.wires.spoil_octets()));
            let once = Once {
                verdict,
                end: None,
                span,
                words: Vec::new(),
                not_put_back,
                doubtful: true,
                lost: false,
                was_gone: false,
            };
            return (once.result(case, times), end);
        }
    };
    let once = Once { not_put_back, ..runs.swap_remove(of) };
    (once.result(case, times), end)
}

fn words(first: &Verdict, times: Times, spoilt: bool) -> String {
    let Verdict::Fail { expected, observed } = first else { return String::new() };
    let on = if times.failed > 1 && spoilt { ", each time on something else" } else { "" };
    let why = if spoilt { ", and the wires spoil octets" } else { ", so it may be the wires as well" };
    format!(
        "it failed {} of {} times{on}{why}: expected {expected}; observed {observed}",
        times.failed, times.run
    )
}
