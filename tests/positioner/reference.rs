//! The reference actuator: what is learned against what arithmetic and the facts say of it [DV-96].

use crate::rig::{Rig, go};
use looprig::device::positioner::{Ending, Kind, Stage};
use looprig::plant::valve::ValveConfig;

/// Stroke times of the reference actuator at 1.4 bar g, computed by a script of its own (explicit Euler, converged): 2.0453 s
/// up, 3.2238 s down [PL-18] [PL-31]. The positioner sees the last move up to 0.1 degree early and a few periods late.
#[test]
fn stroke_times_are_those_of_the_script() {
    let rig = Rig::calibrated(ValveConfig::reference(), 5);
    let calibrated = rig.electronics.calibrated().expect("done");
    let (up, down) = (calibrated.opening_s.expect("timed"), calibrated.closing_s.expect("timed"));
    assert!((up - 2.0453).abs() < 0.06, "{up}");
    assert!((down - 3.2238).abs() < 0.06, "{down}");
}

/// [DV-91]: with 4 bar at its inlet, as a bench has it that says nothing, the spring still closes the valve, though what
/// is left in the actuator then, 0.16 bar, is just 4 % of the supply.
#[test]
fn a_supply_far_above_the_spring_is_no_fault() {
    let mut valve = ValveConfig::reference();
    let Some(regulator) = &mut valve.supply.regulator else { panic!("it has a regulator") };
    regulator.set_gauge_pa = 4e5;
    let mut rig = Rig::new(valve, 5);
    assert_eq!(rig.calibrate(Kind::Friction).ending, Ending::Done);
}

/// [DV-86]: slow strokes teach their speed too, here of a part-turn valve with a tenth and a twentieth of the usual stage: what is
/// stored is what the true travel did between 10 and 90 %.
#[test]
fn speeds_of_slow_strokes_are_learned() {
    for share in [0.1, 0.05] {
        let mut valve = ValveConfig::part_turn();
        for restriction in [&mut valve.stage.fill, &mut valve.stage.exhaust] {
            restriction.conductance_m3_per_s_pa *= share;
        }
        let mut rig = Rig::new(valve, 5);
        rig.electronics.start_calibration(Kind::EndStops).expect("nothing is wrong");
        let mut seen = Vec::new();
        while let Some(p) = rig.electronics.progress() {
            rig.tick();
            seen.push((p.stage, p.elapsed_s, rig.valve.travel_percent()));
        }
        assert_eq!(rig.electronics.result().map(|o| o.ending), Some(Ending::Done));
        let true_speed = |stage: Stage| {
            let at = |percent: f64| {
                let of: Vec<_> = seen.iter().filter(|s| s.0 == stage).collect();
                let w = of.windows(2).find(|w| (w[0].2 < percent) != (w[1].2 < percent));
                w.map_or(f64::NAN, |w| w[1].1)
            };
            80.0 / (at(90.0) - at(10.0)).abs()
        };
        let learned = rig.electronics.calibrated().expect("done").learned;
        for (is, stage) in [
            (learned.opening_percent_per_s, Stage::ToOpen),
            (learned.closing_percent_per_s, Stage::BackToClosed),
        ] {
            let right = true_speed(stage);
            assert!(right < 25.0, "{stage:?}: {right} %/s is not slow");
            assert!((is / right - 1.0).abs() < 0.03, "{share}, {stage:?}: {is}, not {right}");
        }
    }
}

/// 140 N Coulomb and 168 N static friction on 350 cm2 are 4000 and 4800 Pa: what is found must lie around them.
#[test]
fn friction_is_found() {
    let rig = Rig::calibrated(ValveConfig::reference(), 5);
    let friction_pa = rig.electronics.calibrated().and_then(|c| c.friction_pa).expect("measured");
    assert!((3600.0..5300.0).contains(&friction_pa), "{friction_pa}");
}

