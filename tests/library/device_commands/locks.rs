//! Locks and write protect: who may change what [DV-05] [DV-17].

use super::rig::{BOTH, PRIMARY, REVISIONS, Rig, SECONDARY};
use looprig::app::command::Revision;
use looprig::device::{DeviceConfig, encode_image};

const R5: Revision = Revision::R5;
const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

/// Every command that is closed to who is locked out, with data that it takes, and whether write protect keeps it too: it
/// does where the list in its heading, for 49 and 83 that of [DV-28], has code 7. Of these lists those of 34 to 47, 52, 55,
/// 64, 68, 69 and 82 and all of [DV-28] are from memory.
fn closed(revision: Revision) -> Vec<(u8, Vec<u8>, bool)> {
    // 57 %, 80.0 = 1.25·2⁶ = 42 A0 00 00, 10.0 = 1.25·2³ = 41 20 00 00.
    let range = vec![57, 0x42, 0xA0, 0, 0, 0x41, 0x20, 0, 0];
    let mut out = vec![
        (6, if revision == R5 { vec![0] } else { vec![0, 1] }, true),
        (17, vec![0x20; 24], true),
        (18, [vec![0x20; 18], vec![1, 1, 126]].concat(), true),
        (19, vec![0, 0, 1], true),
        (34, vec![0x3F, 0x80, 0, 0], true),
        (35, range, true),
        (36, vec![], true),
        (37, vec![], true),
        (39, vec![0], true),
        (40, vec![0x41, 0x40, 0, 0], true),
        (41, vec![], false),
        (42, vec![], false),
        (44, vec![57], true),
        (45, vec![0x40, 0x80, 0, 0], true),
        (46, vec![0x41, 0xA0, 0, 0], true),
        (47, vec![0], true),
        (49, vec![0, 0, 9], true),
        (51, vec![0, 1, 2, 3], true),
        (52, vec![3], true),
        (53, vec![3, 12], true),
        (55, vec![0, 0x3F, 0x80, 0, 0], true),
        (56, vec![3, 0, 0, 9], true),
        (59, vec![7], true),
        (64, vec![0, 0x3F, 0x80, 0, 0], true),
        (65, vec![0, 57, 0x42, 0xA0, 0, 0, 0x41, 0x20, 0, 0], true),
        (66, vec![0, 39, 0x41, 0x40, 0, 0], true),
        (67, vec![0, 39, 0x40, 0x80, 0, 0], true),
        (68, vec![0, 39, 0x41, 0xA0, 0, 0], true),
        (69, vec![0, 0], true),
    ];
    if revision > R5 {
        out.push((22, vec![b'A'; 32], true));
        out.push((79, vec![3, 1, 7, 0x40, 0x80, 0, 0, 0xC0], true));
        // 4.0 bar is what the sensor says.
        out.push((82, vec![3, 2, 7, 0x40, 0x80, 0, 0], true));
        out.push((83, vec![3], true));
    }
    out
}

/// Reads, and what passes a lock besides.
fn open(revision: Revision) -> Vec<(u8, Vec<u8>)> {
    let mut out: Vec<(u8, Vec<u8>)> =
        [0, 1, 2, 3, 12, 13, 14, 15, 16, 48, 50, 61, 110].map(|c| (c, vec![])).to_vec();
    out.extend([(33, vec![0]), (54, vec![0]), (60, vec![0]), (62, vec![0]), (63, vec![0]), (70, vec![0])]);
    if revision > R5 {
        out.extend([7, 8, 20, 72, 76, 95, 106].map(|c| (c, vec![])));
        out.extend([(9, vec![0]), (80, vec![3]), (81, vec![3])]);
    }
    if revision == R7 {
        out.extend([(90, vec![]), (89, vec![0; 10]), (78, vec![1, 0, 1, 0])]);
    }
    out
}

/// A refusal has the code, no data, and leaves all as it was.
fn refused(rig: &mut Rig, master: u8, command: u8, data: &[u8], code: u8) {
    let before = rig.device.stored().clone();
    let reply = rig.ask(master, command, data);
    assert_eq!((reply.status[0], reply.data.len()), (code, 0), "command {command}, {data:02X?}");
    assert_eq!(rig.device.stored(), &before, "command {command}");
}

