//! Delayed responses and devices that are busy for a while [DV-40] [DV-41]. How they go is from memory or our choice
//! (the notes say which); the numbers 32 to 36 are those of [MXQ] [BIF], command 106 and its 8 are in [MXQ].

use super::rig::{BOTH, PRIMARY, REVISIONS, Reply, Rig, SECONDARY, from_master, request, unique};
use looprig::app::command::Revision;
use looprig::device::{Device, DeviceConfig, Slow};
use looprig::frame::Octet;
use looprig::line::Station;
use looprig::sim::{Change, DeviceStation};
use looprig::time::{Instant, Pace};
use std::time::Duration;

const R7: Revision = Revision::R7;
const NOTHING: [u8; 0] = [];

/// A device whose self test takes 30 s, writing the long tag 20 s, writing the range 40 s, and locking 50 s; a request
/// with its answer takes about 1 s here.
fn config(revision: Revision) -> DeviceConfig {
    let mut config = DeviceConfig::new(revision);
    let slow = |command, s| Slow { command, takes: Duration::from_secs(s) };
    config.slow = vec![slow(41, 30), slow(35, 40)];
    if revision > Revision::R5 {
        config.slow.extend([slow(22, 20), slow(71, 50)]);
    }
    config
}

fn rig() -> Rig {
    Rig::with(config(R7), None).warm()
}

fn code(reply: &Reply) -> u8 {
    let code = reply.status[0];
    if matches!(code, 32..=36) {
        assert_eq!(reply.data, NOTHING, "code {code} has no data");
    }
    code
}

fn ask(rig: &mut Rig, master: u8, command: u8, data: &[u8]) -> u8 {
    let reply = rig.ask(master, command, data);
    code(&reply)
}

fn tag(letter: u8) -> [u8; 32] {
    [letter; 32]
}

fn long_tag(rig: &Rig) -> String {
    rig.device.long_tag().to_owned()
}

fn seconds(s: u64) -> Duration {
    Duration::from_secs(s)
}

/// 33, then 34 until it is done, then the result once; the next request begins anew.
#[test]
fn a_self_test_that_takes_its_time() {
    for master in BOTH {
        let mut rig = rig();
        // A request of 5 + 9 octets takes effect at its end.
        let takes_effect = |rig: &Rig| rig.now + Duration::from_nanos(9_166_667) * 14;
        let until = takes_effect(&rig) + seconds(30);
        assert_eq!(ask(&mut rig, master, 41, &[]), 33);
        let mut running = 0;
        while takes_effect(&rig) < until {
            assert_eq!(ask(&mut rig, master, 41, &[]), 34);
            running += 1;
        }
        assert!(running > 20);
        assert_eq!(ask(&mut rig, master, 41, &[]), 0);
        assert_eq!(ask(&mut rig, master, 41, &[]), 33);
    }
}

/// The work takes effect when it is done and no moment before: value, counter, bit of status and memory.
#[test]
fn a_slow_write_takes_effect_at_its_end() {
    let mut rig = rig();
    rig.device.take_image();
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
    assert_eq!(rig.ask(PRIMARY, 20, &[]).data, [0; 32]);
    assert_eq!(rig.ask(SECONDARY, 0, &[]).status, [0, 0], "nothing is changed yet");
    assert_eq!((rig.device.take_image(), rig.device.stored().configuration_change_counter), (None, 0));
    // Nobody asks while it comes to its end.
    rig.wait(seconds(20));
    assert_eq!((long_tag(&rig), rig.device.stored().configuration_change_counter), ("A".repeat(32), 1));
    assert!(rig.device.take_image().is_some());
    assert_eq!(rig.ask(SECONDARY, 0, &[]).status, [0, 0x40]);
    let reply = rig.ask(PRIMARY, 22, &tag(b'A'));
    assert_eq!((reply.status, reply.data), ([0, 0x40], tag(b'A').to_vec()));
    assert_eq!(rig.device.stored().configuration_change_counter, 1, "told, not done again");
}

