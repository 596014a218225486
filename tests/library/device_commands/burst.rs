//! Burst mode [LL-10] [LL-23] [DV-30] [DV-31]: what is set up and told, when bursts come and what they say.

use super::rig::{BOTH, Burst, PRIMARY, REVISIONS, Rig, SECONDARY, from_master, request, unique};
use looprig::app::command::Revision;
use looprig::device::DeviceConfig;
use std::time::Duration;

const R5: Revision = Revision::R5;
const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

/// 7F A0 00 00 [TY-03].
const NAN: [u8; 4] = [0x7F, 0xA0, 0, 0];

/// So many characters of 11 bits at 1200 bit/s [LL-01].
fn characters(n: f64) -> Duration {
    Duration::from_secs_f64(n * 11.0 / 1200.0)
}

fn about(is: Duration, due: Duration) -> bool {
    is.abs_diff(due) < Duration::from_micros(2)
}

/// 32 steps a millisecond [TY-07].
fn ms(n: u32) -> [u8; 4] {
    (n * 32).to_be_bytes()
}

/// A warm device at 12 mA, that is 50 %.
fn rig(revision: Revision) -> Rig {
    let mut rig = Rig::new(revision).warm();
    rig.device.set_loop_current_ma(rig.now, 12.0);
    // The travel follows until then.
    rig.wait(Duration::from_secs(120));
    rig
}

/// Command 109 by revision.
fn control(rig: &mut Rig, on: u8) {
    let data = if rig.revision == R7 { vec![on, 0] } else { vec![on] };
    let reply = rig.ask(PRIMARY, 109, &data);
    assert_eq!((reply.status[0], reply.data), (0, data));
}

/// Command 108 by revision.
fn command(rig: &mut Rig, number: u8) {
    let data = if rig.revision == R7 { vec![0, number, 0] } else { vec![number] };
    let reply = rig.ask(PRIMARY, 108, &data);
    assert_eq!((reply.status[0], reply.data), (0, data));
}

fn write(rig: &mut Rig, number: u8, data: &[u8]) {
    let reply = rig.ask(PRIMARY, number, data);
    assert_eq!((reply.status[0], &reply.data[..]), (0, data), "command {number}");
}

/// [LL-23]: after power-up 43 characters, whatever was heard and sent before; and behind what was leaving when the power went.
#[test]
fn power_comes_back_in_the_middle_of_bursts() {
    let mut rig = rig(R7);
    // 0.25 s are less than a burst of command 1, 21, and its silence, 12.
    write(&mut rig, 103, &[&[0][..], &ms(250), &ms(60_000)].concat());
    control(&mut rig, 1);
    rig.wait(Duration::from_secs(3));
    rig.bursts.clear();
    rig.device.power_cycle(rig.now);
    let since = rig.now;
    rig.wait(Duration::from_secs(3));
    assert!(about(rig.bursts[0].at.since(since), characters(43.0)), "{:?}", rig.bursts[0].at.since(since));
    assert_eq!(rig.bursts[0].names, SECONDARY, "the first one");
    assert!(about(rig.bursts[1].after, characters(12.0)), "{:?}", rig.bursts[1].after);
    // Gone while one leaves.
    while rig.device.poll_transmit(rig.now).is_none() {
        rig.now = rig.device.wake_at().unwrap();
        rig.device.handle_timeout(rig.now);
    }
    rig.device.power_cycle(rig.now + characters(5.0));
    rig.now += characters(21.0);
    rig.device.sent(rig.now);
    let since = rig.now;
    rig.bursts.clear();
    rig.wait(Duration::from_secs(1));
    assert!(about(rig.bursts[0].at.since(since), characters(43.0)), "{:?}", rig.bursts[0].at.since(since));
}

fn refused(rig: &mut Rig, number: u8, data: &[u8], code: u8) {
    let before = rig.device.stored().clone();
    let reply = rig.ask(PRIMARY, number, data);
    assert_eq!((reply.status[0], reply.data.len()), (code, 0), "command {number}, {data:02X?}");
    assert_eq!(rig.device.stored(), &before, "command {number}");
}

