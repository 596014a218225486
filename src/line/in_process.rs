//! A line inside this process: a simulated bus on virtual time.

use super::{Bus, Error, Event, Line, SendsFaults, Station};
use crate::frame::{Capabilities, Octet, RawFrame, StampUnit};
use crate::time::{Instant, Pace};
use core::time::Duration;
use std::collections::VecDeque;

/// One access point of a simulated [`Bus`], with the clock in its hands: [`Line::wait`] moves it to
/// the next thing that happens. It never sleeps, and its stamps have no error.
///
/// What comes out at other access points of the bus is dropped. A clone goes on from the same moment, on a bus of its own.
#[derive(Clone)]
pub struct InProcess<S: Station = Box<dyn Station + Send>> {
    bus: Bus<S>,
    port: usize,
    name: String,
    now: Instant,
    leaving: VecDeque<Instant>,
    ready: Option<Event>,
}

impl<S: Station> InProcess<S> {
    /// Adds an access point to `bus` and takes the bus over; `name` is what
    /// [`Line::describe`] says, such as `mock:bench.toml`.
    pub fn new(mut bus: Bus<S>, name: impl Into<String>) -> Self {
        let port = bus.add_port();
        InProcess { bus, port, name: name.into(), now: Instant::ZERO, leaving: VecDeque::new(), ready: None }
    }

    /// The bus behind the line.
    pub fn bus(&self) -> &Bus<S> {
        &self.bus
    }

    /// The bus behind the line, to change a station between two waits.
    pub fn bus_mut(&mut self) -> &mut Bus<S> {
        &mut self.bus
    }
}

impl<S: Station> Line for InProcess<S> {
    fn describe(&self) -> String {
        format!("{}, virtual time", self.name)
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities {
            unit: StampUnit::Octets,
            stamp_error: Duration::ZERO,
            parity_seen: true,
            // A carrier that a rule takes away is marked [LI-22].
            carrier_seen: true,
            echo: false,
        }
    }

    fn pace(&self) -> Pace {
        self.bus.pace()
    }

    fn now(&mut self) -> Instant {
        self.now
    }

