//! The second status octet and command 48.

use super::rig::{BOTH, PRIMARY, REVISIONS, Rig, SECONDARY, from_master, request, unique};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;

const R7: Revision = Revision::R7;

/// [ST-08]: mask 20 for each master until its first answer; a damaged request and a silent one tell nobody.
#[test]
fn cold_start_by_master() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        let mut bad = request(&from_master(PRIMARY, unique(revision)), 0, &[]);
        *bad.last_mut().unwrap() ^= 0x01;
        assert_eq!(rig.send(&bad, None).expect("an answer").status, [0x88, 0x00]);
        assert_eq!(rig.send(&request(&[0x80, 0, 0, 0, 0], 11, &[0; 6]), None), None);
        assert_eq!(rig.ask(PRIMARY, 200, &[]).status, [64, 0x20], "refused is answered too");
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x00]);
        assert_eq!(rig.ask(SECONDARY, 0, &[]).status, [0, 0x20]);
        assert_eq!(rig.ask(SECONDARY, 0, &[]).status, [0, 0x00]);
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x00]);
    }
}

/// [ST-09]: mask 40 for both masters by a write of either, out for the one that resets it.
#[test]
fn configuration_changed_by_master() {
    for revision in REVISIONS {
        for (writer, other) in [(PRIMARY, SECONDARY), (SECONDARY, PRIMARY)] {
            let mut rig = Rig::new(revision).warm();
            let counter: &[u8] = if revision == R7 { &[0, 1] } else { &[] };
            assert_eq!(rig.ask(writer, 19, &[0, 0, 1]).status, [0, 0x40]);
            assert_eq!(rig.ask(other, 0, &[]).status, [0, 0x40]);
            assert_eq!(rig.ask(writer, 38, counter).status, [0, 0x00]);
            assert_eq!(rig.ask(writer, 0, &[]).status, [0, 0x00]);
            assert_eq!(rig.ask(other, 0, &[]).status, [0, 0x40]);
            assert_eq!(rig.ask(other, 38, counter).status, [0, 0x00]);
            assert_eq!(rig.ask(writer, 19, &[0, 0, 2]).status, [0, 0x40]);
            assert_eq!(rig.ask(other, 0, &[]).status, [0, 0x40]);
        }
    }
}

/// A write that is refused sets nothing.
#[test]
fn refused_writes_change_no_status() {
    let mut rig = Rig::new(R7).warm();
    assert_eq!(rig.ask(PRIMARY, 6, &[64, 1]).status, [2, 0x00]);
    assert_eq!(rig.ask(PRIMARY, 19, &[0]).status, [5, 0x00]);
    rig.device.set_write_protected(true);
    assert_eq!(rig.ask(PRIMARY, 19, &[0, 0, 1]).status, [7, 0x00]);
}

/// Loop current saturated (04) outside 3.8 to 20.5 mA; the primary variable out of limits (01) outside −5 to 105 %, that
/// is 4 − 0.05·16 = 3.2 and 4 + 1.05·16 = 20.8 mA; another variable (02) outside 1.4 to 7 bar [ST-02]. Each change of
/// what command 48 says sets more status available (10) [ST-07].
#[test]
fn limits() {
    for revision in REVISIONS {
        for (ma, bar, expected) in [
            (3.8, 4.0, 0x00),
            (20.5, 4.0, 0x00),
            (3.79, 4.0, 0x14),
            (20.51, 4.0, 0x14),
            (3.19, 4.0, 0x15),
            (20.81, 4.0, 0x15),
            (12.0, 1.4, 0x00),
            (12.0, 7.0, 0x00),
            (12.0, 1.39, 0x12),
            (12.0, 7.01, 0x12),
        ] {
            let mut rig = Rig::new(revision).warm();
            rig.device.set_loop_current_ma(rig.now, ma);
            rig.device.set_supply_pressure_bar(bar);
            assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, expected], "{ma} mA, {bar} bar");
        }
    }
    // Limited low and high in the status of variables [TY-08]: C0 + 10, C0 + 20.
    let mut rig = Rig::new(R7);
    rig.device.set_loop_current_ma(rig.now, 3.5);
    rig.device.set_supply_pressure_bar(8.0);
    let data = rig.ask(PRIMARY, 9, &[0, 245, 3]).data;
    assert_eq!((data[8], data[16], data[24]), (0xD0, 0xD0, 0xE0));
    // What is no number is not taken.
    rig.device.set_loop_current_ma(rig.now, f64::NAN);
    rig.device.set_supply_pressure_bar(f64::INFINITY);
    assert_eq!(rig.ask(PRIMARY, 9, &[0, 245, 3]).data[1..25], data[1..25]);
}