/// The device says when it wants to be woken: at the end of its work, to the nanosecond.
#[test]
fn it_wakes_at_the_end_of_its_work() {
    let mut rig = rig();
    // 9 + 5 octets of a request: 41 has no data.
    let taken = rig.now + Duration::from_nanos(9_166_667) * 14;
    ask(&mut rig, PRIMARY, 41, &[]);
    assert_eq!(rig.device.wake_at(), Some(taken + seconds(30)));
    rig.wait(seconds(30));
    assert_eq!(rig.device.wake_at(), None);
}

/// A result waits for as long as nobody fetches it.
#[test]
fn a_result_fetched_late() {
    let mut rig = rig();
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
    rig.wait(seconds(86_400));
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'B')), 33, "another one; the first does not run any more");
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 0);
    assert_eq!(long_tag(&rig), "A".repeat(32));
    rig.wait(seconds(20));
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'B')), 0);
}

/// What the values are worth is told with the result; too few data are told at once.
#[test]
fn a_refusal_is_a_result() {
    let mut rig = rig();
    // Lock code 4 does not exist: 10 [CM-071].
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[]), 5);
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[4]), 33);
    rig.wait(seconds(50));
    let reply = rig.ask(PRIMARY, 71, &[4]);
    assert_eq!((code(&reply), reply.data.len()), (10, 0));
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[]), 5, "too few data never begin anything");
}

/// Each master has buffers of its own, also for the very same request.
#[test]
fn two_masters() {
    let mut rig = rig();
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'P')), 33);
    assert_eq!(ask(&mut rig, SECONDARY, 22, &tag(b'S')), 33, "no conflict with another master's");
    assert_eq!(ask(&mut rig, SECONDARY, 41, &[]), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 33);
    // Which of the two writes ended later stays.
    rig.wait(seconds(30));
    assert_eq!(long_tag(&rig), "S".repeat(32));
    assert_eq!(rig.device.stored().configuration_change_counter, 2);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'P')), 0);
    assert_eq!(ask(&mut rig, SECONDARY, 22, &tag(b'S')), 0);
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 0);
    assert_eq!(ask(&mut rig, SECONDARY, 41, &[]), 0);
    // One master's result is not the other's.
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'X')), 33);
    rig.wait(seconds(20));
    assert_eq!(ask(&mut rig, SECONDARY, 22, &tag(b'X')), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'X')), 0);
}

/// The same command with other data while one runs: 36, and nothing is begun. Surplus octets are data, too.
#[test]
fn conflict() {
    let mut rig = rig();
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'B')), 36);
    let with_surplus = [&tag(b'A')[..], &[0]].concat();
    assert_eq!(ask(&mut rig, PRIMARY, 22, &with_surplus), 36);
    rig.wait(seconds(20));
    assert_eq!(long_tag(&rig), "A".repeat(32));
    // It does not run any more: another one begins, and is another one although it writes the same.
    assert_eq!(ask(&mut rig, PRIMARY, 22, &with_surplus), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 0);
    rig.wait(seconds(20));
    let reply = rig.ask(PRIMARY, 22, &with_surplus);
    assert_eq!((code(&reply), &reply.data[..]), (0, &tag(b'A')[..]));
    assert_eq!(rig.device.stored().configuration_change_counter, 2);
}

/// Two buffers: a third request is busy (32) while two run, and while two results wait; the other master has its own.
#[test]
fn a_third_request_finds_no_buffer() {
    let mut rig = rig();
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[1]), 32);
    assert_eq!(ask(&mut rig, PRIMARY, 19, &[0, 0, 1]), 0, "what takes no time is done as always");
    assert_eq!(ask(&mut rig, SECONDARY, 71, &[1]), 33);
    rig.wait(seconds(30));
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[1]), 32);
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 0);
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[1]), 33);
}

