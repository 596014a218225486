//! To whom the device listens, when it answers, and when it is silent.

use super::rig::{BOTH, PRIMARY, REVISIONS, Rig, SECONDARY, from_master, request, unique};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;
use looprig::frame::Marks;
use looprig::time::Pace;
use std::time::Duration;

fn at_polling(revision: Revision, polling: u8) -> DeviceConfig {
    let mut config = DeviceConfig::new(revision);
    config.factory.polling_address = polling;
    config
}

/// [FR-05] [FR-14] [FR-16]: `02 80 00 00 82` is command 0 at polling address 0 by the primary (02 xor 80 = 82).
#[test]
fn short_address() {
    for revision in REVISIONS {
        let mut rig = Rig::with(at_polling(revision, 0), None);
        assert_eq!(request(&[0x80], 0, &[])[5..], [0x02, 0x80, 0x00, 0x00, 0x82]);
        let reply = rig.send(&request(&[0x80], 0, &[]), None).expect("an answer");
        assert_eq!((reply.address, reply.command), (vec![0x80], 0));
        let reply = rig.send(&request(&[0x00], 0, &[]), None).expect("an answer");
        assert_eq!(reply.address, [0x00]);
        let mut rig = Rig::with(at_polling(revision, 9), None);
        assert!(rig.send(&request(&[0x80 | 9], 0, &[]), None).is_some());
        assert_eq!(rig.send(&request(&[0x80 | 8], 0, &[]), None), None);
        assert_eq!(rig.send(&request(&[0x80], 0, &[]), None), None);
    }
}

/// [FR-05]: revision 5 has no polling address above 15: it does not take 16 for 0, nor 63 for 15.
#[test]
fn polling_addresses_above_15() {
    let mut old = Rig::with(at_polling(Revision::R5, 0), None);
    assert_eq!(old.send(&request(&[0x80 | 16], 0, &[]), None), None);
    let mut old = Rig::with(at_polling(Revision::R5, 15), None);
    assert_eq!(old.send(&request(&[0x80 | 63], 0, &[]), None), None);
    assert!(old.send(&request(&[0x80 | 15], 0, &[]), None).is_some());
    for revision in [Revision::R6, Revision::R7] {
        for polling in [16, 63] {
            let mut rig = Rig::with(at_polling(revision, polling), None);
            assert!(rig.send(&request(&[0x80 | polling], 0, &[]), None).is_some());
        }
    }
}

/// [FR-06]: each octet of the address counts, the two upper bits do not.
#[test]
fn long_address() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        for master in BOTH {
            rig.ask(master, 0, &[]);
            for i in 0..5 {
                let mut other = from_master(master, unique(revision));
                other[i] ^= 0x01;
                assert_eq!(rig.send(&request(&other, 0, &[]), None), None, "octet {i}");
            }
        }
        // A request with the burst bit set: the answer has it clear, for the device does not burst.
        let mut odd = from_master(PRIMARY, unique(revision));
        odd[0] |= 0x40;
        let reply = rig.send(&request(&odd, 0, &[]), None).expect("an answer");
        assert_eq!(reply.address, from_master(PRIMARY, unique(revision)));
    }
}

/// [DV-12]: silence, and to the next request an answer.
#[test]
fn silence() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        let long = from_master(PRIMARY, unique(revision));
        // A short frame with another command than 0 [FR-14].
        for command in [1, 3, 11, 48, 200] {
            assert_eq!(rig.send(&request(&[0x80], command, &[]), None), None);
        }
        // One expansion octet that nobody knows [FR-04]: delimiter A2.
        let mut expanded = vec![0xA2];
        expanded.extend(long);
        expanded.extend([0x55, 0x00, 0x00]);
        expanded.push(expanded.iter().fold(0, |x, o| x ^ o));
        assert_eq!(rig.send(&[vec![0xFF; 5], expanded].concat(), None), None);
        // A reply and a burst that bear its own address [FR-03].
        for delimiter in [0x86, 0x81] {
            let mut frame = vec![delimiter];
            frame.extend(long);
            frame.extend([0x00, 0x02, 0x00, 0x00]);
            frame.push(frame.iter().fold(0, |x, o| x ^ o));
            assert_eq!(rig.send(&[vec![0xFF; 5], frame].concat(), None), None);
        }
        // Broadcast of a command that describes nobody [DV-07], known or not.
        for command in [0, 1, 6, 38, 200] {
            assert_eq!(rig.send(&request(&[0x80, 0, 0, 0, 0], command, &[0; 21]), None), None);
        }
        rig.ask(PRIMARY, 0, &[]);
    }
}

