//! What the reads answer, by revision.

use super::rig::{PRIMARY, REVISIONS, Rig};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;
use std::time::Duration;

const R5: Revision = Revision::R5;
const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

/// Singles [TY-02]: sign, exponent + 127, fraction. 12 = 1.5·2³, 50 = 1.5625·2⁵, −30 = −1.875·2⁴, 105 = 1.640625·2⁶.
const F0: [u8; 4] = [0x00, 0x00, 0x00, 0x00];
const F4: [u8; 4] = [0x40, 0x80, 0x00, 0x00];
const F10: [u8; 4] = [0x41, 0x20, 0x00, 0x00];
const F12: [u8; 4] = [0x41, 0x40, 0x00, 0x00];
const F50: [u8; 4] = [0x42, 0x48, 0x00, 0x00];
const F100: [u8; 4] = [0x42, 0xC8, 0x00, 0x00];
const F105: [u8; 4] = [0x42, 0xD2, 0x00, 0x00];
const MINUS_5: [u8; 4] = [0xC0, 0xA0, 0x00, 0x00];
const MINUS_30: [u8; 4] = [0xC1, 0xF0, 0x00, 0x00];
const NOT_A_NUMBER: [u8; 4] = [0x7F, 0xA0, 0x00, 0x00];

fn read(rig: &mut Rig, command: u8, data: &[u8]) -> Vec<u8> {
    let reply = rig.ask(PRIMARY, command, data);
    assert_eq!(reply.status[0], 0, "command {command}");
    reply.data
}

/// [CM-000]: FE, manufacturer FD and type or expanded type, 5 preambles, revision, device 1, software 1, hardware 1
/// (1·8 + 0 = 08), no flags, id 003104; from 6 on 5 preambles, last variable 3, counter 0, extended status 0; 7 adds
/// manufacturer 00FD twice and profile 1.
#[test]
fn identity() {
    let five = [0xFE, 0xFD, 0x51, 0x05, 0x05, 0x01, 0x01, 0x08, 0x00, 0x00, 0x31, 0x04];
    assert_eq!(read(&mut Rig::new(R5), 0, &[]), five);
    let six = [
        &[0xFE, 0xFD, 0x61, 0x05, 0x06, 0x01, 0x01, 0x08, 0x00, 0x00, 0x31, 0x04][..],
        &[0x05, 0x03, 0x00, 0x00, 0x00],
    ];
    assert_eq!(read(&mut Rig::new(R6), 0, &[]), six.concat());
    let seven = [
        &[0xFE, 0xFD, 0x71, 0x05, 0x07, 0x01, 0x01, 0x08, 0x00, 0x00, 0x31, 0x04][..],
        &[0x05, 0x03, 0x00, 0x00, 0x00],
        &[0x00, 0xFD, 0x00, 0xFD, 0x01],
    ];
    assert_eq!(read(&mut Rig::new(R7), 0, &[]), seven.concat());
}

/// [CM-001] [CM-002] [CM-003] [DV-01] [DV-02]: 12 mA is (12 − 4) / 16 = 50 %. Long after, the travel is there too
/// (e^−60 of the step is left), and the lever between −30° and 30° stands at 0°, to the last digit of a single.
#[test]
fn values() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        assert_eq!(read(&mut rig, 1, &[]), [&[57][..], &F0].concat());
        assert_eq!(read(&mut rig, 2, &[]), [F4, F0].concat());
        let at_rest = [&F4[..], &[57], &F0, &[57], &F0, &[143], &MINUS_30, &[7], &F4].concat();
        assert_eq!(read(&mut rig, 3, &[]), at_rest);
        rig.device.set_loop_current_ma(rig.now, 12.0);
        assert_eq!(read(&mut rig, 1, &[]), [&[57][..], &F50].concat());
        assert_eq!(read(&mut rig, 2, &[]), [F12, F50].concat());
        rig.wait(Duration::from_secs(90));
        let there = [&F12[..], &[57], &F50, &[57], &F50, &[143], &F0, &[7], &F4].concat();
        assert_eq!(read(&mut rig, 3, &[]), there);
    }
}

/// [DV-13]: after one time constant of 1.5 s, 63.212 % of the step from 0 to 50 %: 31.606 %. The end stops hold it.
#[test]
fn travel_lags() {
    let mut rig = Rig::new(R7);
    let start = rig.now;
    rig.device.set_loop_current_ma(start, 12.0);
    assert_eq!(rig.device.set_point_percent(), 50.0);
    let travel = rig.device.travel_percent(start + Duration::from_millis(1500));
    assert!((travel - 31.606).abs() < 0.001, "{travel}");
    // 20.4 mA demands (20.4 − 4) / 16 = 102.5 %.
    rig.device.set_loop_current_ma(start, 20.4);
    assert!((rig.device.set_point_percent() - 102.5).abs() < 1e-9);
    assert_eq!(rig.device.travel_percent(start + Duration::from_secs(3600)), 100.0);
}

/// A reverse-acting range: 100 % at 4 mA, 0 % at 20 mA; percent of range goes with the current [CM-002].
#[test]
fn reverse_range() {
    let mut config = DeviceConfig::new(R7);
    (config.factory.lower_range_value, config.factory.upper_range_value) = (100.0, 0.0);
    let mut rig = Rig::with(config, None);
    assert_eq!(read(&mut rig, 1, &[]), [&[57][..], &F100].concat());
    assert_eq!(read(&mut rig, 2, &[]), [F4, F0].concat());
}