/// 106 frees what waits, of the master that asks alone; 8 while others of its run on.
#[test]
fn flush() {
    let mut rig = rig();
    for master in BOTH {
        assert_eq!(ask(&mut rig, master, 106, &[]), 0, "nothing to flush");
        assert_eq!(ask(&mut rig, master, 22, &tag(b'A')), 33);
        assert_eq!(ask(&mut rig, master, 71, &[0]), 33);
    }
    rig.wait(seconds(30));
    let reply = rig.ask(PRIMARY, 106, &[]);
    assert_eq!((reply.status[0], reply.data.len()), (8, 0), "71 runs on");
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[0]), 34);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33, "its result is gone");
    assert_eq!(ask(&mut rig, SECONDARY, 22, &tag(b'A')), 0, "the other master's is not");
    rig.wait(seconds(50));
    assert_eq!(ask(&mut rig, PRIMARY, 106, &[]), 0);
    assert_eq!(ask(&mut rig, SECONDARY, 71, &[0]), 0);
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[0]), 33);
}

/// Revision 6 has the command and nothing to flush; revision 5 has none.
#[test]
fn flush_in_older_revisions() {
    let codes = REVISIONS.map(|revision| ask(&mut Rig::new(revision), PRIMARY, 106, &[]));
    assert_eq!(codes, [0, 0, 64]);
}

/// A reset in the middle: nothing is done, the identical request is told so once, then it begins anew.
#[test]
fn a_reset_kills() {
    let mut rig = rig();
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
    assert_eq!(ask(&mut rig, SECONDARY, 41, &[]), 33);
    rig.wait(seconds(30));
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 0);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'B')), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 33);
    assert_eq!(ask(&mut rig, SECONDARY, 42, &[]), 0);
    assert_eq!(rig.device.wake_at(), None, "nothing runs");
    rig.wait(seconds(100));
    assert_eq!(long_tag(&rig), "A".repeat(32), "and nothing was done");
    // A result that nobody had fetched is lost as well.
    assert_eq!(ask(&mut rig, SECONDARY, 41, &[]), 35);
    assert_eq!(ask(&mut rig, SECONDARY, 41, &[]), 33);
    // The dead are in nobody's way: both buffers are to be had.
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'C')), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 71, &[0]), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'B')), 36, "forgotten, for its buffer was needed");
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 32);
}

/// A flush makes the dead be forgotten, too.
#[test]
fn a_flush_buries_the_dead() {
    let mut rig = rig();
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 33);
    assert_eq!(ask(&mut rig, PRIMARY, 42, &[]), 0);
    assert_eq!(ask(&mut rig, PRIMARY, 106, &[]), 0);
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 33);
}

/// A loss of power forgets all of it, of a device that goes on and of one that is there anew: nothing is dead (35), and what
/// was not done is not in the memory.
#[test]
fn a_power_cycle_forgets() {
    for anew in [false, true] {
        let mut rig = rig();
        assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
        rig.wait(seconds(20));
        assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'B')), 33);
        assert_eq!(ask(&mut rig, SECONDARY, 41, &[]), 33);
        if anew {
            let image = rig.device.take_image();
            rig = Rig::at(rig.now, config(R7), image.as_deref());
        } else {
            rig.device.power_cycle(rig.now);
        }
        rig.wait(seconds(100));
        assert_eq!(long_tag(&rig), "A".repeat(32));
        assert_eq!(ask(&mut rig, SECONDARY, 41, &[]), 33);
        for letter in [b'A', b'B'] {
            assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(letter)), 33);
            rig.wait(seconds(20));
        }
    }
}

/// Write protect, a lock and "busy" keep a request from being begun; once begun they change nothing.
#[test]
fn lock_and_write_protect_are_judged_at_the_beginning() {
    let mut rig = rig();
    rig.device.set_write_protected(true);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 7);
    rig.device.set_write_protected(false);
    rig.device.set_busy(true);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 32);
    rig.device.set_busy(false);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
    rig.device.set_write_protected(true);
    rig.device.set_busy(true);
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 34);
    rig.wait(seconds(20));
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 0);
    assert_eq!(long_tag(&rig), "A".repeat(32));
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 32);
}

/// A lock that comes in between, too, and who is locked out may flush.
#[test]
fn a_lock_in_between() {
    let mut rig = rig();
    assert_eq!(ask(&mut rig, SECONDARY, 71, &[1]), 33);
    rig.wait(seconds(40));
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
    rig.wait(seconds(10));
    assert_eq!(ask(&mut rig, PRIMARY, 76, &[]), 0);
    assert_eq!(rig.ask(PRIMARY, 76, &[]).data, [0x01], "locked by the secondary master [TB-14]");
    rig.wait(seconds(10));
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 0);
    assert_eq!(long_tag(&rig), "A".repeat(32));
    assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'B')), 16);
    assert_eq!(ask(&mut rig, PRIMARY, 106, &[]), 0);
}

