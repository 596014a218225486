//! Errors of single octets, and the counters that tell which they were [LI-09].

use super::ANSWER;
use super::port::{C, MS, Rig, Scripted};
use looprig::frame::Marks;
use looprig::line::{ErrorCounts, SerialOptions};

#[test]
fn errors_of_octets_are_passed_on() {
    let mut port = Scripted::new();
    port.receives(0, &ANSWER);
    port.arrivals[7].2 = Marks::PARITY;
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.run(2_000 * MS);
    assert_eq!(rig.heard[7].marks, Marks::PARITY);
    assert_eq!(rig.heard.iter().filter(|o| !o.marks.is_empty()).count(), 1);
    assert!(rig.logic.status().parity_kept);
}

/// The port marks a wrong parity bit and a missing stop bit alike; its counters tell them apart, and
/// tell that octets were lost. What it had counted before it was opened does not matter.
#[test]
fn counters_tell_which_error_it_was() {
    let before = ErrorCounts { parity: 7, framing: 7, overrun: 7, breaks: 7 };
    let mut port = Scripted::new();
    port.receives(0, &ANSWER);
    for spoilt in [5, 6, 7, 9] {
        port.arrivals[spoilt].2 = Marks::PARITY;
    }
    let (a, b, c, d) = (6 * C, 7 * C, 8 * C, 10 * C);
    port.counts = Some(vec![
        (0, before),
        (a, ErrorCounts { parity: 8, ..before }),
        (b, ErrorCounts { parity: 8, framing: 8, ..before }),
        (c, ErrorCounts { parity: 9, framing: 9, ..before }),
        (d, ErrorCounts { parity: 9, framing: 9, overrun: 8, ..before }),
    ]);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.run(2_000 * MS);
    let marks: Vec<Marks> = rig.heard.iter().map(|o| o.marks).collect();
    assert_eq!(marks[5], Marks::PARITY);
    assert_eq!(marks[6], Marks::FRAMING);
    // Two were counted with the eighth octet: which of them it had is not known.
    assert_eq!(marks[7], Marks::PARITY);
    assert_eq!(marks[9], Marks::PARITY | Marks::OVERRUN);
    assert!(marks.iter().enumerate().all(|(i, m)| m.is_empty() || [5, 6, 7, 9].contains(&i)), "{marks:?}");
    let since = ErrorCounts { parity: 2, framing: 2, overrun: 1, breaks: 0 };
    assert_eq!(rig.logic.status().errors, Some(since));
}
