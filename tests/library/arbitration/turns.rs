//! Taking turns: the start, HOLD, RT2, missed turns, and courtesy towards a master that is never heard.

use super::speech::*;
use super::stage::*;
use super::timeline::*;
use looprig::link::Severity;

/// [HO-02] [LL-05]: RT1 is 33 characters for the primary, 41 for the secondary. Both want to speak from the first moment
/// on; 33 < 41, so when the secondary would begin it has heard the primary for 8 characters and waits.
#[test]
fn the_start() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).secondary_wants(poll(4));
    s.expect("the link was quiet for RT1 of the primary [LL-05]", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("the device takes its 2 characters", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD after the other's answer [LL-03]", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device again", device(4).answers(SECONDARY).after(2.0));
    s.silence(200.0);
}

/// [HO-02] [LL-05]: alone each waits for its own RT1.
#[test]
fn the_start_of_one_alone() {
    let mut s = stage();
    s.primary();
    s.at(0.0).primary_wants(poll(4));
    s.expect("RT1 of the primary", PRIMARY.asks(poll(4)).at(33.0));

    let mut s = stage();
    s.secondary();
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1 of the secondary", SECONDARY.asks(poll(4)).at(41.0));
}

/// [HO-02]: one that wants to speak long after it began to listen finds the link free.
#[test]
fn a_link_known_to_be_free() {
    let mut s = stage();
    s.device(4);
    s.secondary();
    s.at(41.5).secondary_wants(poll(4));
    s.expect("at once", SECONDARY.asks(poll(4)).at(41.5));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.silence(100.0);
}

/// [LL-03] [LL-04]: whoever had its answer leaves RT2, 8 characters, to the other one, which begins after HOLD, 2, if it
/// wants to; if not, the same one goes on.
#[test]
fn after_an_answer() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).primary_wants(read(1, 4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("RT2 after its own answer, unused by the other [LL-04]", PRIMARY.asks(read(1, 4)).after(8.0));
    s.during_it(1.0).primary_wants(poll(4));
    s.during_it(1.0).secondary_wants(read(3, 4));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD, before RT2 is over [LL-03]", SECONDARY.asks(read(3, 4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.expect("now it is the other way round", PRIMARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.silence(200.0);
}

/// [LL-09]: while both are busy they take turns without an exception, each HOLD after the other's answer.
#[test]
fn strict_alternation() {
    let mut s = stage();
    s.device(4);
    s.device(5);
    s.primary();
    s.secondary();
    s.always_wants(PRIMARY, &[read(3, 4), read(1, 5), poll(4)]);
    s.always_wants(SECONDARY, &[poll(5), read(2, 4)]);
    s.expect("RT1", PRIMARY.asks(read(3, 4)).at(33.0));
    s.expect("device 4", device(4).answers(PRIMARY).after(2.0));
    let secondarys = [(poll(5), 5), (read(2, 4), 4)];
    let primarys = [(read(1, 5), 5), (poll(4), 4), (read(3, 4), 4)];
    for i in 0..30 {
        let (ask, of) = secondarys[i % 2];
        s.expect("the secondary's turn", SECONDARY.asks(ask).after(2.0));
        s.expect("its device", device(of).answers(SECONDARY).after(2.0));
        let (ask, of) = primarys[i % 3];
        s.expect("the primary's turn", PRIMARY.asks(ask).after(2.0));
        s.expect("its device", device(of).answers(PRIMARY).after(2.0));
    }
    s.all_is_well();
}

/// [LL-13]: a turn that was left to a master is its own from HOLD, 2, for one character more. Wanted after 2.5 characters
/// it is used at once; after 3.5 it is missed, and the master waits for RT2 + HOLD = 8 + 2.
#[test]
fn a_missed_turn() {
    for (wanted, begins) in [(1.0, 2.0), (2.5, 2.5), (3.5, 10.0), (9.9, 10.0), (10.5, 10.5), (60.0, 60.0)] {
        let mut s = stage();
        s.device(4);
        s.primary();
        s.secondary();
        s.at(0.0).primary_wants(poll(4));
        s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
        s.expect("the device", device(4).answers(PRIMARY).after(2.0));
        s.later(wanted).secondary_wants(poll(4));
        let why = format!("wanted {wanted} characters after the other's answer [LL-13]");
        s.expect(&why, SECONDARY.asks(poll(4)).after(begins));
        s.expect("the device", device(4).answers(SECONDARY).after(2.0));
        s.silence(200.0);
    }
}

/// [LL-13] [LL-04]: the other one begins at RT2, 8, where the turn was missed; nobody collides, and the turn comes later.
#[test]
fn the_other_takes_a_missed_turn() {
    let mut s = stage();
    s.device(4);
    s.primary();
    s.secondary();
    s.at(0.0).primary_wants(poll(4));
    s.at(0.0).primary_wants(read(1, 4));
    s.expect("RT1", PRIMARY.asks(poll(4)).at(33.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.later(3.5).secondary_wants(poll(4));
    s.expect("RT2: the secondary was silent", PRIMARY.asks(read(1, 4)).after(8.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.expect("HOLD after the next answer", SECONDARY.asks(poll(4)).after(2.0));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.silence(200.0);
}

/// [LL-04] [LL-19]: a primary of another make asks again 3 characters after its own answer; the observer says that it leaves
/// no turn, below 8 - 1. A secondary that begins at HOLD would meet it.
#[test]
fn a_master_that_leaves_no_turn() {
    for (pause, told) in [(3.0, true), (6.9, true), (7.1, false)] {
        let mut s = stage();
        s.device(4);
        s.at(100.0).says("hasty primary", request(PRIMARY, poll(4)));
        s.expect("the device", device(4).answers(PRIMARY).after(2.0));
        s.later(pause).says("hasty primary", request(PRIMARY, poll(4)));
        s.expect("the device", device(4).answers(PRIMARY).after(2.0));
        if told {
            let found = s.finds("no turn for another master", "LL-04");
            assert_eq!(found.severity, Severity::Advice);
        }
        s.silence(200.0);
    }
}

/// [LL-14]: a primary that asks where nobody answers would take every turn: its RT1 is 33, that of the secondary 41. It
/// has not heard the secondary, so after 250 characters without a chance for one it waits 41 + 8 = 49, and the
/// secondary begins at 41. From then on the secondary is known, and every silence is followed by its turn.
#[test]
fn courtesy_after_silence() {
    let mut s = stage();
    s.device(4);
    s.master(PRIMARY, 0);
    s.secondary();
    s.always_wants(PRIMARY, &[poll(9)]);
    s.always_wants(SECONDARY, &[poll(4)]);
    s.expect("RT1", PRIMARY.asks(poll(9)).at(33.0));
    // Requests of 10 characters end at 43, 86, 129, 172, 215 and 258: the sixth is the first past 250.
    for _ in 2..=6 {
        s.expect("RT1 after its own unanswered request [LL-09]", PRIMARY.asks(poll(9)).after(33.0));
    }
    for _ in 0..6 {
        s.expect("the secondary is let speak [LL-14]", SECONDARY.asks(poll(4)).after(41.0));
        s.expect("the device", device(4).answers(SECONDARY).after(2.0));
        s.expect("HOLD after the other's answer", PRIMARY.asks(poll(9)).after(2.0));
    }
    // The first five ended in silence before the secondary spoke, and so did all the others.
    for _ in 0..11 {
        s.told("nobody is at 9", PRIMARY, Told::Silent(0));
    }
}

/// [LL-14]: where the secondary wants nothing, 49 characters pass once it was heard, 33 while it was not.
#[test]
fn courtesy_that_nobody_uses() {
    let mut s = stage();
    s.device(4);
    s.master(PRIMARY, 0);
    s.secondary();
    s.at(0.0).secondary_wants(poll(4));
    s.expect("RT1 of the secondary", SECONDARY.asks(poll(4)).at(41.0));
    s.during_it(1.0).primary_wants(poll(9));
    s.during_it(1.0).primary_wants(poll(8));
    s.during_it(1.0).primary_wants(poll(4));
    s.expect("the device", device(4).answers(SECONDARY).after(2.0));
    s.expect("HOLD", PRIMARY.asks(poll(9)).after(2.0));
    s.expect("41 + 8 [LL-14]", PRIMARY.asks(poll(8)).after(49.0));
    s.later(20.0).says("spark", noise(1));
    s.expect("41 + 8 after what passed last, also noise [LL-14]", PRIMARY.asks(poll(4)).after(49.0));
    s.expect("the device", device(4).answers(PRIMARY).after(2.0));
    s.told("nobody is at 9", PRIMARY, Told::Silent(0));
    s.told("nor at 8", PRIMARY, Told::Silent(0));
    s.silence(200.0);
}