/// An answer that has not left yet when the next request comes has told nothing: the result waits on.
#[test]
fn a_result_that_was_not_given_out() {
    let mut rig = rig();
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 33);
    rig.wait(seconds(30));
    let at = from_master(PRIMARY, unique(R7));
    // Both requests are there before the device may speak.
    let octets = request(&at, 41, &[]);
    for &value in &octets {
        rig.now += Duration::from_nanos(9_166_667);
        rig.device.handle(rig.now, &[Octet::clean(rig.now, value)]);
    }
    assert_eq!(ask(&mut rig, PRIMARY, 0, &[]), 0);
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 0, "still there");
    assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 33);
}

/// 106 inside 78 that is done between the taking of a result and its giving out: the buffer is flushed and freed once, and
/// no other one with it.
#[test]
fn a_flush_while_a_result_is_given_out() {
    // 71, which takes 50 s, then 106; lock code 0 where nothing is locked.
    let carried = [2, 0, 71, 1, 0, 0, 106, 0];
    let octets = |count: usize| Duration::from_nanos(9_166_667) * (5 + 9 + count) as u32;
    for other in [false, true] {
        let mut slow = config(R7);
        slow.response_delay = Duration::from_millis(200);
        let mut rig = Rig::with(slow, None).warm();
        if other {
            // One more, of the other master, which no flush of this one touches.
            assert_eq!(ask(&mut rig, SECONDARY, 22, &tag(b'A')), 33);
        }
        let done = rig.now + octets(carried.len()) + seconds(50);
        assert_eq!(ask(&mut rig, PRIMARY, 78, &carried), 33);
        assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33);
        // The request ends 0.1 s before that, and its answer begins 0.1 s after it.
        let asked = rig.now;
        rig.wait(done.since(asked + octets(32)) - Duration::from_millis(100));
        assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 0);
        assert_eq!(ask(&mut rig, PRIMARY, 78, &carried), 0, "its result is still there");
        assert_eq!(ask(&mut rig, PRIMARY, 22, &tag(b'A')), 33, "it was given out");
        if other {
            assert_eq!(ask(&mut rig, SECONDARY, 22, &tag(b'A')), 0);
        }
    }
}

/// Nothing of it by broadcast, and a broadcast that finds somebody is never put off.
#[test]
fn broadcasts() {
    let mut rig = rig();
    for master in BOTH {
        assert_eq!(rig.send(&request(&[master, 0, 0, 0, 0], 41, &[]), None), None);
        assert_eq!(rig.send(&request(&[master, 0, 0, 0, 0], 106, &[]), None), None);
        assert_eq!(ask(&mut rig, master, 41, &[]), 33, "nothing was begun");
    }
}

/// 78 as a whole is put off for as long as the slow ones in it take, 20 + 30 s; then all is done, one after the other.
#[test]
fn several_in_one() {
    let mut rig = rig();
    let inner = [
        &[3, 0, 22, 32][..],
        &tag(b'A'),
        &[0, 41, 0],
        // The long tag is read behind its write.
        &[0, 20, 0],
    ]
    .concat();
    assert_eq!(ask(&mut rig, PRIMARY, 78, &inner), 33);
    rig.wait(seconds(40));
    assert_eq!(ask(&mut rig, PRIMARY, 78, &inner), 34);
    assert_eq!(long_tag(&rig), "");
    rig.wait(seconds(10));
    let reply = rig.ask(PRIMARY, 78, &inner);
    assert_eq!(code(&reply), 0);
    // Extended status, count, then number, octets, code, data of each [CM-078].
    let expected = [&[0, 3, 0, 22, 33, 0][..], &tag(b'A'), &[0, 41, 1, 0, 0, 20, 33, 0], &tag(b'A')].concat();
    assert_eq!(reply.data, expected);
    // What is not slow goes at once.
    assert_eq!(rig.ask(PRIMARY, 78, &[1, 0, 20, 0]).status[0], 0);
}

