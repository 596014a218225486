//! The device as a whole: reset, preambles, counters, clock, being found; several commands in one
//! [DV-20] [DV-21] [DV-24] to [DV-27]. The lists of codes of 39, 42 and 89 are from memory; 72, 73 and 90 have none, and
//! answer by patterns from memory [DV-28].

use super::rig::{BOTH, PRIMARY, REVISIONS, Rig, SECONDARY, from_master, request, unique};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;
use std::time::Duration;

const R5: Revision = Revision::R5;
const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

fn refused(rig: &mut Rig, command: u8, data: &[u8], code: u8) {
    let before = rig.device.stored().clone();
    let reply = rig.ask(PRIMARY, command, data);
    assert_eq!((reply.status[0], reply.data.len()), (code, 0), "command {command}, {data:02X?}");
    assert_eq!(rig.device.stored(), &before, "command {command}");
}

/// [CM-042] [ST-08]: its own answer is of before; then cold start (20) for each master until its first answer.
#[test]
fn reset() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        rig.ask(PRIMARY, 19, &[0, 0, 1]);
        rig.device.set_loop_current_ma(rig.now, 12.0);
        rig.wait(Duration::from_secs(60));
        let reply = rig.ask(PRIMARY, 42, &[]);
        assert_eq!((reply.status, reply.data.len()), ([0, 0x40], 0));
        assert_eq!(rig.ask(SECONDARY, 0, &[]).status, [0, 0x60]);
        assert_eq!(rig.ask(SECONDARY, 0, &[]).status, [0, 0x40]);
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x60]);
        // What is stored and what is measured stays: final assembly number, 12 mA, 50 %.
        assert_eq!(rig.ask(PRIMARY, 16, &[]).data, [0, 0, 1]);
        assert_eq!((rig.device.loop_current_ma(), rig.device.set_point_percent()), (12.0, 50.0));
        assert!((rig.device.travel_percent(rig.now) - 50.0).abs() < 1e-6);
        // Surplus is ignored.
        assert_eq!(rig.ask(PRIMARY, 41, &[1, 2]).status[0], 0);
    }
}

/// By switch there is no answer, and the reset is done at once.
#[test]
fn reset_without_an_answer() {
    let mut config = DeviceConfig::new(R7);
    config.reset_answers = false;
    let mut rig = Rig::with(config, None).warm();
    let own = from_master(PRIMARY, unique(R7));
    assert_eq!(rig.send(&request(&own, 42, &[]), None), None);
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x20]);
    // A refusal is answered all the same.
    rig.ask(PRIMARY, 71, &[1]);
    assert_eq!(rig.ask(SECONDARY, 42, &[]).status[0], 16);
}

/// A request that comes before the answer has left takes its place, and the reset is done before it.
#[test]
fn reset_whose_answer_is_lost() {
    let mut config = DeviceConfig::new(R7);
    config.response_delay = Duration::from_millis(250);
    let mut rig = Rig::with(config, None).warm();
    let to = from_master(PRIMARY, unique(R7));
    let reply = rig.send(&[request(&to, 42, &[]), request(&to, 76, &[])].concat(), None).expect("an answer");
    assert_eq!((reply.command, reply.status), (76, [0, 0x20]));
}

/// [DV-15]: a set point that was held is that of 4 mA after a reset.
#[test]
fn reset_while_the_current_is_fixed() {
    let mut rig = Rig::new(R7);
    rig.device.set_loop_current_ma(rig.now, 12.0);
    rig.ask(PRIMARY, 6, &[0, 0]);
    assert_eq!(rig.device.set_point_percent(), 50.0);
    rig.ask(PRIMARY, 42, &[]);
    assert_eq!(rig.device.set_point_percent(), 0.0);
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status[1] & 0x08, 0x08, "the mode is stored");
}

