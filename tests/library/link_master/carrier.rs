//! A line that tells its carrier [LL-15].

use super::rig::*;
use looprig::frame::Master as Role;
use looprig::transaction::Outcome;
use std::time::Duration;

/// Bit times at 1200 bit/s, ns.
fn bits(n: u64) -> Duration {
    Duration::from_nanos(n * 1_000_000_000 / 1200)
}

/// Nothing is sent into a carrier whose first octet has not come yet: the other master began 6 bits before.
#[test]
fn a_carrier_holds_a_start_back() {
    let mut rig = Rig::new(Role::Secondary);
    rig.ask();
    // Our RT1 is over at 41 characters; the other begins 4 bits earlier, its carrier is seen 3 bits after that.
    let begins = at(characters(41) - bits(4));
    let end = rig.octets_at(begins, &ASK_PRIMARY);
    rig.carrier_at(begins + bits(3), end + bits(5));
    rig.run(Duration::from_secs(2));
    // No answer comes: RT1 from the end of the check byte, not from the fall of the carrier.
    assert_eq!(rig.sent[0].0, end + characters(41));
    // Without carrier sense the same is a collision.
    let mut rig = Rig::new(Role::Secondary);
    rig.ask();
    rig.octets_at(begins, &ASK_PRIMARY);
    rig.run(Duration::from_secs(2));
    assert_eq!(rig.sent[0].0, at(characters(41)));
}

/// It goes up to a character after the last octet, which does not move a timer: HOLD and RT2 stay; later than that it does.
#[test]
fn the_fall_of_a_carrier_after_a_frame() {
    for (heard, wait) in [(answer(), 8), (answer_to_primary(), 2)] {
        for (fall, moved) in [(0, false), (5, false), (9, false), (11, false), (12, true), (20, true)] {
            let mut rig = Rig::settled();
            let begins = rig.now;
            let end = rig.octets_at(begins, &heard);
            rig.carrier_at(begins + bits(4), end + bits(fall));
            rig.run_until(begins + characters(2));
            rig.ask();
            rig.run(Duration::from_secs(2));
            // One that lasted longer is noise: 8 characters from its fall, and where the turn was ours 10 [LL-13].
            let anew = end + bits(fall) + characters(if wait == 2 { 10 } else { 8 });
            let due = if moved { anew } else { end + characters(wait) };
            assert_eq!(rig.sent[0].0, due, "{heard:02X?} {fall}");
        }
    }
}

/// One that brings no octets is noise: the silence begins anew, with what was waited for.
#[test]
fn a_carrier_without_octets() {
    let mut rig = Rig::new(Role::Secondary);
    rig.ask();
    rig.carrier_at(at(characters(10)), at(characters(30)));
    rig.run(Duration::from_secs(2));
    assert_eq!(rig.sent[0].0, at(characters(30)) + characters(41));
    // Before a repeat: RT1 from the fall.
    let mut rig = Rig::settled();
    rig.ask_with(1);
    let end = rig.now + passing(10);
    rig.carrier_at(end + characters(5), end + characters(20));
    rig.run(Duration::from_secs(2));
    assert_eq!(rig.sent[1].0, end + characters(20) + characters(41));
    // Gone again while nothing is asked: only what is left of the silence is waited for.
    let mut rig = Rig::settled();
    let from = rig.now;
    rig.carrier_at(from, from + characters(3));
    rig.run(characters(60));
    rig.ask();
    rig.run(Duration::from_millis(1));
    assert_eq!(rig.sent[0].0, from + characters(60));
}

/// The last octets may not have been made out yet when it goes: they were on it all the same, and everything counts from
/// the end of the last one.
#[test]
fn the_fall_of_a_carrier_after_rubbish() {
    for octets in [1, 2, 30] {
        let mut rig = Rig::new(Role::Secondary);
        rig.ask();
        let end = rig.octets_at(at(characters(10)), &vec![0x55; octets]);
        rig.carrier_at(at(characters(10)) + bits(4), end + bits(3));
        rig.run(Duration::from_secs(2));
        assert_eq!(rig.sent[0].0, end + characters(41), "{octets}");
    }
}

/// Our own carrier, seen while we send and a little longer, is nothing.
#[test]
fn our_own_carrier() {
    let mut rig = Rig::settled();
    rig.ask_with(1);
    let end = rig.now + passing(10);
    rig.carrier_at(rig.now + bits(4), end + bits(6));
    rig.run(Duration::from_secs(2));
    assert_eq!(rig.sent[1].0, end + characters(41));
}

/// [LL-16]: a carrier that never goes ends the request, sent or not, after 1000 characters.
#[test]
fn a_stuck_carrier() {
    let mut rig = Rig::settled();
    rig.carrier_at(rig.now, at(Duration::from_secs(60)));
    rig.run(Duration::from_millis(1));
    let asked = rig.now;
    rig.ask();
    rig.run(Duration::from_secs(20));
    assert_eq!((rig.no_turn.clone(), rig.sent.len()), (vec![asked + characters(1000)], 0));
    // After the first try: the tries that there were are told.
    let mut rig = Rig::settled();
    rig.ask();
    let end = rig.now + passing(10);
    rig.carrier_at(end, at(Duration::from_secs(60)));
    rig.run(Duration::from_secs(20));
    let (when, t) = rig.only_done();
    assert_eq!((t.outcome, t.tries.len()), (Outcome::Silent, 1));
    // 28 + 2 characters for the answer, 1000 for the turn.
    assert_eq!(when, end + characters(28) + passing(2) + characters(1000));
    // When it has gone at last, the next request has its turn.
    rig.run_until(at(Duration::from_secs(61)));
    rig.ask_with(0);
    rig.run(Duration::from_secs(1));
    assert_eq!((rig.sent.len(), rig.done.len()), (2, 2));
}
