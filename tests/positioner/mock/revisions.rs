//! Revisions 5 and 6 with a computed valve: its own commands are there, some shared ones are not [DV-16] [DV-80].

use super::rig::Rig;
use looprig::device::positioner::Key;
use looprig::sim::Change;

fn rig(revision: u8) -> Rig {
    Rig::new(&format!("revision = {revision}"), "")
}

/// The octets of command 48 that tell of the positioner, in either shape: extended status, standardized status 0, the
/// device's own two [DV-04] [DV-89]. Revision 5 has six octets of its own: standardized status 0, channel saturated, channel
/// fixed, extended status, and the two.
fn status(rig: &mut Rig, revision: u8) -> [u8; 4] {
    let data = rig.data(48);
    match revision {
        5 => {
            assert_eq!(data.len(), 6);
            [data[3], data[0], data[4], data[5]]
        }
        _ => {
            assert_eq!(data.len(), 14);
            [data[6], data[8], data[0], data[1]]
        }
    }
}

/// The second status octet of an answer [ST-02].
fn field_status(rig: &mut Rig) -> u8 {
    let exchange = rig.ask(1, &[]);
    exchange.transaction.reply_frame().expect("an answer").status().expect("status octets")[1]
}

/// By 131 to its end: status before, while and after, and what 132 and 134 say.
#[test]
fn calibrated_by_command() {
    for revision in [5, 6] {
        let mut rig = rig(revision);
        rig.idle(2.0);
        // Never calibrated: own octet 2, 01; maintenance required, 01.
        assert_eq!(status(&mut rig, revision), [0x01, 0, 0, 0x01], "revision {revision}");
        assert_eq!(field_status(&mut rig) & 0x10, 0x10, "more status available");
        assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
        assert_eq!(rig.code(131, &[("calibration", "3")]), 32);
        rig.idle(3.0);
        // A calibration runs: 02; function check: 20.
        assert_eq!(status(&mut rig, revision), [0x21, 0, 0, 0x03], "revision {revision}");
        assert_eq!(rig.data(132)[..2], [3, 1]);
        while rig.electronics().progress().is_some() {
            rig.idle(1.0);
        }
        assert_eq!(rig.data(132)[..4], [3, 2, 0, 100]);
        assert_eq!(rig.data(134)[..3], [3, 2, 0]);
        rig.idle(20.0);
        assert_eq!(status(&mut rig, revision), [0, 0, 0, 0], "revision {revision}");
        assert_eq!(field_status(&mut rig) & 0x10, 0, "nothing more to tell");
        let travel = rig.truth().travel_percent;
        assert!((travel - 50.0).abs() < 0.6, "12 mA are 50 %, not {travel}");
        // It is configuration [DV-08]: configuration changed, 40.
        assert_eq!(field_status(&mut rig) & 0x40, 0x40);
    }
}

/// By the key, and ended by the other one; a failure is maintenance required and own octet 1, 80.
#[test]
fn calibrated_by_keys() {
    for revision in [5, 6] {
        let mut rig = rig(revision);
        rig.idle(2.0);
        rig.change(Change::KeyPressed(Key::Calibrate, true));
        rig.idle(4.0);
        rig.change(Change::KeyPressed(Key::Calibrate, false));
        assert_eq!(status(&mut rig, revision)[3], 0x03);
        rig.change(Change::KeyPressed(Key::Acknowledge, true));
        rig.change(Change::KeyPressed(Key::Acknowledge, false));
        assert_eq!(status(&mut rig, revision), [0x01, 0, 0, 0x01]);
        assert_eq!(rig.data(134)[..3], [3, 3, 0], "aborted");
        rig.change(Change::KeyPressed(Key::Calibrate, true));
        rig.idle(4.0);
        rig.change(Change::SupplyPressureBar(0.0));
        rig.idle(60.0);
        assert_eq!(rig.data(134)[..2], [3, 4], "failed");
        let told = status(&mut rig, revision);
        assert_eq!((told[0] & 0x21, told[2] & 0x80, told[3]), (0x01, 0x80, 0x01), "{told:02X?}");
        rig.change(Change::KeyPressed(Key::Acknowledge, true));
        rig.idle(1.0);
        assert_eq!(status(&mut rig, revision)[2] & 0x80, 0, "taken note of");
    }
}