/// The bursts of so much time from now on.
fn bursts(rig: &mut Rig, time: Duration) -> Vec<Burst> {
    rig.bursts.clear();
    rig.wait(time);
    std::mem::take(&mut rig.bursts)
}

/// Times between their beginnings.
fn periods(bursts: &[Burst]) -> Vec<Duration> {
    bursts.windows(2).map(|w| w[1].at.since(w[0].at)).collect()
}

/// The first burst comes right after the answer to 109 and names the other master; the last is over with the answer that
/// turns it off. The answers meanwhile have the burst bit, which the rig checks.
#[test]
fn on_and_off() {
    for revision in REVISIONS {
        let mut rig = rig(revision);
        assert!(!rig.device.bursts());
        assert_eq!(bursts(&mut rig, Duration::from_secs(10)), []);
        control(&mut rig, 1);
        assert!(rig.device.bursts());
        let first = &rig.bursts[0];
        assert_eq!((first.after, first.names, first.command), (Duration::ZERO, SECONDARY, 1));
        // Configuration changed is 40; 57 %, and 50.0 is 42 48 00 00.
        assert_eq!((first.status, &first.data[..]), ([0, 0x40], &[57, 0x42, 0x48, 0, 0][..]));
        rig.bursts.clear();
        rig.ask(SECONDARY, 0, &[]);
        assert_eq!((rig.bursts[0].after, rig.bursts[0].names), (Duration::ZERO, PRIMARY));
        // Writing what is there already is no end.
        control(&mut rig, 1);
        control(&mut rig, 0);
        assert!(!rig.device.bursts());
        assert_eq!(bursts(&mut rig, Duration::from_secs(10)), []);
    }
}

/// [LL-10]: over 3 a second on wires that are quiet otherwise ([1794B] [TI0]). A burst of command 1 has 5 preambles and
/// 1 + 5 + 1 + 1 + 2 + 5 + 1 octets, 21 characters; RT2 and twice HOLD are 12: one each 33 characters, 302.5 ms, 3.3 a
/// second. Of command 2, 8 octets of data, 36 characters, 3.03 a second. Each 64th silence is 128 longer, which leaves 3.1 a
/// second of command 1: 64 in 64 * 33 + 128 characters. They name the masters in turn.
#[test]
fn as_often_as_the_wires_allow() {
    for revision in REVISIONS {
        for (number, long) in [(1, 21.0), (2, 24.0)] {
            let mut rig = rig(revision);
            command(&mut rig, number);
            if revision == R7 {
                write(&mut rig, 103, &[&[0][..], &ms(250), &ms(250)].concat());
            }
            control(&mut rig, 1);
            let heard = bursts(&mut rig, Duration::from_secs(60));
            let apart = periods(&heard);
            let is_longer = |i: &usize| about(apart[*i], characters(long + 140.0));
            let longer: Vec<usize> = (0..apart.len()).filter(is_longer).collect();
            assert!(longer.len() > 1 && longer.windows(2).all(|w| w[1] == w[0] + 64), "{longer:?}");
            let mut others = (0..apart.len()).filter(|i| !longer.contains(i));
            assert!(others.all(|i| about(apart[i], characters(long + 12.0))), "{apart:?}");
            assert!(number == 2 || heard.len() > 180, "{} in a minute", heard.len());
            assert!(heard.windows(2).all(|w| w[0].names != w[1].names));
            assert!(heard.iter().all(|b| b.command == number));
        }
    }
}

