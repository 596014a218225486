//! Whose turn it is: listening first, other masters, a second one with our bit, bursts, echo.

use super::rig::*;
use looprig::frame::{Capabilities, Master as Role};
use looprig::link::{MasterConfig, Refused};
use looprig::transaction::{Kind, Outcome};
use std::time::Duration;

const ROLES: [(Role, u64, [u8; 10]); 2] = [(Role::Primary, 33, ASK_PRIMARY), (Role::Secondary, 41, ASK)];

/// [HO-01] [FR-16]: bit 7 of the first address octet, short and long, is clear unless told.
#[test]
fn secondary_unless_told() {
    assert_eq!(MasterConfig::default().role, Role::Secondary);
    let mut rig = Rig::with(MasterConfig::default(), LINE);
    rig.reactions.push_back(Some((characters(2), answer())));
    rig.ask();
    rig.run(Duration::from_secs(2));
    assert_eq!(rig.sent[0].1, ASK);
    rig.master.ask(to_device(Role::Secondary, 1), None).unwrap();
    rig.run(Duration::from_secs(2));
    assert_eq!(rig.sent[1].1[5..8], [0x82, 0x3D, 0x71]);
    for (role, _, octets) in ROLES {
        let mut rig = Rig::new(role);
        rig.ask();
        rig.run(Duration::from_secs(1));
        assert_eq!(rig.sent[0].1, octets);
    }
}

/// [HO-02] [LL-05]: 33 characters 302.5 ms, 41 characters 375.833 ms \[F40648\].
#[test]
fn listens_first() {
    for (role, quiet, _) in ROLES {
        let mut rig = Rig::new(role);
        rig.ask();
        rig.run(Duration::from_secs(1));
        assert_eq!(rig.sent[0].0, at(characters(quiet)), "{role}");
        // A request asked much later finds the link known and free.
        let mut rig = Rig::new(role);
        rig.run(Duration::from_secs(5));
        rig.ask();
        rig.run(Duration::from_millis(1));
        assert_eq!(rig.sent[0].0, at(Duration::from_secs(5)));
    }
    let mut rig = Rig::with(MasterConfig { listens_first: false, ..MasterConfig::default() }, LINE);
    rig.ask();
    rig.run(Duration::from_millis(1));
    assert_eq!(rig.sent.len(), 1);
}

/// [HO-02]: what tells nothing of whose turn it is restarts the whole wait.
#[test]
fn what_is_heard_restarts_the_listening() {
    for (role, quiet, _) in ROLES {
        let other = if role == Role::Primary { ASK } else { ASK_PRIMARY };
        // One octet of noise, a frame with a wrong check byte, half a frame, another master's request.
        for heard in [vec![0x55], spoilt(answer()), answer()[..9].to_vec(), other.to_vec()] {
            let mut rig = Rig::new(role);
            rig.ask();
            let end = rig.octets_at(at(Duration::from_millis(100)), &heard);
            rig.run(Duration::from_secs(2));
            assert_eq!(rig.sent[0].0, end + characters(quiet), "{role}: {heard:02X?}");
        }
    }
}

/// A frame that arrives at the moment when the wait would be over; the clock goes on.
#[test]
fn a_frame_under_way_is_let_pass() {
    // Its first octet ends 9.17 ms later, before the 375.83 ms are over.
    for begins in [270, 300, 340, 366] {
        let mut rig = Rig::new(Role::Secondary);
        rig.ask();
        let end = rig.octets_at(at(Duration::from_millis(begins)), &ASK_PRIMARY);
        rig.run(Duration::from_secs(2));
        assert_eq!(rig.sent[0].0, end + characters(41));
    }
}

/// [LL-09] from memory, [LL-03] [LL-04]: after its answer the master that was named leaves RT2 to the other, which
/// begins after HOLD. A burst names the master that may speak next [LL-10].
#[test]
fn after_an_answer_and_after_a_burst() {
    for (heard, wait) in [(answer(), 8), (answer_to_primary(), 2), (burst(true), 8), (burst(false), 2)] {
        let mut rig = Rig::settled();
        let end = rig.octets_at(rig.now, &heard);
        rig.run_until(end);
        rig.ask();
        rig.run(Duration::from_secs(1));
        assert_eq!(rig.sent[0].0, end + characters(wait), "{heard:02X?}");
    }
}

/// [LL-09]: the other bit is another master's; its transactions are seen, its answers waited for.
#[test]
fn another_master_is_let_speak() {
    let mut rig = Rig::settled();
    let asked = rig.octets_at(rig.now, &ASK_PRIMARY);
    // The answer begins 27 characters later, inside STO.
    let end = rig.octets_at(asked + characters(27), &answer_to_primary());
    rig.reactions.extend([None, Some((characters(3), answer()))]);
    rig.ask();
    // Both have begun at once: the repeat waits until the other one has its answer.
    rig.run_until(end + Duration::from_secs(1));
    assert_eq!(rig.sent.len(), 2);
    assert_eq!(rig.sent[1].0, end + characters(2));
    assert_eq!((rig.only_done().1.outcome, rig.only_done().1.retries()), (Outcome::Answered, 1));

    let mut rig = Rig::settled();
    let asked = rig.octets_at(rig.now, &ASK_PRIMARY);
    let end = rig.octets_at(asked + characters(27), &answer_to_primary());
    rig.run_until(asked);
    rig.ask();
    rig.reactions.push_back(Some((characters(3), answer())));
    rig.run_until(end + Duration::from_secs(1));
    assert_eq!(rig.sent.len(), 1);
    assert_eq!(rig.sent[0].0, end + characters(2));
    let (_, t) = rig.only_done();
    assert_eq!((t.outcome, t.retries()), (Outcome::Answered, 0));
    let overheard = rig.overheard();
    assert_eq!(overheard.len(), 1);
    assert_eq!((overheard[0].kind, overheard[0].outcome), (Kind::Asked, Outcome::Answered));
    assert_eq!(overheard[0].request().unwrap().address().master, Role::Primary);
    // Octets arrive one by one: 27 characters as one length are a few ns longer than the stamps say.
    assert_eq!(overheard[0].response_time, Some(characters(27)));
}

