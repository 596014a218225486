//! The fault matrix: the conformance suite run on mocks that have each one known fault [CO-07].
//!
//! It shows three things: that each fault is found, that a case fails for the reason that it names and for nothing
//! else, and that each case can fail at all.

mod reasons;
mod words;

pub use reasons::{Reason, Reasons, SameReason};
pub use words::write;

use super::output::Failure;
use crate::bench::{BenchPlan, in_process};
use crate::conform::{Case, Selection, Suite, Verdict};
use crate::device::{Consequences, ProtocolFault};
use crate::host::To;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// The bench that is taken where none is named.
const OWN_BENCH: &str = include_str!("fault_matrix/bench.toml");

/// Devices of [`OWN_BENCH`] that stand for one thing: which cases are run on each, and on which faults, by a part of
/// their names. All others are judged by every case.
const SPECIAL: &[(&str, &[&str], &[&str])] = &[
    ("FV-3117", &["link", "burst"], &["burst"]),
    ("FV-3115", &["link", "burst"], &["burst"]),
    ("FV-3127", &["delayed"], &[""]),
    ("FV-3126", &["universal/label-writes"], &["busy"]),
    ("FV-3137", &["write-protect"], &[""]),
    ("FV-3135", &["write-protect"], &[""]),
    ("TT-3147", &["status"], &[""]),
    ("TT-3157", &["status"], &["malfunction"]),
];

/// A device that faults are put into.
#[derive(Clone, Debug)]
pub struct Specimen {
    /// Its tag, or how it is addressed.
    pub name: String,
    /// What it is, such as "positioner, revision 7".
    pub words: String,
    plan: BenchPlan,
    index: usize,
    only: Selection,
    faults: &'static [&'static str],
}

impl Specimen {
    /// The devices of looprig's own bench: positioners and transmitters of revisions 5, 6 and 7, and some that stand for
    /// one thing, such as a write protect that is on.
    ///
    /// # Errors
    /// That bench makes no sense, which a test excludes.
    pub fn own() -> Result<Vec<Specimen>, Failure> {
        let plan = crate::bench::check(OWN_BENCH, "fault-matrix.toml".as_ref())
            .map_err(|e| Failure::told(format!("the bench of the matrix: {e}")))?;
        let mut all = Specimen::of_bench(&plan);
        for specimen in &mut all {
            if let Some((_, only, faults)) = SPECIAL.iter().find(|s| s.0 == specimen.name) {
                specimen.only = Selection::new(only.iter().copied());
                specimen.faults = faults;
            }
        }
        Ok(all)
    }

    /// The devices of a bench, each to be judged by every case. They stay together on their wires, unless nothing but
    /// the devices is on these: then each is alone there, which saves time.
    pub fn of_bench(plan: &BenchPlan) -> Vec<Specimen> {
        let alone = plan.wires.is_none() && plan.masters.is_empty();
        let each = plan.devices.iter().enumerate();
        each.map(|(i, device)| {
            let config = &device.config;
            let mut own = plan.clone();
            let mut index = i;
            if alone {
                own.devices = vec![device.clone()];
                own.events.retain(|e| e.device.is_none_or(|d| d == i));
                own.events.iter_mut().for_each(|e| e.device = e.device.map(|_| 0));
                index = 0;
            }
            let tag = config.factory.tag.trim_end();
            Specimen {
                name: match tag {
                    "" => format!("device at {}", config.factory.polling_address),
                    tag => tag.to_owned(),
                },
                words: format!("{}, revision {}", config.kind.name().words(), config.identity.revision),
                plan: own,
                index,
                only: Selection::default(),
                faults: &[""],
            }
        })
        .collect()
    }

    /// Whether every case is run on it, with every fault.
    pub fn is_general(&self) -> bool {
        self.only == Selection::default()
    }

    fn cases(&self, cases: &[Case]) -> Vec<Case> {
        cases.iter().filter(|c| self.only.takes(c)).copied().collect()
    }

