//! Two masters that do not always want their turn, or whose devices do not answer.

use super::rig::*;
use looprig::frame::Master as Role;
use std::time::Duration;

const SECOND: Duration = Duration::from_secs(1);

/// When a request starts that comes so many tenths of a character after `heard`, in tenths of a character after it.
fn start(heard: &[u8], asked: u64) -> u128 {
    let tenths = |n: u64| characters(n) / 10;
    let mut rig = Rig::settled();
    let end = rig.octets_at(rig.now, heard);
    rig.run_until(end + tenths(asked));
    rig.ask();
    rig.run(SECOND);
    (rig.sent[0].0.since(end).as_nanos() * 10 + 4_583_333) / 9_166_666
}

/// [LL-13]: HOLD is 2, one character of lateness; then RT2 + HOLD, 10; then at once.
#[test]
fn a_turn_that_is_ours_is_soon_over() {
    for heard in [answer_to_primary(), burst(false)] {
        for (asked, starts) in
            [(0, 20), (19, 20), (20, 20), (25, 25), (29, 29), (31, 100), (50, 100), (79, 100), (99, 100)]
        {
            assert_eq!(start(&heard, asked), starts, "{heard:02X?} {asked}");
        }
        for asked in [100, 101, 150, 400, 1000] {
            assert_eq!(start(&heard, asked), u128::from(asked), "{heard:02X?} {asked}");
        }
    }
    // The one whose transaction it was: RT2, 8, and at once after that.
    for heard in [answer(), burst(true)] {
        for (asked, starts) in
            [(0, 80), (25, 80), (79, 80), (80, 80), (81, 81), (95, 95), (105, 105), (400, 400)]
        {
            assert_eq!(start(&heard, asked), starts, "{heard:02X?} {asked}");
        }
    }
}

/// [LL-13]: the other one takes the turn that we missed, and is let speak.
#[test]
fn the_other_takes_a_missed_turn() {
    let mut rig = Rig::settled();
    let end = rig.octets_at(rig.now, &answer_to_primary());
    let asked = rig.octets_at(end + characters(8), &ASK_PRIMARY);
    let answered = rig.octets_at(asked + characters(2), &answer_to_primary());
    rig.run_until(end + characters(5));
    rig.ask();
    rig.run(SECOND);
    assert_eq!(rig.sent[0].0, answered + characters(2));
}

/// [LL-13]: an octet of rubbish behind the answer, as a modem makes when the carrier goes.
#[test]
fn noise_ends_a_turn() {
    for noise in [0, 1] {
        let mut rig = Rig::settled();
        let end = rig.octets_at(rig.now, &answer_to_primary());
        let rubbish = rig.octets_at(end + characters(noise), &[0x55]);
        rig.run_until(end);
        rig.ask();
        rig.run(SECOND);
        // The other one begins at RT2, 8 characters after it: RT2 + HOLD.
        assert_eq!(rig.sent[0].0, rubbish + characters(10), "{noise}");
    }
}

/// [LL-14]: 49 characters as primary where another master was heard in the last 1000; else 33. 41 as secondary, always.
#[test]
fn courtesy_after_silence() {
    for (role, other, alone, shared) in [(Role::Primary, ASK, 33, 49), (Role::Secondary, ASK_PRIMARY, 41, 41)]
    {
        for (heard_before, wait) in [(None, alone), (Some(900), shared), (Some(1100), alone)] {
            let mut rig = Rig::new(role);
            let end = rig.octets_at(at(characters(50)), &other);
            let asked = match heard_before {
                // 10 characters and two tries of 10 + RT1 before the silence that counts.
                Some(n) => end + (characters(n) - passing(20) - characters(alone)),
                None => end + characters(5000),
            };
            rig.run_until(asked);
            rig.ask_with(1);
            rig.run_until(asked + passing(20) + characters(alone + 31));
            assert_eq!((rig.sent.len(), rig.done.len()), (2, 1), "{role} {heard_before:?}");
            // A repeat does not wait longer.
            assert_eq!(rig.sent[1].0, rig.end_of_sent(0) + characters(alone));
            rig.ask_with(0);
            rig.run(SECOND);
            assert_eq!(rig.sent[2].0, rig.end_of_sent(1) + characters(wait), "{role} {heard_before:?}");
        }
    }
}

/// [LL-14]: one that was never heard gets a chance when 250 characters have passed without one, and not before.
#[test]
fn a_chance_for_one_that_was_never_heard() {
    let mut rig = Rig::new(Role::Primary);
    for n in 1..=14 {
        rig.ask_with(0);
        while rig.done.len() < n {
            rig.run(characters(1));
        }
    }
    let pause = |i: usize| (rig.sent[i].0.since(rig.end_of_sent(i - 1)).as_nanos() + 4_583_333) / 9_166_666;
    // Listening from 0 on; tries of 10 with 33 between them end at 43, 86, 129, 172, 215, 258: the sixth is past 250. The
    // next starts at 307 and counts from there: ends at 317, 360, 403, 446, 489, 532, 575, the last of them 268 later.
    let due = [33, 33, 33, 33, 33, 49, 33, 33, 33, 33, 33, 33, 49];
    assert_eq!((1..14).map(pause).collect::<Vec<_>>(), due);
}

/// [LL-14]: what is heard in that wait is a turn like any other.
#[test]
fn courtesy_is_over_when_the_other_has_spoken() {
    let mut rig = Rig::new(Role::Primary);
    rig.octets_at(at(characters(50)), &ASK);
    rig.run_until(at(characters(200)));
    rig.ask_with(0);
    rig.run_until(at(characters(200) + passing(10) + characters(31)));
    assert_eq!(rig.done.len(), 1);
    // The secondary begins at its RT1.
    let asked = rig.octets_at(rig.end_of_sent(0) + characters(41), &ASK);
    let answered = rig.octets_at(asked + characters(2), &answer());
    rig.ask();
    rig.run(SECOND);
    assert_eq!(rig.sent[1].0, answered + characters(2));
}
