//! Whatever ends a calibration at any moment: what was learned before stays in force [DV-90].

use crate::rig::{Rig, go};
use looprig::device::positioner::{Ending, Kept, Kind, PERIOD};
use looprig::plant::generated::Dice;
use looprig::plant::valve::ValveConfig;

/// By an order, by loss of current, by loss of power with a restart, by loss of air: 500 moments while a calibration runs, drawn
/// over the whole of each kind.
#[test]
fn no_end_at_any_moment_loses_what_was_learned() {
    let moments = if cfg!(debug_assertions) { 12 } else { 500 };
    let mut dice = Dice::new(4711);
    let mut base = Rig::calibrated(ValveConfig::reference(), 9);
    go(&mut base, 40.0, 20.0);
    let calibrated = base.electronics.kept().calibrated.expect("it was calibrated");
    let kinds = [Kind::EndStops, Kind::StrokeTimes, Kind::Friction].map(|kind| {
        let mut whole = base.clone();
        whole.electronics.start_calibration(kind).expect("nothing is wrong");
        let mut lasts_s = 0.0;
        while whole.electronics.progress().is_some() {
            whole.tick();
            lasts_s += PERIOD.as_secs_f64();
        }
        assert_ne!(whole.electronics.calibrated(), Some(&calibrated), "a whole one is new");
        (kind, lasts_s)
    });
    let (mut ran, mut done_all_the_same) = (0, 0);
    for n in 0..moments {
        let mut rig = base.clone();
        let (kind, lasts_s) = kinds[n % 3];
        rig.electronics.start_calibration(kind).expect("nothing is wrong");
        // Its last two periods would be its end.
        rig.run(dice.between(0.0, lasts_s - 0.02), |_, _| {});
        ran += usize::from(rig.electronics.progress().is_some());
        match n / 3 % 4 {
            0 => assert!(rig.electronics.abort(), "moment {n}"),
            1 => {
                rig.current_a = 0.0;
                rig.run(0.5, |_, _| {});
            }
            2 => {
                rig.electronics.restart();
                // As it would be read from its memory.
                let text = serde_json::to_string(&rig.electronics.kept()).expect("it can be written");
                let kept: Kept = serde_json::from_str(&text).expect("and read");
                // Reading a number from text may miss its last digit.
                let (a, b) = (kept.calibrated.expect("kept"), calibrated);
                assert_eq!(kept.outcome.map(|o| o.ending), rig.electronics.result().map(|o| o.ending));
                assert!((a.closed_rad - b.closed_rad).abs() + (a.open_rad - b.open_rad).abs() < 1e-12);
            }
            _ => {
                rig.valve.set_header_gauge_pa(0.0).expect("a header may be empty");
                rig.run(100.0, |_, _| {});
            }
        }
        assert!(rig.electronics.progress().is_none(), "moment {n}");
        // It is of this one, not of the one before.
        let outcome = *rig.electronics.result().expect("one ended");
        assert_eq!(outcome.kind, kind, "moment {n}");
        if outcome.ending == Ending::Done {
            // There was air enough for what was left of it.
            assert_eq!(n / 3 % 4, 3, "moment {n}");
            done_all_the_same += 1;
        } else {
            assert_eq!(rig.electronics.calibrated(), Some(&calibrated), "moment {n}");
        }
    }
    assert_eq!(ran, moments, "each came while a calibration ran");
    // Only the last seconds of a calibration get by without air: of a quarter of the moments few.
    assert!(10 * done_all_the_same <= moments, "{done_all_the_same}");
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
