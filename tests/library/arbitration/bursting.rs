//! Mock devices in burst mode among masters and other devices [LL-10] [LL-23]. A burst of command 1 is 21 characters long: 5
//! preambles and 1 + 5 + 1 + 1 + 2 + 5 + 1 octets.

use super::speech::*;
use super::stage::*;
use super::timeline::*;

/// So long that the timer does not run out in a scene, ms.
const SELDOM: u32 = 60_000;
/// As often as the wires allow, ms.
const OFTEN: u32 = 250;

/// [LL-23]: RT1 of the secondary and HOLD, 43, at the start; then RT2 and twice HOLD, 12. The masters are named in turn.
#[test]
fn alone() {
    let mut s = stage();
    s.bursting(0, OFTEN);
    s.expect("RT1 and HOLD", device(0).bursts(SECONDARY).at(43.0));
    for _ in 0..31 {
        s.expect("RT2 and twice HOLD", device(0).bursts(PRIMARY).after(12.0));
        s.expect("RT2 and twice HOLD", device(0).bursts(SECONDARY).after(12.0));
    }
    s.expect("RT2 and twice HOLD", device(0).bursts(PRIMARY).after(12.0));
    // 2 * 64.
    s.expect("128 more: others may go first", device(0).bursts(SECONDARY).after(140.0));
    s.expect("RT2 and twice HOLD", device(0).bursts(PRIMARY).after(12.0));
    s.all_is_well();
}

/// [DV-31]: a period that the wires have room for counts from beginning to beginning: 1 s are 1200 / 11 = 109.09 characters.
#[test]
fn at_its_period() {
    let mut s = stage();
    s.bursting(0, 1000);
    s.expect("RT1 and HOLD", device(0).bursts(SECONDARY).at(43.0));
    for n in 1..40 {
        let named = if n % 2 == 0 { SECONDARY } else { PRIMARY };
        s.expect("the period", device(0).bursts(named).at(43.0 + f64::from(n) * 1200.0 / 11.0));
    }
    s.all_is_well();
}

/// [LL-10]: right behind its own answers, naming the master that did not ask: that one begins after HOLD, 2; without it the
/// same one again after RT2, 8.
#[test]
fn behind_its_own_answers() {
    let mut s = stage();
    s.bursting(0, SELDOM);
    s.primary();
    s.secondary();
    for _ in 0..3 {
        s.at(0.0).primary_wants(poll(0));
    }
    s.at(0.0).secondary_wants(poll(0));
    for (why, master, begins) in [
        ("RT1", PRIMARY, 33.0),
        ("HOLD after the burst that names it", SECONDARY, 2.0),
        ("HOLD after the burst that names it", PRIMARY, 2.0),
        ("RT2 after the burst that names the other", PRIMARY, 8.0),
    ] {
        let other = if master == PRIMARY { SECONDARY } else { PRIMARY };
        s.expect(why, master.asks(poll(0)).after(begins));
        s.expect("the device", device(0).answers(master).after(2.0));
        s.expect("its burst", device(0).bursts(other).after(0.0));
    }
    s.all_is_well();
    s.silence(200.0);
}

/// [LL-10] [LI-21]: behind the answers of others as soon as their carrier is gone, which the modem tells 3 bit times later.
#[test]
fn behind_answers_of_others() {
    let mut s = stage();
    s.bursting(0, SELDOM);
    s.device(4);
    s.primary();
    s.secondary();
    for _ in 0..10 {
        s.at(0.0).primary_wants(poll(4));
        s.at(0.0).secondary_wants(read(3, 4));
    }
    for n in 0..10 {
        s.expect("RT1, then HOLD", PRIMARY.asks(poll(4)).after(if n == 0 { 33.0 } else { 2.0 }));
        s.expect("the device", device(4).answers(PRIMARY).after(2.0));
        s.expect("the burst", device(0).bursts(SECONDARY).after(3.0 * BIT));
        s.expect("HOLD", SECONDARY.asks(read(3, 4)).after(2.0));
        s.expect("the device", device(4).answers(SECONDARY).after(2.0));
        s.expect("the burst", device(0).bursts(PRIMARY).after(3.0 * BIT));
    }
    s.all_is_well();
    s.silence(200.0);
}

/// [LL-23]: a master alone on the wires with a device that bursts as often as it can waits for a burst and RT2, never longer.
#[test]
fn one_master_and_many_bursts() {
    for (master, other, first) in [(PRIMARY, SECONDARY, 33.0), (SECONDARY, PRIMARY, 41.0)] {
        let mut s = stage();
        s.bursting(0, OFTEN);
        s.device(4);
        s.master(master, 3);
        s.always_wants(master, &[poll(4), poll(0)]);
        for n in 0..20 {
            s.expect("RT1, then RT2", master.asks(poll(4)).after(if n == 0 { first } else { 8.0 }));
            s.expect("the device", device(4).answers(master).after(2.0));
            s.expect("the burst", device(0).bursts(other).after(3.0 * BIT));
            s.expect("RT2", master.asks(poll(0)).after(8.0));
            s.expect("the device", device(0).answers(master).after(2.0));
            s.expect("the burst", device(0).bursts(other).after(0.0));
        }
        s.all_is_well();
    }
}

/// [LL-13] [LL-23]: a master that missed the turn that a burst left it begins at RT2 and HOLD, 10, and a burst that is due waits
/// for 12.
#[test]
fn a_missed_turn() {
    for late in [4.0, 6.0, 9.0] {
        let mut s = stage();
        s.bursting(0, OFTEN);
        s.secondary();
        s.expect("RT1 and HOLD", device(0).bursts(SECONDARY).at(43.0));
        s.at(64.0 + late).secondary_wants(poll(0));
        s.expect("RT2 and HOLD", SECONDARY.asks(poll(0)).after(10.0));
        s.expect("the device", device(0).answers(SECONDARY).after(2.0));
        s.expect("the burst", device(0).bursts(PRIMARY).after(0.0));
        s.expect("RT2 and twice HOLD", device(0).bursts(SECONDARY).after(12.0));
        s.all_is_well();
    }
}