/// Tag "FT-101  " as another program packed it [TY-04].
const TAG: [u8; 6] = [0x19, 0x4B, 0x71, 0xC3, 0x18, 0x20];

fn named(revision: Revision) -> Rig {
    let mut config = DeviceConfig::new(revision);
    config.factory.tag = "FT-101".into();
    config.factory.long_tag = "Brackenmoor FT-101".into();
    Rig::with(config, None)
}

fn long_tag() -> [u8; 32] {
    let mut out = [0; 32];
    out[..18].copy_from_slice(b"Brackenmoor FT-101");
    out
}

/// [DV-07] [CM-011] [CM-021]: by broadcast and at its own address, matching and not; the answer bears its own address.
#[test]
fn identity_by_tag() {
    for revision in REVISIONS {
        for master in BOTH {
            let mut rig = named(revision);
            let own = from_master(master, unique(revision));
            let identity = rig.ask(SECONDARY, 0, &[]).data;
            let mut other_tag = TAG;
            other_tag[5] ^= 0x01;
            let mut other_long_tag = long_tag();
            other_long_tag[17] = b'2';
            for to in [from_master(master, [0; 5]), own] {
                let reply = rig.send(&request(&to, 11, &TAG), None).expect("an answer");
                assert_eq!((&reply.address[..], reply.command), (&own[..], 11));
                assert_eq!((reply.status[0], &reply.data), (0, &identity));
                assert_eq!(rig.send(&request(&to, 11, &other_tag), None), None);
                assert_eq!(rig.send(&request(&to, 11, &TAG[..5]), None), None);
                // Surplus octets are ignored [DV-06].
                assert!(rig.send(&request(&to, 11, &[&TAG[..], &[0xAA]].concat()), None).is_some());
                if revision > Revision::R5 {
                    let reply = rig.send(&request(&to, 21, &long_tag()), None).expect("an answer");
                    assert_eq!((&reply.address[..], reply.command), (&own[..], 21));
                    assert_eq!((reply.status[0], &reply.data), (0, &identity));
                    assert_eq!(rig.send(&request(&to, 21, &other_long_tag), None), None);
                    assert_eq!(rig.send(&request(&to, 21, &long_tag()[..31]), None), None);
                }
            }
        }
    }
    // Revision 5 has no command 21: silence to all, "not implemented" to itself alone [DV-11].
    let mut old = named(Revision::R5);
    assert_eq!(old.send(&request(&[0x80, 0, 0, 0, 0], 21, &long_tag()), None), None);
    assert_eq!(old.ask(PRIMARY, 21, &long_tag()).status[0], 64);
}

/// [LL-08] [ST-01], from memory: 80 with 08 for the check byte, 40 for parity, 10 for framing.
#[test]
fn damaged_requests() {
    for revision in REVISIONS {
        for master in BOTH {
            let mut rig = Rig::new(revision).warm();
            let address = from_master(master, unique(revision));
            let good = request(&address, 18, &[0x20; 21]);
            let mut wrong_check = good.clone();
            *wrong_check.last_mut().unwrap() ^= 0x10;
            let reply = rig.send(&wrong_check, None).expect("an answer");
            assert_eq!((reply.status, reply.data.len()), ([0x88, 0x00], 0));
            assert_eq!((&reply.address[..], reply.command), (&address[..], 18));
            // Preambles 5, delimiter, address 5, command, count: the first data octet is number 13.
            for (marks, octet) in [(Marks::PARITY, 0xC0), (Marks::FRAMING, 0x90)] {
                let reply = rig.send(&good, Some((14, marks))).expect("an answer");
                assert_eq!((reply.status, reply.data.len()), ([octet, 0x00], 0));
            }
            assert_eq!(rig.device.stored().configuration_change_counter, 0, "it changed nothing");
            // An error in delimiter, address, command or byte count, a gap, a lost carrier: silence.
            for at in 5..13 {
                assert_eq!(rig.send(&good, Some((at, Marks::PARITY))), None, "octet {at}");
            }
            assert_eq!(rig.send(&good, Some((14, Marks::GAP))), None);
            assert_eq!(rig.send(&good, Some((14, Marks::CARRIER_LOST))), None);
            assert_eq!(rig.send(&good[..good.len() - 1], None), None, "cut short");
            // Addressed to another, or to all: silence.
            let mut other = request(&[0x80, 1, 2, 3, 4], 18, &[0x20; 21]);
            *other.last_mut().unwrap() ^= 0x10;
            assert_eq!(rig.send(&other, None), None);
            let mut all = request(&[0x80, 0, 0, 0, 0], 11, &TAG);
            *all.last_mut().unwrap() ^= 0x10;
            assert_eq!(rig.send(&all, None), None);
        }
    }
}