/// [CM-059] [DV-21]: the rig counts the preambles of each answer; octet 12 of command 0 tells them.
#[test]
fn preambles() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        assert_eq!(rig.device.preambles_reply(), 5);
        let reply = rig.ask(PRIMARY, 59, &[20]);
        assert_eq!((reply.status, reply.data), ([0, 0x40], vec![20]));
        assert_eq!(rig.device.preambles_reply(), 20);
        if revision > R5 {
            assert_eq!(rig.ask(PRIMARY, 0, &[]).data[12], 20);
        }
        for (n, code) in [(21, 3), (255, 3), (4, 4), (0, 4)] {
            refused(&mut rig, 59, &[n], code);
        }
        refused(&mut rig, 59, &[], 5);
        let image = rig.device.take_image().expect("an image");
        let mut again = Rig::with(DeviceConfig::new(revision), Some(&image));
        assert_eq!(again.device.preambles_reply(), 20);
        assert_eq!(again.ask(PRIMARY, 59, &[5]).data, [5]);
    }
}

/// [CM-039]; code 2 for another control is from memory.
#[test]
fn eeprom() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision).warm();
        for control in [0, 1] {
            let reply = rig.ask(PRIMARY, 39, &[control]);
            assert_eq!((reply.status, reply.data), ([0, 0x00], vec![control]));
        }
        for control in [2, 255] {
            refused(&mut rig, 39, &[control], 2);
        }
        refused(&mut rig, 39, &[], 5);
    }
}

/// [CM-095] [DV-26]: both masters counted together; a damaged request is none, its answer is one; a silent one is a
/// request; a broadcast is no request.
#[test]
fn counters() {
    for revision in [R6, R7] {
        let mut rig = Rig::new(revision);
        assert_eq!(rig.ask(PRIMARY, 95, &[]).data, [0, 1, 0, 0, 0, 0]);
        assert_eq!(rig.ask(SECONDARY, 95, &[]).data, [0, 2, 0, 1, 0, 0]);
        let own = from_master(PRIMARY, unique(revision));
        let mut bad = request(&own, 0, &[]);
        *bad.last_mut().unwrap() ^= 0x01;
        rig.send(&bad, None).expect("an answer");
        rig.send(&request(&own, 11, &[0; 6]), None);
        rig.send(&request(&from_master(PRIMARY, [0; 5]), 11, &[0; 6]), None);
        rig.ask(PRIMARY, 200, &[]);
        // Requests: 95, 95, 11, 200, 95. Replies: 95, 95, error, 200.
        assert_eq!(rig.ask(PRIMARY, 95, &[]).data, [0, 5, 0, 4, 0, 0]);
        rig.ask(PRIMARY, 42, &[]);
        assert_eq!(rig.ask(PRIMARY, 95, &[]).data, [0, 1, 0, 0, 0, 0]);
    }
}

/// [CM-072] [TB-16] [DV-25]: off, on, once, which lasts 3 s from the end of the request; none is once. Code 2 is from
/// memory [DV-28].
#[test]
fn squawk() {
    for revision in [R6, R7] {
        let mut rig = Rig::new(revision);
        assert!(!rig.device.squawks(rig.now));
        assert_eq!(rig.ask(PRIMARY, 72, &[1]).data, [1]);
        assert!(rig.device.squawks(rig.now + Duration::from_secs(3600)));
        assert_eq!(rig.ask(PRIMARY, 72, &[0]).data, [0]);
        assert!(!rig.device.squawks(rig.now));
        for data in [&[2][..], &[]] {
            // Preambles, delimiter, address, command, count, data and check byte.
            let characters = 5 + 1 + 5 + 1 + 1 + data.len() as u64 + 1;
            let heard = rig.now + Duration::from_nanos(characters * 9_166_667);
            assert_eq!(rig.ask(PRIMARY, 72, data).data, [2]);
            let ends = heard + Duration::from_secs(3);
            assert!(
                rig.device.squawks(rig.now)
                    && rig.device.squawks(heard + (Duration::from_secs(3) - Duration::from_nanos(1)))
            );
            assert!(!rig.device.squawks(ends) && !rig.device.squawks(ends + Duration::from_secs(3600)));
            // Once more begins it anew; off ends it at once, and so does a reset.
            rig.wait(Duration::from_secs(1));
            rig.ask(PRIMARY, 72, data);
            assert!(rig.device.squawks(ends));
            rig.ask(PRIMARY, 72, &[0]);
            assert!(!rig.device.squawks(rig.now));
            rig.ask(PRIMARY, 72, data);
            rig.ask(PRIMARY, 42, &[]);
            assert!(!rig.device.squawks(rig.now));
        }
        refused(&mut rig, 72, &[3], 2);
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status[1] & 0x40, 0, "it is no configuration");
    }
}

