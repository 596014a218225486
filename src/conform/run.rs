//! The run of many cases on one device.

use super::again::{Once, judged};
use super::case::Case;
use super::identify::Found;
use super::known::Known;
use super::probe::Probe;
use super::results::{CaseResult, End, Results};
use super::select::Selection;
use super::verdict::{Stop, Verdict};
use super::wires::Life;
use crate::host::To;
use crate::line::Line;
use core::fmt;
use core::time::Duration;

/// Pieces of traffic that a fail keeps in the results; the log has all.
const MOST_EVIDENCE: usize = 40;

/// Of a device that has fallen silent.
const GONE: &str = "nothing has come from the device for a minute";

/// What has happened beside a case that failed.
enum Meanwhile {
    Nothing,
    /// The device was silent for a while, whatever it was asked.
    WasGone,
    /// It still is; why the case is not judged.
    IsGone(String),
    /// Somebody has turned write protect on.
    Protected,
}

/// Looks what may have made a case fail besides the device's own doing; `lost`: nothing in it was odd but requests without an answer.
fn look_again(probe: &mut Probe<'_>, case: &Case, lost: bool, verdict: &Verdict) -> Result<Meanwhile, Stop> {
    let life = if lost { probe.wait_for_life()? } else { Life::There };
    match (life, verdict) {
        (Life::Gone, Verdict::Fail { expected, observed }) => Ok(Meanwhile::IsGone(format!(
            "expected {expected}; observed {observed}, and {GONE}: either this has stopped it, or it has lost its supply or the wires"
        ))),
        (Life::Gone | Life::Again, _) => Ok(Meanwhile::WasGone),
        (Life::There, _) if !case.needs.writes && !case.needs.moves => Ok(Meanwhile::Nothing),
        (Life::There, _) => match probe.became_protected() {
            Ok(true) => Ok(Meanwhile::Protected),
            // What cannot be asked is no matter of this.
            Ok(false) | Err(Stop::Fail { .. }) => Ok(Meanwhile::Nothing),
            Err(stop) => Err(stop),
        },
    }
}

/// What is to be run and how: every case that only reads, unless told otherwise.
///
/// ```
/// use looprig::conform::Suite;
/// use looprig::host::To;
///
/// fn keeps_to_the_protocol(line: &mut dyn looprig::line::Line) {
///     let to = To::parse("0").expect("a polling address");
///     let results = Suite::new().only("link").writing(true).run(line, &to).expect("a device answers");
///     assert!(results.passed(), "{results}");
/// }
/// ```
#[derive(Clone, Debug)]
pub struct Suite {
    cases: Vec<Case>,
    selection: Selection,
    writing: bool,
    moving: bool,
    strict: bool,
    known: Vec<Known>,
}

impl Default for Suite {
    fn default() -> Self {
        Suite::new()
    }
}

/// How far a run is.
#[derive(Clone, Copy, Debug)]
pub enum Progress<'a> {
    /// The device was found; so many cases follow.
    Found(&'a Found, usize),
    /// A case begins: its number from 0.
    Begins(usize, &'a Case),
    /// A case has ended.
    Ended(&'a CaseResult),
}

/// Why nothing was run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CannotRun {
    /// These patterns select no case.
    Selection(Vec<String>),
    /// A known deviation names a case that does not exist.
    Known(String),
    /// Nobody answered so that it could be understood.
    NoDevice(String),
    /// Something besides the device is wrong, such as another master.
    Bench(String),
    /// The line failed.
    Lost(String),
    /// Somebody asked the program to stop.
    Interrupted,
}

impl CannotRun {
    /// What to do next; empty where the text says it.
    pub fn next(&self) -> &'static str {
        match self {
            CannotRun::Selection(_) => "`looprig conform --list` prints the ids of all cases",
            CannotRun::Known(_) => {
                "mend the id, or take the entry out; `looprig conform --list` prints all ids"
            }
            CannotRun::NoDevice(_) => {
                "look who is there with `looprig scan LINE`; check loop power, 250 ohm or so in the loop and the modem's clips"
            }
            CannotRun::Bench(_) | CannotRun::Lost(_) => "",
            CannotRun::Interrupted => "start it again",
        }
    }
}

impl fmt::Display for CannotRun {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CannotRun::Selection(patterns) => write!(f, "no case is called {}", patterns.join(", ")),
            CannotRun::Known(id) => write!(f, "a known deviation names \"{id}\", and there is no such case"),
            CannotRun::NoDevice(why) | CannotRun::Bench(why) | CannotRun::Lost(why) => f.write_str(why),
            CannotRun::Interrupted => f.write_str("it was interrupted before any case was run"),
        }
    }
}

impl std::error::Error for CannotRun {}

impl Suite {
    /// Every case that only reads.
    pub fn new() -> Suite {
        Suite::of(super::suite::all())
    }

    /// These cases instead of looprig's own.
    pub fn of(cases: Vec<Case>) -> Suite {
        Suite {
            cases,
            selection: Selection::default(),
            writing: false,
            moving: false,
            strict: false,
            known: Vec::new(),
        }
    }