/// [DV-41]: before revision 7 it is done and answered at once, and then the device is busy towards both masters.
#[test]
fn older_revisions_are_busy_afterwards() {
    for revision in [Revision::R5, Revision::R6] {
        let mut rig = Rig::with(config(revision), None).warm();
        assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 0);
        for master in BOTH {
            assert_eq!(ask(&mut rig, master, 41, &[]), 32);
            assert_eq!(ask(&mut rig, master, 12, &[]), 32);
            // The list of command 0 has no 32.
            assert_eq!(ask(&mut rig, master, 0, &[]), 0);
        }
        rig.wait(seconds(30));
        assert_eq!(ask(&mut rig, PRIMARY, 12, &[]), 0);
        // What is refused keeps nobody busy: 5 is too few data.
        assert_eq!(ask(&mut rig, PRIMARY, 35, &[57]), 5);
        // 39 is mA, which no range is in: 28 before revision 7.
        assert_eq!(ask(&mut rig, PRIMARY, 35, &[39, 0x42, 0xC8, 0, 0, 0, 0, 0, 0]), 28);
        assert_eq!(ask(&mut rig, PRIMARY, 12, &[]), 0);
        // A warning is done: a span of 5 % is below the least one, 14.
        assert_eq!(ask(&mut rig, PRIMARY, 35, &[57, 0x40, 0xA0, 0, 0, 0, 0, 0, 0]), 14);
        assert_eq!(ask(&mut rig, SECONDARY, 42, &[]), 32);
        rig.wait(seconds(40));
        assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 0);
        rig.wait(seconds(30));
        assert_eq!(ask(&mut rig, SECONDARY, 42, &[]), 0);
        assert_eq!(ask(&mut rig, PRIMARY, 41, &[]), 0);
    }
}

/// What is due at one time is done at its own time, whoever looks when: damping written at its end, and the travel that a
/// change of current meets before it.
#[test]
fn when_the_device_is_asked_makes_no_difference() {
    let run = |steps: u32| {
        let mut config = DeviceConfig::new(R7);
        config.slow = vec![Slow { command: 34, takes: seconds(2) }];
        let mut rig = Rig::with(config, None).warm();
        // 10.0 = 1.25·2³ = 41 20 00 00.
        assert_eq!(ask(&mut rig, PRIMARY, 34, &[0x41, 0x20, 0, 0]), 33);
        for _ in 0..steps {
            rig.wait(seconds(6) / steps);
        }
        rig.device.set_loop_current_ma(rig.now, 20.0);
        rig.wait(seconds(10));
        (rig.device.travel_percent(rig.now), rig.device.stored().damping_s)
    };
    let once = run(1);
    assert_eq!(once.1, 10.0);
    assert!((run(600).0 - once.0).abs() < 1e-9);
}

/// A station that is looked at late: what was due before a change around it is done before the change.
#[test]
fn a_change_comes_behind_what_was_due_before_it() {
    let mut config = DeviceConfig::new(R7);
    config.slow = vec![Slow { command: 52, takes: seconds(5) }];
    config.positioner().supply_pressure_bar = 0.25;
    let begun = Instant::from_nanos(1_000_000_000);
    let (device, _) = Device::new(config, None, Pace::Wire, Duration::ZERO, begun);
    // At 0.25 bar the zero can be set, at 4 bar it cannot [DV-22].
    let changes = vec![(begun + seconds(10), Change::SupplyPressureBar(4.0))];
    let mut station = DeviceStation::new(device, changes);
    let mut now = begun;
    for value in request(&from_master(PRIMARY, unique(R7)), 52, &[3]) {
        now += Duration::from_nanos(9_166_667);
        station.handle(now, &[Octet::clean(now, value)]);
    }
    now += Duration::from_millis(20);
    assert!(station.poll_transmit(now).is_some());
    station.sent(now + Duration::from_millis(150));
    assert_eq!(station.poll_transmit(begun + seconds(20)), None);
    assert_eq!(station.device().stored().configuration_change_counter, 1);
}
