//! What sessions on scenes come to: how often the true class is first, how many questions it takes, and where it goes wrong.

use super::command::MEASURING;
use super::many::on_all_cores;
use super::persona::Persona;
use super::rival::{Until, fixed_order};
use super::scene::{Pair, Scene, Seen};
use crate::commission::triage::{Knowledge, Session, Verdict, ask};
use std::collections::BTreeMap;

/// In front of a healthy valve stand so many times as many persons: it is one scene among many.
const HEALTHY_TIMES: u64 = 10;

/// Of how many it is so.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Share {
    /// Of so many it is so.
    pub hits: usize,
    /// So many there are.
    pub of: usize,
}

impl Share {
    /// One more.
    pub fn count(&mut self, hit: bool) {
        self.hits += usize::from(hit);
        self.of += 1;
    }

    /// 0 to 1; of none 0.
    pub fn share(self) -> f64 {
        if self.of == 0 { 0.0 } else { self.hits as f64 / self.of as f64 }
    }
}

/// How one way of asking did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// The true class is first.
    pub first: Share,
    /// It is among the first three; "nothing is wrong" is one of the ranks.
    pub three: Share,
    /// Questions that were asked on faults, all together.
    pub questions: usize,
    /// A cause was called likely on a healthy valve.
    pub alarms: Share,
    /// Some cause was first on a healthy valve, likely or not.
    pub cause_first: Share,
    /// "Nothing found" was told of a healthy valve; what else is told there is unclear, or a false alarm [TG-41].
    pub told_healthy: Share,
    /// "Nothing found" was told of a valve with a fault that shows.
    pub missed: Share,
    /// Questions that were asked on healthy valves, all together.
    pub healthy_questions: usize,
}

impl Score {
    /// The mean of the questions on faults.
    pub fn mean_questions(&self) -> f64 {
        if self.first.of == 0 { 0.0 } else { self.questions as f64 / self.first.of as f64 }
    }
}

/// All that was measured.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Measured {
    /// With the checks that tell most.
    pub own: Score,
    /// The same without a line: a person answers what the bus would tell, as far as there is a check for it [TG-42].
    pub alone: Score,
    /// With the fixed order of the trade, which stops at the first odd answer.
    pub rival: Score,
    /// The same order, which stops as looprig does.
    pub rival_sure: Score,
    /// Of each fault and severity (in percent): first, within three, questions.
    pub by_fault: BTreeMap<(String, u32), Score>,
    /// How often a class was first where another is true; empty: nothing is wrong.
    pub confused: BTreeMap<(String, String), usize>,
    /// Scenes below any symptom, by fault and severity in percent: of how many valves.
    pub below: BTreeMap<(String, u32), Share>,
    /// Of two faults: the first named is one of them.
    pub one_of_two: Share,
    /// And the other is named after that one is mended.
    pub both_of_two: Share,
    /// Valves.
    pub valves: usize,
    /// Persons in front of each scene.
    pub personas: u64,
}

impl Measured {
    /// Whether all that is asked for is reached [TG-08].
    pub fn is_enough(&self) -> bool {
        let own = &self.own;
        own.first.share() >= 0.8
            && own.three.share() >= 0.95
            && own.mean_questions() <= 6.0
            && own.alarms.share() <= 0.05
            && [&self.rival, &self.rival_sure].iter().all(|r| own.first.share() > r.first.share())
            && (self.both_of_two.of == 0 || self.both_of_two.share() >= 0.7)
    }
}

/// What one session came to.
#[derive(Clone, Debug, PartialEq)]
struct Outcome {
    /// Classes by rank; empty: nothing is wrong.
    ranks: Vec<String>,
    questions: usize,
    verdict: Verdict,
}

/// Causes that cannot be told apart on this valve count as one [TG-06].
pub fn class(cause: &str, is_part_turn: bool) -> &str {
    match cause {
        "coupling_turned" if is_part_turn => "clamp_slipped",
        cause => cause,
    }
}

fn outcome(session: &Session<'_>, questions: usize, is_part_turn: bool) -> Outcome {
    let knowledge = session.knowledge();
    let mut ranks: Vec<String> = Vec::new();
    for rank in session.ranks() {
        let name = rank.cause.map_or("", |c| knowledge.causes[c].name.as_str());
        let class = class(name, is_part_turn);
        if !ranks.iter().any(|r| r == class) {
            ranks.push(class.to_owned());
        }
    }
    Outcome { ranks, questions, verdict: session.verdict() }
}

fn session<'k>(knowledge: &'k Knowledge, scene: &Scene) -> Session<'k> {
    let mut session = Session::new(knowledge, false);
    for finding in &scene.findings {
        session.add(finding.clone());
    }
    session
}

fn own(knowledge: &Knowledge, scene: &Scene, persona: u64) -> Outcome {
    let mut session = session(knowledge, scene);
    let triage = ask(&mut session, &mut Persona::new(scene, persona), &mut ());
    outcome(&session, triage.asked.len(), scene.part_turn)
}