#[test]
fn write_protect_keeps_all_that_is_stored() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        rig.device.set_write_protected(true);
        for (command, data, protected) in closed(revision) {
            if protected {
                refused(&mut rig, PRIMARY, command, &data, 7);
            } else {
                assert_eq!(rig.ask(PRIMARY, command, &data).status[0], 0, "command {command}");
            }
        }
        for (command, data) in open(revision) {
            assert_eq!(rig.ask(PRIMARY, command, &data).status[0], 0, "command {command}");
        }
        if revision > R5 {
            assert_eq!(rig.ask(PRIMARY, 71, &[1]).status[0], 0, "a lock is no configuration");
        }
    }
}

/// [DV-17]: the other master gets 16, in revision 6 32, and reads all the same; the owner does as it likes.
#[test]
fn a_lock_keeps_the_other_master_out() {
    for (revision, code) in [(R6, 32), (R7, 16)] {
        for (owner, other) in [(PRIMARY, SECONDARY), (SECONDARY, PRIMARY)] {
            for kind in [1, 2] {
                let mut rig = Rig::new(revision);
                assert_eq!(rig.ask(owner, 71, &[kind]).data, [kind]);
                for (command, data, _) in closed(revision) {
                    refused(&mut rig, other, command, &data, code);
                }
                // The list of 38 has no 32.
                let counter: &[u8] = if revision == R7 { &[0, 0] } else { &[] };
                refused(&mut rig, other, 38, counter, 16);
                assert_eq!(rig.ask(owner, 38, counter).status[0], 0);
                for (command, data) in open(revision) {
                    assert_eq!(rig.ask(other, command, &data).status[0], 0, "command {command}");
                }
                assert_eq!(rig.ask(owner, 19, &[0, 0, 7]).status[0], 0);
                // Nobody opens another's lock, nor takes it over.
                refused(&mut rig, other, 71, &[0], code);
                for wanted in [1, 2, 3] {
                    refused(&mut rig, other, 71, &[wanted], 11);
                }
                assert_eq!(rig.ask(owner, 71, &[0]).data, [0]);
                assert_eq!(rig.ask(other, 19, &[0, 0, 8]).status[0], 0);
            }
        }
    }
}

/// [TB-14]: locked 01, permanent 02, by the primary 04, against all 08; [DV-17] for 02 with 08.
#[test]
fn lock_status() {
    for (master, by) in [(PRIMARY, 0x04), (SECONDARY, 0x00)] {
        for (kind, status) in [(1, 0x01), (2, 0x03), (3, 0x0B)] {
            let mut rig = Rig::new(R7);
            assert_eq!(rig.ask(master, 76, &[]).data, [0]);
            rig.ask(master, 71, &[kind]);
            for asker in BOTH {
                assert_eq!(rig.ask(asker, 76, &[]).data, [status | by]);
            }
            rig.ask(master, 71, &[0]);
            assert_eq!(rig.ask(master, 76, &[]).data, [0]);
        }
    }
    let mut rig = Rig::new(R7);
    for wrong in [4, 250, 255] {
        refused(&mut rig, PRIMARY, 71, &[wrong], 10);
    }
    refused(&mut rig, PRIMARY, 71, &[], 5);
    assert_eq!(rig.ask(PRIMARY, 71, &[0]).status[0], 0, "opening what is open");
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status[1] & 0x40, 0, "it is no configuration");
}

/// [TB-13]: against all, the one that locked too; any master opens it. Standardized status 0, octet 8, has mask 80.
#[test]
fn a_lock_against_all() {
    for (locks, opens) in [(PRIMARY, SECONDARY), (SECONDARY, SECONDARY), (SECONDARY, PRIMARY)] {
        let mut rig = Rig::new(R7).warm();
        // What command 48 says has changed: mask 10.
        assert_eq!(rig.ask(locks, 71, &[3]).status, [0, 0x10]);
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data[8], 0x80);
        for master in BOTH {
            refused(&mut rig, master, 19, &[0, 0, 1], 16);
            for wanted in [1, 2, 3] {
                refused(&mut rig, master, 71, &[wanted], 11);
            }
        }
        assert_eq!(rig.ask(opens, 71, &[0]).status[0], 0);
        assert_eq!(rig.ask(PRIMARY, 48, &[]).data[8], 0x00);
        assert_eq!(rig.ask(locks, 19, &[0, 0, 1]).status[0], 0);
    }
}

