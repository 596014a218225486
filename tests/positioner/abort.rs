//! Whatever ends a calibration at any moment: what was learned before stays in force [DV-90].

use crate::generate::Dice;
use crate::rig::{Rig, go};
use looprig::device::positioner::{Ending, Kind};
use looprig::plant::valve::ValveConfig;

/// By an order, by loss of current, by loss of power with a restart, by loss of air: 500 moments over the whole of it.
#[test]
fn no_end_at_any_moment_loses_what_was_learned() {
    let moments = if cfg!(debug_assertions) { 12 } else { 500 };
    let mut dice = Dice::new(4711);
    let mut rig = Rig::calibrated(ValveConfig::reference(), 9);
    go(&mut rig, 40.0, 20.0);
    let before = rig.electronics.kept();
    let calibrated = before.calibrated.expect("it was calibrated");
    let mut lasts_s = 0.0;
    let mut whole = rig.clone();
    whole.electronics.start_calibration(Kind::Friction).expect("nothing is wrong");
    while whole.electronics.progress().is_some() {
        whole.tick();
        lasts_s += 0.01;
    }
    for n in 0..moments {
        let mut rig = rig.clone();
        let kind = [Kind::Friction, Kind::StrokeTimes, Kind::EndStops][n % 3];
        rig.electronics.start_calibration(kind).expect("nothing is wrong");
        rig.run(dice.between(0.0, lasts_s), |_, _| {});
        let ran = rig.electronics.progress().is_some();
        let done = rig.electronics.result().is_some_and(|o| o.ending == Ending::Done && o.kind == kind);
        match n % 4 {
            0 => assert_eq!(rig.electronics.abort(), ran),
            1 => {
                rig.current_a = 0.0;
                rig.run(0.5, |_, _| {});
            }
            2 => {
                rig.electronics.restart();
                // As it would be read from its memory.
                let text = serde_json::to_string(&rig.electronics.kept()).expect("it can be written");
                let kept: looprig::device::positioner::Kept = serde_json::from_str(&text).expect("and read");
                // Reading a number from text may miss its last digit.
                let (a, b) = (kept.calibrated.expect("kept"), calibrated);
                assert_eq!(kept.outcome.map(|o| o.ending), rig.electronics.result().map(|o| o.ending));
                assert!(
                    !ran || (a.closed_rad - b.closed_rad).abs() + (a.open_rad - b.open_rad).abs() < 1e-12
                );
            }
            _ => {
                rig.valve.set_header_gauge_pa(0.0).expect("a header may be empty");
                rig.run(100.0, |_, _| {});
            }
        }
        assert!(rig.electronics.progress().is_none(), "moment {n}");
        if ran && rig.electronics.result().is_some_and(|o| o.ending != Ending::Done) {
            assert_eq!(rig.electronics.calibrated(), Some(&calibrated), "moment {n}");
        } else {
            // It was done before its moment came, or in spite of the loss: then all of it is new.
            assert!(done || !ran || n % 4 == 3, "moment {n}");
            assert!(rig.electronics.calibrated().is_some());
        }
    }
}

/// After an abort the valve returns to its set point.
#[test]
fn after_an_abort_it_follows_again() {
    let mut rig = Rig::calibrated(ValveConfig::reference(), 9);
    go(&mut rig, 40.0, 20.0);
    rig.electronics.start_calibration(Kind::EndStops).expect("nothing is wrong");
    rig.run(4.0, |_, _| {});
    assert!((rig.valve.travel_percent() - 40.0).abs() > 5.0, "it strokes");
    rig.electronics.abort();
    rig.run(20.0, |_, _| {});
    assert!((rig.valve.travel_percent() - 40.0).abs() < 0.4);
    assert_eq!(rig.electronics.result().map(|o| o.ending), Some(Ending::Aborted));
}
