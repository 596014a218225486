//! What counts as an answer, when, and how often is asked.

use super::rig::*;
use looprig::frame::{Address, Frame, Master as Role, Target, UniqueAddress};
use looprig::transaction::{Kind, Outcome};
use std::time::Duration;

/// [LL-02]: an answer begins within 28 characters. Ours are counted at the end of the first octet, and two
/// characters are allowed for stamps, so one that begins at 29 is still taken and one at 30 is not.
#[test]
fn the_slave_time_out() {
    for (begins, outcome) in [(0, Outcome::Answered), (27, Outcome::Answered), (28, Outcome::Answered)] {
        let mut rig = Rig::settled();
        rig.ask_with(0);
        rig.reactions.push_back(Some((characters(begins), answer())));
        rig.run(Duration::from_secs(2));
        let (_, t) = rig.only_done();
        assert_eq!((t.outcome, t.response_time), (outcome, Some(characters(begins))), "{begins}");
    }
    for begins in [30, 31, 40] {
        let mut rig = Rig::settled();
        rig.ask_with(0);
        rig.reactions.push_back(Some((characters(begins), answer())));
        rig.run(Duration::from_secs(2));
        let (when, t) = rig.only_done();
        assert_eq!((t.outcome, t.response_time), (Outcome::Silent, None), "{begins}");
        assert_eq!(when, rig.end_of_sent(0) + characters(28) + passing(2));
        // What comes then is nobody's.
        assert_eq!(rig.overheard().iter().map(|t| t.kind).collect::<Vec<_>>(), [Kind::Unasked]);
    }
}

/// [HO-04] [LL-07]: repeated as often as told, 10 at most, with the same octets, RT1 after the end of the last.
#[test]
fn bounded_repeats() {
    for (retries, sent) in [(0, 1), (1, 2), (3, 4), (10, 11), (11, 11), (255, 11)] {
        let mut rig = Rig::settled();
        rig.ask_with(retries);
        rig.run(Duration::from_secs(60));
        assert_eq!(rig.sent.len(), sent, "{retries} retries");
        assert!(rig.sent.iter().all(|(_, octets)| octets == &ASK));
        for i in 1..sent {
            assert_eq!(rig.sent[i].0, rig.end_of_sent(i - 1) + characters(41));
        }
        let (when, t) = rig.only_done();
        assert_eq!((t.outcome, t.tries.len(), t.interludes.len()), (Outcome::Silent, sent, 0));
        assert_eq!(when, rig.end_of_sent(sent - 1) + characters(28) + passing(2));
        assert!(t.tries.iter().all(|g| g.octets.iter().map(|o| o.value).collect::<Vec<_>>() == ASK));
        assert_eq!(t.tries[0].octets[9].at, rig.end_of_sent(0));
    }
}

/// [HO-04] [ST-01]: a device that says that the request arrived damaged (88: communication error, check byte) did not
/// obey it. It is asked again, RT2 after that answer as after any of ours, and its last word is the answer.
#[test]
fn a_request_that_arrived_damaged_is_asked_again() {
    let complaint = framed(&[0x06, 0x00, 0x00, 0x02, 0x88, 0x00]);
    let mut rig = Rig::settled();
    rig.ask_with(3);
    rig.reactions.extend([&complaint, &complaint, &answer()].map(|a| Some((characters(1), a.clone()))));
    rig.run(Duration::from_secs(3));
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, t.reply_frame().unwrap().status()), (Outcome::Answered, Some([0, 0])));
    assert_eq!((rig.sent.len(), rig.again.len()), (3, 2));
    // One character, the 12 octets of the answer, RT2.
    assert_eq!(rig.sent[1].0, rig.end_of_sent(0) + characters(1) + passing(12) + characters(8));

    let mut rig = Rig::settled();
    rig.ask_with(1);
    rig.reactions.extend([0, 0, 0].map(|_| Some((characters(1), complaint.clone()))));
    rig.run(Duration::from_secs(3));
    let (_, t) = rig.only_done();
    assert_eq!((rig.sent.len(), t.reply_frame().unwrap().status()), (2, Some([0x88, 0])));
}