    /// Only cases of this section, id or pattern ([`Selection`]); several calls add up.
    #[must_use]
    pub fn only(mut self, pattern: impl Into<String>) -> Suite {
        self.selection.add(pattern);
        self
    }

    /// Whether cases may change what the device stores; they put it back.
    #[must_use]
    pub fn writing(mut self, allowed: bool) -> Suite {
        self.writing = allowed;
        self
    }

    /// Whether cases may move the valve, or change what the loop current does. It allows writing too.
    #[must_use]
    pub fn moving(mut self, allowed: bool) -> Suite {
        self.moving = allowed;
        self
    }

    /// Whether inconclusive cases and advice count as fails.
    #[must_use]
    pub fn strict(mut self, strict: bool) -> Suite {
        self.strict = strict;
        self
    }

    /// Deviations that are known and accepted.
    #[must_use]
    pub fn known(mut self, known: Vec<Known>) -> Suite {
        self.known = known;
        self
    }

    /// The cases that are selected, in the order of the suite.
    ///
    /// # Errors
    /// A pattern that selects none.
    pub fn cases(&self) -> Result<Vec<Case>, CannotRun> {
        let idle = self.selection.idle(&self.cases);
        let selected: Vec<Case> = self.cases.iter().filter(|c| self.selection.takes(c)).copied().collect();
        match idle.is_empty() && !selected.is_empty() {
            true => Ok(selected),
            false => Err(CannotRun::Selection(idle.into_iter().map(str::to_owned).collect())),
        }
    }

    /// Runs them on the device that `to` names.
    ///
    /// # Errors
    /// Nothing could be run; a run that ends early is a result.
    pub fn run(&self, line: &mut dyn Line, to: &To) -> Result<Results, CannotRun> {
        self.run_with(line, to, &mut |_| {})
    }