#[test]
fn damaged_requests_are_ignored_by_switch() {
    let mut config = DeviceConfig::new(Revision::R7);
    config.answers_damaged = false;
    let mut rig = Rig::with(config, None);
    let mut bad = request(&from_master(PRIMARY, unique(Revision::R7)), 0, &[]);
    *bad.last_mut().unwrap() ^= 0x10;
    assert_eq!(rig.send(&bad, None), None);
    rig.ask(PRIMARY, 0, &[]);
}

/// [LL-02]: the answer begins after the delay of the set-up, within 256.667 ms, scaled with the line [LI-01].
#[test]
fn when_the_answer_begins() {
    for ms in [0, 10, 250] {
        let mut config = DeviceConfig::new(Revision::R7);
        config.response_delay = Duration::from_millis(ms);
        let reply = Rig::with(config.clone(), None).ask(PRIMARY, 0, &[]);
        assert_eq!(reply.after, Duration::from_millis(ms));
        let reply = Rig::paced(config.clone(), None, Pace::Scaled(4.0)).ask(PRIMARY, 0, &[]);
        assert_eq!(reply.after, Duration::from_millis(ms) / 4);
        let reply = Rig::paced(config, None, Pace::Fast).ask(PRIMARY, 0, &[]);
        assert_eq!(reply.after, Duration::ZERO);
    }
}

/// A request that comes before the answer to another one is answered, and the other is not.
#[test]
fn a_newer_request_takes_the_place_of_an_older_one() {
    let mut config = DeviceConfig::new(Revision::R7);
    config.response_delay = Duration::from_millis(250);
    let mut rig = Rig::with(config, None);
    let to = from_master(PRIMARY, unique(Revision::R7));
    let both = [request(&to, 13, &[]), request(&to, 16, &[])].concat();
    // The second request takes 14 characters, 128 ms.
    let reply = rig.send(&both, None).expect("an answer");
    assert_eq!(reply.command, 16);
    // What was not answered did not tell of the cold start; this answer did [ST-08].
    assert_eq!(reply.status, [0x00, 0x20]);
    assert_eq!(rig.ask(PRIMARY, 16, &[]).status, [0x00, 0x00]);
    // One that gets silence, a tag that is not the device's, ends the waiting of the first too.
    let both = [request(&to, 13, &[]), request(&to, 11, &TAG)].concat();
    assert_eq!(rig.send(&both, None), None);
}

/// What comes while the device itself sends is not heard, its own echo least of all.
#[test]
fn deaf_while_sending() {
    use looprig::frame::Octet;
    let mut rig = Rig::new(Revision::R7);
    let to = from_master(PRIMARY, unique(Revision::R7));
    let character = Duration::from_nanos(9_166_667);
    for value in request(&to, 0, &[]) {
        rig.now += character;
        rig.device.handle(rig.now, &[Octet::clean(rig.now, value)]);
    }
    rig.now = rig.device.wake_at().expect("an answer is due");
    let answer = rig.device.poll_transmit(rig.now).expect("an answer");
    let meanwhile = request(&to, 3, &[]);
    assert!(meanwhile.len() < answer.len());
    for &value in &meanwhile {
        rig.now += character;
        rig.device.handle(rig.now, &[Octet::clean(rig.now, value)]);
    }
    assert_eq!(rig.device.wake_at(), None);
    rig.now += character * (answer.len() - meanwhile.len()) as u32;
    rig.device.sent(rig.now);
    rig.ask(PRIMARY, 3, &[]);
}

/// [LL-11]: what a device wants before requests, octet 3 of command 0, and what it sends before answers, octet 12, are
/// two numbers; the rig counts the latter.
#[test]
fn preambles_before_an_answer() {
    let mut config = DeviceConfig::new(Revision::R7);
    (config.identity.preambles_request, config.identity.preambles_reply) = (6, 9);
    let data = Rig::with(config, None).ask(PRIMARY, 0, &[]).data;
    assert_eq!((data[3], data[12]), (6, 9));
}
