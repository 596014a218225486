//! Command 131 to its end, and what ends it early.

use super::rig::Rig;
use looprig::device::positioner::{Cause, Ending, Key};
use looprig::sim::Change;

/// [DV-91]: 131 answers 0 at once; 132 tells stage and share, which never falls; 134 the result.
#[test]
fn to_its_end() {
    let mut rig = Rig::new("", "");
    let begun = rig.now();
    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    assert!(rig.now().since(begun).as_secs_f64() < 1.0, "at once");
    assert_eq!(rig.code(131, &[("calibration", "1")]), 32, "busy with the first one");
    let (mut last, mut steps) = (0.0, Vec::new());
    loop {
        rig.idle(0.5);
        let progress = rig.data(132);
        if progress[1] != 1 {
            break;
        }
        assert!(f64::from(progress[3]) >= last, "{progress:?}");
        last = f64::from(progress[3]);
        if steps.last() != Some(&progress[2]) {
            steps.push(progress[2]);
        }
        assert!(rig.now().since(begun).as_secs_f64() < 240.0);
    }
    assert!(steps.is_sorted() && steps.len() >= 6, "{steps:?}");
    // Kind 3, done, no step, 100 %.
    assert_eq!(rig.data(132)[..4], [3, 2, 0, 100]);
    let result = rig.data(134);
    assert_eq!(result[..3], [3, 2, 0]);
    // 30 degrees to each side of square [PL-20].
    assert!((rig.number(134, "lever_angle_closed") + 30.0).abs() < 0.3);
    assert!((rig.number(134, "lever_angle_open") - 30.0).abs() < 0.3);
    assert!(rig.number(134, "stroke_time_opening") > 0.1);
    // The true friction is 140 N on 350 cm2: 0.04 bar.
    let friction = rig.number(134, "friction");
    assert!((0.02..0.07).contains(&friction), "{friction}");
    // It is configuration: the counter has gone up by one.
    assert_eq!(rig.number(0, "configuration_change_counter"), 1.0);
}

/// Every way that ends one early leaves what was in force before, and 134 says how it ended.
#[test]
fn what_ends_it_early() {
    let mut rig = Rig::calibrated("");
    let before = rig.in_force();
    assert!(before.is_some());

    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    rig.idle(4.0);
    assert_eq!(rig.code(133, &[]), 0);
    assert_eq!(rig.code(133, &[]), 9, "none is running");
    assert_eq!(rig.data(134)[..3], [3, 3, 0], "aborted");
    assert_eq!(rig.in_force(), before);

    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    rig.idle(4.0);
    rig.change(Change::PowerCycle);
    assert_eq!(rig.electronics().result().map(|o| o.ending), Some(Ending::Failed(Cause::PowerLost)));
    assert_eq!(rig.data(134)[..3], [3, 4, 18], "the power was lost");
    assert_eq!(rig.in_force(), before);

    rig.idle(5.0);
    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    rig.idle(4.0);
    assert_eq!(rig.code(42, &[]), 0);
    rig.idle(5.0);
    assert_eq!(rig.data(134)[..3], [3, 4, 18], "reset");
    assert_eq!(rig.in_force(), before);

    // Who takes the leave back ends what runs [DV-91].
    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    rig.idle(4.0);
    rig.change(Change::CalibrationAllowed(false));
    assert_eq!(rig.data(134)[..3], [3, 4, 19], "the process no longer allows it");
    rig.change(Change::CalibrationAllowed(true));
    assert_eq!(rig.in_force(), before);

    rig.idle(5.0);
    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    rig.idle(4.0);
    rig.change(Change::SupplyPressureBar(0.0));
    rig.idle(30.0);
    let result = rig.data(134);
    assert_eq!(result[..2], [3, 4]);
    let lost = [Cause::SupplyLost.code(), Cause::SupplyTooLow.code()];
    assert!(lost.contains(&result[2]), "{result:?}");
    assert_eq!(rig.in_force(), before);
    assert_eq!(rig.code(131, &[("calibration", "3")]), 10, "no supply pressure");

    rig.change(Change::SupplyPressureBar(6.0));
    rig.idle(10.0);
    rig.set_current_ma(0.0);
    rig.idle(1.0);
    assert_eq!(rig.code(131, &[("calibration", "3")]), 11, "no loop current");
}