    fn can_have(&self, fault: &ProtocolFault) -> bool {
        let Some(device) = self.plan.devices.get(self.index) else { return false };
        let config = &device.config;
        self.faults.iter().any(|part| fault.name().contains(part))
            && fault.why_not(config.kind.name(), config.identity.revision).is_none()
            && !config.faults.contains(&fault)
    }

    fn run(&self, fault: Option<&'static ProtocolFault>, cases: &[Case]) -> Outcome {
        let mut plan = self.plan.clone();
        let mut outcome = Outcome::default();
        let Some(device) = plan.devices.get_mut(self.index) else { return outcome };
        device.config.faults.extend(fault);
        let Some(polling) = crate::frame::PollingAddress::new(device.config.factory.polling_address) else {
            return outcome;
        };
        let suite = Suite::of(self.cases(cases)).writing(true).moving(true);
        match suite.run(&mut in_process(&plan), &To::Polling(polling)) {
            Err(e) => outcome.unidentified = Some(e.to_string()),
            Ok(results) => {
                for c in results.cases {
                    match c.verdict {
                        Verdict::Fail { expected, observed } => {
                            outcome.fails.push((c.case, expected, observed));
                        }
                        Verdict::BenchError(why) => outcome.spoilt.push((c.case, why)),
                        Verdict::Inconclusive(_) | Verdict::Skip(_) | Verdict::Pass => {}
                    }
                }
            }
        }
        outcome
    }
}

/// What became of one run.
#[derive(Default)]
struct Outcome {
    unidentified: Option<String>,
    fails: Vec<(Case, String, String)>,
    spoilt: Vec<(Case, String)>,
}

/// A case that fails on a fault.
#[derive(Clone, Debug)]
pub struct Fail {
    /// The case.
    pub case: Case,
    /// Numbers of the devices on which it fails, in [`FaultMatrix::devices`].
    pub on: Vec<usize>,
    /// What it expected on the first of them.
    pub expected: String,
    /// What it observed there.
    pub observed: String,
    /// On each of them it missed an answer, and found nothing wrong with one.
    pub no_answer: bool,
}

/// Whether these words of a case say that it missed an answer: it begins so with all that ask.
fn misses_answer(expected: &str) -> bool {
    expected.starts_with("an answer to ")
}

/// What became of the runs on one fault.
#[derive(Clone, Debug)]
pub struct Row {
    /// The fault.
    pub fault: &'static ProtocolFault,
    /// Numbers of the devices that had it, in [`FaultMatrix::devices`].
    pub devices: Vec<usize>,
    /// Cases that fail on it, in the order of the suite.
    pub fails: Vec<Fail>,
    /// Devices that could not even be identified, and why: the run on them ends there, with exit code 2.
    pub unidentified: Vec<(usize, String)>,
    /// Cases that could not be judged for a reason that is not the device's.
    pub spoilt: Vec<(usize, &'static str, String)>,
}

impl Row {
    /// Whether a case fails on it, or nobody can be identified.
    pub fn is_found(&self) -> bool {
        !self.fails.is_empty() || !self.unidentified.is_empty()
    }

    /// Whether the fault explains why a case fails on it.
    pub fn explains(&self, fail: &Fail) -> bool {
        self.fault.explains(fail.case.requirement, fail.no_answer)
    }

    /// Whether a case that fails on it shows what the case is for: one that only misses an answer does not, where the fault
    /// keeps answers from being heard, unless it cites the very requirement that is violated.
    pub fn shows(&self, fail: &Fail) -> bool {
        let anything = match self.fault.consequences() {
            Consequences::Everything => true,
            Consequences::NoAnswer(_) => fail.no_answer,
            Consequences::These(_) => false,
        };
        !anything || self.fault.violates() == fail.case.requirement
    }

