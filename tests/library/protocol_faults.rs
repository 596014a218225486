//! Faults of the protocol that a mock can have: each does what its row says, in a scene whose healthy answer is known
//! from the notes, and nothing when it is not named.

mod answers;
mod scene;
mod stage;

use looprig::app::command::Revision;
use looprig::device::{KindName, ProtocolFault};
use scene::{holds, play};

/// A fault, the steps, what the healthy device answers to the last one, what the faulty one does.
pub type Scene = (&'static str, &'static str, &'static str, &'static str);

const SCENES: &[&[Scene]] = &[answers::SCENES];

/// The newest revision that can have it.
fn revision_of(fault: &ProtocolFault) -> Revision {
    let newest = Revision::NEWEST_FIRST.into_iter().find(|&r| fault.is_in(r));
    newest.expect("every fault is in some revision")
}

#[test]
fn each_fault_acts_as_its_row_says() {
    let mut wrong = Vec::new();
    for &(name, steps, healthy, faulty) in SCENES.iter().copied().flatten() {
        let Some(fault) = ProtocolFault::named(name) else {
            wrong.push(format!("{name}: there is no such fault"));
            continue;
        };
        let revision = revision_of(fault);
        let (well, ill) = (play(steps, revision, &[]), play(steps, revision, &[fault]));
        if !holds(&well, healthy) {
            wrong.push(format!("{name}: the healthy device: {healthy}, not {}", shown(&well)));
        }
        if holds(&ill, healthy) || !holds(&ill, faulty) {
            wrong.push(format!("{name}: the faulty device: {faulty}, not {}", shown(&ill)));
        }
    }
    assert!(wrong.is_empty(), "{} of the scenes:\n{}", wrong.len(), wrong.join("\n"));
}

fn shown(outcome: &scene::Outcome) -> String {
    let one = |s: &stage::Said| {
        let octets: Vec<String> = s.values().iter().map(|o| format!("{o:02X}")).collect();
        format!("{} after {:?}", octets.join(" "), s.after)
    };
    match outcome.all.len() {
        0 => "silence".to_owned(),
        n if n > 4 => {
            format!("{n} things, the last two {} | {}", one(&outcome.all[n - 2]), one(&outcome.all[n - 1]))
        }
        _ => outcome.all.iter().map(one).collect::<Vec<_>>().join(" | "),
    }
}

#[test]
fn each_fault_has_a_scene() {
    let has = |f: &&ProtocolFault| SCENES.iter().copied().flatten().any(|s| s.0 == f.name());
    let without: Vec<&str> = ProtocolFault::all().filter(|f| !has(f)).map(ProtocolFault::name).collect();
    assert!(without.is_empty(), "{} without: {}", without.len(), without.join(" "));
}

#[allow(dead_code)]
fn kinds() -> [KindName; 2] {
    [KindName::Positioner, KindName::Temperature]
}