/// [CM-073]: armed it answers by broadcast and at its own address, else it is silent.
#[test]
fn find() {
    let mut rig = Rig::new(R7);
    let identity = rig.ask(PRIMARY, 0, &[]).data;
    for master in BOTH {
        let own = from_master(master, unique(R7));
        let all = from_master(master, [0; 5]);
        for to in [own, all] {
            assert_eq!(rig.send(&request(&to, 73, &[]), None), None);
        }
        rig.device.set_armed(true);
        for to in [all, own] {
            let reply = rig.send(&request(&to, 73, &[]), None).expect("an answer");
            assert_eq!((&reply.address[..], reply.status[0], &reply.data), (&own[..], 0, &identity));
        }
        rig.ask(master, 42, &[]);
        assert_eq!(rig.send(&request(&all, 73, &[]), None), None, "a reset disarms");
    }
}

/// A time of day in 1/32 ms [TY-07].
fn time(seconds: u32) -> [u8; 4] {
    (seconds * 32_000).to_be_bytes()
}

/// [CM-089] [CM-090], codes 2 and 16 of 89 from memory: 28 February 2024 is 1C 02 7C (2024 − 1900 = 124), a leap year.
#[test]
fn clock() {
    let mut rig = Rig::new(R7).warm();
    // Never set (02): since power-up on 1 January 1900.
    let data = rig.ask(PRIMARY, 90, &[]).data;
    assert_eq!((&data[..3], &data[7..]), (&[1, 1, 0][..], &[1, 1, 0, 0, 0, 0, 0, 0x02][..]));
    let set = [&[1, 0x1C, 0x02, 0x7C][..], &time(86_399), &[0, 0]].concat();
    let reply = rig.ask(SECONDARY, 89, &set);
    assert_eq!((reply.status, &reply.data), ([0, 0x00], &set[..8].to_vec()));
    let set_at = rig.now;
    let data = rig.ask(PRIMARY, 90, &[]).data;
    assert!(rig.now > set_at);
    // A second and more later: the day after.
    assert_eq!(data[7..], [&set[1..8], &[0]].concat());
    rig.wait(Duration::from_secs(5));
    assert_eq!(rig.ask(PRIMARY, 90, &[]).data[..3], [29, 2, 124]);
    rig.wait(Duration::from_secs(86_400));
    assert_eq!(rig.ask(PRIMARY, 90, &[]).data[..3], [1, 3, 124]);
    // The time of receipt, whatever the request holds.
    let read = rig.ask(PRIMARY, 89, &[0, 99, 99, 99, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0]).data;
    assert_eq!(read[..4], [0, 1, 3, 124]);
    // Command 9 has the same time: the requests of 9 and 90 have 15 and 14 characters.
    let nine = rig.ask(PRIMARY, 9, &[0]).data[9..13].to_vec();
    assert!(nine < time(3600).to_vec(), "time of day, not since power-up");
    // No day, no time of day, nothing to do.
    let ok = time(0);
    for (what, date, at) in
        [(1, [30, 2, 124], ok), (1, [0, 1, 124], ok), (1, [1, 1, 124], time(86_400)), (2, [1, 1, 124], ok)]
    {
        refused(&mut rig, 89, &[&[what][..], &date, &at, &[0, 0]].concat(), 2);
    }
    refused(&mut rig, 89, &set[..9], 5);
    // It is no configuration, but a lock holds it.
    rig.device.set_write_protected(true);
    assert_eq!(rig.ask(PRIMARY, 89, &set).status[0], 0);
    rig.ask(SECONDARY, 71, &[1]);
    refused(&mut rig, 89, &set, 16);
    assert_eq!(rig.ask(PRIMARY, 89, &[0; 10]).status[0], 0);
    rig.ask(SECONDARY, 42, &[]);
    assert_eq!(rig.ask(PRIMARY, 90, &[]).data[14], 0x02, "a reset forgets it");
}

/// One command of command 78: number, count, data.
fn part(command: u16, data: &[u8]) -> Vec<u8> {
    [&command.to_be_bytes()[..], &[data.len() as u8], data].concat()
}

fn several(parts: &[Vec<u8>]) -> Vec<u8> {
    [&[parts.len() as u8][..], &parts.concat()].concat()
}