/// Commands that came with a later revision are not implemented, 64 [DV-11] [DV-16]: nobody can lock it, simulate or set its
/// clock; the positioner's own are all there, and a set point by hand moves it.
#[test]
fn commands_that_are_not_there() {
    let since_6 = [7, 8, 9, 20, 21, 22, 71, 72, 76, 79, 80, 81, 82, 83, 95, 106];
    let since_7 = [73, 78, 89, 90, 103, 104, 105];
    for revision in [5, 6] {
        let mut rig = Rig::new(&format!("revision = {revision}\n[device.positioner]\ncalibrated = true"), "");
        let device = rig.device;
        let mut code = |number: u8| {
            let exchange = rig.host.ask_octets(&device, number, vec![0; 16]).expect("a line");
            // 21 and 73 are answered by the device that is meant alone.
            exchange.transaction.reply_frame().map(|f| f.status().expect("status octets")[0])
        };
        for number in since_7 {
            assert_eq!(code(number), Some(64), "command {number} in revision {revision}");
        }
        for number in since_6 {
            assert_eq!(code(number) == Some(64), revision == 5, "command {number} in revision {revision}");
        }
        for number in 128..=146u8 {
            assert_ne!(code(number), Some(64), "command {number} in revision {revision}");
        }
        assert_eq!(code(147), Some(64));
    }
    for revision in [5, 6] {
        let mut rig = Rig::new(&format!("revision = {revision}\n[device.positioner]\ncalibrated = true"), "");
        rig.idle(10.0);
        assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "70")]), 0);
        rig.idle(20.0);
        let travel = rig.truth().travel_percent;
        assert!((travel - 70.0).abs() < 0.6, "{travel}");
        assert_eq!(status(&mut rig, revision), [0x20, 0, 0, 0x04], "by hand: function check");
    }
}

/// [DV-91]: a positioner that is delivered calibrated says so, with what was learned; one out of its box says that none was ever run.
#[test]
fn calibrated_at_the_factory() {
    for revision in [5, 6, 7] {
        let mut rig = Rig::new(&format!("revision = {revision}\n[device.positioner]\ncalibrated = true"), "");
        // End stops, stroke times and friction; done at the factory; no fault; no date.
        assert_eq!(rig.data(134)[..6], [3, 5, 0, 1, 1, 0], "revision {revision}");
        assert!((rig.number(134, "lever_angle_closed") + 30.0).abs() < 0.3);
        assert_eq!(rig.data(132)[..3], [3, 5, 0]);
        // One that runs and is aborted is told; what was learned before is in force.
        assert_eq!(rig.code(131, &[("calibration", "1")]), 0);
        assert_eq!(rig.code(133, &[]), 0);
        assert_eq!(rig.data(134)[..3], [1, 3, 0], "aborted");
        assert!((rig.number(134, "lever_angle_closed") + 30.0).abs() < 0.3);
    }
    let mut rig = Rig::new("revision = 7", "");
    assert_eq!(rig.data(134)[..6], [0, 0, 0, 1, 1, 0]);
}

/// [DV-15]: a polling address other than 0 fixes the current at 4 mA in revision 5: the valve holds what 4 mA ask for, and the
/// display says so; by hand it moves all the same.
#[test]
fn several_on_the_wires_in_revision_5() {
    let mut rig = Rig::new("revision = 5\n[device.positioner]\ncalibrated = true", "");
    rig.idle(20.0);
    assert_eq!(rig.code(6, &[("polling_address", "5")]), 0);
    rig.set_current_ma(20.0);
    rig.idle(20.0);
    let travel = rig.truth().travel_percent;
    assert!((travel - 50.0).abs() < 0.6, "it stays where it was: {travel}");
    let now = rig.now();
    assert_eq!(rig.station().device().display(now).expect("a display")[3], "set point held");
    assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "70")]), 0);
    rig.idle(20.0);
    let travel = rig.truth().travel_percent;
    assert!((travel - 70.0).abs() < 0.6, "{travel}");
}
