//! What is over, and what is not the host's doing: nothing is found of it.

use super::rig::{judge, names, unjudged};
use looprig::conform::host_check::{Judged, LineFacts, Report};
use looprig::frame::{Address, Frame, Marks, Master as Role, Octet, PollingAddress, Target, UniqueAddress};
use looprig::time::{Instant, Pace};
use std::time::Duration;

/// Published [ICS]: command 0's data of a device of revision 7, here of manufacturer F9, type FD.
const IDENTITY: [u8; 22] = [
    0xFE, 0xF9, 0xFD, 0x00, 0x07, 0x02, 0x32, 0x4E, 0x00, 0x95, 0x26, 0x6F, 0x00, 0x03, 0x00, 0x01, 0x01,
    0x00, 0xF9, 0x00, 0xF9, 0x41,
];
/// Device status: cold start [ST-02].
const COLD: u8 = 0x20;

/// What is called so, and happens so.
type Then = (&'static str, fn(&mut Talk));

/// A host and its device, octets alone.
#[derive(Default)]
struct Talk(Vec<Octet>);

impl Talk {
    /// The device has told who it is.
    fn identified() -> Talk {
        let mut talk = Talk::default();
        let at = Target::Polling(PollingAddress::default());
        talk.exchange(Address::new(Role::Secondary, at), 0, &[], [0, 0], &IDENTITY);
        talk
    }

    fn frame(&mut self, frame: &Frame) {
        let mut at = self.0.last().map_or(Instant::ZERO, |o| o.at) + Duration::from_millis(50);
        for value in frame.encode_after(5) {
            at += Pace::Wire.character();
            self.0.push(Octet { at, value, marks: Marks::NONE });
        }
    }

    fn exchange(&mut self, address: Address, command: u8, asks: &[u8], status: [u8; 2], answers: &[u8]) {
        self.frame(&Frame::request(address, command, asks.to_vec()).expect("it fits"));
        self.frame(&Frame::reply(false, address, command, status, answers.to_vec()).expect("it fits"));
    }

    /// A master asks in a long frame.
    fn asks(&mut self, role: Role, command: u8, asks: &[u8], status: [u8; 2]) {
        let device = UniqueAddress::new([0x39, 0xFD], [0x95, 0x26, 0x6F]);
        self.exchange(Address::new(role, Target::Unique(device)), command, asks, status, asks);
    }

    /// So many requests of the secondary master that have nothing to do with what went before.
    fn goes_on(&mut self, times: usize) {
        for _ in 0..times {
            self.asks(Role::Secondary, 1, &[], [0, 0]);
        }
    }

    fn report(&self) -> Report {
        judge(&self.0, LineFacts::OCTETS_ALONE, Judged::default())
    }
}

/// The self test is put off (33), command 3 refused as busy (32); then this happens, and the host asks ten other things.
fn put_off_and(then: impl FnOnce(&mut Talk)) -> Report {
    let mut talk = Talk::identified();
    talk.asks(Role::Secondary, 41, &[], [33, 0]);
    talk.asks(Role::Secondary, 3, &[], [32, 0]);
    then(&mut talk);
    talk.goes_on(10);
    talk.report()
}

/// What was put off is over with a flush, a reset by anybody, and a start that nobody asked for [HC-04].
#[test]
fn what_the_device_has_forgotten_is_not_asked_again() {
    assert_eq!(names(&put_off_and(|_| {})), ["busy-ignored", "delayed-ignored"]);
    let over: [Then; 4] = [
        ("flush", |t| t.asks(Role::Secondary, 106, &[], [0, 0])),
        ("reset", |t| t.asks(Role::Secondary, 42, &[], [0, 0])),
        ("reset by the other", |t| t.asks(Role::Primary, 42, &[], [0, 0])),
        // The next answer says so.
        ("cold start", |t| t.asks(Role::Secondary, 1, &[], [0, COLD])),
    ];
    for (what, then) in over {
        let report = put_off_and(then);
        assert_eq!(names(&report), [""; 0], "{what}: {report:#?}");
    }
    // Refused, or of the other master, it is over for nobody.
    let not_over: [Then; 3] = [
        ("flush by the other", |t| t.asks(Role::Primary, 106, &[], [0, 0])),
        ("flush that is refused", |t| t.asks(Role::Secondary, 106, &[], [64, 0])),
        ("reset that is refused", |t| t.asks(Role::Secondary, 42, &[], [16, 0])),
    ];
    for (what, then) in not_over {
        assert_eq!(names(&put_off_and(then)), ["busy-ignored", "delayed-ignored"], "{what}");
    }
}

/// A device that always has the bit started once.
#[test]
fn a_cold_start_that_stays_closes_nothing_anew() {
    let mut talk = Talk::identified();
    talk.asks(Role::Secondary, 1, &[], [0, COLD]);
    talk.asks(Role::Secondary, 41, &[], [33, COLD]);
    for _ in 0..10 {
        talk.asks(Role::Secondary, 0, &[], [0, COLD]);
    }
    assert_eq!(names(&talk.report()), ["delayed-ignored"]);
}

/// The device calls data too few, code 5 [DV-14].
#[test]
fn too_few_only_where_that_is_known() {
    let said = |command: u8, asks: &[u8], identified: bool| {
        let mut talk = if identified { Talk::identified() } else { Talk::default() };
        talk.asks(Role::Secondary, command, asks, [5, 0]);
        talk.report()
    };
    // A final assembly number has three octets [CM-019]; command 48 may always come without data; command 3 has none.
    for (command, asks, identified, found, untold) in [
        (19, &[0, 1][..], true, true, false),
        (19, &[0, 1], false, false, true),
        (48, &[], true, false, false),
        (48, &[], false, false, false),
        (48, &[0], true, false, true),
        (3, &[], true, false, false),
        // A command of device types, and one that carries others.
        (200, &[], true, false, true),
        (78, &[1], true, false, true),
    ] {
        let report = said(command, asks, identified);
        let slug = "data-too-short";
        let told = (names(&report).contains(&slug), unjudged(&report).contains(&slug));
        assert_eq!(told, (found, untold), "command {command} with {asks:?}: {report:#?}");
    }
}

/// Answers that tell of damage: each of the masks whose meaning is known, and the one that an implementation sends with
/// every answer and nobody explains [ST-01].
#[test]
fn damage_only_where_it_is_told() {
    for (octet, found) in
        [(0xC0, true), (0xA0, true), (0x90, true), (0x88, true), (0x82, true), (0x84, false), (0x80, false)]
    {
        let mut talk = Talk::identified();
        for command in [1, 2, 3, 12, 13, 14] {
            talk.asks(Role::Secondary, command, &[], [octet, 0]);
        }
        let report = talk.report();
        // Three of them have three others behind them, and are told together.
        let told: Vec<(&str, u64)> = report.findings.iter().map(|f| (f.rule.slug, f.times)).collect();
        let expected = if found { vec![("damaged-request-ignored", 3)] } else { vec![] };
        assert_eq!(told, expected, "{octet:02X}");
        assert!(unjudged(&report).contains(&"damaged-request-ignored"), "{octet:02X}");
    }
}