/// [LL-23]: at power-up, and after a request that nobody answers, 43 characters; after another device's answer it follows at
/// once, whatever is due, unless that one bursts too: then after 12.
#[test]
fn others_on_the_wires() {
    let mut config = DeviceConfig::new(R7);
    config.factory.burst[1].on = true;
    config.factory.burst[1].update_period = 250 * 32;
    let mut rig = Rig::with(config, None);
    let started = rig.now;
    let first = &bursts(&mut rig, Duration::from_millis(500))[0];
    assert!(about(first.at.since(started), characters(43.0)), "{first:?}");
    // Another device: 26 4E 00 00 D2, command 0 by the primary, and its answer of 4 octets.
    let other = from_master(PRIMARY, [0x26, 0x4E, 0, 0, 0xD2]);
    let answer = |first: u8| {
        let mut out = vec![0x86, first, 0x4E, 0, 0, 0xD2, 0, 4, 0, 0, 1, 2];
        out.push(out.iter().fold(0, |x, o| x ^ o));
        [vec![0xFF; 5], out].concat()
    };
    rig.bursts.clear();
    rig.send(&request(&other, 0, &[]), None);
    assert!(about(rig.bursts[0].after, characters(43.0)), "{:?}", rig.bursts[0]);
    for (first, names) in [(0xA6, SECONDARY), (0x26, PRIMARY)] {
        rig.bursts.clear();
        rig.send(&answer(first), None);
        assert_eq!((rig.bursts[0].after, rig.bursts[0].names), (Duration::ZERO, names));
        assert!(about(rig.bursts[1].after, characters(12.0)), "{:?}", rig.bursts[1]);
        assert_eq!(rig.bursts[1].names, names ^ 0x80);
    }
    rig.bursts.clear();
    rig.send(&answer(0xE6), None);
    assert!(about(rig.bursts[0].after, characters(12.0)), "{:?}", rig.bursts[0]);
    // And from then on none follows another's answer.
    rig.bursts.clear();
    rig.send(&answer(0xA6), None);
    assert!(about(rig.bursts[0].after, characters(12.0)), "{:?}", rig.bursts[0]);
}

/// A request that is not answered is no answer to follow; one that is refused is.
#[test]
fn own_answers() {
    let mut rig = rig(R7);
    write(&mut rig, 103, &[&[0][..], &ms(60_000), &ms(60_000)].concat());
    control(&mut rig, 1);
    let own = from_master(PRIMARY, unique(R7));
    rig.bursts.clear();
    assert_eq!(rig.send(&request(&own, 11, &[1; 6]), None), None);
    assert_eq!(rig.bursts, []);
    rig.ask(PRIMARY, 200, &[]);
    assert_eq!((rig.bursts.len(), rig.bursts[0].after), (1, Duration::ZERO));
    let mut bad = request(&own, 0, &[]);
    *bad.last_mut().unwrap() ^= 0x01;
    // A communication error [LL-08] is an answer too, with the burst bit.
    let reply = rig.send(&bad, None).expect("an answer");
    assert_eq!((reply.address[0], reply.status), (own[0] | 0x40, [0x88, 0]));
    assert_eq!((rig.bursts.len(), rig.bursts[1].after), (2, Duration::ZERO));
}

/// What each command says in a burst is what it answers; 48 as without data, so that nothing is taken for seen [ST-07]. 9
/// and 33 tell the variables that are used, 33 at most four.
#[test]
fn what_a_burst_says() {
    for revision in REVISIONS {
        let mut rig = rig(revision);
        // Out of limits: something to report in command 48.
        rig.device.set_supply_pressure_bar(8.0);
        if revision == R7 {
            write(&mut rig, 107, &[246, 250, 3, 244, 250, 250, 2, 250, 0]);
        } else {
            write(&mut rig, 107, &[246, 250, 3, 244]);
        }
        let used: &[u8] = if revision == R7 { &[246, 3, 244, 2] } else { &[246, 3, 244] };
        for (number, asked) in [(1, &[][..]), (2, &[]), (3, &[]), (33, used), (48, &[]), (9, used)] {
            if number == 9 && revision < R7 {
                let data = [number];
                refused(&mut rig, 108, &data, 2);
                continue;
            }
            command(&mut rig, number);
            let data = rig.ask(PRIMARY, number, asked).data;
            control(&mut rig, 1);
            let burst = &rig.bursts[0];
            // The time in command 9 goes on.
            let same = |d: &[u8]| if number == 9 { d[..d.len() - 4].to_vec() } else { d.to_vec() };
            assert_eq!((burst.command, same(&burst.data)), (number, same(&data)), "revision {revision}");
            assert_eq!(burst.status, [0, 0x40 | 0x10 | 0x02], "command {number}");
            control(&mut rig, 0);
            rig.bursts.clear();
        }
    }
}