    /// The same, telling how far it is.
    ///
    /// # Errors
    /// As [`Suite::run`].
    pub fn run_with(
        &self,
        line: &mut dyn Line,
        to: &To,
        progress: &mut dyn FnMut(Progress<'_>),
    ) -> Result<Results, CannotRun> {
        let cases = self.cases()?;
        if let Some(known) = self.known.iter().find(|k| !self.cases.iter().any(|c| c.id == k.id)) {
            return Err(CannotRun::Known(known.id.clone()));
        }
        let begun = line.now();
        let mut probe = Probe::new(line);
        probe.identify(to).map_err(|stop| match stop {
            Stop::Fail { expected, observed } => {
                CannotRun::NoDevice(format!("expected {expected}; observed {observed}"))
            }
            Stop::Lost(why) => CannotRun::Lost(why),
            Stop::Interrupted => CannotRun::Interrupted,
            Stop::Skip(why) | Stop::Inconclusive(why) | Stop::Bench(why) => CannotRun::Bench(why),
        })?;
        probe.read_tag().or_else(|stop| match stop {
            Stop::Lost(why) => Err(CannotRun::Lost(why)),
            Stop::Interrupted => Err(CannotRun::Interrupted),
            // What the first case will find as well.
            _ => Ok(()),
        })?;
        progress(Progress::Found(probe.device(), cases.len()));
        let mut results = Vec::new();
        let mut end = End::Complete;
        for (i, case) in cases.iter().enumerate() {
            progress(Progress::Begins(i, case));
            let (result, ended) = self.one(&mut probe, case);
            progress(Progress::Ended(&result));
            results.push(result);
            if let Some(how) = ended {
                end = how;
                break;
            }
        }
        let passed = |k: &&Known| results.iter().any(|r| r.case.id == k.id && r.verdict == Verdict::Pass);
        let stale = self.known.iter().filter(passed).cloned().collect();
        Ok(Results {
            line: probe.describe_line(),
            device: probe.found.clone(),
            not_run: cases.get(results.len()..).unwrap_or_default().to_vec(),
            cases: results,
            stale,
            end,
            requests: probe.requests,
            damaged: probe.damaged,
            lasted: probe.now().since(begun),
            strict: self.strict,
        })
    }

    /// One case; with how the run ends, if it does.
    fn one(&self, probe: &mut Probe<'_>, case: &Case) -> (CaseResult, Option<End>) {
        let (mut result, end) = judged(probe, case, |probe| self.once(probe, case));
        if let Verdict::Fail { observed, .. } = &result.verdict
            && let Some(known) = self.known.iter().find(|k| k.id == case.id)
        {
            match known.accepts(observed) {
                true => result.known = Some(known.reason.clone()),
                false => result.otherwise.clone_from(&known.observed),
            }
        }
        (result, end)
    }

    /// One run of it, and what it changed put back.
    fn once(&self, probe: &mut Probe<'_>, case: &Case) -> Once {
        let from = probe.now();
        probe.begin(case);
        let outcome = self.possible(probe, case).and_then(|()| (case.run)(probe));
        let (mut verdict, mut end) = match outcome {
            Ok(()) => match probe.wires.seen_once() {
                Some(what) => (Verdict::Inconclusive(format!("the wires spoil octets: {what}")), None),
                None => (Verdict::Pass, None),
            },
            Err(stop) => {
                let end = match &stop {
                    Stop::Lost(why) => Some(End::LineLost(why.clone())),
                    Stop::Interrupted => Some(End::Interrupted),
                    _ => None,
                };
                (stop.verdict(), end)
            }
        };
        // A port of a busy machine may be late, and so may what is at its other end.
        let late = !probe.capabilities().stamp_error.is_zero();
        let doubtful = probe.wires.may_have_spoilt() || late;
        let lost = probe.wires.have_only_lost();
        // What shows a fail is what was said in the case, not the putting back.
        let mut words = core::mem::take(&mut probe.words);
        let span = (from, probe.now());
        let mut was_gone = false;
        if let (Verdict::Fail { .. }, None) = (&verdict, &end) {
            match look_again(probe, case, lost, &verdict) {
                Ok(Meanwhile::Nothing) => {}
                Ok(Meanwhile::WasGone) => was_gone = true,
                Ok(Meanwhile::IsGone(why)) => {
                    (verdict, end) = (Verdict::Inconclusive(why), Some(End::LineLost(GONE.to_owned())));
                }
                Ok(Meanwhile::Protected) => {
                    verdict = Verdict::Inconclusive(
                        "write protect has been turned on since the run began".to_owned(),
                    );
                }
                Err(Stop::Interrupted) => end = Some(End::Interrupted),
                Err(stop) => end = Some(End::LineLost(stop.to_string())),
            }
        }
        // Also after an interruption: nobody wants to find a device half changed.
        let (not_put_back, over_it) = match end {
            Some(End::LineLost(_)) => (probe.forget(), None),
            _ => probe.undo_all(),
        };
        end = match over_it {
            Some(Stop::Lost(why)) => Some(End::LineLost(why)),
            Some(Stop::Interrupted) => Some(End::Interrupted),
            _ => end,
        };
        if verdict == Verdict::Pass && !not_put_back.is_empty() {
            verdict = Verdict::BenchError(format!("not put back: {}", not_put_back.join("; ")));
            words = core::mem::take(&mut probe.words);
        }
        let keep = matches!(verdict, Verdict::Fail { .. } | Verdict::BenchError(_));
        if keep {
            words.drain(..words.len().saturating_sub(MOST_EVIDENCE));
        } else {
            words.clear();
        }
        Once { verdict, end, span, words, not_put_back, doubtful, lost, was_gone }
    }

    /// Whether a case can be run on this device, by this user, on this line.
    fn possible(&self, probe: &mut Probe<'_>, case: &Case) -> Result<(), Stop> {
        let needs = &case.needs;
        let (oldest, newest) = needs.revisions;
        let revision = probe.revision();
        if revision < oldest || revision > newest {
            let which = match oldest == newest {
                true => format!("revision {oldest}"),
                false => format!("revisions {oldest} to {newest}"),
            };
            return Err(Stop::Skip(format!(
                "it is for {which}, the device claims {}",
                probe.device().claims
            )));
        }
        if needs.moves && !self.moving {
            return Err(Stop::Skip("it may move the valve; --move allows that".to_owned()));
        }
        if needs.writes && !(self.writing || self.moving) {
            return Err(Stop::Skip("it changes what the device stores; --write allows that".to_owned()));
        }
        if (needs.writes || needs.moves) && !needs.also_protected && probe.is_protected()? {
            return Err(Stop::Skip(
                "write protect is on, says command 15; turn it off at the device".to_owned(),
            ));
        }
        // What locks are about is told by their own cases.
        if (needs.writes || needs.moves) && !case.id.starts_with("lock/") && probe.is_locked()? {
            return Err(Stop::Skip(
                "a master has locked the device, says command 76; have it opened first".to_owned(),
            ));
        }
        let of_the_line = needs.sends_bad_parity || needs.sends_gaps || needs.stamps;
        let of_the_line = of_the_line || needs.sees_gaps || needs.sees_parity || case.id.starts_with("link/");
        if of_the_line && probe.has_messages() {
            return Err(Stop::Skip(
                "this line carries whole messages: the server at its other end answers for the link and its times, \
                 not the device"
                    .to_owned(),
            ));
        }
        let sends = probe.sends_faults();
        let sees = probe.capabilities();
        let half = probe.pace().character() / 2;
        let cannot = [
            (needs.sends_bad_parity && !sends.bad_parity, "send wrong parity bits"),
            (needs.sends_gaps && !(sends.gaps && probe.has_times()), "send pauses inside a frame"),
            (needs.stamps && !probe.has_times(), "tell times"),
            (
                needs.sees_gaps && (!probe.has_times() || sees.stamp_error > half || half == Duration::ZERO),
                "tell pauses inside a frame",
            ),
            (needs.sees_parity && !sees.parity_seen, "tell wrong parity"),
        ];
        if let Some((_, what)) = cannot.into_iter().find(|(so, _)| *so) {
            return Err(Stop::Inconclusive(format!("this line cannot {what}")));
        }
        for &command in needs.commands {
            if probe.has_command(command)? == Some(false) {
                return Err(Stop::Skip(format!("the device does not have command {command}")));
            }
        }
        Ok(())
    }
}
