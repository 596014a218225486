//! A simulated line: one pair of wires with stations and access points on it, on given time.
//!
//! Every octet takes the time of a character to pass, whoever sends it, and everybody but its sender
//! hears it at its end [LI-05]. Two that send at once are both heard, octets interleaved by time:
//! what a collision does to the bits is a fault to be laid on top, not the bus's affair.

use crate::frame::{Marks, Octet};
use crate::time::{Instant, Pace};
use core::time::Duration;
use std::collections::VecDeque;

/// Most octets that wait to pass from one sender; what comes on top is lost and counted.
pub const CAPACITY: usize = 4096;

/// Most steps at one instant in one [`Bus::poll`]: at [`Pace::Fast`] stations that answer each other
/// for ever would otherwise never let go.
const MAX_STEPS: usize = 1024;

/// A participant on the bus that lives in this process.
///
/// After everything that the bus tells a station, it asks [`Station::poll_transmit`].
pub trait Station {
    /// Octets that somebody else sent have passed; in order.
    fn handle(&mut self, now: Instant, octets: &[Octet]);

    /// The last octet of our own transmission has left.
    fn sent(&mut self, now: Instant);

    /// Octets to start sending now, preambles included; `None` for silence. Not asked while a
    /// transmission of this station is leaving.
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>>;

    /// When the station wants to be asked, if nothing is heard until then.
    fn wake_at(&self) -> Option<Instant>;
}

impl<T: Station + ?Sized> Station for Box<T> {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        (**self).handle(now, octets);
    }
    fn sent(&mut self, now: Instant) {
        (**self).sent(now);
    }
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        (**self).poll_transmit(now)
    }
    fn wake_at(&self) -> Option<Instant> {
        (**self).wake_at()
    }
}

/// An octet that comes out at an access point; its `at` is the end of the character on the wires.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Delivery {
    /// The access point, by index.
    pub port: usize,
    /// The octet with the marks it was sent with.
    pub octet: Octet,
}

/// Who sends. At equal times access points come before stations, and lower indices first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Source {
    Port(usize),
    Station(usize),
}

/// Octets of one sender that are still to pass.
#[derive(Default)]
struct Waiting {
    octets: VecDeque<Octet>,
    last_end: Option<Instant>,
    lost: u64,
    /// Octets were lost and none was accepted since.
    torn: bool,
}

impl Waiting {
    /// Queues `values`; each ends at `not_before` or a character after the one before it, whichever
    /// is later. Gives the end of the last one that was accepted.
    fn push(&mut self, not_before: Instant, character: Duration, values: &[u8], marks: &[Marks]) -> Instant {
        for (i, &value) in values.iter().enumerate() {
            if self.octets.len() >= CAPACITY {
                self.lost += (values.len() - i) as u64;
                self.torn = true;
                break;
            }
            let at = match self.last_end {
                Some(end) => not_before.max(end + character),
                None => not_before,
            };
            let mut marks = marks.get(i).copied().unwrap_or(Marks::NONE);
            if self.torn {
                marks |= Marks::OVERRUN;
                self.torn = false;
            }
            self.octets.push_back(Octet { at, value, marks });
            self.last_end = Some(at);
        }
        self.last_end.unwrap_or(not_before)
    }
}

struct Seat<S> {
    station: S,
    waiting: Waiting,
    /// When the station was last asked to transmit: a wish to wake up to then is served.
    asked: Option<Instant>,
}

/// One pair of wires [LI-05] with stations and access points, on time that somebody hands in.
pub struct Bus<S: Station = Box<dyn Station + Send>> {
    pace: Pace,
    now: Instant,
    ports: Vec<Waiting>,
    seats: Vec<Seat<S>>,
}

impl<S: Station> Bus<S> {
    /// An empty bus at time zero.
    pub fn new(pace: Pace) -> Self {
        Bus { pace, now: Instant::ZERO, ports: Vec::new(), seats: Vec::new() }
    }

    /// How fast octets pass [LI-01].
    pub fn pace(&self) -> Pace {
        self.pace
    }

    /// Adds an access point for something outside; gives its index.
    pub fn add_port(&mut self) -> usize {
        self.ports.push(Waiting::default());
        self.ports.len() - 1
    }

    /// Adds a station; gives its index.
    pub fn add_station(&mut self, station: S) -> usize {
        self.seats.push(Seat { station, waiting: Waiting::default(), asked: None });
        self.seats.len() - 1
    }

    /// The stations by index.
    pub fn stations(&self) -> impl Iterator<Item = &S> {
        self.seats.iter().map(|s| &s.station)
    }

    /// One station. What is done to it shows at the next [`Bus::poll`].
    pub fn station_mut(&mut self, index: usize) -> Option<&mut S> {
        self.seats.get_mut(index).map(|s| &mut s.station)
    }

    /// How many octets from outside were lost at `port` because it sent faster than the pace for
    /// too long; 0 for an unknown port.
    pub fn lost(&self, port: usize) -> u64 {
        self.ports.get(port).map_or(0, |p| p.lost)
    }

