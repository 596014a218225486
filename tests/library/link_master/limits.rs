//! Everything ends, also on a line that never falls silent.

use super::rig::*;
use looprig::frame::Master as Role;
use looprig::link::{Output, Refused};
use looprig::transaction::{Outcome, Passed};
use std::time::Duration;

/// Octets that follow each other without end, as a modem makes them of hum.
fn hum(rig: &mut Rig, from: Duration, value: u8, n: usize) {
    rig.octets_at(at(from), &vec![value; n]);
}

/// Hum before the first request: it is never sent, and that is told.
#[test]
fn no_turn_ends_the_request() {
    for value in [0x55, 0xFF, 0x00] {
        let mut rig = Rig::new(Role::Secondary);
        hum(&mut rig, Duration::ZERO, value, 3000);
        rig.ask();
        rig.run(Duration::from_secs(60));
        assert_eq!((rig.sent.len(), rig.done.len(), rig.no_turn.len()), (0, 0, 1));
        // 1000 characters are 9.17 s; it is looked at with the next octet.
        assert!(rig.no_turn[0] <= at(Duration::from_millis(9_200)), "{}", rig.no_turn[0]);
        // 3000 octets are over after 27.5 s: the next request finds its turn.
        rig.ask_with(0);
        rig.run(Duration::from_secs(2));
        assert_eq!((rig.sent.len(), rig.done.len()), (1, 1));
    }
}

/// Hum that begins after the request: the answer and the repeat are not waited for without end, and the one try is told.
#[test]
fn hum_after_the_request() {
    for value in [0x55, 0xFF, 0x00] {
        let mut rig = Rig::new(Role::Secondary);
        rig.ask();
        hum(&mut rig, Duration::from_millis(480), value, 4000);
        rig.run(Duration::from_secs(60));
        let (when, t) = rig.only_done();
        assert_eq!((rig.sent.len(), t.tries.len(), t.outcome), (1, 1, Outcome::Silent));
        // 376 + 92 + 275 ms, 307 characters for an answer (2.8 s), 1000 for a turn (9.2 s).
        assert!(when <= at(Duration::from_millis(743 + 2_820 + 9_200)), "{when}");
    }
}

#[test]
fn one_at_a_time() {
    let mut rig = Rig::settled();
    rig.ask();
    assert_eq!(rig.master.ask(poll_0(Role::Secondary), None), Err(Refused::Busy));
    rig.run(Duration::from_millis(50));
    assert_eq!(rig.master.ask(poll_0(Role::Secondary), None), Err(Refused::Busy));
    rig.run(Duration::from_secs(5));
    rig.ask();
}

/// Whoever asked is gone: the next request goes its way, in turn.
#[test]
fn abandoned() {
    for after_ms in [0, 50, 92, 200, 400] {
        let mut rig = Rig::settled();
        rig.ask();
        rig.run(Duration::from_millis(after_ms));
        rig.master.abandon();
        rig.master.ask_with(to_device(Role::Secondary, 1), None, 0).unwrap();
        rig.run(Duration::from_secs(5));
        let (_, t) = rig.only_done();
        assert_eq!((t.request().unwrap().command(), t.tries.len()), (1, 1), "{after_ms} ms");
        // The try that was under way is seen as unanswered, unless it had not left when it was given up.
        let left = rig.overheard.iter().filter(|p| matches!(p, Passed::Transaction(_))).count();
        assert_eq!(left, usize::from(after_ms >= 92), "{after_ms} ms");
    }
    let mut rig = Rig::settled();
    rig.master.abandon();
    assert_eq!(rig.master.poll_output(), None::<Output>);
}

/// A port that never tells the end of a transmission: the request goes on as if it had left, and every ask ends.
#[test]
fn the_news_of_the_end_is_lost() {
    let mut rig = Rig::new(Role::Secondary);
    rig.tells_late = Duration::from_secs(3600);
    rig.ask_with(0);
    rig.run(Duration::from_secs(30));
    let (when, t) = rig.only_done();
    assert_eq!((rig.sent.len(), t.outcome), (1, Outcome::Silent));
    // Begun after RT1, 41 characters: 375.8 ms; ten characters to leave, 91.7 ms, and 5 s more; 28 + 2 for an answer, 275 ms.
    assert!((5_740..5_750).contains(&(when.as_nanos() / 1_000_000)), "{when}");
}