/// Without a line: questions alone.
fn alone(knowledge: &Knowledge, scene: &Scene, persona: u64) -> Outcome {
    let mut session = Session::new(knowledge, true);
    let mut scene = scene.clone();
    let of_bus = core::mem::take(&mut scene.bus);
    of_bus.into_iter().for_each(|(symptom, value)| {
        scene.eyes.entry(symptom).or_insert(value);
    });
    let triage = ask(&mut session, &mut Persona::new(&scene, persona), &mut ());
    outcome(&session, triage.asked.len(), scene.part_turn)
}

fn rival(knowledge: &Knowledge, scene: &Scene, persona: u64, until: Until) -> Outcome {
    let mut session = session(knowledge, scene);
    let asked = fixed_order(&mut session, &mut Persona::new(scene, persona), knowledge, until);
    outcome(&session, asked, scene.part_turn)
}

impl Score {
    fn take(&mut self, truth: Option<&str>, outcome: &Outcome) {
        let first = outcome.ranks.first().map_or("", String::as_str);
        match truth {
            None => {
                self.alarms.count(matches!(outcome.verdict, Verdict::Likely | Verdict::Workshop));
                self.told_healthy.count(outcome.verdict == Verdict::NothingFound);
                self.cause_first.count(!first.is_empty());
                self.healthy_questions += outcome.questions;
            }
            Some(truth) => {
                self.first.count(first == truth);
                self.three.count(outcome.ranks.iter().take(3).any(|r| r == truth));
                self.missed.count(outcome.verdict == Verdict::NothingFound);
                self.questions += outcome.questions;
            }
        }
    }
}

/// Two faults, and what is named first; then what is named first when that one is mended.
fn both(knowledge: &Knowledge, pair: &Pair, persona: u64) -> (bool, bool) {
    let of = |put: usize| pair.both.faults.get(put).map(|p| class(&p.fault, pair.both.part_turn));
    let first = own(knowledge, &pair.both, persona);
    let named = first.ranks.first().map(String::as_str);
    let Some(which) = (0..2).find(|&i| named.is_some() && of(i) == named) else { return (false, false) };
    // Whoever comes back later is as good as somebody else.
    let second = own(knowledge, &pair.without[which], persona.wrapping_add(0x5EC0_4D00));
    (true, second.ranks.first().map(String::as_str) == of(1 - which))
}

/// The seed of the first person in front of a valve: those who answer where it is measured are none of those on whom the knowledge was tried [TG-08].
pub fn first_person(valve: u64) -> u64 {
    if valve >= MEASURING { 1_000_000 } else { 1 }
}

/// Runs sessions on scenes that were computed before, with so many persons each. The same always gives the same.
pub fn measure(knowledge: &Knowledge, seen: &[Seen], personas: u64) -> Measured {
    let mut out = Measured { personas, ..Measured::default() };
    let mut valves: Vec<u64> = Vec::new();
    let one = |i: usize| match &seen[i] {
        Seen::One(scene) => {
            let first = first_person(scene.valve);
            let each = |n: u64| {
                let persona = first + n;
                let rivals = [Until::Odd, Until::Sure].map(|until| rival(knowledge, scene, persona, until));
                ([own(knowledge, scene, persona), alone(knowledge, scene, persona)], rivals)
            };
            let persons = match (scene.faults.is_empty(), scene.below) {
                (true, _) => personas * HEALTHY_TIMES,
                (false, true) => 0,
                (false, false) => personas,
            };
            (0..persons).map(each).map(Ok).collect::<Vec<_>>()
        }
        Seen::Two(pair) => {
            let first = first_person(pair.both.valve);
            (first..first + personas).map(|p| Err(both(knowledge, pair, p))).collect()
        }
    };
    let came = on_all_cores(seen.len(), &|_| (), one);
    for (seen, outcomes) in seen.iter().zip(came) {
        if let Seen::One(scene) = seen {
            if !valves.contains(&scene.valve) {
                valves.push(scene.valve);
            }
            if let Some(put) = scene.faults.first() {
                out.below.entry(put.key()).or_default().count(scene.below);
            }
        }
        for outcome in outcomes {
            match (outcome, seen) {
                (Err((one, two)), _) => {
                    out.one_of_two.count(one);
                    out.both_of_two.count(two);
                }
                (Ok(([own, alone], [rival, rival_sure])), Seen::One(scene)) => {
                    let put = scene.faults.first();
                    let truth = put.map(|p| class(&p.fault, scene.part_turn));
                    out.own.take(truth, &own);
                    out.alone.take(truth, &alone);
                    out.rival.take(truth, &rival);
                    out.rival_sure.take(truth, &rival_sure);
                    let first = own.ranks.first().cloned().unwrap_or_default();
                    *out.confused.entry((truth.unwrap_or("").to_owned(), first)).or_default() += 1;
                    if let Some(put) = put {
                        out.by_fault.entry(put.key()).or_default().take(truth, &own);
                    }
                }
                (Ok(_), Seen::Two(_)) => {}
            }
        }
    }
    out.valves = valves.len();
    out
}
