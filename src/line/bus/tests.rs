use super::*;
use core::time::Duration;

/// Answers every third octet that it hears with `reply`, `hold` later; keeps what happened.
struct Toy {
    hold: Duration,
    reply: Vec<u8>,
    due: Option<Instant>,
    heard: Vec<Octet>,
    sent: Vec<Instant>,
}

fn toy(hold_ms: u64, reply: &[u8]) -> Toy {
    Toy {
        hold: Duration::from_millis(hold_ms),
        reply: reply.to_vec(),
        due: None,
        heard: Vec::new(),
        sent: Vec::new(),
    }
}

impl Station for Toy {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.heard.extend_from_slice(octets);
        if self.heard.len().is_multiple_of(3) {
            self.due = Some(now + self.hold);
        }
    }
    fn sent(&mut self, now: Instant) {
        self.sent.push(now);
    }
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.due.filter(|&d| d <= now)?;
        self.due = None;
        Some(self.reply.clone())
    }
    fn wake_at(&self) -> Option<Instant> {
        self.due
    }
}

/// One character: 11 bits / 1200 bit/s = 9.1666 ms, rounded down to whole ns [LL-01].
const C: u64 = 9_166_666;

fn at(ns: u64) -> Instant {
    Instant::from_nanos(ns)
}

fn far() -> Instant {
    at(1_000_000_000_000)
}

fn ends(d: &[Delivery]) -> Vec<(usize, u64, u8)> {
    d.iter().map(|d| (d.port, d.octet.at.as_nanos(), d.octet.value)).collect()
}

#[test]
fn a_burst_from_outside_is_spread_over_the_time_of_the_wire() {
    let mut bus: Bus<Toy> = Bus::new(Pace::Wire);
    let (a, b) = (bus.add_port(), bus.add_port());
    let last = bus.arrive(at(1_000), a, &[1, 2, 3], &[Marks::NONE, Marks::PARITY]);
    assert_eq!(last, at(1_000 + 2 * C));
    assert_eq!(bus.next_at(), Some(at(1_000)));
    assert_eq!(ends(&bus.poll(at(1_000 + C - 1))), [(b, 1_000, 1)]);
    let second = bus.poll(at(1_000 + C));
    assert_eq!(ends(&second), [(b, 1_000 + C, 2)]);
    assert_eq!(second[0].octet.marks, Marks::PARITY);
    // An octet in time behind the burst waits for its turn; one that comes late does not.
    bus.arrive(at(1_000 + C), a, &[4], &[]);
    assert_eq!(ends(&bus.poll(far())), [(b, 1_000 + 2 * C, 3), (b, 1_000 + 3 * C, 4)]);
    bus.arrive(far() + Duration::from_secs(1), a, &[5], &[]);
    let end = far() + Duration::from_secs(1);
    // Its carrier comes a character before its end.
    assert_eq!(bus.next_at(), Some(end.before(Pace::Wire.character())));
    assert_eq!(ends(&bus.poll(end)), [(b, end.as_nanos(), 5)]);
}

#[test]
fn nobody_hears_himself_and_everybody_else_does() {
    let mut bus = Bus::new(Pace::Wire);
    let (a, b) = (bus.add_port(), bus.add_port());
    bus.add_station(toy(0, &[0xAA, 0xBB]));
    bus.add_station(toy(1_000, &[0xCC]));
    bus.transmit(at(0), a, &[1, 2, 3]);
    let out = bus.poll(at(6 * C));
    // The request takes three characters, the answer starts at its end.
    assert_eq!(
        ends(&out),
        [
            (b, C, 1),
            (b, 2 * C, 2),
            (b, 3 * C, 3),
            (a, 4 * C, 0xAA),
            (b, 4 * C, 0xAA),
            (a, 5 * C, 0xBB),
            (b, 5 * C, 0xBB),
        ]
    );
    let heard = |s: &Toy| s.heard.iter().map(|o| o.value).collect::<Vec<_>>();
    let all: Vec<_> = bus.stations().map(heard).collect();
    assert_eq!(all, [vec![1, 2, 3], vec![1, 2, 3, 0xAA, 0xBB]]);
    assert_eq!(bus.stations().next().unwrap().sent, [at(5 * C)]);
}