/// [ST-08]: a burst is no answer: cold start stays until the master has one.
#[test]
fn cold_start() {
    let mut config = DeviceConfig::new(R7);
    config.factory.burst[0].on = true;
    let mut rig = Rig::with(config, None);
    let heard = bursts(&mut rig, Duration::from_secs(5));
    assert!(heard.len() > 3 && heard.iter().all(|b| b.status == [0, 0x20]), "{heard:?}");
    assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0x20]);
    let cold: Vec<bool> = rig.bursts.iter().map(|b| b.status[1] == 0x20).collect();
    let named: Vec<bool> = rig.bursts.iter().map(|b| b.names == SECONDARY).collect();
    assert_eq!(cold, named);
}

/// [CM-103]: at the update period from beginning to beginning; periods that are not offered are taken up, and the longest is
/// not below the shortest (8). [ICS] has 250 ms and 60 s.
#[test]
fn update_periods() {
    for ([update, longest], [used, most]) in [
        ([250, 60_000], [250, 60_000]),
        ([500, 500], [500, 500]),
        ([501, 1000], [1000, 1000]),
        ([3000, 2000], [4000, 4000]),
        ([32_001, 61_000], [60_000, 61_000]),
        ([0, 4_000_000], [250, 3_600_000]),
    ] {
        let mut rig = rig(R7);
        let reply = rig.ask(PRIMARY, 103, &[&[2][..], &ms(update), &ms(longest)].concat());
        let code = if [update, longest] == [used, most] { 0 } else { 8 };
        assert_eq!((reply.status[0], reply.data), (code, [&[2][..], &ms(used), &ms(most)].concat()));
        let told = rig.ask(SECONDARY, 105, &[2]).data;
        assert_eq!(told[14..22], [ms(used), ms(most)].concat());
        if (500..=4000).contains(&used) {
            write(&mut rig, 109, &[1, 2]);
            let heard = bursts(&mut rig, Duration::from_secs(60));
            assert!(heard.len() >= 14);
            let due = Duration::from_millis(used.into());
            assert!(periods(&heard).iter().all(|&p| about(p, due)), "{:?}", periods(&heard));
        }
    }
    let mut rig = rig(R7);
    refused(&mut rig, 103, &[&[3][..], &ms(500), &ms(500)].concat(), 9);
    refused(&mut rig, 103, &[0; 8], 5);
}

