//! Keys and display of the mock, pressed by events of a bench [DV-98] [DV-99].

use super::rig::Rig;
use looprig::device::positioner::Key;
use looprig::sim::Change;

fn press(rig: &mut Rig, key: Key, s: f64) {
    rig.change(Change::KeyPressed(key, true));
    rig.idle(s);
    rig.change(Change::KeyPressed(key, false));
}

fn display(rig: &mut Rig) -> [String; 4] {
    let now = rig.now();
    rig.station().device().display(now).expect("a display")
}

/// Out of its box: held for 3 s the key calibrates, then two keys move the set point by hand, and the other gives it back.
#[test]
fn calibrated_and_moved_by_keys() {
    let mut rig = Rig::new(
        "",
        "[[event]]\nat_s = 10\nkey_calibrate = true\n[[event]]\nat_s = 12.5\nkey_calibrate = false\n\
         [[event]]\nat_s = 20\nkey_calibrate = true\n[[event]]\nat_s = 24\nkey_calibrate = false\n",
    );
    let left = 19.0 - rig.now().as_nanos() as f64 / 1e9;
    rig.idle(left);
    assert!(rig.electronics().progress().is_none(), "2.5 s are not enough");
    assert_eq!(display(&mut rig)[3], "not calibrated");
    rig.idle(3.0);
    assert!(display(&mut rig)[3].starts_with("hold "), "{:?}", display(&mut rig));
    rig.idle(3.0);
    assert!(rig.electronics().progress().is_some());
    assert!(display(&mut rig)[3].contains(" % "), "{:?}", display(&mut rig));
    while rig.electronics().progress().is_some() {
        rig.idle(5.0);
    }
    assert!(rig.in_force().is_some());
    rig.idle(20.0);
    // 5 %/s for 4 s from where it stood, 50 %.
    press(&mut rig, Key::Open, 4.0);
    rig.idle(20.0);
    let travel = rig.truth().travel_percent;
    assert!((travel - 70.0).abs() < 1.0, "{travel}");
    assert_eq!(display(&mut rig)[3], "by hand");
    press(&mut rig, Key::Close, 2.0);
    rig.idle(20.0);
    assert!((rig.truth().travel_percent - 60.0).abs() < 1.5);
    press(&mut rig, Key::Acknowledge, 0.2);
    rig.idle(20.0);
    assert!((rig.truth().travel_percent - 50.0).abs() < 0.5);
    assert_eq!(display(&mut rig)[3], "follows the loop");
}

/// Without a calibration the keys drive the valve as it is, so that somebody sees that it moves.
#[test]
fn moved_before_it_is_calibrated() {
    let mut rig = Rig::new("", "");
    rig.idle(2.0);
    press(&mut rig, Key::Open, 20.0);
    assert!(rig.truth().travel_percent > 5.0, "{:?}", rig.truth());
    rig.idle(20.0);
    assert!(rig.truth().travel_percent < 0.1, "let go it closes again");
}

#[test]
fn locked_keys_do_nothing() {
    let mut rig = Rig::calibrated("");
    rig.idle(20.0);
    rig.change(Change::WriteProtect(true));
    press(&mut rig, Key::Open, 4.0);
    press(&mut rig, Key::Calibrate, 4.0);
    rig.idle(10.0);
    assert!((rig.truth().travel_percent - 50.0).abs() < 0.5);
    assert!(rig.electronics().progress().is_none());
    assert_eq!(display(&mut rig)[3], "locked");
    press(&mut rig, Key::Find, 0.1);
    assert_eq!(display(&mut rig)[3], "armed to be found");
    assert!(rig.station().device().is_armed());
}

/// [DV-98]: the display tells why a held "calibrate" came to nothing, and only then what else there is.
#[test]
fn a_refused_start_is_told() {
    let mut rig = Rig::calibrated("");
    rig.idle(20.0);
    rig.change(Change::CalibrationAllowed(false));
    press(&mut rig, Key::Calibrate, 3.5);
    assert!(rig.electronics().progress().is_none());
    assert_eq!(display(&mut rig)[3], "no: process forbids it");
    rig.idle(6.0);
    assert_eq!(display(&mut rig)[3], "follows the loop");
}

/// The key "acknowledge" ends a calibration, and what was learned before holds.
#[test]
fn acknowledge_stops_a_calibration() {
    let mut rig = Rig::calibrated("");
    let before = rig.in_force();
    rig.change(Change::Calibrate);
    rig.idle(3.0);
    assert!(rig.electronics().progress().is_some());
    press(&mut rig, Key::Acknowledge, 0.1);
    assert!(rig.electronics().progress().is_none());
    assert_eq!(rig.data(134)[1], 3, "aborted");
    assert_eq!(rig.in_force(), before);
}
