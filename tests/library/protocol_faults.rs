//! Faults of the protocol that a mock can have: each does what its row says, in a scene whose healthy answer is known
//! from the notes, and nothing when it is not named.

mod answers;
mod apart;
mod bursts;
mod codes;
mod scene;
mod single;
mod stage;
mod universal;
mod values;
mod world;

use looprig::app::command::Revision;
use looprig::device::{KindName, ProtocolFault};
use looprig::frame::RawOctet;
use scene::{holds, play};

/// A fault, the steps, what the healthy device answers to the last one, what the faulty one does.
pub type Scene = (&'static str, &'static str, &'static str, &'static str);

const SCENES: &[&[Scene]] = &[
    answers::SCENES,
    universal::SCENES,
    codes::SCENES,
    bursts::SCENES,
    values::SCENES,
    single::SCENES,
    apart::SCENES,
];

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
        let octet = |o: &RawOctet| {
            let (parity, pause) =
                (if o.bad_parity { "p" } else { "" }, if o.gap_before.is_zero() { "" } else { "_" });
            format!("{pause}{:02X}{parity}", o.value)
        };
        let octets: Vec<String> = s.raw.octets.iter().map(octet).collect();
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

/// In every revision that a row names the fault makes a difference in one of its scenes.
#[test]
fn each_fault_acts_in_each_of_its_revisions() {
    let mut idle = Vec::new();
    for fault in ProtocolFault::all() {
        for revision in Revision::NEWEST_FIRST.into_iter().filter(|&r| fault.is_in(r)) {
            // A scene of one revision is no scene of another.
            let is_of =
                |s: &Scene| !s.1.contains("revision=") || s.1.contains(&format!("revision={revision}"));
            let scenes = SCENES.iter().copied().flatten().filter(|s| s.0 == fault.name() && is_of(s));
            let differs =
                |s: &Scene| shown(&play(s.1, revision, &[])) != shown(&play(s.1, revision, &[fault]));
            if !scenes.into_iter().any(differs) {
                idle.push(format!("{} in {revision}", fault.name()));
            }
        }
    }
    assert!(idle.is_empty(), "{} do nothing:\n{}", idle.len(), idle.join("\n"));
}

/// Whatever faults a device has together, whatever it is asked, it goes on.
#[test]
fn faults_together_do_not_panic() {
    let all: Vec<&'static ProtocolFault> = ProtocolFault::all().collect();
    let scenes: Vec<&Scene> = SCENES.iter().copied().flatten().collect();
    let mut seed = 7u64;
    let mut dice = |most: usize| {
        seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (seed >> 33) as usize % most
    };
    for _ in 0..200 {
        let revision = Revision::NEWEST_FIRST[dice(3)];
        let kind = [KindName::Positioner, KindName::Temperature][dice(2)];
        let mut faults = Vec::new();
        for _ in 0..=dice(12) {
            let fault = all[dice(all.len())];
            if fault.why_not(kind, revision).is_none() && !faults.contains(&fault) {
                faults.push(fault);
            }
        }
        let mut script = format!("kind={};revision={revision}", kind.word());
        for _ in 0..6 {
            let steps = scenes[dice(scenes.len())].1.split(';').filter(|s| !s.contains('='));
            script = [script.as_str()].into_iter().chain(steps).collect::<Vec<_>>().join(";");
        }
        play(&script, revision, &faults);
    }
}
