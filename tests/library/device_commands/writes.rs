//! What the writes change, and every way in which they are refused.

use super::rig::{PRIMARY, REVISIONS, Rig, SECONDARY, request};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;

const R5: Revision = Revision::R5;
const R7: Revision = Revision::R7;

/// "FT-101  ", a descriptor and 31 December 2024 as another program packed them [TY-04] [TY-06].
const DESCRIPTION: [u8; 21] = [
    0x19, 0x4B, 0x71, 0xC3, 0x18, 0x20, 0x08, 0xF2, 0x4C, 0x15, 0x28, 0x06, 0x14, 0x51, 0x20, 0x82, 0x08,
    0x20, 0x1F, 0x0C, 0x7C,
];

fn long_tag() -> Vec<u8> {
    let mut out = b"Brackenmoor inlet \xB0".to_vec();
    out.resize(32, 0);
    out
}

/// Number, request data, the read that shows it, of every write of configuration of a revision.
fn writes(revision: Revision) -> Vec<(u8, Vec<u8>, u8)> {
    let polling = if revision == R5 { vec![5] } else { vec![5, 0] };
    let mut out = vec![
        (17, [0x35, 0x31, 0xE0, 0x82, 0x08, 0x20].repeat(4), 12),
        (18, DESCRIPTION.to_vec(), 13),
        (19, vec![0x12, 0x34, 0x56], 16),
        // Command 7 shows it from revision 6 on; revision 5 has no command for it.
        (6, polling, if revision == R5 { 6 } else { 7 }),
    ];
    if revision > R5 {
        out.push((22, long_tag(), 20));
    }
    out
}

/// [CM-006] [CM-017] [CM-018] [CM-019] [CM-022]: the answer echoes, the read shows it, the counter goes up by one.
#[test]
fn every_write() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        let mut count = 0;
        for (command, data, shown_by) in writes(revision) {
            let reply = rig.ask(PRIMARY, command, &data);
            assert_eq!((reply.status[0], &reply.data), (0, &data), "command {command}");
            if shown_by != 6 {
                assert_eq!(rig.ask(PRIMARY, shown_by, &[]).data, data, "command {command}");
            }
            count += 1;
            assert_eq!(rig.device.stored().configuration_change_counter, count);
            assert!(rig.device.take_image().is_some());
            // Octets too many are ignored and not echoed [DV-06]; writing what is there counts too [DV-08].
            let reply = rig.ask(PRIMARY, command, &[&data[..], &[0xAA, 0xBB]].concat());
            assert_eq!((reply.status[0], &reply.data), (0, &data), "command {command}");
            count += 1;
            assert_eq!(rig.device.stored().configuration_change_counter, count);
        }
        assert_eq!((rig.device.tag(), rig.device.polling_address()), ("FT-101", 5));
        if revision > R5 {
            assert_eq!(rig.device.long_tag(), "Brackenmoor inlet \u{B0}");
        }
        // The device has moved to polling address 5.
        assert!(rig.send(&request(&[0x80 | 5], 0, &[]), None).is_some());
        assert_eq!(rig.send(&request(&[0x80], 0, &[]), None), None);
    }
}

/// A refusal has the code, no data, and leaves all as it was.
fn refused(rig: &mut Rig, command: u8, data: &[u8], code: u8) {
    let before = rig.device.stored().clone();
    let reply = rig.ask(PRIMARY, command, data);
    assert_eq!((reply.status[0], reply.data.len()), (code, 0), "command {command}, {data:02X?}");
    assert_eq!(rig.device.stored(), &before, "command {command}");
    assert_eq!(rig.device.take_image(), None);
}

/// [DV-14]: 5 for each length that is too short.
#[test]
fn too_few_octets() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        for (command, data, _) in writes(revision) {
            for len in 0..data.len() {
                if command == 6 && len == 1 {
                    // The older master's form [DV-15]: see below.
                    continue;
                }
                refused(&mut rig, command, &data[..len], 5);
            }
        }
    }
    let mut rig = Rig::new(R7);
    refused(&mut rig, 38, &[0], 5);
    refused(&mut rig, 9, &[], 5);
}

/// [DV-05]: 7 for each write of configuration, and reads pass.
#[test]
fn write_protect() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        rig.device.set_write_protected(true);
        for (command, data, shown_by) in writes(revision) {
            refused(&mut rig, command, &data, 7);
            if shown_by != 6 {
                assert_eq!(rig.ask(PRIMARY, shown_by, &[]).status[0], 0);
            }
        }
        rig.device.set_write_protected(false);
        assert_eq!(rig.ask(PRIMARY, 19, &[1, 2, 3]).status[0], 0);
    }
}

/// [CM-038]: under write protect by switch; memory says that it passes.
#[test]
fn reset_under_write_protect() {
    for revision in REVISIONS {
        let counter: &[u8] = if revision == R7 { &[0, 0] } else { &[] };
        let mut config = DeviceConfig::new(revision);
        config.write_protected = true;
        assert_eq!(Rig::with(config.clone(), None).ask(PRIMARY, 38, counter).status[0], 0);
        config.reset_passes_write_protect = false;
        refused(&mut Rig::with(config, None), 38, counter, 7);
    }
}