/// [CM-105]: octet by octet as delivered, and after everything was written.
#[test]
fn configuration() {
    let mut rig = rig(R7);
    let delivered = |n: u8| {
        let head = [0, 31, 0, 1, 2, 3, 250, 250, 250, 250, n, 3, 0, 1];
        [&head[..], &ms(1000), &ms(60_000), &[0, 0, 250], &NAN].concat()
    };
    for n in 0..3 {
        assert_eq!(rig.ask(PRIMARY, 105, &[n]).data, delivered(n));
    }
    refused(&mut rig, 105, &[3], 2);
    refused(&mut rig, 105, &[], 5);
    write(&mut rig, 108, &[0, 9, 1]);
    write(&mut rig, 107, &[3, 1, 2, 0, 244, 245, 249, 250, 1]);
    // Rising above 2.0 bar: class 65 pressure, 7 bar, 40 00 00 00.
    write(&mut rig, 104, &[1, 2, 65, 7, 0x40, 0, 0, 0]);
    write(&mut rig, 103, &[&[1][..], &ms(8000), &ms(120_000)].concat());
    write(&mut rig, 109, &[1, 1]);
    let head = [1, 31, 3, 1, 2, 0, 244, 245, 249, 250, 1, 3, 0, 9];
    let told = [&head[..], &ms(8000), &ms(120_000), &[2, 65, 7, 0x40, 0, 0, 0]].concat();
    assert_eq!(rig.ask(PRIMARY, 105, &[1]).data, told);
    assert_eq!(rig.ask(PRIMARY, 105, &[0]).data, delivered(0));
    // It is stored: the next device has it and bursts at once.
    let image = rig.device.take_image().expect("an image");
    let mut again = Rig::with(DeviceConfig::new(R7), Some(&image));
    assert_eq!(again.ask(PRIMARY, 105, &[1]).data, told);
    assert!(again.device.bursts() && !bursts(&mut again, Duration::from_secs(9)).is_empty());
    // What revision 7 has in its other messages, and command 9, revision 5 does not send.
    let old = Rig::with(DeviceConfig::new(R5), Some(&image));
    assert!(!old.device.bursts());
}

/// [CM-104]: 13 for a mode that does not exist, and for a level in command 48, where nothing is compared; 11 and 12 for another
/// class or unit than those of the first variable; 3 and 4 for levels that cannot be; no level for modes 0 and 4 (8).
#[test]
fn triggers() {
    let mut rig = rig(R7);
    let level = |x: f32| x.to_be_bytes();
    let trigger =
        |n: u8, mode: u8, class: u8, unit: u8, x: [u8; 4]| [&[n, mode, class, unit][..], &x].concat();
    write(&mut rig, 104, &trigger(0, 1, 0, 57, level(5.0)));
    for mode in [0, 4] {
        write(&mut rig, 104, &trigger(0, mode, 0, 250, NAN));
        // [ICS]: a device answers 8 and class 0, unit 250, not-a-number.
        for asked in
            [trigger(0, mode, 0, 75, NAN), trigger(0, mode, 65, 250, NAN), trigger(0, mode, 0, 250, [0; 4])]
        {
            let reply = rig.ask(PRIMARY, 104, &asked);
            assert_eq!((reply.status[0], reply.data), (8, trigger(0, mode, 0, 250, NAN)));
        }
    }
    for (asked, code) in [
        (trigger(3, 0, 0, 250, NAN), 9),
        (trigger(0, 5, 0, 57, level(5.0)), 13),
        (trigger(0, 1, 65, 57, level(5.0)), 11),
        (trigger(0, 1, 0, 7, level(5.0)), 12),
        (trigger(0, 2, 0, 57, NAN), 3),
        (trigger(0, 2, 0, 57, level(f32::INFINITY)), 3),
        (trigger(0, 3, 0, 57, level(f32::NEG_INFINITY)), 4),
        (trigger(0, 1, 0, 57, level(-0.5)), 4),
        (vec![0; 7], 5),
    ] {
        refused(&mut rig, 104, &asked, code);
    }
    // A level in another unit of the quantity: 1 bar is 100 kPa, unit 12.
    write(&mut rig, 108, &[0, 33, 0]);
    write(&mut rig, 107, &[3, 250, 250, 250, 250, 250, 250, 250, 0]);
    write(&mut rig, 104, &trigger(0, 3, 65, 12, level(200.0)));
    // Another source, of which the level is none: it is given up (8).
    let reply = rig.ask(PRIMARY, 107, &[2, 3, 250, 250, 250, 250, 250, 250, 0]);
    assert_eq!((reply.status[0], &reply.data[..2]), (8, &[2, 3][..]));
    assert_eq!(rig.ask(PRIMARY, 105, &[0]).data[22..], trigger(0, 0, 0, 250, NAN)[1..]);
    // Angle: class 86, degree 143, radian 144.
    write(&mut rig, 104, &trigger(0, 2, 86, 144, level(0.5)));
    let reply = rig.ask(PRIMARY, 108, &[0, 1, 0]);
    assert_eq!((reply.status[0], reply.data), (8, vec![0, 1, 0]));
    write(&mut rig, 108, &[0, 48, 0]);
    refused(&mut rig, 104, &trigger(0, 1, 0, 57, level(5.0)), 13);
    write(&mut rig, 104, &trigger(0, 4, 0, 250, NAN));
}