/// From 0.2 to 1.0 bar in the spring, 140 N of friction either way: lift-off is no stop, 1.04 bar is [PL-18].
#[test]
fn kinds_learn_what_they_say() {
    let mut rig = Rig::new(ValveConfig::reference(), 5);
    let outcome = rig.calibrate(Kind::EndStops);
    assert_eq!((outcome.ending, outcome.stage), (Ending::Done, Stage::BackToClosed));
    let first = *rig.electronics.calibrated().expect("done");
    assert_eq!((first.opening_s, first.closing_s, first.friction_pa), (None, None, None));
    // 17.32 mm from the pivot, 10 mm to either side: atan(10 / 17.32) = 30 degrees.
    assert!(
        (first.closed_rad.to_degrees() + 30.0).abs() < 0.05
            && (first.open_rad.to_degrees() - 30.0).abs() < 0.05
    );
    // [DV-91]: from 0.2 - 0.04 to 1.0 + 0.04 bar are 88 kPa, and it closes more slowly than it opens.
    let rise = 2.0 * 88e3 * first.learned.closing_percent_per_s / 100.0;
    assert!(first.learned.closing_percent_per_s < first.learned.opening_percent_per_s);
    assert!((first.learned.rise_pa_per_s / rise - 1.0).abs() < 0.1, "{:?}", first.learned);
    assert_eq!(rig.calibrate(Kind::StrokeTimes).ending, Ending::Done);
    let second = *rig.electronics.calibrated().expect("done");
    assert!(second.opening_s.is_some() && second.friction_pa.is_none());
    assert_eq!(rig.calibrate(Kind::Friction).ending, Ending::Done);
    let third = *rig.electronics.calibrated().expect("done");
    assert!(third.friction_pa.is_some());
    // What the end stops alone do not learn stays as it was.
    assert_eq!(rig.calibrate(Kind::EndStops).ending, Ending::Done);
    let fourth = *rig.electronics.calibrated().expect("done");
    assert_eq!((fourth.opening_s, fourth.friction_pa), (third.opening_s, third.friction_pa));
    assert_eq!(fourth.learned.jump_percent, third.learned.jump_percent);
    assert_eq!(fourth.learned.rise_pa_per_s, third.learned.rise_pa_per_s);
}

/// Never calibrated it has no drive, whatever the current asks for; the first calibration gives it one.
#[test]
fn never_calibrated_it_rests() {
    let mut rig = Rig::new(ValveConfig::reference(), 5);
    rig.set_point(70.0);
    rig.run(20.0, |_, rig| assert_eq!(rig.drive, -1.0));
    assert_eq!(rig.valve.travel_percent(), 0.0);
    assert_eq!(rig.electronics.travel_percent(), None);
}

/// The bar rises from stage to stage and never falls.
#[test]
fn progress_never_falls() {
    let mut rig = Rig::new(ValveConfig::reference(), 5);
    rig.electronics.start_calibration(Kind::Friction).expect("nothing is wrong");
    let (mut last, mut stages) = (0, vec![]);
    while let Some(p) = rig.electronics.progress() {
        assert!(p.percent >= last && p.percent <= 99);
        last = p.percent;
        if stages.last() != Some(&p.stage) {
            stages.push(p.stage);
        }
        rig.tick();
    }
    assert_eq!(stages.len(), 9);
    assert!(stages.windows(2).all(|w| w[0] < w[1]), "{stages:?}");
}

/// A clone goes on in exactly the same way.
#[test]
fn a_clone_is_a_snapshot() {
    let mut rig = Rig::calibrated(ValveConfig::double_acting(), 5);
    go(&mut rig, 30.0, 3.3);
    let mut other = rig.clone();
    rig.set_point(60.0);
    other.set_point(60.0);
    for _ in 0..2000 {
        rig.tick();
        other.tick();
        assert_eq!(rig.drive.to_bits(), other.drive.to_bits());
    }
    assert_eq!(rig.electronics, other.electronics);
}

/// Tight shut-off: at 0.4 % the actuator is vented, and the spring alone presses on the seat.
#[test]
fn shut_off_is_tight() {
    let mut rig = Rig::calibrated(ValveConfig::reference(), 5);
    go(&mut rig, 30.0, 15.0);
    go(&mut rig, 0.4, 20.0);
    let r = rig.valve.readings();
    assert_eq!(r.travel_percent, 0.0);
    assert!(r.output_gauge_pa[0] < 100.0, "{}", r.output_gauge_pa[0]);
    // 700 N of preload, less the 140 N of friction that it came in against.
    assert!((r.stop_n - 560.0).abs() < 10.0, "{}", r.stop_n);
}

/// With a stem that is stuck the deviation is told after its time, and ends when it moves again.
#[test]
fn a_deviation_is_told() {
    use looprig::plant::fault::FaultName;
    let mut rig = Rig::calibrated(ValveConfig::reference(), 5);
    go(&mut rig, 30.0, 15.0);
    rig.valve.inject(FaultName::StemSeized, 1.0).expect("it has a stem");
    rig.set_point(60.0);
    rig.run(19.0, |_, rig| assert!(!rig.electronics.deviates()));
    rig.run(3.0, |_, _| {});
    assert!(rig.electronics.deviates());
    rig.valve.clear(FaultName::StemSeized).expect("it has a stem");
    rig.run(15.0, |_, _| {});
    assert!(!rig.electronics.deviates());
}