    /// Cases that fail and cite neither what the fault violates nor a listed consequence.
    pub fn unexplained(&self) -> impl Iterator<Item = &Fail> {
        self.fails.iter().filter(|f| !self.explains(f))
    }
}

/// The suite on every fault.
#[derive(Clone, Debug)]
pub struct FaultMatrix {
    /// The devices, in the order of their bench.
    pub devices: Vec<Specimen>,
    /// The cases that were run.
    pub cases: Vec<Case>,
    /// A row a fault, in the order of the page of faults.
    pub rows: Vec<Row>,
    /// What is wrong with devices without any fault: the device and the words. It should be empty.
    pub healthy: Vec<(usize, String)>,
    /// Whether these are all faults: else nothing is said of cases that nothing fails.
    pub is_whole: bool,
}

/// How much is run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Extent {
    /// Each fault in every device that can have it.
    Every,
    /// Each fault in the first device that can have it, and in those that stand for one thing.
    First,
}

impl FaultMatrix {
    /// Runs these cases on these faults, on all cores. `progress` is told how many runs there are and how many are done.
    pub fn run(
        devices: Vec<Specimen>,
        cases: Vec<Case>,
        faults: &[&'static ProtocolFault],
        extent: Extent,
        progress: &(dyn Fn(usize, usize) + Sync),
    ) -> FaultMatrix {
        let devices: Vec<Specimen> = devices.into_iter().filter(|d| !d.cases(&cases).is_empty()).collect();
        let mut jobs: Vec<(Option<usize>, usize)> = (0..devices.len()).map(|d| (None, d)).collect();
        for (row, fault) in faults.iter().enumerate() {
            let mut general = 0;
            for (d, device) in devices.iter().enumerate().filter(|(_, d)| d.can_have(fault)) {
                general += usize::from(device.is_general());
                if extent == Extent::Every || !device.is_general() || general == 1 {
                    jobs.push((Some(row), d));
                }
            }
        }
        let next = AtomicUsize::new(0);
        let done = AtomicUsize::new(0);
        // By the number of the job, so that the order does not depend on who is faster.
        let outcomes: Mutex<BTreeMap<usize, Outcome>> = Mutex::new(BTreeMap::new());
        let work = || {
            loop {
                let number = next.fetch_add(1, Ordering::Relaxed);
                let Some(&(row, device)) = jobs.get(number) else { break };
                let fault = row.and_then(|r| faults.get(r)).copied();
                let outcome = devices[device].run(fault, &cases);
                outcomes.lock().unwrap_or_else(|e| e.into_inner()).insert(number, outcome);
                progress(done.fetch_add(1, Ordering::Relaxed) + 1, jobs.len());
            }
        };
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        std::thread::scope(|s| {
            for _ in 0..cores.min(jobs.len()) {
                s.spawn(work);
            }
        });
        let outcomes = outcomes.into_inner().unwrap_or_else(|e| e.into_inner());
        let is_whole = ProtocolFault::all().all(|f| faults.contains(&f));
        let empty = |fault: &&'static ProtocolFault| Row {
            fault,
            devices: Vec::new(),
            fails: Vec::new(),
            unidentified: Vec::new(),
            spoilt: Vec::new(),
        };
        let rows = faults.iter().map(empty).collect();
        let mut matrix = FaultMatrix { devices, cases, rows, healthy: Vec::new(), is_whole };
        for (number, outcome) in outcomes {
            let (row, device) = jobs[number];
            matrix.take(row, device, outcome);
        }
        for row in &mut matrix.rows {
            row.fails.sort_by_key(|f| matrix.cases.iter().position(|c| c.id == f.case.id));
        }
        matrix
    }