/// [CM-107] [CM-108] [CM-109]: what is refused. Of the shorter forms revision 5 and 6 take theirs, and revision 7 that of [BIF].
#[test]
fn refusals_and_short_forms() {
    let mut new = rig(R7);
    for (number, data, code) in [
        (107, &[0, 1, 2, 3, 250, 250, 250, 250, 3][..], 9),
        (107, &[250, 1, 2, 3, 250, 250, 250, 250, 0], 2),
        (107, &[0, 1, 2, 4, 250, 250, 250, 250, 0], 2),
        (107, &[0, 1, 2, 251, 250, 250, 250, 250, 0], 2),
        (107, &[0, 1, 2, 3], 5),
        (108, &[0, 1, 3], 9),
        (108, &[0, 0, 0], 2),
        (108, &[0, 11, 0], 2),
        (108, &[1, 9, 0], 2),
        (108, &[1], 5),
        (109, &[1, 3], 2),
        (109, &[2, 0], 2),
        (109, &[4, 0], 2),
        (109, &[1], 5),
    ] {
        refused(&mut new, number, data, code);
    }
    // Command 9 of message 2 in two octets.
    write(&mut new, 108, &[9, 2]);
    assert_eq!(new.ask(PRIMARY, 105, &[2]).data[10..14], [2, 3, 0, 9]);
    for revision in [R5, R6] {
        let mut old = rig(revision);
        for (number, data, code) in [
            (107, &[250, 1, 2, 3][..], 2),
            (107, &[0, 1, 2, 4], 2),
            (107, &[0, 1, 2], 5),
            (108, &[9], 2),
            (108, &[], 5),
            (109, &[2], 2),
            (109, &[], 5),
            (103, &[0; 9], 64),
            (104, &[0; 8], 64),
            (105, &[0], 64),
        ] {
            refused(&mut old, number, data, code);
        }
        write(&mut old, 107, &[3, 2, 1, 250]);
        // Surplus is ignored [DV-06]: there is one message, whatever is said.
        let reply = old.ask(PRIMARY, 109, &[1, 2]);
        assert_eq!((reply.status[0], reply.data), (0, vec![1]));
        assert!(old.device.bursts());
    }
}

/// Each is a write of configuration [DV-08], and not under write protect (7), to who is locked out (16, before revision 7 32
/// where the list has it), or busy (32 where the list has it: not 107 and 108). None of it stops bursts.
#[test]
fn writes_of_configuration() {
    let data = |revision, number| match (number, revision == R7) {
        (103, _) => [&[0][..], &ms(500), &ms(500)].concat(),
        (104, _) => [&[0, 0, 0, 250][..], &NAN].concat(),
        (107, true) => vec![0, 1, 2, 3, 250, 250, 250, 250, 0],
        (107, false) => vec![0, 1, 2, 3],
        (108, true) => vec![0, 3, 0],
        (108, false) => vec![3],
        (_, true) => vec![1, 0],
        (_, false) => vec![1],
    };
    for revision in REVISIONS {
        let all: &[u8] = if revision == R7 { &[103, 104, 107, 108, 109] } else { &[107, 108, 109] };
        let mut rig = rig(revision);
        for (n, &number) in all.iter().enumerate() {
            write(&mut rig, number, &data(revision, number));
            assert_eq!(usize::from(rig.device.stored().configuration_change_counter), n + 1);
        }
        rig.device.set_write_protected(true);
        for &number in all {
            refused(&mut rig, number, &data(revision, number), 7);
        }
        assert!(!bursts(&mut rig, Duration::from_secs(2)).is_empty());
        rig.device.set_write_protected(false);
        rig.device.set_busy(true);
        for &number in all.iter().filter(|n| !matches!(n, 107 | 108)) {
            refused(&mut rig, number, &data(revision, number), 32);
        }
        assert!(!bursts(&mut rig, Duration::from_secs(2)).is_empty());
        rig.device.set_busy(false);
        if revision > R5 {
            rig.ask(SECONDARY, 71, &[1]);
            for &number in all {
                let older = revision == R6 && number == 109;
                refused(&mut rig, number, &data(revision, number), if older { 32 } else { 16 });
            }
            assert!(!bursts(&mut rig, Duration::from_secs(2)).is_empty());
        }
    }
}

