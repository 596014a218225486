//! A second master with our bit is told with both requests [HO-03].

use super::rig::*;
use looprig::frame::{Capabilities, Master as Role};
use looprig::link::{MasterConfig, Violation};
use std::time::Duration;

fn only(rig: &Rig) -> &Violation {
    assert_eq!(rig.stopped.len(), 1);
    &rig.stopped[0]
}

fn frames(v: &Violation) -> Vec<Vec<u8>> {
    v.evidence.iter().map(|e| e.frame.encode().to_vec()).collect()
}

/// Command 1 to polling address 3: 02 ^ 03 ^ 01 = 00.
const OTHERS: [u8; 5] = [0x02, 0x03, 0x01, 0x00, 0x00];

fn others() -> Vec<u8> {
    [&[0xFF; 5][..], &OTHERS].concat()
}

/// One that has heard such a request once, which may be a product of noise, and goes on.
fn warned() -> Rig {
    let mut rig = Rig::settled();
    rig.octets_at(rig.now, &others());
    rig.run(Duration::from_secs(2));
    assert!(rig.stopped.is_empty());
    rig
}

/// One is forgotten after 30 000 characters, 275 s.
#[test]
fn a_rare_product_of_noise_does_not_stop() {
    for (after_s, stopped) in [(274, 1), (276, 0)] {
        let mut rig = Rig::settled();
        let end = rig.octets_at(rig.now, &others());
        // Ten octets before its own end.
        rig.octets_at((end + Duration::from_secs(after_s)).before(passing(10)), &others());
        rig.run(Duration::from_secs(300));
        assert_eq!(rig.stopped.len(), stopped, "{after_s}");
        if stopped == 0 {
            rig.ask();
            rig.reactions.push_back(Some((characters(5), answer())));
            rig.run(Duration::from_secs(2));
            assert_eq!(rig.done.len(), 1);
        }
    }
}

#[test]
fn both_requests_are_shown() {
    // Before anything was asked: there is no request of ours.
    let mut rig = warned();
    rig.octets_at(rig.now, &others());
    rig.run(Duration::from_secs(1));
    let v = only(&rig);
    assert_eq!(frames(v), [OTHERS.to_vec(), OTHERS.to_vec()]);
    assert!(v.what.starts_with("while listening: another secondary master"), "{v}");

    // While it waits for the answer, while its octets leave, in the wait for the repeat, and long after.
    for (after_ms, doing) in [
        (0, "while sending command 0 to polling address 0"),
        (100, "while waiting for the answer to command 0 to polling address 0"),
        (370, "while waiting for a turn to send command 0"),
        (9_000, "while listening"),
    ] {
        let mut rig = warned();
        let asked = rig.now;
        rig.ask_with(1);
        let end = rig.octets_at(asked + Duration::from_millis(after_ms), &others());
        // So that its end is not told before that of the other.
        rig.tells_late = if after_ms == 0 { Duration::from_millis(50) } else { Duration::ZERO };
        rig.run(Duration::from_secs(20));
        let v = only(&rig);
        assert_eq!(frames(v), [ASK[5..].to_vec(), OTHERS.to_vec(), OTHERS.to_vec()], "{after_ms}");
        assert_eq!(v.evidence[2].ended_at, Some(end));
        let told = v.evidence[0].ended_at;
        // Ten octets each: the repeat begins RT1 after the first.
        let ours = match after_ms {
            0 => None,
            9_000 => Some(asked + passing(20) + characters(41)),
            _ => Some(asked + passing(10)),
        };
        assert_eq!(told, ours, "{after_ms}");
        let said = v.to_string();
        for part in [
            doing,
            "[HO-03]",
            "our last request: 02 00 00 00 02 (command 0 to polling address 0",
            "heard from the other: 02 03 01 00 00 (command 1 to polling address 3, ended at ",
        ] {
            assert!(said.contains(part), "{part}: {said}");
        }
    }
}

/// [LL-18]: an echo begins at most two characters after the end of the transmission, and comes once. Equal octets later,
/// or where nothing is given back, are another master's.
#[test]
fn equal_octets_that_are_no_echo() {
    let line = Capabilities { echo: true, ..LINE };
    for (late, stops) in [(characters(1), false), (characters(11), false), (characters(13), true)] {
        let mut rig = Rig::with(MasterConfig::default(), line);
        rig.echo = Some(late);
        rig.ask_with(0);
        rig.run(Duration::from_secs(2));
        assert_eq!(
            (rig.stopped.len(), rig.done.len()),
            (usize::from(stops), usize::from(!stops)),
            "{late:?}"
        );
    }
    // No echo came; 5 s later the same octets.
    let mut rig = Rig::with(MasterConfig::default(), line);
    rig.ask_with(0);
    rig.octets_at(at(Duration::from_secs(5)), &ASK);
    rig.run(Duration::from_secs(6));
    let v = only(&rig);
    assert_eq!(frames(v), [ASK[5..].to_vec(), ASK[5..].to_vec()]);
    assert_eq!(rig.done.len(), 1);
}

/// The echo of a request that was given up meanwhile is still its echo.
#[test]
fn the_echo_of_an_abandoned_request() {
    let mut rig = Rig::with(MasterConfig::default(), Capabilities { echo: true, ..LINE });
    rig.echo = Some(Duration::from_millis(1));
    rig.ask();
    rig.run_until(at(characters(45)));
    assert_eq!(rig.sent.len(), 1);
    rig.master.abandon();
    rig.run(Duration::from_secs(1));
    assert!(rig.stopped.is_empty() && rig.overheard.is_empty());
    assert!(rig.master.ask(poll_0(Role::Secondary), None).is_ok());
}