#[test]
fn a_station_wakes_without_octets() {
    let mut bus = Bus::new(Pace::Wire);
    let a = bus.add_port();
    let station = bus.add_station(toy(100, &[0x77]));
    bus.transmit(at(0), a, &[1, 2, 3]);
    // The detectors let go 3 bit times after the last octet.
    assert!(bus.poll(at(3 * C)).is_empty());
    assert_eq!(bus.next_at(), Some(at(3 * C + 2_500_000)));
    assert!(bus.poll(at(3 * C + 2_500_000)).is_empty());
    assert_eq!(bus.next_at(), Some(at(3 * C + 100_000_000)));
    // Asked late, the bus still does it at the right time.
    assert_eq!(ends(&bus.poll(far())), [(a, 3 * C + 100_000_000 + C, 0x77)]);
    assert_eq!(bus.next_at(), None);
    // A change from outside shows at the next poll.
    bus.station_mut(station).unwrap().due = Some(far());
    bus.poll(far());
    // 4 bit times, rounded down.
    assert_eq!(bus.next_at(), Some(far() + Duration::from_nanos(3_333_333)));
}

#[test]
fn equal_times_have_an_order() {
    // Octets without length do not collide.
    let mut bus: Bus<Toy> = Bus::new(Pace::Fast);
    let ports: Vec<_> = (0..3).map(|_| bus.add_port()).collect();
    // Given in the wrong order, they come out by index of the sender, then of the receiver.
    bus.arrive(at(5), ports[2], &[0x22], &[]);
    bus.arrive(at(5), ports[0], &[0x00], &[]);
    assert_eq!(ends(&bus.poll(at(5))), [(1, 5, 0x00), (2, 5, 0x00), (0, 5, 0x22), (1, 5, 0x22)]);
}

#[test]
fn a_flood_is_bounded_counted_and_marked() {
    let mut bus: Bus<Toy> = Bus::new(Pace::Wire);
    let (a, b) = (bus.add_port(), bus.add_port());
    bus.arrive(at(0), a, &vec![0x55; CAPACITY + 10], &[]);
    bus.arrive(at(0), a, &[0x66], &[]);
    assert_eq!(bus.lost(a), 11);
    let out = bus.poll(far());
    assert_eq!(out.len(), CAPACITY);
    assert!(out.iter().all(|d| d.octet.marks.is_empty() && d.port == b));
    bus.arrive(far(), a, &[0x77, 0x78], &[Marks::FRAMING]);
    let out = bus.poll(far() + Duration::from_secs(1));
    assert_eq!(out[0].octet.marks, Marks::FRAMING | Marks::OVERRUN);
    assert_eq!(out[1].octet.marks, Marks::NONE);
}

#[test]
fn fast_has_everything_due_at_once_and_lets_go_of_endless_talkers() {
    let mut bus = Bus::new(Pace::Fast);
    let a = bus.add_port();
    bus.add_station(toy(0, &[0x01, 0x02]));
    bus.transmit(at(7), a, &[1, 2, 3]);
    assert_eq!(ends(&bus.poll(at(7))), [(a, 7, 0x01), (a, 7, 0x02)]);

    let mut bus = Bus::new(Pace::Fast);
    let a = bus.add_port();
    bus.add_station(toy(0, &[1, 1, 1]));
    bus.add_station(toy(0, &[2, 2, 2]));
    bus.transmit(at(0), a, &[1, 2, 3]);
    assert!(!bus.poll(at(0)).is_empty());
    assert_eq!(bus.next_at(), Some(at(0)));
}

#[test]
fn an_unknown_port_is_nobody() {
    let mut bus: Bus<Toy> = Bus::new(Pace::Wire);
    bus.arrive(at(0), 3, &[1], &[]);
    assert!(bus.poll(far()).is_empty());
    assert_eq!(bus.lost(3), 0);
}
