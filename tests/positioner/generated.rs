//! What is asked of every healthy valve [DV-94]: calibration, end stops, small and large steps, rest.

use crate::rig::{Rig, go};
use looprig::device::positioner::{Ending, Kind};
use looprig::plant::generated as generate;

/// A number from the environment.
fn number(name: &str, default: u64) -> u64 {
    match std::env::var(name) {
        Ok(text) => text.parse().unwrap_or_else(|_| panic!("{name} must be a whole number, not \"{text}\"")),
        Err(_) => default,
    }
}

/// What is wrong with the positioner of a generated valve, in words; empty if nothing.
pub fn judge(seed: u64) -> Vec<String> {
    let generated = generate::valve(seed);
    let mut wrong = Vec::new();
    let mut rig = Rig::new(generated.valve, seed);
    let outcome = rig.calibrate(Kind::Friction);
    if outcome.ending != Ending::Done {
        wrong.push(format!("calibration {outcome:?}"));
        return wrong;
    }
    if outcome.lasted_s > 240.0 {
        wrong.push(format!("calibration took {:.0} s", outcome.lasted_s));
    }
    let calibrated = *rig.electronics.calibrated().expect("it is done");
    let whole = generated.valve.open_m_or_rad();
    for (share, percent) in [(0.0, 0.0), (1.0, 100.0)] {
        let told = calibrated.travel_percent(generated.valve.healthy_rad(share * whole)).unwrap_or(f64::NAN);
        if !(percent - 0.2..=percent + 0.2).contains(&told) {
            wrong.push(format!("end stop at {percent} % is told as {told:.2} %"));
        }
    }
    for base in [20.0, 55.0, 85.0] {
        go(&mut rig, base, 25.0);
        for more in [1.0, 2.0, 3.0, 2.0, 1.0, 0.0, 1.0] {
            let went = go(&mut rig, base + more, 20.0);
            if !(-0.4..=0.4).contains(&went.off) || went.reversals > 2 {
                wrong.push(format!("step of 1 % to {}: {went:?}", base + more));
            }
        }
    }
    go(&mut rig, 30.0, 40.0);
    for to in [50.0, 70.0, 90.0, 70.0, 50.0, 30.0, 10.0, 30.0] {
        let went = go(&mut rig, to, 40.0);
        // 5 % of the step.
        if !(0.0..=1.0).contains(&went.beyond) || !(-0.5..=0.5).contains(&went.off) {
            wrong.push(format!("step of 20 % to {to}: {went:?}"));
        }
    }
    go(&mut rig, 45.0, 60.0);
    let rests = go(&mut rig, 45.0, 600.0);
    // One last move may still come; what goes back and forth hunts.
    if rests.way > 0.5 || rests.reversals > 0 {
        wrong.push(format!("hunts: {rests:?}"));
    }
    wrong
}

#[test]
fn generated_valves_are_calibrated_and_controlled() {
    let count = number("LOOPRIG_VALVES", if cfg!(debug_assertions) { 2 } else { 200 });
    let first = number("LOOPRIG_VALVE_SEED", 710_000);
    let workers = std::thread::available_parallelism().map_or(1, |n| n.get() as u64).min(8);
    let judged = |worker: u64| -> Vec<(u64, Vec<String>)> {
        (first + worker..first + count).step_by(workers as usize).map(|seed| (seed, judge(seed))).collect()
    };
    let mut all: Vec<(u64, Vec<String>)> = std::thread::scope(|scope| {
        let started: Vec<_> = (0..workers).map(|worker| scope.spawn(move || judged(worker))).collect();
        started.into_iter().flat_map(|worker| worker.join().expect("no valve panics")).collect()
    });
    all.sort();
    let told = |(seed, wrong): &(u64, Vec<String>)| {
        format!("seed {seed} ({}): {}", generate::valve(*seed).words, wrong.join("; "))
    };
    let bad: Vec<String> = all.iter().filter(|(_, wrong)| !wrong.is_empty()).map(told).collect();
    assert_eq!(all.len() as u64, count);
    assert!(bad.is_empty(), "{} of {count} valves:\n{}", bad.len(), bad.join("\n"));
}

/// The valves are what they are said to be: within the ranges of the notes, and of every sort.
#[test]
fn generated_valves_are_of_every_sort() {
    use looprig::plant::actuator::Action;
    use looprig::plant::stage::StageKind;
    use looprig::plant::transmission::Transmission;
    let valves: Vec<_> = (0..200).map(|seed| generate::valve(710_000 + seed)).collect();
    for v in &valves {
        v.valve.check().unwrap_or_else(|why| panic!("{}: {why}", v.words));
        assert!((0.02..=0.20).contains(&v.friction_share));
        assert!((0.01..=0.1).contains(&v.valve.moving.stroke_m));
        let supply = v.valve.supply.at_rest_gauge_pa();
        assert!((1.39e5..=6.01e5).contains(&supply), "{supply}");
    }
    let count = |of: &dyn Fn(&generate::Generated) -> bool| valves.iter().filter(|v| of(v)).count();
    for action in [Action::AirOpens, Action::AirCloses, Action::Double] {
        assert!(count(&|v| v.valve.actuator.action == action) > 40);
    }
    assert!(count(&|v| v.valve.moving.transmission != Transmission::Stem) > 25);
    assert!(count(&|v| matches!(v.valve.stage.kind, StageKind::PressurisedAtRest { .. })) > 60);
    assert!(count(&|v| matches!(v.valve.stage.kind, StageKind::BlockedAtRest { .. })) > 60);
    assert!(count(&|v| v.friction_share > 0.15) > 25 && count(&|v| v.friction_share < 0.05) > 15);
}