/// [HO-03]
#[test]
fn stops_at_a_master_with_its_bit() {
    for (role, _, octets) in ROLES {
        // Before our request, while we wait for an answer, while our octets leave.
        for when in [950, 1150, 1020] {
            let mut rig = Rig::new(role);
            // Another command, so that it cannot be taken for ours.
            let mut foreign = octets[5..9].to_vec();
            foreign[2] = 1;
            // One may be a chance product of noise.
            rig.octets_at(rig.now, &framed(&foreign));
            rig.octets_at(at(Duration::from_millis(when)), &framed(&foreign));
            rig.octets_at(at(Duration::from_secs(4)), &framed(&foreign));
            rig.run(Duration::from_secs(1));
            assert!(rig.stopped.is_empty());
            rig.ask();
            rig.run(Duration::from_secs(2));
            let before = rig.sent.len();
            rig.run(Duration::from_secs(60));
            assert_eq!(rig.stopped.len(), 1, "{role} {when}");
            let v = &rig.stopped[0];
            assert_eq!(v.requirement, "HO-03");
            let evidence = &v.evidence.last().unwrap().frame;
            assert_eq!((evidence.command(), evidence.address().master), (1, role));
            assert_eq!(rig.master.ask(poll_0(role), None), Err(Refused::Stopped));
            assert_eq!((rig.done.len(), rig.sent.len(), rig.master.wake_at()), (0, before, None));
        }
    }
}

/// The same octets as ours are another master's all the same, when the line gives nothing back.
#[test]
fn our_own_request_from_somebody_else_stops() {
    let mut rig = Rig::settled();
    rig.ask();
    rig.reactions.push_back(Some((Duration::ZERO, ASK.to_vec())));
    rig.run(Duration::from_secs(1));
    assert_eq!((rig.stopped.len(), rig.sent.len()), (1, 1));
}

/// A modem that gives back what is sent, at once or up to after the end of the transmission.
#[test]
fn an_echo_is_no_other_master() {
    for late_ms in [0, 1, 9, 10, 50, 91, 92, 100] {
        let mut rig = Rig::with(MasterConfig::default(), Capabilities { echo: true, ..LINE });
        rig.echo = Some(Duration::from_millis(late_ms));
        rig.reactions.extend([None, Some((characters(20), answer()))]);
        rig.ask();
        rig.run(Duration::from_secs(3));
        let (_, t) = rig.only_done();
        assert_eq!((t.outcome, t.retries(), t.interludes.len()), (Outcome::Answered, 1, 0), "{late_ms} ms");
        assert!(rig.overheard.is_empty(), "{:?}", rig.overheard);
        // A second frame like it is not the echo.
        rig.octets_at(rig.now, &ASK);
        rig.run(Duration::from_secs(1));
        assert_eq!(rig.stopped.len(), 1);
    }
}

/// A burst or an answer to nobody while the answer is waited for: handed out, and the request repeated.
#[test]
fn bursts_and_unasked_answers_between() {
    let unasked = framed(&[0x06, 0x05, 0x00, 0x02, 0x00, 0x00]);
    for (heard, kind) in [(burst(true), Kind::Burst), (burst(false), Kind::Burst), (unasked, Kind::Unasked)] {
        let mut rig = Rig::settled();
        rig.ask();
        rig.reactions.extend([Some((characters(5), heard)), Some((characters(5), answer()))]);
        rig.run(Duration::from_secs(3));
        let (_, t) = rig.only_done();
        assert_eq!((t.outcome, t.retries(), rig.sent.len()), (Outcome::Answered, 1, 2));
        assert_eq!(rig.overheard().iter().map(|t| t.kind).collect::<Vec<_>>(), [kind]);
    }
}

/// [HO-04]: every attempt is told, also those that a burst ended.
#[test]
fn tries_are_counted_across_bursts() {
    let mut rig = Rig::settled();
    rig.ask_with(2);
    rig.reactions.extend([
        Some((characters(5), burst(false))),
        Some((characters(5), spoilt(answer()))),
        Some((characters(5), burst(true))),
    ]);
    rig.run(Duration::from_secs(5));
    let (_, t) = rig.only_done();
    assert_eq!((rig.sent.len(), t.tries.len(), t.interludes.len()), (3, 3, 1));
    assert_eq!(t.outcome, Outcome::Garbled);
    assert_eq!(rig.overheard().len(), 2);
}
