//! Lines that cannot tell: a finding there is told as not judged [HC-06].

use super::rig::{BENCH, EXACT, PATIENT_MS, Rig, judge, names, unjudged};
use looprig::conform::host_check::{Judged, LineFacts, Report};
use looprig::frame::{Capabilities, Octet, PollingAddress, RawFrame, Target};
use looprig::time::Pace;
use std::time::Duration;

fn on(name: &str, line: Capabilities, heard: &[Octet]) -> Report {
    judge(heard, LineFacts::of_line(name, Pace::Wire, line), Judged::default())
}

/// Few preambles, asked in the slave's time, once with a wrong check byte.
fn faulty() -> Rig {
    let mut rig = Rig::new(BENCH);
    for n in 5..9 {
        let frame = rig.request(Target::Polling(PollingAddress::new(n).expect("at most 63")), 0, &[]);
        rig.send(&frame, 3, 137);
    }
    rig.rest(PATIENT_MS);
    for _ in 0..2 {
        let last = 7 + rig.long(12, &[]).len() - 1;
        let frame = RawFrame::of(&rig.long(12, &[]), 7).flip(last, 0x10);
        rig.say(&frame);
        rig.rest(PATIENT_MS);
    }
    rig
}

#[test]
fn what_each_line_can_tell() {
    let rig = faulty();
    let heard = rig.heard();
    let deaf = Capabilities { parity_seen: false, carrier_seen: false, ..EXACT };
    let few = "preambles-too-few";
    let (check, turn) = ("check-byte-wrong", "talks-in-slave-time");
    for (name, line, found, not_judged) in [
        ("bus, virtual time", EXACT, vec![few, check, turn], vec![]),
        // No modem eats preambles, and no parity and no times of the host come through.
        ("pty: at /dev/pts/3", deaf, vec![few], vec![check, turn]),
        // Preambles may be lost in the modem, of which nothing is known here.
        ("serial:/dev/ttyUSB0, 1200 8O1", EXACT, vec![check, turn], vec![few]),
        ("tcp:192.0.2.1:5500", deaf, vec![], vec![few, check, turn]),
    ] {
        let report = on(name, line, heard);
        assert_eq!(names(&report), found, "{name}");
        for slug in not_judged {
            assert!(unjudged(&report).contains(&slug), "{name}: {slug} in {:?}", report.unjudged);
        }
    }
    // [LL-17]: a margin of 1 character and 2 errors of 60 ms, 129 ms, is more than half of STO, 128 ms.
    let coarse = Capabilities { stamp_error: Duration::from_millis(60), ..EXACT };
    let report = on("bus, virtual time", coarse, heard);
    assert!(!names(&report).contains(&turn) && unjudged(&report).contains(&turn), "{report:?}");
}

/// Octets alone: no times, no preambles.
#[test]
fn octets_alone() {
    let rig = faulty();
    let report = judge(rig.heard(), LineFacts::OCTETS_ALONE, Judged::default());
    assert_eq!(names(&report), [""; 0]);
    assert!(unjudged(&report).contains(&"preambles-too-few"), "{report:?}");
    assert!(unjudged(&report).contains(&"talks-in-slave-time"), "{report:?}");
}

/// Behind a modem preambles are judged where devices that say how many they send are heard with all of them.
#[test]
fn a_modem_that_loses_no_preambles() {
    let serial = "serial:/dev/ttyUSB0, 1200 8O1";
    let mut rig = Rig::new(BENCH);
    rig.identify();
    for _ in 0..3 {
        let frame = rig.long(3, &[]);
        rig.send(&frame, 4, PATIENT_MS);
    }
    assert_eq!(names(&on(serial, EXACT, rig.heard())), ["preambles-too-few"]);
    // The same where two octets of each transmission are lost: four preambles may be six.
    let runs = rig.heard().chunk_by(|a, b| b.at.since(a.at) <= Duration::from_millis(10));
    let lost: Vec<Octet> = runs.flat_map(|run| &run[2..]).copied().collect();
    let report = on(serial, EXACT, &lost);
    assert_eq!(names(&report), [""; 0]);
    assert_eq!(unjudged(&report), ["preambles-too-few"]);
}

/// A record that ends before one can tell.
#[test]
fn a_record_that_ends_too_soon() {
    let mut rig = Rig::new(BENCH);
    rig.identify();
    rig.ask(17, &[0; 24]);
    rig.ask(3, &[]);
    let report = rig.report();
    assert_eq!((names(&report), unjudged(&report)), (vec![], vec!["write-not-read-back"]));
}