/// [CM-007] [CM-008] [CM-014] [CM-015] [CM-016]
#[test]
fn configuration() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        // 3104 = 0C20 in hexadecimal (12·256 + 32).
        let transducer = [&[0x00, 0x0C, 0x20, 57][..], &F105, &MINUS_5, &F10].concat();
        assert_eq!(read(&mut rig, 14, &[]), transducer);
        let shared = [&[250, 0, 57][..], &F100, &F0, &F0, &[0]].concat();
        let end: &[u8] = if revision == R5 { &[253] } else { &[250, 0x01] };
        assert_eq!(read(&mut rig, 15, &[]), [&shared[..], end].concat());
        rig.device.set_write_protected(true);
        assert_eq!(read(&mut rig, 15, &[])[15], 1);
        assert_eq!(read(&mut rig, 16, &[]), [0, 0, 0]);
        if revision > R5 {
            assert_eq!(read(&mut rig, 7, &[]), [0, 1]);
            assert_eq!(read(&mut rig, 8, &[]), [0, 0, 86, 65]);
        }
    }
}

/// [CM-012] [CM-013] [CM-020]: empty texts are spaces, `82 08 20` for four [TY-04], and 00 in Latin-1 [TY-05]; the
/// date is 1 January 2026 = 01 01 7E (2026 − 1900 = 126).
#[test]
fn texts_of_a_new_device() {
    let spaces = |n: usize| [0x82, 0x08, 0x20].repeat(n);
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        assert_eq!(read(&mut rig, 12, &[]), spaces(8));
        assert_eq!(read(&mut rig, 13, &[]), [spaces(6), vec![0x01, 0x01, 0x7E]].concat());
        if revision > R5 {
            assert_eq!(read(&mut rig, 20, &[]), [0; 32]);
        }
    }
}

/// [CM-009] [TY-07] [TY-08]: the time counts from power-up in 1/32 ms; C0 is good.
#[test]
fn device_variables() {
    let mut rig = Rig::new(R7);
    let power_up = rig.now;
    let reply = rig.ask(PRIMARY, 9, &[0, 1, 2, 3, 244, 245, 246, 249]);
    assert_eq!((reply.status[0], reply.data.len()), (0, 5 + 8 * 8));
    let slot =
        |code: u8, class: u8, unit: u8, value: [u8; 4]| [&[code, class, unit][..], &value, &[0xC0]].concat();
    let slots = [
        slot(0, 0, 57, F0),
        slot(1, 0, 57, F0),
        slot(2, 86, 143, MINUS_30),
        slot(3, 65, 7, F4),
        slot(244, 0, 57, F0),
        slot(245, 84, 39, F4),
        slot(246, 0, 57, F0),
        slot(249, 65, 7, F4),
    ];
    assert_eq!(reply.data[0], 0);
    assert_eq!(reply.data[1..65], slots.concat());
    // The request has 5 + 1 + 5 + 2 + 8 + 1 = 22 characters: 201.667 ms, 6453 of 1/32 ms.
    assert_eq!(reply.data[65..], 6453u32.to_be_bytes());
    assert!(rig.now > power_up);
    // Fewer codes, fewer slots; 247 and 248 are SV and TV.
    let data = read(&mut rig, 9, &[248]);
    assert_eq!(data.len(), 13);
    assert_eq!(data[1..9], slot(248, 86, 143, MINUS_30));
    assert_eq!(read(&mut rig, 9, &[247])[1..9], slot(247, 0, 57, F0));
}

/// Revision 6 answers without the time, and to four codes at most; what is more is surplus [DV-06].
#[test]
fn device_variables_before_revision_7() {
    let mut rig = Rig::new(R6);
    assert_eq!(read(&mut rig, 9, &[1]).len(), 9);
    assert_eq!(read(&mut rig, 9, &[0, 1, 2, 3]).len(), 1 + 4 * 8);
    assert_eq!(read(&mut rig, 9, &[0, 1, 2, 3, 244]).len(), 1 + 4 * 8);
    assert_eq!(rig.ask(PRIMARY, 9, &[]).status[0], 5);
}

/// [CM-009] [TY-03]: class 0, unit 250, not-a-number, status 30 for what the device does not have. A number that can be
/// no variable at all is an invalid selection: our reading of where the list's code 2 belongs.
#[test]
fn device_variables_that_are_not_there() {
    for revision in [R6, R7] {
        let mut rig = Rig::new(revision);
        for code in [4, 242, 243, 250] {
            let data = read(&mut rig, 9, &[code, 3]);
            assert_eq!(data[1..9], [&[code, 0, 250][..], &NOT_A_NUMBER, &[0x30]].concat());
            assert_eq!(data[9..17], [&[3, 65, 7][..], &F4, &[0xC0]].concat());
        }
        for code in [251, 255] {
            let reply = rig.ask(PRIMARY, 9, &[0, code]);
            assert_eq!((reply.status[0], reply.data.len()), (2, 0));
        }
    }
}

/// [DV-11]: 64 and no data for what the revision does not have; [CM-RANGES].
#[test]
fn not_implemented() {
    for (revision, commands) in [
        (R5, &[4, 5, 7, 8, 9, 10, 20, 21, 22, 23, 31, 32, 77, 127, 128, 255][..]),
        (R6, &[4, 5, 10, 23, 31, 32, 77, 127, 128, 255]),
        (R7, &[4, 5, 10, 23, 31, 32, 77, 127, 128, 255]),
    ] {
        let mut rig = Rig::new(revision).warm();
        for &command in commands {
            let reply = rig.ask(PRIMARY, command, &[1; 40]);
            assert_eq!((reply.status, reply.data.len()), ([64, 0], 0), "command {command}");
        }
    }
}