/// [FR-02] [LL-11]: 5 to 20 octets of FF, whatever is asked for.
#[test]
fn preambles() {
    for (given, sent) in [(Some(0), 5), (Some(5), 5), (Some(12), 12), (Some(200), 20), (None, 5)] {
        let mut rig = Rig::settled();
        rig.master.ask(poll_0(Role::Secondary), given).unwrap();
        rig.run(Duration::from_secs(1));
        assert_eq!(rig.sent[0].1, [&vec![0xFF; sent][..], &ASK[5..]].concat());
    }
}

/// [HO-04]: a damaged answer is asked for again, after the silence in which a master does not know whose turn it is.
#[test]
fn damaged_answers() {
    for retries in [0u8, 3] {
        let mut rig = Rig::settled();
        rig.ask_with(retries);
        rig.reactions.extend(vec![Some((characters(4), spoilt(answer()))); 4]);
        rig.run(Duration::from_secs(20));
        let (_, t) = rig.only_done();
        let n = usize::from(retries) + 1;
        assert_eq!((rig.sent.len(), t.tries.len(), t.interludes.len()), (n, n, n));
        assert_eq!((t.outcome, t.reply.is_none()), (Outcome::Garbled, true));
        // The answer has 12 octets.
        for i in 1..n {
            assert_eq!(rig.sent[i].0, rig.end_of_sent(i - 1) + characters(4) + passing(12) + characters(41));
        }
    }
    let mut rig = Rig::settled();
    rig.ask();
    // Broken off in the middle, then spoilt, then good.
    rig.reactions.extend([
        Some((characters(4), answer()[..9].to_vec())),
        Some((characters(4), spoilt(answer()))),
        Some((characters(4), answer())),
    ]);
    rig.run(Duration::from_secs(20));
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, t.retries(), t.interludes.len()), (Outcome::Answered, 2, 2));
}

/// An answer that comes late, but before the repeat, is the answer: nothing is sent into it.
#[test]
fn a_late_answer_makes_the_repeat_needless() {
    // 40 characters and the first octet end at 41, when the repeat would begin.
    for begins in [30, 33, 39] {
        let mut rig = Rig::settled();
        rig.ask();
        rig.reactions.push_back(Some((characters(begins), answer())));
        rig.run(Duration::from_secs(3));
        let (_, t) = rig.only_done();
        assert_eq!((t.outcome, t.response_time), (Outcome::Answered, Some(characters(begins))));
        assert_eq!(rig.sent.len(), 1);
    }
}

/// An answer that comes while the repeat is leaving is taken; the second one, to the repeat, is nobody's, and neither it
/// nor the end of the repeat is mistaken for something of the next request.
#[test]
fn an_answer_during_the_repeat() {
    let mut rig = Rig::settled();
    rig.ask();
    // It begins at 41 characters like the repeat; 12 octets end after the repeat's 10.
    rig.reactions.extend([Some((characters(41), answer())), Some((characters(5), answer())), None]);
    rig.run_until(rig.now + Duration::from_millis(92) + characters(41 + 13));
    assert_eq!((rig.sent.len(), rig.done.len()), (2, 1));
    assert_eq!((rig.done[0].1.outcome, rig.done[0].1.retries()), (Outcome::Answered, 1));
    rig.ask_with(0);
    rig.run(Duration::from_secs(5));
    assert_eq!((rig.sent.len(), rig.done.len()), (3, 2));
    assert_eq!(rig.done[1].1.outcome, Outcome::Silent);
    assert_eq!(rig.done[1].0, rig.end_of_sent(2) + characters(28) + passing(2));
    assert_eq!(rig.overheard().len(), 1);
}

/// A port that tells the end of a transmission late: the answer proves that the request has left.
#[test]
fn an_answer_before_the_port_has_told_the_end() {
    let mut rig = Rig::settled();
    // Told 300 ms late: the answer's 12 octets are over by then.
    rig.tells_late = Duration::from_millis(300);
    rig.reactions.extend([Some((characters(2), answer())), None]);
    rig.ask();
    rig.run(Duration::from_millis(92 + 200));
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, rig.sent.len()), (Outcome::Answered, 1));
    // The end of the first transmission is told while the second one leaves: it is not the second one's.
    rig.ask_with(0);
    rig.tells_late = Duration::ZERO;
    rig.run(Duration::from_secs(3));
    assert_eq!((rig.sent.len(), rig.done.len()), (2, 2));
    assert_eq!(rig.done[1].1.outcome, Outcome::Silent);
    assert_eq!(rig.done[1].0, rig.end_of_sent(1) + characters(28) + passing(2));
}