/// A device with one message of command 1, update period 0.5 s, longest 8 s, and this trigger, at 12 mA; it bursts.
fn triggered(mode: u8, level: [u8; 4]) -> Rig {
    let mut rig = rig(R7);
    write(&mut rig, 103, &[&[0][..], &ms(500), &ms(8000)].concat());
    let (class, unit) = if mode == 4 { (0, 250) } else { (0, 57) };
    write(&mut rig, 104, &[&[0, mode, class, unit][..], &level].concat());
    control(&mut rig, 1);
    rig.wait(Duration::from_secs(20));
    rig
}

/// The current at which the bursts are so far apart in the second half of 40 s, ms; 1 ms either way.
fn far_apart(rig: &mut Rig, ma: f64) -> u64 {
    rig.device.set_loop_current_ma(rig.now, ma);
    rig.wait(Duration::from_secs(20));
    let heard = bursts(rig, Duration::from_secs(40));
    let all: Vec<u64> = periods(&heard).iter().map(|p| p.as_millis() as u64).collect();
    assert!(all.iter().all(|p| p.abs_diff(all[0]) <= 1), "{all:?}");
    all[0]
}

/// [DV-31]: above and below the level at the update period, else at the longest. 12.8 mA is 55 %, 13 mA 56.25 %.
#[test]
fn rising_and_falling() {
    let level = 55.0f32.to_be_bytes();
    let mut rising = triggered(2, level);
    let mut falling = triggered(3, level);
    for (ma, above, below) in [(13.0, 500, 8000), (12.0, 8000, 500), (12.8, 8000, 8000), (20.0, 500, 8000)] {
        assert_eq!((far_apart(&mut rising, ma), far_apart(&mut falling, ma)), (above, below), "{ma} mA");
    }
}

/// [DV-31]: in a window a burst when the value has gone away from the last one by more than the level, within 100 ms, but not
/// before the update period is over; on change when it is another one.
#[test]
fn window_and_change() {
    for (mode, level, steps) in [
        // 5 %: from 50 % to 52.5 % nothing, to 58.125 % a burst, to 55.625 % nothing, to 50 % a burst.
        (1, 5.0f32.to_be_bytes(), &[(12.4, false), (13.3, true), (12.9, false), (12.0, true)][..]),
        (4, NAN, &[(12.001, true), (12.001, false), (12.0, true)]),
    ] {
        let mut rig = triggered(mode, level);
        for &(ma, comes) in steps {
            // A burst just now: the next is due in 8 s without a trigger.
            rig.bursts.clear();
            while rig.bursts.is_empty() {
                rig.wait(Duration::from_millis(10));
            }
            let last = rig.bursts[0].at;
            rig.device.set_loop_current_ma(rig.now, ma);
            let heard = bursts(&mut rig, Duration::from_secs(7));
            assert_eq!(heard.len(), usize::from(comes), "mode {mode}, {ma} mA");
            if comes {
                assert!(about(heard[0].at.since(last), Duration::from_millis(500)));
            }
            // And later than the update period: within 100 ms.
            rig.wait(Duration::from_secs(20));
        }
        rig.bursts.clear();
        while rig.bursts.is_empty() {
            rig.wait(Duration::from_millis(10));
        }
        rig.wait(Duration::from_secs(3));
        let now = rig.now;
        rig.device.set_loop_current_ma(now, 20.0);
        let heard = bursts(&mut rig, Duration::from_secs(2));
        assert_eq!(heard.len(), 1);
        assert!(heard[0].at.since(now) <= Duration::from_millis(100), "{:?}", heard[0].at.since(now));
    }
}