    fn sends_faults(&self) -> SendsFaults {
        SendsFaults { bad_parity: true, gaps: true }
    }

    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        let end = if frame.octets.is_empty() {
            self.now
        } else {
            self.bus.transmit_raw(self.now, self.port, frame)
        };
        self.leaving.push_back(end);
        Ok(())
    }

    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        let end = match octets {
            [] => self.now,
            _ => self.bus.transmit(self.now, self.port, octets),
        };
        self.leaving.push_back(end);
        Ok(())
    }

    /// [`Event::Closed`] means that no deadline was given and nobody on the bus has anything to do,
    /// so that the wait would have no end.
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        if let Some(event) = self.ready.take() {
            return Ok(event);
        }
        if until.is_some_and(|u| u < self.now) {
            return Ok(Event::TimeOut);
        }
        loop {
            let octets: Vec<Octet> = self
                .bus
                .poll(self.now)
                .into_iter()
                .filter(|d| d.port == self.port)
                .map(|d| d.octet)
                .collect();
            if self.bus.next_at().is_some_and(|t| t <= self.now) {
                // Stations without an end at one instant (`Pace::Fast`): the clock has to go on all
                // the same, else no deadline would ever come.
                self.now += Duration::from_micros(1);
            }
            // Nobody may hear an answer before he knows that his question has left, even at
            // `Pace::Fast`, where both have the same time.
            if let Some(&at) = self.leaving.front()
                && at <= self.now
                && octets.first().is_none_or(|o| at <= o.at)
            {
                self.leaving.pop_front();
                if !octets.is_empty() {
                    self.ready = Some(Event::Octets(octets));
                }
                return Ok(Event::Sent { at });
            }
            if !octets.is_empty() {
                return Ok(Event::Octets(octets));
            }
            if until.is_some_and(|u| u <= self.now) {
                return Ok(Event::TimeOut);
            }
            let next = [self.bus.next_at(), self.leaving.front().copied(), until].into_iter().flatten().min();
            match next {
                None => return Ok(Event::Closed),
                Some(t) => self.now = self.now.max(t),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Repeats the octet it heard last, `hold` after it heard it.
    struct Parrot {
        hold: Duration,
        due: Option<(Instant, u8)>,
    }

    impl Station for Parrot {
        fn handle(&mut self, now: Instant, octets: &[Octet]) {
            if let Some(o) = octets.last() {
                self.due = Some((now + self.hold, o.value));
            }
        }
        fn sent(&mut self, _: Instant) {}
        fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
            let (_, value) = self.due.filter(|(t, _)| *t <= now)?;
            self.due = None;
            Some(vec![value])
        }
        fn wake_at(&self) -> Option<Instant> {
            self.due.map(|d| d.0)
        }
    }

    fn line(pace: Pace, hold_ms: u64) -> InProcess<Parrot> {
        let mut bus = Bus::new(pace);
        bus.add_station(Parrot { hold: Duration::from_millis(hold_ms), due: None });
        InProcess::new(bus, "mock:test")
    }

    const C: u64 = 9_166_666;

    fn at(ns: u64) -> Instant {
        Instant::from_nanos(ns)
    }

    #[test]
    fn question_and_answer_take_the_time_of_the_wire() {
        let mut line = line(Pace::Wire, 50);
        line.send(&[1, 2]).unwrap();
        assert_eq!(line.wait(Some(at(C))).unwrap(), Event::TimeOut);
        assert_eq!(line.now(), at(C));
        assert_eq!(line.wait(None).unwrap(), Event::Sent { at: at(2 * C) });
        // 50 ms of hold, then one character.
        let end = at(2 * C + 50_000_000 + C);
        assert_eq!(line.wait(Some(at(1_000_000_000))).unwrap(), Event::Octets(vec![Octet::clean(end, 2)]));
        assert_eq!(line.now(), end);
        assert_eq!(line.wait(Some(at(1_000_000_000))).unwrap(), Event::TimeOut);
        assert_eq!(line.now(), at(1_000_000_000));
        // With no deadline and nothing to come there is nothing to wait for.
        assert_eq!(line.wait(None).unwrap(), Event::Closed);
    }

    #[test]
    fn sent_comes_before_the_answer_even_without_time() {
        let mut line = line(Pace::Fast, 0);
        line.send(&[1, 2, 3]).unwrap();
        assert_eq!(line.wait(None).unwrap(), Event::Sent { at: at(0) });
        assert!(matches!(line.wait(None).unwrap(), Event::Octets(o) if o[0].value == 3));
    }

    #[test]
    fn a_second_transmission_waits_for_the_first() {
        let mut line = line(Pace::Scaled(2.0), 10_000);
        line.send(&[1]).unwrap();
        line.send(&[2]).unwrap();
        line.send(&[]).unwrap();
        // Half of 9_166_666 ns.
        let c = 4_583_333;
        assert_eq!(line.wait(None).unwrap(), Event::Sent { at: at(c) });
        assert_eq!(line.wait(None).unwrap(), Event::Sent { at: at(2 * c) });
    }

    /// Two parrots at [`Pace::Fast`] never stop; the deadline still comes.
    #[test]
    fn endless_talk_without_time_does_not_stop_the_clock() {
        let mut bus = Bus::new(Pace::Fast);
        for _ in 0..2 {
            bus.add_station(Parrot { hold: Duration::ZERO, due: None });
        }
        bus.add_port();
        let mut line = InProcess::new(bus, "mock:test");
        line.send(&[9]).unwrap();
        let deadline = at(5_000); // five rounds of a microsecond
        let mut events = 0;
        while line.wait(Some(deadline)).unwrap() != Event::TimeOut {
            events += 1;
            assert!(events < 10, "the deadline never came");
        }
    }
}