/// [CM-078]: each with its own code. 12 mA = 41 40 00 00; 50 % = 42 48 00 00.
#[test]
fn several_in_one() {
    let mut rig = Rig::new(R7).warm();
    rig.device.set_loop_current_ma(rig.now, 12.0);
    let asked = several(&[
        part(2, &[]),
        part(19, &[0x12, 0x34, 0x56]),
        part(16, &[]),
        part(34, &[0xFF, 0, 0, 0]),
        part(200, &[1, 2, 3]),
        part(600, &[]),
        part(17, &[0]),
    ]);
    let reply = rig.ask(PRIMARY, 78, &asked);
    assert_eq!(reply.status, [0, 0x40]);
    let expected = [
        &[0x00, 7][..],
        &[0, 2, 9, 0, 0x41, 0x40, 0, 0, 0x42, 0x48, 0, 0],
        &[0, 19, 4, 0, 0x12, 0x34, 0x56],
        &[0, 16, 4, 0, 0x12, 0x34, 0x56],
        &[0, 34, 1, 4],
        &[0, 200, 1, 64],
        // 600 = 0258 in hexadecimal.
        &[2, 0x58, 1, 64],
        &[0, 17, 1, 5],
    ];
    assert_eq!(reply.data, expected.concat());
    assert_eq!(rig.device.stored().configuration_change_counter, 1);
    // Write protect and locks judge each of them.
    rig.device.set_write_protected(true);
    let reply = rig.ask(PRIMARY, 78, &several(&[part(19, &[0; 3]), part(16, &[])]));
    assert_eq!(reply.data, [0, 2, 0, 19, 1, 7, 0, 16, 4, 0, 0x12, 0x34, 0x56]);
    rig.device.set_write_protected(false);
    rig.ask(SECONDARY, 71, &[1]);
    assert_eq!(rig.ask(PRIMARY, 78, &several(&[part(19, &[0; 3])])).data, [0, 1, 0, 19, 1, 16]);
}

#[test]
fn several_that_are_refused() {
    let mut rig = Rig::new(R7).warm();
    refused(&mut rig, 78, &[0], 2);
    refused(&mut rig, 78, &[], 5);
    refused(&mut rig, 78, &[1, 0, 19, 3, 0, 0], 5);
    refused(&mut rig, 78, &[2, 0, 2, 0], 5);
    for inner in [part(11, &[0; 6]), part(21, &[0; 32]), part(42, &[]), part(73, &[]), part(78, &[0])] {
        refused(&mut rig, 78, &several(&[part(19, &[0, 0, 9]), inner]), 9);
    }
    rig.device.set_busy(true);
    refused(&mut rig, 78, &several(&[part(0, &[])]), 32);
}

/// [DV-27]: of more than 20 the first 20 are done, whatever follows is not read, with warning 30 (the list of [CM-078]:
/// response truncated, commands dropped). An answer of command 7 takes 3 + 1 + 2 = 6 octets.
#[test]
fn more_than_twenty() {
    let mut rig = Rig::new(R7).warm();
    let reads = several(&vec![part(7, &[]); 20]);
    let reply = rig.ask(PRIMARY, 78, &reads);
    assert_eq!((reply.status[0], reply.data.len(), reply.data[1]), (0, 2 + 20 * 6, 20));
    for last in [part(7, &[]), part(19, &[0, 0, 9]), part(42, &[]), vec![0, 19, 3, 0]] {
        let mut parts = vec![part(7, &[]); 20];
        parts.push(last);
        let reply = rig.ask(PRIMARY, 78, &several(&parts));
        assert_eq!((reply.status, reply.data.len(), reply.data[1]), ([30, 0], 2 + 20 * 6, 20));
    }
    assert_eq!(rig.ask(PRIMARY, 16, &[]).data, [0, 0, 0]);
    // One of the first 20 is cut: nothing is done.
    let cut = [&[21][..], &part(19, &[0, 0, 9]), &[0, 19, 3, 0]].concat();
    refused(&mut rig, 78, &cut, 5);
}