/// [TB-13] [DV-20]: what ends with a reset or a power cycle, and what does not.
#[test]
fn what_a_lock_outlives() {
    for (kind, outlives) in [(1, false), (2, true), (3, true)] {
        let locked = |rig: &mut Rig| rig.ask(PRIMARY, 76, &[]).data[0] & 0x01;
        let mut rig = Rig::new(R7);
        // Something else is stored, so that there is an image in each case, taken while the lock is on.
        rig.ask(SECONDARY, 19, &[0, 0, 5]);
        assert!(rig.device.take_image().is_some());
        rig.ask(SECONDARY, 71, &[kind]);
        assert_eq!(locked(&mut rig), 1);
        let kept = rig.device.take_image();
        assert_eq!(kept.is_some(), outlives, "what is stored is written at once");
        let image = kept.unwrap_or_else(|| encode_image(rig.device.stored()));
        let mut again = Rig::with(DeviceConfig::new(R7), Some(&image));
        assert_eq!(again.ask(PRIMARY, 16, &[]).data, [0, 0, 5]);
        assert_eq!(locked(&mut again), u8::from(outlives), "a power cycle with the image");
        let code = if outlives { 16 } else { 0 };
        assert_eq!(again.ask(PRIMARY, 19, &[0, 0, 1]).status[0], code);
        // The same without an image in between.
        rig.device.power_cycle(rig.now);
        assert_eq!(locked(&mut rig), u8::from(outlives), "a power cycle");
        assert_eq!(rig.ask(PRIMARY, 19, &[0, 0, 1]).status[0], code);
        // Against all, who locked cannot reset either.
        if kind != 3 {
            let mut rig = Rig::new(R7);
            rig.ask(SECONDARY, 71, &[kind]);
            assert_eq!(rig.ask(SECONDARY, 42, &[]).status[0], 0);
            assert_eq!(locked(&mut rig), u8::from(outlives), "a reset");
            assert_eq!(rig.ask(PRIMARY, 19, &[0, 0, 1]).status[0], code);
        }
    }
    // The owner may exchange its lock for another kind, and the old one is gone.
    let mut rig = Rig::new(R7);
    rig.ask(PRIMARY, 71, &[2]);
    assert_eq!(rig.ask(PRIMARY, 71, &[1]).status[0], 0);
    rig.ask(PRIMARY, 42, &[]);
    assert_eq!(rig.ask(SECONDARY, 76, &[]).data, [0]);
}

/// Of a lock and write protect, write protect is told; a lock is told before what is wrong with values [DV-05].
#[test]
fn which_reason_comes_first() {
    let mut rig = Rig::new(R7);
    rig.ask(PRIMARY, 71, &[1]);
    refused(&mut rig, SECONDARY, 34, &[0xFF; 4], 16);
    refused(&mut rig, SECONDARY, 34, &[0xFF; 3], 5);
    rig.device.set_write_protected(true);
    refused(&mut rig, SECONDARY, 34, &[0xFF; 4], 7);
    rig.device.set_busy(true);
    refused(&mut rig, SECONDARY, 34, &[0xFF; 3], 32);
}

/// Revision 5 has no command to open a lock, so a lock in its image locks nobody out.
#[test]
fn no_lock_in_revision_5() {
    let mut rig = Rig::new(R7);
    rig.ask(SECONDARY, 71, &[3]);
    let image = rig.device.take_image().expect("an image");
    let mut old = Rig::with(DeviceConfig::new(R5), Some(&image));
    assert_eq!(old.ask(PRIMARY, 19, &[0, 0, 1]).status[0], 0);
    for command in [71, 76] {
        assert_eq!(old.ask(PRIMARY, command, &[0]).status[0], 64);
    }
}