/// Command 48 on change: when the supply pressure leaves its limits.
#[test]
fn status_on_change() {
    let mut rig = rig(R7);
    command(&mut rig, 48);
    write(&mut rig, 103, &[&[0][..], &ms(500), &ms(3_600_000)].concat());
    write(&mut rig, 104, &[&[0, 4, 0, 250][..], &NAN].concat());
    control(&mut rig, 1);
    assert_eq!(bursts(&mut rig, Duration::from_secs(3000)), []);
    rig.device.set_supply_pressure_bar(8.0);
    let heard = bursts(&mut rig, Duration::from_secs(3000));
    // Octet 6: out of specification, 10.
    assert_eq!((heard.len(), heard[0].data[6]), (1, 0x10));
}

/// Three messages: each at its period, and what has waited longest comes first.
#[test]
fn three_messages() {
    let mut rig = rig(R7);
    for (n, number, period) in [(0, 1, 1000), (1, 2, 2000), (2, 3, 4000)] {
        write(&mut rig, 108, &[0, number, n]);
        write(&mut rig, 103, &[&[n][..], &ms(period), &ms(period)].concat());
        write(&mut rig, 109, &[1, n]);
    }
    let heard = bursts(&mut rig, Duration::from_secs(80));
    for (number, times) in [(1, 80), (2, 40), (3, 20)] {
        let own = heard.iter().filter(|b| b.command == number).count();
        assert!((times - 2..=times + 1).contains(&own), "command {number}: {own}");
    }
    assert!(heard.windows(2).all(|w| w[0].names != w[1].names));
    // All three as fast as the wires allow: fair shares.
    for n in 0..3 {
        write(&mut rig, 103, &[&[n][..], &ms(250), &ms(250)].concat());
    }
    let heard = bursts(&mut rig, Duration::from_secs(80));
    let counts = [1, 2, 3].map(|number| heard.iter().filter(|b| b.command == number).count());
    assert!(counts.iter().all(|c| c.abs_diff(counts[0]) <= 1), "{counts:?}");
    write(&mut rig, 109, &[0, 0]);
    write(&mut rig, 109, &[0, 2]);
    assert!(rig.device.bursts());
    assert!(bursts(&mut rig, Duration::from_secs(10)).iter().all(|b| b.command == 2));
}

/// [CM-095] [DV-26]: bursts are counted; a reset ends the count and not the bursts.
#[test]
fn counted_and_reset() {
    for revision in [R6, R7] {
        let mut rig = rig(revision);
        control(&mut rig, 1);
        rig.wait(Duration::from_secs(3));
        let n = rig.bursts.len() as u16;
        assert!(n > 2);
        assert_eq!(rig.ask(SECONDARY, 95, &[]).data[4..], n.to_be_bytes());
        rig.ask(PRIMARY, 42, &[]);
        assert!(rig.device.bursts());
        rig.bursts.clear();
        assert!(!bursts(&mut rig, Duration::from_secs(3)).is_empty());
    }
}

/// Whatever master asks what at whatever time, each answer comes, with its burst behind it.
#[test]
fn asked_all_the_time() {
    for revision in REVISIONS {
        let mut rig = rig(revision);
        control(&mut rig, 1);
        for n in 0..200u32 {
            rig.wait(Duration::from_millis(u64::from(n * 37 % 500)));
            rig.bursts.clear();
            let master = BOTH[n as usize % 2];
            rig.ask(master, [0, 1, 2, 3, 48][n as usize % 5], &[]);
            assert_eq!((rig.bursts[0].after, rig.bursts[0].names), (Duration::ZERO, master ^ 0x80));
        }
    }
}
