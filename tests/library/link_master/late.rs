//! Answers that are late or come in pieces, and bursts in their place.

use super::rig::*;
use looprig::transaction::{Kind, Outcome};
use std::time::Duration;

const SECOND: Duration = Duration::from_secs(1);

/// [LL-12] [LL-18]: the answer to the first try begins after the repeat has left. The repeat takes it; the second answer, as late after the
/// repeat, is over before the next request starts, so that it is not taken for the answer to that.
#[test]
fn an_answer_after_the_repeat_has_left() {
    // The repeat leaves from 41 to 51 characters.
    for late in [52, 60, 75] {
        let mut rig = Rig::settled();
        rig.ask();
        let asked = rig.now + passing(10);
        let repeated = asked + characters(41) + passing(10);
        rig.octets_at(asked + characters(late), &answer());
        let second = rig.octets_at(repeated + characters(late), &answer());
        rig.reactions.extend([None, None, Some((characters(2), answer()))]);
        rig.run_until(repeated + characters(late - 51 + 13));
        let (ended, t) = rig.only_done();
        assert_eq!((t.outcome, t.retries()), (Outcome::Answered, 1), "{late}");
        rig.ask_with(0);
        rig.run(2 * SECOND);
        assert_eq!((rig.sent.len(), rig.done.len()), (3, 2));
        // 41 characters after the first answer the second has begun: RT2, 8, after its end.
        assert!(second > ended);
        assert_eq!(rig.sent[2].0, second + characters(8), "{late}");
        assert_eq!(rig.done[1].1.response_time, Some(characters(2)));
        assert_eq!(rig.overheard().iter().map(|t| t.kind).collect::<Vec<_>>(), [Kind::Unasked]);
    }
}

/// [LL-18]: RT1 after an answer to a repeat whose first try met silence; after a damaged one RT2 as ever: that device had
/// answered.
#[test]
fn after_an_answer_to_a_repeat() {
    for (first, wait) in [(None, 41), (Some((characters(2), spoilt(answer()))), 8)] {
        let mut rig = Rig::settled();
        rig.reactions.extend([first, Some((characters(2), answer()))]);
        rig.ask();
        while rig.done.is_empty() {
            rig.run(characters(1));
        }
        rig.ask_with(0);
        rig.run(SECOND);
        // The repeat of 10, 2 of pause, the answer of 12.
        let answered = rig.end_of_sent(1) + characters(2) + passing(12);
        assert_eq!(rig.sent[2].0, answered + characters(wait));
    }
}

/// [LL-06] [HO-04]: a pause inside the answer breaks it off; what follows is rubbish; the request is repeated after RT1.
#[test]
fn an_answer_with_a_pause_inside() {
    for cut in [6, 8, 11] {
        let mut rig = Rig::settled();
        rig.ask();
        let end = rig.now + passing(10);
        let octets = answer();
        let stop = rig.octets_at(end + characters(3), &octets[..cut]);
        // A pause of one character is the limit; this is two.
        let rest = rig.octets_at(stop + characters(2), &octets[cut..]);
        rig.reactions.extend([None, Some((characters(3), answer()))]);
        rig.run(2 * SECOND);
        let (_, t) = rig.only_done();
        assert_eq!((t.outcome, t.retries()), (Outcome::Answered, 1), "{cut}");
        assert_eq!(t.interludes.len(), 2);
        assert_eq!(rig.sent[1].0, rest + characters(41));
        assert_eq!(t.response_time, Some(characters(3)));
    }
    // A pause of half a character is none.
    let mut rig = Rig::settled();
    rig.ask();
    let end = rig.now + passing(10);
    let stop = rig.octets_at(end + characters(3), &answer()[..8]);
    rig.octets_at(stop + characters(1) / 2, &answer()[8..]);
    rig.run(SECOND);
    assert_eq!((rig.only_done().1.outcome, rig.sent.len()), (Outcome::Answered, 1));
}

/// [LL-10] [LL-12]: a burst in place of the answer ends the try as silence. Its bit says when we may go on: HOLD if it names us, else
/// RT2.
#[test]
fn a_burst_in_place_of_the_answer() {
    for (primary, wait) in [(false, 2), (true, 8)] {
        let mut rig = Rig::settled();
        rig.ask();
        let end = rig.octets_at(rig.now + passing(10) + characters(8), &burst(primary));
        rig.reactions.extend([None, Some((characters(3), answer()))]);
        rig.run(SECOND);
        let (_, t) = rig.only_done();
        assert_eq!((t.outcome, t.retries()), (Outcome::Answered, 1));
        assert_eq!(rig.sent[1].0, end + characters(wait), "primary {primary}");
    }
    // The last try: the request has ended with the burst.
    let mut rig = Rig::settled();
    rig.ask_with(0);
    let end = rig.octets_at(rig.now + passing(10) + characters(8), &burst(false));
    rig.run(SECOND);
    let (when, t) = rig.only_done();
    assert_eq!((t.outcome, when), (Outcome::Silent, end));
}

/// [LL-12]: an answer behind the burst belongs to nobody; nothing is sent into it, and the repeat follows it.
#[test]
fn a_burst_before_the_answer() {
    for primary in [false, true] {
        let mut rig = Rig::settled();
        rig.ask();
        let burst_end = rig.octets_at(rig.now + passing(10) + characters(5), &burst(primary));
        let end = rig.octets_at(burst_end + characters(1) / 2, &answer());
        rig.reactions.extend([None, Some((characters(3), answer()))]);
        rig.run(SECOND);
        let (_, t) = rig.only_done();
        assert_eq!((t.outcome, t.retries(), t.response_time), (Outcome::Answered, 1, Some(characters(3))));
        assert_eq!(rig.sent[1].0, end + characters(8));
        let kinds: Vec<Kind> = rig.overheard().iter().map(|t| t.kind).collect();
        assert_eq!(kinds, [Kind::Burst, Kind::Unasked]);
    }
}

/// [LL-09]: noise between the request and its answer, then the answer, the link free RT2 after it.
#[test]
fn noise_then_the_answer() {
    let mut rig = Rig::settled();
    rig.ask();
    rig.octets_at(rig.now + passing(10) + characters(3), &[0x00, 0x55]);
    let end = rig.octets_at(rig.now + passing(10) + characters(20), &answer());
    rig.run_until(end);
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, t.interludes.len(), rig.sent.len()), (Outcome::Answered, 1, 1));
    rig.ask_with(0);
    rig.run(SECOND);
    assert_eq!(rig.sent[1].0, end + characters(8));
}