/// [DV-90]: the same failure again is told again, and dated anew.
#[test]
fn the_same_failure_twice() {
    let mut rig = Rig::calibrated("");
    let (mut lasted, mut told) = (Vec::new(), Vec::new());
    rig.station().device_mut().take_positioner_news();
    for _ in 0..2 {
        rig.idle(10.0);
        rig.change(Change::Calibrate);
        rig.idle(5.0);
        rig.change(Change::PowerCycle);
        lasted.extend(rig.electronics().result().map(|o| o.lasted_s));
        let stored = rig.station().device().stored().positioner.clone().expect("stored");
        assert!(stored.ended.is_some_and(|e| !e.is_noted));
        told.extend(rig.station().device_mut().take_positioner_news().into_iter().map(|n| n.1.to_string()));
        // Somebody takes note.
        rig.change(Change::KeyPressed(Key::Acknowledge, true));
        rig.change(Change::KeyPressed(Key::Acknowledge, false));
    }
    assert!(lasted[0] == lasted[1], "{lasted:?}: so this test says nothing");
    let count = |words: &str| told.iter().filter(|t| t.starts_with(words)).count();
    assert_eq!(count("a calibration has begun: end stops, stroke times and friction"), 2, "{told:?}");
    assert_eq!(count("the calibration failed while"), 2, "{told:?}");
}

/// Write protect, a lock of the other master, and a process that does not allow it keep it from being begun.
#[test]
fn who_may_not_start_it() {
    let mut rig = Rig::new("", "");
    rig.idle(1.0);
    assert_eq!(rig.code(131, &[("calibration", "0")]), 2);
    assert_eq!(rig.code(131, &[("calibration", "4")]), 2);
    rig.change(Change::WriteProtect(true));
    assert_eq!(rig.code(131, &[("calibration", "3")]), 7);
    rig.change(Change::Calibrate);
    assert!(rig.electronics().progress().is_none(), "nor may somebody at the device");
    rig.change(Change::WriteProtect(false));
    rig.change(Change::CalibrationAllowed(false));
    assert_eq!(rig.code(131, &[("calibration", "3")]), 12);
    rig.change(Change::Calibrate);
    assert!(rig.electronics().progress().is_none());
    rig.change(Change::CalibrationAllowed(true));
    rig.change(Change::Calibrate);
    assert!(rig.electronics().progress().is_some());
    assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "50")]), 9, "a calibration is running");
}

/// [DV-89]: a calibration that fails is an alarm, in command 48 and in the history, until one is done.
#[test]
fn a_failure_is_told() {
    let mut rig = Rig::calibrated("");
    rig.change(Change::ValveFault { name: looprig::plant::fault::FaultName::StemSeized, severity: 1.0 });
    assert_eq!(rig.code(131, &[("calibration", "1")]), 0);
    rig.idle(200.0);
    assert_eq!(rig.data(134)[..2], [1, 4]);
    let status = rig.data(48);
    assert_eq!(status[0] & 0x80, 0x80, "calibration failed: {status:?}");
    assert_eq!(status[6] & 0x01, 0x01, "maintenance required");
    let history = rig.ask(143, &[("first_entry", "0")]);
    let data = history.transaction.reply_frame().expect("an answer").data().to_vec();
    // First entry, how many, then fault, date, time and travel of each.
    assert!(data[1] >= 1, "{data:?}");
    let faults: Vec<u8> = data[2..].chunks(12).map(|slot| slot[0]).collect();
    assert!(faults.contains(&8), "{faults:?}");
    assert_eq!(rig.code(144, &[]), 0);
    rig.idle(1.0);
    let again = rig.ask(143, &[("first_entry", "0")]);
    let data = again.transaction.reply_frame().expect("an answer").data().to_vec();
    let faults: Vec<u8> = data[2..].chunks(12).map(|slot| slot[0]).collect();
    assert!(faults.contains(&8), "what is wrong just now is kept again: {faults:?}");
    rig.change(Change::ValveFault { name: looprig::plant::fault::FaultName::StemSeized, severity: 0.0 });
    rig.calibrate();
    assert_eq!(rig.data(48)[0] & 0x80, 0);
}

/// [CM-DESCRIBED] [DV-89]: what command 48 tells of the positioner's own octets stands in words, in revision 5 behind the
/// four octets that others have elsewhere ([DV-04]): never calibrated is 01 in the second octet, maintenance required 01
/// in the extended status ([ST-05]).
#[test]
fn the_status_of_a_new_device_in_words() {
    let mut rig = Rig::new("", "");
    assert_eq!(rig.told(48, "device_status"), "000100000000 (never calibrated)");
    let mut rig = Rig::new("revision = 5", "");
    assert_eq!(rig.told(48, "device_status"), "000000010001 (maintenance required, never calibrated)");
}