/// Octets of command 48 [CM-048] with a saturated channel [TB-11] and a primary variable out of limits, which is our
/// reason for "out of specification" (10) in octet 6 [ST-05].
#[test]
fn additional_status() {
    for revision in [Revision::R6, R7] {
        let mut rig = Rig::new(revision).warm();
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data, [0; 14]);
        rig.device.set_loop_current_ma(rig.now, 3.0);
        let mut expected = [0; 14];
        (expected[6], expected[10]) = (0x10, 0x01);
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data, expected);
        assert_eq!(rig.ask(PRIMARY, 0, &[]).data[16], 0x10, "the same in command 0");
        assert_eq!(rig.ask(PRIMARY, 9, &[0]).data[0], 0x10, "and in command 9");
        rig.device.set_loop_current_ma(rig.now, 4.0);
        rig.ask(PRIMARY, 6, &[0, 0]);
        let mut expected = [0; 14];
        expected[13] = 0x01;
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data, expected);
    }
    let mut five = Rig::new(Revision::R5);
    assert_eq!(five.ask(PRIMARY, 48, &[]).data, [0; 6]);
}

/// [ST-07]: in revision 7 the master that sends the octets back has seen them, and that master only.
#[test]
fn more_status_until_seen() {
    let mut rig = Rig::new(R7).warm();
    rig.device.set_loop_current_ma(rig.now, 3.7);
    let seen = rig.ask(PRIMARY, 48, &[]);
    assert_eq!(seen.status, [0, 0x14], "reading alone does not clear it");
    // Other octets: warning 14 with the reply's data.
    let mut wrong = seen.data.clone();
    wrong[10] = 0;
    let reply = rig.ask(PRIMARY, 48, &wrong);
    assert_eq!((reply.status, &reply.data), ([14, 0x14], &seen.data));
    // Too few: 5, no data.
    let reply = rig.ask(PRIMARY, 48, &seen.data[..13]);
    assert_eq!((reply.status, reply.data.len()), ([5, 0x14], 0));
    assert_eq!(rig.ask(PRIMARY, 48, &seen.data).status, [0, 0x04]);
    assert_eq!(rig.ask(SECONDARY, 0, &[]).status, [0, 0x14], "the other has not seen it");
    // Surplus octets are ignored.
    let more = [&seen.data[..], &[0xAA]].concat();
    assert_eq!(rig.ask(SECONDARY, 48, &more).status, [0, 0x04]);
    // Going back is a change too, and both are told.
    rig.device.set_loop_current_ma(rig.now, 4.0);
    for master in BOTH {
        assert_eq!(rig.ask(master, 0, &[]).status, [0, 0x10]);
        assert_eq!(rig.ask(master, 48, &[0; 14]).status, [0, 0x00]);
    }
    // What came and went between two requests is not lost.
    rig.device.set_loop_current_ma(rig.now, 3.7);
    rig.device.set_loop_current_ma(rig.now, 4.0);
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x10]);
}

/// Before revision 7 the bit lasts as long as the condition, whatever is sent (from memory) [ST-07].
#[test]
fn more_status_while_it_lasts() {
    for revision in [Revision::R5, Revision::R6] {
        let mut rig = Rig::new(revision).warm();
        rig.device.set_loop_current_ma(rig.now, 3.7);
        let seen = rig.ask(PRIMARY, 48, &[]).data;
        assert_eq!(rig.ask(PRIMARY, 48, &seen).status, [0, 0x14]);
        rig.device.set_loop_current_ma(rig.now, 4.0);
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x00]);
    }
}

/// A device that starts with its loop current fixed says so from the first answer on.
#[test]
fn fixed_from_power_up() {
    let mut config = DeviceConfig::new(Revision::R5);
    config.factory.polling_address = 2;
    config.positioner().loop_current_ma = 12.0;
    let mut rig = Rig::with(config, None);
    assert_eq!(rig.device.set_point_percent(), 0.0, "as at 4 mA");
    // Loop current fixed, more status available, cold start.
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x38]);
    // The mock's own octets in this revision: fixed channels third.
    assert_eq!(rig.ask(PRIMARY, 48, &[]).data, [0, 0, 1, 0, 0, 0]);
}

/// Fixing the loop current changes what command 48 says, so its own answer has mask 10 besides 40 and 08 [ST-07]; and a
/// set point that is held is within its limits, however far outside (04) the current is.
#[test]
fn fixed_by_command() {
    let mut rig = Rig::new(R7).warm();
    assert_eq!(rig.ask(PRIMARY, 6, &[0, 0]).status, [0, 0x58]);
    rig.device.set_loop_current_ma(rig.now, 3.0);
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x5C]);
    assert_eq!(rig.ask(PRIMARY, 6, &[0, 1]).status, [0, 0x55]);
}