    /// Octets came in from outside at `port`: the first is taken to have ended at `at`, the others
    /// follow no faster than the pace. `marks` goes with `values` by index; where it is shorter there
    /// are none. Beyond [`CAPACITY`] the newest are lost, and the next one accepted is marked
    /// [`Marks::OVERRUN`].
    ///
    /// A time before the last [`Bus::poll`] counts as the time of that poll. Gives the end of the
    /// last octet; an unknown port hears nothing and loses nothing.
    pub fn arrive(&mut self, at: Instant, port: usize, values: &[u8], marks: &[Marks]) -> Instant {
        self.push_port(at.max(self.now), port, values, marks)
    }

    /// Somebody outside starts to send at `port`, who leaves the pace to the bus: the first octet
    /// ends a character after `at`. Else like [`Bus::arrive`].
    pub fn transmit(&mut self, at: Instant, port: usize, values: &[u8]) -> Instant {
        self.push_port(at.max(self.now) + self.pace.character(), port, values, &[])
    }

    fn push_port(&mut self, end: Instant, port: usize, values: &[u8], marks: &[Marks]) -> Instant {
        match self.ports.get_mut(port) {
            Some(p) => p.push(end, self.pace.character(), values, marks),
            None => end,
        }
    }

    /// When there is something to do next: the end of an octet or a station's wish to wake.
    pub fn next_at(&self) -> Option<Instant> {
        let octet = self.next_octet().map(|(at, _)| at);
        let wake = self
            .seats
            .iter()
            .filter(|s| s.waiting.octets.is_empty())
            .filter_map(|s| s.station.wake_at().filter(|&w| s.asked.is_none_or(|asked| w > asked)))
            .min();
        octet.into_iter().chain(wake).min()
    }

    /// Does everything that is due up to `now` in order of time, asks every station that is not
    /// sending, and gives what comes out at the access points. Time never runs backwards here.
    pub fn poll(&mut self, now: Instant) -> Vec<Delivery> {
        let now = now.max(self.now);
        let mut out = Vec::new();
        let mut asked = false;
        let mut steps = 0;
        while steps < MAX_STEPS {
            match self.next_at() {
                Some(t) if t <= now => {
                    steps = if t > self.now { 0 } else { steps + 1 };
                    self.now = self.now.max(t);
                    if let Some((end, source)) = self.next_octet()
                        && end <= self.now
                    {
                        self.pass(source, &mut out);
                    }
                    self.ask();
                }
                _ if asked => break,
                // Somebody may have changed a station from outside since the last poll.
                _ => {
                    self.now = now;
                    self.ask();
                    asked = true;
                }
            }
        }
        self.now = now;
        out
    }

    fn next_octet(&self) -> Option<(Instant, Source)> {
        let ports = self.ports.iter().enumerate().map(|(i, p)| (Source::Port(i), p));
        let stations = self.seats.iter().enumerate().map(|(i, s)| (Source::Station(i), &s.waiting));
        ports.chain(stations).filter_map(|(source, w)| w.octets.front().map(|o| (o.at, source))).min()
    }

    /// The first waiting octet of `source` ends: everybody else hears it. Octets behind it with the
    /// same time, which only [`Pace::Fast`] has, go along: a burst without time has no pause in which
    /// a station could be asked.
    fn pass(&mut self, source: Source, out: &mut Vec<Delivery>) {
        let waiting = match source {
            Source::Port(i) => &mut self.ports[i].octets,
            Source::Station(i) => &mut self.seats[i].waiting.octets,
        };
        let Some(at) = waiting.front().map(|o| o.at) else {
            return;
        };
        let run = waiting.iter().take_while(|o| o.at == at).count();
        let octets: Vec<Octet> = waiting.drain(..run).collect();
        let last = waiting.is_empty();
        for (i, seat) in self.seats.iter_mut().enumerate() {
            if source != Source::Station(i) {
                seat.station.handle(self.now, &octets);
            } else if last {
                seat.station.sent(self.now);
            }
        }
        for &octet in &octets {
            out.extend(
                (0..self.ports.len())
                    .filter(|&i| source != Source::Port(i))
                    .map(|port| Delivery { port, octet }),
            );
        }
    }

    fn ask(&mut self) {
        let character = self.pace.character();
        for seat in &mut self.seats {
            if !seat.waiting.octets.is_empty() {
                continue;
            }
            seat.asked = Some(self.now);
            let Some(octets) = seat.station.poll_transmit(self.now) else {
                continue;
            };
            if octets.is_empty() {
                seat.station.sent(self.now);
            } else {
                seat.waiting.push(self.now + character, character, &octets, &[]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        assert_eq!(bus.next_at(), Some(far() + Duration::from_secs(1)));
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
        assert!(bus.poll(at(3 * C)).is_empty());
        assert_eq!(bus.next_at(), Some(at(3 * C + 100_000_000)));
        // Asked late, the bus still does it at the right time.
        assert_eq!(ends(&bus.poll(far())), [(a, 3 * C + 100_000_000 + C, 0x77)]);
        assert_eq!(bus.next_at(), None);
        // A change from outside shows at the next poll.
        bus.station_mut(station).unwrap().due = Some(far());
        bus.poll(far());
        assert_eq!(bus.next_at(), Some(far() + Pace::Wire.character()));
    }

    #[test]
    fn equal_times_have_an_order() {
        let mut bus: Bus<Toy> = Bus::new(Pace::Wire);
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
}