/// A damaged answer before the port has told the end is a damaged answer.
#[test]
fn a_damaged_answer_before_the_port_has_told_the_end() {
    let mut rig = Rig::settled();
    rig.tells_late = Duration::from_millis(300);
    rig.reactions.push_back(Some((characters(2), spoilt(answer()))));
    rig.ask_with(0);
    rig.run(Duration::from_secs(3));
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, t.interludes.len()), (Outcome::Garbled, 1));
}

/// Octets without sense while the request leaves and before the answer change nothing.
#[test]
fn noise_between() {
    let mut rig = Rig::settled();
    // The first noise comes with the second octet of ten.
    rig.octets_at(rig.now + characters(1), &[0x55]);
    rig.reactions.push_back(Some((characters(5), vec![0x00, 0xFF, 0x12])));
    let begins = rig.now + passing(10) + characters(27);
    rig.octets_at(begins, &answer());
    rig.ask_with(0);
    rig.run(Duration::from_secs(3));
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, t.response_time, rig.sent.len()), (Outcome::Answered, Some(characters(27)), 1));
    assert_eq!(t.interludes.len(), 1, "{:?}", t.interludes);
    // Noise during the transmission does not shorten the wait of a long request either.
    let mut rig = Rig::settled();
    rig.octets_at(rig.now, &[0x55]);
    rig.ask_with(0);
    rig.run(Duration::from_secs(3));
    assert_eq!(rig.only_done().0, rig.end_of_sent(0) + characters(28) + passing(2));
}

/// Two octets of FF and a chance delimiter, then the answer.
#[test]
fn a_false_start_before_the_answer() {
    let mut rig = Rig::settled();
    rig.reactions
        .push_back(Some((characters(5), [&[0xFF, 0xFF, 0x06, 0x00, 0x00, 0x09][..], &answer()].concat())));
    rig.ask_with(0);
    rig.run(Duration::from_secs(3));
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, t.interludes.len()), (Outcome::Answered, 1));
}

/// [DV-07]: commands 11 and 21 to all devices are answered with the device's own address; any other is not.
#[test]
fn broadcasts_are_answered_with_another_address() {
    for (command, outcome) in [(11u8, Outcome::Answered), (21, Outcome::Answered), (1, Outcome::Silent)] {
        let mut rig = Rig::settled();
        let all = Address::new(Role::Secondary, Target::Unique(UniqueAddress::BROADCAST));
        rig.master.ask_with(Frame::request(all, command, vec![0; 6]).unwrap(), None, 0).unwrap();
        let reply = framed(&[0x86, UNIQUE[0], UNIQUE[1], UNIQUE[2], UNIQUE[3], UNIQUE[4], command, 2, 0, 0]);
        rig.reactions.push_back(Some((characters(3), reply)));
        rig.run(Duration::from_secs(3));
        let (_, t) = rig.only_done();
        assert_eq!(t.outcome, outcome, "command {command}");
        assert_eq!(rig.sent[0].1[5..11], [0x82, 0, 0, 0, 0, 0]);
    }
}

/// [FR-15]: the master bit and the burst bit of an answer do not count.
#[test]
fn odd_address_bits_still_answer() {
    for first in [0x80, 0x40, 0xC0] {
        let mut rig = Rig::settled();
        rig.ask_with(0);
        rig.reactions.push_back(Some((characters(3), framed(&[0x06, first, 0x00, 0x02, 0x00, 0x00]))));
        rig.run(Duration::from_secs(1));
        assert_eq!(rig.only_done().1.outcome, Outcome::Answered, "{first:02X}");
    }
}

/// An answer of another device, to a request before, that comes while a request leaves proves nothing.
#[test]
fn a_stale_answer_of_another_device() {
    let mut rig = Rig::settled();
    // 20 preambles make 25 octets; the stale answer of address 5 has 12 and is over long before.
    rig.octets_at(rig.now, &framed(&[0x06, 0x05, 0x00, 0x02, 0x00, 0x00]));
    rig.reactions.push_back(Some((characters(27), answer())));
    rig.master.ask_with(poll_0(Role::Secondary), Some(20), 0).unwrap();
    rig.run(Duration::from_secs(2));
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, t.response_time), (Outcome::Answered, Some(characters(27))));
    assert_eq!(rig.overheard().iter().map(|t| t.kind).collect::<Vec<_>>(), [Kind::Unasked]);
}