/// [LL-23]: a request that nobody answers: its repeats at RT1, 33 or 41, go before a burst, which comes 43 after the last of
/// them and brings the masters back in step.
#[test]
fn requests_to_nobody() {
    for (master, quiet) in [(PRIMARY, 33.0), (SECONDARY, 41.0)] {
        let mut s = stage();
        s.bursting(0, OFTEN);
        s.master(master, 2);
        match master {
            PRIMARY => s.at(0.0).primary_wants(poll(9)),
            _ => s.at(0.0).secondary_wants(poll(9)),
        }
        for _ in 0..3 {
            s.expect("RT1", master.asks(poll(9)).after(quiet));
        }
        s.expect("RT1 and HOLD", device(0).bursts(SECONDARY).after(43.0));
        s.told("nobody", master, Told::Silent(2));
        s.expect("RT2 and twice HOLD", device(0).bursts(PRIMARY).after(12.0));
        s.all_is_well();
    }
}

/// [LL-23]: two devices in burst mode share the wires: by polling address at the start, then in turn; each follows its own
/// answers alone.
#[test]
fn two_that_burst() {
    let mut s = stage();
    s.bursting(1, OFTEN);
    s.bursting(3, OFTEN);
    s.primary();
    let mut names = [SECONDARY, PRIMARY].into_iter().cycle();
    let mut next = || names.next().expect("without end");
    s.expect("43 and 4 by address", device(1).bursts(next()).at(47.0));
    for _ in 0..63 {
        s.expect("it hears nobody", device(1).bursts(next()).after(12.0));
    }
    s.expect("the first lets others go: 12 and 6", device(3).bursts(next()).after(18.0));
    for _ in 0..10 {
        s.expect("12 and 2", device(1).bursts(next()).after(14.0));
        s.expect("12 and 6", device(3).bursts(next()).after(18.0));
    }
    // The primary is named next, so the last one names the secondary.
    s.expect("12 and 2", device(1).bursts(next()).after(14.0));
    assert_eq!(next(), SECONDARY);
    s.later(0.0).primary_wants(poll(1));
    s.expect("HOLD after the burst that names it", PRIMARY.asks(poll(1)).after(2.0));
    s.expect("the device", device(1).answers(PRIMARY).after(2.0));
    s.expect("its own burst", device(1).bursts(SECONDARY).after(0.0));
    s.expect("12 and 6", device(3).bursts(PRIMARY).after(18.0));
    s.all_is_well();
}

/// [LL-23]: whatever their polling addresses, all that burst as often as they can get their turns, and no two meet.
#[test]
fn far_from_each_other() {
    let all: [&[u8]; 6] = [&[0, 16], &[0, 16, 32], &[0, 63], &[62, 63], &[7, 39], &[1, 2, 3, 63]];
    for places in all {
        let mut s = stage();
        places.iter().for_each(|&place| s.bursting(place, OFTEN));
        s.play_to(30_000.0);
        let sent = |place: u8| s.timeline.sent.iter().filter(|x| x.who == device(place)).count();
        let counts: Vec<usize> = places.iter().map(|&place| sent(place)).collect();
        let (most, least) = (counts.iter().max().unwrap(), counts.iter().min().unwrap());
        // 64 each time until all have heard each other; 21 characters and at most 12 + 126 of silence for each.
        assert!(*least >= 30 && most - least <= 64 * places.len(), "{places:?}: {counts:?}");
        s.all_is_well();
    }
}

/// [LL-23]: neither of two follows the answer of a third: they would meet.
#[test]
fn a_third_between_two_that_burst() {
    let mut s = stage();
    s.bursting(1, SELDOM);
    s.bursting(2, SELDOM);
    s.device(4);
    s.primary();
    s.secondary();
    s.expect("43 and 4 by address", device(1).bursts(SECONDARY).at(47.0));
    s.expect("12 and 4", device(2).bursts(PRIMARY).after(16.0));
    s.during_it(5.0).primary_wants(poll(4));
    s.during_it(5.0).secondary_wants(poll(4));
    s.expect("HOLD after the burst that names it", PRIMARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.all_is_well();
    s.silence(200.0);
}

/// [LI-23]: clocks that are 1 % off either way, and everybody up to 0.2 characters late: behind every answer a burst, both
/// masters have as many turns, and nobody meets another.
#[test]
fn with_other_clocks() {
    for (of_device, of_master) in [(10_000, -10_000), (-10_000, 10_000)] {
        let mut s = stage();
        s.clocks(of_device, characters(0.2));
        s.bursting(0, OFTEN);
        s.device(4);
        s.clocks(of_master, characters(0.2));
        s.primary();
        s.secondary();
        s.always_wants(PRIMARY, &[poll(4), poll(0)]);
        s.always_wants(SECONDARY, &[read(3, 4), read(1, 0)]);
        s.play_to(10_000.0);
        let sent = |who: Who| s.timeline.sent.iter().filter(|x| x.who == who).count();
        let (asked, said) = (sent(PRIMARY) + sent(SECONDARY), sent(device(0)) + sent(device(4)));
        assert!(asked > 100 && (2 * asked).abs_diff(said) <= 2, "{asked}, {said}");
        assert!(sent(PRIMARY).abs_diff(sent(SECONDARY)) <= 1);
        s.all_is_well();
    }
}