    fn take(&mut self, row: Option<usize>, device: usize, outcome: Outcome) {
        let Some(row) = row.and_then(|r| self.rows.get_mut(r)) else {
            let words = outcome.fails.iter().map(|(c, expected, observed)| {
                format!("{} [{}]: expected {expected}; observed {observed}", c.id, c.requirement)
            });
            let spoilt = outcome.spoilt.iter().map(|(c, why)| format!("{}: {why}", c.id));
            self.healthy.extend(words.chain(spoilt).chain(outcome.unidentified).map(|w| (device, w)));
            return;
        };
        row.devices.push(device);
        row.unidentified.extend(outcome.unidentified.map(|why| (device, why)));
        row.spoilt.extend(outcome.spoilt.into_iter().map(|(c, why)| (device, c.id, why)));
        for (case, expected, observed) in outcome.fails {
            match row.fails.iter_mut().find(|f| f.case.id == case.id) {
                Some(known) => {
                    known.on.push(device);
                    known.no_answer &= misses_answer(&expected);
                }
                None => {
                    let no_answer = misses_answer(&expected);
                    row.fails.push(Fail { case, on: vec![device], expected, observed, no_answer });
                }
            }
        }
    }

    /// Names of the faults that a case fails on, and that show what it is for ([`Row::shows`]). In the order of the rows.
    pub fn fails_on(&self, id: &str) -> Vec<&'static str> {
        let fails = |r: &&Row| r.fails.iter().any(|f| f.case.id == id && r.shows(f));
        self.rows.iter().filter(fails).map(|r| r.fault.name()).collect()
    }

    /// Faults that nothing finds, though a device has them.
    pub fn unfound(&self) -> impl Iterator<Item = &Row> {
        self.rows.iter().filter(|r| !r.is_found() && !r.devices.is_empty())
    }

    /// Faults that no device here can have.
    pub fn in_no_device(&self) -> impl Iterator<Item = &Row> {
        self.rows.iter().filter(|r| r.devices.is_empty())
    }

    /// Cases that no fault fails: nothing shows that they can fail at all.
    pub fn unproven(&self) -> impl Iterator<Item = &Case> {
        self.cases.iter().filter(|c| self.fails_on(c.id).is_empty())
    }

    /// Cases that fail on the same faults, and these: perhaps one of them is too many.
    pub fn same(&self) -> Vec<(Vec<&'static str>, Vec<&'static str>)> {
        let mut groups: Vec<(Vec<&'static str>, Vec<&'static str>)> = Vec::new();
        for case in &self.cases {
            let faults = self.fails_on(case.id);
            match groups.iter_mut().find(|(_, f)| *f == faults) {
                _ if faults.is_empty() => {}
                Some((cases, _)) => cases.push(case.id),
                None => groups.push((vec![case.id], faults)),
            }
        }
        groups.retain(|(cases, _)| cases.len() > 1);
        groups
    }

    /// What is not as it should be, a line each; what has its reason in `reasons` is. Faults that nothing finds count where
    /// every case of the suite was run, cases that no fault fails and cases that fail on the same ones where every fault was.
    pub fn complaints(&self, reasons: &Reasons) -> Vec<String> {
        let mut all: Vec<String> =
            self.healthy.iter().map(|(_, what)| format!("without a fault: {what}")).collect();
        for row in &self.rows {
            let name = row.fault.name();
            all.extend(row.unexplained().map(|f| {
                let (id, cites) = (f.case.id, f.case.requirement);
                format!("{name} does not explain {id} [{cites}]: {} / {}", f.expected, f.observed)
            }));
            // What spoils a run is told, and is no pass; but it alone finds no fault.
            if !row.is_found() && !row.spoilt.is_empty() {
                all.push(format!("{name} spoils runs, and no case finds it"));
            }
        }
        let every_case = crate::conform::all().iter().all(|c| self.cases.iter().any(|o| o.id == c.id));
        if every_case {
            let unfound = self.unfound().map(|r| r.fault.name()).filter(|n| reasons.unfound(n).is_none());
            all.extend(unfound.map(|name| format!("nothing finds {name}")));
        }
        if self.is_whole {
            let unproven = self.unproven().filter(|c| reasons.unproven(c.id).is_none());
            all.extend(unproven.map(|c| format!("no fault fails {}", c.id)));
            let same = self.same().into_iter().filter(|(cases, _)| reasons.same(cases).is_none());
            all.extend(same.map(|(cases, faults)| {
                format!("{} fail on the same faults: {}", cases.join(", "), faults.join(", "))
            }));
        }
        all
    }
}