/// [DV-09]: 32 where the command's list has it [ST-04]; the others are answered.
#[test]
fn busy() {
    for revision in REVISIONS {
        let mut config = DeviceConfig::new(revision);
        config.busy = true;
        let mut rig = Rig::with(config, None);
        for (command, data, _) in writes(revision) {
            refused(&mut rig, command, &data, 32);
        }
        for command in 12..=16 {
            refused(&mut rig, command, &[], 32);
        }
        for command in [0, 1, 2, 3, 48] {
            assert_eq!(rig.ask(PRIMARY, command, &[]).status[0], 0, "command {command}");
        }
        rig.device.set_busy(false);
        assert_eq!(rig.ask(PRIMARY, 12, &[]).status[0], 0);
    }
}

/// [CM-006]: 2 above 15 or 63, 12 for a mode that is none, which leaves the address alone too.
#[test]
fn polling_address() {
    let mut old = Rig::new(R5);
    for address in [16, 63, 64, 255] {
        refused(&mut old, 6, &[address], 2);
    }
    assert_eq!(old.ask(PRIMARY, 6, &[15]).data, [15]);
    for revision in [Revision::R6, R7] {
        let mut rig = Rig::new(revision);
        for address in [64, 128, 255] {
            refused(&mut rig, 6, &[address, 1], 2);
        }
        for mode in [2, 250, 255] {
            refused(&mut rig, 6, &[5, mode], 12);
        }
        assert_eq!(rig.ask(PRIMARY, 6, &[63, 1]).data, [63, 1]);
        assert_eq!(rig.device.polling_address(), 63);
    }
}

/// [DV-15], from memory: one octet from an older master sets the mode by the address; by switch it is too few.
#[test]
fn polling_address_from_an_older_master() {
    for revision in [Revision::R6, R7] {
        let mut rig = Rig::new(revision);
        assert_eq!(rig.ask(PRIMARY, 6, &[4]).data, [4, 0]);
        assert_eq!(rig.ask(PRIMARY, 7, &[]).data, [4, 0]);
        assert_eq!(rig.ask(PRIMARY, 6, &[0]).data, [0, 1]);
        let mut config = DeviceConfig::new(revision);
        config.accepts_older_masters = false;
        let mut rig = Rig::with(config, None);
        refused(&mut rig, 6, &[4], 5);
    }
}

/// [DV-15] [ST-02] mask 08: revision 5 by the address, later by the mode alone; the set point stays where it was.
#[test]
fn loop_current_fixed() {
    for (revision, fix, free) in
        [(R5, &[3][..], &[0][..]), (Revision::R6, &[0, 0], &[3, 1]), (R7, &[0, 0], &[3, 1])]
    {
        let mut rig = Rig::new(revision);
        rig.device.set_loop_current_ma(rig.now, 12.0);
        assert_eq!(rig.ask(PRIMARY, 6, fix).status[1] & 0x08, 0x08);
        rig.device.set_loop_current_ma(rig.now, 16.0);
        assert_eq!(rig.device.set_point_percent(), 50.0);
        // The measured current is told all the same: 16 mA, 75 % (1.171875·2⁶ = 42 96 00 00).
        assert_eq!(rig.ask(PRIMARY, 2, &[]).data, [0x41, 0x80, 0, 0, 0x42, 0x96, 0, 0]);
        if revision > R5 {
            // Manual or fixed, constant [TY-08]: 80 + 30.
            assert_eq!(rig.ask(PRIMARY, 9, &[0]).data[8], 0xB0);
        }
        assert_eq!(rig.ask(PRIMARY, 6, free).status[1] & 0x08, 0x00);
        assert_eq!(rig.device.set_point_percent(), 75.0);
    }
}

/// [CM-018] [TY-06]: 9 for a date that no calendar has.
#[test]
fn dates() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        // 31 April, 29 February 2023 (year 123), month 13, day 0.
        for date in [[31, 4, 124], [29, 2, 123], [1, 13, 124], [0, 1, 124]] {
            refused(&mut rig, 18, &[&DESCRIPTION[..18], &date].concat(), 9);
        }
        let leap = [&DESCRIPTION[..18], &[29, 2, 124]].concat();
        assert_eq!(rig.ask(PRIMARY, 18, &leap).status[0], 0);
    }
}

/// [CM-038] [ST-09]: revision 7 wants the counter as it is, 9 else; without data by switch.
#[test]
fn reset_with_the_counter() {
    let mut rig = Rig::new(R7);
    for _ in 0..258 {
        rig.ask(PRIMARY, 19, &[0, 0, 1]);
    }
    rig.device.take_image();
    // 258 = 0102 in hexadecimal.
    for wrong in [[1, 1], [2, 1], [0, 0]] {
        refused(&mut rig, 38, &wrong, 9);
    }
    let reply = rig.ask(PRIMARY, 38, &[1, 2]);
    assert_eq!((reply.status[0], reply.data), (0, vec![1, 2]));
    assert_eq!(rig.device.stored().configuration_change_counter, 258, "command 38 leaves it alone");
    let reply = rig.ask(SECONDARY, 38, &[]);
    assert_eq!((reply.status[0], reply.data), (0, vec![1, 2]));
    let mut config = DeviceConfig::new(R7);
    config.accepts_older_masters = false;
    refused(&mut Rig::with(config, None), 38, &[], 5);
    // Before revision 7 there are no data in it; what comes is surplus.
    let mut six = Rig::new(Revision::R6);
    let reply = six.ask(PRIMARY, 38, &[9, 9]);
    assert_eq!((reply.status[0], reply.data.len()), (0, 0));
}
