//! A lock of the other master, and what it keeps from whom: command 131, the keys, the bench [DV-17] [DV-98].

use super::rig::Rig;
use looprig::device::positioner::Key;
use looprig::device::{Ignored, NotBegun, Response};
use looprig::sim::Change;

/// The primary master locks the device at once, and asks nothing more; the rig's host is the secondary one.
fn locked(revision: u8, lock: &str) -> Rig {
    let master = format!(
        "[[master]]\nrole = \"primary\"\nasks = [{{ device = \"FV-3104\", command = 71, data = \"{lock}\", every_s = 80000 }}]\n"
    );
    let mut rig =
        Rig::new(&format!("revision = {revision}\n[device.positioner]\ncalibrated = true"), &master);
    rig.idle(5.0);
    rig
}

fn change(rig: &mut Rig, change: Change) -> Response {
    let now = rig.now();
    rig.station().change(now, change).expect("it is the device's own affair")
}

fn press(rig: &mut Rig, key: Key, pressed: bool) -> Response {
    change(rig, Change::KeyPressed(key, pressed))
}

/// Temporary and permanent: the other master is locked out of all that moves the valve, with 16, before revision 7 with 32; who
/// stands before the device is not. Everybody may stop what runs.
#[test]
fn against_the_other_master() {
    for (revision, code) in [(7, 16), (6, 32)] {
        for (lock, status) in [("01", 0x05), ("02", 0x07)] {
            let mut rig = locked(revision, lock);
            // Locked, permanent (02), by the primary (04) [TB-14].
            assert_eq!(rig.data(76), [status]);
            assert_eq!(rig.code(131, &[("calibration", "1")]), code, "revision {revision}, {lock}");
            assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "60")]), code);
            assert_eq!(rig.code(144, &[]), code);
            assert!(rig.electronics().progress().is_none());
            // What reads is open.
            for number in [128, 130, 132, 134, 135, 137, 141, 145] {
                assert_eq!(rig.code(number, &[]), 0, "command {number}");
            }
            assert_eq!(press(&mut rig, Key::Open, true), Response::Moves(Key::Open));
            rig.idle(2.0);
            press(&mut rig, Key::Open, false);
            rig.idle(10.0);
            // 5 %/s from 50 %.
            let travel = rig.truth().travel_percent;
            assert!((travel - 60.0).abs() < 1.0, "{travel}");
            assert_eq!(change(&mut rig, Change::Calibrate), Response::Begun);
            assert_eq!(rig.code(131, &[("calibration", "1")]), code, "the lock is told before what runs");
            assert_eq!(rig.code(133, &[]), 0);
            assert!(rig.electronics().progress().is_none());
        }
    }
}

/// Against all: the one who locked is out too, and so is who stands before the device; he may still stop what runs.
#[test]
fn against_all() {
    let mut rig = locked(7, "03");
    assert_eq!(rig.data(76)[0] & 0x08, 0x08);
    assert_eq!(rig.code(131, &[("calibration", "1")]), 16);
    let refused = Response::NotBegun(NotBegun::Locked);
    assert_eq!(change(&mut rig, Change::Calibrate), refused);
    for key in [Key::Open, Key::Close] {
        assert_eq!(press(&mut rig, key, true), Response::Ignored(key, Ignored::Locked));
        rig.idle(2.0);
        press(&mut rig, key, false);
    }
    assert_eq!(press(&mut rig, Key::Calibrate, true), Response::ToBeHeld(Some(NotBegun::Locked)));
    rig.idle(4.0);
    assert_eq!(press(&mut rig, Key::Calibrate, false), refused);
    assert!(rig.electronics().progress().is_none());
    let travel = rig.truth().travel_percent;
    assert!((travel - 50.0).abs() < 0.6, "{travel}");
    // For 5 s the display tells why nothing came of it [DV-99].
    for line in ["no: locked against all", "locked"] {
        let now = rig.now();
        assert_eq!(rig.station().device().display(now).expect("a display")[3], line);
        rig.idle(6.0);
    }
}

/// A calibration that runs goes on when it is locked against all, and both who is locked out and the key may end it.
#[test]
fn locked_while_it_runs() {
    let mut rig = Rig::new("[device.positioner]\ncalibrated = true", "");
    rig.idle(5.0);
    let before = rig.in_force();
    for by_key in [false, true] {
        assert_eq!(rig.code(131, &[("calibration", "1")]), 0);
        rig.idle(1.0);
        assert_eq!(rig.code(71, &[("lock_code", "3")]), 0);
        rig.idle(1.0);
        assert!(rig.electronics().progress().is_some(), "it goes on");
        match by_key {
            true => assert_eq!(press(&mut rig, Key::Acknowledge, true), Response::Ended),
            false => assert_eq!(rig.code(133, &[]), 0),
        }
        assert!(rig.electronics().progress().is_none());
        assert_eq!(rig.in_force(), before);
        assert_eq!(rig.code(71, &[("lock_code", "0")]), 0);
    }
}
