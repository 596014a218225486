//! Fault finding beside the benches that it is measured on.
#![cfg(feature = "bench-file")]

mod rig;
mod watched;

use looprig::commission::triage::Knowledge;
use looprig::plant::fault::FaultName;
use looprig::sim::SiteFault;
use std::collections::BTreeSet;

/// Every fault that a bench can have is a cause that looprig knows [TG-08].
#[test]
fn causes_are_the_faults_of_a_bench() {
    let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    let causes: BTreeSet<&str> = known.causes.iter().map(|c| c.name.as_str()).collect();
    let valve = FaultName::ALL.iter().map(|f| f.word());
    let faults: BTreeSet<&str> = valve.chain(SiteFault::ALL.iter().map(|f| f.word())).collect();
    assert!(causes.is_superset(&faults), "{:?}", faults.difference(&causes));
    // By judgement alone: no bench can have them [TG-04].
    let more: Vec<&str> = causes.difference(&faults).copied().collect();
    let of_talk = [
        "loop_noise",
        "loop_ohms_low",
        "loop_ohms_high",
        "modem_dead",
        "modem_too_loud",
        "signal_blocked",
        "wrong_address",
    ];
    let mut judged =
        [&["device_failure", "not_calibrated", "set_by_hand", "supply_high"][..], &of_talk].concat();
    judged.sort_unstable();
    assert_eq!(more, judged);
}