/// What has no room is dropped, 30. A read of 0 takes 3 + 1 + 22 = 26 octets, ten of them 260; of 253 two are taken, so
/// nine fit (234), and after them a write of 19 takes 7: 241; one of 17 takes 28 and is not done.
#[test]
fn several_that_have_no_room() {
    let mut rig = Rig::new(R7).warm();
    let ten = several(&vec![part(0, &[]); 10]);
    let reply = rig.ask(PRIMARY, 78, &ten);
    assert_eq!((reply.status[0], reply.data.len(), reply.data[1]), (30, 2 + 9 * 26, 9));
    // 234, a read of 1 takes 9 and one of 16 takes 7: 250 of 251; a lock takes 5 and is not begun.
    let mut parts = vec![part(0, &[]); 9];
    parts.extend([part(1, &[]), part(16, &[]), part(71, &[1])]);
    let reply = rig.ask(PRIMARY, 78, &several(&parts));
    assert_eq!((reply.status[0], reply.data.len(), reply.data[1]), (30, 2 + 250, 11));
    assert_eq!(rig.ask(SECONDARY, 76, &[]).data, [0]);
    let mut parts = vec![part(0, &[]); 9];
    parts.extend([part(19, &[0, 0, 9]), part(17, &[0x20; 24]), part(16, &[])]);
    let reply = rig.ask(PRIMARY, 78, &several(&parts));
    assert_eq!((reply.status[0], reply.data.len(), reply.data[1]), (30, 2 + 9 * 26 + 7, 10));
    assert_eq!(rig.ask(PRIMARY, 16, &[]).data, [0, 0, 9]);
    assert_eq!(rig.ask(PRIMARY, 12, &[]).data, [0x82, 0x08, 0x20].repeat(8), "the message was not written");
}

/// [DV-16]: what exists, side by side; 64 without data for all that does not.
#[test]
fn commands_by_revision() {
    let five: Vec<u8> = [
        &[0, 1, 2, 3, 6][..],
        &(11..=19).collect::<Vec<_>>(),
        &(33..=42).collect::<Vec<_>>(),
        &(44..=56).collect::<Vec<_>>(),
        &(59..=70).collect::<Vec<_>>(),
        &[107, 108, 109, 110],
    ]
    .concat();
    let six = [&five[..], &[7, 8, 9, 20, 21, 22, 71, 72, 76, 79, 80, 81, 82, 83, 95, 106]].concat();
    let seven = [&six[..], &[73, 78, 89, 90, 103, 104, 105]].concat();
    for (revision, has) in [(R5, five), (R6, six), (R7, seven)] {
        // Commands that describe a device are silent to others, and 42 would begin again.
        for command in (0..=255).filter(|c| !matches!(c, 11 | 21 | 42 | 73) || !has.contains(c)) {
            let mut rig = Rig::new(revision).warm();
            let reply = rig.ask(PRIMARY, command, &[]);
            assert_eq!(
                reply.status[0] != 64,
                has.contains(&command),
                "command {command}, revision {revision}"
            );
            assert!(reply.status[0] != 64 || reply.data.is_empty());
        }
    }
}

/// Key and switch of a bench: each change comes at its time.
#[test]
fn key_and_switch() {
    use looprig::device::Device;
    use looprig::frame::Octet;
    use looprig::line::Station;
    use looprig::sim::{Change, DeviceStation};
    use looprig::time::{Instant, Pace};

    let at = |s: u64| Instant::ZERO + Duration::from_secs(s);
    let (device, _) = Device::new(DeviceConfig::new(R7), None, Pace::Fast, Duration::ZERO, Instant::ZERO);
    let changes = vec![
        (at(1), Change::Armed(true)),
        (at(2), Change::WriteProtect(true)),
        (at(3), Change::Armed(false)),
        (at(4), Change::WriteProtect(false)),
    ];
    let mut station = DeviceStation::new(device, changes);
    for (s, found, code) in [(0, false, 0), (1, true, 0), (2, true, 7), (3, false, 7), (4, false, 0)] {
        let mut ask = |to: [u8; 5], command: u8, data: &[u8]| {
            let now = at(s) + Duration::from_millis(500);
            for value in request(&from_master(PRIMARY, to), command, data) {
                station.handle(now, &[Octet::clean(now, value)]);
            }
            station.poll_transmit(now)
        };
        assert_eq!(ask([0; 5], 73, &[]).is_some(), found, "{s} s");
        // Preambles, delimiter, address, command and count come before the status octets.
        assert_eq!(ask(unique(R7), 19, &[0, 0, 1]).expect("an answer")[5 + 1 + 5 + 2], code, "{s} s");
    }
}
